package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"phasebench/model"
	"phasebench/scenarios/record"
)

// meta says where numbers come from: it goes into every file and document.
type meta struct {
	Tool    string            `json:"tool"`
	Version string            `json:"version"`
	Command string            `json:"command"`
	Seed    uint64            `json:"seed"`
	Engine  map[string]any    `json:"engine,omitempty"` // every key of the engine file; point.* is the point that was run
	Flags   map[string]string `json:"flags,omitempty"`  // of a command without an engine
	Caution string            `json:"caution"`

	keys []string // of Engine or Flags, in order
}

func newMeta(command string, seed uint64, e *model.Engine) meta {
	m := meta{Tool: "phasebench", Version: version(), Command: command, Seed: seed, Caution: record.Caution}
	if e != nil {
		m.Engine = map[string]any{}
		for _, s := range e.Settings() {
			m.Engine[s.Key] = s.Value
			m.keys = append(m.keys, s.Key)
		}
	}
	return m
}

// notes lists m for the head of a file.
func (m *meta) notes() []string {
	all := []string{
		"tool: " + m.Tool + " " + m.Version, "command: " + m.Command, fmt.Sprint("seed: ", m.Seed), "caution: " + m.Caution,
	}
	for _, k := range m.keys {
		v, ok := m.Engine[k]
		if !ok {
			v = m.Flags[k]
		}
		if x, ok := v.(float64); ok {
			v = fmt.Sprintf("%.12g", x)
		}
		all = append(all, strings.ReplaceAll(fmt.Sprintf("%s: %v", k, v), "\n", " "))
	}
	return all
}

// writeJSON writes one indented document.
func writeJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	return enc.Encode(v)
}

// writeFile makes a file appear whole or not at all.
func writeFile(name string, fill func(io.Writer) error) (err error) {
	f, err := os.CreateTemp(filepath.Dir(name), ".phasebench-*")
	if err != nil {
		return fmt.Errorf("cannot write %s: %w", name, err)
	}
	defer func() {
		if err != nil {
			f.Close()
			err = fmt.Errorf("cannot write %s: %w", name, errors.Join(err, os.Remove(f.Name())))
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
	return os.Rename(f.Name(), name)
}
