package loop

import (
	"strconv"

	"phasebench/scenarios/record"
)

// Line is one number of a Verdict as people and programs read it.
type Line struct {
	Key   string   // name in JSON, with its unit
	About string   // what it is, in a few words
	Unit  string   // "" for none
	Value *float64 // in that unit; nil: it has none
	Text  string   // the same, rounded; "none"
}

// line is how a Part is told.
type line struct {
	key, about, unit string
	scale            float64
	digits           int
	of               func(*Part) float64
}

func count(of func(*Part) int) func(*Part) float64 {
	return func(p *Part) float64 { return float64(of(p)) }
}

// lines is the one table of what a verdict tells; keys are a contract.
var lines = []line{
	{"settle_cycles", "until the spark stays within 2 deg of where the leg ends, worst leg", "cycles", 1, 0, func(p *Part) float64 { return p.Settle }},
	{"settle_s", "the same in time", "s", 1, 2, func(p *Part) float64 { return p.SettleTime }},
	{"spark_sd_deg", "scatter of the spark once settled", "deg", deg, 2, func(p *Part) float64 { return p.Hover }},
	{"lpp_sd_deg", "scatter of the true peak once settled", "deg", deg, 2, func(p *Part) float64 { return p.HoverLPP }},
	{"lpp_off_target_deg", "true peak less target once settled; positive: late", "deg", deg, 2, func(p *Part) float64 { return p.OffTarget }},
	{"torque_lost_percent", "mean torque lost against the same cycles fired at MBT", "%", 0.01, 3, func(p *Part) float64 { return p.TorqueLost }},
	{"torque_lost_settled_percent", "the same, once settled", "%", 0.01, 3, func(p *Part) float64 { return p.TorqueLostSettled }},
	{"over_peak_cycles", "above the ceiling of peak pressure", "cycles", 1, 0, count(func(p *Part) int { return p.OverPeak })},
	{"over_knock_cycles", "above the ceiling of knock", "cycles", 1, 0, count(func(p *Part) int { return p.OverKnock })},
	{"knocking_percent", "cycles that truly knock", "%", 0.01, 2, func(p *Part) float64 { return p.Knocking }},
	{"misfires", "cycles that truly misfire", "cycles", 1, 0, count(func(p *Part) int { return p.Misfires })},
	{"wrong_side_cycles", "read on the wrong side of the target", "cycles", 1, 0, count(func(p *Part) int { return p.WrongSide })},
	{"false_run_cycles", "longest run on readings more than 10 deg false", "cycles", 1, 0, count(func(p *Part) int { return p.FalseRun })},
	{"declined_percent", "cycles without a reading", "%", 0.01, 1, func(p *Part) float64 { return p.Declined }},
	{"authority_deg", "farthest order from the base map", "deg", deg, 2, func(p *Part) float64 { return p.Authority }},
	{"fallback_cycles", "on the base map, or on the way to it", "cycles", 1, 0, count(func(p *Part) int { return p.Fallback })},
	{"refused_cycles", "orders that the guard changed", "cycles", 1, 0, count(func(p *Part) int { return p.Refused })},
	{"beyond_cycles", "fired where the reader cannot be believed", "cycles", 1, 0, count(func(p *Part) int { return p.Beyond })},
	{"beyond_far_cycles", "by more than 5 deg", "cycles", 1, 0, count(func(p *Part) int { return p.BeyondFar })},
	{"driven_out_cycles", "and driven there by orders", "cycles", 1, 0, count(func(p *Part) int { return p.DrivenOut })},
}

// Lines tells what p came to, in order.
func (p *Part) Lines() []Line {
	var all []Line
	for i := range lines {
		l := &lines[i]
		v := record.Number(l.of(p), l.scale)
		text := "none"
		if v != nil {
			text = strconv.FormatFloat(*v, 'f', l.digits, 64)
		}
		all = append(all, Line{l.key, l.about, l.unit, v, text})
	}
	return all
}

// Record is a Part for JSON.
func (p *Part) Record() map[string]any {
	states := map[string]int{}
	for _, s := range States() {
		states[string(s)] = p.States[s]
	}
	out := map[string]any{"first_cycle": p.First, "last_cycle": p.Last - 1, "guard_states": states}
	for _, l := range p.Lines() {
		out[l.Key] = l.Value
	}
	return out
}

// Record is a Verdict for JSON.
func (v *Verdict) Record() map[string]any {
	out := v.Part.Record()
	var legs []map[string]any
	for i := range v.Legs {
		legs = append(legs, v.Legs[i].Record())
	}
	out["legs"], out["unsettled_legs"], out["runaway"] = legs, v.Unsettled, v.Runaway
	return out
}
