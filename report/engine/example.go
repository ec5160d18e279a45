package engine

import _ "embed"

//go:embed example.toml
var example string

// Example is a needs file with comments that parses without complaint: a start to
// write one's own from. Its firm and its prices are invented.
func Example() string { return example }
