package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"unicode"

	"github.com/spf13/pflag"

	"phasebench/model"
	"phasebench/scenarios/dataset"
	"phasebench/scenarios/record"
)

// meta says where numbers come from: it goes into every file and document.
type meta struct {
	Tool    string            `json:"tool"`
	Version string            `json:"version"`
	Command string            `json:"command"`
	Angle   string            `json:"angle,omitempty"` // of what, if not of a crank: "shaft"
	Seed    uint64            `json:"seed"`
	Engine  map[string]any    `json:"engine,omitempty"` // every key of the engine file; point.* is the point that was run
	Flags   map[string]string `json:"flags,omitempty"`  // what else the command was given
	Caution string            `json:"caution"`

	keys []string // of Engine or Flags, in order
}

func newMeta(command string, seed uint64, e *model.Engine) meta {
	m := meta{Tool: "phasebench", Version: version(), Command: command, Seed: seed, Caution: record.Caution}
	if e != nil {
		if e.Rotary() {
			m.Angle = "shaft"
		}
		m.Engine = map[string]any{}
		for _, s := range e.Settings() {
			m.Engine[s.Key] = s.Value
			m.keys = append(m.keys, s.Key)
		}
	}
	return m
}

// also records the values of the flags names, those aside that have none.
func (m *meta) also(f *pflag.FlagSet, names ...string) {
	if m.Flags == nil {
		m.Flags = map[string]string{}
	}
	for _, name := range names {
		if v := f.Lookup(name).Value.String(); v != "" {
			m.Flags[name] = v
			m.keys = append(m.keys, name)
		}
	}
}

// notes lists m for the head of a file.
func (m *meta) notes() []string {
	all := []string{
		"tool: " + m.Tool + " " + m.Version, "command: " + m.Command, fmt.Sprint("seed: ", m.Seed), "caution: " + m.Caution,
	}
	if m.Angle != "" {
		all = append(all, "angle: "+m.Angle)
	}
	m.each(func(key, value string, _ bool) { all = append(all, key+": "+value) })
	return all
}

// licence is that of every dataset.
const licence = "Synthetic data, made by a program: use it as you like."

// settings lists m for the card of a dataset.
func (m *meta) settings() (all []dataset.Setting) {
	m.each(func(key, value string, flag bool) {
		if flag {
			key = "flag." + key
		}
		all = append(all, dataset.Setting{Key: key, Value: value})
	})
	return all
}

// each tells every value of Engine or Flags in order, in one line; a flag of many lines
// has a key for each.
func (m *meta) each(tell func(key, value string, flag bool)) {
	for _, k := range m.keys {
		v, ok := m.Engine[k]
		if !ok {
			v = m.Flags[k]
		}
		if x, ok := v.(float64); ok {
			v = fmt.Sprintf("%.12g", x)
		}
		lines := []string{fmt.Sprint(v)}
		if !ok {
			lines = strings.FieldsFunc(lines[0], func(r rune) bool { return r == '\n' || r == '\r' })
		}
		for i, line := range lines {
			key := k
			if len(lines) > 1 {
				key = fmt.Sprintf("%s.%03d", k, i+1)
			}
			tell(plain(key), plain(line), !ok)
		}
	}
}

// plain is text without what moves a cursor, ends a line or breaks a file.
func plain(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, text)
}

// writeJSON writes one indented document.
func writeJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	return enc.Encode(v)
}

// writeFile makes a file appear whole or not at all. Pipes and devices cannot
// be replaced: they are written to as they are.
func writeFile(name string, fill func(io.Writer) error) (err error) {
	target := name
	defer func() {
		if err != nil { // the name that was asked for, not that of a file on the way there
			err = &fs.PathError{Op: "cannot write", Path: name, Err: cause(err)}
		}
	}()
	if info, err := os.Stat(name); err == nil {
		switch {
		case info.IsDir():
			return errors.New("is a folder")
		case !info.Mode().IsRegular():
			return writeThrough(name, fill)
		}
		if target, err = filepath.EvalSymlinks(name); err != nil {
			return err
		}
	}
	f, err := os.CreateTemp(filepath.Dir(target), ".phasebench-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			f.Close()
			err = errors.Join(err, os.Remove(f.Name()))
		}
	}()
	if err = fill(f); err != nil {
		return err
	}
	if err = f.Chmod(0o644); err != nil {
		return err
	}
	if err = f.Close(); err != nil {
		return err
	}
	return os.Rename(f.Name(), target)
}

func writeThrough(name string, fill func(io.Writer) error) error {
	f, err := os.OpenFile(name, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	return errors.Join(fill(f), f.Close())
}

// cause is err without the path and the operation that met it.
func cause(err error) error {
	var path *fs.PathError
	var link *os.LinkError
	switch {
	case errors.As(err, &path):
		return path.Err
	case errors.As(err, &link):
		return link.Err
	}
	return err
}
