package dataset

import (
	_ "embed"
	"io"
	"slices"
	"strings"
	"text/template"
)

//go:embed card.md.tmpl
var cardText string

var cardTemplate = template.Must(template.New(cardFile).Funcs(template.FuncMap{
	"cell": func(s string) string { return strings.ReplaceAll(s, "|", `\|`) }, // of a table
}).Parse(cardText))

// writeCard writes what a person reads first.
func (s *set) writeCard(w io.Writer) error {
	has := map[string]bool{}
	for _, f := range s.Formats {
		has[f] = true
	}
	type entry struct {
		Column
		Kind string
		Full float32 // 0: not in a WAV file
	}
	var columns []entry
	var fixed, varying string // a channel of either, for the snippets
	for _, c := range s.Columns {
		e := entry{Column: c, Kind: kindNames[c.Kind]}
		if c.Kind == Samples {
			if has["wav"] && !c.Uneven {
				e.Full = c.full()
			}
			switch {
			case c.Count > 0 && fixed == "":
				fixed = c.Name
			case c.Count == 0 && varying == "":
				varying = c.Name
			}
		}
		columns = append(columns, e)
	}
	var files []map[string]string
	for i := range s.outputs {
		files = append(files, map[string]string{"Name": s.outputs[i].file(0), "About": s.outputs[i].about})
	}
	wave := slices.IndexFunc(s.outputs, func(o output) bool { return o.format == "wav" })
	sound := ""
	if wave >= 0 {
		sound = s.outputs[wave].file(0)
	}
	return cardTemplate.Execute(w, map[string]any{
		"Card": s.Card, "Cycles": s.Cycles, "Part": s.Part, "Parts": s.parts(), "Has": has, "Columns": columns, "Files": files,
		"Fixed": fixed, "Varying": varying, "Rate": s.Rate, "Wave": sound, "Labels": has["csv"] || has["wav"],
	})
}
