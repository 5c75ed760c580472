package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"phasebench/model"
	"phasebench/scenarios/chart"
	"phasebench/scenarios/record"
	"phasebench/scenarios/sweep"
)

const (
	mostNodes   = 10000 // of a map
	mostWorkers = 1024

	rpm = 2 * math.Pi / 60
)

// span is the flags of one side of a map.
type span struct {
	name, unit string // of the flags, such as speed and rpm
	from, to   float64
	count      int
}

func (s *span) flag(end string) string {
	if end == "count" {
		return s.name + "-count"
	}
	return s.name + "-" + end + "-" + s.unit
}

func (s *span) flags() []string { return []string{s.flag("from"), s.flag("to"), s.flag("count")} }

// alone is the flag that gives just one value.
func (s *span) alone() string { return s.name + "-" + s.unit }

func (s *span) register(f *pflag.FlagSet, what, unit string) {
	f.Float64Var(&s.from, s.flag("from"), s.from, "first "+what+" ["+unit+"]")
	f.Float64Var(&s.to, s.flag("to"), s.to, "last "+what+" ["+unit+"]")
	f.IntVar(&s.count, s.flag("count"), s.count, "how many of them, evenly spaced")
}

// spans records the sides all.
func (m *meta) spans(f *pflag.FlagSet, all ...*span) {
	for _, s := range all {
		if f.Changed(s.alone()) {
			m.also(f, s.alone())
		} else {
			m.also(f, s.flags()...)
		}
	}
}

// values lists the side in SI; unit is that of the flags. given is the value
// of the flag that gives just one, and set puts a value into a point of e.
func (s *span) values(f *pflag.FlagSet, e *model.Engine, unit, given float64, set func(*model.Operating, float64)) ([]float64, error) {
	if f.Changed(s.alone()) {
		for _, name := range s.flags() {
			if f.Changed(name) {
				return nil, &model.Problem{Key: keyOf(name), Given: f.Lookup(name).Value.String(), Want: "nothing beside --" + s.alone()}
			}
		}
		return []float64{given}, nil
	}
	check := func(flag string, value float64) error {
		op := e.Point
		set(&op, value*unit)
		var p *model.Problem
		if err := op.Check(e); errors.As(err, &p) {
			return &model.Problem{Key: keyOf(flag), Given: short(value), Want: p.Want}
		}
		return nil
	}
	if s.count < 1 || s.count > mostNodes {
		return nil, &model.Problem{Key: keyOf(s.flag("count")), Given: strconv.Itoa(s.count), Want: fmt.Sprintf("1 to %d", mostNodes)}
	}
	if err := check(s.flag("from"), s.from); err != nil {
		return nil, err
	}
	if s.count == 1 {
		if f.Changed(s.flag("to")) {
			return nil, &model.Problem{Key: keyOf(s.flag("to")), Given: short(s.to), Want: "nothing beside --" + s.flag("count") + " 1"}
		}
		return []float64{s.from * unit}, nil
	}
	if err := check(s.flag("to"), s.to); err != nil {
		return nil, err
	}
	if !(s.to > s.from) {
		return nil, &model.Problem{Key: keyOf(s.flag("to")), Given: short(s.to),
			Want: "more than --" + s.flag("from") + " = " + short(s.from)}
	}
	all := make([]float64, s.count)
	for i := range all {
		all[i] = (s.from + (s.to-s.from)*float64(i)/float64(s.count-1)) * unit
	}
	return all, nil
}

func newMap() *cobra.Command {
	var c common
	speed := span{name: "speed", unit: "rpm", from: 1200, to: 3600, count: 5}
	pressure := span{name: "map", unit: "kpa", from: 40, to: 100, count: 5}
	plan := sweep.Plan{}
	var lpp, ca50 float64
	var csvFile, quantity string
	cmd := &cobra.Command{
		Use:   "map",
		Short: "MBT, LPP at MBT, torque, knock limit over speed and load",
		Long: `Find MBT and the knock-limited spark over a grid of speed and manifold pressure,
and what it costs to hold LPP, or CA50, at one angle everywhere in place of MBT.
--plot draws one --quantity of it as a heat map.`,
		Example: `  phasebench map
  phasebench map --speed-count 9 --map-count 9 --csv map.csv --plot map.svg
  phasebench map --plot cost.svg --quantity lpp-cost --lpp-deg 14`,
		Args: noArgs,
	}
	f := cmd.Flags()
	c.register(f)
	c.complete(cmd)
	f.Lookup("speed-rpm").Usage = "one speed in place of a row of them [rpm]"
	f.Lookup("map-kpa").Usage = "one manifold pressure in place of a row of them [kPa]"
	f.Lookup("spark-deg").Usage = "recorded only: a map finds the spark"
	speed.register(f, "shaft speed", "rpm")
	pressure.register(f, "manifold absolute pressure", "kPa")
	f.Float64Var(&lpp, "lpp-deg", 15, "LPP to hold [deg after dead centre]; without it, of a rotary engine where its chamber has risen as much")
	f.Float64Var(&ca50, "ca50-deg", 8, "CA50 to hold [deg after dead centre]; likewise")
	f.IntVar(&plan.Workers, "workers", 0, "nodes solved at once; the result is the same (default: one for each processor)")
	f.StringVar(&csvFile, "csv", "", "write the nodes as CSV to this `FILE`")
	var names []string
	for _, q := range sweep.Quantities() {
		names = append(names, q.String())
	}
	f.StringVar(&quantity, "quantity", names[0], "what --plot draws: "+strings.Join(names, ", "))
	_ = cmd.RegisterFlagCompletionFunc("quantity", cobra.FixedCompletions(names, cobra.ShellCompDirectiveNoFileComp))
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		f := cmd.Flags()
		if err := errors.Join(checkPicture("plot", c.plot), apart(f, "csv", "plot")); err != nil {
			return err
		}
		q, ok := sweep.QuantityByName(quantity)
		switch {
		case !ok:
			return &model.Problem{Key: "quantity", Given: strconv.Quote(quantity), Want: "one of " + strings.Join(names, ", ")}
		case f.Changed("quantity") && c.plot == "":
			return &model.Problem{Key: "quantity", Given: quantity, Want: "a --plot that it is drawn in"}
		}
		e, err := c.load(f)
		if err != nil {
			return err
		}
		if err := liken(f, e, "lpp-deg", "ca50-deg"); err != nil {
			return err
		}
		p := plan // in SI; the flags keep what was given
		if err := settleGrid(f, e, &p, &speed, &pressure); err != nil {
			return err
		}
		p.LPP, p.CA50 = lpp*deg, ca50*deg
		g, err := sweep.Map(cmd.Context(), e, e.Point, &p)
		if err != nil {
			return err
		}
		m := newMeta("map", c.seed, e)
		m.spans(f, &speed, &pressure)
		m.also(f, "lpp-deg", "ca50-deg")
		title := fmt.Sprintf("%s, lambda %.3g%s", plain(e.Name), e.Point.Lambda, shaft(e))
		if csvFile != "" {
			if err := writeFile(csvFile, func(w io.Writer) error { return mapCSV(w, g, m.notes()) }); err != nil {
				return err
			}
		}
		if c.plot != "" {
			if err := m.picture(c.plot, chart.Map(g, q, title)); err != nil {
				return err
			}
		}
		if c.json {
			return writeJSON(cmd.OutOrStdout(), mapJSON(g, lpp, ca50, m))
		}
		return printMap(cmd.OutOrStdout(), g, title)
	}
	return cmd
}

// settleGrid fills p from the flags.
func settleGrid(f *pflag.FlagSet, e *model.Engine, p *sweep.Plan, speed, pressure *span) error {
	var err error
	p.Speeds, err = speed.values(f, e, rpm, e.Point.Speed, func(op *model.Operating, v float64) { op.Speed = v })
	if err != nil {
		return err
	}
	p.MAPs, err = pressure.values(f, e, 1e3, e.Point.MAP, func(op *model.Operating, v float64) { op.MAP = v })
	if err != nil {
		return err
	}
	if n := len(p.Speeds) * len(p.MAPs); n > mostNodes {
		return &model.Problem{Key: keyOf(pressure.flag("count")), Given: strconv.Itoa(len(p.MAPs)),
			Want: fmt.Sprintf("at most %d nodes in all, not %d", mostNodes, n)}
	}
	return checkWorkers(f, &p.Workers)
}

// mapNode is a node of a map; the tags are a contract.
type mapNode struct {
	SpeedRPM float64       `json:"speed_rpm"`
	MAPKPa   float64       `json:"map_kpa"`
	Error    string        `json:"error,omitempty"` // why the rest is null
	MBT      *record.Cycle `json:"mbt"`
	Knock    *knockLimit   `json:"knock_limit"`
	HeldLPP  heldAngle     `json:"held_lpp"`
	HeldCA50 heldAngle     `json:"held_ca50"`
}

// heldAngle is what it costs to hold an angle.
type heldAngle struct {
	SparkDegBTDC  *float64 `json:"spark_deg_btdc"`
	TorqueLossNm  *float64 `json:"torque_loss_nm"`
	TorqueLoss    *float64 `json:"torque_loss_fraction"` // null also where the engine is dragged
	BrakeTorqueNm *float64 `json:"brake_torque_nm"`
}

func holding(n *sweep.Node, p *sweep.Point, fraction float64) heldAngle {
	r := record.Of(&p.Operating, p.Lit, &p.Indicators)
	h := heldAngle{SparkDegBTDC: r.SparkDegBTDC, BrakeTorqueNm: r.BrakeTorqueNm}
	if r.BrakeTorqueNm != nil {
		lost := n.MBT.Torque - p.Torque
		h.TorqueLossNm = &lost
		if !math.IsNaN(fraction) {
			h.TorqueLoss = &fraction
		}
	} else {
		h.SparkDegBTDC = nil
	}
	return h
}

func mapNodeOf(n *sweep.Node) mapNode {
	out := mapNode{SpeedRPM: n.Speed / rpm, MAPKPa: n.MAP / 1e3, Error: n.Err}
	if n.Err != "" {
		return out
	}
	mbt := record.Of(&n.MBT.Operating, n.MBT.Lit, &n.MBT.Indicators)
	knock := knockLimitOf(&n.Knock)
	out.MBT, out.Knock = &mbt, &knock
	out.HeldLPP, out.HeldCA50 = holding(n, &n.HeldLPP, n.LPPCost()), holding(n, &n.HeldCA50, n.CA50Cost())
	return out
}

// mapJSON is the document of g; lpp and ca50 are what is held [deg].
func mapJSON(g *sweep.Grid, lpp, ca50 float64, m meta) any {
	doc := struct {
		SpeedsRPM []float64 `json:"speeds_rpm"`
		MAPsKPa   []float64 `json:"maps_kpa"`
		LPP       float64   `json:"held_lpp_deg_atdc"`
		CA50      float64   `json:"held_ca50_deg_atdc"`
		Nodes     []mapNode `json:"nodes"` // all pressures of the first speed, then those of the next
		Meta      meta      `json:"meta"`
	}{SpeedsRPM: scaled(g.Speeds, rpm), MAPsKPa: scaled(g.MAPs, 1e3), LPP: lpp, CA50: ca50, Meta: m}
	for i := range g.Nodes {
		doc.Nodes = append(doc.Nodes, mapNodeOf(&g.Nodes[i]))
	}
	return doc
}

// mapColumns are the columns of the CSV.
var mapColumns = []struct {
	name  string
	value func(*mapNode) *float64
}{
	{"speed_rpm", func(n *mapNode) *float64 { return &n.SpeedRPM }},
	{"map_kpa", func(n *mapNode) *float64 { return &n.MAPKPa }},
	{"mbt_spark_deg_btdc", func(n *mapNode) *float64 { return n.MBT.SparkDegBTDC }},
	{"mbt_lpp_deg_atdc", func(n *mapNode) *float64 { return n.MBT.LPPDegATDC }},
	{"mbt_ca50_deg_atdc", func(n *mapNode) *float64 { return n.MBT.CA50DegATDC }},
	{"mbt_brake_torque_nm", func(n *mapNode) *float64 { return n.MBT.BrakeTorqueNm }},
	{"mbt_airflow_g_s", func(n *mapNode) *float64 { return n.MBT.AirflowGS }},
	{"mbt_residual_fraction", func(n *mapNode) *float64 { return n.MBT.ResidualFraction }},
	{"mbt_knock_integral", func(n *mapNode) *float64 { return n.MBT.KnockIntegral }},
	{"knock_limit_spark_deg_btdc", func(n *mapNode) *float64 { return n.Knock.limited().SparkDegBTDC }},
	{"knock_limit_brake_torque_nm", func(n *mapNode) *float64 { return n.Knock.limited().BrakeTorqueNm }},
	{"held_lpp_spark_deg_btdc", func(n *mapNode) *float64 { return n.HeldLPP.SparkDegBTDC }},
	{"held_lpp_torque_loss_nm", func(n *mapNode) *float64 { return n.HeldLPP.TorqueLossNm }},
	{"held_lpp_torque_loss_fraction", func(n *mapNode) *float64 { return n.HeldLPP.TorqueLoss }},
	{"held_ca50_spark_deg_btdc", func(n *mapNode) *float64 { return n.HeldCA50.SparkDegBTDC }},
	{"held_ca50_torque_loss_nm", func(n *mapNode) *float64 { return n.HeldCA50.TorqueLossNm }},
	{"held_ca50_torque_loss_fraction", func(n *mapNode) *float64 { return n.HeldCA50.TorqueLoss }},
}

// mapCSV writes a line for each node; an empty field is a number that it does
// not have.
func mapCSV(w io.Writer, g *sweep.Grid, notes []string) error {
	if err := record.Notes(w, notes); err != nil {
		return err
	}
	out := csv.NewWriter(w)
	var row []string
	for _, k := range mapColumns {
		row = append(row, k.name)
	}
	if err := out.Write(append(row, "knock_limit", "error")); err != nil {
		return err
	}
	for i := range g.Nodes {
		n := mapNodeOf(&g.Nodes[i])
		kind := ""
		if n.Error == "" {
			kind = n.Knock.Kind
		} else {
			n.MBT, n.Knock = &record.Cycle{}, &knockLimit{}
		}
		row = row[:0]
		for _, k := range mapColumns {
			field := ""
			if v := k.value(&n); v != nil {
				field = strconv.FormatFloat(*v, 'g', 9, 64)
			}
			row = append(row, field)
		}
		if err := out.Write(append(row, kind, n.Error)); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// printMap writes a row for each node.
func printMap(w io.Writer, g *sweep.Grid, title string) error {
	fmt.Fprintf(w, "%s; cost of holding LPP at %.4g and CA50 at %.4g deg ATDC in place of MBT\n\n", title, g.LPP/deg, g.CA50/deg)
	fmt.Fprintln(w, " speed    MAP      MBT      LPP     CA50   torque  knock lim.   torque  hold LPP hold CA50")
	fmt.Fprintln(w, "   rpm    kPa deg BTDC deg ATDC deg ATDC      N m    deg BTDC      N m    loss %    loss %")
	for i := range g.Nodes {
		n := mapNodeOf(&g.Nodes[i])
		if i > 0 && i%len(g.MAPs) == 0 && len(g.MAPs) > 1 {
			fmt.Fprintln(w)
		}
		fmt.Fprintf(w, "%6.4g %6.4g", n.SpeedRPM, n.MAPKPa)
		if n.Error != "" {
			fmt.Fprintln(w, "  "+plain(n.Error))
			continue
		}
		limit, torque := n.Knock.Kind, "" // says what there is in place of a limit
		if at := n.Knock.limited(); at.SparkDegBTDC != nil {
			limit, torque = text("%.1f", at.SparkDegBTDC), text("%.2f", at.BrakeTorqueNm)
		}
		fmt.Fprintf(w, " %8s %8s %8s %8s %11s %8s %9s %9s\n", text("%.1f", n.MBT.SparkDegBTDC), text("%.1f", n.MBT.LPPDegATDC),
			text("%.1f", n.MBT.CA50DegATDC), text("%.2f", n.MBT.BrakeTorqueNm), limit, torque, percent("%.2f", n.HeldLPP.TorqueLoss, 1), percent("%.2f", n.HeldCA50.TorqueLoss, 1))
	}
	fmt.Fprintln(w)
	fmt.Fprintln(w, wrap(record.Caution, 96))
	return nil
}
