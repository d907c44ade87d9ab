// Package testdata holds data that the program itself carries: the scenario of
// `steelyard demo`. Everything in it is invented.
package testdata

import (
	"embed"
	"io/fs"
)

//go:embed demo
var files embed.FS

// Demo returns the folder of the demo's scenario: for each trainee a plan in
// JSON and a log in the format of `steelyard backfill`.
func Demo() fs.FS {
	sub, err := fs.Sub(files, "demo")
	if err != nil {
		panic(err) // the name is a constant and valid
	}
	return sub
}
