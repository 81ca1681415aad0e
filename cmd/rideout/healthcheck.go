package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"
)

// healthPatience is more than the service gives its database to answer.
const healthPatience = 3 * time.Second

// healthcheck asks a service on this machine whether it is ready, for what starts and stops containers.
func healthcheck(ctx context.Context, p program, args []string) error {
	flags := newFlags("healthcheck")
	addr := flags.String("addr", cmp.Or(p.getenv("RIDEOUT_ADDR"), defaultAddr), "ask at this `host:port`, of which an open host is this machine")
	if err := parse(p, flags, args); err != nil {
		return err
	}
	if err := (config{Addr: *addr}).check(); err != nil {
		return err
	}
	host, port, _ := net.SplitHostPort(*addr) // which check has done
	if ip := net.ParseIP(host); host == "" || (ip != nil && ip.IsUnspecified()) {
		host = "127.0.0.1"
	}
	ctx, cancel := context.WithTimeout(ctx, healthPatience)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+net.JoinHostPort(host, port)+"/readyz", nil)
	if err != nil {
		return err
	}
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}} // no proxy: it is here
	answer, err := client.Do(request)
	if err != nil {
		return fmt.Errorf("not ready: %s does not answer: %w", request.URL, errors.Unwrap(err))
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return fmt.Errorf("not ready: %s answers %s", request.URL, answer.Status)
	}
	_, err = fmt.Fprintln(p.stdout, "ready")
	return err
}
