// Package demo holds the scripts of the invented builder's week: three sites,
// a file each, in the site's own wall-clock time. What a line means stands in
// the package that runs them, cmd/earlyage/internal/demo.
//
// Builder, sites, people and devices are invented.
package demo

import "embed"

// Scripts holds one file for each site.
//
//go:embed *.txt
var Scripts embed.FS
