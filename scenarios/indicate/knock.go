package indicate

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"phasebench/model/knock"
)

// Where knock is looked for. Our own choice, but for the angles (common practice, no
// source).
const (
	knockFrom, knockTo = -10 * deg, 70 * deg
	quietFrom, quietTo = -90 * deg, -30 * deg
	bandLow, bandHigh  = 0.8, 1.3 // of the first mode: the gas is cooler later on, and hotter in spots
	perPeriod          = 2.5      // samples to a period at the upper end of the band, at least
	overQuiet          = 4.       // times the rms of the quiet window
	sustained          = 1.       // for so many periods of the first mode
	coolest, hottest   = 1500., 3000.
	burnedR            = 290. // gas constant of burned gas, about [J/kg/K]
)

// LeastKnock is the least MAPO that has an onset [Pa]: every burn rings a little, by a
// tenth of a bar or two. Our own choice.
const LeastKnock = 0.25e5

// Knock is what rings in the band of the bore's first acoustic mode in one cycle.
type Knock struct {
	// MAPO is the maximum amplitude of pressure oscillation [Pa]: the greatest filtered
	// pressure from -10 to 70 deg, either way. Its error is the rms of the same band in
	// the compression, from -90 to -30 deg.
	MAPO   Number
	Onset  float64    // [rad]; NaN: none
	Band   [2]float64 // where the filter has fallen to half [Hz]
	Period float64    // of the first mode in angle, at the speed given [rad]
}

// ringing keeps what the filter of Knock needs for rows of one length.
type ringing struct {
	fft        *fourier.FFT
	full       *fourier.CmplxFFT
	line       []complex128 // of the pressure
	wave, work []complex128 // filtered pressure with its Hilbert transform
	tone       float64      // of the bore's first mode, over the speed of sound [1/m]
}

// Knock looks for knock in one recorded cycle, as Cycle takes it, at shaft speed speed
// [rad/s]. The band is 0.8 to 1.3 of the first mode of the bore (knock.Modes) in burned
// gas, γ 1.25, of the greatest mean temperature that p·V = m·R·T has near dead centre,
// 1500 to 3000 K. The filter is a Gaussian in frequency, half at both ends of the band:
// it shifts nothing, and rings least of all filters of that width.
//
// Onset is where the amplitude (the modulus of the filtered pressure and its Hilbert
// transform) on its way to its maximum last passes half of it, or 4 times the rms of
// the quiet window if that is more: a filter that shifts nothing turns a ringing that
// starts at once into an amplitude that is half way up there. The first passage of 4
// times the rms would come up to two periods early, and the earlier the louder the knock.
// There is none where MAPO is no more than that or LeastKnock, nor where the amplitude
// does not stay above it for a period.
//
// The error is about angles too coarse for the band at that speed, and tells how many
// samples a cycle would do.
func (x *Indicator) Knock(theta, p []float64, speed float64) (Knock, error) {
	n := len(theta)
	if n < 90 || len(p) != n {
		return Knock{}, fmt.Errorf("indicate: %d angles and %d pressures, want 90 or more of each", n, len(p))
	}
	if !(speed > 0) || math.IsInf(speed, 0) {
		return Knock{}, fmt.Errorf("indicate: Knock: speed = %g rad/s, want > 0", speed)
	}
	x.room(n)
	if err := x.ring.room(n, x.chamber.Bore()); err != nil {
		return Knock{}, err
	}
	copy(x.smooth, p)
	for i := range theta {
		x.theta[i] = theta[i] - x.set.Shift
	}
	first := x.ring.tone * x.sound(x.zero().Value)
	step := theta[1] - theta[0]
	k := Knock{Onset: math.NaN(), Band: [2]float64{bandLow * first, bandHigh * first}, Period: speed / first}
	if rate := speed / step; !(rate >= perPeriod*k.Band[1]) {
		want := int(math.Ceil(perPeriod * k.Band[1] * float64(n) * step / speed))
		return Knock{}, fmt.Errorf("indicate: Knock: %d samples a cycle, want %d or more: %g to a period of %.1f kHz at %.0f rpm",
			n, want, perPeriod, k.Band[1]/1e3, speed*30/math.Pi)
	}
	x.bandPass(p, k.Band, speed/step)
	wave := x.ring.wave
	quiet := 0.
	from, to := x.index(quietFrom), x.index(math.Min(quietTo, -x.op.Spark-clearOfValves))
	for _, v := range wave[from:to] {
		quiet += real(v) * real(v)
	}
	k.MAPO.Error = math.Sqrt(quiet / float64(max(1, to-from)))
	from, to = x.index(knockFrom), x.index(knockTo)
	top := from
	for i := from; i < to; i++ {
		k.MAPO.Value = math.Max(k.MAPO.Value, math.Abs(real(wave[i])))
		if abs(wave[i]) > abs(wave[top]) {
			top = i
		}
	}
	least := math.Max(overQuiet*k.MAPO.Error, LeastKnock)
	if !(k.MAPO.Value > least) {
		return k, nil
	}
	level := math.Max(abs(wave[top])/2, overQuiet*k.MAPO.Error)
	at, until := top, top
	for at > from && abs(wave[at-1]) >= level {
		at--
	}
	for until < to && abs(wave[until]) >= level {
		until++
	}
	if float64(until-at)*step < sustained*k.Period {
		return k, nil
	}
	k.Onset = x.theta[at]
	if at > from {
		a, b := abs(wave[at-1]), abs(wave[at])
		k.Onset -= (b - level) / (b - a) * step
	}
	return k, nil
}

func abs(z complex128) float64 { return math.Hypot(real(z), imag(z)) }

// sound is the speed of sound in the burned gas [m/s], with zero added to the recorded
// pressure.
func (x *Indicator) sound(zero float64) float64 {
	warm := 0.
	for i := x.index(peakFrom); i < x.index(peakTo); i++ {
		warm = math.Max(warm, (x.smooth[i]+zero)*x.volume(x.theta[i])/(x.closed.Mass*burnedR))
	}
	return knock.SoundSpeed(knock.BurnedGamma, burnedR, math.Max(coolest, math.Min(hottest, warm)))
}

// room makes r ready for rows of n samples.
func (r *ringing) room(n int, bore float64) error {
	if len(r.wave) == n {
		return nil
	}
	modes, err := knock.Modes(bore, 1, 1)
	if err != nil {
		return err
	}
	*r = ringing{fourier.NewFFT(n), fourier.NewCmplxFFT(n), make([]complex128, n/2+1), make([]complex128, n), make([]complex128, n), modes[0].Frequency}
	return nil
}

// bandPass puts p, sampled at rate [Hz], filtered into x.ring.wave, with its Hilbert
// transform as the imaginary part. The row is a period.
func (x *Indicator) bandPass(p []float64, band [2]float64, rate float64) {
	n := len(p)
	r := &x.ring
	r.fft.Coefficients(r.line, p)
	mid, half := (band[0]+band[1])/2, (band[1]-band[0])/2
	clear(r.work)
	for i, c := range r.line {
		u := (float64(i)*rate/float64(n) - mid) / half
		if i > 0 {
			r.work[i] = c * complex(2*math.Exp2(-u*u)/float64(n), 0)
		}
	}
	r.full.Sequence(r.wave, r.work)
}
