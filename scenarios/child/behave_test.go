package child

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// patience is far longer than anything takes, so that no slow machine fails.
const patience = 30 * time.Second

// The test binary is the program that is talked to: the environment tells it so, and
// its argument is the name of a behaviour.
const asChild = "PHASEBENCH_CHILD"

func TestMain(m *testing.M) {
	if os.Getenv(asChild) != "" {
		behave(os.Args[1])
	}
	os.Setenv(asChild, "1")
	// Orphans come to the tests, which reap them: PR_SET_CHILD_SUBREAPER of prctl(2).
	if _, _, err := syscall.RawSyscall(syscall.SYS_PRCTL, 36, 1, 0); err != 0 {
		panic(err)
	}
	os.Exit(m.Run())
}

// behaviours are what a program does once it is asked; question reads a line.
var behaviours = map[string]func(question func() string){
	"hangs":      func(q func() string) { q(); forever() },
	"complains":  func(q func() string) { q(); say(2, "waiting for\na sign\n"); forever() },
	"dies":       func(q func() string) { q(); say(2, "out of luck\n"); os.Exit(3) },
	"is killed":  func(q func() string) { q(); syscall.Kill(os.Getpid(), syscall.SIGKILL); forever() },
	"ends":       func(q func() string) { q() },
	"half, ends": func(q func() string) { q(); say(1, "14.5 degr") },
	"half, dies": func(q func() string) { q(); say(1, "14.5 degr"); os.Exit(3) },
	"half, hangs": func(q func() string) {
		q()
		say(1, "14.5 degr")
		forever()
	},
	"one endless line": func(q func() string) { q(); flood(strings.Repeat("x", 4096)) },
	"endless lines":    func(q func() string) { q(); flood(strings.Repeat("x\n", 2048)) },
	"talks, does not listen": func(func() string) {
		flood(strings.Repeat("x", 4096))
	},
	"does not listen": func(func() string) { forever() },
	"closes stdout":   func(q func() string) { q(); syscall.Close(1); forever() },
	"closes stdin":    func(q func() string) { q(); syscall.Close(0); say(1, "done\n"); forever() },
	"answers twice":   func(q func() string) { q(); say(1, "one\ntwo\n"); forever() },
	"speaks up":       func(func() string) { say(1, "good morning\n"); forever() },
	"leaves a child":  func(q func() string) { q(); another(false); os.Exit(4) },
	"has a child":     func(q func() string) { q(); another(false); forever() },
	"sends one out":   func(q func() string) { q(); another(true); os.Exit(5) },
	"ends badly": func(q func() string) {
		for q() != "" {
		}
		say(2, "oh no")
		os.Exit(6)
	},
}

// behave answers one line, by which a test knows that it has begun, and goes on as
// its name says.
func behave(name string) {
	if name == "echo" { // as quick as Go is
		b := make([]byte, 64<<10)
		for {
			n, err := syscall.Read(0, b)
			if n <= 0 || err != nil {
				os.Exit(0)
			}
			say(1, string(b[:n]))
		}
	}
	in := bufio.NewReader(os.Stdin)
	question := func() string {
		text, _ := in.ReadString('\n')
		return text
	}
	if name != "sleeper" {
		say(1, question())
		behaviours[name](question)
		os.Exit(0)
	}
	forever()
}

func say(fd int, text string) {
	for b := []byte(text); len(b) > 0; {
		n, err := syscall.Write(fd, b)
		if err != nil {
			os.Exit(7)
		}
		b = b[n:]
	}
}

func flood(text string) {
	for {
		say(1, text)
	}
}

func forever() { time.Sleep(time.Hour) }

// another starts a child that has stdout and stderr, in a session of its own or not.
func another(session bool) {
	c := exec.Command(os.Args[0], "sleeper")
	c.Stdout, c.Stderr = os.Stdout, os.Stderr
	c.SysProcAttr = &syscall.SysProcAttr{Setsid: session}
	if err := c.Start(); err != nil {
		panic(err)
	}
	say(2, fmt.Sprintf("child %d", c.Process.Pid))
}

// begun starts a behaviour and returns once it has begun; from then on limit holds.
func begun(t testing.TB, ctx context.Context, name string, limit time.Duration) *Link {
	exe, err := os.Executable()
	require.NoError(t, err)
	l, err := Start(ctx, []string{exe, name}, patience)
	require.NoError(t, err)
	t.Cleanup(func() { l.Close() })
	l.name = "it" // not the path of the machine
	answer, err := l.Ask([]byte("hello\n"))
	require.NoError(t, err)
	require.Equal(t, "hello", string(answer))
	l.limit = limit
	return l
}

// gone tells that a program is reaped, and that nothing is left of its group once
// its orphans are.
func gone(t testing.TB, pid int) {
	require.NotZero(t, pid)
	require.Equal(t, syscall.ESRCH, syscall.Kill(pid, 0), "process %d is still there", pid)
	require.Eventually(t, func() bool {
		for {
			if n, err := syscall.Wait4(-pid, nil, syscall.WNOHANG, nil); n <= 0 || err != nil {
				break
			}
		}
		return syscall.Kill(-pid, 0) == syscall.ESRCH
	}, patience, time.Millisecond, "group %d is still there", pid)
}
