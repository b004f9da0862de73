package cli

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// call is a command line of a script of use, which tests try in ways of their own.
type call struct {
	how  string // prints, reads or writes
	name string // the command's, and its subcommand's
	text string // the line, with words in capitals for files: see line
}

// called is a line of a script's comments, like
//
//	# reads: drywire noise CHAIN
//
// What prints is tried with a standard output that is full; what reads, with every file operation
// failing besides; what writes, with every one failing and with the run ending there.
var called = regexp.MustCompile(`(?m)^# (prints|reads|writes): drywire\b ?(.*)$`)

// calls is the command lines that the scripts of use have for tests. A command that has none fails
// the test.
func calls(t *testing.T) (list []call) {
	t.Helper()
	scripts, err := filepath.Glob("testdata/script/*.txtar")
	if err != nil {
		t.Fatal(err)
	}
	for _, script := range scripts {
		text, err := os.ReadFile(script)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range called.FindAllStringSubmatch(string(text), -1) {
			name := ""
			if cmd, _, err := command(streams{}, nil).Find(strings.Fields(m[2])); err == nil {
				name = strings.TrimPrefix(strings.TrimPrefix(cmd.CommandPath(), "drywire"), " ")
			}
			list = append(list, call{m[1], name, m[2]})
		}
	}
	for _, cmd := range command(streams{}, nil).Commands() {
		known := false
		for _, c := range list {
			known = known || c.name == cmd.Name()
		}
		if !known {
			t.Errorf("%s is not tried: its script of use has no line like # reads: drywire %s CHAIN", cmd.Name(), cmd.Name())
		}
	}
	return list
}

// of is the calls of one sort, by their commands.
func of(list []call, how string) map[string]string {
	all := map[string]string{}
	for _, c := range list {
		if c.how == how {
			all[c.name] = c.text
		}
	}
	return all
}
