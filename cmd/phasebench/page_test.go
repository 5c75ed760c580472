package main

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// watched is a buffer that others may look into.
type watched struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (w *watched) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.b.Write(p)
}

func (w *watched) String() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.b.String()
}

// The command prints its address, serves there until it is interrupted, warns where
// others can reach it, and refuses what is no address.
func TestPage(t *testing.T) {
	for _, x := range []struct{ listen, warning string }{{"127.0.0.1:0", ""}, {"0.0.0.0:0", "can be reached from other machines"}} {
		ctx, stop := context.WithCancel(context.Background())
		var out, errw watched
		code := make(chan int, 1)
		go func() { code <- run(ctx, []string{"page", "--listen", x.listen}, &out, &errw) }()
		require.Eventually(t, func() bool { return strings.HasSuffix(out.String(), "/\n") }, 20*time.Second, 10*time.Millisecond)
		address := strings.Replace(strings.TrimSpace(out.String()), "[::]", "127.0.0.1", 1)
		w, err := http.Get(address)
		require.NoError(t, err)
		text, err := io.ReadAll(w.Body)
		require.NoError(t, err)
		w.Body.Close()
		require.Equal(t, 200, w.StatusCode, "%s", text)
		require.Contains(t, string(text), "<title>phasebench</title>")
		stop()
		require.Equal(t, exitInterrupted, <-code)
		require.Contains(t, errw.String(), "A model is not your engine")
		require.Contains(t, errw.String(), x.warning)
	}
	var out, errw bytes.Buffer
	require.Equal(t, exitUsage, run(context.Background(), []string{"page", "--listen", "nonsense"}, &out, &errw))
	require.Contains(t, errw.String(), `--listen = "nonsense": want HOST:PORT`)
}
