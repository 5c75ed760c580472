package main

import (
	"context"
	"io"

	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"
)

// progress returns what to call with the work done and all of it, and what to
// call at the end. Something is shown only where errw is a terminal.
func progress(ctx context.Context, errw io.Writer, unit string) (step func(done, total int), end func()) {
	bars := mpb.NewWithContext(ctx, mpb.WithOutput(errw), mpb.WithWidth(40))
	var bar *mpb.Bar
	step = func(done, total int) {
		if bar == nil {
			bar = bars.AddBar(int64(total), mpb.BarRemoveOnComplete(),
				mpb.PrependDecorators(decor.CountersNoUnit("%d of %d "+unit)),
				mpb.AppendDecorators(decor.Percentage(), decor.Name("  left "), decor.AverageETA(decor.ET_STYLE_GO)))
		}
		bar.SetCurrent(int64(done))
	}
	end = func() {
		if bar != nil {
			bar.Abort(true)
		}
		bars.Wait()
	}
	return step, end
}
