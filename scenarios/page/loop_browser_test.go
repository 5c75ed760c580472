package page

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
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
	long(t, ctx, count+` > 30`) // it runs
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
	near(t, table(t, log)["ordered_deg_btdc"], have["ordered next [deg before TDC]"], 1e-6)
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

// What an address cannot mean is mended; a fault of any severity and a hand that moves
// later are shown as they are; back undoes a move; a hand in a running loop cannot ask
// for more than a run may have; a program that does not answer is told and waited for;
// nobody asks once the view is left; and it begins at rest for those who asked for less
// motion, and ends by itself.
func TestLoopAddress(t *testing.T) {
	ctx := browser(t)
	at := "http://" + serve(t) + "/"
	const count = `Number(/cycle (\d+) of/.exec(document.body.textContent)?.[1])`
	const hand = `document.querySelector("#set-hand")`
	const told = `document.querySelector(".results > .fault").textContent`
	value := func(key string) string {
		return fmt.Sprintf(`new URLSearchParams(location.hash.split("?")[1]).get(%q)`, key)
	}
	_, err := chromedp.Call(ctx, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true}) // as a window in front
	require.NoError(t, err)
	base := at + "#loop?reader=maximum&guard=0&envelope=0&paused=1"
	open := func(more string) { do(t, ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(base+more)) }
	box := func(name string) string { return fmt.Sprintf(`document.querySelector('input[name="%s"]')`, name) }
	fired := func(query string, n int) string { // in the last of n cycles, as the program says
		last := rows(t, fmt.Sprintf("%sapi/loop?reader=maximum&guard=0&envelope=0%s&from=%d&to=%d", at, query, n-1, n))["spark_deg_btdc"][0]
		return strings.Replace(fmt.Sprintf("%.1f", *last), "-", "\u2212", 1)
	}

	open("&cycle=20.4&hand=12:5,40:20&faults=plug-noise%3D9@5-30")
	long(t, ctx, count+` === 20 && `+value("cycle")+` === "20"`)
	reads(t, ctx, `[...document.querySelectorAll(".fault")].some((f) => f.textContent.includes("cycle 20.4: a whole number"))`)
	require.Equal(t, "plug-noise 9 x", js[string](t, ctx, box("plug-noise")+`.parentElement.textContent.trim()`))
	require.Contains(t, js[string](t, ctx, `document.querySelector(".switches").textContent`), "scatter, shift and noise of the plug")
	require.Equal(t, "5", js[string](t, ctx, hand+".value")) // not yet at 20
	require.Equal(t, fired("&hand=12:5&faults=plug-noise%3D9@5-", 20), js[string](t, ctx, key("Fired")))
	js[bool](t, ctx, box("fouling")+`.focus() || true`)
	reads(t, ctx, `document.querySelector(".about").textContent === "fouling: this current leaks through a dirty insulator"`)
	js[bool](t, ctx, box("fouling")+`.click() || true`)
	reads(t, ctx, value("faults")+` === "plug-noise=9@5-30,fouling@20-"`)
	for n := 30; n <= 50; n += 10 {
		pressing(t, ctx, "10 cycles")
		reads(t, ctx, fmt.Sprintf("%s === %d", count, n))
	}
	require.Equal(t, "20", js[string](t, ctx, hand+".value"))
	require.False(t, js[bool](t, ctx, box("plug-noise")+".checked"))
	require.Equal(t, fired("&hand=12:5,40:20&faults=plug-noise%3D9@5-30,fouling@20-", 50), js[string](t, ctx, key("Fired")))

	// Back, and forward again.
	open("&cycle=20")
	reads(t, ctx, count+" === 20")
	before := js[string](t, ctx, key("Fired"))
	js[bool](t, ctx, hand+`.focus() || true`)
	do(t, ctx, chromedp.KeyEvent(kb.ArrowRight, chromedp.KeyModifiers(8)))
	reads(t, ctx, value("hand")+` === "20:10"`)
	pressing(t, ctx, "10 cycles")
	reads(t, ctx, count+` === 30 && `+value("cycle")+` === "30"`)
	after := js[string](t, ctx, key("Fired"))
	require.Equal(t, fired("&hand=20:10", 30), after)
	js[bool](t, ctx, "history.back() || true")
	reads(t, ctx, fmt.Sprintf(`%s === 20 && %s === %q && %s.value === "0"`, count, key("Fired"), before, hand))
	js[bool](t, ctx, "history.forward() || true")
	reads(t, ctx, fmt.Sprintf(`%s === 30 && %s === %q && %s.value === "10"`, count, key("Fired"), after, hand))

	// A reading on the wrong side, which leads away from MBT: told if the cycles are so.
	open("&cycle=60")
	reads(t, ctx, count+" === 60")
	all := rows(t, at+"api/loop?reader=maximum&guard=0&envelope=0&from=40&to=60")
	read, truth, n := 0., 0., 0.
	for i, r := range all["read_deg_atdc"] {
		truth += *all["lpp_deg_atdc"][i] / 20
		if r != nil {
			read, n = read+*r, n+1
		}
	}
	read /= n
	require.Less(t, read, 15.)
	require.Greater(t, truth, 18.)
	require.Less(t, *all["spark_deg_btdc"][19], *all["mbt_deg_btdc"][19]-10)
	reads(t, ctx, fmt.Sprintf(`document.querySelector(".results .why").textContent.includes("over 20 cycles it read %.1f deg where the true peak was at %.1f. It says too early")`, read, truth))
	require.Contains(t, js[string](t, ctx, `document.querySelector(".results .why").textContent`), "goes further from MBT: the loop runs away")

	// Nobody answers for a while.
	js[bool](t, ctx, `(() => { window.real = window.fetch; window.fetch = () => Promise.reject(new TypeError("gone")); return true; })()`)
	pressing(t, ctx, "10 cycles")
	reads(t, ctx, told+`.includes("does not answer")`)
	js[bool](t, ctx, `!!(window.fetch = window.real)`)
	reads(t, ctx, count+` === 70 && `+told+` === ""`)

	// A hand that never rests, in a loop that runs: few moves, all of them allowed; and
	// no more than a run may have.
	pressing(t, ctx, "play")
	js[bool](t, ctx, `(() => { let i = 0; window.shake = setInterval(() => { const s = `+hand+`; s.value = i++ % 50; s.dispatchEvent(new Event("input")); }, 16); return true; })()`)
	reads(t, ctx, count+" > 100")
	js[bool](t, ctx, `clearInterval(window.shake) || true`)
	pressing(t, ctx, "pause")
	moves := strings.Split(js[string](t, ctx, value("hand")), ",")
	require.Greater(t, len(moves), 3)
	require.Less(t, len(moves), 20) // about 1.6 s at 4 a second
	require.Empty(t, js[string](t, ctx, told))
	var many []string
	for i := range mostMoves {
		many = append(many, fmt.Sprintf("%d:%d", i, 1+i%2))
	}
	open("&cycle=120&hand=" + strings.Join(many, ","))
	reads(t, ctx, count+" === 120")
	js[bool](t, ctx, hand+`.focus() || true`)
	do(t, ctx, chromedp.KeyEvent(kb.ArrowRight))
	reads(t, ctx, `document.querySelector("#set-hand-fault").textContent.includes("100 moves")`)
	require.Equal(t, "2", js[string](t, ctx, hand+".value"))

	// Anew: the hand is let go. Left, the view asks no more.
	pressing(t, ctx, "start anew")
	reads(t, ctx, value("hand")+` === null && `+count+` > 0 && `+count+` < 100`)
	js[bool](t, ctx, `(() => { window.asked = 0; const real = window.fetch; window.fetch = (...a) => { if (String(a[0]).includes("api/loop")) window.asked++; return real(...a); }; return true; })()`)
	reads(t, ctx, "window.asked > 2")
	js[bool](t, ctx, `[...document.querySelectorAll("nav a")].find((a) => a.textContent === "Spark").click() || true`)
	reads(t, ctx, known)
	left := js[int](t, ctx, "window.asked")
	time.Sleep(500 * time.Millisecond)
	require.Equal(t, left, js[int](t, ctx, "window.asked"))

	// Less motion; then on to the end.
	_, err = chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-reduced-motion", Value: "reduce"}}})
	require.NoError(t, err)
	do(t, ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(at+"#loop?reader=maximum&guard=0&envelope=0&cycle=2985"))
	long(t, ctx, count+" === 2985")
	require.Equal(t, "1", js[string](t, ctx, value("paused")))
	pressing(t, ctx, "play")
	reads(t, ctx, count+` === 3000 && document.body.textContent.includes("where it ends") && document.querySelector(".player button").textContent === "play"`)
	js[bool](t, ctx, hand+`.focus() || true`)
	do(t, ctx, chromedp.KeyEvent(kb.ArrowRight))
	reads(t, ctx, `document.querySelector("#set-hand-fault").textContent.includes("The run has ended")`)
	require.Equal(t, fired("", loopCycles), js[string](t, ctx, key("Fired")))
}
