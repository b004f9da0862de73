// Package lessons holds the lessons that come with the program, a file each. Package lesson reads
// and proves them.
package lessons

import (
	"embed"
	"fmt"
	"io/fs"
	"strings"

	"drywire/chains/lesson"
)

//go:embed *.yaml
var shipped embed.FS

// Names is the lessons that ship, in the order of the alphabet.
func Names() []string {
	files, err := fs.Glob(shipped, "*.yaml")
	if err != nil {
		panic(err) // the pattern is a constant
	}
	for i, f := range files {
		files[i] = strings.TrimSuffix(f, ".yaml")
	}
	return files
}

// Read is the text of a shipped lesson, by its name with or without .yaml.
func Read(name string) ([]byte, error) {
	plain := strings.TrimSuffix(name, ".yaml")
	text, err := shipped.ReadFile(plain + ".yaml")
	if err != nil {
		return nil, fmt.Errorf("no lesson %q (there are: %s)", name, strings.Join(Names(), ", "))
	}
	return text, nil
}

// Find is a shipped lesson by its name.
func Find(name string) (*lesson.Lesson, error) {
	text, err := Read(name)
	if err != nil {
		return nil, err
	}
	return lesson.Parse(strings.TrimSuffix(name, ".yaml")+".yaml", text)
}

// Course is every lesson that has a place in the course, in its order. The error is of a lesson
// that cannot be read.
func Course() ([]*lesson.Lesson, error) {
	var course []*lesson.Lesson
	for _, name := range Names() {
		l, err := Find(name)
		if err != nil {
			return nil, err
		}
		if l.Place > 0 {
			course = append(course, l)
		}
	}
	lesson.Sort(course)
	return course, nil
}
