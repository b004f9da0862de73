// Package layout holds no code, only the test of how the repository is laid out: which folders
// there are and which may import which.
package layout

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
)

const root = "../../.."

// mayImport is the rule as data: the folders of this module that a folder's packages may import.
var mayImport = map[string][]string{
	"dsp":     {"dsp"},
	"blocks":  {"blocks", "dsp"},
	"chains":  {"chains", "blocks", "dsp"},
	"samples": {"samples", "dsp"},
	"cmd":     {"cmd", "chains", "blocks", "samples", "dsp"},
}

// rooms is the same within a folder: the rooms below it that a room's packages may import, beside
// themselves and what they hold. Tests may import any.
var rooms = map[string]map[string][]string{
	"dsp": {
		"": {}, "gemv": {}, "delayline": {}, "parallel": {},
		"convolver": {""}, "dynamics": {""}, "filter": {""}, "lfo": {""}, "measure": {""},
		"bucket":  {"", "filter"},
		"divider": {"", "filter"},
		"reverb":  {"", "filter", "delayline"},

		"oversample":             {"", "gemv"},
		"circuit":                {"", "circuit/internal/dense"},
		"circuit/internal/dense": {},
		"circuit/deck":           {"", "circuit"},
		"circuit/transient":      {"", "circuit", "circuit/internal/dense", "gemv"},
		"circuit/linear":         {"", "circuit", "circuit/internal/dense", "gemv"},
		"section":                {"", "circuit", "circuit/transient", "circuit/linear", "oversample", "parallel"},
	},
	"chains": {
		"":                  {"internal/shelf"},
		"internal/shelf":    {"internal/yamltext"},
		"internal/yamltext": {},
		"internal/place":    {},
		"internal/sketch":   {},
		"cables":            {},
		"board":             {"cables", "internal/place", "internal/yamltext"},
		"arrange":           {"board"},
		"stops":             {"board"},
		"internal/table":    {"board", "internal/yamltext"},
		"internal/guitar":   {"board", "internal/table", "internal/yamltext"},
		"file":              {"board", "measures", "internal/guitar", "internal/place", "internal/table", "internal/yamltext"},
		"template":          {"board"},
		"edit":              {"file", "board", "internal/yamltext"},
		"power":             {"board"},
		"sheet":             {"cables", "power", "board", "internal/sketch"},
		"wiring":            {"board", "internal/yamltext"},
		"motion":            {"stops", "wiring", "board"},
		"render":            {"motion", "wiring", "board"},
		"cost":              {"wiring", "board"},
		"noise":             {"arrange", "render", "wiring", "board"},
		"measures":          {},
		"experiment":        {"cables", "arrange", "noise", "render", "wiring", "measures", "board", "internal/sketch"},
		"internal/phrase":   {},
		"because":           {"experiment", "measures", "file", "board", "internal/phrase"},
		"why":               {"experiment", "measures", "file", "edit", "board", "internal/phrase"},
		"sweep":             {"why", "experiment", "render", "measures", "file", "board"},
		"hunt":              {"noise", "board"},
		"venue":             {"experiment", "measures", "board", "internal/place"},
		"lesson":            {"", "experiment", "noise", "render", "wiring", "measures", "edit", "file", "board", "internal/table", "internal/yamltext"},
		"lessons":           {"lesson", "internal/shelf"},
		"class":             {"file", "internal/yamltext"},
		"report":            {"lesson", "experiment", "measures", "board", "internal/sketch"},
	},
	"cmd": {
		"drywire": {"internal/cli"}, "bill": {"internal/files"}, "reference": {}, "internal/layout": {},
		"internal/files":   {},
		"internal/inputs":  {"internal/files"},
		"internal/produce": {"internal/files"},
		"internal/engine":  {"internal/produce"},
		"internal/local":   {},
		"internal/page":    {"internal/local", "internal/files", "internal/engine", "internal/produce", "internal/inputs"},
		"internal/learn":   {"internal/files"},
		"internal/start":   {"internal/local", "internal/page", "internal/inputs", "internal/files"},
		"internal/cli":     {"internal/start", "internal/learn", "internal/files", "internal/page", "internal/produce", "internal/inputs"},
	},
}

// offline is the rooms that make what is served and know nothing of serving.
var offline = []string{"cmd/internal/produce", "cmd/internal/engine"}

// forTests is the rooms that only tests import, and that are held to what tests are.
var forTests = []string{"dsp/circuit/circuittest", "chains/internal/chaintest", "chains/render/rendertest", "cmd/internal/files/filestest"}

// roomOf is the room of a folder's package, by its path below the folder; ok is false where there
// is none.
func roomOf(top, path string) (room string, ok bool) {
	for r := range rooms[top] {
		if (path == r || strings.HasPrefix(path, r+"/") && r != "") && len(r) >= len(room) {
			room, ok = r, true
		}
	}
	return room, ok
}

// astray says why a package of a folder may not import another one of it, by their paths below the
// folder; "" where it may.
func astray(top, from, to string) string {
	if rooms[top] == nil || from == to {
		return ""
	}
	room, ok := roomOf(top, from)
	if !ok {
		return "is in no room of the rule"
	}
	if target, ok := roomOf(top, to); !ok || target != room && !slices.Contains(rooms[top][room], target) {
		return "imports drywire/" + top + "/" + to
	}
	return ""
}

// pure is the folders whose packages touch no file, clock, network or terminal, and the packages
// that would.
var (
	pure      = []string{"dsp", "blocks", "chains"}
	forbidden = []string{"os", "os/exec", "os/signal", "net", "net/http", "syscall", "time", "path/filepath", "log", "runtime/pprof"}
)

// apart begins a file that is in no build but that of the tests in a browser, which start one: it
// is held to mayImport, and is none of what is pure.
const apart = "//go:build browser\n"

// others is what else lies at the top.
var others = []string{"README.md", "DEVELOPERS.md", "LICENSE", "go.mod", "go.sum"}

// faults walks the Go files of a module and returns what breaks the rules, and how many files it
// saw.
func faults(module fs.FS) (list []string, files int) {
	entries, _ := fs.ReadDir(module, ".")
	for _, e := range entries {
		name := e.Name()
		if !strings.HasPrefix(name, ".") && mayImport[name] == nil && !slices.Contains(others, name) && !ignored(name) {
			list = append(list, name+": has no place at the top")
		}
	}
	for top := range mayImport {
		_ = fs.WalkDir(module, top, func(file string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(file, ".go") {
				return nil
			}
			files++
			src, err := fs.ReadFile(module, file)
			if err != nil {
				list = append(list, err.Error())
				return nil
			}
			f, err := parser.ParseFile(token.NewFileSet(), file, src, parser.ImportsOnly)
			if err != nil {
				list = append(list, err.Error())
				return nil
			}
			test := strings.HasSuffix(file, "_test.go") || strings.HasPrefix(string(src), apart) || slices.Contains(forTests, path.Dir(file))
			generator := f.Name.Name == "main" && top != "cmd"
			for _, i := range f.Imports {
				imported, _ := strconv.Unquote(i.Path.Value)
				if rest, ok := strings.CutPrefix(imported, "drywire/"); ok {
					to, _, _ := strings.Cut(rest, "/")
					if !slices.Contains(mayImport[top], to) || !test && slices.Contains(forTests, rest) {
						list = append(list, file+": imports "+imported)
					} else if why := astray(top, below(path.Dir(file)), below(rest)); to == top && !test && why != "" {
						list = append(list, file+": "+why)
					}
				} else if slices.Contains(offline, path.Dir(file)) && !test && (imported == "net" || strings.HasPrefix(imported, "net/")) {
					list = append(list, file+": imports "+imported)
				} else if slices.Contains(pure, top) && !test && !generator && slices.Contains(forbidden, imported) {
					list = append(list, file+": imports "+imported)
				}
			}
			return nil
		})
	}
	slices.Sort(list)
	return list, files
}

// below is a path without its first folder.
func below(path string) string {
	_, rest, _ := strings.Cut(path, "/")
	return rest
}

// ignored is what a build or a demo leaves at the top; see .gitignore.
func ignored(name string) bool {
	return name == "drywire" || name == "drywire-demo" || strings.HasSuffix(name, ".test") || strings.HasSuffix(name, ".prof")
}

func TestImportRule(t *testing.T) {
	list, files := faults(os.DirFS(root))
	if files < 50 {
		t.Fatalf("only %d Go files seen: the walk goes wrong", files)
	}
	for _, f := range list {
		t.Error(f)
	}
}

// The rule is seen red on a module that breaks it in every way.
func TestImportRuleSeesFaults(t *testing.T) {
	broken := fstest.MapFS{}
	for file, text := range map[string]string{
		"dsp/a.go":         "package a\nimport \"drywire/blocks\"",
		"dsp/b.go":         "package a\nimport \"os\"",
		"dsp/circuit/n.go": "package n\nimport \"drywire/dsp/circuit/transient\"",
		"dsp/b_test.go":    "package a\nimport \"os\"", // a test may
		"blocks/c.go":      "package c\nimport \"drywire/chains\"",
		"chains/d.go":      "package d\nimport \"drywire/samples\"",
		// os/exec it may
		"chains/g.go": apart + "\npackage g\nimport (\n\"os/exec\"\n\"drywire/samples\"\n)",
		// this is in every build
		"chains/h.go": "//go:build !browser\n\npackage h\nimport \"os/exec\"",
		// and this in most
		"chains/i.go":        "//go:build browser || linux\n\npackage i\nimport \"os/exec\"",
		"chains/render/k.go": "package k\nimport (\n\"drywire/chains/experiment\"\n\"drywire/chains/wiring\"\n)",
		"chains/attic/l.go":  "package l\nimport \"drywire/chains/board\"",
		"chains/noise/m.go":  "package m\nimport \"drywire/chains/internal/chaintest\"",
		// too late to be a constraint
		"chains/j.go":  "package j\n\n" + apart + "import \"os/exec\"",
		"samples/e.go": "package e\nimport (\n\"os\"\n\"drywire/cmd/internal/cli\"\n)",
		"util/f.go":    "package util",

		"cmd/internal/engine/n.go":  "package n\nimport (\n\"net/http\"\n\"drywire/cmd/internal/page\"\n)",
		"cmd/internal/produce/o.go": "package o\nimport \"drywire/cmd/internal/cli\"",
		// both it may
		"cmd/internal/page/p.go": "package p\nimport (\n\"net/http\"\n\"drywire/cmd/internal/engine\"\n)",
	} {
		broken[file] = &fstest.MapFile{Data: []byte(text)}
	}
	want := []string{
		"blocks/c.go: imports drywire/chains",
		"chains/attic/l.go: is in no room of the rule",
		"chains/d.go: imports drywire/samples",
		"chains/g.go: imports drywire/samples",
		"chains/h.go: imports os/exec",
		"chains/i.go: imports os/exec",
		"chains/j.go: imports os/exec",
		"chains/noise/m.go: imports drywire/chains/internal/chaintest",
		"chains/render/k.go: imports drywire/chains/experiment",
		"cmd/internal/engine/n.go: imports drywire/cmd/internal/page",
		"cmd/internal/engine/n.go: imports net/http",
		"cmd/internal/produce/o.go: imports drywire/cmd/internal/cli",
		"dsp/a.go: imports drywire/blocks",
		"dsp/b.go: imports os",
		"dsp/circuit/n.go: imports drywire/dsp/circuit/transient",
		"samples/e.go: imports drywire/cmd/internal/cli",
		"util: has no place at the top",
	}
	got, _ := faults(broken)
	if !slices.Equal(got, want) {
		t.Errorf("got\n  %s\nwant\n  %s", strings.Join(got, "\n  "), strings.Join(want, "\n  "))
	}
}
