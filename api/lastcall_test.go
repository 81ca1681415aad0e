package api_test

import (
	"bufio"
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"testing"
	"time"

	"rideout/api"
)

// Connections that the kernel let in before the listener closed are taken, and none after.
func TestListenerHandsOnWhoIsThere(t *testing.T) {
	t.Parallel()
	inner, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	listener, clients := api.LastCall(inner), make([]net.Conn, 5)
	for i := range clients {
		if clients[i], err = net.Dial("tcp", inner.Addr().String()); err != nil {
			t.Fatal(err)
		}
		defer clients[i].Close()
	}
	if err := listener.Close(); err != nil {
		t.Fatal(err)
	}
	for i := range clients {
		conn, err := listener.Accept()
		if err != nil {
			t.Fatalf("connection %d: %v", i, err)
		}
		if _, err := io.WriteString(conn, "well"); err != nil {
			t.Error(err)
		}
		conn.Close()
	}
	if _, err := listener.Accept(); !errors.Is(err, net.ErrClosed) {
		t.Errorf("after the last: got %v, want %v", err, net.ErrClosed)
	}
	for i, client := range clients {
		if text, err := io.ReadAll(client); err != nil || string(text) != "well" {
			t.Errorf("client %d: got %q, %v", i, text, err)
		}
	}
	if _, err := net.Dial("tcp", inner.Addr().String()); err == nil {
		t.Error("one more was let in")
	}
}

// A request that comes when nobody is let in any more is answered, if its connection was there before.
func TestServeAnswersWhoWasLetIn(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	served := make(chan error, 1)
	go func() { served <- api.Serve(ctx, w.api, listener, 0, time.Minute) }()
	conn, err := net.Dial("tcp", listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	stop()
	for { // until the port is closed
		other, err := net.Dial("tcp", listener.Addr().String())
		if err != nil {
			break
		}
		other.Close()
	}
	if _, err := io.WriteString(conn, "GET /livez HTTP/1.1\r\nHost: rideout\r\n\r\n"); err != nil {
		t.Fatal(err)
	}
	answer, err := http.ReadResponse(bufio.NewReader(conn), nil)
	if err != nil || answer.StatusCode != http.StatusOK || !answer.Close {
		t.Errorf("got %v, %v, want 200 and the end of the connection", answer, err)
	}
	if err := <-served; err != nil {
		t.Errorf("Serve = %v, want nil", err)
	}
}
