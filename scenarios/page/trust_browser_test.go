package page

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// long waits longer than reads.
func long(t *testing.T, ctx context.Context, expression string) {
	t.Helper()
	_, err := chromedp.Run(ctx, chromedp.Poll[bool](expression, chromedp.WithPollingTimeout(150*time.Second)))
	require.NoError(t, err, expression)
}

// The Trust view in a browser: rows appear, a tile is clicked and the cycle that fooled
// the reader is shown, causes are found, the address brings it back, and what is kept is
// what the command writes.
func TestTrustView(t *testing.T) {
	ctx := browser(t)
	at := "http://" + serve(t) + "/"
	do(t, ctx, chromedp.Navigate(at+"#trust?signal=pressure&reader=maximum&at_map=70&at_spark=20"))
	const said = `(document.querySelector(".why")?.textContent ?? "")`
	long(t, ctx, said+`.includes("At 2200 rpm and 70.0 kPa") && `+said+`.includes("fired 20 deg")`)

	// A click on the tile of a late spark, where the hump of compression wins.
	long(t, ctx, `document.querySelectorAll("#plot-flips .tile").length === 8 * 17`)
	box := js[[]float64](t, ctx, `(() => {
		document.querySelector("#plot-flips").scrollIntoView();
		const tiles = [...document.querySelectorAll("#plot-flips .tile")];
		const b = tiles[4 * 17 + 1].getBoundingClientRect(); // 70 kPa, 15 deg after TDC
		return [b.left + b.width / 2, b.top + b.height / 2];
	})()`)
	do(t, ctx, chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, box[0], box[1]))
	reads(t, ctx, `/-15|\u221215.*70.*wrong side of the target/s.test(document.querySelector("#plot-flips .cursor").textContent)`)
	do(t, ctx, chromedp.MouseClickXY(box[0], box[1]))
	reads(t, ctx, said+`.includes("That is the wrong side of the target") && `+said+`.includes("fired \u221215 deg")`)
	reads(t, ctx, `location.hash.includes("at_spark=-15") && location.hash.includes("at_map=70")`)

	js[bool](t, ctx, `[...document.querySelectorAll("button")].find((b) => b.textContent === "find the causes").click() || true`)
	long(t, ctx, said+`.includes("motored hump wins (gone)")`)
	reads(t, ctx, `location.hash.includes("explain=70")`)
	reads(t, ctx, said+`.includes("is that of compression alone") && `+said+`.includes("It is no permission for a real engine")`)

	// Row and spark by the keyboard; the causes are of their row only.
	js[bool](t, ctx, `document.querySelector("#set-at_map").focus() || true`)
	do(t, ctx, chromedp.KeyEvent(kb.ArrowRight))
	reads(t, ctx, said+`.includes("At 2200 rpm and 80.0 kPa") && `+said+`.includes("fired \u221215 deg") && !`+said+`.includes("moves away without")`)
	do(t, ctx, chromedp.KeyEvent(kb.ArrowLeft))
	js[bool](t, ctx, `document.querySelector("#set-at_spark").focus() || true`)
	do(t, ctx, chromedp.KeyEvent(kb.ArrowRight))
	reads(t, ctx, said+`.includes("At 2200 rpm and 70.0 kPa") && `+said+`.includes("fired \u221210 deg") && `+said+`.includes("motored hump wins (gone)")`)
	do(t, ctx, chromedp.KeyEvent(kb.ArrowLeft))
	reads(t, ctx, said+`.includes("fired \u221215 deg") && location.hash.includes("at_spark=-15")`)
	js[bool](t, ctx, `document.querySelector("#plot-reading .field").focus() || true`)
	do(t, ctx, chromedp.KeyEvent("+"))
	reads(t, ctx, `location.hash.includes("zoom_reading")`)
	do(t, ctx, chromedp.KeyEvent("0"))
	reads(t, ctx, `!location.hash.includes("zoom_reading")`)
	look(t, ctx, "trust")

	// What is kept of the map is what the command writes, row by row.
	columns := table(t, keptFile(t, ctx, "reading", "csv"))
	dir := t.TempDir()
	command(t)("trust", "--signal", "pressure", "--speed-rpm", "2200", "--map-kpa", "70", "--csv", filepath.Join(dir, "trust.csv"))
	written, err := os.ReadFile(filepath.Join(dir, "trust.csv"))
	require.NoError(t, err)
	want := table(t, string(written))
	near(t, want["spark_deg_btdc"], columns["spark advance [deg before TDC]"], 1e-6)
	near(t, want["read_deg_atdc"], columns["read [deg after TDC]"], 1e-6)
	near(t, want["true_peak_deg_atdc"], columns["true [deg after TDC]"], 1e-6)
	require.False(t, slices.Contains(columns["read [deg after TDC]"], ""))

	address := js[string](t, ctx, "location.href")
	words := js[string](t, ctx, `[...document.querySelectorAll(".why p")].map((p) => p.textContent).find((s) => s.startsWith("Cycle"))`)
	tab, stop := chromedp.NewContext(ctx)
	defer stop()
	do(t, tab, chromedp.Navigate(address))
	long(t, tab, fmt.Sprintf(`%s.includes(%q)`, said, words))
	long(t, tab, said+`.includes("motored hump wins (gone)")`)

	// Another target is another map: nothing of the old one stays, and causes are not
	// asked for again.
	js[bool](t, tab, `document.querySelector("#set-target_deg").focus() || true`)
	do(t, tab, chromedp.KeyEvent(kb.ArrowRight))
	reads(t, tab, said+`.includes("The chosen row is being computed") && !document.querySelector("#plot-reading path.line, #plot-fooled path.line, #plot-true path.line")`)
	long(t, tab, said+`.includes("fired \u221215 deg")`)
	reads(t, tab, `location.hash.includes("target_deg=15.5") && !location.hash.includes("explain") && !`+said+`.includes("moves away without")`)
}
