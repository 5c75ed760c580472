package page

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"phasebench/scenarios/reader"
)

// fill gives a field of the page a value, as a person would.
func fill(t *testing.T, ctx context.Context, id, value string) {
	t.Helper()
	require.True(t, js[bool](t, ctx, fmt.Sprintf(`(() => { const f = document.getElementById(%q); if (!f) return false; f.value = %q; for (const e of ["input", "change"]) f.dispatchEvent(new Event(e, { bubbles: true })); return true; })()`, id, value)), id)
}

// answerOf asks the program.
func answerOf[T any](t *testing.T, url string) (a T) {
	t.Helper()
	code, _, text := ask(t, "GET", url, "", nil)
	require.Equal(t, 200, code, text)
	require.NoError(t, json.Unmarshal([]byte(text), &a))
	return a
}

// A student goes through the lesson: the answers are computed here from what the
// program says, by the words of the questions; wrong ones are refused with a hint.
func TestLesson(t *testing.T) {
	ctx := browser(t)
	at := "http://" + serve(t) + "/"
	type cycle struct {
		Cycle struct {
			LPP   float64 `json:"lpp_deg_atdc"`
			Knock float64 `json:"knock_integral"`
		}
		Energy map[string]float64
	}
	type sweep struct {
		MBT struct {
			Spark float64 `json:"spark_deg_btdc"`
		}
	}
	spark := func(deg float64, more string) cycle {
		return answerOf[cycle](t, fmt.Sprintf("%sapi/cycle?spark_deg=%g%s", at, deg, more))
	}
	mbt := func(more string) float64 { return answerOf[sweep](t, at+"api/sweep?"+more).MBT.Spark }
	const verdict = `document.querySelector(".verdict").textContent`
	check := func(want string) {
		t.Helper()
		js[bool](t, ctx, `document.querySelector(".verdict").replaceChildren() || true`)
		pressing(t, ctx, "Check")
		reads(t, ctx, fmt.Sprintf(`%s.startsWith(%q)`, verdict, want))
	}
	next := func(title string) {
		t.Helper()
		pressing(t, ctx, "next")
		reads(t, ctx, fmt.Sprintf(`document.querySelector("#step-title").textContent === %q`, title))
	}
	do(t, ctx, chromedp.Navigate(at+"#lesson"))
	reads(t, ctx, `document.querySelector("#step-title")?.textContent === "1. What moves the peak" && document.querySelector("#plot-lesson path.line.main") !== null`)

	// 1: nothing, the wrong way, then as computed; Enter checks.
	check("An answer is missing")
	move := spark(30, "").Cycle.LPP - spark(20, "").Cycle.LPP
	fill(t, ctx, "answer-move", fmt.Sprintf("%.1f", -move))
	check("Not yet.")
	reads(t, ctx, verdict+`.includes("A hint:")`)
	fill(t, ctx, "answer-move", fmt.Sprintf("%.1f", move+1))
	js[bool](t, ctx, `document.getElementById("answer-move").focus() || true`)
	do(t, ctx, chromedp.KeyEvent(kb.Enter))
	reads(t, ctx, verdict+`.startsWith("Right.")`)
	look(t, ctx, "lesson")

	// 2: by the slider.
	next("2. Find MBT by hand")
	check("Not yet.")
	fill(t, ctx, "set-spark", fmt.Sprintf("%.1f", math.Round(2*mbt(""))/2))
	check("Right.")
	reads(t, ctx, `document.querySelector("#plot-lesson").textContent.includes("MBT")`)

	// 3: what the energies say.
	next("3. Why over-advance loses")
	best := mbt("")
	a, b := spark(best, "").Energy, spark(best+15, "").Energy
	said := func(more bool) string {
		if more {
			return "more"
		}
		return "less"
	}
	fill(t, ctx, "answer-compression", said(-b["work_compression_j"] > -a["work_compression_j"]))
	fill(t, ctx, "answer-wall", said(b["wall_heat_j"] > a["wall_heat_j"]))
	fill(t, ctx, "answer-exhaust", said(!(b["exhaust_j"] > a["exhaust_j"])))
	check("Not yet.")
	reads(t, ctx, verdict+`.includes("Not right: exhaust")`)
	fill(t, ctx, "answer-exhaust", said(b["exhaust_j"] > a["exhaust_j"]))
	check("Right.")

	next("4. Load and speed")
	fill(t, ctx, "answer-load", "15")
	fill(t, ctx, "answer-speed", "35")
	check("Not yet.")
	fill(t, ctx, "answer-load", fmt.Sprintf("%.0f", mbt("map_kpa=45&speed_rpm=2200")))
	fill(t, ctx, "answer-speed", fmt.Sprintf("%.0f", mbt("map_kpa=80&speed_rpm=1200")))
	check("Right.")

	// 5: too early knocks, too late is too careful; and knock truly forbids MBT there.
	next("5. Knock comes first")
	const poor = "&map_kpa=98&octane_shift=-4&speed_rpm=1800"
	limit := 0.
	for spark(limit+1, poor).Cycle.Knock <= 1 {
		limit++
	}
	require.Greater(t, spark(mbt(poor[1:]), poor).Cycle.Knock, 1.2)
	fill(t, ctx, "set-spark", fmt.Sprint(limit+3))
	check("Not yet.")
	reads(t, ctx, verdict+`.includes("it knocks")`)
	fill(t, ctx, "set-spark", fmt.Sprint(limit-4))
	check("Not yet.")
	fill(t, ctx, "set-spark", fmt.Sprint(limit))
	check("Right.")

	next("6. Why average")
	type ragged struct{ Numbers map[string][]float64 }
	read := answerOf[ragged](t, at+"api/ragged?signal=pressure&reader=maximum&cycles=100&spark_deg=22").Numbers["read_deg_atdc"]
	needed := reader.Needed(stat.StdDev(read, nil), 1)
	fill(t, ctx, "answer-count", fmt.Sprint(2*needed))
	check("Not yet.")
	fill(t, ctx, "answer-count", fmt.Sprint(needed))
	check("Right.")
	reads(t, ctx, `document.querySelector(".steps .end").textContent.includes("All six are done") && document.querySelectorAll(".steps button").length === 6`)

	// The address brings it back.
	reads(t, ctx, `location.hash.includes("average")`)
	tab, stop := chromedp.NewContext(ctx)
	defer stop()
	do(t, tab, chromedp.Navigate(js[string](t, ctx, "location.href")))
	reads(t, tab, `document.querySelector("#step-title")?.textContent === "6. Why average" && document.querySelector(".steps .end") !== null`)
}
