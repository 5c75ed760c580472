package sensor

import (
	"flag"
	"fmt"
	"image/color"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
)

var pictures = flag.String("pictures", "", "directory for a picture of every fault; none by default")

// TestPictures draws every fault beside the same samples without it, to be looked
// at. It asserts nothing but that they can be drawn, and runs only when asked to.
func TestPictures(t *testing.T) {
	if *pictures == "" {
		t.Skip("no -pictures DIR")
	}
	require.NoError(t, os.MkdirAll(*pictures, 0o755))
	e, set := complete(t)
	c := knocking(t, 0)
	c.Operating.Split = 10 * deg
	c.Number = 600 // a drift has come far by then
	draw := func(name, about string, with Setup, channel string, from, to float64) {
		p := plot.New()
		p.Title.Text = fmt.Sprintf("%s: %s", name, about)
		p.X.Label.Text, p.Y.Label.Text = "deg after dead centre", channel
		p.X.Min, p.X.Max = from, to
		one := func(set Setup, paint color.Color, wide float64) {
			all := take(t, e, set, c)
			y := all[channel]
			var xy plotter.XYs
			for i, v := range y {
				x := 0.
				switch channel {
				case "tooth_us", "cam_us": // a stroke at each edge
					x = c.Clock.Angle(v*usec) / deg
					if x >= from && x <= to {
						xy = append(xy, plotter.XY{X: x, Y: 0}, plotter.XY{X: x, Y: wide}, plotter.XY{X: x, Y: 0})
					}
					continue
				case "knock_v":
					x = c.Clock.Angle(c.Clock.Time(set.Knock.From)+float64(i)/set.Knock.Rate) / deg
				default:
					x = c.Theta[min(i, len(c.Theta)-1)] / deg
					if at := all["time_us"]; at != nil {
						x = c.Clock.Angle(at[i]*usec) / deg
					}
				}
				if x >= from && x <= to {
					xy = append(xy, plotter.XY{X: x, Y: v})
				}
			}
			if len(xy) == 0 {
				return
			}
			l, err := plotter.NewLine(xy)
			require.NoError(t, err)
			l.Color, l.Width = paint, vg.Points(wide)
			p.Add(l)
		}
		clean := with
		clean.Faults = nil
		one(clean, color.Gray{150}, 2.5)
		one(with, color.RGBA{180, 30, 30, 255}, 1)
		require.NoError(t, p.Save(16*vg.Centimeter, 9*vg.Centimeter, filepath.Join(*pictures, name+".png")))
	}
	for _, k := range Kinds() {
		with := set
		with.Faults = []Fault{{k.Name, 0, -1, k.Typical}}
		from, to := -90., 150.
		switch k.Instrument {
		case onWheel, onCam:
			from, to = -150, -30
		case onKnock:
			from, to = -150, 90
		}
		switch k.Name {
		case "missing-tooth", "extra-tooth":
			from, to = -360, 360
		case "passage-resonance": // an angle base is too coarse to show it
			with.Sampling.RateHz = 100e3
			from, to = 0, 60
		}
		about := fmt.Sprintf("%g %s", k.Typical, k.Unit)
		draw(k.Name, about, with, spoils[k.Instrument][0], from, to)
	}
}
