// Package client calls the service from Go. The routes are generated from the contract; what is written by hand
// sends the key, repeats what may be repeated, and turns problems into errors.
//
//	c, err := client.New(client.Config{Server: "http://127.0.0.1:8080", Key: key})
//	vessels, err := client.Read[openapi.VesselPage](c.ListVessels(ctx, &openapi.ListVesselsParams{}))
//
// A route that makes something takes an Idempotency-Key; one that is left empty is filled in, and stays the same
// over all repeats. A problem comes as an *Error.
package client

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/google/uuid"
)

// Config says which service is called, and how. Server must be set.
type Config struct {
	Server string // its address, such as http://127.0.0.1:8080
	Key    string // see ReadKey; without one only the open routes answer

	Transport http.RoundTripper // nil: http.DefaultTransport
	Attempts  int               // how often a request is tried at most; 0: DefaultAttempts
	Patience  time.Duration     // with a line on which nothing comes; 0: DefaultPatience
	// Repeating is told of each repeat before it is waited for. It may be nil.
	Repeating func(cause error, wait time.Duration)
}

// New makes a client. It is safe for concurrent use.
func New(cfg Config) (*Client, error) {
	at, err := url.Parse(cfg.Server)
	if err != nil || (at.Scheme != "http" && at.Scheme != "https") || at.Host == "" {
		return nil, fmt.Errorf("the server's address is %q: give it as http://host:port", cfg.Server)
	}
	if strings.ContainsFunc(cfg.Key, func(r rune) bool { return r <= ' ' || r > '~' }) {
		return nil, errors.New("the key holds a space or what is no ASCII: give it as it was printed, ro_ and the rest")
	}
	return NewClient(cfg.Server, WithHTTPClient(newCourier(cfg)), WithRequestEditorFn(address(cfg.Key)))
}

// address puts on a request what every request has.
func address(key string) RequestEditorFn {
	return func(_ context.Context, r *http.Request) error {
		if key != "" {
			r.Header.Set("Authorization", "Bearer "+key)
		}
		r.Header.Set("User-Agent", "rideout")
		if claims, asked := r.Header["Idempotency-Key"]; asked && claims[0] == "" {
			r.Header.Set("Idempotency-Key", uuid.NewString())
		}
		return nil
	}
}
