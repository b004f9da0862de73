// Package shelf is the texts that are built into the program, found by their names. It is apart
// from what they mean.
//
// Start reading at Shelf.
package shelf

import (
	"embed"
	"fmt"
	"io/fs"
	"strings"

	"drywire/chains/internal/yamltext"
)

// Shelf is the YAML files of a folder that is built in.
type Shelf struct {
	Files embed.FS
	What  string // one of them in words, for errors: "lesson"
}

// Plain is a name without its ending.
func Plain(name string) string { return strings.TrimSuffix(name, ".yaml") }

// Names is all of them, without .yaml, in the order of the alphabet.
func (s Shelf) Names() []string {
	files, err := fs.Glob(s.Files, "*.yaml")
	if err != nil {
		panic(err) // the pattern is a constant
	}
	for i, f := range files {
		files[i] = Plain(f)
	}
	return files
}

// Read is the text of one, by its name with or without .yaml. The error names the nearest.
func (s Shelf) Read(name string) ([]byte, error) {
	names := s.Names()
	for _, known := range names {
		if known == Plain(name) {
			return s.Files.ReadFile(known + ".yaml")
		}
	}
	hint := ""
	if near := yamltext.Nearest(Plain(name), names); near != "" {
		hint = fmt.Sprintf("; did you mean %q?", near)
	}
	return nil, fmt.Errorf("no %s %q%s (there are: %s)", s.What, name, hint, strings.Join(names, ", "))
}
