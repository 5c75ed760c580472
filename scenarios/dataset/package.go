package dataset

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"regexp"
	"runtime"
	"strings"
	"sync"
)

// The parts of a Data Package that a dataset has. Source: Data Package standard
// version 2, https://datapackage.org. The time of making is left out: it would
// differ. unit, synthetic, seed and what follows are properties of our own.
type dataPackage struct {
	Schema      string     `json:"$schema"`
	Name        string     `json:"name"`
	Title       string     `json:"title"`
	Description string     `json:"description"`
	Version     string     `json:"version"`
	Licenses    []licence  `json:"licenses"`
	Synthetic   bool       `json:"synthetic"`
	Tool        string     `json:"tool"`
	Seed        uint64     `json:"seed"`
	Cycles      int        `json:"cycles"`
	PerPart     int        `json:"cycles_per_part"`
	Rate        float64    `json:"wav_rate_hz,omitempty"`
	Config      settings   `json:"configuration"`
	Columns     []column   `json:"columns"`
	Resources   []resource `json:"resources"`
}

type licence struct {
	Title string `json:"title"`
	Path  string `json:"path"`
}

// column is one of all formats.
type column struct {
	Name  string  `json:"name"`
	Unit  string  `json:"unit"`
	About string  `json:"description"`
	Kind  string  `json:"kind"`
	Count int     `json:"count,omitempty"`
	Full  float32 `json:"wav_full_scale,omitempty"`
}

type resource struct {
	Name      string       `json:"name"`
	Path      string       `json:"path"`
	Type      string       `json:"type,omitempty"`
	Title     string       `json:"title"`
	Format    string       `json:"format"`
	MediaType string       `json:"mediatype"`
	Encoding  string       `json:"encoding,omitempty"`
	Bytes     int64        `json:"bytes"`
	Hash      string       `json:"hash"`
	Schema    *tableSchema `json:"schema,omitempty"`
}

type tableSchema struct {
	Fields  []field  `json:"fields"`
	Missing []string `json:"missingValues"`
}

type field struct {
	Name        string `json:"name"`
	Type        string `json:"type"`
	Description string `json:"description,omitempty"`
	Unit        string `json:"unit,omitempty"`
}

// settings is an object that keeps its order.
type settings []Setting

// MarshalJSON implements json.Marshaler.
func (s settings) MarshalJSON() ([]byte, error) {
	b := []byte{'{'}
	for i, x := range s {
		if i > 0 {
			b = append(b, ',')
		}
		for _, part := range []struct{ text, end string }{{x.Key, ":"}, {x.Value, ""}} {
			t, err := json.Marshal(part.text)
			if err != nil {
				return nil, err
			}
			b = append(append(b, t...), part.end...)
		}
	}
	return append(b, '}'), nil
}

var notInNames = regexp.MustCompile(`[^a-z0-9]+`)

// slug makes a name for a Data Package of a title.
func slug(title string) string {
	if s := strings.Trim(notInNames.ReplaceAllString(strings.ToLower(title), "-"), "-"); s != "" {
		return s
	}
	return "cycles"
}

// finish describes the whole dataset; all its parts are there.
func (s *set) finish(ctx context.Context, run string) error {
	p := dataPackage{Schema: "https://datapackage.org/profiles/2.0/datapackage.json", Name: slug(s.Card.Title), Title: s.Card.Title,
		Description: "SYNTHETIC data, made by a simulator, not measured on any engine. " + s.Card.Description,
		Version:     s.Card.Version, Licenses: []licence{{s.Card.Licence, cardFile}}, Synthetic: true, Tool: s.Card.Tool, Seed: s.Card.Seed,
		Cycles: s.Cycles, PerPart: s.Part, Rate: s.Rate, Config: s.Card.Config}
	for _, c := range s.Columns {
		d := column{c.Name, c.Unit, c.About, kindNames[c.Kind], c.Count, 0}
		if s.Rate > 0 && c.Kind == Samples && !c.Uneven {
			d.Full = c.full()
		}
		p.Columns = append(p.Columns, d)
	}
	var err error
	if p.Resources, err = s.resources(ctx); err != nil {
		return err
	}
	if err := save(s.dir, packageFile, run, func(w io.Writer) error {
		e := json.NewEncoder(w)
		e.SetIndent("", "  ")
		e.SetEscapeHTML(false)
		return e.Encode(&p)
	}); err != nil {
		return err
	}
	if err := save(s.dir, cardFile, run, s.writeCard); err != nil {
		return err
	}
	return syncDir(s.dir)
}

// resources describes every file as it is on the disk.
func (s *set) resources(ctx context.Context) ([]resource, error) {
	all := make([]resource, len(s.outputs)*s.parts())
	errs := make([]error, len(all))
	free := make(chan struct{}, runtime.GOMAXPROCS(0))
	var wait sync.WaitGroup
	for i := range all {
		free <- struct{}{}
		wait.Go(func() {
			defer func() { <-free }()
			if errs[i] = ctx.Err(); errs[i] == nil {
				all[i], errs[i] = s.resource(&s.outputs[i%len(s.outputs)], i/len(s.outputs))
			}
		})
	}
	wait.Wait()
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return all, nil
}

func (s *set) resource(o *output, part int) (r resource, err error) {
	name := o.file(part)
	first, last := s.span(part)
	r = resource{Name: strings.ReplaceAll(name, ".", "-"), Path: name,
		Title:  fmt.Sprintf("cycles %d to %d: %s", first, last-1, o.about),
		Format: o.extension, MediaType: o.media}
	in, err := os.Open(s.path(name))
	if err != nil {
		return r, fmt.Errorf("dataset: %w", err)
	}
	defer in.Close()
	h := sha256.New()
	if r.Bytes, err = io.Copy(h, in); err != nil {
		return r, fmt.Errorf("dataset: %s: %w", name, err)
	}
	r.Hash = "sha256:" + hex.EncodeToString(h.Sum(nil))
	if o.format == "csv" || o.format == "c" {
		r.Encoding = "utf-8"
	}
	if o.fields != nil {
		r.Type, r.Schema = "table", &tableSchema{Missing: []string{""}}
		for _, c := range o.fields {
			kind := [...]string{"number", "integer", "boolean", "number"}[c.Kind]
			r.Schema.Fields = append(r.Schema.Fields, field{c.Name, kind, c.About, c.Unit})
		}
	}
	return r, nil
}
