package page

import (
	"bytes"
	"context"
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// look takes pictures of the page as it is, wide in both themes and narrow, which are
// no blank sheets and scroll up and down only. With PHASEBENCH_PICTURES they are kept in
// that folder.
func look(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	for _, x := range []struct {
		kind, theme   string
		width, height int64
	}{{"wide", "light", 1280, 720}, {"dark", "dark", 1280, 720}, {"narrow", "light", 390, 844}} {
		do(t, ctx, chromedp.EmulateViewport(x.width, x.height))
		js[bool](t, ctx, `(() => { document.documentElement.dataset.theme = "`+x.theme+`"; scrollTo(0, 0); return true; })()`)
		reads(t, ctx, `new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(true))))`)
		require.LessOrEqual(t, js[int64](t, ctx, "document.documentElement.scrollWidth"), x.width, "%s, %s", name, x.kind)
		text, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
		require.NoError(t, err)
		if dir := os.Getenv("PHASEBENCH_PICTURES"); dir != "" {
			require.NoError(t, os.WriteFile(filepath.Join(dir, name+"-"+x.kind+".png"), text, 0o600))
		}
		picture, err := png.Decode(bytes.NewReader(text))
		require.NoError(t, err)
		require.GreaterOrEqual(t, int64(picture.Bounds().Dx()), x.width)
		colours := map[[3]uint32]bool{}
		for y := 0; y < picture.Bounds().Dy(); y += 3 {
			for c := 0; c < picture.Bounds().Dx(); c += 3 {
				r, g, b, _ := picture.At(c, y).RGBA()
				colours[[3]uint32{r >> 12, g >> 12, b >> 12}] = true
			}
		}
		require.Greater(t, len(colours), 8, "%s, %s", name, x.kind)
	}
	do(t, ctx, chromedp.EmulateViewport(1280, 720))
}
