package file

import (
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"drywire/chains/board"
	"drywire/chains/internal/table"
	"drywire/chains/internal/yamltext"
	"drywire/chains/measures"
)

func objectives() []string {
	var names []string
	for _, m := range measures.Objectives() {
		names = append(names, m.Name)
	}
	return names
}

func keepKeys() []key[board.Keep] {
	names := func(name, brief string, set func(*board.Keep, []string)) key[board.Keep] {
		return key[board.Keep]{
			Name: name, Brief: brief, Schema: orderSchema(brief),
			Read: func(r *reader, path string, n ast.Node) func(*board.Keep) {
				list, ok := r.blockNames(path, n)
				if !ok {
					return nil
				}
				return func(k *board.Keep) { set(k, list) }
			},
		}
	}
	lists := func(name, brief string, set func(*board.Keep, [][]string)) key[board.Keep] {
		inner := orderSchema("two blocks or more")
		inner["minItems"] = 2
		return key[board.Keep]{
			Name: name, Brief: brief, Schema: table.Object{"type": "array", "description": brief, "items": inner},
			Read: func(r *reader, path string, n ast.Node) func(*board.Keep) {
				nodes, ok := r.List(path, n, "of lists of block names, like [[drive, delay]]")
				if !ok {
					return nil
				}
				if len(nodes) > maxBlocks {
					r.At(nodes[maxBlocks], "more than %d lists", maxBlocks)
					return nil
				}
				var all [][]string
				for _, node := range nodes {
					if s, ok := node.(ast.ScalarNode); ok {
						r.At(node, "%s holds %q; want lists of block names, like [[drive, delay]]", path, yamltext.Clipped(s.GetToken().Value, 60))
						return nil
					}
					list, ok := r.blockNames(path, node)
					if !ok {
						return nil
					}
					if len(list) < 2 {
						r.At(node, "a list in %s names fewer than two blocks", path)
						return nil
					}
					all = append(all, list)
				}
				return func(k *board.Keep) { set(k, all) }
			},
		}
	}
	return []key[board.Keep]{
		names("first", "what the order begins with", func(k *board.Keep, l []string) { k.First = l }),
		names("last", "what the order ends with", func(k *board.Keep, l []string) { k.Last = l }),
		lists("before", "lists of blocks, each somewhere before the next", func(k *board.Keep, l [][]string) { k.Before = l }),
		lists("together", "lists of blocks that stand next to each other", func(k *board.Keep, l [][]string) { k.Together = l }),
	}
}

// keepKey and preferKey are the keys of the file that steer the search for orders. They come after
// blocks, which they name.
func keepKey() key[board.File] {
	const brief = "what every order that rank tries has to keep to, like {first: [fuzz], last: [reverb]}"
	return key[board.File]{
		Name: "keep", Brief: brief, Schema: table.Map(brief, keepKeys()),
		Read: func(r *reader, path string, n ast.Node) func(*board.File) {
			var k board.Keep
			faults := len(r.Faults)
			table.Read(r, path, n, "first: [fuzz]", keepKeys(), &k)
			if len(r.Faults) > faults {
				return nil
			}
			if at := k.Circle(r.declared); at != "" {
				r.At(n, "keep contradicts itself: by it, %q comes before itself", at)
				return nil
			}
			return func(f *board.File) { f.Keep = k }
		},
	}
}

func preferKey() key[board.File] {
	const brief = "what rank goes by, like [quiet, headroom]"
	return key[board.File]{
		Name: "prefer", Brief: brief,
		Schema: table.Object{"type": "array", "description": brief, "minItems": 1, "uniqueItems": true, "items": table.Object{"enum": objectives(), "description": "an objective"}},
		Read: func(r *reader, path string, n ast.Node) func(*board.File) {
			nodes, ok := r.List(path, n, "of objectives, like [quiet, headroom]")
			if !ok {
				return nil
			}
			if len(nodes) == 0 {
				r.At(n, "prefer is empty; leave it out, or name objectives (%s)", strings.Join(objectives(), ", "))
				return nil
			}
			var list []string
			for _, node := range nodes {
				w, ok := r.Choice(path, node, objectives())
				if !ok {
					return nil
				}
				if slices.Contains(list, w) {
					r.At(node, "%q is in prefer twice", w)
					return nil
				}
				list = append(list, w)
			}
			return func(f *board.File) { f.Prefer = list }
		},
	}
}
