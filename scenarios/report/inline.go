package report

import (
	"bytes"
	"fmt"
	"html"
	"html/template"
	"regexp"
	"strings"

	"phasebench/scenarios/chart"
)

var (
	sizeOf = regexp.MustCompile(`viewBox="([^"<>]*)"`)
	apart  = regexp.MustCompile(`(?s)<(title|desc|metadata)>.*?</(title|desc|metadata)>\s*`)
)

// inline draws c as an SVG element within HTML: without a prolog, without namespaces,
// which HTML knows, as wide as there is room, and with a name for those who cannot see
// it in place of title and description. Charts escape their texts.
func inline(c *chart.Chart, version string) (template.HTML, error) {
	var file bytes.Buffer
	var meta chart.Meta
	if version != "" {
		meta = chart.Meta{{Key: "version", Value: version}}
	}
	if err := c.Write(&file, chart.SVG, meta); err != nil {
		return "", err
	}
	text := file.String()
	from := strings.Index(text, "<svg")
	if from < 0 {
		return "", fmt.Errorf("no svg element in the picture")
	}
	head, body, ok := strings.Cut(text[from:], ">")
	box := sizeOf.FindStringSubmatch(head)
	if !ok || box == nil {
		return "", fmt.Errorf("no viewBox in the picture")
	}
	body = apart.ReplaceAllString(body, "")
	var name []string
	for _, s := range []string{c.Title, c.Subtitle, c.About} {
		if s != "" {
			name = append(name, strings.TrimRight(s, ".")+".")
		}
	}
	return template.HTML(fmt.Sprintf(`<svg role="img" aria-label="%s" viewBox="%s">`, html.EscapeString(strings.Join(name, " ")), box[1]) +
		strings.TrimRight(body, "\n")), nil
}
