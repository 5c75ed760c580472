package page

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// The Loop view in a browser: it runs, stops and steps; a hand and a fault act from the
// next cycle on; the guard sees the same cycles again; the address brings all of it
// back; and what is kept is what the command makes of the scenario file.
func TestLoopView(t *testing.T) {
	ctx := browser(t)
	at := "http://" + serve(t) + "/"
	do(t, ctx, chromedp.Navigate(at+"#loop?reader=maximum&guard=0&envelope=0&pace=4"))
	const count = `Number(/cycle (\d+) of/.exec(document.body.textContent)?.[1])`
	reads(t, ctx, count+` > 30`) // it runs
	pressing(t, ctx, "pause")
	reads(t, ctx, `new URLSearchParams(location.hash.split("?")[1]).get("cycle") === String(`+count+`)`)
	n := js[int](t, ctx, count)
	for last := -1; n != last; { // what was under way arrives
		time.Sleep(500 * time.Millisecond)
		last, n = n, js[int](t, ctx, count)
	}
	pressing(t, ctx, "10 cycles")
	reads(t, ctx, fmt.Sprintf(`%s === %d`, count, n+10))

	// The hand, by the keyboard, ten steps at once; then a fault on and off.
	js[bool](t, ctx, `document.querySelector("#set-hand").focus() || true`)
	for range 3 {
		do(t, ctx, chromedp.KeyEvent(kb.ArrowRight, chromedp.KeyModifiers(8))) // Shift
	}
	reads(t, ctx, fmt.Sprintf(`decodeURIComponent(location.hash).includes("hand=%d:30")`, n+10))
	pressing(t, ctx, "10 cycles")
	reads(t, ctx, fmt.Sprintf(`%s === %d`, count, n+20))
	const fault = `document.querySelector('input[name="plug-noise"]')`
	js[bool](t, ctx, fault+`.click() || true`)
	pressing(t, ctx, "10 cycles")
	reads(t, ctx, fmt.Sprintf(`%s === %d`, count, n+30))
	js[bool](t, ctx, fault+`.click() || true`)
	reads(t, ctx, fmt.Sprintf(`decodeURIComponent(location.hash).includes("faults=plug-noise@%d-%d")`, n+20, n+30))
	pressing(t, ctx, "10 cycles")
	reads(t, ctx, fmt.Sprintf(`%s === %d`, count, n+40))
	off := js[string](t, ctx, key("Fired"))

	// What is drawn is what is kept as log and as scenario file, by the command.
	links := js[[]string](t, ctx, `[...document.querySelectorAll(".links a")].map((a) => a.href)`)
	code, _, log := ask(t, "GET", links[0], "", nil)
	require.Equal(t, 200, code, log)
	have := table(t, keptFile(t, ctx, "sparks", "csv"))
	near(t, table(t, log)["spark_deg_btdc"], have["fired [deg before TDC]"], 1e-6)
	code, _, scenario := ask(t, "GET", links[1], "", nil)
	require.Equal(t, 200, code, scenario)
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "page.toml"), []byte(scenario), 0o600))
	command(t)("loop", "--scenario", filepath.Join(dir, "page.toml"), "--csv", filepath.Join(dir, "page.csv"))
	written, err := os.ReadFile(filepath.Join(dir, "page.csv"))
	require.NoError(t, err)
	want := table(t, string(written))["spark_deg_btdc"]
	require.Len(t, want, loopCycles)
	require.Equal(t, table(t, log)["spark_deg_btdc"], want[:n+40])

	// The guard sees the same cycles again, and fires otherwise.
	js[bool](t, ctx, `(() => { const g = document.querySelector("#set-guard"); g.value = "1"; g.dispatchEvent(new Event("change")); return true; })()`)
	reads(t, ctx, fmt.Sprintf(`%s === %d && document.body.textContent.includes("cycles again, with the same hand") && %s !== %q`, count, n+40, key("Fired"), off))
	reads(t, ctx, `document.body.textContent.includes("Cycles in each state")`)

	// Zoom and hover, and all of it from the address in a new tab.
	js[bool](t, ctx, `document.querySelector("#plot-lost .field").focus() || true`)
	do(t, ctx, chromedp.KeyEvent("+"))
	reads(t, ctx, `location.hash.includes("zoom_lost") && location.hash.includes("guard=1")`)
	box := js[[]float64](t, ctx, `(() => { document.querySelector("#plot-peak").scrollIntoView(); const b = document.querySelector("#plot-peak .field").getBoundingClientRect(); return [b.left + 80, b.top + b.height / 2]; })()`)
	do(t, ctx, chromedp.MouseEvent("mouseMoved", box[0], box[1]))
	reads(t, ctx, `/target 15.00 deg after TDC/.test(document.querySelector("#plot-peak .cursor").textContent)`)
	address, shown := js[string](t, ctx, "location.href"), js[string](t, ctx, `document.querySelector("dl.keys").textContent`)
	require.True(t, strings.Contains(address, "paused=1"), address)
	tab, stop := chromedp.NewContext(ctx)
	defer stop()
	do(t, tab, chromedp.Navigate(address))
	reads(t, tab, fmt.Sprintf(`document.querySelector("dl.keys")?.textContent === %q`, shown))
	look(t, tab, "loop")

	// What the program refuses is told, and the loop stands still.
	do(t, tab, chromedp.Navigate("about:blank"), chromedp.Navigate(at+"#loop?guard=0&envelope=0&hand=5:3,2:4"))
	reads(t, tab, `document.querySelector(".results > .fault")?.textContent.includes("cycles that ascend")`)
}
