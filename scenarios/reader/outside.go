package reader

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"time"
)

// Protocol is the version of what is spoken with an outside reader.
const Protocol = 1

// Header is the first line to an outside reader: a JSON object with the keys
// below. It is told once, and holds for every cycle.
type Header struct {
	Version   int       `json:"version"` // Protocol
	Signal    string    `json:"signal"`  // pressure or ion
	Unit      string    `json:"unit"`    // of the values: Pa or A
	Angles    []float64 `json:"angles_deg_atdc"`
	Samples   int       `json:"samples"` // in a cycle: as many as angles
	FromDeg   float64   `json:"from_deg"`
	ToDeg     float64   `json:"to_deg"`
	BlankMs   float64   `json:"blank_ms"`
	SmoothDeg float64   `json:"smooth_deg"`
}

// NewHeader returns the header for samples of s at theta [rad] under set.
func NewHeader(s Signal, theta []float64, set *Settings) Header {
	h := Header{
		Version: Protocol, Signal: s.String(), Unit: "Pa", Samples: len(theta), Angles: make([]float64, len(theta)),
		FromDeg: set.From / deg, ToDeg: set.To / deg, BlankMs: set.Blank * 1e3, SmoothDeg: set.Smooth / deg,
	}
	if s == Ion {
		h.Unit = "A"
	}
	for i, t := range theta {
		h.Angles[i] = t / deg
	}
	return h
}

// question is what an outside reader is asked of one cycle.
type question struct {
	Cycle    int       `json:"cycle"`
	SparkDeg float64   `json:"spark_deg_btdc"`
	SpeedRpm float64   `json:"speed_rpm"`
	MAPkPa   float64   `json:"map_kpa"`
	Values   []float64 `json:"values"`
}

// answer is what it says.
type answer struct {
	Angle   *float64 `json:"angle_deg_atdc"`
	Quality *float64 `json:"quality"`
	Why     string   `json:"why"`
}

// ErrOutside is wrapped by every failure of an outside reader.
var ErrOutside = errors.New("outside reader failed")

// Limits of an outside reader. Our own choice.
const (
	longestLine = 64 << 10 // of an answer [bytes]
	keptTail    = 2 << 10  // of what it says on stderr [bytes]
	graceful    = 500 * time.Millisecond
	shown       = 80 // of a line that is not understood [bytes]
)

// Outside is a reader that is another program. Once it has failed it is dead:
// every further cycle is declined, and Err tells why.
type Outside struct {
	limit time.Duration
	cmd   *exec.Cmd
	in    io.WriteCloser
	lines chan line
	stop  chan struct{} // closed once nobody listens any more
	tail  tail
	ended chan struct{} // closed once the program is gone and reaped
	state error         // how it ended; after ended

	once   sync.Once
	angles int
	err    error
}

// line is one answer, or why there will be no more.
type line struct {
	text []byte
	err  error
}

// StartOutside starts the program argv[0] with arguments argv[1:] as a reader. It
// gets one JSON object a line on stdin: first the header,
//
//	{"version":1,"signal":"ion","unit":"A","angles_deg_atdc":[…],"samples":720,
//	 "from_deg":0,"to_deg":60,"blank_ms":1.5,"smooth_deg":5}
//
// in one line, then for every cycle
//
//	{"cycle":7,"spark_deg_btdc":22,"speed_rpm":2200,"map_kpa":80,"values":[…]}
//
// and answers each cycle, within limit, by one line on stdout,
//
//	{"angle_deg_atdc":14.5,"quality":0.8,"why":""}
//
// with null for the angle and a reason in why when it declines; quality is 0 to 1,
// and angles −360 to 360. It must flush after every line. End of stdin ends it. What
// it says on stderr is told if it fails. When ctx ends it is killed. It is killed with
// its process group and reaped; children it leaves are reaped by who adopts them.
func StartOutside(ctx context.Context, argv []string, header Header, limit time.Duration) (*Outside, error) {
	if len(argv) == 0 || argv[0] == "" {
		return nil, fmt.Errorf("%w: no program: want a program and its arguments", ErrOutside)
	}
	if !(limit > 0) {
		return nil, fmt.Errorf("%w: time limit %v: want more than 0", ErrOutside, limit)
	}
	if header.Samples < 1 || len(header.Angles) != header.Samples {
		return nil, fmt.Errorf("%w: header: %d samples and %d angles: want as many, 1 or more", ErrOutside, header.Samples, len(header.Angles))
	}
	o := &Outside{limit: limit, lines: make(chan line), stop: make(chan struct{}), ended: make(chan struct{}), angles: header.Samples}
	o.cmd = exec.Command(argv[0], argv[1:]...)
	o.cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // its children die with it
	o.cmd.WaitDelay = graceful                              // children may hold stderr open
	o.cmd.Stderr = &o.tail
	in, err := o.cmd.StdinPipe()
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrOutside, err)
	}
	// A pipe of our own: what was said before the end is read to the end.
	out, outEnd, err := os.Pipe()
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrOutside, err)
	}
	o.in, o.cmd.Stdout = in, outEnd
	err = o.cmd.Start()
	outEnd.Close()
	if err != nil {
		out.Close()
		return nil, fmt.Errorf("%w: %w", ErrOutside, err)
	}
	go o.listen(out)
	go func() {
		o.state = o.cmd.Wait()
		_ = syscall.Kill(-o.cmd.Process.Pid, syscall.SIGKILL) // what it left behind
		close(o.ended)
	}()
	go func() {
		select {
		case <-ctx.Done():
			o.kill()
		case <-o.ended:
		}
	}()
	first, err := json.Marshal(header)
	if err == nil {
		err = o.send(first, o.timer())
	}
	if err != nil {
		return nil, o.fail("header", err)
	}
	return o, nil
}

func (o *Outside) timer() <-chan time.Time { return time.After(o.limit) }

// listen cuts what the program writes into lines, and closes out once nobody asks.
func (o *Outside) listen(out *os.File) {
	defer out.Close()
	go func() {
		<-o.stop
		out.Close() // ends a read that waits
	}()
	r := bufio.NewReaderSize(out, longestLine)
	for {
		text, err := r.ReadSlice('\n')
		l := line{text: append([]byte(nil), text...)}
		switch {
		case errors.Is(err, bufio.ErrBufferFull):
			l.err = fmt.Errorf("a line of more than %d bytes, beginning %q", longestLine, brief(text))
		case err != nil:
			l.err = io.EOF
		}
		select {
		case o.lines <- l:
		case <-o.stop:
			return
		}
		if l.err != nil {
			return
		}
	}
}

// errLate is a program that does not take or give a line in time.
var errLate = errors.New("late")

// send writes text and a newline.
func (o *Outside) send(text []byte, late <-chan time.Time) error {
	done := make(chan error, 1)
	go func() {
		_, err := o.in.Write(append(text, '\n'))
		done <- err
	}()
	select {
	case err := <-done:
		return err
	case <-late:
		return errLate
	}
}

// Read implements Reader. The first failure kills the program.
func (o *Outside) Read(in *Input) Reading {
	if o.err != nil {
		return decline(o.err.Error())
	}
	r, err := o.ask(in)
	if err != nil {
		return decline(o.fail(fmt.Sprintf("cycle %d", in.Cycle), err).Error())
	}
	return r
}

// Reset implements Reader: nothing. An outside program starts afresh when it is
// started again.
func (*Outside) Reset() {}

// Err tells why the program was given up; nil while it does its work.
func (o *Outside) Err() error { return o.err }

// ask asks for in and waits for the answer.
func (o *Outside) ask(in *Input) (Reading, error) {
	if !whole(in) || len(in.Theta) != o.angles {
		return decline(whyBroken), nil
	}
	text, err := json.Marshal(question{in.Cycle, in.Spark / deg, in.Speed * 30 / math.Pi, in.MAP / 1e3, in.Values})
	if err != nil {
		return Reading{}, err
	}
	late := o.timer()
	select {
	case l := <-o.lines: // before the question
		if l.err == nil {
			l.err = fmt.Errorf("it said %q unasked", brief(l.text))
		}
		return Reading{}, l.err
	default:
	}
	if err := o.send(text, late); err != nil {
		return Reading{}, err
	}
	select {
	case l := <-o.lines:
		if l.err != nil {
			return Reading{}, l.err
		}
		return understand(l.text)
	case <-late:
		return Reading{}, errLate
	}
}

// understand reads an answer.
func understand(text []byte) (Reading, error) {
	var a answer
	if err := json.Unmarshal(text, &a); err != nil {
		return Reading{}, fmt.Errorf("it said %q: want a JSON object", brief(text))
	}
	if a.Angle == nil {
		if a.Why == "" {
			return Reading{}, fmt.Errorf("it said %q: want angle_deg_atdc, or null and a reason in why", brief(text))
		}
		return decline(a.Why), nil
	}
	if !(*a.Angle >= -360 && *a.Angle <= 360) {
		return Reading{}, fmt.Errorf("angle_deg_atdc = %g, want -360 to 360 or null", *a.Angle)
	}
	if a.Quality == nil || !(*a.Quality >= 0 && *a.Quality <= 1) {
		return Reading{}, fmt.Errorf("it said %q: want quality from 0 to 1", brief(text))
	}
	return Reading{Angle: *a.Angle * deg, Quality: *a.Quality}, nil
}

// brief is the beginning of text.
func brief(text []byte) string {
	s := strings.TrimSpace(string(text))
	if len(s) > shown {
		s = s[:shown] + "…"
	}
	return s
}

// fail ends the program and tells, once, why: where, what, how it ended and what
// it said last.
func (o *Outside) fail(where string, err error) error {
	gone := false
	if errors.Is(err, io.EOF) || errors.Is(err, syscall.EPIPE) || errors.Is(err, os.ErrClosed) {
		select { // it ends, or only closed its stdout
		case <-o.ended:
			gone = true
		case <-time.After(graceful):
		}
	}
	o.end()
	what := err.Error()
	switch {
	case errors.Is(err, errLate):
		what = fmt.Sprintf("no answer within %v", o.limit)
	case gone && o.state != nil:
		what = "it died: " + o.state.Error()
	case gone:
		what = "it ended"
	case errors.Is(err, io.EOF):
		what = "it closed its stdout"
	}
	if said := o.tail.String(); said != "" {
		what += "; its stderr ends: " + said
	}
	o.err = fmt.Errorf("%w: %s: %s: %s", ErrOutside, o.cmd.Args[0], where, what)
	return o.err
}

// kill kills the program and its children.
func (o *Outside) kill() {
	select {
	case <-o.ended:
	default:
		_ = syscall.Kill(-o.cmd.Process.Pid, syscall.SIGKILL)
	}
}

// end kills the program, and returns once it is reaped.
func (o *Outside) end() {
	o.once.Do(func() {
		o.kill()
		close(o.stop)
		o.in.Close()
	})
	<-o.ended
}

// Close ends stdin, gives the program a moment to end, then kills it with its
// children. It returns Err, or how the program ended if that was not well.
func (o *Outside) Close() error {
	o.in.Close()
	if o.err == nil {
		select {
		case <-o.ended:
			if o.state != nil {
				o.err = o.fail("at the end", io.EOF)
			}
		case <-time.After(graceful):
		}
	}
	o.end()
	return o.err
}

// tail keeps the end of what is written to it.
type tail struct {
	mu   sync.Mutex
	text []byte
}

func (t *tail) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.text = append(t.text, p...)
	if n := len(t.text) - keptTail; n > 0 {
		t.text = append(t.text[:0], t.text[n:]...)
	}
	return len(p), nil
}

func (t *tail) String() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	return strings.Join(strings.Fields(string(t.text)), " ")
}
