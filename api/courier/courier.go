// Package courier carries messages to webhooks over HTTP. Whoever has a key can name any address, so it sends to
// nothing within: each connection is judged by the address it is made to, redirects are not followed, and of an answer
// only its status is used.
package courier

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strconv"
	"strings"
	"time"

	"rideout/service"
)

// Config says what may be reached. The zero value is what a service on the open internet wants.
type Config struct {
	// Allow are networks that may be reached though they lie within, and without TLS.
	Allow []netip.Prefix
	// Patience is for the whole of a request; 0: 15 s.
	Patience time.Duration
	// Resolver looks names up; nil: the system's.
	Resolver *net.Resolver
}

const (
	defaultPatience = 15 * time.Second // the least Standard Webhooks recommends
	dialPatience    = 5 * time.Second
	idleLife        = 10 * time.Second // a backlog is sent over one connection
	mostHeader      = 16 << 10
	mostAnswer      = 16 << 10
	mostAddress     = 2000
	mostWait        = 24 * time.Hour
)

// Courier implements service.Courier. It is safe for concurrent use.
type Courier struct {
	patience       time.Duration
	allow          []netip.Prefix
	plain, secured *http.Client
}

var _ service.Courier = (*Courier)(nil)

// New makes a courier.
func New(c Config) *Courier {
	patience := defaultPatience
	if c.Patience > 0 {
		patience = c.Patience
	}
	return &Courier{
		patience: patience, allow: c.Allow,
		plain:   client(guard{allow: c.Allow, allowOnly: true}, c.Resolver),
		secured: client(guard{allow: c.Allow}, c.Resolver),
	}
}

// client takes no proxy from the environment: it would be dialled in the receiver's place, and judged for it.
func client(g guard, resolver *net.Resolver) *http.Client {
	dialer := &net.Dialer{Timeout: dialPatience, Resolver: resolver, ControlContext: g.control}
	return &http.Client{
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport: &http.Transport{
			DialContext: dialer.DialContext, TLSHandshakeTimeout: dialPatience, MaxResponseHeaderBytes: mostHeader,
			IdleConnTimeout: idleLife, MaxIdleConnsPerHost: 1, MaxIdleConns: 64, DisableCompression: true,
		},
	}
}

// Admit says what is wrong with an address. What its name will resolve to is judged when it is dialled.
func (c *Courier) Admit(address string) string {
	u, err := url.Parse(address)
	switch {
	case err != nil || len(address) > mostAddress || u.Opaque != "" || u.Hostname() == "" || (u.Scheme != "https" && u.Scheme != "http"):
		return "no address of the form https://host/path"
	case u.User != nil:
		return "an address with a user or password in it, which would be kept in clear"
	case u.Fragment != "" || strings.HasSuffix(address, "#"):
		return "an address with a fragment, which is not sent"
	case u.Scheme == "http" && len(c.allow) == 0:
		return "not secured by TLS"
	}
	if port := u.Port(); port != "" {
		if n, err := strconv.ParseUint(port, 10, 16); err != nil || n == 0 {
			return "no address of the form https://host/path"
		}
	}
	if ip, err := netip.ParseAddr(u.Hostname()); err == nil && (guard{allow: c.allow, allowOnly: u.Scheme == "http"}).check(ip) != nil {
		return "an address within networks that are not reached from here"
	}
	return ""
}

// Carry sends a message once, in the structured mode of CloudEvents over HTTP.
func (c *Courier) Carry(ctx context.Context, address string, m service.Message) service.Receipt {
	ctx, cancel := context.WithTimeout(ctx, c.patience)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, address, bytes.NewReader(m.Body))
	if err != nil {
		return service.Receipt{Outcome: service.Unreachable}
	}
	r.Header.Set("Content-Type", "application/cloudevents+json; charset=utf-8")
	r.Header.Set("User-Agent", "rideout-webhooks/1")
	r.Header.Set("Webhook-Id", m.ID)
	r.Header.Set("Webhook-Timestamp", strconv.FormatInt(m.At.Unix(), 10))
	r.Header.Set("Webhook-Signature", strings.Join(m.Signatures, " "))
	if cause := service.CauseOf(ctx); cause != "" {
		r.Header.Set("Traceparent", cause)
	}
	sender := c.secured
	if r.URL.Scheme == "http" {
		sender = c.plain
	}
	answer, err := sender.Do(r)
	if err != nil {
		return service.Receipt{Outcome: failure(ctx, err)}
	}
	defer answer.Body.Close()
	_, _ = io.CopyN(io.Discard, answer.Body, mostAnswer) // so that the connection can be used again; what it says does not matter
	return service.Receipt{Outcome: outcomeOf(answer.StatusCode), Status: answer.StatusCode, Wait: waitOf(answer.Header.Get("Retry-After"))}
}

func failure(ctx context.Context, err error) service.Outcome {
	var network net.Error
	switch {
	case errors.Is(err, errInward):
		return service.Inward
	case ctx.Err() != nil, errors.As(err, &network) && network.Timeout():
		return service.TimedOut
	}
	return service.Unreachable
}

func outcomeOf(status int) service.Outcome {
	switch {
	case status >= 200 && status < 300:
		return service.Delivered
	case status >= 300 && status < 400:
		return service.Redirected
	case status == http.StatusGone:
		return service.Dismissed
	}
	return service.Refused
}

// waitOf reads Retry-After in seconds; a receiver that sends a date is tried by our own times.
func waitOf(field string) time.Duration {
	seconds, err := strconv.ParseUint(field, 10, 31)
	if err != nil {
		return 0
	}
	return min(time.Duration(seconds)*time.Second, mostWait)
}
