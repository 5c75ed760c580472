package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"phasebench/model"
	"phasebench/scenarios/indicate"
	"phasebench/scenarios/measured"
	"phasebench/scenarios/measured/table"
	"phasebench/solve"
)

// recording is the flags that say how a recording is to be read.
type recording struct {
	columns, separator, header, wheel       string
	comma, falling, motored                 bool
	rate, barPerUnit, zeroBar, level, first float64
	samples                                 int
}

func (r *recording) register(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&r.columns, "columns", "", "names of its columns in order, apart by commas, in place of its own: "+measured.Names())
	f.StringVar(&r.separator, "separator", "", "what parts the cells of text (default: found)")
	f.StringVar(&r.header, "header", "auto", "whether the first row of text is names: auto, yes or no")
	f.BoolVar(&r.comma, "decimal-comma", false, "numbers of text have a comma for a point")
	optional(f, &r.rate, "rate-hz", "samples a second, where neither file nor a column says [Hz]")
	optional(f, &r.barPerUnit, "bar-per-volt", "pressure of one unit of a column pressure_v or pressure_raw [bar]")
	f.Float64Var(&r.zeroBar, "zero-bar", 0, "pressure where the column is 0 [bar]; the zero is found anew by the peg")
	f.StringVar(&r.wheel, "wheel", "36-1", "tooth wheel: N-M has N pitches and M teeth missing, N+1 one edge more midway between two, 1 is a pulse a turn")
	optional(f, &r.level, "level-v", "level that an edge passes (default: midway)")
	f.BoolVar(&r.falling, "falling", false, "the edges of teeth fall")
	optional(f, &r.first, "first-deg", "angle of the wheel's reference [deg after dead centre]: the first edge after the gap, the edge before the doubled one, the pulse (default: found from the pressure)")
	f.IntVar(&r.samples, "samples", 0, "of a cycle on the grid of angles (default: 720)")
	f.BoolVar(&r.motored, "motored", false, "nobody fired any of its cycles")
}

// settings reads the flags.
func (r *recording) settings(cmd *cobra.Command, e *model.Engine) (*measured.Settings, *table.Options, error) {
	f := cmd.Flags()
	c, err := e.Chamber()
	if err != nil {
		return nil, nil, err
	}
	s := &measured.Settings{Offset: r.zeroBar * 1e5, Level: math.NaN(), Falling: r.falling, Samples: r.samples, Chamber: c}
	if s.Wheel, err = measured.ParseWheel(r.wheel); err != nil {
		return nil, nil, err
	}
	if r.columns != "" {
		s.Columns = strings.Split(r.columns, ",")
	}
	if f.Changed("rate-hz") {
		s.Rate = r.rate
	}
	if f.Changed("bar-per-volt") {
		if s.Slope = r.barPerUnit * 1e5; s.Slope == 0 {
			return nil, nil, bad("bar-per-volt", r.barPerUnit, "more or less than 0")
		}
	}
	if f.Changed("level-v") {
		s.Level = r.level
	}
	if f.Changed("first-deg") {
		if !(math.Abs(r.first) <= 720) {
			return nil, nil, bad("first-deg", r.first, "-720 to 720")
		}
		s.Wheel.First = r.first * deg
	}
	if f.Changed("speed-rpm") {
		s.Speed = e.Point.Speed
	}
	o := &table.Options{DecimalComma: r.comma}
	switch r.header {
	case "auto":
	case "yes":
		o.Header = table.Yes
	case "no":
		o.Header = table.No
	default:
		return nil, nil, bad("header", r.header, "auto, yes or no")
	}
	switch sep := []rune(strings.ReplaceAll(r.separator, `\t`, "\t")); len(sep) {
	case 0:
	case 1:
		o.Separator = sep[0]
	default:
		return nil, nil, bad("separator", r.separator, "one character")
	}
	return s, o, nil
}

// source is a recording whose dead centre is known.
type source struct {
	*located
	file     string
	settings *measured.Settings
	options  *table.Options
	close    func() // to be called at the end
}

// open reads the flags, and the recording once to find dead centre, see locate.
func (r *recording) open(cmd *cobra.Command, file string, e *model.Engine) (*source, error) {
	s, o, err := r.settings(cmd, e)
	if err != nil {
		return nil, err
	}
	file, remove, err := twice(file, cmd.InOrStdin())
	if err != nil {
		return nil, err
	}
	where, err := r.locate(cmd, file, e, s, o)
	if err != nil {
		remove()
		return nil, err
	}
	return &source{where, file, s, o, remove}, nil
}

// cycles reads the recording once more.
func (s *source) cycles(ctx context.Context, each func(*measured.Cycle) error) (measured.Report, error) {
	return cycles(ctx, s.file, s.settings, s.options, each)
}

// low tells a cycle that did not burn.
func (x *located) low(c *measured.Cycle) bool { return hump(c) < x.line }

// cycles reads a recording once, cycle by cycle.
func cycles(ctx context.Context, file string, s *measured.Settings, o *table.Options, each func(*measured.Cycle) error) (report measured.Report, err error) {
	t, err := table.Open(file, o)
	if err != nil {
		return report, err
	}
	defer t.Close()
	r, err := measured.New(t, s)
	var p *model.Problem
	switch {
	case errors.As(err, &p) && p.Key == "columns": // the names it wants are no flags
		return report, usage(fmt.Errorf("--columns = %s: want %s", p.Given, p.Want))
	case err != nil:
		return report, behindFlags(err, map[string]string{"slope": "bar-per-volt", "rate_hz": "rate-hz", "first_deg": "first-deg"})
	}
	for c, err := range r.Cycles(ctx) {
		if err == nil {
			err = each(c)
		}
		if err != nil {
			return r.Report(), behindFlags(err, map[string]string{"first_deg": "first-deg"})
		}
	}
	return r.Report(), nil
}

// located is what the first reading of a recording found.
type located struct {
	report measured.Report
	given  bool            // the angle was
	line   float64         // the height of a hump below which a cycle is motored [Pa]
	shift  indicate.Number // what the angles of that reading read too much [rad]
	how    string
	worst  float64 // how much more a leaking engine may make it [rad]; NaN: nothing known
}

// motoredMost is what a motored cycle may have of the model's motored hump. Our own choice.
const motoredMost = 1.15

// locate reads a recording once and finds dead centre: of motored cycles if there are
// some, else of the compression of fired ones. The speed of e's point becomes that of the
// recording where nobody said another; s gets the angle of the reference.
func (r *recording) locate(cmd *cobra.Command, file string, e *model.Engine, s *measured.Settings, o *table.Options) (*located, error) {
	x := &located{worst: math.NaN(), given: !math.IsNaN(s.Wheel.First)}
	var kept [][]float64
	var theta, humps []float64
	const most = 400 // cycles, to find dead centre with
	var err error
	x.report, err = cycles(cmd.Context(), file, s, o, func(c *measured.Cycle) error {
		if c.Broken != "" {
			return nil
		}
		theta = c.Theta
		if len(kept) < most {
			kept, humps = append(kept, slices.Clone(c.Pressure)), append(humps, hump(c))
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	if mean := x.report.Speed[0]; !math.IsNaN(mean) && !cmd.Flags().Changed("speed-rpm") {
		e.Point.Speed = mean
		if err := e.Point.Check(e); err != nil {
			return nil, fmt.Errorf("%s: its cycles turn at %.6g rpm: are rate, time and wheel right?", plain(file), mean/rpm)
		}
	}
	line, err := motoredLine(e)
	if err != nil {
		return nil, err
	}
	var motored, fired [][]float64
	for i, h := range humps {
		if r.motored || h < line {
			motored = append(motored, kept[i])
		} else {
			fired = append(fired, kept[i])
		}
	}
	x.line = line
	if err := x.find(e, theta, fired, motored, s); err != nil {
		if x.found() {
			return nil, fmt.Errorf("%s: dead centre cannot be found: %w: are scale, --map-kpa, wheel and engine right?", plain(file), err)
		}
		x.shift, x.how = indicate.Number{Value: math.NaN(), Error: math.NaN()}, err.Error()
	}
	return x, nil
}

// find finds dead centre from cycles.
func (x *located) find(e *model.Engine, theta []float64, fired, motored [][]float64, s *measured.Settings) error {
	d, err := indicate.NewDeadCentre(e, &e.Point)
	if err != nil {
		return err
	}
	const few = 4 // motored cycles are worth more than any number of fired ones
	from := fired
	if len(motored) >= few {
		from = motored
	}
	for _, p := range from {
		if err := d.Add(theta, p); err != nil {
			return err
		}
	}
	if len(motored) >= few {
		l, err := d.Motored()
		if err != nil {
			return err
		}
		x.shift, x.worst = l.Peak.TDC, l.Peak.Worst
		other := l.Symmetry.TDC.Value
		if x.found() {
			other = math.Remainder(x.report.First-other, 2*math.Pi)
		}
		x.how = fmt.Sprintf("from %d motored cycles, by their peak less the model's loss angle of %.2f deg; by their symmetry %.2f deg", len(motored), l.Peak.Loss.Value/deg, other/deg)
		if !l.Agree {
			x.how += ", which does not agree"
		}
	} else {
		c, err := d.Fired()
		if err != nil {
			return err
		}
		x.shift, x.how = c.TDC, fmt.Sprintf("from the compression of %d fired cycles, by the model's; motored cycles would tell it ten times better", len(fired))
	}
	if x.found() {
		s.Wheel.First = math.Remainder(x.report.First-x.shift.Value, 2*math.Pi)
	}
	return nil
}

// found tells that the angle of a reference was found: nobody gave it, nor the angles.
func (x *located) found() bool { return !x.given && x.report.FirstError > 0 }

// samples is how many samples of a cycle the recording has, at angles theta on the grid
// and shaft speed speed [rad/s].
func (x *located) samples(theta []float64, speed float64) float64 {
	if r := &x.report; math.IsNaN(r.Rate) {
		return float64(r.Rows) / float64(r.Cycles+r.Lost)
	}
	return x.report.Rate * turned(theta) / speed
}

// hump is the greatest pressure of a cycle over the mean about dead centre before
// compression.
func hump(c *measured.Cycle) float64 {
	sum, n := 0., 0.
	wide := turned(c.Theta) / (4 * math.Pi)
	for i, theta := range c.Theta {
		if theta /= wide; theta > indicate.InletFrom && theta < indicate.InletTo {
			sum, n = sum+c.Pressure[i], n+1
		}
	}
	return slices.Max(c.Pressure) - sum/n
}

// motoredLine is the height of a hump below which a cycle counts as motored [Pa].
func motoredLine(e *model.Engine) (float64, error) {
	s, err := solve.New(e, &solve.Settings{Motored: true})
	if err != nil {
		return 0, err
	}
	var c solve.Cycle
	if err := s.Run(&e.Point, &c); err != nil {
		return 0, err
	}
	return motoredMost * (slices.Max(c.Motored) - e.Point.MAP), nil
}

// twice returns a file that can be read twice, and what takes it away after.
func twice(file string, in io.Reader) (string, func(), error) {
	if file != "-" {
		return file, func() {}, nil
	}
	folder, err := os.MkdirTemp("", "phasebench-")
	if err != nil {
		return "", nil, err
	}
	remove := func() { os.RemoveAll(folder) }
	f, err := os.Create(filepath.Join(folder, "standard input.csv")) // as messages name it
	if err != nil {
		remove()
		return "", nil, err
	}
	_, err = io.Copy(f, in)
	if e := f.Close(); err == nil {
		err = e
	}
	if err != nil {
		remove()
	}
	return f.Name(), remove, err
}

// inRow is how many cycles without a burn in a row are no misfires: nobody fired them. Our
// own choice.
const inRow = 4

// parted tells misfires from cycles that nobody fired, in order.
type parted[T any] struct {
	fired, misfire, motored func(T) error
	held                    []T
	motoring                bool
}

// add takes a cycle; low: it did not burn.
func (p *parted[T]) add(v T, low bool) error {
	if !low {
		if err := p.end(); err != nil {
			return err
		}
		p.motoring = false
		return p.fired(v)
	}
	if p.motoring {
		return p.motored(v)
	}
	if p.held = append(p.held, v); len(p.held) < inRow {
		return nil
	}
	p.motoring = true
	return p.flush(p.motored)
}

// end says that no cycle follows, or one that burns.
func (p *parted[T]) end() error { return p.flush(p.misfire) }

func (p *parted[T]) flush(to func(T) error) error {
	for _, v := range p.held {
		if err := to(v); err != nil {
			return err
		}
	}
	p.held = p.held[:0]
	return nil
}
