package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/scenarios/chart"
	"phasebench/scenarios/dataset"
	"phasebench/scenarios/record"
)

// hostile is text that would break out of anything that does not escape it.
const hostile = `"><script>alert(1)</script><img src=x onerror='a'> ]]> </svg></title></style> {{.}} & λ`

func line(title string) *chart.Chart {
	return chart.Lines(title, chart.Axis{Title: "x [-]"}, chart.Axis{Title: "y [-]"}, []chart.Curve{{Name: title, X: []float64{0, 1}, Y: []float64{0, 1}}}, nil)
}

func page(text string) *Page {
	return &Page{Title: text, About: text, Verdict: []Row{{text, text, text, text}, {Name: "settles after", Unit: "cycles", Note: "it never does"}},
		Pictures: []Picture{{line(text), text}, {line("second"), ""}}, Config: []dataset.Setting{{Key: text, Value: text}, {Key: "two", Value: "lines\nof text"}},
		Cautions: []string{text}, Definitions: []Definition{{text, text}}, Version: text, Seed: 1<<63 + 1}
}

func written(t *testing.T, p *Page) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, Write(&b, p))
	return b.String()
}

// element is one element of a page with the text right in it.
type element struct {
	name, text string
	attr       map[string]string
	within     []string
}

// parse reads a page, which is as strict as XML: every element is closed in order.
func parse(t *testing.T, text string) (all []*element) {
	t.Helper()
	require.True(t, strings.HasPrefix(text, "<!DOCTYPE html>\n"))
	d := xml.NewDecoder(strings.NewReader(text))
	d.Entity = xml.HTMLEntity
	var open []*element
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			require.Empty(t, open)
			return all
		}
		require.NoError(t, err)
		switch x := tok.(type) {
		case xml.StartElement:
			e := &element{name: x.Name.Local, attr: map[string]string{}}
			for _, o := range open {
				e.within = append(e.within, o.name)
			}
			for _, a := range x.Attr {
				require.NotContains(t, e.attr, a.Name.Local, "twice")
				e.attr[a.Name.Local] = a.Value
			}
			all, open = append(all, e), append(open, e)
		case xml.EndElement:
			open = open[:len(open)-1]
		case xml.CharData:
			if len(open) > 0 {
				open[len(open)-1].text += string(x)
			}
		}
	}
}

func named(all []*element, name string) (out []*element) {
	for _, e := range all {
		if e.name == name {
			out = append(out, e)
		}
	}
	return out
}

func TestPage(t *testing.T) {
	p := page("plain")
	text := written(t, p)
	all := parse(t, text)
	require.Equal(t, "en", named(all, "html")[0].attr["lang"])
	require.Equal(t, "utf-8", named(all, "meta")[0].attr["charset"])
	require.Equal(t, "plain", named(all, "title")[0].text)
	require.Len(t, named(all, "title"), 1, "none in a picture: browsers would pop it up")

	// Headings in order, the caution before all else, each section named by its own.
	var headings []string
	ids := map[string]bool{}
	for _, e := range all {
		if regexp.MustCompile(`^h[1-6]$`).MatchString(e.name) {
			headings = append(headings, e.name+" "+e.text)
		}
		if id := e.attr["id"]; id != "" {
			require.False(t, ids[id], id)
			ids[id] = true
		}
	}
	require.Equal(t, []string{"h1 plain", "h2 Caution", "h2 Verdict", "h2 Pictures", "h2 Configuration", "h2 What the words mean"}, headings)
	for _, s := range named(all, "section") {
		require.True(t, ids[s.attr["aria-labelledby"]])
	}
	require.Less(t, strings.Index(text, record.Caution), strings.Index(text, "Verdict"))

	for _, table := range named(all, "table") {
		i := slices.Index(all, table)
		require.Equal(t, "caption", all[i+1].name, "right after it opens")
		require.NotEmpty(t, all[i+1].text)
	}
	require.Len(t, named(all, "table"), 2)
	for _, th := range named(all, "th") {
		require.Contains(t, []string{"col", "row"}, th.attr["scope"])
	}
	pictures := named(all, "svg")
	require.Len(t, pictures, 2)
	for i, e := range pictures {
		require.Equal(t, "img", e.attr["role"])
		require.Contains(t, e.attr["aria-label"], p.Pictures[i].Chart.About)
		require.Contains(t, e.attr["aria-label"], p.Pictures[i].Chart.Title)
		require.NotEmpty(t, e.attr["viewBox"])
		require.NotContains(t, e.attr, "width", "as wide as the page")
	}
	require.Contains(t, text, "–", "a number that is not there")
	require.Contains(t, text, "9223372036854775809")
	style := named(all, "style")[0].text
	for _, want := range []string{"prefers-color-scheme: dark", "@media print", "figure svg { display: block; width: 100%; height: auto; background: #fefdfa"} {
		require.Contains(t, style, want)
	}
}

// Nothing is fetched from anywhere.
func TestAlone(t *testing.T) {
	for _, p := range []*Page{page("plain"), {}} {
		text := written(t, p)
		require.NotContains(t, strings.ToLower(text), "http:")
		require.NotContains(t, strings.ToLower(text), "https:")
		require.NotContains(t, text, "url(")
		require.NotContains(t, text, "@import")
		for _, e := range parse(t, text) {
			require.NotContains(t, []string{"script", "link", "img", "iframe", "object", "embed", "base", "form", "a", "image", "use"}, e.name)
			for a := range e.attr {
				require.NotContains(t, []string{"src", "href", "srcset", "data", "action"}, a)
				require.False(t, strings.HasPrefix(a, "on"), a)
			}
		}
	}
}

// Hostile names come back as the text they are, and make no element that plain
// names do not make.
func TestEscaped(t *testing.T) {
	plain, bad := parse(t, written(t, page("plain"))), parse(t, written(t, page(hostile)))
	names := func(all []*element) (out []string) {
		for _, e := range all {
			if !slices.Contains(e.within, "svg") { // texts are cut to their room there
				out = append(out, e.name)
			}
		}
		return out
	}
	require.Equal(t, names(plain), names(bad))
	for _, e := range bad {
		if slices.Contains(e.within, "svg") {
			require.Contains(t, []string{"g", "path", "text"}, e.name)
		}
		require.NotContains(t, e.attr, "onerror")
	}
	require.Equal(t, hostile, named(bad, "h1")[0].text)
	require.Equal(t, hostile, named(bad, "title")[0].text)
	require.Equal(t, hostile, named(bad, "dt")[0].text)
	require.Contains(t, named(bad, "svg")[0].attr["aria-label"], hostile)
	require.Equal(t, 4, strings.Count(written(t, &Page{Verdict: []Row{{hostile, hostile, hostile, hostile}}}), "&lt;script&gt;"))
}

// What is empty is left out, but not the caution.
func TestEmpty(t *testing.T) {
	all := parse(t, written(t, &Page{}))
	require.Empty(t, named(all, "table"))
	require.Empty(t, named(all, "figure"))
	require.Equal(t, "phasebench", named(all, "h1")[0].text)
	require.Len(t, named(all, "h2"), 1)
	require.Contains(t, named(all, "p")[0].text, record.Caution)
}

var errFull = errors.New("full")

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errFull }

func TestWriteError(t *testing.T) {
	require.ErrorIs(t, Write(full{}, page("plain")), errFull)
	var b bytes.Buffer
	p := page("plain")
	p.Version = "\xff"
	require.ErrorIs(t, Write(&b, p), chart.ErrMeta)
	require.Empty(t, b.String())
}
