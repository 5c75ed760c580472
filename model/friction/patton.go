package friction

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// Patton adds up the rubbing parts of a four-stroke spark-ignition engine and
// its auxiliaries. Source: K.J. Patton, R.G. Nitschke and J.B. Heywood,
// SAE 890836, 1989: the structure is confirmed, all coefficients are from
// memory. It was fitted to engines of 1980 to 1988 with several cylinders, at
// some 1000 to 6000 rpm and no more than ambient intake pressure; a single
// cylinder bears alone what such engines share, and no test engine was one.
//
// With B, S bore and stroke [mm], D, L diameter and length of a bearing [mm],
// nb bearings, nc cylinders, nv valves of lift Lv [mm], N [rpm], Sp [m/s],
// rc compression ratio and pi/pa intake over ambient pressure, in kPa:
//
//	crankshaft     1.22e5 D/(B²·S·nc)                  seals, D of the mains
//	               3.03e-4 N·D³·L·nb/(B²·S·nc)         films of the mains
//	               1.35e-10 D²·N²·nb/nc                turbulence, mains
//	reciprocating  294 Sp/B                            skirt
//	               4.06e4 (1+1000/N)/B²                rings without gas load
//	               3.03e-4 N·D³·L·nb/(B²·S·nc)         films of the pins
//	gas load       6.89 pi/pa·(0.088 rc + 0.182 rc^(1.33−0.0238 Sp))
//	valve train    244 N·nb/(B²·S·nc)                  camshaft bearings
//	               Cff (1+1000/N)·nv/(S·nc)            flat followers, or
//	               Crf N·nv/(S·nc)                     rollers
//	               Coh Lv^1.5·N^0.5·nv/(B·S·nc)        oscillating, film
//	               Com (1+1000/N)·Lv·nv/(S·nc)         oscillating, mixed
//	auxiliaries    6.23 + 5.22e-3 N − 1.79e-7 N²       oil, water, bare alternator
//
// Pumping, the paper's last part, is left out: whoever computes the cycle
// knows it. The law does not see the peak pressure, so that unlike ChenFlynn
// it does not move the best spark for brake torque. The terms with 1+1000/N
// stand for mixed lubrication and make the whole fall with speed first, up to
// 1250 rpm with flat fingers and less with the others.
type Patton struct {
	Bore, Stroke float64  // [m], > 0
	Ratio        float64  // compression ratio [-], > 1
	Cylinders    int      // >= 1
	Mains        Bearings // main bearings of the whole engine
	Pins         Bearings // crank pins of the whole engine
	CamBearings  int      // of the whole engine, >= 0
	Valves       int      // of the whole engine, >= 1
	Lift         float64  // greatest valve lift [m], > 0
	Follower     Follower
	Roller       bool // followers roll: Follower.Rolling holds, not Flat
}

// Bearings are alike journal bearings.
type Bearings struct {
	Count            int     // >= 1
	Diameter, Length float64 // [m], > 0
}

// Follower holds the coefficients of a type of valve train, in the units of
// the correlation; each is >= 0.
type Follower struct {
	Flat    float64 // Cff [kPa·mm]
	Rolling float64 // Crf [kPa·mm/rpm]
	Film    float64 // Coh [kPa·mm^0.5/rpm^0.5]
	Mixed   float64 // Com [kPa]
}

// followers by the name used in engine files; all four figures of each row
// are from memory of the table in SAE 890836.
var followers = map[string]Follower{
	"direct-single": {Flat: 200, Rolling: 0.0076, Film: 0.5, Mixed: 10.7}, // one overhead cam on the tappets
	"direct-double": {Flat: 133, Rolling: 0.0050, Film: 0.5, Mixed: 10.7}, // two overhead cams on the tappets
	"finger":        {Flat: 600, Rolling: 0.0227, Film: 0.2, Mixed: 42.8}, // overhead cam, finger with its pivot at the end
	"rocker":        {Flat: 400, Rolling: 0.0151, Film: 0.5, Mixed: 21.4}, // overhead cam, rocker with its pivot amid
	"pushrod":       {Flat: 400, Rolling: 0.0151, Film: 0.5, Mixed: 32.1}, // cam in the block
}

// FollowerNames lists the valve trains that FollowerByName knows, sorted.
func FollowerNames() []string { return slices.Sorted(maps.Keys(followers)) }

// FollowerByName returns the usual coefficients of a valve train, or an error
// that wraps ErrUnknown.
func FollowerByName(name string) (Follower, error) {
	if f, ok := followers[name]; ok {
		return f, nil
	}
	return Follower{}, fmt.Errorf("friction: valve train %q, want one of %s: %w", name, strings.Join(FollowerNames(), ", "), ErrUnknown)
}

// Single returns the law of one cylinder of bore and stroke [m], compression
// ratio [-] and a number of valves: two mains, one pin, two camshaft bearings
// and flat followers, in proportions of our own choice near common practice:
// mains 0.6 and pin 0.5 bores across, both 0.3 bores long, lift 0.1 bores.
func Single(bore, stroke, ratio float64, valves int, f Follower) Patton {
	return Patton{
		Bore: bore, Stroke: stroke, Ratio: ratio, Cylinders: 1,
		Mains:       Bearings{Count: 2, Diameter: 0.6 * bore, Length: 0.3 * bore},
		Pins:        Bearings{Count: 1, Diameter: 0.5 * bore, Length: 0.3 * bore},
		CamBearings: 2, Valves: valves, Lift: 0.1 * bore, Follower: f,
	}
}

// Check implements Law.
func (p Patton) Check() error {
	for _, v := range []struct {
		field, unit string
		value, over float64
	}{
		{"Bore", "m", p.Bore, 0},
		{"Stroke", "m", p.Stroke, 0},
		{"Ratio", "", p.Ratio, 1},
		{"Mains.Diameter", "m", p.Mains.Diameter, 0},
		{"Mains.Length", "m", p.Mains.Length, 0},
		{"Pins.Diameter", "m", p.Pins.Diameter, 0},
		{"Pins.Length", "m", p.Pins.Length, 0},
		{"Lift", "m", p.Lift, 0},
	} {
		if !(v.value > v.over) || math.IsInf(v.value, 0) {
			return bad("Patton."+v.field, v.value, v.unit, fmt.Sprintf("> %g and finite", v.over))
		}
	}
	for _, v := range []struct {
		field       string
		value, from int
	}{
		{"Cylinders", p.Cylinders, 1},
		{"Mains.Count", p.Mains.Count, 1},
		{"Pins.Count", p.Pins.Count, 1},
		{"CamBearings", p.CamBearings, 0},
		{"Valves", p.Valves, 1},
	} {
		if v.value < v.from {
			return bad("Patton."+v.field, v.value, "", fmt.Sprintf(">= %d", v.from))
		}
	}
	for _, v := range []struct {
		field, unit string
		value       float64
	}{
		{"Flat", "kPa·mm", p.Follower.Flat},
		{"Rolling", "kPa·mm/rpm", p.Follower.Rolling},
		{"Film", "kPa·mm^0.5/rpm^0.5", p.Follower.Film},
		{"Mixed", "kPa", p.Follower.Mixed},
	} {
		if !(v.value >= 0) || math.IsInf(v.value, 0) {
			return bad("Patton.Follower."+v.field, v.value, v.unit, ">= 0 and finite")
		}
	}
	return nil
}

// Terms are the parts of the friction mean effective pressure [Pa].
type Terms struct {
	Crank         float64 // seals, mains, turbulence
	Reciprocating float64 // skirt, rings, pins
	Gas           float64 // rings pressed on by gas
	Valvetrain    float64
	Auxiliary     float64
}

// Sum returns the friction mean effective pressure [Pa].
func (t Terms) Sum() float64 { return t.Crank + t.Reciprocating + t.Gas + t.Valvetrain + t.Auxiliary }

// Terms returns the parts one by one; it reads all of c but Peak.
func (p Patton) Terms(c *Conditions) Terms {
	const kPa, mm = 1e3, 1e-3
	var (
		n      = c.Omega * 60 / (2 * math.Pi) // [rpm]
		bore   = p.Bore / mm
		lift   = p.Lift / mm
		each   = p.Stroke / mm * float64(p.Cylinders) // S·nc [mm]
		swept  = bore * bore * each                   // B²·S·nc [mm³]
		mixed  = 1 + 1000/n
		seal   = p.Mains.Diameter / mm
		valves = float64(p.Valves) / each
		follow = p.Follower.Flat * mixed
	)
	if p.Roller {
		follow = p.Follower.Rolling * n
	}
	return Terms{
		Crank: kPa * (1.22e5*seal/swept +
			3.03e-4*n*p.Mains.films()/swept +
			1.35e-10*seal*seal*n*n*float64(p.Mains.Count)/float64(p.Cylinders)),
		Reciprocating: kPa * (294*c.Speed/bore +
			4.06e4*mixed/(bore*bore) +
			3.03e-4*n*p.Pins.films()/swept),
		Gas: kPa * 6.89 * c.Intake / c.Ambient *
			(0.088*p.Ratio + 0.182*math.Pow(p.Ratio, 1.33-0.0238*c.Speed)),
		Valvetrain: kPa * (244*n*float64(p.CamBearings)/swept +
			valves*(follow+
				p.Follower.Film*lift*math.Sqrt(lift*n)/bore+
				p.Follower.Mixed*mixed*lift)),
		Auxiliary: kPa * (6.23 + 5.22e-3*n - 1.79e-7*n*n),
	}
}

// films is D³·L·nb [mm⁴].
func (b Bearings) films() float64 {
	const mm4 = 1e-12 // [m⁴]
	return b.Diameter * b.Diameter * b.Diameter * b.Length * float64(b.Count) / mm4
}

// MEP implements Law.
func (p Patton) MEP(c *Conditions) float64 { return p.Terms(c).Sum() }
