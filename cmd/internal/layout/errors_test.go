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

// saysError and saysPanic are how a comment speaks of errors and panics: by a word for them, or by
// the name of a type or value that is one. What implements an interface says so, and the interface
// says the rest.
var (
	saysError  = regexp.MustCompile(`(?i:\berrors?\b|\brefus|\bfails?\b|\bimplements\b)|\bErr[A-Z]|Error\b|\bNotMeasurable\b|\bTooMuch\b|\bFaults?\b`)
	saysPanic  = regexp.MustCompile(`(?i:\bpanics?\b)`)
	ofEveryErr = []string{"Error", "Is", "As", "Unwrap"} // package errors has what these are
)

// silent is the functions that a module exports which return an error and do not say which, or
// call panic and do not say when, types of functions and methods of interfaces among them; and how
// many it saw that return an error or panic. For a method of an interface, what its type says will
// do. It does not look at programs, whose functions nobody else can call, nor at rooms for tests,
// which by Go's custom have names that end in test: there an error or a panic ends the test.
func silent(module fs.FS) (list []string, seen int) {
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
			if f.Name.Name == "main" || strings.HasSuffix(path.Dir(file), "test") {
				return nil
			}
			for _, c := range callables(f) {
				if c.fails || c.panics {
					seen++
				}
				if c.fails && !saysError.MatchString(c.doc) {
					list = append(list, fmt.Sprintf("%s: %s does not say what errors it returns", file, c.name))
				}
				if c.panics && !saysPanic.MatchString(c.doc) {
					list = append(list, fmt.Sprintf("%s: %s does not say when it panics", file, c.name))
				}
			}
			return nil
		})
	}
	slices.Sort(list)
	return list, seen
}

// callable is what a file exports that can be called: its name with () behind it, the comment on
// it, whether it returns an error and whether it calls panic itself.
type callable struct {
	name, doc     string
	fails, panics bool
}

func callables(f *ast.File) (list []callable) {
	for _, d := range f.Decls {
		switch d := d.(type) {
		case *ast.FuncDecl:
			if d.Recv != nil && slices.Contains(ofEveryErr, d.Name.Name) {
				continue
			}
			for name, doc := range exports(d) {
				list = append(list, callable{name, doc, returnsError(d.Type), callsPanic(d)})
			}
		case *ast.GenDecl:
			for _, s := range d.Specs {
				t, ok := s.(*ast.TypeSpec)
				if !ok || !t.Name.IsExported() {
					continue
				}
				doc := d.Doc.Text() + t.Doc.Text()
				switch is := t.Type.(type) {
				case *ast.FuncType:
					list = append(list, callable{t.Name.Name + "()", doc, returnsError(is), false})
				case *ast.InterfaceType:
					for _, m := range is.Methods.List {
						if fn, ok := m.Type.(*ast.FuncType); ok && m.Names[0].IsExported() {
							list = append(list, callable{t.Name.Name + "." + m.Names[0].Name + "()", doc + m.Doc.Text() + m.Comment.Text(), returnsError(fn), false})
						}
					}
				}
			}
		}
	}
	return list
}

// returnsError reports whether one of a function's results is an error.
func returnsError(fn *ast.FuncType) bool {
	return fn.Results != nil && slices.ContainsFunc(fn.Results.List, func(r *ast.Field) bool {
		t, ok := r.Type.(*ast.Ident)
		return ok && t.Name == "error"
	})
}

// callsPanic reports whether panic is called in a function's own body. What it calls is looked at
// where that is.
func callsPanic(fn *ast.FuncDecl) (calls bool) {
	if fn.Body == nil {
		return false
	}
	ast.Inspect(fn.Body, func(n ast.Node) bool {
		if c, ok := n.(*ast.CallExpr); ok {
			id, ok := c.Fun.(*ast.Ident)
			calls = calls || ok && id.Name == "panic"
		}
		return true
	})
	return calls
}

func TestErrorsAndPanicsAreDocumented(t *testing.T) {
	list, seen := silent(os.DirFS(root))
	if seen < 300 {
		t.Fatalf("only %d functions that return an error or panic: the walk goes wrong", seen)
	}
	for _, f := range list {
		t.Error(f)
	}
}

func TestErrorsAndPanicsAreDocumentedSeesFaults(t *testing.T) {
	got, seen := silent(fstest.MapFS{
		"dsp/a.go": {Data: []byte(`package a

// F does.
func F() error { return nil }

// G does; it cannot be undone.
func G() (n int, err error) { return 0, nil }

// H refuses an odd n.
func H(n int) error { panic(n) }

// I panics at an odd n.
func I(n int) { func() { panic(n) }() }

// J is.
func (T) J(n int) { func() { panic(n) }() }

// K returns an ErrOdd.
func K() error { return nil }

// L implements io.Closer.
func (T) L() error { return nil }

// Unwrap is.
func (T) Unwrap() error { return nil }

// M takes one.
func M(error)

// P is.
func P() error { panic(1) }

// N is n.
func N() int { return 0 }

// Mirror is of terrors.
func Mirror() error { return nil }

func f() error { return nil }

// Of is one.
type Of func(int) error

// In is one.
type In interface {
	Loud() error // it fails at night
	Mute() error
	int() error
	Free() int
}

// Out is one, with the errors of package os.
type Out interface{ Mute() error }

// O is.
func (t) O() error { return nil }
`)},
		"dsp/a_test.go":       {Data: []byte("package a\n\n// F is.\nfunc F() error { return nil }\n")},
		"dsp/atest/a.go":      {Data: []byte("package atest\n\n// F is.\nfunc F() error { return nil }\n")},
		"cmd/drywire/main.go": {Data: []byte("package main\n\n// F is.\nfunc F() error { return nil }\n")},
		"chains/b.go":         {Data: []byte("package b\n\nfunc F(")},
	})
	want := []string{
		"chains/b.go:3:8: expected ')', found 'EOF'",
		"dsp/a.go: F() does not say what errors it returns", "dsp/a.go: G() does not say what errors it returns",
		"dsp/a.go: H() does not say when it panics", "dsp/a.go: In.Mute() does not say what errors it returns",
		"dsp/a.go: Mirror() does not say what errors it returns",
		"dsp/a.go: Of() does not say what errors it returns",
		"dsp/a.go: P() does not say what errors it returns", "dsp/a.go: P() does not say when it panics",
		"dsp/a.go: T.J() does not say when it panics",
	}
	if len(got) > 0 && strings.HasPrefix(got[0], "chains/b.go:3:") { // the parser's words are its own
		got[0] = want[0]
	}
	if !slices.Equal(got, want) || seen != 13 {
		t.Errorf("got %d\n  %s\nwant 13\n  %s", seen, strings.Join(got, "\n  "), strings.Join(want, "\n  "))
	}
}
