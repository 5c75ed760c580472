package stream

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"phasebench/model"
)

// Knobs says how far cycles differ from each other, by cause. Every deviation
// is a standard deviation; angles are log-normal, the others normal, all cut at
// four deviations. The zero value is an engine whose cycles are all alike.
type Knobs struct {
	Development float64 // of ln(spark to 10 % burned) [-]: the early flame
	Rapid       float64 // of ln(10 to 90 % burned) [-]
	Link        float64 // correlation of the two [-], -1 to 1
	Mixture     float64 // relative, of lambda in the chamber [-]
	Charge      float64 // relative, of the mass at intake closing [-]
	Residual    float64 // relative, of the burned gas in it [-]
	Misfire     float64 // probability that a spark fails [-]

	Speed  float64 // relative, of the mean speed of a cycle [-]
	Drift  float64 // relative, of a slow drift of the speed [-]
	Ripple float64 // relative amplitude within the cycle [-], see Clock

	EndGas     float64 // of ln(knock integral): end gas differs from cycle to cycle [-]
	Knock      float64 // of ln(knock intensity), of cycles that knock [-]
	Background float64 // of ln(intensity of the ordinary noise) [-]
}

// Usual returns the knobs of an engine that runs with residual fraction
// residual [-], laminar flame speed flame [m/s] at the spark, shaft speed speed
// [rad/s] and manifold pressure map [Pa]. Our own choice, made so that the pump
// set's cycles vary as engines' do (common practice, no source): COV of IMEP 1
// to 2 % at full load, 2 to 4 % at part load, 5 to 15 % at idle; LPP 1.5 to 3 deg
// at full load, 4 to 7 deg at idle. Residual and a slow flame make early flames
// differ more.
func Usual(residual, flame, speed, mapPa float64) Knobs {
	slow := 1.
	if flame > 0 {
		slow = math.Min(3, math.Max(1, math.Sqrt(0.8/flame)))
	}
	return Knobs{
		Development: math.Min(0.5, (0.085+1.2*residual)*slow),
		Rapid:       math.Min(0.4, (0.045+0.8*residual)*slow),
		Link:        0.4,
		Mixture:     0.005 + 0.12*residual,
		Charge:      0.005 + 0.15*residual,
		Residual:    0.06,
		Speed:       0.001,
		Drift:       0.002,
		Ripple:      math.Min(0.1, 0.015*math.Pow(230/speed, 2)*mapPa/80e3),
		EndGas:      0.06,
		Knock:       0.5,
		Background:  0.35,
	}
}

// Times returns k with what makes the work of cycles differ scaled by factor;
// the crank, the noise and the failed sparks stay.
func (k Knobs) Times(factor float64) Knobs {
	k.Development *= factor
	k.Rapid *= factor
	k.Mixture *= factor
	k.Charge *= factor
	k.Residual *= factor
	return k
}

// knob is one field of Knobs with its range.
type knob struct {
	Key, About string
	Low, High  float64
	At         func(*Knobs) *float64
}

// Table lists the knobs: their keys in files and flags, meaning and range.
var Table = []knob{
	{"development", "sd of ln(spark to 10 % burned)", 0, 1, func(k *Knobs) *float64 { return &k.Development }},
	{"rapid-burn", "sd of ln(10 to 90 % burned)", 0, 1, func(k *Knobs) *float64 { return &k.Rapid }},
	{"link", "correlation of the two", -1, 1, func(k *Knobs) *float64 { return &k.Link }},
	{"mixture", "relative sd of lambda in the chamber", 0, 0.2, func(k *Knobs) *float64 { return &k.Mixture }},
	{"charge", "relative sd of the charge's mass", 0, 0.1, func(k *Knobs) *float64 { return &k.Charge }},
	{"residual", "relative sd of the burned gas in the charge", 0, 0.5, func(k *Knobs) *float64 { return &k.Residual }},
	{"misfire", "probability that a spark fails", 0, 1, func(k *Knobs) *float64 { return &k.Misfire }},
	{"speed", "relative sd of a cycle's mean speed", 0, 0.05, func(k *Knobs) *float64 { return &k.Speed }},
	{"drift", "relative sd of the slow drift of speed", 0, 0.05, func(k *Knobs) *float64 { return &k.Drift }},
	{"ripple", "relative amplitude of speed within a cycle", 0, 0.3, func(k *Knobs) *float64 { return &k.Ripple }},
	{"end-gas", "sd of ln(knock integral) beyond what pressure explains", 0, 1, func(k *Knobs) *float64 { return &k.EndGas }},
	{"knock", "sd of ln(knock intensity) of cycles that knock", 0, 2, func(k *Knobs) *float64 { return &k.Knock }},
	{"background", "sd of ln(intensity) of cycles that do not", 0, 2, func(k *Knobs) *float64 { return &k.Background }},
}

// Check returns a *model.Problem about the first knob out of range, or nil.
func (k *Knobs) Check() error {
	for _, x := range Table {
		if v := *x.At(k); !(v >= x.Low && v <= x.High) {
			return &model.Problem{Key: "knob." + x.Key, Given: fmt.Sprintf("%.6g", v), Want: fmt.Sprintf("%g to %g", x.Low, x.High)}
		}
	}
	return nil
}

// Set sets one knob from text such as mixture=0.02. The error is a *model.Problem.
func (k *Knobs) Set(text string) error {
	name, value, ok := strings.Cut(text, "=")
	bad := func(want string) error {
		return &model.Problem{Key: "knob", Given: strconv.Quote(text), Want: want}
	}
	var names []string
	for _, x := range Table {
		if names = append(names, x.Key); x.Key != name {
			continue
		}
		v, err := strconv.ParseFloat(value, 64)
		if !ok || err != nil || !(v >= x.Low && v <= x.High) {
			return bad(fmt.Sprintf("%s=VALUE with a value from %g to %g", name, x.Low, x.High))
		}
		*x.At(k) = v
		return nil
	}
	return bad("NAME=VALUE with one of the names " + strings.Join(names, ", "))
}

// Map lists the knobs by their keys.
func (k *Knobs) Map() map[string]float64 {
	m := map[string]float64{}
	for _, x := range Table {
		m[x.Key] = *x.At(k)
	}
	return m
}
