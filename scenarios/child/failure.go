package child

import (
	"errors"
	"fmt"
	"io"
	"os"
	"syscall"
	"time"
)

// ErrFailed is wrapped by every failure of a program or peer.
var ErrFailed = errors.New("the other side failed")

// failure is how a link failed.
type failure struct {
	who, where, what string
	cause            error
}

func (f *failure) Error() string   { return f.who + ": " + f.where + ": " + f.what }
func (f *failure) Unwrap() []error { return []error{ErrFailed, f.cause} }

// broken is an exchange that was not carried to its end.
type broken struct {
	doing string // what did not happen in time
	got   string // what there was of it; "" for nothing
	err   error
}

func (b *broken) Error() string { return b.err.Error() }
func (b *broken) Unwrap() error { return b.err }

// Fail ends the other side and returns, once and for all, why it failed: name,
// where, what, how a program ended and what it said last on stderr. err is of Begin,
// Send, Line, Full or Ask, or tells what is wrong with an answer. The error wraps
// ErrFailed and err, and the cause of the context if that ended it. The program is
// dead and reaped when Fail returns. A further call returns the first error.
func (l *Link) Fail(where string, err error) error {
	if l.err != nil {
		return l.err
	}
	what := err.Error()
	var b *broken
	if errors.As(err, &b) {
		what, err = l.tell(b)
	}
	l.end()
	if l.program != nil {
		if said := l.program.tail.String(); said != "" {
			what += "; its stderr ends: " + said
		}
	}
	l.err = &failure{l.name, where, what, err}
	return l.err
}

// Under is err under a sentinel of another package; nil for none.
func Under(sentinel, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%w: %w", sentinel, err)
}

// Err is what Fail told; nil before.
func (l *Link) Err() error { return l.err }

// tell is what broke, and the cause of it.
func (l *Link) tell(b *broken) (string, error) {
	isLate := errors.Is(b.err, os.ErrDeadlineExceeded)
	grace := graceful // it ends, or only closed a pipe
	if isLate {
		grace = 0
	}
	gone := l.program != nil && l.program.endsIn(grace)
	what := b.err.Error()
	switch cut := l.cut.Load(); {
	case cut != nil:
		return fmt.Sprintf("stopped: %v", *cut), *cut
	case l.closed:
		what = "it is closed"
	case gone && l.program.state != nil:
		what = "it died: " + l.program.state.Error()
	case gone:
		what = "it ended"
	case isLate:
		what = fmt.Sprintf("%s within %v", b.doing, l.limit)
	case l.program == nil && errors.Is(b.err, io.EOF):
		what = "it closed the connection"
	case l.program == nil && (errors.Is(b.err, syscall.ECONNRESET) || errors.Is(b.err, syscall.EPIPE)):
		what = "it broke off the connection"
	case errors.Is(b.err, io.EOF):
		what = "it closed its stdout"
	case errors.Is(b.err, syscall.EPIPE):
		what = "it closed its stdin"
	}
	if b.got != "" {
		what += ", after " + b.got
	}
	return what, b.err
}

// drop makes whoever waits for the other side wait no more, and kills a program
// with its group. Another goroutine may call it.
func (l *Link) drop() {
	if l.program != nil {
		l.program.kill()
	}
	l.in.Close()
	l.out.Close()
}

// end is drop, and returns once a program is reaped.
func (l *Link) end() {
	l.unhook()
	l.drop()
	if l.program != nil {
		<-l.program.ended
	}
}

// Close ends the stdin of a program, gives it half a second to end, then kills it
// with its group; it is reaped when Close returns. Over TCP it closes the connection.
// It returns Err, or how the program ended if that was not well.
func (l *Link) Close() error {
	if l.closed || l.err != nil {
		return l.err
	}
	l.in.Close()
	badly := l.program != nil && l.program.endsIn(graceful) && l.program.state != nil
	if badly || l.cut.Load() != nil {
		return l.Fail("at the end", &broken{err: io.EOF})
	}
	l.end()
	l.closed = true
	return nil
}

// graceful is the time to end for a program that is expected to. Our own choice.
const graceful = 500 * time.Millisecond
