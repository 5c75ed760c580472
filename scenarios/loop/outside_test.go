package loop

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/model/accuracy"
	"phasebench/scenarios/control"
	"phasebench/scenarios/reader"
)

const controllers = "../../testdata/controllers"

// held is a scenario that a hand disturbs, read by a plain reader of pressure.
func held(t *testing.T, cycles int) *Scenario {
	t.Helper()
	e, err := theEngine()
	require.NoError(t, err)
	s := Usual(e)
	s.Cycles = cycles
	s.Sensing.Signal, s.Sensing.Reader = reader.Pressure, "smoothed"
	s.Guard = control.GuardSettings{}
	s.Legs = append(s.Legs, s.Legs[0])
	s.Legs[1].Cycle, s.Legs[1].Manual = cycles/2, 6*deg
	return &s
}

// outside makes the law of s another program.
func outside(s *Scenario, argv ...string) *Scenario {
	out := *s
	out.Law = Law{Name: Outside, Mode: Free, Program: argv, Limit: 20 * time.Second}
	return &out
}

// theEngine is one for all scenarios that are to share what is known of it.
var theEngine = sync.OnceValues(func() (*model.Engine, error) { return model.Load(model.Default) })

// benchOf makes s ready. Scenarios at one place share what that costs, if their
// guards have no envelope; those of held do.
func benchOf(t *testing.T, s *Scenario) *Bench {
	t.Helper()
	benchMu.Lock()
	defer benchMu.Unlock()
	schedule := s.schedule()
	for _, b := range benchAll {
		if x := b.Scenario; slices.Equal(x.schedule(), schedule) && x.Engine == s.Engine && !x.Guard.Envelope && !s.Guard.Envelope {
			other := *b
			other.Scenario = s
			return &other
		}
	}
	b, err := NewBench(context.Background(), s)
	require.NoError(t, err)
	benchAll = append(benchAll, b)
	return b
}

var (
	benchMu  sync.Mutex
	benchAll []*Bench
)

func ran(t *testing.T, s *Scenario) *Run {
	t.Helper()
	r, err := benchOf(t, s).Run(context.Background(), 1, nil)
	require.NoError(t, err)
	require.Len(t, r.Steps, s.Cycles, "the log is whole")
	return r
}

// python is an interpreter of Python 3, by which the test is skipped if there is none.
func python(t *testing.T) string {
	path, err := exec.LookPath("/usr/bin/python3")
	if err != nil {
		require.Empty(t, os.Getenv("PHASEBENCH_REQUIRE_PEERS"), "the peers are required here: python3")
		t.Skip("no python3")
	}
	return path
}

// compiled is testdata/controllers/integral.c as a program.
func compiled(t testing.TB) string {
	cc, err := exec.LookPath("gcc")
	if err != nil {
		require.Empty(t, os.Getenv("PHASEBENCH_REQUIRE_PEERS"), "the peers are required here: gcc")
		t.Skip("no gcc")
	}
	program := filepath.Join(t.TempDir(), "integral")
	out, err := exec.Command(cc, "-std=c99", "-pedantic", "-Wall", "-Wextra", "-Werror", "-O2", "-ffp-contract=off", "-o", program, controllers+"/integral.c", "-lm").CombinedOutput()
	require.NoError(t, err, "%s", out)
	return program
}

// The same law in C, in Python and built in fires the same sparks, whatever is
// spoken: JSON lines, frames, a pipe or a socket.
func TestOutsideAlike(t *testing.T) {
	row := accuracy.Find(t, "controllers")
	s := held(t, 300)
	want := ran(t, s)
	alike := func(r *Run, how string) {
		t.Helper()
		require.Len(t, r.Steps, len(want.Steps))
		for i := range want.Steps {
			row.Same(t, want.Steps[i].Fired.Leading == r.Steps[i].Fired.Leading, "%s: spark of cycle %d", how, i)
		}
	}
	for name, argv := range map[string][]string{"C": {compiled(t)}, "Python": {python(t), controllers + "/integral.py"}} {
		for _, binary := range []bool{false, true} {
			o := outside(s, argv...)
			o.Law.Binary = binary
			r := ran(t, o)
			require.NoError(t, r.Failure)
			require.Equal(t, "integral in "+name, r.Told)
			alike(r, fmt.Sprintf("%s, binary %v", name, binary))
		}
	}

	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := l.Addr().String()
	require.NoError(t, l.Close())
	_, port, err := net.SplitHostPort(address)
	require.NoError(t, err)
	server := exec.Command(python(t), controllers+"/integral.py", "--listen", port)
	require.NoError(t, server.Start())
	o := outside(s)
	o.Law.Address = address
	var r *Run
	require.Eventually(t, func() bool { // until it listens
		r, err = benchOf(t, o).Run(context.Background(), 1, nil)
		return err == nil
	}, 20*time.Second, 20*time.Millisecond)
	require.NoError(t, server.Wait())
	alike(r, "over TCP")
}

// obeys speaks the protocol over JSON lines until turn says what to do instead.
const obeys = `
import json, sys, time
hello = json.loads(sys.stdin.readline())
print(json.dumps({"version": 1, "name": "naughty"}), flush=True)
for line in sys.stdin:
    seen = json.loads(line)
    if seen["cycle"] >= 20:
        %s
    print(json.dumps({"spark_deg_btdc": seen["ordered_deg_btdc"]}), flush=True)
`

// Whatever an outside law does, the run goes on to its end: the guard brings the
// spark to the base map, the verdict tells why, and nothing is left of the program.
func TestOutsideMisbehaves(t *testing.T) {
	for name, c := range map[string]struct{ does, why string }{
		"hangs":       {"time.sleep(600)", "no answer"},
		"crashes":     {"raise SystemExit('boom')", "boom"},
		"NaN":         {`print('{"spark_deg_btdc": NaN}', flush=True); continue`, "it said"},
		"no spark":    {`print('{"sparks": 7}', flush=True); continue`, "it said"},
		"half a line": {`sys.stdout.write('{"spark_deg_b'); sys.stdout.flush(); raise SystemExit`, "half a line"},
		"flood":       {"while True: print('x' * 5000, flush=True)", "it said"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			pidFile := filepath.Join(t.TempDir(), "pid")
			script := fmt.Sprintf(obeys, c.does)
			script = strings.Replace(script, "import json, sys, time", fmt.Sprintf("import json, os, sys, time\nopen(%q, 'w').write(str(os.getpid()))", pidFile), 1)
			s := outside(held(t, 60), python(t), "-c", script)
			s.Law.Limit = time.Second
			if name != "hangs" {
				s.Law.Limit = 20 * time.Second
			}
			if name == "crashes" {
				s.Law.Mode, s.Law.Knock, s.Sensing.Knock = RetardOnly, "knock-retard", true // no wrapper hides it
			}
			r := ran(t, s)
			require.ErrorIs(t, r.Failure, control.ErrOutside)
			require.ErrorContains(t, r.Failure, "cycle 2") // 20, or 21 of what comes unasked
			require.ErrorContains(t, r.Failure, c.why)
			require.Equal(t, control.Follow, r.Steps[19].State)
			require.Equal(t, control.Hold, r.Steps[21].State)
			end := &r.Steps[59]
			require.Equal(t, control.Fallback, end.State, end.Why)
			require.InDelta(t, end.Base, end.Fired.Leading, 0.15*deg, "what fires, whatever the hand adds, to the steps of the actuator")
			pid, err := os.ReadFile(pidFile)
			require.NoError(t, err)
			_, err = os.Stat("/proc/" + string(pid))
			require.ErrorIs(t, err, os.ErrNotExist, "the program is reaped")
		})
	}
}

// A spark of 400 deg, or one that is no number in a frame, never fires. The program
// is not given up: it may come to its senses, and does here.
func TestOutsideWild(t *testing.T) {
	for name, wild := range map[string]string{"400 deg": "400.0", "no number": "math.nan"} {
		script := `
import json, math, struct, sys
i, o = sys.stdin.buffer, sys.stdout.buffer
fields = json.loads(i.readline())["fields"]
o.write(b'{"version":1,"name":"wild"}\n'); o.flush()
while True:
    size = i.read(4)
    if not size: break
    b = i.read(struct.unpack("<I", size)[0])
    n = struct.unpack_from("<I", b)[0]
    spark = struct.unpack_from("<d", b, 4 + 8 * fields.index("ordered_deg_btdc"))[0]
    if 20 <= n < 40: spark = ` + wild + `
    o.write(struct.pack("<dd", spark, math.nan)); o.flush()
`
		s := outside(held(t, 140), python(t), "-c", script)
		s.Law.Binary = true
		r := ran(t, s)
		require.NoError(t, r.Failure, name)
		for i := range r.Steps {
			require.LessOrEqual(t, r.Steps[i].Fired.Leading, 60*deg)
		}
		require.Equal(t, control.Hold, r.Steps[21].State, name)
		require.Equal(t, control.Fallback, r.Steps[35].State, name)
		require.Equal(t, control.Follow, r.Steps[139].State, name)
	}
}

// What an outside law sees is chosen: a reading or samples, and never the truth.
func TestOutsideSees(t *testing.T) {
	for _, samples := range []bool{false, true} {
		dir := t.TempDir()
		script := fmt.Sprintf(`
import json, sys
with open(%q, "w") as log:
    log.write(sys.stdin.readline())
    print('{"version":1,"name":"listener"}', flush=True)
    for line in sys.stdin:
        log.write(line)
        print(json.dumps({"spark_deg_btdc": json.loads(line)["ordered_deg_btdc"]}), flush=True)
`, filepath.Join(dir, "log"))
		s := outside(held(t, 10), python(t), "-c", script)
		s.Law.Samples = samples
		r := ran(t, s)
		require.NoError(t, r.Failure)
		file, err := os.Open(filepath.Join(dir, "log"))
		require.NoError(t, err)
		in := json.NewDecoder(file)
		var hello, turn map[string]any
		require.NoError(t, in.Decode(&hello))
		require.NoError(t, in.Decode(&turn))
		_, err = io.Copy(io.Discard, file)
		require.NoError(t, err)
		file.Close()
		fields := hello["fields"].([]any)
		for _, f := range fields {
			require.Contains(t, turn, f)
			for _, word := range []string{"mbt", "lpp", "true", "knocking", "misfire"} {
				require.NotContains(t, f, word)
			}
		}
		if samples {
			require.NotContains(t, turn, "read_deg_atdc")
			require.Len(t, turn["samples"], len(hello["angles_deg_atdc"].([]any)))
			require.Len(t, turn, len(fields)+2)
		} else {
			require.InDelta(t, r.Steps[0].Reading.Angle/deg, turn["read_deg_atdc"], 1e-12)
			require.Len(t, turn, len(fields)+1)
		}
	}
}

// The plugs of an engine with two move together, or apart as the law orders; a hand on
// the trailing one adds to it alone.
func TestTwoPlugs(t *testing.T) {
	e, err := model.Load(model.Default)
	require.NoError(t, err)
	e.Burn.Plugs, e.Burn.PlugX, e.Burn.SecondX, e.Point.Split = 2, 0.02, -0.02, 6*deg
	s := Usual(e)
	s.Cycles, s.Guard = 24, control.GuardSettings{}
	s.Sensing.Signal, s.Sensing.Reader = reader.Pressure, "smoothed"
	turned := s.Legs[0]
	turned.Cycle, turned.ManualTrailing = 12, 4*deg
	s.Legs = append(s.Legs, turned)
	run := func(s *Scenario) *Run {
		b, err := NewBench(context.Background(), s)
		require.NoError(t, err)
		r, err := b.Run(context.Background(), 1, nil)
		require.NoError(t, err)
		return r
	}
	together := run(&s)
	for i := range together.Steps {
		f := together.Steps[i].Fired
		if i < 12 {
			require.True(t, math.IsNaN(f.Trailing), "it stays its split behind")
		} else { // 6 deg behind, and the hand 4 earlier; steps of 0.1 deg
			require.InDelta(t, f.Leading-2*deg, f.Trailing, 0.11*deg)
		}
	}

	apart := outside(&s, python(t), "-c", `
import json, sys
sys.stdin.readline()
print('{"version":1,"name":"apart"}', flush=True)
for line in sys.stdin:
    print(json.dumps({"spark_deg_btdc": 20, "trailing_spark_deg_btdc": 10 + json.loads(line)["cycle"] % 2}), flush=True)
`)
	apart.Actuator.Apart = true
	r := run(apart)
	require.NoError(t, r.Failure)
	for i := 8; i < 12; i++ { // once the guard's slew has let it come
		require.InDelta(t, 20*deg, r.Steps[i].Fired.Leading, 0.06*deg)
		require.InDelta(t, float64(10+(i-1)%2)*deg, r.Steps[i].Fired.Trailing, 0.06*deg)
	}
	require.InDelta(t, float64(10+(23-1)%2)*deg+4*deg, r.Steps[23].Fired.Trailing, 0.06*deg)
}
