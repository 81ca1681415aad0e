package api

import (
	"errors"
	"fmt"
	"net"
	"os"
	"sync/atomic"
	"syscall"
	"time"
)

// lastCall is a listener that, when it is closed, first hands on the connections the kernel has let in already. Closed at once,
// their clients would be told of a reset, with a request that may be on its way.
type lastCall struct {
	*net.TCPListener
	closing atomic.Bool
}

// Accept takes the next connection. Once the listener is closing it waits for none, and ends with the last there is.
func (l *lastCall) Accept() (net.Conn, error) {
	conn, err := l.TCPListener.Accept()
	if err == nil || !l.closing.Load() {
		return conn, err
	}
	if conn, err = l.waiting(); conn != nil || err != nil {
		return conn, err
	}
	return nil, errors.Join(net.ErrClosed, l.TCPListener.Close())
}

// Close wakes who waits in Accept, which closes when nobody is left.
func (l *lastCall) Close() error {
	l.closing.Store(true)
	return l.SetDeadline(time.Unix(1, 0))
}

// waiting takes a connection that is there; nil: there is none.
func (l *lastCall) waiting() (net.Conn, error) {
	raw, err := l.SyscallConn()
	if err != nil {
		return nil, err
	}
	fd, failed := -1, error(nil)
	// Control, and not Read, which the deadline has ended. The socket does not block.
	if err := raw.Control(func(listener uintptr) { fd, _, failed = syscall.Accept(int(listener)) }); err != nil {
		return nil, err
	}
	if failed != nil {
		return nil, nil // EAGAIN, or a connection that has gone: either way the end
	}
	syscall.CloseOnExec(fd)
	file := os.NewFile(uintptr(fd), "connection")
	defer file.Close() // FileConn has its own
	conn, err := net.FileConn(file)
	if err != nil {
		return nil, fmt.Errorf("take a last connection: %w", err)
	}
	return conn, nil
}
