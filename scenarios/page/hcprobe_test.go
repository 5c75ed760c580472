package page

import (
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

func TestHCProbe(t *testing.T) {
	ctx := browser(t)
	at := "http://" + serve(t) + "/"
	see := `JSON.stringify([location.hash, document.querySelector(".bar .what").textContent, document.querySelector("dl.keys").textContent.slice(0,60), [...document.querySelectorAll(".fault")].map(f=>f.textContent).join("|"), document.querySelector(".player button").textContent, document.querySelector("#plot-signal svg").getAttribute("aria-label"), document.querySelector(".results .why").textContent])`
	for _, q := range []string{"cycles=-5&paused=1", "cycles=2.5&paused=1", "cycles=1e9&paused=1", "cycles=abc&paused=1", "cycles=40&paused=yes", "cycles=30&paused=1&signal=ion&reader=tracker&fault=dead-ion", "cycles=60&paused=1&spark_deg=5&lambda=1.4&map_kpa=40&signal=pressure"} {
		do(t, ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(at+"#ragged?"+q))
		time.Sleep(2500 * time.Millisecond)
		t.Log(q, "=>", js[string](t, ctx, see))
	}
	do(t, ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(at+"#ragged?cycles=30&paused=1&signal=pressure"))
	time.Sleep(1500 * time.Millisecond)
	js[bool](t, ctx, `(() => { location.hash = "#ragged?cycles=77&paused=1&signal=pressure"; return true; })()`)
	time.Sleep(1500 * time.Millisecond)
	t.Log("same tab 77 =>", js[string](t, ctx, see))
	do(t, ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(at+"#ragged?cycles=990&signal=pressure&speed_rpm=3000"))
	time.Sleep(6 * time.Second)
	t.Log("990 running =>", js[string](t, ctx, see))
	js[bool](t, ctx, `(() => { document.querySelector(".player button").click(); return true; })()`)
	time.Sleep(time.Second)
	t.Log("play at the end =>", js[string](t, ctx, see))
	_ = emulation.SetEmulatedMedia
}
