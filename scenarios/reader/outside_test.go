package reader

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"sort"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// python is the program that runs the outside reader of testdata.
func python(t testing.TB) string {
	path, err := exec.LookPath("python3")
	if err != nil && os.Getenv("PHASEBENCH_REQUIRE_PEERS") == "" {
		t.Skip("no python3")
	}
	require.NoError(t, err)
	return path
}

// shell starts a reader that a shell script is.
func shell(t testing.TB, ctx context.Context, script string, limit time.Duration) (*Outside, error) {
	return StartOutside(ctx, []string{"/bin/sh", "-c", script}, NewHeader(Ion, circle(720), Usual(Ion)), limit)
}

// gone tells that a process is no more, not even a zombie.
func gone(t testing.TB, pid int) {
	require.Eventually(t, func() bool {
		stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
		return err != nil || len(stat) == 0
	}, 5*time.Second, 5*time.Millisecond, "process %d is still there", pid)
}

// The scripts below end as one program without a child, that a shell would not be
// there to reap: grep takes what it gets and finds nothing in it.

// patience is far longer than any answer takes, so that no slow machine fails.
const patience = 30 * time.Second

// The reader of testdata does what its few lines say, cycle by cycle: the highest
// sample of the window and the parabola through its neighbours, here in Go.
func TestOutside(t *testing.T) {
	z := rand.New(rand.NewPCG(5, 5))
	set := Usual(Ion)
	set.From = 8 * deg
	o, err := StartOutside(t.Context(), []string{python(t), "../../testdata/readers/peak.py"}, NewHeader(Ion, circle(720), set), patience)
	require.NoError(t, err)
	plain := made(t, "maximum", Ion, set)
	for n := range 20 {
		in := twoPeaks(720, 20, 0.3e-6, z)
		in.Cycle = n
		got, want := o.Read(in), plain.Read(in)
		require.NoError(t, o.Err())
		require.Empty(t, got.Why)
		k := sort.SearchFloat64s(in.Theta, want.Angle-1e-9)
		l, m, r := in.Values[k-1], in.Values[k], in.Values[k+1]
		at := in.Theta[k] + 0.5*deg*(l-r)/(l-2*m+r) // samples are 1 deg apart
		require.InDelta(t, at, got.Angle, 1e-9)
		require.Equal(t, 0.5, got.Quality)
	}
	late := twoPeaks(720, 20, 0, z)
	late.Spark, late.Speed = -50*deg, 600
	got := o.Read(late)
	require.Equal(t, "no peak in the window", got.Why)
	require.True(t, math.IsNaN(got.Angle))
	require.Equal(t, whyBroken, o.Read(&Input{}).Why) // is not asked
	pid := o.link.Pid()
	require.NoError(t, o.Close())
	require.NoError(t, o.Close())
	gone(t, pid)
}

// Each way to fail: a line that names the program, the cycle and what it did; the
// program is dead and reaped when Read returns, and further cycles are declined.
func TestOutsideFails(t *testing.T) {
	in := twoPeaks(720, 20, 0, rand.New(rand.NewPCG(1, 1)))
	in.Cycle = 7
	for name, c := range map[string]struct {
		script string
		limit  time.Duration
		want   string
	}{
		"hangs":           {"exec grep -F ~", 200 * time.Millisecond, "no answer within 200ms"},
		"takes nothing":   {"exec sleep 1000", 200 * time.Millisecond, "no answer within 200ms"},
		"hangs, says why": {"echo waiting for a sign >&2; exec grep -F ~", 2 * time.Second, "no answer within 2s; its stderr ends: waiting for a sign"},
		"rubbish":         {"read h; read c; echo 14.5 degrees; exec grep -F ~", patience, `it said "14.5 degrees": want a JSON object`},
		"no angle":        {"read h; read c; echo {}; exec grep -F ~", patience, `it said "{}": want angle_deg_atdc, or null and a reason in why`},
		"no quality":      {`read h; read c; echo '{"angle_deg_atdc":3}'; exec grep -F ~`, patience, `it said "{\"angle_deg_atdc\":3}": want quality from 0 to 1`},
		"far angle":       {`read h; read c; echo '{"angle_deg_atdc":719,"quality":1}'; exec grep -F ~`, patience, "angle_deg_atdc = 719, want -360 to 360 or null"},
		"dies":            {"read h; read c; echo out of luck >&2; exit 3", patience, "it died: exit status 3; its stderr ends: out of luck"},
		"is killed":       {"read h; read c; kill -9 $$", patience, "it died: signal: killed"},
		"ends":            {"read h; read c; exit 0", patience, "it ended"},
		"closes stdout":   {"read h; read c; exec >&-; exec cat >/dev/null", patience, "it closed its stdout"},
		"no end":          {"read h; read c; exec tr '\\0' x </dev/zero", patience, "a line of more than 65536 bytes, beginning \"" + strings.Repeat("x", 80) + "…\""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			o, err := shell(t, t.Context(), c.script, c.limit)
			require.NoError(t, err)
			pid := o.link.Pid()
			got := o.Read(in)
			require.True(t, math.IsNaN(got.Angle))
			require.Equal(t, "outside reader failed: /bin/sh: cycle 7: "+c.want, got.Why)
			require.ErrorIs(t, o.Err(), ErrOutside)
			require.Equal(t, syscall.ESRCH, syscall.Kill(pid, 0)) // reaped
			gone(t, pid)
			require.Equal(t, got.Why, o.Read(in).Why)
			require.EqualError(t, o.Close(), got.Why)
		})
	}
}

// Lines that nobody asked for end it too: at the question after, whatever comes
// first.
func TestOutsideUnasked(t *testing.T) {
	in := twoPeaks(720, 20, 0, rand.New(rand.NewPCG(1, 1)))
	o, err := shell(t, t.Context(), `exec yes '{"angle_deg_atdc":1,"quality":1}'`, patience)
	require.NoError(t, err)
	for n := 0; o.Err() == nil; n++ {
		require.Less(t, n, 3)
		o.Read(in)
		time.Sleep(100 * time.Millisecond) // for the next line to come
	}
	require.ErrorContains(t, o.Err(), "unasked")
}

// A program that is hung with children is killed with them.
func TestOutsideChildren(t *testing.T) {
	in := twoPeaks(720, 20, 0, rand.New(rand.NewPCG(1, 1)))
	o, err := shell(t, t.Context(), "sleep 1000 & echo child $! >&2; wait", 2*time.Second)
	require.NoError(t, err)
	why := o.Read(in).Why
	_, said, ok := strings.Cut(why, "child ")
	require.True(t, ok, why)
	child, err := strconv.Atoi(said)
	require.NoError(t, err)
	gone(t, o.link.Pid())
	// Whoever adopts the child has to reap it; here it need only be dead.
	require.Eventually(t, func() bool {
		stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", child))
		return err != nil || strings.Contains(string(stat), ") Z ")
	}, 5*time.Second, 5*time.Millisecond)
}

// Closing: one that ends when stdin does is asked no more, one that does not is
// killed; one that ends badly says so.
func TestOutsideClose(t *testing.T) {
	for script, want := range map[string]string{
		"exec cat >/dev/null":                    "",
		"trap '' TERM; exec sleep 1000":          "",
		"cat >/dev/null; echo oh no >&2; exit 4": "outside reader failed: /bin/sh: at the end: it died: exit status 4; its stderr ends: oh no",
	} {
		o, err := shell(t, t.Context(), script, patience)
		require.NoError(t, err)
		pid := o.link.Pid()
		if err := o.Close(); want == "" {
			require.NoError(t, err, script)
		} else {
			require.EqualError(t, err, want)
		}
		gone(t, pid)
	}
}

// The end of a context kills the program while it is waited for.
func TestOutsideContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	o, err := shell(t, ctx, "exec grep -F ~", patience)
	require.NoError(t, err)
	time.AfterFunc(50*time.Millisecond, cancel)
	got := o.Read(twoPeaks(720, 20, 0, rand.New(rand.NewPCG(1, 1))))
	require.Contains(t, got.Why, "stopped: context canceled")
	gone(t, o.link.Pid())
}

func TestOutsideRefuses(t *testing.T) {
	head := NewHeader(Pressure, circle(720), Usual(Pressure))
	_, err := StartOutside(t.Context(), nil, head, time.Second)
	require.EqualError(t, err, "outside reader failed: program is missing: want a program and its arguments")
	_, err = StartOutside(t.Context(), []string{"/no/such/reader"}, head, time.Second)
	require.ErrorIs(t, err, os.ErrNotExist)
	_, err = StartOutside(t.Context(), []string{"/bin/sh"}, head, 0)
	require.EqualError(t, err, "outside reader failed: limit = 0s: want more than 0")
	_, err = StartOutside(t.Context(), []string{"/bin/sh"}, Header{Samples: 3}, time.Second)
	require.EqualError(t, err, "outside reader failed: header: 3 samples and 0 angles: want as many, 1 or more")
}

// Whatever a program says, what is taken from it is a reading in range.
func FuzzUnderstand(f *testing.F) {
	for _, text := range []string{
		`{"angle_deg_atdc":14.5,"quality":0.8,"why":""}`, `{"angle_deg_atdc":null,"why":"no peak"}`,
		`{}`, `[]`, `null`, `{"angle_deg_atdc":1e999,"quality":1}`, `{"angle_deg_atdc":"14","quality":1}`, "\xff", "",
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		r, err := understand(text)
		switch {
		case err != nil:
			require.NotContains(t, err.Error(), "\n")
		case math.IsNaN(r.Angle):
			require.NotEmpty(t, r.Why)
		default:
			require.LessOrEqual(t, math.Abs(r.Angle), 2*math.Pi)
			require.True(t, r.Quality >= 0 && r.Quality <= 1)
			require.Empty(t, r.Why)
		}
	})
}
