package chart

import (
	"image/color"
	"sync"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// The page.
const (
	pageWidth  = 18 * vg.Centimeter
	pageHeight = 13 * vg.Centimeter
	margin     = vg.Length(15)
	panelGap   = vg.Length(11)
	pngDPI     = 180

	titleSize = vg.Length(13)
	textSize  = vg.Length(8.5) // labels, ticks, axis titles
	smallSize = vg.Length(7)   // the footer

	stripHeight = vg.Length(12)

	tickLength = vg.Length(3.5)
	dotRadius  = vg.Length(2.6)
)

// Blue and rust stay apart in every common kind of colour blindness and in
// grey; plum is told from them by dashes as well.
var (
	paper = color.NRGBA{0xFE, 0xFD, 0xFA, 0xFF}
	ink   = color.NRGBA{0x1D, 0x29, 0x33, 0xFF}
	muted = color.NRGBA{0x5E, 0x69, 0x73, 0xFF}
	grid  = color.NRGBA{0xE6, 0xE3, 0xDA, 0xFF}
	shade = color.NRGBA{0xF4, 0xEA, 0xD2, 0xFF}
	blue  = color.NRGBA{0x0E, 0x55, 0x80, 0xFF}
	rust  = color.NRGBA{0xB8, 0x4A, 0x14, 0xFF}
	plum  = color.NRGBA{0x75, 0x3F, 0x8A, 0xFF}
)

var (
	gridLine  = draw.LineStyle{Color: grid, Width: 0.5}
	axisLine  = draw.LineStyle{Color: ink, Width: 0.7}
	zeroLine  = draw.LineStyle{Color: muted, Width: 0.7}
	mainLine  = draw.LineStyle{Color: blue, Width: 1.6}
	otherLine = draw.LineStyle{Color: rust, Width: 1.4, Dashes: []vg.Length{7, 2.5}}
	thirdLine = draw.LineStyle{Color: plum, Width: 1.4, Dashes: []vg.Length{7, 2, 1.5, 2}}
	grayLine  = draw.LineStyle{Color: muted, Width: 1.1, Dashes: []vg.Length{2.5, 2}}
	sparkLine = draw.LineStyle{Color: rust, Width: 0.9, Dashes: []vg.Length{4, 2}}
	halfLine  = draw.LineStyle{Color: plum, Width: 0.9, Dashes: []vg.Length{6, 1.5, 1.2, 1.5}}
)

var fonts = sync.OnceValue(func() *font.Cache { return font.NewCache(liberation.Collection()) })

// face is the one typeface of every chart. A single one, because the PDF
// writer puts several in random order.
func face(size vg.Length) font.Face {
	return fonts().Lookup(font.Font{Typeface: "Liberation", Variant: "Sans"}, size)
}

func textWidth(text string, size vg.Length) vg.Length {
	f := face(size)
	return f.Width(text)
}

// write puts text with its baseline at pt; align is 0 for text to the right
// of pt, 0.5 centred, 1 to the left.
func write(c vg.Canvas, size vg.Length, col color.Color, pt vg.Point, align float64, text string) {
	if text == "" {
		return
	}
	f := face(size)
	pt.X -= vg.Length(align) * f.Width(text)
	c.SetColor(col)
	c.FillString(f, pt, text)
}
