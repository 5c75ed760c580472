// Package accuracy is the one place of what this project is compared with outside
// itself: testdata/reference/accuracy.csv, one row a check, of which README's table is
// made. A row owns its tolerance. The test that makes the comparison finds its row,
// gives it every deviation, and the row asserts that each is allowed and that the worst
// of them is still what the table says was seen.
//
// Only tests import this package. With -update they write what they saw into the file.
package accuracy

import (
	"bytes"
	"encoding/csv"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
)

var update = flag.Bool("update", false, "rewrite what was seen in the table of outside checks")

// File is the table, from the root of the project.
const File = "testdata/reference/accuracy.csv"

// head names the columns of File.
//
//	allowed  "at most X", "at least X" or "X to Y", in the unit of quantity
//	seen     the greatest, the least, or both ends of what was compared: two digits
//	         of a bound, three of a span. It holds within one unit of the last
//	slack    a factor within which seen holds instead, or 0 does, for what differs
//	         between processors or versions of libraries; else empty
//	values   how many were compared
var head = []string{"key", "check", "source", "quantity", "allowed", "seen", "slack", "values"}

// Row is one row of the table, and what a test has compared with it so far.
type Row struct {
	Key, Check, Source, Quantity string
	Allowed, Seen, Slack, Values string

	low, high float64 // allowed
	slack     float64 // 0: none

	mu          sync.Mutex
	least, most float64
	count       int
}

// Find returns the row of key. At its end the test fails if nothing was compared, or
// if what was seen is not what the table says.
func Find(t testing.TB, key string) *Row {
	t.Helper()
	rows, err := Read()
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(rows, func(r *Row) bool { return r.Key == key })
	if i < 0 {
		t.Fatalf("%s: no row %q", File, key)
	}
	r := rows[i]
	t.Cleanup(func() {
		if t.Failed() || t.Skipped() {
			return
		}
		switch err := r.holds(); {
		case err == nil:
		case *update && r.count > 0:
			if err := r.write(); err != nil {
				t.Error(err)
			}
		default:
			t.Error(err)
		}
	})
	return r
}

// judge is a test, or what stands for one.
type judge interface {
	Helper()
	Errorf(format string, args ...any)
}

// Hold compares one value with what is allowed; NaN is not. The words tell which it is.
func (r *Row) Hold(t judge, got float64, what string, args ...any) {
	t.Helper()
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.count++; r.count == 1 {
		r.least, r.most = got, got
	}
	r.least, r.most = min(r.least, got), max(r.most, got)
	if !(got >= r.low && got <= r.high) {
		t.Errorf("%s: %s: %s = %.6g, want %s", r.Key, fmt.Sprintf(what, args...), r.Quantity, got, r.Allowed)
	}
}

// Near holds |got − want|.
func (r *Row) Near(t judge, want, got float64, what string, args ...any) {
	t.Helper()
	r.Hold(t, math.Abs(got-want), what, args...)
}

// Relative holds |got − want|/|want|, 0 where both are 0.
func (r *Row) Relative(t judge, want, got float64, what string, args ...any) {
	t.Helper()
	if got != want {
		r.Hold(t, math.Abs(got-want)/math.Abs(want), what, args...)
	} else {
		r.Hold(t, 0, what, args...)
	}
}

// Same holds 0 if ok, else 1.
func (r *Row) Same(t judge, ok bool, what string, args ...any) {
	t.Helper()
	differs := 1.
	if ok {
		differs = 0
	}
	r.Hold(t, differs, what, args...)
}

// saw is what was compared so far, as the table writes it.
func (r *Row) saw() string {
	switch {
	case math.IsInf(r.low, -1):
		return digits(r.most, 2)
	case math.IsInf(r.high, 1):
		return digits(r.least, 2)
	}
	a, b := digits(r.least, 3), digits(r.most, 3)
	if a == b {
		return a
	}
	return a + " to " + b
}

// holds tells where the table is not what was seen.
func (r *Row) holds() error {
	if r.count == 0 {
		return fmt.Errorf("%s: row %s: nothing was compared", File, r.Key)
	}
	saw := strings.Split(r.saw(), " to ")
	told := strings.Split(r.Seen, " to ")
	if len(told) == 1 && len(saw) == 2 {
		told = append(told, told[0])
	}
	if len(saw) == 1 && len(told) == 2 {
		saw = append(saw, saw[0])
	}
	for i := range told {
		a, errA := strconv.ParseFloat(told[i], 64)
		b, errB := strconv.ParseFloat(saw[min(i, len(saw)-1)], 64)
		if errA != nil || errB != nil || !r.means(a, b) {
			return fmt.Errorf("%s: row %s: seen = %s, want %s; -update rewrites it", File, r.Key, r.Seen, r.saw())
		}
	}
	if n := strconv.Itoa(r.count); n != r.Values {
		return fmt.Errorf("%s: row %s: values = %s, want %s; -update rewrites it", File, r.Key, r.Values, n)
	}
	return nil
}

// means tells whether b is what the table means by a.
func (r *Row) means(a, b float64) bool {
	if a == b || r.slack > 0 && b == 0 {
		return true
	}
	if r.slack > 0 {
		return b/a <= r.slack && a/b <= r.slack && a*b > 0
	}
	figures := 2.
	if !math.IsInf(r.low, -1) && !math.IsInf(r.high, 1) {
		figures = 3
	}
	last := math.Pow(10, math.Floor(math.Log10(math.Max(math.Abs(a), math.Abs(b))))-figures+1)
	return math.Abs(a-b) <= 1.01*last // of decimals in binary
}

// digits writes v with so many significant digits.
func digits(v float64, n int) string {
	text := strconv.FormatFloat(v, 'g', n, 64)
	if round, err := strconv.ParseFloat(text, 64); err == nil && math.Abs(round) >= 100 && math.Abs(round) < 1e6 {
		return strconv.FormatFloat(round, 'f', 0, 64)
	}
	return text
}

// bounds reads "at most X", "at least X" or "X to Y".
func bounds(allowed string) (low, high float64, err error) {
	low, high = math.Inf(-1), math.Inf(1)
	parse := func(text string, v *float64) {
		if x, e := strconv.ParseFloat(text, 64); e != nil || math.IsNaN(x) || math.IsInf(x, 0) {
			err = fmt.Errorf("allowed = %q: want at most X, at least X or X to Y", allowed)
		} else {
			*v = x
		}
	}
	if x, ok := strings.CutPrefix(allowed, "at most "); ok {
		parse(x, &high)
	} else if x, ok := strings.CutPrefix(allowed, "at least "); ok {
		parse(x, &low)
	} else {
		a, b, _ := strings.Cut(allowed, " to ")
		parse(a, &low)
		parse(b, &high)
	}
	return low, high, err
}

// Read returns the table.
func Read() ([]*Row, error) {
	root, err := Root()
	if err != nil {
		return nil, err
	}
	f, err := os.Open(filepath.Join(root, File))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", File, err)
	}
	if len(lines) == 0 || !slices.Equal(lines[0], head) {
		return nil, fmt.Errorf("%s: want the columns %s", File, strings.Join(head, ","))
	}
	var rows []*Row
	for i, x := range lines[1:] {
		r := &Row{Key: x[0], Check: x[1], Source: x[2], Quantity: x[3], Allowed: x[4], Seen: x[5], Slack: x[6], Values: x[7]}
		if r.low, r.high, err = bounds(r.Allowed); err == nil && r.Slack != "" {
			if r.slack, err = strconv.ParseFloat(r.Slack, 64); err != nil || !(r.slack > 1) {
				err = fmt.Errorf("slack = %q: want a factor above 1", r.Slack)
			}
		}
		if err == nil && slices.Contains([]string{r.Key, r.Check, r.Source, r.Quantity}, "") {
			err = fmt.Errorf("want a key, check, source and quantity")
		}
		if err == nil && slices.ContainsFunc(rows, func(other *Row) bool { return other.Key == r.Key }) {
			err = fmt.Errorf("a second one of this key")
		}
		if err != nil {
			return nil, fmt.Errorf("%s: row %d, %s: %w", File, i+1, r.Key, err)
		}
		rows = append(rows, r)
	}
	return rows, nil
}

var writing sync.Mutex

// write puts what was seen into the table. Tests of several packages must not write at
// once: go test -p 1.
func (r *Row) write() error {
	writing.Lock()
	defer writing.Unlock()
	rows, err := Read()
	if err != nil {
		return err
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	err = w.Write(head)
	for _, x := range rows {
		if x.Key == r.Key {
			x.Seen, x.Values = r.saw(), strconv.Itoa(r.count)
		}
		if err == nil {
			err = w.Write([]string{x.Key, x.Check, x.Source, x.Quantity, x.Allowed, x.Seen, x.Slack, x.Values})
		}
	}
	w.Flush()
	root, other := Root()
	if err != nil || other != nil {
		return fmt.Errorf("%s: %v, %v", File, err, other)
	}
	return os.WriteFile(filepath.Join(root, File), b.Bytes(), 0o644)
}

// Root is the directory of go.mod, above that of the test.
func Root() (string, error) {
	dir, err := os.Getwd()
	if err != nil {
		return "", err
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir, nil
		}
		if dir == filepath.Dir(dir) {
			return "", fmt.Errorf("no go.mod above the working directory")
		}
		dir = filepath.Dir(dir)
	}
}
