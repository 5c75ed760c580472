// Package child talks with another program in turns: one that it starts, over stdin
// and stdout (Start), or one that listens on this machine, over TCP (Dial).
//
//	answer, err := l.Ask(question) // or Begin, then Send, Line and Full as agreed
//	if err != nil {
//		return l.Fail("cycle 7", err)
//	}
//
// The other side speaks only when it is asked, and a turn has a time limit. An
// exchange hops over no goroutine and allocates nothing.
package child

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"sync/atomic"
	"syscall"
	"time"

	"phasebench/model"
)

// Limits of what is said. Our own choice.
const (
	longestLine = 64 << 10 // without its end [bytes]
	shown       = 80       // of what was said, in an error [bytes]
)

// Link is a program or peer that is talked to. It is for one goroutine at a time.
type Link struct {
	name    string // the program or the address
	limit   time.Duration
	in      writer   // to it
	out     reader   // from it
	program *program // nil over TCP
	lines   *bufio.Reader

	raw     syscall.RawConn // of out
	look    func(fd uintptr) bool
	early   [shown + 1]byte // what look found
	found   int
	lookErr error

	unhook func() bool           // from the context
	cut    atomic.Pointer[error] // why the context ended it
	closed bool
	err    error
}

type writer interface {
	io.WriteCloser
	SetWriteDeadline(time.Time) error
}

type reader interface {
	io.ReadCloser
	syscall.Conn
	SetReadDeadline(time.Time) error
}

// positive returns a *model.Problem about a time limit that is none.
func positive(limit time.Duration) error {
	if !(limit > 0) {
		return &model.Problem{Key: "limit", Given: limit.String(), Want: "more than 0"}
	}
	return nil
}

// newLink makes a link that dies with ctx.
func newLink(ctx context.Context, name string, limit time.Duration, in writer, out reader, p *program) (*Link, error) {
	raw, err := out.SyscallConn()
	if err != nil {
		return nil, err
	}
	l := &Link{name: name, limit: limit, in: in, out: out, program: p, raw: raw}
	l.lines = bufio.NewReaderSize(out, longestLine+1)
	l.look = func(fd uintptr) bool {
		for {
			l.found, l.lookErr = syscall.Read(int(fd), l.early[:])
			if l.lookErr != syscall.EINTR {
				return true // never wait
			}
		}
	}
	if err := l.start(); err != nil { // a caller without Begin is late, not stuck
		return nil, err
	}
	l.unhook = context.AfterFunc(ctx, func() {
		why := context.Cause(ctx)
		l.cut.Store(&why)
		l.drop()
	})
	return l, nil
}

// start sets the time by which the turn is over.
func (l *Link) start() error {
	by := time.Now().Add(l.limit)
	if err := l.in.SetWriteDeadline(by); err != nil {
		return err
	}
	return l.out.SetReadDeadline(by)
}

// Begin starts a turn: from now on the limit runs. It is an error if the other side
// has said something since its last answer, or has gone.
func (l *Link) Begin() error {
	if l.err != nil {
		return l.err
	}
	if err := l.start(); err != nil {
		return &broken{err: err}
	}
	if n := l.lines.Buffered(); n > 0 {
		text, _ := l.lines.Peek(n)
		return unasked(text)
	}
	if err := l.raw.Read(l.look); err != nil {
		return &broken{doing: late, err: err}
	}
	switch {
	case l.lookErr == syscall.EAGAIN:
		return nil
	case l.lookErr != nil:
		return &broken{err: l.lookErr}
	case l.found == 0:
		return &broken{err: io.EOF}
	}
	return unasked(l.early[:l.found])
}

func unasked(text []byte) error { return fmt.Errorf("it said %q unasked", Brief(text)) }

// Send sends b, all of it, within the limit of the turn.
func (l *Link) Send(b []byte) error {
	n, err := l.in.Write(b)
	if err == nil {
		return nil
	}
	return &broken{"it takes no more", part(n, len(b)), err}
}

// late is what there is of a side that says too little.
const late = "no answer"

// Line returns the next line, without its newline and at most 64 KiB long. It is
// good until the next call of any method.
func (l *Link) Line() ([]byte, error) {
	text, err := l.lines.ReadSlice('\n')
	if err == nil {
		return text[:len(text)-1], nil
	}
	if errors.Is(err, bufio.ErrBufferFull) {
		return nil, fmt.Errorf("a line of more than %d bytes, beginning %q", longestLine, Brief(text))
	}
	got := ""
	if len(text) > 0 {
		got = fmt.Sprintf("half a line, %q", Brief(text))
	}
	return nil, &broken{late, got, err}
}

// Full fills dst with the next len(dst) bytes.
func (l *Link) Full(dst []byte) error {
	n, err := io.ReadFull(l.lines, dst)
	if err == nil {
		return nil
	}
	if errors.Is(err, io.ErrUnexpectedEOF) {
		err = io.EOF
	}
	return &broken{late, part(n, len(dst)), err}
}

// Ask is a turn of one line each: Begin, Send and Line. The question brings its
// newline.
func (l *Link) Ask(question []byte) ([]byte, error) {
	if err := l.Begin(); err != nil {
		return nil, err
	}
	if err := l.Send(question); err != nil {
		return nil, err
	}
	return l.Line()
}

// part tells of n bytes of all; "" of none.
func part(n, all int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("%d of %d bytes", n, all)
}

// Brief is the beginning of what was said, 80 bytes at most, for an error.
func Brief(text []byte) string {
	if text = bytes.TrimSpace(text); len(text) > shown {
		return string(text[:shown]) + "…"
	}
	return string(text)
}
