package server

import (
	"net"
	"sync"

	"golang.org/x/net/netutil"
)

// What a flood of connections can hold: a connection of gRPC carries many
// calls, one to the gateway one at a time. One address gets half of them, so
// that a machine that opens all it can leaves room for the others.
const (
	maxConnections     = 1024
	maxGRPCConnections = 4096
)

// bounded takes at most so many connections of l at once, and of one address
// half as many.
func bounded(l net.Listener, most int) net.Listener {
	return &fairListener{Listener: netutil.LimitListener(l, most), most: most / 2, open: map[string]int{}}
}

// fairListener closes at once what an address opens beyond its share.
type fairListener struct {
	net.Listener
	most int
	mu   sync.Mutex
	open map[string]int
}

// Accept waits for the next connection of an address that may have one.
func (l *fairListener) Accept() (net.Conn, error) {
	for {
		conn, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		from := conn.RemoteAddr().String()
		if host, _, err := net.SplitHostPort(from); err == nil {
			from = host
		}
		if l.enter(from) {
			return &fairConn{Conn: conn, leave: sync.OnceFunc(func() { l.leave(from) })}, nil
		}
		_ = conn.Close() // whoever has that many does not miss the reason
	}
}

func (l *fairListener) enter(from string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.open[from] >= l.most {
		return false
	}
	l.open[from]++
	return true
}

func (l *fairListener) leave(from string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.open[from]--; l.open[from] == 0 {
		delete(l.open, from)
	}
}

// fairConn gives its place back when it closes.
type fairConn struct {
	net.Conn
	leave func()
}

// Close closes the connection.
func (c *fairConn) Close() error {
	defer c.leave()
	return c.Conn.Close()
}
