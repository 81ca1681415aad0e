package api

import (
	"net"

	"github.com/getkin/kin-openapi/openapi3"
)

// Agree holds routes against a contract, as New does.
func Agree(routes []Route, doc *openapi3.T) error { return agree(routes, doc) }

// LastCall gives the listener that Serve takes connections by.
func LastCall(l net.Listener) net.Listener { return &lastCall{TCPListener: l.(*net.TCPListener)} }
