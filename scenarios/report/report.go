// Package report writes what came of a run or of a fit as one page of HTML for people:
// cautions, verdict, pictures, configuration and what the words mean.
//
// A page needs nothing but itself: no script, no font, no picture of another place. It
// prints, follows a reader's wish for light or dark, and says in words what its
// pictures show.
package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"

	"phasebench/scenarios/chart"
	"phasebench/scenarios/dataset"
	"phasebench/scenarios/record"
)

// Page is what a report tells. Any text may hold anything: it is escaped. What is
// empty is left out.
type Page struct {
	Title       string // one line; "" becomes the name of the tool
	About       string // one paragraph on what was run
	Verdict     []Row
	Pictures    []Picture
	Scenario    string            // as a file
	FileTitle   string            // over Scenario: "" for "Scenario"
	FileAbout   string            // below it: "" for what a scenario is
	Origin      string            // what the numbers are of: "" for simulated ones
	Config      []dataset.Setting // the whole resolved configuration, in order
	Cautions    []string          // besides record.Caution, which every page begins with
	Definitions []Definition
	Version     string // of the tool
	Seed        uint64
}

// Row is one line of the verdict.
type Row struct {
	Name  string
	Value string // as people read it; "": there is none
	Unit  string // "" for none
	Note  string // what it means here, or why there is none
}

// Picture is a chart with a line below it.
type Picture struct {
	Chart   *chart.Chart // its About is read to those who cannot see it
	Caption string
}

// Definition says what a word means.
type Definition struct{ Term, Meaning string }

//go:embed page.html.tmpl
var pageText string

var pageTemplate = template.Must(template.New("page").Parse(pageText))

// tool is the name of the program.
const tool = "phasebench"

// figure is a Picture that is drawn.
type figure struct {
	Number  int
	SVG     template.HTML // made by inline, safe
	Caption string
}

// Write writes p to w as HTML in UTF-8. It writes nothing where a picture cannot be
// drawn; else errors are those of w.
func Write(w io.Writer, p *Page) error {
	view := struct {
		*Page
		Tool, Caution string
		Figures       []figure
	}{Page: p, Tool: tool, Caution: record.Caution}
	for i, q := range p.Pictures {
		svg, err := inline(q.Chart, p.Version)
		if err != nil {
			return fmt.Errorf("report: picture %d: %w", i+1, err)
		}
		view.Figures = append(view.Figures, figure{i + 1, svg, q.Caption})
	}
	var page bytes.Buffer
	if err := pageTemplate.Execute(&page, view); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	_, err := w.Write(page.Bytes())
	return err
}
