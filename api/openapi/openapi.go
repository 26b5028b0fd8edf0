// Package openapi has the API over HTTP as an OpenAPI document (version 2), made
// from proto/ by "make generate".
package openapi

import _ "embed" // for the document

// Document is the document, as JSON.
//
//go:embed turnwright.swagger.json
var Document []byte
