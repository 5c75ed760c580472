package page

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
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
	require.Equal(t, fmt.Sprintf("%.2f", sum/float64(n)), js[string](t, ctx, key("True peak")))

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
	reads(t, tab, fmt.Sprintf(`%s === %q && document.querySelector("dl.keys").textContent !== %q`, key("True peak"), fmt.Sprintf("%.2f", sum/float64(n)), shown))

	require.Regexp(t, "true peak.*read", js[string](t, tab, `document.querySelector("#plot-run .labels").textContent`))
	look(t, tab, "ragged")
}

// sums is what the page must say of readings and true peaks, worked out here.
func sums(read, truth []float64, over int) (rms, sd float64) {
	mean := func(v []float64) (m float64) {
		for _, x := range v {
			m += x / float64(len(v))
		}
		return m
	}
	centre, middle, count := mean(truth), mean(read), 0
	for i := 0; i+over <= len(read); i += over {
		rms += math.Pow(mean(read[i:i+over])-centre, 2)
		count++
	}
	for _, x := range read {
		sd += math.Pow(x-middle, 2) / float64(len(read)-1)
	}
	return math.Sqrt(rms / float64(count)), math.Sqrt(sd)
}

// What averaging brings, over more than one batch; an address that cannot be meant is
// mended and told, one typed into the same tab is followed; what is declined is said;
// it ends by itself; and it begins at rest for those who asked for less motion.
func TestRaggedAddress(t *testing.T) {
	ctx := browser(t)
	at := "http://" + serve(t) + "/"
	cycle := func(n int) string {
		return fmt.Sprintf(`document.querySelector(".bar .what")?.textContent.startsWith("cycle %d of")`, n)
	}
	words := `document.querySelector(".results .why").textContent`
	do(t, ctx, chromedp.Navigate(at+"#ragged?signal=pressure&reader=parabola&paused=1&cycles=240&over=10"))
	reads(t, ctx, cycle(240))
	type answer struct{ Numbers map[string][]float64 }
	query := at + "api/ragged?signal=pressure&reader=parabola"
	a, b := answerOf[answer](t, query+"&cycles=200").Numbers, answerOf[answer](t, query+"&first=200&cycles=40").Numbers
	rms, sd := sums(append(a["read_deg_atdc"], b["read_deg_atdc"]...), append(a["true_peak_deg_atdc"], b["true_peak_deg_atdc"]...), 10)
	require.Contains(t, js[string](t, ctx, words), fmt.Sprintf("Means of 10 readings were %.2f deg from the true mean (rms of 24)", rms))
	require.Contains(t, js[string](t, ctx, words), fmt.Sprintf("sd/√10 = %.2f deg", sd/math.Sqrt(10)))
	need := math.Ceil(math.Pow(1.959964*sd, 2)) // the 97.5 % point of the normal distribution
	require.Contains(t, js[string](t, ctx, words), fmt.Sprintf("a mean of %.0f is within 1 deg", need))
	require.Contains(t, js[string](t, ctx, words), fmt.Sprintf("%.2f s at 2200 rpm", need*120/2200))

	// Typed into the same tab: fewer and more cycles, then what no address can mean.
	for _, x := range []struct {
		given string
		want  int
		told  bool
	}{{"77", 77, false}, {"301", 301, false}, {"-5", 1, true}, {"2.5", 3, true}, {"many", 1, true}} {
		js[bool](t, ctx, `(() => { location.hash = location.hash.replace(/cycles=[^&]*/, "cycles=`+x.given+`"); return true; })()`)
		reads(t, ctx, cycle(x.want))
		reads(t, ctx, fmt.Sprintf(`location.hash.includes("cycles=%d&")`, x.want))
		require.Equal(t, x.told, js[bool](t, ctx, `[...document.querySelectorAll(".fault")].some((f) => f.textContent.includes("cycles `+x.given+`: "))`), x.given)
	}

	// A dead plug, and a burn so late that compression makes the greatest pressure.
	do(t, ctx, chromedp.Navigate(at+"#ragged?signal=ion&reader=tracker&fault=dead-ion&paused=1&cycles=30"))
	reads(t, ctx, words+`.includes("Declined: 30 of 30 cycles")`)
	reads(t, ctx, `document.querySelector("#plot-signal .labels").textContent.includes("declined")`)
	require.NotContains(t, js[string](t, ctx, `document.querySelector("#plot-run .labels").textContent`), "read")
	do(t, ctx, chromedp.Navigate(at+"#ragged?signal=ion&reader=tracker&map_kpa=50&paused=1&cycles=100"))
	type gaps struct{ Numbers map[string][]*float64 }
	some := answerOf[gaps](t, at+"api/ragged?signal=ion&reader=tracker&map_kpa=50&cycles=100").Numbers
	bias, sum, truth, n := 0., 0., 0., 0.
	for i, v := range some["true_peak_deg_atdc"] {
		truth += *v / 100
		if r := some["read_deg_atdc"][i]; r != nil {
			bias, sum, n = bias+*r-*v, sum+*r, n+1
		}
	}
	require.Less(t, n, 100.)
	signed := func(v float64) string { return strings.Replace(fmt.Sprintf("%.2f", v), "-", "−", 1) }
	reads(t, ctx, fmt.Sprintf(words+`.includes("mean reading is %s deg from the true mean of all cycles: %s deg is the bias where it reads, %s deg comes")`,
		signed(sum/n-truth), signed(bias/n), signed(sum/n-truth-bias/n)))
	do(t, ctx, chromedp.Navigate(at+"#ragged?signal=pressure&spark_deg=5&lambda=1.4&map_kpa=40&paused=1&cycles=60"))
	late := answerOf[answer](t, at+"api/ragged?signal=pressure&spark_deg=5&lambda=1.4&map_kpa=40&cycles=60").Numbers
	count := 0
	for i, v := range late["lpp_deg_atdc"] {
		if v != late["true_peak_deg_atdc"][i] {
			count++
		}
	}
	require.Positive(t, count)
	reads(t, ctx, fmt.Sprintf(words+`.includes("In %d cycles the pressure is greatest at dead centre")`, count))

	// Less motion; then on to the end.
	_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-reduced-motion", Value: "reduce"}}})
	require.NoError(t, err)
	do(t, ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(at+"#ragged?signal=pressure"))
	reads(t, ctx, cycle(100))
	require.Contains(t, js[string](t, ctx, "location.hash"), "paused=1")
	for _, n := range []int{400, 700, 990} {
		js[bool](t, ctx, fmt.Sprintf(`(() => { location.hash = location.hash.replace(/cycles=[^&]*/, "cycles=%d"); return true; })()`, n))
		reads(t, ctx, cycle(n))
	}
	pressing(t, ctx, "play")
	reads(t, ctx, cycle(1000))
	reads(t, ctx, `document.querySelector(".player button").textContent === "play" && location.hash.includes("cycles=1000&")`)
}
