package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"sort"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"phasebench/model"
	"phasebench/scenarios/chart"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/record"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/trust"
)

// trustFlags is what the command trust is told.
type trustFlags struct {
	common
	seeing
	speed, pressure                     span
	from, to, step, target              float64
	limit                               float64
	cycles, workers                     int
	program, csvFile                    string
	quantity, plotReading, plotEnvelope string
	compare                             bool
}

func newTrust() *cobra.Command {
	t := trustFlags{speed: span{name: "speed", unit: "rpm", from: 1500, to: 3500, count: 3},
		pressure: span{name: "map", unit: "kpa", from: 40, to: 100, count: 3}}
	cmd := &cobra.Command{
		Use:   "trust",
		Short: "where a reader of the peak can be believed, and where its reading flips",
		Long: `Lay a reader of the pressure peak over spark, speed and load: how far its readings
are from the truth, how much they scatter, how often it declines, and beyond which
spark on either side of MBT they mislead: more than 5 % on the wrong side of what
the reader reads where the true peak is on target, or moving the wrong way as the
spark does. A loop that follows such readings runs away. Each flip is put down to causes by reading the same cycles once more
with one cause switched off.

The safe range is inside both flips by 3 deg, and where the reader reads at all.
--plot draws one --quantity as heat maps with the flips, --plot-reading what is read
against spark, --plot-envelope the safe ranges on one page; of several readers,
the first.`,
		Example: `  phasebench trust --signal pressure
  phasebench trust --reader tracker --speed-rpm 2200 --map-kpa 60
  phasebench trust --compare --speed-count 2 --map-count 2`,
		Args: noArgs,
	}
	f := cmd.Flags()
	t.common.register(f)
	t.complete(cmd)
	t.seeing.register(cmd, "maximum", "", trailingIon)
	f.Lookup("seed").Usage = "of all draws"
	f.Lookup("speed-rpm").Usage = "one speed in place of a row of them [rpm]"
	f.Lookup("map-kpa").Usage = "one manifold pressure in place of a row of them [kPa]"
	f.Lookup("spark-deg").Usage = "recorded only: the spark is what varies"
	t.speed.register(f, "shaft speed", "rpm")
	t.pressure.register(f, "manifold absolute pressure", "kPa")
	f.Float64Var(&t.from, "from-deg", -20, "most retarded spark [deg before dead centre]")
	f.Float64Var(&t.to, "to-deg", 60, "most advanced spark [deg before dead centre]")
	f.Float64Var(&t.step, "step-deg", 5, "step of the spark [deg]")
	f.IntVar(&t.cycles, "cycles", 100, "cycles at each spark")
	f.StringVar(&t.program, "program", "", "a `COMMAND` that is the reader: a JSON line a cycle in, one out, see package scenarios/reader")
	f.Float64Var(&t.limit, "program-limit-ms", 1000, "time that it has for one cycle [ms]")
	f.Float64Var(&t.target, "target-deg", 15, "true LPP that is wanted [deg after dead centre]; without it, of a rotary engine where its chamber has risen as much")
	f.StringVar(&t.quantity, "quantity", trustQuantityNames()[0], "what --plot draws: "+strings.Join(trustQuantityNames(), ", "))
	f.StringVar(&t.plotReading, "plot-reading", "", "write reading and true peak against spark, of the first operating point, to this `FILE`: .svg, .png or .pdf")
	f.StringVar(&t.plotEnvelope, "plot-envelope", "", "write the safe ranges of spark on one page to this `FILE`: .svg, .png or .pdf")
	f.BoolVar(&t.compare, "compare", false, "rank all readers of the signal on the same cycles")
	f.StringVar(&t.csvFile, "csv", "", "write a line for each spark and node to this `FILE`")
	f.IntVar(&t.workers, "workers", 0, "nodes at once; the result is the same (default: one for each processor)")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error { return t.run(cmd) }
	return cmd
}

func (t *trustFlags) run(cmd *cobra.Command) error {
	f := cmd.Flags()
	if err := errors.Join(checkPicture("plot", t.plot), checkPicture("plot-reading", t.plotReading), checkPicture("plot-envelope", t.plotEnvelope),
		apart(f, "csv", "plot", "plot-reading", "plot-envelope")); err != nil {
		return err
	}
	q, ok := chart.TrustQuantityByName(t.quantity)
	switch {
	case !ok:
		return bad("quantity", t.quantity, "one of "+strings.Join(trustQuantityNames(), ", "))
	case f.Changed("quantity") && t.plot == "":
		return bad("quantity", t.quantity, "a --plot that it is drawn in")
	}
	e, err := t.load(f)
	if err != nil {
		return err
	}
	p, err := t.plan(f, e)
	if err != nil {
		return err
	}
	step, end := progress(cmd.Context(), cmd.ErrOrStderr(), "operating points")
	m, err := trust.Run(cmd.Context(), p, step)
	end()
	if err != nil {
		return err
	}
	me := newMeta("trust", t.seed, e)
	me.spans(f, &t.speed, &t.pressure)
	me.also(f, "from-deg", "to-deg", "step-deg", "cycles", "signal", "reader", "program", "target-deg", "window-from-deg", "window-to-deg", "blank-ms", "smooth-deg", "compare")
	if len(t.faults) > 0 {
		me.Flags["fault"] = strings.Join(t.faults, " ")
		me.keys = append(me.keys, "fault")
	}
	if t.csvFile != "" {
		if err := writeFile(t.csvFile, func(w io.Writer) error { return trustCSV(w, m, me.notes()) }); err != nil {
			return err
		}
	}
	title := fmt.Sprintf("%s, lambda %.3g", plain(e.Name), e.Point.Lambda)
	for _, x := range []struct {
		file string
		draw func() *chart.Chart
	}{
		{t.plot, func() *chart.Chart { return chart.Trust(m, 0, q, title) }},
		{t.plotReading, func() *chart.Chart { return chart.Reading(m, 0, 0, title) }},
		{t.plotEnvelope, func() *chart.Chart { return chart.Envelope(m, 0, title) }},
	} {
		if x.file != "" {
			if err := me.picture(x.file, x.draw()); err != nil {
				return err
			}
		}
	}
	if t.json {
		return writeJSON(cmd.OutOrStdout(), trustJSON(m, me))
	}
	w := cmd.OutOrStdout()
	fmt.Fprintf(w, "%s, %s signal, lambda %.3g, target LPP %.4g deg after dead centre, %d cycles at each of %d sparks%s\n\n",
		plain(e.Name), t.signal, e.Point.Lambda, t.target, t.cycles, len(p.Sparks), shaft(e))
	if t.compare {
		printRanking(w, m)
	} else {
		printTrust(w, m.Nodes[0])
	}
	fmt.Fprintln(w)
	fmt.Fprintln(w, wrap(record.Caution, 96))
	return nil
}

// plan reads the flags.
func (t *trustFlags) plan(f *pflag.FlagSet, e *model.Engine) (*trust.Plan, error) {
	if err := liken(f, e, "target-deg"); err != nil {
		return nil, err
	}
	p := &trust.Plan{Engine: e, Cycles: t.cycles, Seed: t.seed, Setup: sensor.Usual(e), Readers: []string{t.reader},
		Target: t.target * deg, Causes: !t.compare, Workers: t.workers}
	p.Setup.Wheel = nil
	var err error
	if p.Speeds, err = t.speed.values(f, e, rpm, e.Point.Speed, func(op *model.Operating, v float64) { op.Speed = v }); err != nil {
		return nil, err
	}
	if p.MAPs, err = t.pressure.values(f, e, 1e3, e.Point.MAP, func(op *model.Operating, v float64) { op.MAP = v }); err != nil {
		return nil, err
	}
	if p.Signal, err = t.of(); err != nil {
		return nil, err
	}
	if p.Trailing = t.signal == trailingIon; p.Trailing && e.Burn.Plugs != 2 {
		return nil, bad("signal", t.signal, "an engine with two plugs")
	}
	p.Setup.Trailing = nil
	switch {
	case p.Trailing:
		p.Setup.Trailing, p.Setup.Ion, p.Setup.Pressure = sensor.UsualIon(), nil, nil
	case p.Signal == reader.Ion:
		p.Setup.Pressure = nil
	default:
		p.Setup.Ion = nil
	}
	if !(t.step >= 0.5 && t.step <= 30) {
		return nil, bad("step-deg", t.step, "0.5 to 30 deg")
	}
	if !(t.to > t.from) {
		return nil, bad("to-deg", t.to, fmt.Sprintf("more than --from-deg = %g", t.from))
	}
	for i := 0; ; i++ {
		spark := t.from + float64(i)*t.step
		if spark > t.to+1e-9 {
			break
		}
		op := e.Point
		if op.Spark = spark * deg; op.Check(e) != nil {
			return nil, bad("from-deg", spark, "sparks between intake closing and exhaust opening")
		}
		p.Sparks = append(p.Sparks, op.Spark)
	}
	if len(p.Sparks) < 3 {
		return nil, bad("step-deg", t.step, "three sparks or more from --from-deg to --to-deg")
	}
	set := reader.UsualFor(p.Signal, p.Engine)
	t.settings(f, set)
	p.Settings = set
	if p.Setup.Faults, err = t.broken(); err != nil {
		return nil, err
	}
	if t.compare {
		if f.Changed("reader") {
			return nil, bad("reader", t.reader, "nothing beside --compare")
		}
		p.Readers = reader.Names(p.Signal)
	}
	if t.program != "" {
		if f.Changed("reader") {
			return nil, bad("reader", t.reader, "nothing beside --program")
		}
		if !(t.limit >= 1 && t.limit <= 60000) {
			return nil, bad("program-limit-ms", t.limit, "1 to 60000")
		}
		p.Program, p.Limit = strings.Fields(t.program), time.Duration(t.limit*float64(time.Millisecond))
		if !t.compare {
			p.Readers = nil
		}
		p.Readers = append(p.Readers, trust.Outside)
	} else if f.Changed("program-limit-ms") {
		return nil, bad("program-limit-ms", t.limit, "a --program that it is about")
	}
	for _, name := range p.Readers {
		if name == trust.Outside {
			continue
		}
		if _, err := reader.New(name, p.Signal, e, set); err != nil {
			return nil, behindFlags(err, readerFlags)
		}
	}
	if err := set.Check(); err != nil {
		return nil, behindFlags(err, readerFlags)
	}
	if _, err := sensor.New(e, p.Setup, t.seed); err != nil {
		return nil, err
	}
	if err := checkWorkers(f, &p.Workers); err != nil {
		return nil, err
	}
	return p, p.Check()
}

func trustQuantityNames() (names []string) {
	for _, q := range chart.TrustQuantities() {
		names = append(names, q.String())
	}
	return names
}

// readerFlags are the flags behind settings of readers.
var readerFlags = map[string]string{"reader.from_deg": "window-from-deg", "reader.to_deg": "window-to-deg", "reader.blank_ms": "blank-ms",
	"reader.smooth_deg": "smooth-deg"}

// angle writes an angle [rad] in degrees.
func angle(v float64) string {
	if math.IsNaN(v) {
		return "none"
	}
	s := fmt.Sprintf("%.1f", v/deg)
	if s == "-0.0" {
		s = "0.0"
	}
	return s
}

func flipText(f *trust.Flip) string {
	if f.How == "" {
		return "none"
	}
	if f.How == trust.Nowhere {
		return f.How
	}
	return angle(f.Spark) + " " + f.How
}

func printTrust(w io.Writer, nodes []trust.Node) {
	fmt.Fprintf(w, "reader %s; sparks in deg before dead centre\n", nodes[0].Reader)
	fmt.Fprintln(w, " speed    MAP    MBT      retarded      advanced           safe   reads on  at MBT: bias     sd  declined  cycles for")
	fmt.Fprintln(w, "   rpm    kPa                 flip          flip          range     target           deg    deg         %  1 deg, 95 %")
	for i := range nodes {
		n := &nodes[i]
		c := n.AtMBT()
		safe := "none"
		if !math.IsNaN(n.Safe.From) {
			safe = angle(n.Safe.From) + " to " + angle(n.Safe.To)
		}
		needed := "none"
		if !math.IsNaN(n.Needed) {
			needed = fmt.Sprintf("%.0f", n.Needed)
		}
		fmt.Fprintf(w, "%6.0f %6.4g %6s %13s %13s %14s %10s %13s %6s %9.1f %11s\n", n.Speed/rpm, n.MAP/1e3, angle(n.MBT), flipText(&n.Retarded), flipText(&n.Advanced),
			safe, angle(n.Aim), angle(c.Bias), angle(c.SD), 100*c.Declined, needed)
	}
	fmt.Fprintln(w)
	fmt.Fprintln(w, "Causes: without which a flip moves away from MBT, and how far")
	none := true
	for i := range nodes {
		n := &nodes[i]
		for _, x := range []struct {
			side string
			flip *trust.Flip
		}{{"retarded", &n.Retarded}, {"advanced", &n.Advanced}} {
			if x.flip.How == "" {
				continue
			}
			none = false
			var all []string
			for _, c := range x.flip.Causes {
				if math.IsInf(c.Moves, 1) {
					all = append(all, c.Name+" (gone)")
				} else {
					all = append(all, fmt.Sprintf("%s (%.1f deg)", c.Name, c.Moves/deg))
				}
			}
			if len(all) == 0 {
				all = []string{"no single one"}
			}
			fmt.Fprintf(w, "%6.0f rpm %4.4g kPa, %s: %s\n", n.Speed/rpm, n.MAP/1e3, x.side, strings.Join(all, "; "))
		}
	}
	if none {
		fmt.Fprintln(w, "no flip to explain")
	}
}

// printRanking ranks the readers of m.
func printRanking(w io.Writer, m *trust.Map) {
	all := m.Ranking()
	sort.SliceStable(all, func(i, k int) bool { return all[i].Error < all[k].Error })
	fmt.Fprintln(w, "                rms error   of 16-cycle  declined  wrong  flip-free span   time of a")
	fmt.Fprintln(w, "reader        single, deg   means, deg         %  side %             deg reading, us")
	for _, r := range all {
		fmt.Fprintf(w, "%-12s %12s %12s %9.1f %6.1f %15s %11.1f\n", r.Reader, angle(r.Error), angle(r.Averaged), 100*r.Declined, 100*r.Wrong, angle(r.Span), r.Cost*1e6)
	}
	fmt.Fprintln(w, "Errors are of sparks within 10 deg of MBT, all nodes alike; the span is the mean of the nodes'.")
}

func trustJSON(m *trust.Map, me meta) any {
	doc := struct {
		Nodes []trust.NodeRecord `json:"nodes"`
		Meta  meta               `json:"meta"`
	}{Meta: me}
	for r := range m.Nodes {
		for i := range m.Nodes[r] {
			doc.Nodes = append(doc.Nodes, m.Nodes[r][i].Record())
		}
	}
	return doc
}

// trustCSV writes a line for each cell; an empty field is a number that it does
// not have.
func trustCSV(w io.Writer, m *trust.Map, notes []string) error {
	if err := record.Notes(w, notes); err != nil {
		return err
	}
	out := csv.NewWriter(w)
	if err := out.Write([]string{"reader", "speed_rpm", "map_kpa", "spark_deg_btdc", "true_peak_deg_atdc", "true_peak_sd_deg", "read_deg_atdc", "read_sd_deg", "bias_deg",
		"rms_error_deg", "rms_error_of_16_deg", "declined_fraction", "correlation", "slope", "wrong_side_fraction"}); err != nil {
		return err
	}
	field := func(v *float64) string {
		if v == nil {
			return ""
		}
		return strconv.FormatFloat(*v, 'g', 9, 64)
	}
	for r := range m.Nodes {
		for i := range m.Nodes[r] {
			n := m.Nodes[r][i].Record()
			for _, c := range n.Cells {
				row := []string{n.Reader, field(&n.Speed), field(&n.MAP), field(&c.Spark)}
				for _, v := range []*float64{c.Truth, c.TruthSD, c.Read, c.SD, c.Bias, c.Error, c.Averaged, c.Declined, c.Correlation, c.Slope, c.Wrong} {
					row = append(row, field(v))
				}
				if err := out.Write(row); err != nil {
					return err
				}
			}
		}
	}
	out.Flush()
	return out.Error()
}
