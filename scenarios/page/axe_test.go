package page

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// axe is the source of axe-core, an open checker of accessibility rules (WCAG 2), from
// npm; the test is skipped without it.
func axe(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	out, err := exec.Command("npm", "install", "--no-audit", "--no-fund", "--prefix", dir, "axe-core@4").CombinedOutput()
	if err != nil {
		require.Empty(t, os.Getenv("PHASEBENCH_REQUIRE_PEERS"), "the peers are required here: npm with axe-core: %v %s", err, out)
		t.Skipf("no axe-core from npm: %v", err)
	}
	text, err := os.ReadFile(filepath.Join(dir, "node_modules", "axe-core", "axe.min.js"))
	require.NoError(t, err)
	return string(text)
}

// violation is what axe-core found.
type violation struct {
	ID, Impact, Help string
	Nodes            []struct {
		Target  []any
		Summary string `json:"failureSummary"`
	}
}

// No view breaks a rule of accessibility seriously, light or dark, wide or narrow.
func TestAccessible(t *testing.T) {
	ctx := browser(t)
	source := axe(t)
	at := "http://" + serve(t) + "/"
	for _, view := range []struct{ address, ready string }{
		{"#spark", known},
		{"#ragged?paused=1&cycles=30", `/cycle 30 of/.test(document.body.textContent)`},
		{"#trust?signal=pressure", `document.querySelector(".why")?.textContent.includes("Of 100 cycles")`},
		{"#loop?guard=0&envelope=0&paused=1&cycle=40", `/cycle 40 of/.test(document.body.textContent)`},
		{"#lesson?step=3", `document.querySelector("#plot-lesson path.line") !== null`},
	} {
		do(t, ctx, chromedp.EmulateViewport(1280, 720), chromedp.Navigate("about:blank"), chromedp.Navigate(at+view.address))
		long(t, ctx, view.ready)
		js[bool](t, ctx, `!!document.querySelectorAll("details:not(.menu)").forEach((d) => { d.open = true; }) || true`) // tables too
		js[bool](t, ctx, source+"; typeof axe.run === 'function'")
		for _, x := range []struct {
			theme string
			width int64
		}{{"light", 1280}, {"dark", 1280}, {"light", 390}} {
			do(t, ctx, chromedp.EmulateViewport(x.width, 800))
			js[bool](t, ctx, fmt.Sprintf(`(() => { document.documentElement.dataset.theme = %q; return true; })()`, x.theme))
			for _, v := range found(t, ctx) {
				text := fmt.Sprintf("%s, %s, %d px: %s (%s): %s", view.address, x.theme, x.width, v.ID, v.Impact, v.Help)
				for i, n := range v.Nodes {
					if i < 3 {
						text += fmt.Sprintf("\n  %v: %s", n.Target, n.Summary)
					}
				}
				if v.Impact == "serious" || v.Impact == "critical" {
					t.Error(text)
				} else {
					t.Log(text)
				}
			}
		}
	}
	// It does find what is wrong.
	js[bool](t, ctx, `!!document.querySelector("main").append(Object.assign(document.createElement("img"), { src: "icon.svg" })) || true`)
	require.True(t, slices.ContainsFunc(found(t, ctx), func(v violation) bool { return v.ID == "image-alt" && v.Impact == "critical" }))
}

// found runs axe-core on the page.
func found(t *testing.T, ctx context.Context) (all []violation) {
	t.Helper()
	js[bool](t, ctx, `(window.axeFound = null, axe.run(document, { resultTypes: ["violations"] }).then((r) => { window.axeFound = JSON.stringify(r.violations); }), true)`)
	long(t, ctx, `typeof window.axeFound === "string"`)
	require.NoError(t, json.Unmarshal([]byte(js[string](t, ctx, "window.axeFound")), &all))
	return all
}
