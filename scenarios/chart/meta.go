package chart

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
	"unicode/utf8"
)

// Meta is what a picture file records about its making, in order. Keys are
// 1 to 60 ASCII letters, digits, dots, dashes and underscores, each once;
// values are UTF-8 text.
type Meta []Entry

// Entry is one record of a Meta.
type Entry struct{ Key, Value string }

// ErrMeta is wrapped by errors about a Meta that no file could hold.
var ErrMeta = errors.New("metadata not usable")

var goodKey = regexp.MustCompile(`^[A-Za-z0-9._-]{1,60}$`)

func (m Meta) check() error {
	seen := map[string]bool{}
	for _, e := range m {
		switch {
		case !goodKey.MatchString(e.Key):
			return fmt.Errorf("chart: metadata key %q, want 1 to 60 letters, digits, '.', '-', '_': %w", e.Key, ErrMeta)
		case seen[e.Key]:
			return fmt.Errorf("chart: metadata key %q given twice: %w", e.Key, ErrMeta)
		case !utf8.ValidString(e.Value) || strings.ContainsRune(e.Value, 0):
			return fmt.Errorf("chart: metadata value of %q is not UTF-8 text: %w", e.Key, ErrMeta)
		}
		seen[e.Key] = true
	}
	return nil
}

// get returns the value of key, or "".
func (m Meta) get(key string) string {
	for _, e := range m {
		if e.Key == key {
			return e.Value
		}
	}
	return ""
}
