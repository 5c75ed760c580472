package dataset

import (
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"io"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model/accuracy"
)

// The rules of the Data Package standard, version 2 (https://datapackage.org),
// written out from memory: what must be there, and what it may look like. For names
// version 1 is stricter, and that is what is asked here.
var (
	packageNames = regexp.MustCompile(`^[-a-z0-9._/]+$`)
	hashes       = regexp.MustCompile(`^([^:]+:[a-fA-F0-9]+|[a-fA-F0-9]{32})$`)
	mediaTypes   = regexp.MustCompile(`^(.+)/(.+)$`)
	fieldTypes   = []string{"string", "number", "integer", "boolean", "object", "array", "list", "datetime", "date", "time",
		"year", "yearmonth", "duration", "geopoint", "geojson", "any"}
)

type object = map[string]any

// obey returns what breaks the rules.
func obey(p object) (broken []string) {
	rule := func(ok bool, what string) {
		if !ok {
			broken = append(broken, what)
		}
	}
	text := func(o object, key string) string { s, _ := o[key].(string); return s }
	rule(text(p, "$schema") == "https://datapackage.org/profiles/2.0/datapackage.json", "$schema names the version")
	rule(packageNames.MatchString(text(p, "name")), "name is in lower case")
	licenses, _ := p["licenses"].([]any)
	for _, l := range licenses {
		l, _ := l.(object)
		rule(text(l, "name") != "" || text(l, "path") != "", "a licence has a name or a path")
	}
	resources, _ := p["resources"].([]any)
	rule(len(resources) > 0, "there are resources")
	names := map[string]bool{}
	for _, r := range resources {
		r, _ := r.(object)
		name, where := text(r, "name"), text(r, "path")
		rule(packageNames.MatchString(name) && !names[name], "names of resources are unique, in lower case: "+name)
		names[name] = true
		rule(where != "" && !path.IsAbs(where) && path.Clean(where) == where && !strings.HasPrefix(where, "..") &&
			!strings.HasPrefix(where, ".") && !strings.Contains(where, `\`), "paths stay inside: "+where)
		rule(hashes.MatchString(text(r, "hash")), "hash names its algorithm: "+text(r, "hash"))
		rule(mediaTypes.MatchString(text(r, "mediatype")), "a media type has two halves")
		size, ok := r["bytes"].(float64)
		rule(ok && size >= 0 && size == float64(int64(size)), "bytes is a whole number")
		if r["type"] != nil {
			rule(text(r, "type") == "table", "the only type is table")
		}
		if r["schema"] == nil {
			continue
		}
		schema, _ := r["schema"].(object)
		fields, _ := schema["fields"].([]any)
		rule(len(fields) > 0, "a schema has fields")
		for _, f := range fields {
			f, _ := f.(object)
			rule(text(f, "name") != "", "a field has a name")
			rule(slices.Contains(fieldTypes, text(f, "type")), "a field is of a known type: "+text(f, "type"))
		}
		missing, _ := schema["missingValues"].([]any)
		for _, m := range missing {
			_, ok := m.(string)
			rule(ok, "missing values are text")
		}
	}
	return broken
}

func TestPackage(t *testing.T) {
	p := plan(t)
	write(t, p)
	text, err := os.ReadFile(filepath.Join(p.Dir, packageFile))
	require.NoError(t, err)
	var all object
	require.NoError(t, json.Unmarshal(text, &all))
	broken := obey(all)
	accuracy.Find(t, "datapackage").Hold(t, float64(len(broken)), "%q", broken)
	require.NotContains(t, string(text), p.Dir)
	require.NotContains(t, all, "created")

	var d struct {
		Synthetic     bool
		Seed          uint64
		Configuration map[string]string
		Columns       []struct {
			Name, Unit string
			Full       float32 `json:"wav_full_scale"`
		}
		Resources []resource
	}
	require.NoError(t, json.Unmarshal(text, &d))
	require.True(t, d.Synthetic)
	require.EqualValues(t, uint64(1<<63+1), d.Seed)
	require.Equal(t, map[string]string{"speed_rpm": "2200", "fuel": "iso-octane"}, d.Configuration)
	require.Equal(t, []float32{64, 1, 1, 0}, []float32{d.Columns[5].Full, d.Columns[6].Full, d.Columns[7].Full, d.Columns[8].Full})
	// Every file is described as it is, and nothing else.
	files := contents(t, p.Dir)
	for _, own := range []string{planFile, packageFile, cardFile} {
		require.Contains(t, files, own)
		delete(files, own)
	}
	require.Len(t, d.Resources, len(files))
	for _, r := range d.Resources {
		body := files[r.Path]
		sum := sha256.Sum256([]byte(body))
		require.Equal(t, "sha256:"+hex.EncodeToString(sum[:]), r.Hash)
		require.EqualValues(t, len(body), r.Bytes)
		if r.Format != "csv" {
			continue
		}
		require.False(t, strings.Contains(strings.ReplaceAll(body, "\r\n", ""), "\n"), "lines end in CRLF, which is what the standard expects")
		names, err := csv.NewReader(strings.NewReader(body)).Read()
		require.NoError(t, err)
		for i, f := range r.Schema.Fields {
			require.Equal(t, names[i], f.Name)
		}
		require.Len(t, names, len(r.Schema.Fields))
	}
}

// The rules above can fail.
func TestRules(t *testing.T) {
	good := func() object {
		return object{"$schema": "https://datapackage.org/profiles/2.0/datapackage.json", "name": "a", "licenses": []any{object{"path": "x"}},
			"resources": []any{object{"name": "r", "path": "r.csv", "hash": "sha256:00", "mediatype": "text/csv", "bytes": 1., "type": "table",
				"schema": object{"fields": []any{object{"name": "f", "type": "number"}}}}}}
	}
	require.Empty(t, obey(good()))
	for name, spoil := range map[string]func(p, r object){
		"version": func(p, r object) { delete(p, "$schema") },
		"name":    func(p, r object) { p["name"] = "Pump Set" },
		"licence": func(p, r object) { p["licenses"] = []any{object{"title": "x"}} },
		"none":    func(p, r object) { p["resources"] = []any{} },
		"path":    func(p, r object) { r["path"] = "../r.csv" },
		"root":    func(p, r object) { r["path"] = "/r.csv" },
		"hash":    func(p, r object) { r["hash"] = "sha256" },
		"media":   func(p, r object) { r["mediatype"] = "csv" },
		"bytes":   func(p, r object) { r["bytes"] = 1.5 },
		"twice":   func(p, r object) { p["resources"] = []any{r, r} },
		"field":   func(p, r object) { r["schema"].(object)["fields"].([]any)[0].(object)["type"] = "float" },
	} {
		p := good()
		spoil(p, p["resources"].([]any)[0].(object))
		require.NotEmpty(t, obey(p), name)
	}
}

// The card says first what the data are, then what every column means.
func TestCard(t *testing.T) {
	p := plan(t)
	write(t, p)
	text, err := os.ReadFile(filepath.Join(p.Dir, cardFile))
	require.NoError(t, err)
	card := string(text)
	lines := strings.Split(card, "\n")
	require.Equal(t, "# Pump set, 499 cc single", lines[0])
	require.Contains(t, lines[2], "SYNTHETIC DATA")
	for _, c := range (&fake{count: 24}).Columns() {
		require.Contains(t, card, "| `"+c.Name+"` | "+c.Unit+" | ")
	}
	for _, want := range []string{p.Card.Caution, p.Card.Licence, "seed 9223372036854775809", "| fuel | iso-octane |",
		"read_parquet", "read_csv", "numpy.load", "loadmat", "wavfile.read(\"cycles-24-00000.wav\")", "#include \"cycles-00000.h\"", `none \| of`} {
		require.Contains(t, card, want)
	}
	require.NotContains(t, card, p.Dir)

	q := plan(t, "npz") // nothing about what is not there
	write(t, q)
	text, err = os.ReadFile(filepath.Join(q.Dir, cardFile))
	require.NoError(t, err)
	for _, no := range []string{"wav", "WAV", "read_parquet", "read_csv", "loadmat", "#include"} {
		require.NotContains(t, string(text), no)
	}
}

// Samples of two fixed counts, none at all, and WAV of what cannot share a file.
func TestShapes(t *testing.T) {
	s, err := newSchema([]Column{{Name: "cycle", Kind: Whole}, {Name: "a", Kind: Samples, Count: 3}, {Name: "b", Kind: Samples, Count: 5},
		{Name: "c", Kind: Samples, Count: 3}})
	require.NoError(t, err)
	var stems []string
	for _, o := range seriesOutputs(s) {
		stems = append(stems, o.stem)
	}
	require.Equal(t, []string{"samples", "b"}, stems)

	none, err := newSchema([]Column{{Name: "cycle", Kind: Whole}})
	require.NoError(t, err)
	require.Empty(t, seriesOutputs(none))
	_, err = newWaves(none)
	require.ErrorContains(t, err, "no channel is evenly spaced")

	varying := &waveFile{wave: &wave{channels: []int{0, 1}}, names: []string{"a", "b"}, scale: []float32{1, 1}}
	require.ErrorContains(t, varying.row(&Row{Labels: []float64{7}, Channels: [][]float32{{1, 2}, {1}}}), "cycle 7: b has 1 samples and a 2")
}

// Formats that count bytes in 32 bits refuse more in words, before they write.
func TestTooLarge(t *testing.T) {
	f := &file{name: "cycles-00000.mat"}
	require.ErrorContains(t, matArray(f, "p", miSingle, mxSingle, 1<<30, 1, 1<<32, func(io.Writer) error { return nil }), "cycles-00000.mat: 4 GiB or more")
	f.size = 1<<32 - 4
	w := &waveFile{file: f, wave: &wave{channels: []int{0}}, names: []string{"a"}, scale: []float32{1}}
	require.ErrorContains(t, w.row(&Row{Labels: []float64{0}, Channels: [][]float32{{1}}}), "fewer cycles a part")
}
