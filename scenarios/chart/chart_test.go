package chart

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/xml"
	"errors"
	"fmt"
	"hash/crc32"
	"image/png"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/scenarios/sweep"
	"phasebench/solve"
)

var testMeta = Meta{
	{"version", "0.1.0"},
	{"seed", "7"},
	{"config", "name = \"a \\ (b)\"\n<&> ]]> λ = 1 ≤ 2\n"},
}

func write1(t *testing.T, c *Chart, f Format, m Meta) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, c.Write(&b, f, m))
	return b.Bytes()
}

func TestFormatOf(t *testing.T) {
	for file, want := range map[string]Format{"a.svg": SVG, "b/c.PNG": PNG, "d.e.pdf": PDF} {
		got, err := FormatOf(file)
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
	for _, file := range []string{"", "plot", "svg", "a.jpg", "a.svg.gz"} {
		_, err := FormatOf(file)
		require.ErrorIs(t, err, ErrFormat, file)
		require.ErrorContains(t, err, "svg, png or pdf")
	}
	require.ErrorIs(t, (&Chart{}).Write(io.Discard, "gif", nil), ErrFormat)
}

func TestMetaRefused(t *testing.T) {
	for _, m := range []Meta{
		{{"", "x"}}, {{"a b", "x"}}, {{"ä", "x"}}, {{strings.Repeat("k", 61), "x"}},
		{{"a", "\xff"}}, {{"a", "x\x00y"}}, {{"a", "1"}, {"a", "2"}},
	} {
		require.ErrorIs(t, Cycle(&solve.Cycle{}, "").Write(io.Discard, SVG, m), ErrMeta, "%v", m)
	}
}

func TestSVG(t *testing.T) {
	b := write1(t, Cycle(sample(-10, 50, 8e4, 800), "a <b> & c"), SVG, testMeta)
	var doc struct {
		Title string `xml:"title"`
		Desc  string `xml:"desc"`
		Meta  []struct {
			Key   string `xml:"key,attr"`
			Value string `xml:",chardata"`
		} `xml:"metadata>phasebench>entry"`
	}
	require.NoError(t, xml.Unmarshal(b, &doc))
	require.Equal(t, "a <b> & c", doc.Title)
	require.NotEmpty(t, doc.Desc)
	var back Meta
	for _, e := range doc.Meta {
		back = append(back, Entry{e.Key, e.Value})
	}
	require.Equal(t, testMeta, back)

	text := texts(t, b)
	for _, want := range []string{"pressure [bar]", "heat-release rate [J/deg]", "burned fraction [%]",
		"angle [deg after TDC]", "−120", "motored", "spark 15.0 deg before TDC", "LPP 24.0 deg, 23.8 bar",
		"CA10 4.0 deg", "CA50 16.0 deg", "CA90 29.0 deg", "phasebench 0.1.0: a model is not your engine",
		"2200 rpm, manifold 80.0 kPa, lambda 1.00, spark 15.0 deg before TDC"} {
		require.Contains(t, text, want)
	}
	require.NotContains(t, string(b), "NaN")
}

// texts returns the text elements of an SVG file, which must be well-formed.
func texts(t *testing.T, b []byte) (out []string) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(b))
	in := false
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		require.NoError(t, err)
		switch e := tok.(type) {
		case xml.StartElement:
			in = e.Name.Local == "text"
		case xml.EndElement:
			in = false
		case xml.CharData:
			if in {
				out = append(out, string(e))
			}
		}
	}
}

func TestPNG(t *testing.T) {
	b := write1(t, PV(sample(-10, 50, 8e4, 800), "p-V"), PNG, testMeta)
	img, err := png.Decode(bytes.NewReader(b)) // checks every CRC that it reads
	require.NoError(t, err)
	require.Equal(t, 1276, img.Bounds().Dx()) // 18 cm at 180 dpi
	require.Equal(t, 921, img.Bounds().Dy())  // 13 cm

	var back Meta
	for at := 8; at < len(b); {
		n := int(binary.BigEndian.Uint32(b[at:]))
		kind, data := string(b[at+4:at+8]), b[at+8:at+8+n]
		require.Equal(t, crc32.ChecksumIEEE(b[at+4:at+8+n]), binary.BigEndian.Uint32(b[at+8+n:]), kind)
		if kind == "iTXt" {
			key, value, _ := strings.Cut(string(data), "\x00\x00\x00\x00\x00")
			back = append(back, Entry{key, value})
		}
		at += 12 + n
	}
	require.Equal(t, testMeta, back)
}

func TestPDF(t *testing.T) {
	b := write1(t, Sweep(sampleSweep(24, 27, 10, 20, 30), "sweep (1)"), PDF, testMeta)
	require.True(t, bytes.HasPrefix(b, []byte("%PDF-1.")))
	require.True(t, bytes.HasSuffix(b, []byte("%%EOF\n")))
	require.Contains(t, string(b), "/Title (sweep \\(1\\))")
	require.Contains(t, string(b), "/phasebench.seed (7)")
	for _, date := range regexp.MustCompile(`\(D:(\d+)`).FindAllSubmatch(b, -1) {
		require.Equal(t, "20000101000000", string(date[1]))
	}

	tool, err := exec.LookPath("pdfinfo")
	if err != nil {
		t.Skip("pdfinfo is not installed")
	}
	file := filepath.Join(t.TempDir(), "a.pdf")
	require.NoError(t, os.WriteFile(file, b, 0o600))
	out, err := exec.Command(tool, "-custom", "-enc", "UTF-8", file).CombinedOutput()
	require.NoError(t, err)
	require.Contains(t, string(out), "phasebench.version:0.1.0")
	require.Contains(t, string(out), "<&> ]]> λ = 1 ≤ 2")
	require.NotContains(t, string(out), "rror") // pdfinfo mends broken tables, but says so
}

func TestDeterministic(t *testing.T) {
	for _, f := range []Format{SVG, PNG, PDF} {
		c := Cycle(sample(-10, 50, 8e4, 800), "x")
		first := write1(t, c, f, testMeta)
		require.True(t, bytes.Equal(first, write1(t, c, f, testMeta)), "%s: written twice", f)
		require.True(t, bytes.Equal(first, write1(t, Cycle(sample(-10, 50, 8e4, 800), "x"), f, testMeta)), "%s: made twice", f)
		field := func() *Chart {
			return Map(sampleGrid(6, 5, func(x, y float64) float64 { return 15 + 5*math.Sin(3*x)*math.Cos(6*y) }), sweep.SparkMBT, "x")
		}
		require.True(t, bytes.Equal(write1(t, field(), f, testMeta), write1(t, field(), f, testMeta)), "%s: map", f)
	}
}

// Nothing may panic, and no NaN may reach a file, whatever the data.
func TestExtremes(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	blank := &solve.Cycle{}
	broken := sample(-10, 50, 8e4, 800)
	for i := range broken.Pressure {
		broken.Pressure[i], broken.Volume[i], broken.Burned[i], broken.Release[i] = nan, inf, nan, -inf
	}
	flat := sample(-10, 50, 8e4, 800)
	for i := range flat.Pressure {
		flat.Pressure[i], flat.Volume[i], flat.Motored[i] = 1e5, 5e-4, 1e5
	}
	lost := sample(-10, 50, 8e4, 800)
	lost.Operating = model.Operating{Speed: nan, MAP: nan, Lambda: nan, Spark: nan}
	lost.Indicators = solve.Indicators{LPP: nan, Peak: inf, CA10: nan, CA50: 40, CA90: -1e300}
	short := sample(-10, 50, 8e4, 800)
	short.Volume, short.Motored, short.Burned = short.Volume[:700], short.Motored[:3], nil
	cycles := map[string]*solve.Cycle{
		"blank": blank, "broken": broken, "flat": flat, "lost": lost, "short": short,
		"late": sample(12, 120, 8e4, 800), "misfire": sample(-10, 50, 8e4, 0),
		"idle": sample(-30, 70, 2e4, 90), "boost": sample(-15, 30, 3e5, 5000), "knock": knocking(sample(-10, 50, 8e4, 800), 14, 0.12),
		"knock far": knocking(sample(-10, 50, 8e4, 800), 500, 0.12), "knock lost": knocking(sample(-10, 50, 8e4, 800), 0, nan),
	}
	charts := map[string]*Chart{}
	for name, c := range cycles {
		charts["cycle "+name], charts["heat "+name], charts["pv "+name], charts["gas "+name] = Cycle(c, name), Heat(c, name), PV(c, name), Gas(c, name)
	}
	nans := sampleSweep(24, 27, 10, 20, 30)
	for i := range nans.Points {
		nans.Points[i].Indicators = solve.Indicators{Torque: nan, LPP: nan, CA50: inf, Peak: nan}
	}
	none := sampleSweep(24, 27, 10, 20)
	none.MBT = sweep.Point{}
	for name, r := range map[string]*sweep.Result{
		"empty": {}, "single": sampleSweep(24, 27, 24), "same": sampleSweep(24, 27, 24, 24, 24),
		"negative": sampleSweep(24, -3, 10, 20, 30, 40), "unlit": sampleSweep(24, 27, 65, 70), "nans": nans, "no mbt": none,
	} {
		charts["sweep "+name] = Sweep(r, strings.Repeat("long title ", 30))
	}
	held, least := sampleHeld(30, -10, -5)
	charts["held none"], charts["held nothing"] = Airflow(held, least, ""), Airflow(nil, sweep.Point{}, "")
	charts["held no least"] = Airflow(held, held[0], "")
	for name, mbt := range map[string]func(x, y float64) float64{
		"plain": func(x, y float64) float64 { return 10*x - 20*y }, "flat": func(x, y float64) float64 { return 20 },
		"nan": func(x, y float64) float64 { return nan }, "half": func(x, y float64) float64 { return math.Sqrt(2.5 - x) },
		"inf": func(x, y float64) float64 { return inf / (2 - x) }, "huge": func(x, y float64) float64 { return 1e300 * (x - 2) },
		"vast": func(x, y float64) float64 { return math.Copysign(1e306, x-2) }, "tiny": func(x, y float64) float64 { return 1e-300 * x },
	} {
		for _, n := range [][2]int{{0, 0}, {0, 2}, {1, 0}, {1, 1}, {1, 4}, {4, 1}, {2, 2}, {4, 4}} {
			g := sampleGrid(n[0], n[1], mbt)
			charts[fmt.Sprint("map ", name, n)] = Map(g, sweep.SparkMBT, name)
			if name == "plain" {
				for _, q := range sweep.Quantities() {
					charts[fmt.Sprint("map ", q, n)] = Map(g, q, name)
				}
			}
		}
	}
	lame := sampleGrid(3, 3, func(x, y float64) float64 { return x })
	lame.Speeds[0], lame.MAPs[2], lame.Nodes = nan, inf, lame.Nodes[:5]
	charts["map lame"] = Map(lame, sweep.SparkMBT, "")
	same := sampleGrid(3, 3, func(x, y float64) float64 { return x * y })
	same.Speeds[1], same.MAPs[1], same.MAPs[2] = same.Speeds[0], 0, 0
	charts["map same"] = Map(same, sweep.SparkMBT, "")
	charts["lines"] = Lines("", Axis{Log: true}, Axis{Log: true}, []Curve{{"a", []float64{-1, 0, nan}, []float64{1, 2, 3}}, {}}, []Mark{{nan, 0, "x"}})
	charts["point"] = Lines("", Axis{}, Axis{Angle: true}, []Curve{{"a", []float64{3}, []float64{4}}}, nil)
	charts["huge"] = Lines("", Axis{}, Axis{}, []Curve{{"a", []float64{0, 1e300}, []float64{-1e-300, 1e300}}}, nil)
	for name, c := range charts {
		b := write1(t, c, SVG, nil)
		texts(t, b)
		for _, bad := range []string{"NaN", "Inf"} {
			// Only numbers of the picture; the footer may say what it was given.
			require.NotRegexp(t, `(d|x|y)="[^"]*`+bad, string(b), name)
		}
	}
}

func knocking(c *solve.Cycle, at, unburned float64) *solve.Cycle {
	c.KnockOnset, c.KnockUnburned = at*deg, unburned
	return c
}

func TestKnock(t *testing.T) {
	text := texts(t, write1(t, Cycle(knocking(sample(-10, 50, 8e4, 800), 14, 0.12), ""), SVG, nil))
	require.Contains(t, text, "knock onset 14.0 deg, 12 % unburned")
	text = texts(t, write1(t, Cycle(sample(-10, 50, 8e4, 800), ""), SVG, nil))
	require.NotContains(t, strings.Join(text, "\n"), "knock")
}

func TestSweepBand(t *testing.T) {
	// 27 − 0.012·(spark − 24)² loses 1 % at 24 ± √(0.27/0.012) = 24 ± 4.74;
	// the curve through samples every 2 deg comes within 0.1 deg of that.
	var sparks []float64
	for s := 0.0; s <= 50; s += 2 {
		sparks = append(sparks, s)
	}
	s := sorted(sampleSweep(24, 27, sparks...))
	torque := func(p *sweep.Point) float64 { return p.Torque }
	from, to := s.band(s.smooth(torque), func(y float64) bool { return y >= 0.99*27 })
	require.InDelta(t, 24-4.743, from, 0.15)
	require.InDelta(t, 24+4.743, to, 0.15)

	text := texts(t, write1(t, Sweep(sampleSweep(24, 27, sparks...), ""), SVG, nil))
	for _, want := range []string{"torque at the brake [N·m]", "LPP and CA50 [deg after TDC]", "peak pressure [bar]",
		"spark advance [deg before TDC]", "MBT 24.0 deg before TDC", "LPP 14.0 deg at MBT", "CA50 8.0 deg at MBT"} {
		require.Contains(t, text, want)
	}
	require.Equal(t, "all within 1 % of MBT torque", bandText("within 1 % of MBT torque", []float64{1, 2}, 1, 2))
	require.Equal(t, "within 1 % of MBT torque up to 1.5 deg", bandText("within 1 % of MBT torque", []float64{1, 2}, 1, 1.5))
	require.Equal(t, "within 1 % of MBT torque from 1.5 deg", bandText("within 1 % of MBT torque", []float64{1, 2}, 1.5, 2))
}

func TestTicks(t *testing.T) {
	labels := func(a axis) (out []string) {
		for _, t := range a.ticks {
			if t.label != "" {
				out = append(out, t.label)
			}
		}
		return out
	}
	require.Equal(t, strings.Fields("−120 −90 −60 −30 0 30 60 90 120"), labels(newAxis("", angle, -120, 120, 12)))
	require.Equal(t, strings.Fields("−360 −270 −180 −90 0 90 180 270 360"), labels(newAxis("", angle, -360, 360, 10)))
	require.Equal(t, strings.Fields("0.5 1 2 5 10 20"), labels(newAxis("", logarithmic, 0.45, 31, 0)))
	require.Equal(t, strings.Fields("0.0 0.5 1.0"), labels(newAxis("", linear, 0, 1, 3)))
	require.Equal(t, strings.Fields("−0.2 0.0 0.2"), labels(newAxis("", linear, -0.25, 0.25, 3)))
	require.Equal(t, "0.0", num(-0.01, 1))
}

// A solved cycle of an engine that comes with phasebench.
func TestSolved(t *testing.T) {
	e, err := model.Load("pump-set")
	require.NoError(t, err)
	s, err := solve.New(e, &solve.Settings{Motored: true})
	require.NoError(t, err)
	var c solve.Cycle
	require.NoError(t, s.Run(&e.Point, &c))
	r := &sweep.Result{}
	for _, spark := range []float64{10, 20, 30} {
		op, c := e.Point, solve.Cycle{}
		op.Spark = spark * deg
		require.NoError(t, s.Run(&op, &c))
		r.Points = append(r.Points, sweep.Point{Operating: op, Lit: c.Lit, Indicators: c.Indicators})
	}
	r.MBT, err = sweep.MBT(context.Background(), s, e.Point)
	require.NoError(t, err)

	all := texts(t, write1(t, Cycle(&c, e.Name), SVG, nil))
	require.Contains(t, all, "LPP "+num(c.LPP/deg, 1)+" deg, "+num(c.Peak/bar, 1)+" bar")
	require.Contains(t, all, "CA50 "+num(c.CA50/deg, 1)+" deg")
	all = texts(t, write1(t, Gas(&c, e.Name), SVG, nil))
	require.Contains(t, all, "residual "+num(100*c.Residual, 1)+" % at intake closing")
	require.Contains(t, all, "burned zone")
	require.Contains(t, texts(t, write1(t, PV(&c, e.Name), SVG, nil)), "exhaust opens")
	require.Contains(t, texts(t, write1(t, Sweep(r, e.Name), SVG, nil)), "MBT "+sparkText(r.MBT.Operating.Spark))
}
