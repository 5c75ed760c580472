package page

import (
	"context"
	"encoding/json"
	"fmt"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// pressing presses a button of the page by its words.
func pressing(t *testing.T, ctx context.Context, words string) {
	t.Helper()
	require.True(t, js[bool](t, ctx, fmt.Sprintf(`(() => { const b = [...document.querySelectorAll("button")].find((b) => b.textContent === %q); b?.click(); return !!b; })()`, words)), words)
}

// key is a number of the headline by its name.
func key(name string) string {
	return fmt.Sprintf(`[...document.querySelectorAll("dl.keys div")].find((d) => d.querySelector("dt").textContent === %q)?.querySelector("dd").firstChild.textContent`, name)
}

// The Ragged view in a browser: it runs, pauses, steps, averages, and says what the
// program says; the address brings the same cycle back.
func TestRaggedView(t *testing.T) {
	ctx := browser(t)
	at := "http://" + serve(t) + "/"
	do(t, ctx, chromedp.Navigate(at+"#ragged?signal=pressure&reader=maximum&speed_rpm=3000"))
	reads(t, ctx, `/cycle (\d+) of/.exec(document.body.textContent)?.[1] > 12`) // it runs
	pressing(t, ctx, "pause")
	js[bool](t, ctx, `!!(window.count = () => Number(/cycle (\d+) of/.exec(document.body.textContent)[1]))`)
	before := js[int](t, ctx, "count()")
	pressing(t, ctx, "one cycle")
	reads(t, ctx, fmt.Sprintf("count() === %d", before+1))
	n := before + 1

	// The numbers are those of the program.
	_, _, text := ask(t, "GET", fmt.Sprintf("%sapi/ragged?signal=pressure&reader=maximum&speed_rpm=3000&cycles=%d", at, n), "", nil)
	var a struct{ Numbers map[string][]float64 }
	require.NoError(t, json.Unmarshal([]byte(text), &a))
	sum := 0.
	for _, v := range a.Numbers["true_peak_deg_atdc"] {
		sum += v
	}
	require.Equal(t, fmt.Sprintf("%.2f", sum/float64(n)), js[string](t, ctx, key("True LPP")))

	// What is kept of the run chart is the same, cycle by cycle.
	columns := table(t, keptFile(t, ctx, "run", "csv"))
	require.Len(t, columns["cycle"], n)
	for i, v := range a.Numbers["read_deg_atdc"] {
		require.Equal(t, fmt.Sprint(v), columns["read [deg after TDC]"][i])
	}

	// By the keyboard: the averaging length.
	js[bool](t, ctx, `document.querySelector("#set-over").focus() || true`)
	do(t, ctx, chromedp.KeyEvent(kb.ArrowRight))
	reads(t, ctx, `document.body.textContent.includes("Error of means of 21")`)

	// Zoom by the keyboard, hover, and all of it from the address in a new tab.
	js[bool](t, ctx, `document.querySelector("#plot-peaks .field").focus() || true`)
	do(t, ctx, chromedp.KeyEvent("+"))
	reads(t, ctx, `location.hash.includes("zoom_peaks")`)
	box := js[[]float64](t, ctx, `(() => { document.querySelector("#plot-cycles").scrollIntoView(); const b = document.querySelector("#plot-cycles .field").getBoundingClientRect(); return [b.left + b.width / 2, b.top + b.height / 2]; })()`)
	do(t, ctx, chromedp.MouseEvent("mouseMoved", box[0], box[1]))
	reads(t, ctx, `/deg after TDC.*this cycle.*bar/.test(document.querySelector("#plot-cycles .cursor").textContent)`)
	reads(t, ctx, fmt.Sprintf(`location.hash.includes("cycles=%d&")`, n))
	address, shown := js[string](t, ctx, "location.href"), js[string](t, ctx, `document.querySelector("dl.keys").textContent`)
	tab, stop := chromedp.NewContext(ctx)
	defer stop()
	do(t, tab, chromedp.Navigate(address))
	reads(t, tab, fmt.Sprintf(`document.querySelector("dl.keys")?.textContent === %q`, shown))
	require.True(t, js[bool](t, tab, `[...document.querySelectorAll("button")].some((b) => b.textContent === "play")`))

	// A fault: the same cycles again, read otherwise.
	js[bool](t, tab, `(() => { const f = document.querySelector("#set-fault"); f.value = "tdc-offset"; f.dispatchEvent(new Event("change")); return true; })()`)
	reads(t, tab, fmt.Sprintf(`%s === %q && document.querySelector("dl.keys").textContent !== %q`, key("True LPP"), fmt.Sprintf("%.2f", sum/float64(n)), shown))

	look(t, tab, "ragged")
}
