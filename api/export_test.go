package api

import "github.com/getkin/kin-openapi/openapi3"

// Agree holds routes against a contract, as New does.
func Agree(routes []Route, doc *openapi3.T) error { return agree(routes, doc) }
