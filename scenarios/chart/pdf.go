package chart

import (
	"bytes"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf16"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgpdf"
)

// pdf returns the picture with meta in the document information dictionary,
// each key after "phasebench.". The dictionary is written as an incremental
// update (PDF 32000-1:2008, sections 7.5.6 and 14.3.3) and names no date.
func (c *Chart) pdf(meta Meta) ([]byte, error) {
	canvas := vgpdf.New(pageWidth, pageHeight)
	c.draw(western{canvas}, meta.get("version"))
	var raw bytes.Buffer
	if _, err := canvas.WriteTo(&raw); err != nil {
		return nil, fmt.Errorf("chart: pdf: %w", err)
	}
	b := pdfDate.ReplaceAll(raw.Bytes(), []byte("${1}20000101000000")) // of the same length: offsets stay

	info := fmt.Sprintf("<< /Title %s /Subject %s /Producer %s", pdfText(c.Title), pdfText(c.About), pdfText("phasebench"))
	for _, e := range meta {
		info += fmt.Sprintf(" /phasebench.%s %s", e.Key, pdfText(e.Value))
	}
	return updateInfo(b, info+" >>")
}

var (
	pdfDate  = regexp.MustCompile(`(/(?:Creation|Mod)Date \(D:)\d{14}`)
	pdfSize  = regexp.MustCompile(`/Size (\d+)`)
	pdfRoot  = regexp.MustCompile(`/Root \d+ \d+ R`)
	pdfStart = regexp.MustCompile(`startxref\s+(\d+)\s+%%EOF\s*$`)
)

// updateInfo appends a new information dictionary to the PDF file b.
func updateInfo(b []byte, dict string) ([]byte, error) {
	tail := b[max(bytes.LastIndex(b, []byte("trailer")), 0):]
	size, root, start := pdfSize.FindSubmatch(tail), pdfRoot.Find(tail), pdfStart.FindSubmatch(tail)
	if size == nil || root == nil || start == nil {
		return nil, fmt.Errorf("chart: pdf: no trailer in the drawing")
	}
	n, err := strconv.Atoi(string(size[1]))
	if err != nil {
		return nil, fmt.Errorf("chart: pdf: %w", err)
	}
	var out bytes.Buffer
	out.Write(bytes.TrimRight(b, "\n"))
	out.WriteByte('\n')
	object := out.Len()
	fmt.Fprintf(&out, "%d 0 obj\n%s\nendobj\n", n, dict)
	table := out.Len()
	fmt.Fprintf(&out, "xref\n%d 1\n%010d 00000 n \ntrailer\n<< /Size %d %s /Info %d 0 R /Prev %s >>\nstartxref\n%d\n%%%%EOF\n",
		n, object, n+1, root, n, start[1], table)
	return out.Bytes(), nil
}

// pdfText is s as a PDF text string: readable if ASCII, else UTF-16.
func pdfText(s string) string {
	ascii := true
	for _, r := range s {
		ascii = ascii && (r == '\n' || r == '\t' || r >= ' ' && r <= '~')
	}
	if ascii {
		return "(" + strings.NewReplacer(`\`, `\\`, "(", `\(`, ")", `\)`, "\n", `\n`, "\t", `\t`).Replace(s) + ")"
	}
	var b strings.Builder
	b.WriteString("<FEFF")
	for _, u := range utf16.Encode([]rune(s)) {
		fmt.Fprintf(&b, "%04X", u)
	}
	return b.String() + ">"
}

// western writes text in Windows-1252, the encoding of the fonts in vgpdf.
type western struct{ *vgpdf.Canvas }

func (w western) FillString(f font.Face, pt vg.Point, text string) {
	var b []byte
	for _, r := range text {
		switch {
		case r < 0x80 || r >= 0xA0 && r <= 0xFF:
			b = append(b, byte(r))
		case r == '−' || r == '–':
			b = append(b, 0x96)
		case r == '…':
			b = append(b, 0x85)
		default:
			b = append(b, '?')
		}
	}
	w.Canvas.FillString(f, pt, string(b))
}
