package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var (
	licenceFile   = regexp.MustCompile(`(?i)^(un)?licen[cs]e|^copying|^notice|^patents|-licen[cs]e$`)
	licenceFolder = regexp.MustCompile(`(?i)^(third_party_)?licen[cs]es$`)
)

// linked returns the licence texts that speak for what is linked into the binary on
// Linux, module and file to SHA-256: those beside a package and above it, up to its module.
func linked(t *testing.T) map[[2]string]string {
	t.Helper()
	list := exec.Command("go", "list", "-deps", "-f", `{{with .Module}}{{if not .Main}}{{.Path}}{{"\t"}}{{.Dir}}{{"\t"}}{{$.Dir}}{{end}}{{end}}`, ".")
	list.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS=linux", "GOARCH=amd64")
	var talk bytes.Buffer
	list.Stderr = &talk
	out, err := list.Output()
	require.NoError(t, err, talk.String())
	texts := map[[2]string]string{}
	add := func(module, root, folder string, every bool) {
		entries, err := os.ReadDir(folder)
		require.NoError(t, err)
		for _, e := range entries {
			path := filepath.Join(folder, e.Name())
			if e.IsDir() || !every && (!licenceFile.MatchString(e.Name()) || filepath.Ext(path) == ".go") {
				continue
			}
			text, err := os.ReadFile(path)
			require.NoError(t, err)
			name, err := filepath.Rel(root, path)
			require.NoError(t, err)
			sum := sha256.Sum256(text)
			texts[[2]string{module, filepath.ToSlash(name)}] = hex.EncodeToString(sum[:])
		}
	}
	for _, line := range strings.Split(strings.TrimSpace(string(out)), "\n") {
		if line == "" {
			continue
		}
		x := strings.Split(line, "\t")
		module, root, folder := x[0], x[1], x[2]
		for ; len(folder) >= len(root); folder = filepath.Dir(folder) {
			add(module, root, folder, false)
		}
		entries, err := os.ReadDir(root)
		require.NoError(t, err)
		for _, e := range entries {
			if e.IsDir() && licenceFolder.MatchString(e.Name()) {
				add(module, root, filepath.Join(root, e.Name()), true)
			}
		}
		require.Contains(t, modulesOf(texts), module, "no licence text in %s", root)
	}
	return texts
}

func modulesOf(texts map[[2]string]string) map[string]bool {
	all := map[string]bool{}
	for of := range texts {
		all[of[0]] = true
	}
	return all
}

// Every module that is linked into the binary stands in testdata/licences.csv with each of
// its licence texts as somebody read it, and nothing else does.
func TestLicences(t *testing.T) {
	t.Parallel()
	f, err := os.Open("../../testdata/licences.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Equal(t, []string{"module", "licence", "text", "sha256"}, rows[0])
	texts := linked(t)
	require.NotEmpty(t, texts)
	for _, row := range rows[1:] {
		of := [2]string{row[0], row[2]}
		sum, ok := texts[of]
		if assert.True(t, ok, "%s %s: not linked any more, or listed twice", row[0], row[2]) {
			assert.Equal(t, row[3], sum, "%s %s: the text is another; read it", row[0], row[2])
		}
		assert.NotEmpty(t, row[1], "%s %s: the licence has no name", row[0], row[2])
		delete(texts, of)
	}
	for of, sum := range texts {
		t.Errorf("%s,,%s,%s: not listed; read it and name its licence", of[0], of[1], sum)
	}
}
