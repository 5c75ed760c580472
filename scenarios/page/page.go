// Package page serves a local page: one cylinder's spark dragged, cycles run, readers
// judged, loops steered, a lesson. Every answer is a pure function of its query,
// computed by the same functions as the commands; what is kept between requests only
// saves time.
//
// The page is for the machine that it runs on: see guard for what is refused.
package page

import (
	"context"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"runtime"
	"time"

	"phasebench/model"
)

//go:embed static
var static embed.FS

// Limits of what clients may take. Our own choice: far above what a person needs.
const (
	headBytes   = 16 << 10
	bodyBytes   = 4 << 10
	mostWaiting = 32               // computations that wait for a turn
	mostTime    = 60 * time.Second // of one computation, its wait for a turn included
)

// times are limits of connections.
type times struct {
	read  time.Duration // of the head of a request
	write time.Duration // of an answer
	idle  time.Duration // between requests
	end   time.Duration // for answers under way when the page ends
}

// usualTimes are our own choice.
var usualTimes = times{5 * time.Second, 90 * time.Second, 2 * time.Minute, 3 * time.Second}

// Page is what is served.
type Page struct {
	version string
	times   times
	engines kept[engineKey, *benched]
	streams kept[streamKey, *streamed]
	benches kept[benchKey, *loopBench]
	lives   lives
	quick   turns // for what a slider waits for
	long    turns // for the rest, so that no slider waits behind it
}

// New returns a page of a tool of that version.
func New(version string) *Page {
	n := runtime.GOMAXPROCS(0)
	return &Page{version: version, times: usualTimes, engines: kept[engineKey, *benched]{most: mostEngines}, streams: kept[streamKey, *streamed]{most: mostStreams},
		benches: kept[benchKey, *loopBench]{most: mostBenches}, quick: newTurns(n, mostWaiting), long: newTurns(n, mostWaiting)}
}

// Handler serves the page to clients that ask for one of hosts, such as
// 127.0.0.1:4000.
func (p *Page) Handler(hosts []string) http.Handler {
	mux := http.NewServeMux()
	files, err := fs.Sub(static, "static")
	if err != nil {
		panic(err) // it is compiled in
	}
	mux.Handle("/", http.FileServerFS(files))
	mux.HandleFunc("/api/known", p.known)
	for _, a := range p.answers() {
		mux.HandleFunc("/api/"+a.name, a.turns.turn(&a.takes, a.compute))
	}
	return guard(hosts, mux)
}

// Serve serves on l until ctx ends, then lets answers under way end.
func (p *Page) Serve(ctx context.Context, l net.Listener) error {
	server := &http.Server{
		Handler: p.Handler(Hosts(l.Addr())), ReadHeaderTimeout: p.times.read, ReadTimeout: p.times.read, WriteTimeout: p.times.write, IdleTimeout: p.times.idle,
		MaxHeaderBytes: headBytes,
	}
	defer p.lives.end()
	ended := make(chan error, 1)
	stop := context.AfterFunc(ctx, func() {
		late, cancel := context.WithTimeout(context.Background(), p.times.end)
		defer cancel()
		err := server.Shutdown(late)
		if errors.Is(err, context.DeadlineExceeded) {
			err = server.Close()
		}
		ended <- err
	})
	err := server.Serve(l)
	if stop() { // it ended by itself
		return err
	}
	return <-ended
}

// answer writes v as JSON, or the file that it is.
func answer(w http.ResponseWriter, v any) {
	if f, ok := v.(file); ok {
		w.Header().Set("Content-Type", f.kind)
		w.Header().Set("Content-Disposition", `attachment; filename="`+f.name+`"`)
		w.Header().Set("Cache-Control", "no-store")
		_, _ = w.Write(f.text) // nobody to tell if it is not taken
		return
	}
	text, err := json.Marshal(v)
	if err != nil {
		fail(w, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = w.Write(text) // nobody to tell if it is not taken
}

// fail answers with an error: 400 about a value that is not allowed, else 422 for a
// point at which no engine runs.
func fail(w http.ResponseWriter, err error) {
	code := http.StatusUnprocessableEntity
	if p := (*model.Problem)(nil); errors.As(err, &p) {
		code = http.StatusBadRequest
	}
	refuse(w, code, err.Error())
}

func refuse(w http.ResponseWriter, code int, text string) {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(code)
	_ = json.NewEncoder(w).Encode(map[string]string{"error": text}) // nobody to tell if it is not taken
}

// Hosts lists by which names a page that listens at a is asked for.
func Hosts(a net.Addr) []string {
	host, port, err := net.SplitHostPort(a.String())
	if err != nil {
		return []string{a.String()}
	}
	all := []string{net.JoinHostPort(host, port)}
	if ip := net.ParseIP(host); ip.IsLoopback() || ip.IsUnspecified() {
		for _, name := range []string{"127.0.0.1", "localhost", "::1"} {
			all = append(all, net.JoinHostPort(name, port))
		}
	}
	if ip := net.ParseIP(host); ip.IsUnspecified() {
		if own, err := net.InterfaceAddrs(); err == nil {
			for _, a := range own {
				if n, ok := a.(*net.IPNet); ok {
					all = append(all, net.JoinHostPort(n.IP.String(), port))
				}
			}
		}
	}
	return all
}

// Loopback tells whether only this machine can reach a, and what to warn of if not.
func Loopback(a net.Addr) (ok bool, warning string) {
	host, _, err := net.SplitHostPort(a.String())
	if ip := net.ParseIP(host); err == nil && ip.IsLoopback() {
		return true, ""
	}
	return false, fmt.Sprintf("the page at %v can be reached from other machines: there is no password, and anybody there can make this machine compute", a)
}
