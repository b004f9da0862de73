package layout

import (
	"fmt"
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
	"testing/fstest"
)

// start is where a package comment sends its reader.
var start = regexp.MustCompile(`Start\s+reading\s+at\s+([A-Za-z0-9.]+[A-Za-z0-9])`)

// undocumented is what a module exports without a comment, the packages that say nothing of
// themselves, and comments that begin with another name than that which they are on; and how many
// names and packages it saw.
func undocumented(module fs.FS) (list []string, seen, packages int) {
	said := map[string]bool{} // packages, by their folders
	for top := range mayImport {
		_ = fs.WalkDir(module, top, func(file string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") || strings.Contains(file, "testdata") {
				return nil
			}
			src, _ := fs.ReadFile(module, file)
			f, err := parser.ParseFile(token.NewFileSet(), file, src, parser.ParseComments|parser.SkipObjectResolution)
			if err != nil {
				list = append(list, err.Error())
				return nil
			}
			dir := path.Dir(file)
			said[dir] = said[dir] || f.Doc != nil
			for _, d := range f.Decls {
				for name, doc := range exports(d) {
					seen++
					_, bare, _ := strings.Cut("."+name, ".")
					bare = bare[strings.LastIndex(bare, ".")+1:]
					switch {
					case strings.TrimSpace(doc) == "":
						list = append(list, fmt.Sprintf("%s: %s has no comment", file, name))
					case strings.Contains(name, "()") && !strings.HasPrefix(doc, strings.TrimSuffix(bare, "()")+" "):
						list = append(list, fmt.Sprintf("%s: the comment on %s begins with another name", file, name))
					}
				}
			}
			return nil
		})
	}
	for dir, ok := range said {
		if !ok {
			list = append(list, dir+": no package comment")
		}
	}
	slices.Sort(list)
	return list, seen, len(said)
}

// exports is what a declaration exports, functions with () behind their names, and the comments on
// it. Of a group of constants or variables, the group's will do. What every error and every text
// form of a value has, Error and String, is known.
func exports(d ast.Decl) map[string]string {
	all := map[string]string{}
	switch d := d.(type) {
	case *ast.FuncDecl:
		name := d.Name.Name
		if !d.Name.IsExported() || d.Recv != nil && !ast.IsExported(receiver(d)) {
			return nil
		}
		if d.Recv != nil {
			if name == "Error" || name == "String" {
				return nil
			}
			name = receiver(d) + "." + name
		}
		all[name+"()"] = d.Doc.Text()
	case *ast.GenDecl:
		for _, s := range d.Specs {
			switch s := s.(type) {
			case *ast.TypeSpec:
				if s.Name.IsExported() {
					all[s.Name.Name] = d.Doc.Text() + s.Doc.Text() + s.Comment.Text()
				}
			case *ast.ValueSpec:
				for _, n := range s.Names {
					if n.IsExported() {
						all[n.Name] = d.Doc.Text() + s.Doc.Text() + s.Comment.Text()
					}
				}
			}
		}
	}
	return all
}

func TestWhatIsExportedIsDocumented(t *testing.T) {
	list, seen, packages := undocumented(os.DirFS(root))
	if seen < 1000 || packages < 40 {
		t.Fatalf("only %d names in %d packages: the walk goes wrong", seen, packages)
	}
	for _, f := range list {
		t.Error(f)
	}
}

func TestWhatIsExportedIsDocumentedSeesFaults(t *testing.T) {
	got, _, _ := undocumented(fstest.MapFS{
		"dsp/a.go":    {Data: []byte("package a\n\nfunc F() {}\n\n// H does.\nfunc G() {}\n\n// T is.\ntype T int\n\nfunc (t *T) M() {}\n\nfunc (T) String() string { return \"\" }\n\nfunc f() {}\n")},
		"dsp/b.go":    {Data: []byte("package a\n\ntype U int\n\nvar V = 1\n\n// Group of constants.\nconst (\n\tC = 1\n\tD = 2\n)\n\nconst E = 1 // volts\n\ntype u int\n\nfunc (u) M() {}\n")},
		"chains/c.go": {Data: []byte("// Package c is.\npackage c\n")},
	})
	want := []string{
		"dsp/a.go: F() has no comment", "dsp/a.go: T.M() has no comment", "dsp/a.go: the comment on G() begins with another name",
		"dsp/b.go: U has no comment", "dsp/b.go: V has no comment", "dsp: no package comment",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got\n  %s\nwant\n  %s", strings.Join(got, "\n  "), strings.Join(want, "\n  "))
	}
}

// TestPackageCommentsLead holds that where a package comment says to start reading is in that
// package, or in one that it names.
func TestPackageCommentsLead(t *testing.T) {
	all := readTree(t)
	leads := 0
	for file := range all.files {
		if !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") || strings.Contains(file, "testdata") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), path.Join(root, file), nil, parser.ParseComments|parser.PackageClauseOnly)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range start.FindAllStringSubmatch(f.Doc.Text(), -1) {
			leads++
			if name := m[1]; !all.names[f.Name.Name+"."+name] && !all.names[name] && !all.files[path.Join(path.Dir(file), name)] {
				t.Errorf("%s: start reading at %s, which is not there", file, name)
			} else if !strings.Contains(name, ".") && !all.names[f.Name.Name+"."+name] {
				t.Errorf("%s: start reading at %s, which is in another package", file, name)
			}
		}
	}
	if leads < 20 {
		t.Errorf("only %d package comments say where to start", leads)
	}
}
