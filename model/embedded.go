package model

import (
	"embed"
	"errors"
	"fmt"
	"os"
	"strings"
)

//go:embed engines/*.toml
var engines embed.FS

// Default is the embedded engine that runs when none is named.
const Default = "pump-set"

// ErrUnknown is wrapped when no embedded engine has the name.
var ErrUnknown = errors.New("unknown engine")

// Names lists the embedded engines, sorted.
func Names() []string {
	entries, err := engines.ReadDir("engines")
	if err != nil {
		panic(err) // the folder is embedded
	}
	names := make([]string, len(entries))
	for i, e := range entries {
		names[i] = strings.TrimSuffix(e.Name(), ".toml")
	}
	return names
}

// Load returns an embedded engine by name, or the one described by a file
// whose name ends in .toml.
func Load(name string) (*Engine, error) {
	if strings.HasSuffix(name, ".toml") {
		data, err := os.ReadFile(name)
		if err != nil {
			return nil, fmt.Errorf("engine file: %w", err)
		}
		return Parse(name, data)
	}
	data, err := engines.ReadFile("engines/" + name + ".toml")
	if err != nil {
		return nil, fmt.Errorf("engine %q, want one of %s, or a file name ending in .toml: %w",
			name, strings.Join(Names(), ", "), ErrUnknown)
	}
	return Parse(name+".toml", data)
}
