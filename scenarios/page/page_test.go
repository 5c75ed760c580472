package page

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/scenarios/record"
	"phasebench/solve"
)

// serve serves a page and returns its address.
func serve(t *testing.T) string {
	t.Helper()
	return servePage(t, New("test"))
}

// servePage serves p.
func servePage(t *testing.T, p *Page) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- p.Serve(ctx, l) }()
	t.Cleanup(func() {
		stop()
		require.NoError(t, <-ended)
	})
	return l.Addr().String()
}

// ask sends a request and returns status, head and body.
func ask(t testing.TB, method, url, body string, head map[string]string) (int, http.Header, string) {
	t.Helper()
	r, err := http.NewRequest(method, url, strings.NewReader(body))
	require.NoError(t, err)
	for k, v := range head {
		if k == "Host" {
			r.Host = v
		}
		r.Header.Set(k, v)
	}
	w, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	defer w.Body.Close()
	text, err := io.ReadAll(w.Body)
	require.NoError(t, err)
	return w.StatusCode, w.Header, string(text)
}

// The numbers are those of the command, to the last bit: the same functions made them.
func TestCycleIsTheCommands(t *testing.T) {
	at := "http://" + serve(t)
	code, head, text := ask(t, "GET", at+"/api/cycle?engine=pump-set&spark_deg=31&map_kpa=70&humidity_g_kg=12", "", nil)
	require.Equal(t, 200, code, text)
	require.Equal(t, "application/json", head.Get("Content-Type"))
	var a struct {
		Cycle  record.Cycle
		Trace  map[string][]*float64
		Energy map[string]float64
		Why    []string
	}
	require.NoError(t, json.Unmarshal([]byte(text), &a))

	e, err := model.Load("pump-set")
	require.NoError(t, err)
	e.Point.Spark, e.Point.MAP, e.Point.Humidity = 31*deg, 70*1e3, 12*1e-3
	s, err := solve.New(e, nil)
	require.NoError(t, err)
	var c solve.Cycle
	require.NoError(t, s.Run(&e.Point, &c))
	require.Equal(t, record.Of(&c.Operating, c.Lit, &c.Indicators), a.Cycle)
	for key, values := range a.Trace {
		require.Len(t, values, len(c.Theta), key)
	}
	require.InDelta(t, c.Pressure[700]/1e5, *a.Trace["pressure_bar"][700], 1e-6)
	// Fuel = work + pumping + walls + exhaust, and gross work is that of both strokes.
	sum := a.Energy["work_compression_j"] + a.Energy["work_expansion_j"] + a.Energy["work_pumping_j"] + a.Energy["wall_heat_j"] + a.Energy["exhaust_j"]
	require.InDelta(t, a.Energy["fuel_j"], sum, 1e-6)
	require.Negative(t, a.Energy["work_compression_j"])
	require.NotEmpty(t, a.Why)
}

// Torque is greatest at MBT, less to either side, and the cycle then says how far it is.
func TestSweep(t *testing.T) {
	at := "http://" + serve(t)
	code, _, text := ask(t, "GET", at+"/api/sweep?speed_rpm=2000", "", nil)
	require.Equal(t, 200, code, text)
	var a struct {
		Points      []record.Cycle
		MBT         *record.Cycle
		Early, Late float64
	}
	require.NoError(t, json.Unmarshal([]byte(text), &a))
	for _, p := range a.Points {
		require.Less(t, *p.BrakeTorqueNm, *a.MBT.BrakeTorqueNm)
	}
	require.InDelta(t, 0.0077, a.Early, 0.002) // 0.7 to 0.85 % for 5 deg, literature section 0
	require.InDelta(t, 0.0077, a.Late, 0.002)
	_, _, text = ask(t, "GET", at+"/api/cycle?speed_rpm=2000&spark_deg=45", "", nil)
	require.Contains(t, text, "earlier than MBT and loses")
}

// What is said is of this cycle: a late burn leaves the motored peak, and an engine
// that drives nothing loses no share of its torque.
func TestWhy(t *testing.T) {
	at := "http://" + serve(t)
	const late = "/api/cycle?speed_rpm=2200&map_kpa=40&spark_deg=-10"
	_, _, text := ask(t, "GET", at+late, "", nil)
	require.Contains(t, text, "that of compression alone")
	const idle = "speed_rpm=5000&map_kpa=20"
	ask(t, "GET", at+"/api/sweep?"+idle, "", nil)
	_, _, text = ask(t, "GET", at+"/api/cycle?"+idle, "", nil)
	require.Contains(t, text, "drives nothing at any spark")
	require.NotContains(t, text, "of its torque")
}

// What is not allowed is refused in the words of the commands.
func TestRefusesValues(t *testing.T) {
	at := "http://" + serve(t)
	for query, want := range map[string]string{
		"spark_deg=400": "spark_deg = 400: want -10 to 60", "speed_rpm=NaN": "speed_rpm = NaN: want 600 to 5000",
		"map_kpa=1e9": "map_kpa = 1e9: want 20 to 110", "cycles=1000000000": "cycles = 1000000000: want one of",
		"engine=/etc/passwd": "want one of", "engine=x.toml": "want one of", "lambda=1&lambda=1": "lambda = 1, 1: want one value", "lambda=x": "lambda = x: want 0.7 to 1.7",
	} {
		code, _, text := ask(t, "GET", at+"/api/cycle?"+query, "", nil)
		require.Equal(t, 400, code, query)
		require.Contains(t, text, want, query)
	}
}

// Only the page itself may ask: by its own name, from its own origin, by GET and
// without a body; and what it may load is what this program serves.
func TestGuard(t *testing.T) {
	host := serve(t)
	at := "http://" + host
	_, port, _ := net.SplitHostPort(host)
	for _, x := range []struct {
		name, method, path, body string
		head                     map[string]string
		want                     int
	}{
		{"page", "GET", "/", "", nil, 200},
		{"by the name localhost", "GET", "/", "", map[string]string{"Host": "localhost:" + port}, 200},
		{"rebound name", "GET", "/api/known", "", map[string]string{"Host": "evil.example:" + port}, 403},
		{"no port", "GET", "/api/known", "", map[string]string{"Host": "127.0.0.1"}, 403},
		{"own origin", "GET", "/api/known", "", map[string]string{"Origin": at, "Sec-Fetch-Site": "same-origin"}, 200},
		{"other origin", "GET", "/api/known", "", map[string]string{"Origin": "http://evil.example"}, 403},
		{"opaque origin", "GET", "/api/known", "", map[string]string{"Origin": "null"}, 403},
		{"cross-site", "GET", "/api/known", "", map[string]string{"Sec-Fetch-Site": "cross-site"}, 403},
		{"post", "POST", "/api/cycle", "", nil, 405},
		{"long body", "GET", "/api/cycle", strings.Repeat("x", 1<<20), nil, 413},
		{"no such file", "GET", "/nothing", "", nil, 404},
	} {
		code, head, _ := ask(t, x.method, at+x.path, x.body, x.head)
		require.Equal(t, x.want, code, x.name)
		require.Equal(t, policy, head.Get("Content-Security-Policy"), x.name)
		require.Equal(t, "nosniff", head.Get("X-Content-Type-Options"), x.name)
		require.Empty(t, head.Get("Access-Control-Allow-Origin"), x.name)
	}
}

// A request that panics is answered by 500, and the program lives.
func TestPanic(t *testing.T) {
	h := guard([]string{"a"}, http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic("oh") }))
	w := httptest.NewRecorder()
	r := httptest.NewRequest("GET", "http://a/", nil)
	h.ServeHTTP(w, r)
	require.Equal(t, 500, w.Code)
}

func TestLoopback(t *testing.T) {
	ok, warning := Loopback(&net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 4000})
	require.True(t, ok)
	require.Empty(t, warning)
	ok, warning = Loopback(&net.TCPAddr{IP: net.IPv4zero, Port: 4000})
	require.False(t, ok)
	require.Contains(t, warning, "other machines")
}

// BenchmarkCycle is the server's time for one cycle of a drag.
func BenchmarkCycle(b *testing.B) {
	p := New("test").Handler([]string{"a"})
	i := 0
	for b.Loop() {
		w := httptest.NewRecorder()
		p.ServeHTTP(w, httptest.NewRequest("GET", fmt.Sprintf("http://a/api/cycle?spark_deg=%d", 15+i%20), nil))
		if w.Code != 200 {
			b.Fatal(w.Code)
		}
		i++
	}
}
