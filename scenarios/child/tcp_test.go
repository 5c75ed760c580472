package child

import (
	"context"
	"errors"
	"io"
	"net"
	"strconv"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"phasebench/model"
)

// serve listens on a port of this machine and gives each connection to peer.
func serve(t testing.TB, peer func(*net.TCPConn)) string {
	at, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { at.Close() })
	go func() {
		for {
			c, err := at.Accept()
			if err != nil {
				return
			}
			go func() {
				defer c.Close()
				peer(c.(*net.TCPConn))
			}()
		}
	}()
	return at.Addr().String()
}

func echo(c *net.TCPConn) { _, _ = io.Copy(c, struct{ io.Reader }{c}) }

func TestTCP(t *testing.T) {
	address := serve(t, echo)
	line := []byte("7\n")
	_, port, err := net.SplitHostPort(address)
	require.NoError(t, err)
	for _, a := range []string{address, "localhost:" + port} {
		l, err := Dial(t.Context(), a, patience)
		require.NoError(t, err)
		require.Zero(t, l.Pid())
		got, err := l.Ask([]byte("7\n"))
		require.NoError(t, err)
		require.Equal(t, "7", string(got))
		bits := make([]byte, 3000)
		require.NoError(t, errors.Join(l.Begin(), l.Send(make([]byte, 3000)), l.Full(bits)))
		require.Zero(t, testing.AllocsPerRun(20, func() { _, err = l.Ask(line) }))
		require.NoError(t, err)
		require.NoError(t, l.Close())
		require.NoError(t, l.Close())
	}
}

// What goes wrong with a peer, and what is told.
func TestTCPFails(t *testing.T) {
	heard := func(c *net.TCPConn) { _, _ = c.Read(make([]byte, 2)) }
	for name, c := range map[string]struct {
		peer  func(*net.TCPConn)
		limit time.Duration
		want  string
	}{
		"hangs":      {func(c *net.TCPConn) { _, _ = io.Copy(io.Discard, c) }, 50 * time.Millisecond, "no answer within 50ms"},
		"closes":     {heard, patience, "it closed the connection"},
		"breaks off": {func(c *net.TCPConn) { heard(c); _ = c.SetLinger(0) }, patience, "it broke off the connection"},
		"half a line": {func(c *net.TCPConn) { heard(c); _, _ = c.Write([]byte("14.5 degr")) }, patience,
			`it closed the connection, after half a line, "14.5 degr"`},
	} {
		t.Run(name, func(t *testing.T) {
			address := serve(t, c.peer)
			l, err := Dial(t.Context(), address, c.limit)
			require.NoError(t, err)
			_, err = l.Ask([]byte("7\n"))
			require.Error(t, err)
			require.EqualError(t, l.Fail("cycle 7", err), address+": cycle 7: "+c.want)
			require.ErrorIs(t, l.Err(), ErrFailed)
			require.Same(t, l.Err(), l.Close())
		})
	}
}

// A peer that speaks first, and one that has closed, are found out at Begin.
func TestTCPBegin(t *testing.T) {
	for said, want := range map[string]string{"good morning\n": `it said "good morning" unasked`, "": "it closed the connection"} {
		done := make(chan struct{})
		address := serve(t, func(c *net.TCPConn) {
			_, _ = c.Write([]byte(said))
			if said != "" {
				<-done
			}
		})
		l, err := Dial(t.Context(), address, patience)
		require.NoError(t, err)
		for err == nil {
			err = l.Begin()
			time.Sleep(time.Millisecond)
		}
		require.EqualError(t, l.Fail("cycle 7", err), address+": cycle 7: "+want)
		close(done)
	}
}

func TestTCPContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	address := serve(t, func(c *net.TCPConn) { _, _ = io.Copy(io.Discard, c) })
	l, err := Dial(ctx, address, patience)
	require.NoError(t, err)
	time.AfterFunc(20*time.Millisecond, cancel)
	_, err = l.Ask([]byte("7\n"))
	err = l.Fail("cycle 7", err)
	require.EqualError(t, err, address+": cycle 7: stopped: context canceled")
	require.ErrorIs(t, err, context.Canceled)
	_, err = Dial(ctx, address, patience)
	require.EqualError(t, err, address+": connect: stopped: context canceled")
	require.ErrorIs(t, err, ErrFailed)
}

// Only this machine, and only a port.
func TestTCPRefuses(t *testing.T) {
	for _, address := range []string{
		"", "127.0.0.1", "127.0.0.1:", "127.0.0.1:0", "127.0.0.1:65536", "127.0.0.1:-1", "127.0.0.1:http", ":7000",
		"0.0.0.0:7000", "192.0.2.1:7000", "[2001:db8::1]:7000", "[::]:7000", "example.org:7000", "localhost.example.org:7000",
	} {
		_, err := Dial(t.Context(), address, time.Second)
		var p *model.Problem
		require.ErrorAs(t, err, &p, address)
		require.Equal(t, "tcp", p.Key)
		require.Equal(t, strconv.Quote(address), p.Given)
	}
	_, err := Dial(t.Context(), "127.0.0.1:7000", -1)
	require.Equal(t, &model.Problem{Key: "limit", Given: "-1ns", Want: "more than 0"}, err)
	for _, address := range []string{"127.0.0.1:1", "127.8.9.10:1", "[::1]:65535", "localhost:65535"} {
		_, err := here(address)
		require.NoError(t, err, address)
	}
}

// A port that is taken, so that no other test gets it, and at which nobody listens.
func TestTCPNobody(t *testing.T) {
	fd, err := syscall.Socket(syscall.AF_INET, syscall.SOCK_STREAM|syscall.SOCK_CLOEXEC, 0)
	require.NoError(t, err)
	defer syscall.Close(fd)
	require.NoError(t, syscall.Bind(fd, &syscall.SockaddrInet4{Addr: [4]byte{127, 0, 0, 1}}))
	name, err := syscall.Getsockname(fd)
	require.NoError(t, err)
	address := net.JoinHostPort("127.0.0.1", strconv.Itoa(name.(*syscall.SockaddrInet4).Port))
	_, err = Dial(t.Context(), address, patience)
	require.EqualError(t, err, address+": connect: nobody listens there")
	require.ErrorIs(t, err, ErrFailed)
	require.ErrorIs(t, err, syscall.ECONNREFUSED)
}
