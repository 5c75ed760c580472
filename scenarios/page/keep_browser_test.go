package page

import (
	"context"
	"encoding/csv"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// command builds the program and returns what runs it.
func command(t *testing.T) func(args ...string) {
	t.Helper()
	binary := filepath.Join(t.TempDir(), "phasebench")
	out, err := exec.Command("go", "build", "-o", binary, "phasebench/cmd/phasebench").CombinedOutput()
	require.NoError(t, err, "%s", out)
	return func(args ...string) {
		t.Helper()
		out, err := exec.Command(binary, args...).CombinedOutput()
		require.NoError(t, err, "%s", out)
	}
}

// table reads the first table of a CSV text as columns by name.
func table(t *testing.T, text string) map[string][]string {
	t.Helper()
	first, _, _ := strings.Cut(text, "\n\n")
	r := csv.NewReader(strings.NewReader(first))
	r.Comment = '#'
	all, err := r.ReadAll()
	require.NoError(t, err)
	columns := map[string][]string{}
	for i, name := range all[0] {
		for _, row := range all[1:] {
			columns[name] = append(columns[name], row[i])
		}
	}
	return columns
}

// near compares two columns of numbers.
func near(t *testing.T, want, have []string, tolerance float64) {
	t.Helper()
	require.Len(t, have, len(want))
	for i := range want {
		a, err := strconv.ParseFloat(want[i], 64)
		require.NoError(t, err)
		b, err := strconv.ParseFloat(have[i], 64)
		require.NoError(t, err)
		require.InDelta(t, a, b, tolerance, "row %d", i)
	}
}

// keptFile is what the page gives to keep when a button of a plot's menu is pressed.
func keptFile(t *testing.T, ctx context.Context, plot, kind string) string {
	t.Helper()
	js[bool](t, ctx, `(() => {
		window.kept = null;
		const made = URL.createObjectURL;
		URL.createObjectURL = (blob) => { if (!window.kept && blob.type.includes("`+kind+`")) blob.text().then((s) => { window.kept = s; }); return made.call(URL, blob); };
		HTMLAnchorElement.prototype.click = () => {}; // nothing is written to disk
		const menu = document.querySelector("#plot-`+plot+` .menu");
		menu.open = true;
		[...menu.querySelectorAll("button")].find((b) => b.textContent.toLowerCase() === "`+kind+`").click();
		return true;
	})()`)
	reads(t, ctx, `typeof window.kept === "string"`)
	return js[string](t, ctx, "window.kept")
}

// What is kept of a plot has the numbers that the command writes, says what was
// computed and carries the caution; the picture is one that stands alone.
func TestKeepSpark(t *testing.T) {
	ctx := browser(t)
	at := "http://" + serve(t) + "/"
	do(t, ctx, chromedp.Navigate(at+"#spark?engine=pump-set&spark_deg=31&map_kpa=70"))
	reads(t, ctx, known)
	text := keptFile(t, ctx, "pressure", "csv")
	require.Contains(t, text, "A model is not your engine")
	require.Contains(t, text, "spark advance 31 deg BTDC")
	have := table(t, text)

	trace := filepath.Join(t.TempDir(), "trace.csv")
	command(t)("cycle", "--spark-deg", "31", "--map-kpa", "70", "--trace", trace)
	written, err := os.ReadFile(trace)
	require.NoError(t, err)
	want := table(t, string(written))
	near(t, want["theta_deg_atdc"], have["angle [deg after TDC]"], 1e-6)
	near(t, want["pressure_bar"], have["fired [bar]"], 1e-6)

	do(t, ctx, chromedp.Reload())
	reads(t, ctx, known)
	picture := keptFile(t, ctx, "torque", "svg")
	require.Contains(t, picture, `xmlns="http://www.w3.org/2000/svg"`)
	require.Contains(t, picture, "A model is not your engine")
	require.NotContains(t, picture, "class=")
	require.NotContains(t, picture, "var(")
}

// Printed, all plots, the numbers and the caution are there, on a few sheets.
func TestPrint(t *testing.T) {
	ctx := browser(t)
	do(t, ctx, chromedp.Navigate("http://"+serve(t)+"/"))
	reads(t, ctx, known)
	pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF())
	require.NoError(t, err)
	require.Greater(t, len(pdf), 20_000)
	name := filepath.Join(t.TempDir(), "page.pdf")
	require.NoError(t, os.WriteFile(name, pdf, 0o600))
	if dir := os.Getenv("PHASEBENCH_PICTURES"); dir != "" {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "page.pdf"), pdf, 0o600))
	}
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		require.Empty(t, os.Getenv("PHASEBENCH_REQUIRE_PEERS"), "the peers are required here: poppler-utils")
		t.Skip("no pdftotext")
	}
	out, err := exec.Command(tool, "-layout", name, "-").Output()
	require.NoError(t, err)
	for _, want := range []string{"A model is not your engine", "Torque against spark", "Burned fraction", "Indicated efficiency"} {
		require.Contains(t, string(out), want)
	}
	require.LessOrEqual(t, strings.Count(string(out), "\f"), 3, "sheets")
}

// A question after another is asked once the answer is there, only the latest of many;
// a program that is too busy is asked again, a refusal is told, and so is a program
// that is gone, until it comes back.
func TestLatest(t *testing.T) {
	ctx := browser(t)
	do(t, ctx, chromedp.Navigate("http://"+serve(t)+"/"))
	reads(t, ctx, known)
	js[bool](t, ctx, `!!(async () => {
		const { Latest } = await import("./ask.js");
		const asked = [], answered = [], failed = [];
		let end;
		const answers = { c: [503, { "Retry-After": "0.01" }], e: [400, {}] };
		const fetcher = (url) => {
			const q = url.split("?")[1];
			asked.push(q);
			if (q === "gone") return Promise.reject(new TypeError("no route"));
			const [status, headers] = answers[q] ?? [200, {}];
			delete answers[q];
			return new Promise((done) => { end = () => done(new Response(JSON.stringify(status === 200 ? { q } : { error: "no " + q }), { status, headers })); if (q !== "a") end(); });
		};
		const l = new Latest("x", (json) => answered.push(json.q), (m) => failed.push(m), fetcher);
		const rest = (ms = 60) => new Promise((done) => setTimeout(done, ms));
		l.ask("a"); l.ask("b"); l.ask("b2"); l.ask("c"); // b and b2 are stale before they are asked
		end();
		await rest();
		l.ask("e");
		await rest();
		l.ask("gone");
		await rest();
		l.stop();
		window.said = { asked, answered, failed };
		return true;
	})()`)
	reads(t, ctx, "window.said !== undefined")
	type said struct{ Asked, Answered, Failed []string }
	s := js[said](t, ctx, "window.said")
	require.Equal(t, []string{"a", "c", "c", "e", "gone"}, s.Asked)
	require.Equal(t, []string{"a", "c"}, s.Answered)
	require.Equal(t, []string{"The program is busy; it will be asked again.", "no e", "The program does not answer. Is it still running?"}, s.Failed)
}
