package api_test

import (
	"errors"
	"io"
	"net"
	"testing"

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
