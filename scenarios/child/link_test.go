package child

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"os"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"phasebench/model"
)

// What goes out comes back, as lines and as bytes, and ends well.
func TestEcho(t *testing.T) {
	l := begun(t, t.Context(), "echo", patience)
	pid := l.Pid()
	for _, text := range []string{"", "7", "a b\r", strings.Repeat("y", longestLine)} {
		got, err := l.Ask([]byte(text + "\n"))
		require.NoError(t, err)
		require.Equal(t, text, string(got))
	}
	sent := make([]byte, 3000)
	_, err := rand.Read(sent)
	require.NoError(t, err)
	for range 3 {
		got := make([]byte, len(sent))
		require.NoError(t, l.Begin())
		require.NoError(t, l.Send(sent))
		require.NoError(t, l.Full(got))
		require.True(t, bytes.Equal(sent, got))
	}
	require.NoError(t, l.Begin())
	require.NoError(t, l.Send([]byte("one\ntwo\nrest")))
	for _, want := range []string{"one", "two"} {
		got, err := l.Line()
		require.NoError(t, err)
		require.Equal(t, want, string(got))
	}
	require.NoError(t, l.Full(make([]byte, 4)))
	require.NoError(t, l.Err())
	require.NoError(t, l.Close())
	require.NoError(t, l.Close())
	gone(t, pid)
	_, err = l.Ask([]byte("7\n"))
	require.Error(t, err)
	require.EqualError(t, l.Fail("cycle 7", err), "it: cycle 7: it is closed")
}

// A turn allocates nothing.
func TestAllocations(t *testing.T) {
	l := begun(t, t.Context(), "echo", patience)
	line, sent, got := []byte("7\n"), make([]byte, 3000), make([]byte, 3000)
	var err error
	require.Zero(t, testing.AllocsPerRun(100, func() {
		if _, e := l.Ask(line); e != nil {
			err = e
		}
	}))
	require.Zero(t, testing.AllocsPerRun(100, func() {
		err = errors.Join(err, l.Begin(), l.Send(sent), l.Full(got))
	}))
	require.NoError(t, err)
}

// Each way to fail: what is told, and that it is over, dead and reaped when Fail
// returns.
func TestFails(t *testing.T) {
	ask := func(l *Link) error { _, err := l.Ask([]byte("7\n")); return err }
	much := func(l *Link) error {
		if err := l.Begin(); err != nil {
			return err
		}
		return l.Send(make([]byte, 3<<20))
	}
	bits := func(l *Link) error {
		if err := l.Begin(); err != nil {
			return err
		}
		if err := l.Send([]byte("7\n")); err != nil {
			return err
		}
		return l.Full(make([]byte, 24))
	}
	twice := func(l *Link) error {
		if err := ask(l); err != nil {
			return err
		}
		return ask(l)
	}
	again := func(l *Link) error { // until it has spoken
		for {
			if err := l.Begin(); err != nil {
				return err
			}
			time.Sleep(time.Millisecond)
		}
	}
	const short = time.Second // for what comes within it, if anything does
	for _, c := range []struct {
		behaviour string
		limit     time.Duration
		turn      func(*Link) error
		want      string // a regular expression
	}{
		{"hangs", 50 * time.Millisecond, ask, `no answer within 50ms`},
		{"complains", short, ask, `no answer within 1s; its stderr ends: waiting for a sign`},
		{"dies", patience, ask, `it died: exit status 3; its stderr ends: out of luck`},
		{"is killed", patience, ask, `it died: signal: killed`},
		{"ends", patience, ask, `it ended`},
		{"half, ends", patience, ask, `it ended, after half a line, "14.5 degr"`},
		{"half, dies", patience, ask, `it died: exit status 3, after half a line, "14.5 degr"`},
		{"half, dies", patience, bits, `it died: exit status 3, after 9 of 24 bytes`},
		{"half, hangs", short, ask, `no answer within 1s, after half a line, "14.5 degr"`},
		{"half, hangs", short, bits, `no answer within 1s, after 9 of 24 bytes`},
		{"one endless line", patience, ask, `a line of more than 65536 bytes, beginning "x{80}…"`},
		{"endless lines", patience, twice, `it said "(x\\n){40}…" unasked`},
		{"talks, does not listen", 200 * time.Millisecond, much, `(it said "x+…" unasked|it takes no more within 200ms, after \d+ of 3145728 bytes)`},
		{"does not listen", 50 * time.Millisecond, much, `it takes no more within 50ms, after \d+ of 3145728 bytes`},
		{"closes stdout", patience, ask, `it closed its stdout`},
		{"closes stdin", patience, twice, `it closed its stdin`},
		{"answers twice", patience, twice, `it said "two" unasked`},
		{"speaks up", patience, again, `it said "good morning" unasked`},
		{"leaves a child", patience, ask, `it died: exit status 4; its stderr ends: child \d+`},
		{"has a child", 2 * short, ask, `no answer within 2s; its stderr ends: child \d+`},
	} {
		t.Run(c.behaviour, func(t *testing.T) {
			t.Parallel()
			l := begun(t, t.Context(), c.behaviour, c.limit)
			pid, start := l.Pid(), time.Now()
			err := c.turn(l)
			require.Error(t, err)
			told := l.Fail("cycle 7", err)
			require.Regexp(t, `^it: cycle 7: `+c.want+`$`, told.Error())
			require.ErrorIs(t, told, ErrFailed)
			require.Less(t, time.Since(start), 10*time.Second) // not for ever; our own choice
			gone(t, pid)
			require.Same(t, told, l.Err())
			require.Same(t, told, l.Begin())
			require.Same(t, told, l.Fail("cycle 8", errors.New("more")))
			require.Same(t, told, l.Close())
		})
	}
}

// One that is in a session of its own holds stdout and stderr open after the program
// has died: that is told in time, and it is left alone.
func TestOutOfReach(t *testing.T) {
	t.Parallel()
	l := begun(t, t.Context(), "sends one out", 2*time.Second)
	pid := l.Pid()
	_, err := l.Ask([]byte("7\n"))
	told := l.Fail("cycle 7", err).Error()
	require.Regexp(t, `^it: cycle 7: it died: exit status 5; its stderr ends: child \d+$`, told)
	gone(t, pid)
	other, err := strconv.Atoi(told[strings.LastIndexByte(told, ' ')+1:])
	require.NoError(t, err)
	require.NoError(t, syscall.Kill(other, syscall.SIGKILL))
	_, err = syscall.Wait4(other, nil, 0, nil)
	require.NoError(t, err)
}

// Closing: one that does not end with stdin is killed, one that ends badly says so.
func TestClose(t *testing.T) {
	for name, want := range map[string]string{
		"hangs":           "", // until it is asked; stdin ends
		"does not listen": "",
		"has a child":     "",
		"ends badly":      "it: at the end: it died: exit status 6; its stderr ends: oh no",
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			l := begun(t, t.Context(), name, patience)
			pid := l.Pid()
			for range 2 {
				if err := l.Close(); want == "" {
					require.NoError(t, err)
				} else {
					require.EqualError(t, err, want)
					require.ErrorIs(t, err, ErrFailed)
				}
			}
			gone(t, pid)
		})
	}
}

// The end of a context ends what waits, and what does not.
func TestContext(t *testing.T) {
	why := errors.New("the operator left")
	ctx, cancel := context.WithCancelCause(t.Context())
	l := begun(t, ctx, "hangs", patience)
	pid := l.Pid()
	time.AfterFunc(50*time.Millisecond, func() { cancel(why) })
	_, err := l.Ask([]byte("7\n"))
	err = l.Fail("cycle 7", err)
	require.EqualError(t, err, "it: cycle 7: stopped: the operator left")
	require.ErrorIs(t, err, why)
	require.ErrorIs(t, err, ErrFailed)
	gone(t, pid)

	ctx, cancel = context.WithCancelCause(t.Context())
	l = begun(t, ctx, "hangs", patience)
	pid = l.Pid()
	cancel(why)
	<-l.program.ended // without a call
	gone(t, pid)
	require.EqualError(t, l.Close(), "it: at the end: stopped: the operator left")
}

func TestRefuses(t *testing.T) {
	for _, argv := range [][]string{nil, {""}} {
		_, err := Start(t.Context(), argv, time.Second)
		require.Equal(t, &model.Problem{Key: "program", Want: "a program and its arguments"}, err)
	}
	_, err := Start(t.Context(), []string{"/bin/sh"}, 0)
	require.Equal(t, &model.Problem{Key: "limit", Given: "0s", Want: "more than 0"}, err)
	_, err = Start(t.Context(), []string{"/no/such/program"}, time.Second)
	require.ErrorIs(t, err, os.ErrNotExist)
	require.ErrorIs(t, err, ErrFailed)
	require.ErrorContains(t, err, "/no/such/program: start: ")
}

// Nothing is left open or running, however it ends.
func TestLeavesNothing(t *testing.T) {
	files := func() int {
		list, err := os.ReadDir("/proc/self/fd")
		require.NoError(t, err)
		return len(list)
	}
	address := serve(t, echo)
	every := func() {
		require.NoError(t, begun(t, t.Context(), "echo", patience).Close())
		require.NoError(t, begun(t, t.Context(), "does not listen", patience).Close())
		for _, name := range []string{"hangs", "dies", "one endless line", "leaves a child"} {
			l := begun(t, t.Context(), name, 100*time.Millisecond)
			_, err := l.Ask([]byte("7\n"))
			require.Error(t, err)
			require.Error(t, l.Fail("cycle 7", err))
			gone(t, l.Pid())
		}
		ctx, cancel := context.WithCancel(t.Context())
		l := begun(t, ctx, "hangs", patience)
		cancel()
		require.Error(t, l.Close())
		_, err := Start(t.Context(), []string{"/no/such/program"}, time.Second)
		require.Error(t, err)
		l, err = Dial(t.Context(), address, patience)
		require.NoError(t, err)
		require.NoError(t, l.Close())
	}
	every() // what Go starts once
	goroutines, open := runtime.NumGoroutine(), files()
	every()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(time.Millisecond) {
		if runtime.NumGoroutine() <= goroutines && files() <= open {
			return
		}
	}
	require.Fail(t, "left", "%d of %d goroutines, %d of %d files", runtime.NumGoroutine(), goroutines, files(), open)
}

func TestBrief(t *testing.T) {
	require.Equal(t, "a b", Brief([]byte(" a b\r\n")))
	require.Equal(t, strings.Repeat("x", 80)+"…", Brief(bytes.Repeat([]byte("x"), 81)))
}
