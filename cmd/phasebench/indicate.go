package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"

	"github.com/spf13/cobra"

	"phasebench/model"
	"phasebench/scenarios/chart"
	"phasebench/scenarios/indicate"
	"phasebench/scenarios/measured"
	"phasebench/scenarios/record"
)

// indicateFlags is what the command indicate is told.
type indicateFlags struct {
	common
	recording
	peg                                              string
	exponent, shift, shiftError, lowPass, knock      float64
	csvFile, trace                                   string
	plotPV, plotHeat, plotPeaks, plotRun, plotReturn string
}

func newIndicate() *cobra.Command {
	var t indicateFlags
	cmd := &cobra.Command{
		Use:   "indicate FILE",
		Short: "numbers of recorded pressure, each with its error",
		Long: `Read recorded pressure, beside a tooth wheel or a pulse in time or at angles, from
.csv, .tsv, .npz, .npy, .parquet or .wav, cut it into cycles, find its zero and dead
centre, and make numbers of every cycle and of all: where and how high the pressure
peaks, work, burn, polytropic exponents, knock. What cannot be used is told with its
place, never dropped in silence.

The engine must be that of the recording: bore, stroke, ratio, valves and walls, and
--map-kpa, --lambda and --spark-deg where it ran. Columns are named ROLE_UNIT:
time_s, theta_deg, cycle, index, speed_rpm, pressure_bar (or _kpa, _v, ...), wheel, tdc;
name those of a file without such names by --columns.

Dead centre of a wheel is found from motored cycles, if the recording has four, else
from the compression, unless --first-deg tells it. An error of one deg makes 3 to 4 %
of work at full load.`,
		Example: `  phasebench indicate recording.csv --columns pressure_v,wheel --rate-hz 100000 --bar-per-volt 10 --wheel 60+1 --spark-deg 20
  phasebench indicate data/samples-00000.csv --speed-rpm 2200 --plot cycles.svg --csv numbers.csv`,
		Args: oneFile,
	}
	f := cmd.Flags()
	t.common.register(f)
	t.complete(cmd)
	t.recording.register(cmd)
	f.Lookup("speed-rpm").Usage = "shaft speed where the recording does not tell it [rpm]"
	f.Lookup("map-kpa").Usage = "manifold absolute pressure where it ran [kPa] (default: the engine's own point)"
	f.Lookup("plot").Usage = "write the cycles over one another, and their peaks, to this `FILE`: .svg, .png or .pdf"
	f.StringVar(&t.peg, "peg", string(indicate.AtInlet), "how the zero is found: inlet (manifold pressure at bottom dead centre), polytrope (exponent given), free (exponent found), none")
	f.Float64Var(&t.exponent, "exponent", 1.32, "polytropic exponent of compression, for the peg polytrope")
	f.Float64Var(&t.shift, "tdc-shift-deg", 0, "what the angles of the recording read too much, beside what is found [deg]")
	optional(f, &t.shiftError, "tdc-error-deg", "standard error of dead centre [deg] (default: what was found, or 0.1)")
	f.Float64Var(&t.lowPass, "low-pass-per-deg", 0, "a filter without shift ends here [1/deg], 0.1 is a wave of 10 deg; 0: none")
	f.Float64Var(&t.knock, "knock-level-bar", indicate.UsualKnockLevel/1e5, "amplitude of ringing above which a cycle counts as knocking [bar]")
	f.StringVar(&t.csvFile, "csv", "", "write a line for each cycle, every number with its error, to this `FILE`")
	f.StringVar(&t.trace, "trace", "", "write the mean cycle as CSV to this `FILE`")
	for _, x := range []struct {
		at          *string
		name, about string
	}{
		{&t.plotPV, "plot-pv", "the mean cycle as log p over log V"}, {&t.plotHeat, "plot-heat", "burned fraction of the cycles"},
		{&t.plotPeaks, "plot-peaks", "a histogram of LPP"}, {&t.plotRun, "plot-run", "IMEP and LPP cycle by cycle"}, {&t.plotReturn, "plot-return", "IMEP of a cycle against that of the one before"},
	} {
		f.StringVar(x.at, x.name, "", "write "+x.about+" to this `FILE`: .svg, .png or .pdf")
	}
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return t.run(cmd, args[0]) }
	return cmd
}

// indicated is what one reading came to.
type indicated struct {
	report  measured.Report
	summary indicate.Summary
	deaf    string // why knock was not looked for
	ragged  chart.Ragged
	number  []float64 // of good cycles
	imep    []float64 // net
	broken  []int
	listing bool
	lines   [][]string // of --csv, if listing
	theta   []float64
	square  []float64 // sum of squares of deviations from the first cycle, for the sd
	sum     []float64
	origin  []float64
	traces  []*indicate.Trace
	mean    *indicate.Trace
	sd      []float64
	low     int // cycles that did not burn
	motored int // of those, in rows that nobody fired
}

func (t *indicateFlags) run(cmd *cobra.Command, file string) error {
	f := cmd.Flags()
	pictures := []string{"plot", "plot-pv", "plot-heat", "plot-peaks", "plot-run", "plot-return"}
	for _, name := range pictures {
		if err := checkPicture(name, f.Lookup(name).Value.String()); err != nil {
			return err
		}
	}
	if err := apart(f, append(pictures, "csv", "trace")...); err != nil {
		return err
	}
	e, err := t.load(f)
	if err != nil {
		return err
	}
	peg, err := indicate.ParsePeg(t.peg)
	switch {
	case err != nil:
		return err
	case f.Changed("exponent") && peg != indicate.Fixed:
		return bad("exponent", t.exponent, "--peg polytrope beside it")
	case !(t.knock > 0 && t.knock <= 100):
		return bad("knock-level-bar", t.knock, "more than 0, at most 100 bar")
	}
	from, err := t.open(cmd, file, e)
	if err != nil {
		return err
	}
	defer from.close()
	set := &indicate.Settings{Peg: peg, Shift: t.shift * deg, LowPass: t.lowPass / deg}
	if peg == indicate.Fixed {
		set.Exponent = t.exponent
	}
	switch {
	case f.Changed("tdc-error-deg"):
		set.ShiftError = t.shiftError * deg
	case from.found():
		set.ShiftError = math.Min(from.shift.Error, 5*deg)
	}
	x, err := indicate.New(e, &e.Point, set)
	if err != nil {
		return behindFlags(err, map[string]string{"shift_deg": "tdc-shift-deg", "shift_error_deg": "tdc-error-deg", "low_pass_per_deg": "low-pass-per-deg"})
	}
	r, err := t.indicate(cmd, e, x, from)
	if err != nil {
		return err
	}
	return t.tell(cmd, e, r, from.located)
}

// indicate reads the recording and makes numbers of it.
func (t *indicateFlags) indicate(cmd *cobra.Command, e *model.Engine, x *indicate.Indicator, from *source) (*indicated, error) {
	r := &indicated{listing: t.csvFile != ""}
	r.ragged.Spark = e.Point.Spark
	sums := indicate.Ensemble{Level: t.knock * 1e5}
	const drawn = 100
	var failed error
	type told struct {
		number indicate.Numbers
		knock  *indicate.Knock
		add    func()
	}
	fired := func(x *told) error {
		sums.Add(&x.number)
		if x.knock != nil {
			sums.Hear(x.knock)
		}
		x.add()
		return nil
	}
	step, end := progress(cmd.Context(), cmd.ErrOrStderr(), "cycles")
	defer end()
	part := parted[*told]{fired: fired, misfire: fired, motored: func(*told) error { r.motored++; return nil }}
	var err error
	r.report, err = from.cycles(cmd.Context(), func(c *measured.Cycle) error {
		step(c.Number+1, from.located.report.Cycles+from.located.report.Lost)
		if c.Broken != "" {
			r.broken = append(r.broken, c.Number)
			r.list([]string{strconv.Itoa(c.Number), c.Broken})
			return nil
		}
		n, err := x.Cycle(c.Theta, c.Pressure)
		if err != nil {
			failed = fmt.Errorf("cycle %d: %w", c.Number, err)
			r.broken = append(r.broken, c.Number)
			r.list([]string{strconv.Itoa(c.Number), err.Error()})
			return nil
		}
		one := &told{number: n}
		mapo := math.NaN()
		if speed := c.Speed; r.deaf == "" {
			if math.IsNaN(speed) {
				speed = e.Point.Speed
			}
			if k, err := x.Knock(c.Theta, c.Pressure, speed); err != nil {
				r.deaf = err.Error()
			} else if has, need := from.samples(c.Theta, speed), perRinging*k.Band[1]*turned(c.Theta)/speed; has < need {
				r.deaf = fmt.Sprintf("the recording has about %.0f samples a cycle, %.0f are needed: %g to a period of %.1f kHz; --samples adds none", has, math.Ceil(need), perRinging, k.Band[1]/1e3)
			} else {
				one.knock, mapo = &k, k.MAPO.Value
			}
		}
		var trace *indicate.Trace
		if len(r.ragged.Pressure) < drawn && (t.plotHeat != "" || t.plot != "") {
			if trace, err = x.Trace(c.Theta, c.Pressure); err != nil {
				return err
			}
		}
		r.sample(c)
		one.add = r.take(c, &one.number, mapo, trace)
		low := t.motored || from.low(c)
		if low {
			r.low++
		}
		if err := part.add(one, low && !t.motored); err != nil {
			return err
		}
		return nil
	})
	if err == nil {
		err = part.end()
	}
	if err != nil {
		return nil, err
	}
	if len(r.number) == 0 {
		switch {
		case failed == nil && r.motored > 0:
			failed = fmt.Errorf("%s: none of %d cycles burns; --motored makes numbers of such", plain(from.file), r.motored)
		case failed == nil:
			failed = fmt.Errorf("%s: no cycle that can be used", plain(from.file))
		}
		return nil, failed
	}
	if r.summary = sums.Sum(); t.motored { // nobody fired them: they are no misfires
		s := &r.summary
		s.Misfires, s.Partial, s.COVGross, s.COVNet, s.LNV = 0, 0, math.NaN(), math.NaN(), math.NaN()
	}
	count := float64(len(r.number))
	mean := make([]float64, len(r.theta))
	r.sd = make([]float64, len(r.theta))
	for i := range mean {
		mean[i] = r.origin[i] + r.sum[i]/count
		r.sd[i] = math.Sqrt(math.Max(0, r.square[i]-r.sum[i]*r.sum[i]/count) / math.Max(1, count-1))
	}
	if r.mean, err = x.Trace(r.theta, mean); err != nil {
		return nil, err
	}
	r.ragged.Theta, r.ragged.Mean = r.mean.Theta, r.mean.Pressure
	return r, nil
}

// perRinging is how many samples of a recording go to a period at the upper end of the band
// where knock is looked for: what indicate.Knock asks of its grid.
const perRinging = 2.5

// turned is the angle of a cycle with samples at theta [rad].
func turned(theta []float64) float64 { return float64(len(theta)) * (theta[1] - theta[0]) }

// sample takes the pressure of a cycle, for the mean.
func (r *indicated) sample(c *measured.Cycle) {
	if r.theta == nil {
		r.theta, r.origin = c.Theta, slices.Clone(c.Pressure)
		r.sum, r.square = make([]float64, len(c.Theta)), make([]float64, len(c.Theta))
	}
}

// take returns what takes the numbers of a cycle, once it is known that it was fired.
func (r *indicated) take(c *measured.Cycle, n *indicate.Numbers, mapo float64, trace *indicate.Trace) func() {
	line := []string{strconv.Itoa(c.Number), "", cell(c.Start, 1), cell(c.Speed, rpm)}
	for _, q := range perCycle(n) {
		line = append(line, cell(q.n.Value, q.by), cell(q.n.Error, q.by))
	}
	r.list(append(line, cell(n.Noise, 1e5), cell(mapo, 1e5)))
	number, pressure := float64(c.Number), slices.Clone(c.Pressure)
	return func() {
		for i, p := range pressure {
			d := p - r.origin[i]
			r.sum[i], r.square[i] = r.sum[i]+d, r.square[i]+d*d
		}
		r.number, r.imep = append(r.number, number), append(r.imep, n.IMEPNet.Value)
		g := &r.ragged
		g.LPP, g.Peak, g.IMEP = append(g.LPP, n.LPP.Value), append(g.Peak, n.Peak.Value), append(g.IMEP, n.IMEPGross.Value)
		lit := n.Heat.Value > 3*n.Heat.Error && n.IMEPNet.Value > 0
		g.Lit = append(g.Lit, lit)
		if trace != nil { // those of the first cycles: in the order of the lists above
			g.Pressure = append(g.Pressure, trace.Pressure)
			if lit {
				r.traces = append(r.traces, trace)
			}
		}
	}
}

// list keeps a line of --csv.
func (r *indicated) list(line []string) {
	if r.listing {
		r.lines = append(r.lines, line)
	}
}

// cell writes a number for CSV; nothing for none.
func cell(v, by float64) string {
	if math.IsNaN(v) {
		return ""
	}
	return strconv.FormatFloat(v/by, 'g', 8, 64)
}

// cycleNumber is a number of a cycle with its name and unit in files.
type cycleNumber struct {
	key string
	by  float64
	n   indicate.Number
}

// perCycle lists the numbers of a cycle.
func perCycle(n *indicate.Numbers) []cycleNumber {
	return []cycleNumber{
		{"lpp_deg_atdc", deg, n.LPP}, {"pmax_bar", 1e5, n.Peak}, {"imep_gross_bar", 1e5, n.IMEPGross}, {"imep_net_bar", 1e5, n.IMEPNet}, {"pmep_bar", 1e5, n.PMEP},
		{"ca10_deg_atdc", deg, n.Burn.CA10}, {"ca50_deg_atdc", deg, n.Burn.CA50}, {"ca90_deg_atdc", deg, n.Burn.CA90},
		{"ca10_pressure_ratio_deg_atdc", deg, n.Ratio.CA10}, {"ca50_pressure_ratio_deg_atdc", deg, n.Ratio.CA50}, {"ca90_pressure_ratio_deg_atdc", deg, n.Ratio.CA90},
		{"compression_exponent", 1, n.Compression}, {"expansion_exponent", 1, n.Expansion}, {"heat_released_j", 1, n.Heat}, {"zero_added_bar", 1e5, n.Zero},
	}
}

// writeCSV writes a line for each cycle.
func (r *indicated) writeCSV(w io.Writer, notes []string) error {
	if err := record.Notes(w, notes); err != nil {
		return err
	}
	out := csv.NewWriter(w)
	head := []string{"cycle", "broken", "start_s", "speed_rpm"}
	for _, q := range perCycle(&indicate.Numbers{}) {
		head = append(head, q.key, q.key+"_error")
	}
	head = append(head, "noise_bar", "mapo_bar")
	if err := out.Write(head); err != nil {
		return err
	}
	for _, line := range r.lines {
		for len(line) < len(head) {
			line = append(line, "")
		}
		if err := out.Write(line); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// writeTrace writes the mean cycle.
func (r *indicated) writeTrace(w io.Writer, notes []string) error {
	if err := record.Notes(w, notes); err != nil {
		return err
	}
	if _, err := fmt.Fprintln(w, "theta_deg_atdc,volume_cm3,pressure_bar,pressure_sd_bar,burned_fraction"); err != nil {
		return err
	}
	for i := range r.mean.Theta {
		if _, err := fmt.Fprintf(w, "%s,%s,%s,%s,%s\n", cell(r.mean.Theta[i], deg), cell(r.mean.Volume[i], 1e-6), cell(r.mean.Pressure[i], 1e5), cell(r.sd[i], 1e5), cell(r.mean.Burned[i], 1)); err != nil {
			return err
		}
	}
	return nil
}
