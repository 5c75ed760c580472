package chart

import "math"

// IonBeside draws the ion current of many cycles above their pressure, with
// the mean of those drawn, the spark and the mean LPP.
func IonBeside(r *Ragged, title string) *Chart {
	return &Chart{Title: title, Subtitle: r.summary(), Footer: r.footer(), x: raggedAxis(),
		About:  "Ion current of many cycles against angle, and below it their pressure.",
		panels: []panel{r.ionPanel(), r.pressurePanel(4, false)}}
}

func (r *Ragged) ionPanel() panel {
	const micro = 1e-6
	theta := scaled(r.IonTheta, 1/deg)
	var curves, shown [][]float64
	for _, c := range r.Ion {
		c = scaled(c, 1/micro)
		curves, shown = append(curves, c), append(shown, cut(theta, c, raggedFrom, raggedTo))
	}
	low, top := span(shown...)
	p := panel{weight: 4, y: newAxis("ion current [µA]", linear, math.Min(0, 1.05*low), 1.12*top, 6)}
	r.marks(&p, true, false)
	lit, _ := r.overlay(&p, theta, curves) // the panel below names the misfires
	mean := average(lit, len(theta))
	p.layers = append(p.layers, trace{xs: theta, ys: mean, style: boldLine})
	if len(lit) > 0 {
		p.labels = append(p.labels, label{"mean of the " + counted(len(lit), "lit cycle") + " drawn", ink, high(theta, mean)})
	}
	return p
}

// average returns the mean of the finite values of curves at each of n samples,
// NaN where there is none.
func average(curves [][]float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		sum, count := 0.0, 0
		for _, c := range curves {
			if i < len(c) && finite(c[i]) {
				sum, count = sum+c[i], count+1
			}
		}
		out[i] = sum / float64(count)
	}
	return out
}
