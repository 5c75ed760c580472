package child

import (
	"context"
	"errors"
	"net"
	"net/netip"
	"strconv"
	"syscall"
	"time"

	"phasebench/model"
)

// Dial connects to the peer that listens at address, HOST:PORT, on this machine: the
// host is a loopback address or localhost, the port 1 to 65535. limit is that of
// connecting, and of a turn; the first begins at once. The end of ctx closes the connection. Another address
// is a *model.Problem of the key tcp, and a limit that is not positive one of limit;
// a peer that does not listen wraps ErrFailed.
func Dial(ctx context.Context, address string, limit time.Duration) (*Link, error) {
	if err := positive(limit); err != nil {
		return nil, err
	}
	hosts, err := here(address)
	if err != nil {
		return nil, err
	}
	var conn net.Conn
	var first error
	d := net.Dialer{Deadline: time.Now().Add(limit)}
	for _, host := range hosts {
		if conn, err = d.DialContext(ctx, "tcp", host); err == nil {
			break
		}
		if first == nil {
			first = err
		}
	}
	if conn == nil {
		what := first.Error()
		switch {
		case ctx.Err() != nil:
			first = context.Cause(ctx)
			what = "stopped: " + first.Error()
		case errors.Is(first, syscall.ECONNREFUSED):
			what = "nobody listens there"
		}
		return nil, &failure{address, "connect", what, first}
	}
	t := conn.(*net.TCPConn)
	err = t.SetNoDelay(true) // a question does not wait for the next
	if err == nil {
		var l *Link
		if l, err = newLink(ctx, address, limit, t, t, nil); err == nil {
			return l, nil
		}
	}
	t.Close()
	return nil, &failure{address, "connect", err.Error(), err}
}

// here is where address may be on this machine, or a *model.Problem. A name is not
// looked up: localhost is what it is by RFC 6761, section 6.3.
func here(address string) ([]string, error) {
	bad := &model.Problem{Key: "tcp", Given: strconv.Quote(address),
		Want: "a port 1 to 65535 of this machine, such as 127.0.0.1:7000, [::1]:7000 or localhost:7000"}
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return nil, bad
	}
	if n, err := strconv.ParseUint(port, 10, 16); err != nil || n == 0 {
		return nil, bad
	}
	if host == "localhost" {
		return []string{net.JoinHostPort("127.0.0.1", port), net.JoinHostPort("::1", port)}, nil
	}
	if ip, err := netip.ParseAddr(host); err != nil || !ip.IsLoopback() {
		return nil, bad
	}
	return []string{net.JoinHostPort(host, port)}, nil
}
