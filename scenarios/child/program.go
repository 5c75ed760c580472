package child

import (
	"context"
	"io"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"time"

	"phasebench/model"
)

// program is a process with its group.
type program struct {
	cmd    *exec.Cmd
	stderr *os.File
	tail   tail          // of stderr; after ended
	heard  chan struct{} // closed once stderr is read
	reaped chan struct{} // closed once the process is no more
	ended  chan struct{} // closed once both are
	state  error         // how it ended; after ended
}

// Start starts the program argv[0] with arguments argv[1:], to be talked to over its
// stdin and stdout; limit is that of a turn, and the first begins at once. The program
// must flush what it says. The end of stdin ends it. The end of ctx kills it. It leads a process group of its own
// and is killed with that; children it leaves are reaped by who adopts them.
// A missing program and a limit that is not positive are a *model.Problem; a program
// that does not start wraps ErrFailed.
func Start(ctx context.Context, argv []string, limit time.Duration) (*Link, error) {
	if len(argv) == 0 || argv[0] == "" {
		return nil, &model.Problem{Key: "program", Want: "a program and its arguments"}
	}
	if err := positive(limit); err != nil {
		return nil, err
	}
	p := &program{
		cmd:   exec.Command(argv[0], argv[1:]...),
		heard: make(chan struct{}), reaped: make(chan struct{}), ended: make(chan struct{}),
	}
	// Pipes of our own: they know deadlines, and what was said before the end is read
	// to the end.
	var ours, theirs [3]*os.File
	drop := func(files [3]*os.File) {
		for _, f := range files {
			f.Close() // nil: nothing
		}
	}
	failed := func(err error) (*Link, error) {
		drop(ours)
		return nil, &failure{argv[0], "start", err.Error(), err}
	}
	for i := range ours {
		r, w, err := os.Pipe()
		if err != nil {
			drop(theirs)
			return failed(err)
		}
		if ours[i], theirs[i] = r, w; i == 0 {
			ours[i], theirs[i] = w, r
		}
	}
	p.cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // its children die with it
	p.cmd.Stdin, p.cmd.Stdout, p.cmd.Stderr = theirs[0], theirs[1], theirs[2]
	err := p.cmd.Start()
	drop(theirs)
	if err != nil {
		return failed(err)
	}
	p.stderr = ours[2]
	go p.listen()
	go p.watch()
	l, err := newLink(ctx, argv[0], limit, ours[0], ours[1], p)
	if err != nil {
		p.kill()
		<-p.ended
		return failed(err)
	}
	return l, nil
}

// Pid is the process of a program, and its group; 0 over TCP.
func (l *Link) Pid() int {
	if l.program == nil {
		return 0
	}
	return l.program.cmd.Process.Pid
}

// listen keeps what comes last on stderr.
func (p *program) listen() {
	_, _ = io.Copy(&p.tail, p.stderr)
	p.stderr.Close()
	close(p.heard)
}

// watch reaps the process and kills what it left behind.
func (p *program) watch() {
	p.state = p.cmd.Wait()
	_ = syscall.Kill(-p.cmd.Process.Pid, syscall.SIGKILL)
	close(p.reaped)
	select { // one that left the group may hold stderr open
	case <-p.heard:
	case <-time.After(graceful):
		_ = p.stderr.SetReadDeadline(time.Now())
		<-p.heard
	}
	close(p.ended)
}

// kill kills the group. Once it is reaped, its number may be another's.
func (p *program) kill() {
	select {
	case <-p.reaped:
	default:
		_ = syscall.Kill(-p.cmd.Process.Pid, syscall.SIGKILL)
	}
}

// endsIn tells whether it has ended, or does within grace.
func (p *program) endsIn(grace time.Duration) bool {
	select {
	case <-p.reaped:
	default:
		select {
		case <-p.reaped:
		case <-time.After(grace):
			return false
		}
	}
	<-p.ended
	return true
}

// keptTail is how much of stderr is told [bytes]. Our own choice.
const keptTail = 2 << 10

// tail keeps the end of what is written to it.
type tail struct{ text []byte }

func (t *tail) Write(p []byte) (int, error) {
	t.text = append(t.text, p...)
	if n := len(t.text) - keptTail; n > 0 {
		t.text = append(t.text[:0], t.text[n:]...)
	}
	return len(p), nil
}

// String is the tail as one line.
func (t *tail) String() string { return strings.Join(strings.Fields(string(t.text)), " ") }
