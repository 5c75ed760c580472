// Package chart draws solved cycles, spark sweeps and ideal cycles as SVG,
// PNG or PDF, and sketches curves in plain text.
//
// Pictures show degrees, bar and cm³; what goes in is SI and radians. A value
// that is NaN is left out, so that no data can break a picture. The same
// chart and Meta always give the same bytes.
package chart

import (
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Format is a kind of picture file.
type Format string

// The formats that Write knows.
const (
	SVG Format = "svg"
	PNG Format = "png"
	PDF Format = "pdf"
)

// ErrFormat is wrapped by errors about an unknown format.
var ErrFormat = errors.New("unknown picture format, want svg, png or pdf")

// FormatOf tells the format of file by its extension, of either case.
func FormatOf(file string) (Format, error) {
	ext := filepath.Ext(file)
	switch f := Format(strings.ToLower(strings.TrimPrefix(ext, "."))); f {
	case SVG, PNG, PDF:
		return f, nil
	}
	return "", fmt.Errorf("chart: %q has the extension %q: %w", file, ext, ErrFormat)
}

// Chart is a picture of stacked panels that share one horizontal axis.
type Chart struct {
	Title    string
	Subtitle string // the numbers that matter
	Footer   string // bottom left: where the engine ran
	About    string // what the picture shows, for readers who cannot see it

	x      axis
	strip  []stroke // named along the top
	panels []panel
	note   string // left of the title of the x axis
}

// Write writes the picture in format f with meta inside the file. The value
// of meta under "version" also goes to the bottom of the picture.
func (c *Chart) Write(w io.Writer, f Format, meta Meta) error {
	if err := meta.check(); err != nil {
		return err
	}
	var b []byte
	var err error
	switch f {
	case SVG:
		b, err = c.svg(meta)
	case PNG:
		b, err = c.png(meta)
	case PDF:
		b, err = c.pdf(meta)
	default:
		err = fmt.Errorf("chart: format %q: %w", f, ErrFormat)
	}
	if err != nil {
		return err
	}
	_, err = w.Write(b)
	return err
}

// draw paints the whole page.
func (c *Chart) draw(to vg.Canvas, version string) {
	page := draw.NewCanvas(to, pageWidth, pageHeight)
	page.SetColor(paper)
	page.Fill(page.Rectangle.Path())

	top := pageHeight - margin
	page.SetColor(rust)
	page.Fill(vg.Rectangle{Min: vg.Point{X: margin, Y: top}, Max: vg.Point{X: margin + 24, Y: top + 2.2}}.Path())
	top -= titleSize + 1
	write(page, titleSize, ink, vg.Point{X: margin, Y: top}, 0, fit(c.Title, titleSize, pageWidth-2*margin))
	if c.Subtitle != "" {
		top -= textSize + 5
		write(page, textSize, muted, vg.Point{X: margin, Y: top}, 0, fit(c.Subtitle, textSize, pageWidth-2*margin))
	}
	top -= 8

	y := margin - 4
	notice := strings.Join(strings.Fields("phasebench "+version), " ") + ": a model is not your engine"
	notice = fit(notice, smallSize, pageWidth/2-margin)
	write(page, smallSize, muted, vg.Point{X: pageWidth - margin, Y: y}, 1, notice)
	room := pageWidth - 2*margin - 15 - textWidth(notice, smallSize)
	write(page, smallSize, muted, vg.Point{X: margin, Y: y}, 0, fit(c.Footer, smallSize, room))

	// Room for the tick labels: the widest of all panels, so that axes align.
	left := vg.Length(0)
	for i := range c.panels {
		for _, t := range c.panels[i].y.ticks {
			left = max(left, textWidth(t.label, textSize))
		}
	}
	area := vg.Rectangle{
		Min: vg.Point{X: margin + left + tickLength + 3, Y: margin + smallSize + 5 + 2*textSize + tickLength + 8},
		Max: vg.Point{X: pageWidth - margin - 4, Y: top},
	}
	for i := range c.panels {
		if l := c.panels[i].legend; l != nil {
			area.Max.X = min(area.Max.X, pageWidth-margin-l.room())
		}
	}
	write(page, smallSize, muted, vg.Point{X: area.Min.X, Y: margin + smallSize + 8}, 0,
		fit(c.note, smallSize, area.Size().X-textWidth(c.x.title, textSize)-15))
	if len(c.strip) > 0 {
		drawStrip(page, c.x, c.strip, vg.Rectangle{Min: vg.Point{X: area.Min.X, Y: top - stripHeight}, Max: vg.Point{X: area.Max.X, Y: top}})
		top -= stripHeight + 2
		area.Max.Y = top
	}
	weights := 0.0
	for i := range c.panels {
		weights += c.panels[i].weight
	}
	head := textSize + 5 // above each panel, for the title of its axis
	height := area.Size().Y - vg.Length(len(c.panels))*head - vg.Length(len(c.panels)-1)*panelGap
	for i := range c.panels {
		p := &c.panels[i]
		h := height * vg.Length(p.weight/weights)
		top -= head
		p.draw(page, c.x, vg.Rectangle{Min: vg.Point{X: area.Min.X, Y: top - h}, Max: vg.Point{X: area.Max.X, Y: top}}, i == len(c.panels)-1)
		top -= h + panelGap
	}
}

// drawStrip names parts of the axis x in rect.
func drawStrip(page draw.Canvas, x axis, parts []stroke, rect vg.Rectangle) {
	c := draw.Canvas{Canvas: page.Canvas, Rectangle: rect}
	for i, s := range parts {
		from, to := c.X(x.at(s.from)), c.X(x.at(s.to))
		page.SetColor(grid)
		if i%2 == 1 {
			page.SetColor(shade)
		}
		page.Fill(vg.Rectangle{Min: vg.Point{X: from + 0.5, Y: rect.Min.Y}, Max: vg.Point{X: to - 0.5, Y: rect.Max.Y}}.Path())
		write(page, textSize, ink, vg.Point{X: (from + to) / 2, Y: rect.Min.Y + 0.5*(stripHeight-0.72*textSize)}, 0.5, fit(s.name, textSize, to-from))
	}
}

// fit shortens text to the width room.
func fit(text string, size, room vg.Length) string {
	if textWidth(text, size) <= room {
		return text
	}
	r := []rune(text)
	for len(r) > 0 && textWidth(string(r)+" …", size) > room {
		r = r[:len(r)-1]
	}
	return strings.TrimSpace(string(r)) + " …"
}

func finite(v ...float64) bool {
	for _, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}
