package main

import (
	"io"
	"math"
	"strconv"
	"strings"

	"phasebench/model"
	"phasebench/scenarios/chart"
	"phasebench/scenarios/sweep"
	"phasebench/solve"
)

// checkPicture checks the extension of a picture file, given by flag, before any
// work is done; "" is no picture.
func checkPicture(flag, file string) error {
	if file == "" {
		return nil
	}
	if _, err := chart.FormatOf(file); err != nil {
		return &model.Problem{Key: keyOf(flag), Given: strconv.Quote(file), Want: "a file name ending in .svg, .png or .pdf"}
	}
	return nil
}

// picture writes c to a file with m inside.
func (m *meta) picture(file string, c *chart.Chart) error {
	format, err := chart.FormatOf(file)
	if err != nil {
		return err
	}
	about := chart.Meta{}
	for _, n := range m.notes() {
		key, value, _ := strings.Cut(n, ": ")
		about = append(about, chart.Entry{Key: key, Value: value})
	}
	return writeFile(file, func(w io.Writer) error { return c.Write(w, format, about) })
}

// scaled returns v/unit for each v.
func scaled(v []float64, unit float64) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		out[i] = v[i] / unit
	}
	return out
}

// sketchCycle plots the pressure around firing as text.
func sketchCycle(w io.Writer, c *solve.Cycle) error {
	var xs, ys []float64
	for i, th := range c.Theta {
		if math.Abs(th) <= 120*deg {
			xs, ys = append(xs, th), append(ys, c.Pressure[i])
		}
	}
	marks := []chart.SketchMark{{X: c.LPP / deg, Y: c.Peak / 1e5, Letter: 'P', Text: "peak"}}
	if at := -c.Operating.Spark; c.Lit {
		for i := range c.Theta {
			if c.Theta[i] >= at {
				marks = append(marks, chart.SketchMark{X: at / deg, Y: c.Pressure[i] / 1e5, Letter: 'S', Text: "spark"})
				break
			}
		}
	}
	return chart.Sketch(w, scaled(xs, deg), scaled(ys, 1e5), &chart.SketchOptions{
		XTitle: "angle [deg after dead centre]", YTitle: "pressure [bar]", Angle: true, Marks: marks})
}

// sketchSweep plots torque against spark as text.
func sketchSweep(w io.Writer, r *sweep.Result) error {
	xs, ys := make([]float64, len(r.Points)), make([]float64, len(r.Points))
	for i, p := range r.Points {
		xs[i], ys[i] = p.Operating.Spark/deg, p.Torque
	}
	return chart.Sketch(w, xs, ys, &chart.SketchOptions{
		XTitle: "spark advance [deg before dead centre]", YTitle: "brake torque [N m]", Angle: true, Samples: true,
		Marks: []chart.SketchMark{{X: r.MBT.Operating.Spark / deg, Y: r.MBT.Torque, Letter: 'M', Text: "MBT"}}})
}

// wrap breaks text into lines of at most width characters.
func wrap(text string, width int) string {
	var b strings.Builder
	n := 0
	for _, word := range strings.Fields(text) {
		if n > 0 && n+1+len(word) > width {
			b.WriteByte('\n')
			n = 0
		} else if n > 0 {
			b.WriteByte(' ')
			n++
		}
		b.WriteString(word)
		n += len(word)
	}
	return b.String()
}

// sketchHold plots airflow against spark as text.
func sketchHold(w io.Writer, points []sweep.Point, least *sweep.Point) error {
	var xs, ys []float64
	for i := range points {
		if p := &points[i]; p.Missing == "" {
			xs, ys = append(xs, p.Operating.Spark/deg), append(ys, p.Airflow*1e3)
		}
	}
	return chart.Sketch(w, xs, ys, &chart.SketchOptions{
		XTitle: "spark advance [deg before dead centre]", YTitle: "airflow [g/s]", Angle: true, Samples: true,
		Marks: []chart.SketchMark{{X: least.Operating.Spark / deg, Y: least.Airflow * 1e3, Letter: 'L', Text: "least"}}})
}
