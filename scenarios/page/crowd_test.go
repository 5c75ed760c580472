package page

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"runtime"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"phasebench/solve"
)

// mostHeap bounds memory in a crowd: there are no more solvers of one engine than turns.
// Measured: some 6 MB alone; what other tests of the package left comes on top.
const mostHeap = 200 << 20

// settled waits until there are about as few goroutines as before.
func settled(t *testing.T, before int) {
	t.Helper()
	require.Eventually(t, func() bool { return runtime.NumGoroutine() < before+10 }, 30*time.Second, 20*time.Millisecond, "goroutines")
}

// heap is what is in use.
func heap() uint64 {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// Two hundred sweeps a second, for three seconds: some are computed, the others are told
// to come again, memory stays bounded, and a slider is answered meanwhile.
func TestCrowd(t *testing.T) {
	p := New("test")
	p.long = newTurns(runtime.GOMAXPROCS(0), 8) // a shorter queue than usual: the test ends sooner
	at := "http://" + servePage(t, p)
	before := runtime.NumGoroutine()
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	var mu sync.Mutex
	codes := map[int]int{}
	most := uint64(0)
	var wait sync.WaitGroup
	tick := time.NewTicker(time.Second / 200)
	defer tick.Stop()
	stop := make(chan struct{})
	var slider []time.Duration
	wait.Go(func() {
		for i := 0; ; i++ {
			select {
			case <-stop:
				return
			default:
			}
			start := time.Now()
			w, err := client.Get(fmt.Sprintf("%s/api/cycle?spark_deg=%d", at, 10+i%30))
			if err != nil || w.StatusCode != 200 {
				t.Error("a slider was not answered", err)
				return
			}
			w.Body.Close()
			slider = append(slider, time.Since(start))
			time.Sleep(50 * time.Millisecond)
		}
	})
	var sweeps sync.WaitGroup
	for i := range 600 {
		<-tick.C
		sweeps.Go(func() {
			w, err := client.Get(fmt.Sprintf("%s/api/sweep?speed_rpm=%d", at, 1000+5*i))
			if err != nil {
				t.Error(err)
				return
			}
			if w.StatusCode == 503 && w.Header.Get("Retry-After") == "" {
				t.Error("no Retry-After")
			}
			_, _ = io.Copy(io.Discard, w.Body)
			w.Body.Close()
			mu.Lock()
			codes[w.StatusCode]++
			most = max(most, heap())
			mu.Unlock()
		})
	}
	close(stop)
	sweeps.Wait()
	wait.Wait()
	longest := time.Duration(0)
	for _, d := range slider {
		longest = max(longest, d)
	}
	t.Logf("answers: %v; heap at most %d MB; a slider waited %v at most, of %d", codes, most>>20, longest, len(slider))
	require.Equal(t, 600, codes[200]+codes[503], "%v", codes)
	require.Greater(t, codes[200], 5)
	require.Greater(t, codes[503], 400)
	require.Less(t, max(most, heap()), uint64(mostHeap))
	require.NotEmpty(t, slider)
	settled(t, before)
}

// quickly is a page with short limits, so that they can be waited for.
func quickly() *Page {
	p := New("test")
	p.times = times{read: 500 * time.Millisecond, write: 3 * time.Second, idle: 700 * time.Millisecond, end: 500 * time.Millisecond}
	return p
}

// Heads that come a byte at a time, answers that nobody reads and bodies that never
// come are cut off, and others are served meanwhile.
func TestSlowClients(t *testing.T) {
	host := servePage(t, quickly())
	before := runtime.NumGoroutine()
	stop := make(chan struct{})
	var wait sync.WaitGroup
	var all []net.Conn
	dial := func(first string) net.Conn {
		c, err := net.Dial("tcp", host)
		require.NoError(t, err)
		all = append(all, c)
		_, err = c.Write([]byte(first))
		require.NoError(t, err)
		return c
	}
	for range 200 {
		c := dial("GET / HTTP/1.1\r\nHost: ")
		wait.Go(func() {
			for {
				select {
				case <-stop:
					return
				case <-time.After(100 * time.Millisecond):
					if _, err := c.Write([]byte("x")); err != nil {
						return
					}
				}
			}
		})
	}
	for range 50 {
		dial("GET /api/ragged?cycles=20 HTTP/1.1\r\nHost: " + host + "\r\n\r\n")
		dial("GET /api/known HTTP/1.1\r\nHost: " + host + "\r\nContent-Length: 100\r\n\r\n")
	}
	code, _, _ := ask(t, "GET", "http://"+host+"/api/known", "", nil)
	require.Equal(t, 200, code, "another client is served")
	for _, c := range all[:200] {
		require.NoError(t, c.SetReadDeadline(time.Now().Add(15*time.Second)))
		_, err := bufio.NewReader(c).ReadString(0)
		require.NotErrorIs(t, err, os.ErrDeadlineExceeded, "the other side ended it")
		require.Error(t, err)
	}
	close(stop)
	wait.Wait()
	settled(t, before+len(all)/20) // before any of them is closed from here
	for _, c := range all {
		c.Close()
	}
}

// Clients that ask and go leave no computation behind: the turns are free again long
// before their sweeps could have been computed.
func TestDropped(t *testing.T) {
	p := New("test")
	host := servePage(t, p)
	before := runtime.NumGoroutine()
	for i := range 100 {
		c, err := net.Dial("tcp", host)
		require.NoError(t, err)
		_, err = fmt.Fprintf(c, "GET /api/trust?speed_rpm=%d HTTP/1.1\r\nHost: %s\r\n\r\n", 1000+i, host)
		require.NoError(t, err)
		require.NoError(t, c.Close())
	}
	// One takes 3 s of a core; all would take minutes.
	require.Eventually(t, func() bool { return len(p.long.running) == 0 && len(p.long.waiting) == 0 }, 20*time.Second, 10*time.Millisecond)
	settled(t, before)
	code, _, _ := ask(t, "GET", "http://"+host+"/api/cycle", "", nil)
	require.Equal(t, 200, code)
}

// When the page ends, what is under way and short is finished, what is long is cut, a
// connection that stands idle holds nothing up, and no goroutine is left.
func TestEnd(t *testing.T) {
	before := runtime.NumGoroutine()
	p := quickly()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- p.Serve(ctx, l) }()
	host := l.Addr().String()
	idle, err := net.Dial("tcp", host)
	require.NoError(t, err)
	defer idle.Close()
	got := make(chan int, 2)
	for _, path := range []string{"/api/ragged?cycles=1", "/api/loop?to=3"} { // some 0.2 s; some 5 s
		go func() {
			w, err := http.Get("http://" + host + path)
			if err != nil {
				got <- 0
				return
			}
			w.Body.Close()
			got <- w.StatusCode
		}()
	}
	require.Eventually(t, func() bool { return len(p.long.running) > 0 }, 10*time.Second, time.Millisecond)
	stop()
	select {
	case err := <-ended:
		require.NoError(t, err)
	case <-time.After(20 * time.Second):
		t.Fatal("it does not end")
	}
	codes := []int{<-got, <-got}
	require.Contains(t, codes, 0, "%v", codes)
	_, err = net.Dial("tcp", host)
	require.Error(t, err, "nobody listens")
	http.DefaultClient.CloseIdleConnections()
	settled(t, before)
}

// A panic in a computation answers 500, gives its turn back and throws its solver away.
func TestPanicInTurn(t *testing.T) {
	p := New("test")
	q, err := parse(nil, &takes{})
	require.NoError(t, err)
	h := guard([]string{"a"}, p.quick.turn(&takes{}, func(context.Context, *query) (any, error) {
		return nil, p.benched(q.engine).use(q.engine, func(*solve.Solver) error { panic("oh") })
	}))
	for range 2 * mostWaiting { // more than there are turns
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest("GET", "http://a/", nil))
		require.Equal(t, 500, w.Code)
	}
	require.Empty(t, p.quick.running)
	require.Empty(t, p.quick.waiting)
	require.Empty(t, p.benched(q.engine).idle)
}
