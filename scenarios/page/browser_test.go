package page

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// browser is a Chromium with nothing in it; the test is skipped without one. Console
// errors fail the test at its end.
func browser(t *testing.T) context.Context {
	t.Helper()
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil && path == "" {
			path = p
		}
	}
	if path == "" {
		require.Empty(t, os.Getenv("PHASEBENCH_REQUIRE_PEERS"), "the peers are required here: chromium")
		t.Skip("no chromium")
	}
	opts := append(slices.Clone(chromedp.DefaultExecAllocatorOptions[:]), chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.UserDataDir(t.TempDir()), chromedp.WindowSize(1280, 720))
	ctx, stop := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, stopTab := chromedp.NewContext(ctx)
	ctx, stopLate := context.WithTimeout(ctx, 5*time.Minute)
	var mu sync.Mutex
	var faults []string
	require.NoError(t, chromedp.Listen(ctx, func(e any) {
		mu.Lock()
		defer mu.Unlock()
		switch e := e.(type) {
		case *runtime.EventExceptionThrown:
			faults = append(faults, e.ExceptionDetails.Text)
		case *log.EventEntryAdded:
			if e.Entry.Level == log.EntryLevelError {
				faults = append(faults, e.Entry.Text+" "+e.Entry.URL)
			}
		}
	}))
	t.Cleanup(func() {
		stopLate()
		stopTab()
		stop()
		mu.Lock()
		defer mu.Unlock()
		require.Empty(t, faults, "console")
	})
	return ctx
}

// js evaluates an expression in the page.
func js[T any](t *testing.T, ctx context.Context, expression string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression))
	require.NoError(t, err, expression)
	return v
}

// reads waits until an expression is true.
func reads(t *testing.T, ctx context.Context, expression string) {
	t.Helper()
	_, err := chromedp.Run(ctx, chromedp.Poll[bool](expression, chromedp.WithPollingTimeout(20*time.Second)))
	require.NoError(t, err, expression)
}

func do(t *testing.T, ctx context.Context, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, steps...))
}

// torque is the brake torque that the page shows.
const torque = `[...document.querySelectorAll("dl.keys div")].find((d) => d.querySelector("dt").textContent === "Brake torque")?.querySelector("dd").textContent`

// known tells that MBT is there: cycle and sweep have been answered.
const known = `[...document.querySelectorAll("dl.keys div")].some((d) => d.querySelector("dt").textContent === "MBT" && /\d/.test(d.textContent))`

// The Spark view in a browser: drag, keyboard, address, a new tab, narrow and wide.
func TestSparkView(t *testing.T) {
	ctx := browser(t)
	at := "http://" + serve(t) + "/"
	do(t, ctx, chromedp.Navigate(at))
	reads(t, ctx, known)
	require.Contains(t, js[string](t, ctx, `document.getElementById("caution").textContent`), "A model is not your engine")
	reads(t, ctx, `document.querySelector(".why").textContent.includes("than MBT")`)

	// By the keyboard: each arrow moves the spark by its step, and torque follows.
	slider := `document.querySelector(".first input[type=range]")`
	js[bool](t, ctx, slider+`.focus() || true`)
	before := js[float64](t, ctx, "Number("+slider+".value)")
	shown := js[string](t, ctx, torque)
	do(t, ctx, chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(kb.ArrowRight))
	reads(t, ctx, fmt.Sprintf("Number(%s.value) === %g", slider, before+1))
	reads(t, ctx, fmt.Sprintf("%s !== %q", torque, shown))

	// By the mouse: a drag over the slider, and what it costs from input to paint.
	js[bool](t, ctx, `(() => {
		window.times = []; let since = 0;
		`+slider+`.addEventListener("input", () => { since ||= performance.now(); });
		new MutationObserver(() => { const s = since; since = 0; if (s) requestAnimationFrame(() => window.times.push(performance.now() - s)); })
			.observe(document.querySelector("dl.keys"), { childList: true });
		return true;
	})()`)
	box := js[[]float64](t, ctx, `(() => { const b = `+slider+`.getBoundingClientRect(); return [b.left, b.top + b.height / 2, b.width]; })()`)
	x := func(share float64) float64 { return box[0] + box[2]*share }
	do(t, ctx, chromedp.MouseEvent(input.DispatchMouseEventTypeMousePressed, x(0.1), box[1], chromedp.ButtonLeft))
	start := time.Now()
	for i := range 250 { // to the far end and most of the way back
		share := 0.1 + 0.8*float64(i)/150
		if i > 150 {
			share = 0.9 - 0.2*float64(i-150)/100
		}
		do(t, ctx, chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, x(share), box[1], chromedp.ButtonLeft))
	}
	took := time.Since(start).Seconds()
	do(t, ctx, chromedp.MouseEvent(input.DispatchMouseEventTypeMouseReleased, x(0.7), box[1], chromedp.ButtonLeft))
	times := js[[]float64](t, ctx, "window.times")
	slices.Sort(times)
	require.Greater(t, len(times), 10)
	t.Logf("drag: %.0f updates a second; from input to paint %.1f ms in the median, %.1f ms at 95 %%", float64(len(times))/took, times[len(times)/2], times[len(times)*95/100])
	reads(t, ctx, "Number("+slider+".value) > 30")

	// A plot under the mouse: it reads out, zooms by the wheel, moves by a drag, and a
	// double click shows all; its table has what is drawn.
	const field = `document.querySelector("#plot-pressure .field")`
	spot := js[[]float64](t, ctx, `(() => { `+field+`.scrollIntoView({ block: "center" }); const b = `+field+`.getBoundingClientRect(); return [b.left + b.width / 2, b.top + b.height / 2]; })()`)
	do(t, ctx, chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, spot[0]-5, spot[1]), chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, spot[0], spot[1]))
	reads(t, ctx, `/deg after TDC.*motored.*bar.*fired.*bar/.test(document.querySelector("#plot-pressure .cursor").textContent)`)
	const ticks = `[...document.querySelectorAll("#plot-pressure .ticks text")].map((e) => e.textContent).join(" ")`
	all := js[string](t, ctx, ticks)
	js[bool](t, ctx, field+`.dispatchEvent(new WheelEvent("wheel", { deltaY: -300, clientX: `+fmt.Sprint(spot[0])+`, clientY: `+fmt.Sprint(spot[1])+`, bubbles: true, cancelable: true }))|| true`)
	reads(t, ctx, fmt.Sprintf(`%s !== %q && location.hash.includes("zoom_pressure")`, ticks, all))
	zoomed := js[string](t, ctx, ticks)
	do(t, ctx, chromedp.MouseEvent(input.DispatchMouseEventTypeMousePressed, spot[0], spot[1], chromedp.ButtonLeft),
		chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, spot[0]+80, spot[1]+30, chromedp.ButtonLeft),
		chromedp.MouseEvent(input.DispatchMouseEventTypeMouseReleased, spot[0]+80, spot[1]+30, chromedp.ButtonLeft))
	reads(t, ctx, fmt.Sprintf(`%s !== %q`, ticks, zoomed))
	js[bool](t, ctx, field+`.dispatchEvent(new MouseEvent("dblclick", { bubbles: true })) || true`)
	reads(t, ctx, fmt.Sprintf(`%s === %q && !location.hash.includes("zoom_pressure")`, ticks, all))
	js[bool](t, ctx, `!!(document.querySelector("#plot-pressure > details").open = true)`)
	reads(t, ctx, `document.querySelectorAll("#plot-pressure table").length === 2 && document.querySelectorAll("#plot-pressure table tbody tr").length > 50`)

	// What is shown is what the program says of the address.
	reads(t, ctx, `new URLSearchParams(location.hash.split("?")[1]).get("spark_deg") === `+slider+`.value`)
	reads(t, ctx, known)
	address := js[string](t, ctx, "location.href")
	_, query, _ := strings.Cut(address, "?")
	code, _, text := ask(t, "GET", at+"api/cycle?"+query, "", nil)
	require.Equal(t, 200, code, text)
	_, rest, _ := strings.Cut(text, `"brake_torque_nm":`)
	var told float64
	_, err := fmt.Sscanf(rest, "%g", &told)
	require.NoError(t, err)
	reads(t, ctx, fmt.Sprintf(`%s.startsWith("%.2f")`, torque, told))
	shown = js[string](t, ctx, torque)

	// The address alone brings it back, in a new tab.
	tab, stop := chromedp.NewContext(ctx)
	defer stop()
	do(t, tab, chromedp.Navigate(address))
	reads(t, tab, known)
	require.Equal(t, shown, js[string](t, tab, torque))

	// A value from elsewhere is mended and told.
	do(t, tab, chromedp.Navigate("about:blank"), chromedp.Navigate(at+"#spark?spark_deg=900"))
	reads(t, tab, known)
	require.Contains(t, js[string](t, tab, `document.body.textContent`), "spark_deg 900")

	look(t, tab, "spark")
}
