package api

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"
)

// NewServer gives an HTTP server for the API whose every wait has an end.
func NewServer(a *API) *http.Server {
	return &http.Server{
		Handler:           a,
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       time.Minute,     // body included: a forecast over a satellite telephone
		WriteTimeout:      3 * time.Minute, // body, calculation and a slow reader
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    16 << 10,
		ErrorLog:          slog.NewLogLogger(a.log.Handler(), slog.LevelWarn),
	}
}

// Serve serves on a listener until the context ends, then stops: it tells so under /readyz, waits
// for unready so that a load balancer can see it, takes no more connections, and gives the requests
// at work until grace to finish.
func Serve(ctx context.Context, a *API, listener net.Listener, unready, grace time.Duration) error {
	server, here := NewServer(a), &guests{}
	server.ConnState = here.note
	if tcp, ok := listener.(*net.TCPListener); ok {
		listener = &lastCall{TCPListener: tcp}
	}
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(listener) }()
	select {
	case err := <-failed:
		return fmt.Errorf("serve: %w", err)
	case <-ctx.Done():
	}
	a.Drain()
	select {
	case err := <-failed:
		return fmt.Errorf("serve: %w", err)
	case <-time.After(unready):
	}
	return stop(server, listener, here, failed, grace)
}

// stop lets nobody in any more, and waits until those who are here have their answers.
func stop(server *http.Server, listener net.Listener, here *guests, failed <-chan error, grace time.Duration) error {
	server.SetKeepAlivesEnabled(false) // first, so that whoever finds the port closed is told the end of his connection, too
	err := listener.Close()
	<-failed // with the listener's end, which we have brought about
	select {
	case <-here.leave():
	case <-time.After(grace):
		err = errors.Join(err, context.DeadlineExceeded)
	}
	if err := errors.Join(err, server.Close()); err != nil {
		return fmt.Errorf("stop: %w", err)
	}
	return nil
}
