package faulttest

import (
	"context"
	"fmt"
	"net"
	"sync"
	"sync/atomic"
	"time"
)

// Slow clients, and how long they may hold on: the service waits 5 s for headers.
const (
	slowHeaders  = 150
	slowReaders  = 50
	headersLimit = 12 * time.Second
)

// slowClients hold connections by sending headers letter by letter and by reading nothing, while others are served.
func slowClients(ctx context.Context, w *World) error {
	var at sync.WaitGroup
	var held atomic.Int64
	for range slowHeaders {
		at.Go(func() {
			if !w.dribble(ctx) {
				held.Add(1)
			}
		})
	}
	var readers []net.Conn
	for i := range slowReaders {
		conn, err := net.Dial("tcp", w.house.addr)
		if err != nil {
			return err
		}
		readers = append(readers, conn)
		// Many requests at once, whose answers are more than the kernel keeps for a reader that takes nothing.
		for range 20 {
			fmt.Fprintf(conn, "GET /v1/incidents?limit=100 HTTP/1.1\r\nHost: rideout\r\nAuthorization: Bearer %s\r\n\r\n", w.parties[i%2].key)
		}
	}
	at.Wait()
	if n := held.Load(); n > 0 {
		w.wrong("%d connections whose headers did not come were held for more than %v", n, headersLimit)
	}
	for _, conn := range readers {
		conn.Close()
	}
	return nil
}

// dribble sends headers slowly, and tells whether the service hung up in time.
func (w *World) dribble(ctx context.Context) bool {
	conn, err := net.Dial("tcp", w.house.addr)
	if err != nil {
		return true // not let in is as good
	}
	defer conn.Close()
	fmt.Fprint(conn, "GET /livez HTTP/1.1\r\n")
	gone := make(chan struct{})
	go func() {
		defer close(gone)
		buffer := make([]byte, 512)
		for {
			if _, err := conn.Read(buffer); err != nil {
				return
			}
		}
	}()
	for end := time.Now().Add(headersLimit); time.Now().Before(end); {
		_, _ = fmt.Fprint(conn, "X-Slow: a\r\n") // fails once it is gone, which gone tells
		select {
		case <-gone:
			return true
		case <-ctx.Done():
			return true
		case <-time.After(500 * time.Millisecond):
		}
	}
	return false
}
