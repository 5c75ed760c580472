package sensor

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"phasebench/model"
)

// Fault is what is wrong with an instrument in cycles From <= n < To; To < 0: for
// ever. Severity is in the unit of its kind.
type Fault struct {
	Name     string
	From, To int
	Severity float64
}

func (f *Fault) active(n int) bool { return n >= f.From && (f.To < 0 || n < f.To) }

// String returns f as ParseFault reads it.
func (f Fault) String() string {
	text := f.Name + "=" + strconv.FormatFloat(f.Severity, 'g', -1, 64)
	switch {
	case f.To >= 0:
		text += fmt.Sprintf("@%d-%d", f.From, f.To)
	case f.From > 0:
		text += fmt.Sprintf("@%d-", f.From)
	}
	return text
}

// Instruments, as kinds of faults name them.
const (
	onPressure = "pressure"
	onIon      = "ion"
	onTrailing = "trailing"
	onCrank    = "crank" // the angle reference: encoder and wheel, fitted or not
	onWheel    = "wheel"
	onCam      = "cam"
	onKnock    = "knock"
)

// FaultKind is one kind of fault.
type FaultKind struct {
	Name       string
	Instrument string
	Unit       string // of the severity; "" for none
	About      string
	Low, High  float64 // severities that are allowed
	Typical    float64
}

// kind is a FaultKind and what it does to the bench at severity s, age cycles
// after it began.
type kind struct {
	FaultKind
	apply func(b *bench, s float64, age int)
}

// kinds is the one table of faults. Ranges and typical severities are our own
// choice. Those of ion current are of the leading plug unless they say otherwise.
var kinds = []kind{
	{FaultKind{"sensitivity", onPressure, "%", "reads too much by a share of the pressure", -50, 100, 5},
		func(b *bench, s float64, _ int) { b.pressure.Sensitivity = (1+b.pressure.Sensitivity)*(1+s/100) - 1 }},
	{FaultKind{"offset", onPressure, "bar", "reads too much by a constant", -50, 50, 2},
		func(b *bench, s float64, _ int) { b.pressure.Offset += s * bar }},
	{FaultKind{"drift", onPressure, "bar/1000 cycles", "an offset that grows from 0", -100, 100, 5},
		func(b *bench, s float64, age int) {
			b.pressure.Offset += s * bar / 1000 * float64(age)
			b.pressure.Drift += s * bar / 1000
		}},
	{FaultKind{"thermal-shock", onPressure, "bar", "a dip after peak heat, its depth at full load", 0.01, 5, 1},
		func(b *bench, s float64, _ int) { b.pressure.Shock += s * bar }},
	{FaultKind{"passage-resonance", onPressure, "mm", "a passage to the diaphragm, so long, that rings", 10, 300, 60},
		func(b *bench, s float64, _ int) { b.pressure.Passage = max(b.pressure.Passage, s/1000) }},
	{FaultKind{"amplifier-droop", onPressure, "1/s", "the charge leaks away at this rate; the mean is lost", 0.01, 50, 2},
		func(b *bench, s float64, _ int) { b.pressure.Leak += s }},
	{FaultKind{"lag", onPressure, "us", "a first-order lag with this time constant", 1, 5000, 100},
		func(b *bench, s float64, _ int) { b.pressure.Lag += s * usec }},
	{FaultKind{"noise", onPressure, "bar", "white noise, rms", 0.001, 5, 0.3},
		func(b *bench, s float64, _ int) { b.pressure.Noise = math.Hypot(b.pressure.Noise, s*bar) }},
	{FaultKind{"saturation", onPressure, "bar", "the amplifier gives no more than this", 1, 500, 20},
		func(b *bench, s float64, _ int) { b.pressure.Ceiling = lower(b.pressure.Ceiling, s*bar) }},
	{FaultKind{"coarse-adc", onPressure, "bits", "the ADC has no more bits than these", 4, 16, 7},
		func(b *bench, s float64, _ int) { b.pressure.coarse(int(math.Round(s))) }},
	{FaultKind{"dead-pressure", onPressure, "", "the transducer reads 0", 1, 1, 1},
		func(b *bench, _ float64, _ int) { b.pressure.Dead = true }},

	{FaultKind{"ringing", onIon, "x", "the coil rings so many times as strongly and as long", 1.1, 20, 3},
		func(b *bench, s float64, _ int) {
			b.ion.Ringing *= s
			b.ion.RingTime *= s
		}},
	{FaultKind{"blanking", onIon, "ms", "the output is held at 0 for so long from the spark on", 0.1, 20, 3},
		func(b *bench, s float64, _ int) { b.ion.Blank = max(b.ion.Blank, s/1000) }},
	{FaultKind{"weak-thermal", onIon, "%", "the thermal peak lacks this share", 1, 100, 80},
		func(b *bench, s float64, _ int) { b.ion.Thermal *= 1 - s/100 }},
	{FaultKind{"fouling", onIon, "uA", "this current leaks through a dirty insulator", 0.1, 500, 10},
		func(b *bench, s float64, _ int) { b.ion.Leak += s * uA }},
	{FaultKind{"additive", onIon, "x", "metal in the fuel raises both peaks so many times", 0.1, 20, 3},
		func(b *bench, s float64, _ int) { b.ion.Additive *= s }},
	{FaultKind{"plug-noise", onIon, "x", "scatter, shift and noise of the plug are so many times as great", 1.1, 20, 4},
		func(b *bench, s float64, _ int) {
			b.ion.Scatter *= s
			b.ion.Shift *= s
			b.ion.Noise *= s
		}},
	{FaultKind{"ion-saturation", onIon, "uA", "the circuit gives no more than this", 0.5, 1000, 15},
		func(b *bench, s float64, _ int) { b.ion.Ceiling = lower(b.ion.Ceiling, s*uA) }},
	{FaultKind{"dead-ion", onIon, "", "the leading plug reads 0", 1, 1, 1},
		func(b *bench, _ float64, _ int) { b.ion.Dead = true }},
	{FaultKind{"dead-trailing", onTrailing, "", "the trailing plug reads 0", 1, 1, 1},
		func(b *bench, _ float64, _ int) { b.trailing.Dead = true }},

	{FaultKind{"tdc-offset", onCrank, "deg", "encoder and wheel read so much too late an angle", -20, 20, 1},
		func(b *bench, s float64, _ int) { b.offset += s * deg }},
	{FaultKind{"tooth-jitter", onWheel, "deg", "rms of each edge", 0.01, 2, 0.3},
		func(b *bench, s float64, _ int) { b.wheel.Jitter = math.Hypot(b.wheel.Jitter, s*deg) }},
	{FaultKind{"missing-tooth", onWheel, "teeth", "so many teeth of each cycle are not seen", 1, 10, 1},
		func(b *bench, s float64, _ int) { b.wheel.Lost += int(math.Round(s)) }},
	{FaultKind{"extra-tooth", onWheel, "teeth", "so many edges of each cycle no tooth made", 1, 10, 1},
		func(b *bench, s float64, _ int) { b.wheel.Extra += int(math.Round(s)) }},
	{FaultKind{"dead-wheel", onWheel, "", "the wheel gives no edge", 1, 1, 1},
		func(b *bench, _ float64, _ int) { b.wheel.Dead = true }},
	{FaultKind{"dead-cam", onCam, "", "the cam gives no edge", 1, 1, 1},
		func(b *bench, _ float64, _ int) { b.camDead = true }},

	{FaultKind{"structure-resonance", onKnock, "kHz", "a loose mount rings at this frequency", 1, 40, 5},
		func(b *bench, s float64, _ int) {
			b.knock.Own = s * 1e3
			b.knock.Damping = looseDamping
		}},
	{FaultKind{"valve-noise", onKnock, "V", "the blow of each closing valve; heard near the window only", 0.01, 50, 2},
		func(b *bench, s float64, _ int) { b.knock.Valves += s }},
	{FaultKind{"dead-knock", onKnock, "", "the knock sensor reads 0", 1, 1, 1},
		func(b *bench, _ float64, _ int) { b.knock.Dead = true }},
}

// looseDamping is that of a loose mount [-] (our own choice).
const looseDamping = 0.03

// lower returns the lower of two ceilings, of which the first may be none, 0.
func lower(ceiling, s float64) float64 {
	if ceiling > 0 {
		return min(ceiling, s)
	}
	return s
}

// coarse gives t an ADC of no more than bits.
func (t *Transducer) coarse(bits int) {
	if t.Bits == 0 {
		t.Bits, t.Low, t.High = bits, usualLow, usualHigh
	}
	t.Bits = min(t.Bits, bits)
}

// Kinds lists the kinds of faults.
func Kinds() []FaultKind {
	all := make([]FaultKind, len(kinds))
	for i := range kinds {
		all[i] = kinds[i].FaultKind
	}
	return all
}

// names lists the kinds by name.
func names() string {
	all := make([]string, len(kinds))
	for i := range kinds {
		all[i] = kinds[i].Name
	}
	return "one of " + strings.Join(all, ", ")
}

func kindOf(name string) *kind {
	for i := range kinds {
		if kinds[i].Name == name {
			return &kinds[i]
		}
	}
	return nil
}

// check returns the kind of f, or a *model.Problem.
func (f *Fault) check() (*kind, error) {
	bad := func(want string) (*kind, error) {
		return nil, &model.Problem{Key: "fault", Given: f.String(), Want: want}
	}
	k := kindOf(f.Name)
	switch {
	case k == nil:
		return bad(names())
	case !(f.Severity >= k.Low && f.Severity <= k.High):
		return bad(strings.TrimRight(fmt.Sprintf("%g to %g %s", k.Low, k.High, k.Unit), " "))
	case f.From < 0 || (f.To >= 0 && f.To <= f.From):
		return bad("cycles from 0 or more to a later one")
	}
	return k, nil
}

// arm finds the kinds of the faults of the setup.
func (r *Rig) arm() error {
	set := &r.set
	fitted := map[string]bool{
		onPressure: set.Pressure != nil, onIon: set.Ion != nil, onTrailing: set.Trailing != nil,
		onCrank: true, onWheel: set.Wheel != nil, onCam: set.Cam, onKnock: set.Knock != nil,
	}
	for i := range set.Faults {
		f := &set.Faults[i]
		k, err := f.check()
		if err != nil {
			return err
		}
		if !fitted[k.Instrument] {
			return &model.Problem{Key: "fault", Given: f.String(), Want: "an instrument that is fitted: " + k.Instrument + " is not"}
		}
		r.faults = append(r.faults, k)
	}
	return nil
}

// ParseFault reads NAME[=SEVERITY][@FROM-[TO]], such as tdc-offset=1,
// noise=0.2@50- or dead-ion@100-200: active in cycles FROM and on, up to but
// without TO. Without a severity it is the typical one, without cycles all.
// Errors are a *model.Problem.
func ParseFault(text string) (Fault, error) {
	bad := func(want string) (Fault, error) {
		return Fault{}, &model.Problem{Key: "fault", Given: text, Want: want}
	}
	rest, cycles, some := strings.Cut(text, "@")
	name, number, given := strings.Cut(rest, "=")
	f := Fault{Name: name, To: -1}
	k := kindOf(name)
	if k == nil {
		return bad(names())
	}
	f.Severity = k.Typical
	var err error
	if given {
		if f.Severity, err = strconv.ParseFloat(number, 64); err != nil {
			return bad("a number after =")
		}
	}
	if some {
		from, to, dash := strings.Cut(cycles, "-")
		if f.From, err = strconv.Atoi(from); err != nil || !dash {
			return bad("cycles such as @100-200 or @50-")
		}
		if to != "" {
			if f.To, err = strconv.Atoi(to); err != nil || f.To < 0 {
				return bad("cycles such as @100-200 or @50-")
			}
		}
	}
	if _, err := f.check(); err != nil {
		return Fault{}, err
	}
	return f, nil
}
