package dataset

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"phasebench/model/accuracy"
)

var errFake = errors.New("the source has run dry")

func TestMain(m *testing.M) {
	if dir := os.Getenv("PHASEBENCH_TEST_DATASET"); dir != "" {
		victim(dir)
		return
	}
	os.Exit(m.Run())
}

// No byte depends on workers or shards, in whatever order shards run.
func TestSameBytes(t *testing.T) {
	p := plan(t)
	write(t, p)
	want := contents(t, p.Dir)
	// 5 parts of 8 files (parquet, labels, samples, 2 series, npz, mat, h) and one WAV
	// for each count, and plan, package and card
	require.Len(t, want, 5*(8+2)+3)
	t.Run("workers", func(t *testing.T) {
		q := plan(t)
		q.Workers = 3
		write(t, q)
		same(t, want, contents(t, q.Dir))
	})
	t.Run("shards in turn", func(t *testing.T) {
		q := plan(t)
		q.Shards = 4
		for _, q.Shard = range []int{2, 0, 3} {
			write(t, q)
		}
		require.ErrorContains(t, Join(context.Background(), q.Dir), "lacks 2 of its 5 parts")
		q.Shard = 1
		require.NoFileExists(t, filepath.Join(q.Dir, packageFile))
		write(t, q)
		same(t, want, contents(t, q.Dir))
		require.NoError(t, os.WriteFile(filepath.Join(q.Dir, tempName(cardFile, ".shard-9")), nil, 0o644))
		require.NoError(t, Join(context.Background(), q.Dir))
		same(t, want, contents(t, q.Dir))
	})
	t.Run("shards at once", func(t *testing.T) {
		q := plan(t)
		q.Shards = 7 // more than parts: some have nothing to do
		var all sync.WaitGroup
		errs := make([]error, q.Shards)
		for i := range errs {
			all.Go(func() {
				r := *q
				r.Shard = i
				errs[i] = Write(context.Background(), &r)
			})
		}
		all.Wait()
		require.NoError(t, errors.Join(errs...))
		require.NoError(t, Join(context.Background(), q.Dir))
		same(t, want, contents(t, q.Dir))
	})
}

// Every part belongs to one shard, and a shard has parts in one run.
func TestShare(t *testing.T) {
	for _, c := range []struct{ cycles, shards int }{{1, 1}, {47, 4}, {47, 7}, {1000, 3}} {
		s := &set{layout: layout{Cycles: c.cycles, Part: 10}}
		var all []int
		for i := range c.shards {
			all = append(all, s.share(i, c.shards)...)
		}
		require.Len(t, all, s.parts())
		for i, p := range all {
			require.Equal(t, i, p)
		}
	}
}

// A run that was stopped leaves whole parts and no temporary file; going on gives
// the bytes of an undisturbed run.
func TestInterrupted(t *testing.T) {
	p := plan(t)
	write(t, p)
	want := contents(t, p.Dir)
	for _, at := range []int{0, 1, 9, 10, 23, 46} {
		t.Run(fmt.Sprint(at), func(t *testing.T) {
			q := plan(t)
			q.Workers = 2
			ctx, stop := context.WithCancel(context.Background())
			defer stop()
			var mu sync.Mutex
			n := 0
			q.Source = func() (Source, error) {
				return &watched{fake{count: 24}, func() {
					mu.Lock()
					defer mu.Unlock()
					if n == at {
						stop()
					}
					n++
				}}, nil
			}
			require.ErrorIs(t, Write(ctx, q), context.Canceled)
			noRemains(t, q.Dir, want)
			q.Resume = true
			done := 0
			q.Progress = func(d, total int) {
				require.GreaterOrEqual(t, d, done)
				require.Equal(t, q.Cycles, total)
				done = d
			}
			write(t, q)
			require.Equal(t, q.Cycles, done)
			same(t, want, contents(t, q.Dir))
			write(t, q) // nothing left to do
			same(t, want, contents(t, q.Dir))
		})
	}
}

// noRemains fails if dir holds a temporary file, or one that is not as in want.
func noRemains(t *testing.T, dir string, want map[string]string) {
	t.Helper()
	for name, text := range contents(t, dir) {
		require.False(t, strings.HasSuffix(name, ".tmp"), name)
		require.True(t, text == want[name], "%s is not whole", name)
	}
}

// watched calls before every row.
type watched struct {
	fake
	before func()
}

func (w *watched) Rows(first, last int) iter.Seq2[*Row, error] {
	return func(yield func(*Row, error) bool) {
		for r, err := range w.fake.Rows(first, last) {
			w.before()
			if !yield(r, err) {
				return
			}
		}
	}
}

// victimPlan is what the child process writes.
func victimPlan(dir string) *Plan {
	p := plan(dirOnly{dir: dir})
	p.Dir, p.Cycles, p.Workers, p.Resume = dir, 300, 2, true
	return p
}

type dirOnly struct {
	testing.TB
	dir string
}

func (d dirOnly) TempDir() string { return d.dir }

func victim(dir string) {
	p := victimPlan(dir)
	p.Source = func() (Source, error) {
		return &watched{fake{count: 24}, func() { time.Sleep(200 * time.Microsecond) }}, nil
	}
	fmt.Println("writing")
	if err := Write(context.Background(), p); err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
}

// A process killed ten times at random moments leaves nothing that going on does
// not mend.
func TestKilled(t *testing.T) {
	p := victimPlan(filepath.Join(t.TempDir(), "calm"))
	p.Resume = false
	write(t, p)
	want := contents(t, p.Dir)
	dir := filepath.Join(t.TempDir(), "killed")
	kills := 0
	for range 10 {
		cmd := exec.Command(os.Args[0], "-test.run", "^$")
		cmd.Env = append(os.Environ(), "PHASEBENCH_TEST_DATASET="+dir)
		out, err := cmd.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, cmd.Start())
		line, err := bufio.NewReader(out).ReadString('\n')
		require.NoError(t, err)
		require.Equal(t, "writing\n", line)
		time.Sleep(rand.N(40 * time.Millisecond))
		require.NoError(t, cmd.Process.Kill())
		if err := cmd.Wait(); err != nil {
			var exit *exec.ExitError
			require.ErrorAs(t, err, &exit)
			if status, ok := exit.Sys().(syscall.WaitStatus); ok && status.Signaled() {
				kills++
			}
		}
		if _, err := os.Stat(dir); err != nil {
			continue // killed before it began
		}
		for name, text := range contents(t, dir) {
			if !strings.HasSuffix(name, ".tmp") {
				require.True(t, text == want[name], "%s is not whole", name)
			}
		}
	}
	t.Logf("killed %d of 10 at work", kills)
	require.Positive(t, kills)
	q := victimPlan(dir)
	write(t, q)
	resumed(t, accuracy.Find(t, "killed"), want, contents(t, dir))
}

// resumed holds that every file is as in a run in one go, and that there are no others.
func resumed(t *testing.T, row *accuracy.Row, want, got map[string]string) {
	t.Helper()
	require.Len(t, got, len(want))
	for name := range want {
		row.Same(t, want[name] == got[name], "%s", name)
	}
}

// The error of one worker stops the others, and is what comes back.
func TestSourceErrors(t *testing.T) {
	rows := func(bad func(n int, r *Row) bool) func() (Source, error) {
		return func() (Source, error) { return &spoiled{fake{count: 24}, bad}, nil }
	}
	for _, c := range []struct {
		name, want string
		source     func() (Source, error)
	}{
		{"fails", errFake.Error(), func() (Source, error) { return &fake{count: 24, fail: 25}, nil }},
		{"other worker has none", errFake.Error(), func() func() (Source, error) {
			var mu sync.Mutex
			n := 0
			return func() (Source, error) {
				mu.Lock()
				defer mu.Unlock()
				if n++; n > 1 {
					return nil, errFake
				}
				return &fake{count: 24}, nil
			}
		}()},
		{"stops early", "the source ended before cycle 33", rows(func(n int, r *Row) bool { return n != 33 })},
		{"short", "cycle 5: pressure_bar has 23 samples, want 24", rows(func(n int, r *Row) bool {
			if n == 5 {
				r.Channels[pressure] = r.Channels[pressure][:23]
			}
			return true
		})},
		{"flag", "cycle 0: misfire = 0.5, want 0 or 1", rows(func(n int, r *Row) bool { r.Labels[3] += half(n); return true })},
		{"whole", "cycle 0: draw = ", rows(func(n int, r *Row) bool { r.Labels[4] += half(n); return true })},
		{"number", "cycle 0: the source numbers it 1", rows(func(n int, r *Row) bool { r.Labels[0] += 2 * half(n); return true })},
		{"labels", "cycle 0: 4 labels and 4 channels, want 5 and 4", rows(func(n int, r *Row) bool { r.Labels = r.Labels[:5-int(2*half(n))]; return true })},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := plan(t)
			p.Source, p.Workers = c.source, 2
			require.ErrorContains(t, Write(context.Background(), p), c.want)
			for name := range contents(t, p.Dir) {
				require.False(t, strings.HasSuffix(name, ".tmp"), name)
				require.NotEqual(t, packageFile, name)
			}
		})
	}
}

// half is a half in cycle 0, else nothing.
func half(n int) float64 {
	if n == 0 {
		return 0.5
	}
	return 0
}

// spoiled changes rows, and ends where bad is false.
type spoiled struct {
	fake
	keep func(n int, r *Row) bool
}

func (s *spoiled) Rows(first, last int) iter.Seq2[*Row, error] {
	return func(yield func(*Row, error) bool) {
		n := first
		for r, err := range s.fake.Rows(first, last) {
			if !s.keep(n, r) || !yield(r, err) {
				return
			}
			n++
		}
	}
}

func TestRefused(t *testing.T) {
	for _, c := range []struct {
		name, want string
		change     func(p *Plan)
	}{
		{"cycles", "0 cycles, want > 0", func(p *Plan) { p.Cycles = 0 }},
		{"part", "-1 cycles a part, want > 0", func(p *Plan) { p.Part = -1 }},
		{"workers", "0 workers, want > 0", func(p *Plan) { p.Workers = 0 }},
		{"no format", "no format, want some of parquet, csv, npz, mat, wav, c", func(p *Plan) { p.Formats = nil }},
		{"format", `format "tape", want some of`, func(p *Plan) { p.Formats = []string{"tape"} }},
		{"rate", "rate 0 Hz", func(p *Plan) { p.Rate = 0 }},
		{"shard", "shard 3 of 3, want 0 to 2", func(p *Plan) { p.Shard, p.Shards = 3, 3 }},
		{"column", `the name "value" is taken`, func(p *Plan) { p.Source = named("value") }},
		{"twice", "cycle is there twice", func(p *Plan) { p.Source = named("cycle") }},
		{"odd", `name "Tooth s", want`, func(p *Plan) { p.Source = named("Tooth s") }},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := plan(t)
			c.change(p)
			require.ErrorContains(t, Write(context.Background(), p), c.want)
			require.NoDirExists(t, p.Dir)
		})
	}
}

// renamed gives the last column another name.
type renamed struct {
	fake
	name string
}

func named(name string) func() (Source, error) {
	return func() (Source, error) { return &renamed{fake{count: 24}, name}, nil }
}

func (r *renamed) Columns() []Column {
	all := r.fake.Columns()
	all[len(all)-1].Name = r.name
	return all
}

// Nothing is written over: not a dataset, not another plan, not files of others.
func TestFolderRefused(t *testing.T) {
	ctx := context.Background()
	p := plan(t, "csv")
	write(t, p)
	before := contents(t, p.Dir)
	require.ErrorContains(t, Write(ctx, p), "holds this dataset already")
	for _, c := range []struct {
		name, want string
		change     func(p *Plan)
	}{
		{"seed", "holds another dataset: seed 9223372036854775809, the plan is 5", func(p *Plan) { p.Card.Seed = 5 }},
		{"cycles", "cycles 47, the plan is 48", func(p *Plan) { p.Cycles++ }},
		{"part", "cycles a part 10, the plan is 9", func(p *Plan) { p.Part-- }},
		{"formats", "formats [csv], the plan is [npz]", func(p *Plan) { p.Formats = []string{"npz"} }},
		{"version", "version v0.0.0-test, the plan is v9", func(p *Plan) { p.Card.Version = "v9" }},
		{"configuration", "configuration fuel = iso-octane, the plan is fuel = methane", func(p *Plan) {
			p.Card.Config = []Setting{{"speed_rpm", "2200"}, {"fuel", "methane"}}
		}},
		{"columns", "the plan is {Name:renamed", func(p *Plan) { p.Source = named("renamed") }},
		{"title", "its title", func(p *Plan) { p.Card.Title = "Other" }},
	} {
		t.Run(c.name, func(t *testing.T) {
			q := *p
			q.Resume = true
			c.change(&q)
			require.ErrorContains(t, Write(ctx, &q), c.want)
			same(t, before, contents(t, p.Dir))
		})
	}
	t.Run("a shard again", func(t *testing.T) {
		q := plan(t, "csv")
		q.Shards = 2
		write(t, q)
		require.ErrorContains(t, Write(ctx, q), "holds part 0 already")
	})
	t.Run("files of others", func(t *testing.T) {
		q := plan(t, "csv")
		require.NoError(t, os.MkdirAll(q.Dir, 0o755))
		require.NoError(t, os.WriteFile(filepath.Join(q.Dir, cardFile), []byte("mine"), 0o644))
		require.ErrorContains(t, Write(ctx, q), "holds README.md and no plan")
		require.Equal(t, map[string]string{cardFile: "mine"}, contents(t, q.Dir))
	})
	t.Run("no dataset", func(t *testing.T) {
		require.ErrorIs(t, Join(ctx, t.TempDir()), fs.ErrNotExist)
	})
}

// A folder that cannot be written to is refused with its name. Root may write
// anywhere, so a file stands where the folder should be, or it is mounted read-only.
func TestReadOnly(t *testing.T) {
	p := plan(t, "csv")
	require.NoError(t, os.WriteFile(p.Dir, nil, 0o644))
	require.ErrorContains(t, Write(context.Background(), p), p.Dir)
	dir := mount(t, "ro,size=1m")
	p.Dir = dir
	err := Write(context.Background(), p)
	require.ErrorIs(t, err, syscall.EROFS)
	require.ErrorContains(t, err, planFile)
}

// A full disk: an error that names the file, whole parts only, and going on works
// once there is room.
func TestDiskFull(t *testing.T) {
	mount(t, "size=1m") // or there is nothing to hold
	row := accuracy.Find(t, "disk-full")
	for _, f := range Formats() {
		t.Run(f, func(t *testing.T) {
			dir := mount(t, "size=2m")
			p := plan(t, f)
			p.Part, p.Cycles = 100, 1000
			calm := *p
			write(t, &calm)
			want := contents(t, calm.Dir)
			p.Dir, p.Workers = dir, 2
			ballast := filepath.Join(dir, ".ballast")
			need := 0
			for _, text := range want {
				need += (len(text) + 4095) &^ 4095
			}
			require.NoError(t, os.WriteFile(ballast, make([]byte, max(0, 2<<20-need/2)), 0o644))
			err := Write(context.Background(), p)
			require.ErrorIs(t, err, syscall.ENOSPC)
			require.Regexp(t, `^dataset: \S+-000\d\d\.[a-z]+: `, err.Error())
			require.NoError(t, os.Remove(ballast))
			noRemains(t, dir, want)
			p.Resume = true
			write(t, p)
			resumed(t, row, want, contents(t, dir))
		})
	}
}

// mount mounts a small file system in memory, or skips.
func mount(t *testing.T, options string) string {
	t.Helper()
	if runtime.GOOS != "linux" || os.Getuid() != 0 {
		t.Skip("needs root on Linux, to mount a small tmpfs")
	}
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", options, "tmpfs", dir).CombinedOutput(); err != nil {
		t.Skipf("cannot mount a tmpfs here: %v: %s", err, out)
	}
	t.Cleanup(func() { require.NoError(t, exec.Command("umount", dir).Run()) })
	return dir
}

// Ten times the cycles take no more memory. What is in use is read right after
// collections, at the same cycles of every part. The bound of 2 MiB more is a tenth
// of what the rows alone would take if they stayed (18,000 of 1 kB).
func TestFlatMemory(t *testing.T) {
	peak := func(cycles int) float64 {
		p := plan(t)
		p.Cycles, p.Part = cycles, 500
		p.Source = func() (Source, error) { return &fake{count: 125}, nil }
		var most uint64
		p.Progress = func(done, _ int) {
			if done%250 != 0 { // half a part, and a whole one
				return
			}
			var m runtime.MemStats
			runtime.GC() // twice: pools of idle compressors go at the second
			runtime.GC()
			runtime.ReadMemStats(&m)
			most = max(most, m.HeapInuse)
		}
		write(t, p)
		return float64(most) / (1 << 20)
	}
	few := peak(2000)
	many := peak(20000)
	t.Logf("peak heap in use: %.1f MiB for 2,000 cycles, %.1f MiB for 20,000", few, many)
	require.Less(t, many, few+2)
}

func BenchmarkWrite(b *testing.B) {
	for _, f := range Formats() {
		b.Run(f, func(b *testing.B) {
			b.ReportAllocs()
			const cycles = 1000
			p := plan(b, f)
			p.Cycles, p.Part = cycles, cycles
			rows := newStill(720)
			p.Source = func() (Source, error) { return rows, nil }
			var size int64
			for b.Loop() {
				require.NoError(b, os.RemoveAll(p.Dir))
				require.NoError(b, Write(context.Background(), p))
			}
			for _, text := range contents(b, p.Dir) {
				size += int64(len(text))
			}
			b.ReportMetric(float64(cycles)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
			b.ReportMetric(float64(size)/cycles, "B/row")
			b.ReportMetric(float64(cycles)*2*720*4*float64(b.N)/b.Elapsed().Seconds()/1e6, "MB/s")
		})
	}
}

// still yields rows that it made before, at no cost: more of them than fit a page of
// Parquet, so that noise stays noise.
type still struct {
	fake
	rows []Row
}

func newStill(count int) *still {
	s := &still{fake: fake{count: count}}
	for n := range 200 {
		f := fake{count: count}
		f.fill(n)
		f.row.Channels = f.row.Channels[:2]
		s.rows = append(s.rows, f.row)
	}
	return s
}

func (s *still) Columns() []Column { return s.fake.Columns()[:7] }

func (s *still) Rows(first, last int) iter.Seq2[*Row, error] {
	return func(yield func(*Row, error) bool) {
		for n := first; n < last; n++ {
			r := &s.rows[n%len(s.rows)]
			r.Labels[0] = float64(n)
			if !yield(r, nil) {
				return
			}
		}
	}
}
