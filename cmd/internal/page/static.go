package page

import (
	"embed"
)

// The page travels inside the program.
//
//go:embed static
var static embed.FS

// Static is the page's files by their names, which package start serves too. A panic would be a
// mistake here: they are in the program.
func Static() map[string][]byte {
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
