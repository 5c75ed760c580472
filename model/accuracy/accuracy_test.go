package accuracy

import (
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const begin, end = "<!-- the table of testdata/reference/accuracy.csv -->\n", "<!-- its end -->\n"

// markdown is the table as README has it; what a row shares with that above it is left out.
func markdown(rows []*Row) string {
	var b strings.Builder
	b.WriteString("| check | source | compared | allowed | seen | values |\n| --- | --- | --- | --- | --- | --- |\n")
	last := &Row{}
	for _, r := range rows {
		check, source := r.Check, r.Source
		if check == last.Check {
			check = ""
			if source == last.Source {
				source = ""
			}
		}
		fmt.Fprintf(&b, "| %s | %s | %s | %s | %s | %s |\n", check, source, r.Quantity, r.Allowed, r.Seen, r.Values)
		last = r
	}
	return b.String()
}

// The table in README is that of the file.
func TestReadme(t *testing.T) {
	root, err := Root()
	require.NoError(t, err)
	rows, err := Read()
	require.NoError(t, err)
	path := filepath.Join(root, "README.md")
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	before, rest, ok := strings.Cut(string(text), begin)
	require.True(t, ok, "README.md: want %q", begin)
	table, after, ok := strings.Cut(rest, end)
	require.True(t, ok, "README.md: want %q", end)
	if *update && table != markdown(rows) {
		table = markdown(rows)
		require.NoError(t, os.WriteFile(path, []byte(before+begin+table+end+after), 0o644))
	}
	require.Equal(t, markdown(rows), table, "-update rewrites it")
}

// Every row is found by one test, every test finds a row by its own key, and only tests
// use the table.
func TestEveryRowIsUsed(t *testing.T) {
	root, err := Root()
	require.NoError(t, err)
	rows, err := Read()
	require.NoError(t, err)
	require.NotEmpty(t, rows)
	call := regexp.MustCompile(`accuracy\.Find\((t, "([^"\n]+)"\))?`)
	used := map[string][]string{}
	require.NoError(t, filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || filepath.Ext(path) != ".go" || filepath.Dir(path) == filepath.Join(root, "model", "accuracy") {
			return err
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		if !strings.HasSuffix(path, "_test.go") {
			require.NotContains(t, string(text), `"phasebench/model/accuracy"`, path)
		}
		for _, m := range call.FindAllStringSubmatch(string(text), -1) {
			require.NotEmpty(t, m[2], "%s: want accuracy.Find(t, \"a key\")", path)
			used[m[2]] = append(used[m[2]], path)
		}
		return nil
	}))
	for _, r := range rows {
		require.Len(t, used[r.Key], 1, "tests that find row %s", r.Key)
		delete(used, r.Key)
		require.True(t, r.Seen != "" && r.Values != "", "row %s: nothing seen yet", r.Key)
	}
	require.Empty(t, used, "keys without a row")
}

// complaint takes what a row says.
type complaint struct{ text string }

func (*complaint) Helper()                          {}
func (c *complaint) Errorf(format string, a ...any) { c.text = fmt.Sprintf(format, a...) }

func TestRow(t *testing.T) {
	row := func(allowed, seen, slack string, values int) *Row {
		r := &Row{Key: "k", Quantity: "q", Allowed: allowed, Seen: seen, Slack: slack, Values: fmt.Sprint(values)}
		var err error
		r.low, r.high, err = bounds(allowed)
		require.NoError(t, err)
		if slack != "" {
			r.slack = 3
		}
		return r
	}
	for _, c := range []struct {
		row   *Row
		got   []float64
		wrong string // of the values
		stale bool
		saw   string
	}{
		{row("at most 1e-7", "2.3e-08", "", 2), []float64{1e-9, 2.34e-8}, "", false, "2.3e-08"},
		{row("at most 1e-7", "2.3e-08", "", 2), []float64{1e-9, 2.44e-8}, "", false, "2.4e-08"},
		{row("at most 1e-7", "2.3e-08", "", 2), []float64{1e-9, 2.56e-8}, "", true, "2.6e-08"},
		{row("at most 1e-7", "2.3e-08", "3", 1), []float64{6e-8}, "", false, "6e-08"},
		{row("at most 1e-7", "2.3e-08", "3", 1), []float64{7e-9}, "", true, "7e-09"},
		{row("at most 1e-7", "2.3e-08", "", 2), []float64{2.3e-8}, "", true, "2.3e-08"},
		{row("at most 1e-7", "1e-07", "", 1), []float64{1.01e-7}, "k: x: q = 1.01e-07, want at most 1e-7", false, "1e-07"},
		{row("at most 0", "0", "", 1), []float64{0}, "", false, "0"},
		{row("at most 0", "0", "", 1), []float64{math.NaN()}, "k: x: q = NaN, want at most 0", true, "NaN"},
		{row("at least 15", "22", "", 2), []float64{30, 22}, "", false, "22"},
		{row("at least 15", "14", "", 1), []float64{14}, "k: x: q = 14, want at least 15", false, "14"},
		{row("12 to 18", "13.1 to 16", "", 3), []float64{14, 13.1, 16}, "", false, "13.1 to 16"},
		{row("12 to 18", "13.1 to 16", "", 3), []float64{14, 13.4, 16}, "", true, "13.4 to 16"},
		{row("12 to 18", "16", "", 1), []float64{16}, "", false, "16"},
		{row("100 to 200", "123", "", 1), []float64{123.4}, "", false, "123"},
	} {
		var said complaint
		for _, v := range c.got {
			c.row.Hold(&said, v, "x")
		}
		require.Equal(t, c.wrong, said.text)
		require.Equal(t, c.saw, c.row.saw())
		require.Equal(t, c.stale, c.row.holds() != nil, "%v", c.row.holds())
	}
	require.ErrorContains(t, row("at most 1", "1", "", 0).holds(), "nothing was compared")
	for _, bad := range []string{"", "1e-7", "at most", "at most x", "1 to", "at least NaN"} {
		_, _, err := bounds(bad)
		require.ErrorContains(t, err, "want at most X, at least X or X to Y", bad)
	}
}
