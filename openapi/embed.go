// Package openapi holds the contract of the HTTP API, written by hand in openapi.yaml, and the types
// generated from it. The server interface generated from it lives in package api, which alone
// knows the web framework, and the client in api/client.
package openapi

import _ "embed"

//go:generate go tool oapi-codegen -config types.cfg.yaml openapi.yaml
//go:generate go tool oapi-codegen -config server.cfg.yaml openapi.yaml
//go:generate go tool oapi-codegen -config client.cfg.yaml openapi.yaml

// YAML is the contract as written.
//
//go:embed openapi.yaml
var YAML []byte
