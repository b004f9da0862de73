// Package lessons holds the lessons that come with the program, a file each. Package lesson reads
// and proves them.
package lessons

import (
	"embed"

	"drywire/chains/internal/shelf"
	"drywire/chains/lesson"
)

//go:embed *.yaml
var files embed.FS

var shipped = shelf.Shelf{Files: files, What: "lesson"}

// Names is the lessons that ship, in the order of the alphabet.
func Names() []string { return shipped.Names() }

// Read is the text of a shipped lesson, by its name with or without .yaml. The error names the
// nearest.
func Read(name string) ([]byte, error) { return shipped.Read(name) }

// Find is a shipped lesson by its name.
func Find(name string) (*lesson.Lesson, error) {
	text, err := Read(name)
	if err != nil {
		return nil, err
	}
	return lesson.Parse(shelf.Plain(name)+".yaml", text)
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
