package page

import (
	"embed"
)

// The page travels inside the program.
//
//go:embed static
var static embed.FS

// staticFiles serves the page's files by their names: the path of a request is a name in a list,
// never a path on disk.
func staticFiles() map[string][]byte {
	files := map[string][]byte{}
	entries, err := static.ReadDir("static")
	if err != nil {
		panic(err) // it is embedded
	}
	for _, e := range entries {
		if e.IsDir() {
			continue
		}
		b, err := static.ReadFile("static/" + e.Name())
		if err != nil {
			panic(err)
		}
		files[e.Name()] = b
	}
	return files
}
