// Package openapi carries the contract of the HTTP service, openapi.yaml: OpenAPI
// 3.0.3, every operation with its schemas, units and examples. The service serves
// it as it stands, and reads from it what a request may hold.
package openapi

import _ "embed"

//go:embed openapi.yaml
var contract string

// YAML is the contract's text.
func YAML() string { return contract }
