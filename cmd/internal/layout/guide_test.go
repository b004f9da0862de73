package layout

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// tree is what the repository has, by what a guide to it may name.
type tree struct {
	files, folders map[string]bool     // by their paths
	names          map[string]bool     // package.Name, package.Type.Member, Type.Member and Name
	tests          map[string][]string // tests, benchmarks and fuzz targets, by their folders
}

func readTree(t *testing.T) tree {
	t.Helper()
	all := tree{map[string]bool{}, map[string]bool{}, map[string]bool{}, map[string][]string{}}
	module := os.DirFS(root)
	err := fs.WalkDir(module, ".", func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if file == ".git" {
				return fs.SkipDir
			}
			all.folders[file] = true
			return nil
		}
		all.files[file] = true
		if !strings.HasSuffix(file, ".go") || strings.Contains(file, "testdata") {
			return nil
		}
		src, err := fs.ReadFile(module, file)
		if err != nil {
			return err
		}
		f, err := parser.ParseFile(token.NewFileSet(), file, src, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		all.declared(path.Dir(file), f)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// declared notes what a file declares at its top, the fields of structs and methods too.
func (all tree) declared(folder string, f *ast.File) {
	note := func(parts ...string) {
		for k := range parts {
			all.names[strings.Join(parts[k:], ".")] = true
		}
		all.names[f.Name.Name+"."+strings.Join(parts, ".")] = true
	}
	for _, d := range f.Decls {
		switch d := d.(type) {
		case *ast.FuncDecl:
			name := d.Name.Name
			if d.Recv != nil {
				note(receiver(d), name)
				continue
			}
			note(name)
			if testName.MatchString(name) {
				all.tests[folder] = append(all.tests[folder], name)
			}
		case *ast.GenDecl:
			for _, s := range d.Specs {
				switch s := s.(type) {
				case *ast.TypeSpec:
					note(s.Name.Name)
					if st, ok := s.Type.(*ast.StructType); ok {
						for _, field := range st.Fields.List {
							for _, n := range field.Names {
								note(s.Name.Name, n.Name)
							}
						}
					}
				case *ast.ValueSpec:
					for _, n := range s.Names {
						note(n.Name)
					}
				}
			}
		}
	}
}

// receiver is the type that a method is of.
func receiver(d *ast.FuncDecl) string {
	x := d.Recv.List[0].Type
	for {
		switch t := x.(type) {
		case *ast.StarExpr:
			x = t.X
		case *ast.IndexExpr:
			x = t.X
		case *ast.IndexListExpr:
			x = t.X
		case *ast.Ident:
			return t.Name
		default:
			return ""
		}
	}
}

// plain is what stands between back quotes in the guide and names nothing in the code: words of
// chain files, of a terminal and of sources.
var plain = []string{"in", "out", "guitar", "prefer", "keep", "BLOCK.in", "BLOCK.out", "given", "BOARDS=all", "FAULTS=some", "FAULTS=all", "LESSON=all", "from memory", "common practice, no source"}

var (
	testName = regexp.MustCompile(`^(Test|Benchmark|Fuzz)[A-Z]`)
	quoted   = regexp.MustCompile("`([^`\n]+)`")
	pattern  = regexp.MustCompile(`-(run|bench) '?([A-Za-z]+)`)
	folder   = regexp.MustCompile(`\./([a-z/]+)`)
	word     = regexp.MustCompile(`^[A-Za-z.]+$`)
)

// astray says what is wrong with something that a guide names; "" where it is there.
func (all tree) astray(span string) string {
	if slices.Contains(plain, span) || strings.HasPrefix(span, "drywire ") {
		return ""
	}
	if command, ok := strings.CutPrefix(span, "POST "); ok {
		if src, err := os.ReadFile(path.Join(root, "cmd/internal/page/server.go")); err != nil || !strings.Contains(string(src), command) {
			return "is not served"
		}
		return ""
	}
	if strings.Contains(span, " ") {
		return all.astrayCommand(span)
	}
	if testName.MatchString(span) {
		for _, names := range all.tests {
			if slices.Contains(names, span) {
				return ""
			}
		}
		return "is no test"
	}
	if strings.Contains(span, "NAME") {
		span = path.Dir(span)
	}
	trimmed := strings.TrimSuffix(span, "/")
	for _, there := range []map[string]bool{all.files, all.folders} {
		for p := range there {
			if p == trimmed || strings.HasSuffix(p, "/"+trimmed) {
				return ""
			}
		}
	}
	if word.MatchString(span) && all.names[span] {
		return ""
	}
	return "is no file, folder or name"
}

// astrayCommand is the same of a command line: its folders and the tests that it runs.
func (all tree) astrayCommand(span string) string {
	if first, _, _ := strings.Cut(span, " "); strings.HasPrefix(first, "cmd/") && !all.folders[first] {
		return "runs no folder"
	}
	for _, one := range strings.Split(span, ";") {
		var names []string
		in := folder.FindStringSubmatch(one)
		switch {
		case in == nil:
			for _, list := range all.tests {
				names = append(names, list...)
			}
		case !all.folders[in[1]]:
			return "runs no folder " + in[1]
		default:
			names = all.tests[in[1]]
		}
		for _, m := range pattern.FindAllStringSubmatch(one, -1) {
			if !slices.ContainsFunc(names, func(n string) bool {
				return strings.HasPrefix(n, "Benchmark") == (m[1] == "bench") && strings.Contains(n, m[2])
			}) {
				return "runs no test " + m[2]
			}
		}
	}
	return ""
}

// TestGuideNamesWhatIsThere holds that what DEVELOPERS.md names in the code is there.
func TestGuideNamesWhatIsThere(t *testing.T) {
	all := readTree(t)
	text, err := os.ReadFile(path.Join(root, "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	named := quoted.FindAllStringSubmatch(string(text), -1)
	if len(named) < 100 {
		t.Fatalf("only %d things named", len(named))
	}
	for _, m := range named {
		if why := all.astray(m[1]); why != "" {
			t.Errorf("DEVELOPERS.md: `%s` %s", m[1], why)
		}
	}
	for _, wrong := range []string{
		"chains/file/template.go", "TestNothing", "file.Pars", "Renderer.Stroll", "newtom.go", "chains/attic/", "POST api/undo-all", "wiring",
		"go test ./chains -bench Nothing", "go test ./chain", "-bench Nowhere", "cmd/referenc -suite", "go test ./chains -run TestSchemaFile",
	} {
		if wrong != "wiring" && all.astray(wrong) == "" || wrong == "wiring" && all.astray(wrong) != "" {
			t.Errorf("of %q: %q", wrong, all.astray(wrong))
		}
	}
}

// listed is the folders in the guide's picture of the layout, by their paths and in its order.
func listed(guide string) (folders []string) {
	_, rest, _ := strings.Cut(guide, "## Layout\n")
	picture, _, _ := strings.Cut(rest, "may import:")
	var above []string // by depth
	for _, line := range strings.Split(picture, "\n") {
		text := strings.TrimLeft(line, " ")
		depth := (len(line) - len(text) - 4) / 2
		if depth < 0 || text == "" {
			continue
		}
		above = above[:min(depth, len(above))]
		names, _, _ := strings.Cut(text, "  ")
		for _, name := range strings.Fields(names) {
			if !strings.HasSuffix(name, "/") {
				break
			}
			folders = append(folders, path.Join(append(slices.Clone(above), name)...))
		}
		above = append(above, strings.Fields(text)[0])
	}
	return folders
}

// TestLayoutIsDrawn holds that DEVELOPERS.md draws every folder of code once, and none that is not
// there.
func TestLayoutIsDrawn(t *testing.T) {
	text, err := os.ReadFile(path.Join(root, "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	drawn := map[string]int{}
	for _, f := range listed(string(text)) {
		drawn[f]++
	}
	code := map[string]bool{}
	all := readTree(t)
	for f := range all.files {
		if strings.HasSuffix(f, ".go") && !strings.Contains(f, "testdata") {
			code[path.Dir(f)] = true
		}
	}
	if len(code) < 40 {
		t.Fatalf("only %d folders of code", len(code))
	}
	for f := range code {
		if drawn[f] == 0 {
			t.Errorf("%s is not drawn", f)
		}
	}
	for f, n := range drawn {
		if !all.folders[f] {
			t.Errorf("%s is drawn, and is not there", f)
		} else if n > 1 {
			t.Errorf("%s is drawn %d times", f, n)
		}
	}
}
