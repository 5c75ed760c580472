package loop

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"

	"phasebench/scenarios/reader"
)

// place is where a value of a file goes, and comes from when it is written.
type place interface {
	set(v *value) (want string) // "": it is set
	text() string               // as it is written
}

// real is a number in the unit of its key.
type real struct {
	at    *float64
	scale float64 // SI value of 1 in the file
}

func (p real) set(v *value) string {
	x, ok := v.number(p.scale)
	if !ok {
		return "a number"
	}
	*p.at = x
	return ""
}
func (p real) text() string { return decimal(*p.at, p.scale) }

type whole struct{ at *int }

func (p whole) set(v *value) string {
	n, ok := v.whole()
	if !ok {
		return "a whole number"
	}
	*p.at = n
	return ""
}
func (p whole) text() string { return strconv.Itoa(*p.at) }

// truth is true or false; off: what it sets is true where the file says false.
type truth struct {
	at  *bool
	off bool
}

func (p truth) set(v *value) string {
	if v.kind != unstable.Bool {
		return "true or false"
	}
	*p.at = (v.text == "true") != p.off
	return ""
}
func (p truth) text() string { return strconv.FormatBool(*p.at != p.off) }

type word struct{ at *string }

func (p word) set(v *value) string {
	if v.kind != unstable.String {
		return "a text in quotes"
	}
	*p.at = v.text
	return ""
}
func (p word) text() string { return quoted(*p.at) }

type words struct{ at *[]string }

func (p words) set(v *value) string {
	const want = "a list of texts in quotes, one or more"
	if v.kind != unstable.Array || len(v.list) == 0 {
		return want
	}
	all := make([]string, len(v.list))
	for i, x := range v.list {
		if word.set(word{&all[i]}, x) != "" {
			return want
		}
	}
	*p.at = all
	return ""
}
func (p words) text() string {
	all := make([]string, len(*p.at))
	for i, s := range *p.at {
		all[i] = quoted(s)
	}
	return "[" + strings.Join(all, ", ") + "]"
}

// either is one of two words, for false and true.
type either struct {
	at      *bool
	no, yes string
}

func (p either) set(v *value) string {
	if v.kind != unstable.String || (v.text != p.no && v.text != p.yes) {
		return fmt.Sprintf("%q or %q", p.no, p.yes)
	}
	*p.at = v.text == p.yes
	return ""
}
func (p either) text() string {
	if *p.at {
		return quoted(p.yes)
	}
	return quoted(p.no)
}

type signal struct{ at *reader.Signal }

func (p signal) set(v *value) string {
	ion := *p.at == reader.Ion
	want := either{&ion, reader.Pressure.String(), reader.Ion.String()}.set(v)
	*p.at = reader.Pressure
	if ion {
		*p.at = reader.Ion
	}
	return want
}
func (p signal) text() string { return quoted(p.at.String()) }

// none is what some keys have in place of nothing.
const none = "none"

// optional is a word that may be "none", which is "".
type optional struct{ at *string }

func (p optional) set(v *value) string {
	want := word(p).set(v)
	if *p.at == none {
		*p.at = ""
	}
	return want
}
func (p optional) text() string {
	if *p.at == "" {
		return quoted(none)
	}
	return quoted(*p.at)
}

// torque is one that is held, NaN for none.
type torque struct{ at *float64 }

func (p torque) set(v *value) string {
	x, ok := v.number(1)
	switch {
	case v.kind == unstable.String && v.text == none || ok && x == 0:
		x = math.NaN()
	case !(x > 0): // NaN too
		return `more than 0; 0 or "none": the throttle stays`
	}
	*p.at = x
	return ""
}
func (p torque) text() string {
	if math.IsNaN(*p.at) {
		return quoted(none)
	}
	return decimal(*p.at, 1)
}

// limit is a time in ms, to the nearest ns.
type limit struct{ at *time.Duration }

func (p limit) set(v *value) string {
	x, ok := v.number(float64(time.Millisecond))
	if !ok || !(math.Abs(x) < float64(24*time.Hour)) {
		return "a number, 1 to 60000 ms"
	}
	*p.at = time.Duration(math.Round(x))
	return ""
}
func (p limit) text() string { return decimal(float64(*p.at), float64(time.Millisecond)) }

// number returns a number in SI.
func (v *value) number(scale float64) (float64, bool) {
	switch v.kind {
	case unstable.Integer:
		n, err := strconv.ParseInt(v.text, 0, 64)
		return float64(n) * scale, err == nil
	case unstable.Float:
		return parsed(strings.ReplaceAll(v.text, "_", ""), scale)
	}
	return math.NaN(), false
}

func (v *value) whole() (int, bool) {
	if v.kind != unstable.Integer {
		return 0, false
	}
	n, err := strconv.ParseInt(v.text, 0, 64)
	return int(n), err == nil && int64(int(n)) == n
}

// exactDigits is from how many digits on a decimal is taken for exactly what it says,
// not for the nearest float64: those have 17.
const exactDigits = 18

// parsed returns what text says, times scale: the nearest float64 times scale, as
// engine files are read, or, with 18 digits and more, all of them times scale, rounded
// once. So every float64 can be written, also one that is no multiple of scale.
func parsed(text string, scale float64) (float64, bool) {
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return math.NaN(), false
	}
	mantissa, _, _ := strings.Cut(strings.ToLower(text), "e")
	digits := strings.TrimLeft(strings.Replace(mantissa, ".", "", 1), "+-0")
	if x == 0 || math.IsInf(x, 0) || math.IsNaN(x) || len(digits) < exactDigits {
		return x * scale, true
	}
	b, _, err := big.ParseFloat(text, 10, bigBits, big.ToNearestEven)
	if err != nil {
		return math.NaN(), false
	}
	x, _ = b.Mul(b, big.NewFloat(scale)).Float64()
	return x, true
}

// bigBits hold more than 30 digits and a factor [bit].
const bigBits = 256

// decimal writes v, in SI, so that it reads back exactly: with as few digits as will.
func decimal(v, scale float64) string {
	about := v / scale
	for digits := 15; digits < exactDigits; digits++ {
		for _, x := range []float64{about, math.Nextafter(about, math.Inf(-1)), math.Nextafter(about, math.Inf(1))} {
			text := strconv.FormatFloat(x, 'g', digits, 64)
			if again, _ := parsed(text, scale); again == v {
				if !strings.ContainsAny(text, ".e") {
					text += ".0"
				}
				return text
			}
		}
	}
	b := new(big.Float).SetPrec(bigBits).SetFloat64(v)
	return b.Quo(b, big.NewFloat(scale)).Text('e', 24)
}

// quoted writes s as a TOML string.
func quoted(s string) string {
	text, err := toml.Marshal(map[string]string{"s": s})
	if err != nil {
		return `""` // a string always marshals
	}
	return strings.TrimSpace(strings.TrimPrefix(string(text), "s = "))
}
