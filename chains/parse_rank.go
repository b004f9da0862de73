package chains

import (
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"drywire/chains/measures"
)

// Keep is what every order that is tried has to keep to.
type Keep struct {
	First    []string   // the order begins with these, in this order
	Last     []string   // it ends with these, in this order
	Before   [][]string // of each list, every block comes somewhere before the next
	Together [][]string // the blocks of each list stand next to each other, in any order
}

func objectives() []string {
	var names []string
	for _, m := range measures.Objectives() {
		names = append(names, m.Name)
	}
	return names
}

func keepKeys() []key[Keep] {
	names := func(name, brief string, set func(*Keep, []string)) key[Keep] {
		return key[Keep]{
			name: name, brief: brief, schema: orderSchema(brief),
			read: func(r *reader, path string, n ast.Node) func(*Keep) {
				list, ok := r.blockNames(path, n)
				if !ok {
					return nil
				}
				return func(k *Keep) { set(k, list) }
			},
		}
	}
	lists := func(name, brief string, set func(*Keep, [][]string)) key[Keep] {
		inner := orderSchema("two blocks or more")
		inner["minItems"] = 2
		return key[Keep]{
			name: name, brief: brief, schema: object{"type": "array", "description": brief, "items": inner},
			read: func(r *reader, path string, n ast.Node) func(*Keep) {
				nodes, ok := r.list(path, n, "of lists of block names, like [[drive, delay]]")
				if !ok {
					return nil
				}
				if len(nodes) > maxBlocks {
					r.at(nodes[maxBlocks], "more than %d lists", maxBlocks)
					return nil
				}
				var all [][]string
				for _, node := range nodes {
					if s, ok := node.(ast.ScalarNode); ok {
						r.at(node, "%s holds %q; want lists of block names, like [[drive, delay]]", path, clipped(s.GetToken().Value, 60))
						return nil
					}
					list, ok := r.blockNames(path, node)
					if !ok {
						return nil
					}
					if len(list) < 2 {
						r.at(node, "a list in %s names fewer than two blocks", path)
						return nil
					}
					all = append(all, list)
				}
				return func(k *Keep) { set(k, all) }
			},
		}
	}
	return []key[Keep]{
		names("first", "what the order begins with", func(k *Keep, l []string) { k.First = l }),
		names("last", "what the order ends with", func(k *Keep, l []string) { k.Last = l }),
		lists("before", "lists of blocks, each somewhere before the next", func(k *Keep, l [][]string) { k.Before = l }),
		lists("together", "lists of blocks that stand next to each other", func(k *Keep, l [][]string) { k.Together = l }),
	}
}

// keepKey and preferKey are the keys of the file that steer the search for orders. They come after blocks, which they name.
func keepKey() key[File] {
	const brief = "what every order that rank tries has to keep to, like {first: [fuzz], last: [reverb]}"
	return key[File]{
		name: "keep", brief: brief, schema: mapSchema(brief, keepKeys()),
		read: func(r *reader, path string, n ast.Node) func(*File) {
			var k Keep
			faults := len(r.faults)
			readMap(r, path, n, "first: [fuzz]", keepKeys(), &k)
			if len(r.faults) > faults {
				return nil
			}
			if at := k.circle(r.declared); at != "" {
				r.at(n, "keep contradicts itself: by it, %q comes before itself", at)
				return nil
			}
			return func(f *File) { f.Keep = k }
		},
	}
}

func preferKey() key[File] {
	const brief = "what rank goes by, like [quiet, headroom]"
	return key[File]{
		name: "prefer", brief: brief,
		schema: object{"type": "array", "description": brief, "minItems": 1, "uniqueItems": true, "items": object{"enum": objectives(), "description": "an objective"}},
		read: func(r *reader, path string, n ast.Node) func(*File) {
			nodes, ok := r.list(path, n, "of objectives, like [quiet, headroom]")
			if !ok {
				return nil
			}
			if len(nodes) == 0 {
				r.at(n, "prefer is empty; leave it out, or name objectives (%s)", strings.Join(objectives(), ", "))
				return nil
			}
			var list []string
			for _, node := range nodes {
				w, ok := r.choice(path, node, objectives())
				if !ok {
					return nil
				}
				if slices.Contains(list, w) {
					r.at(node, "%q is in prefer twice", w)
					return nil
				}
				list = append(list, w)
			}
			return func(f *File) { f.Prefer = list }
		},
	}
}

// circle is a block that has to come before itself, by first, last and before; "" where there is none.
func (k *Keep) circle(names []string) string {
	after := map[string][]string{}
	add := func(a, b string) { after[a] = append(after[a], b) }
	for i, a := range k.First {
		for _, b := range names {
			if j := slices.Index(k.First, b); j > i || j < 0 {
				add(a, b)
			}
		}
	}
	for i, b := range k.Last {
		for _, a := range names {
			if j := slices.Index(k.Last, a); j >= 0 && j < i || j < 0 {
				add(a, b)
			}
		}
	}
	for _, list := range k.Before {
		for i, a := range list[:len(list)-1] {
			add(a, list[i+1])
		}
	}
	const open, closed = 1, 2
	state := map[string]int{}
	var visit func(string) string
	visit = func(a string) string {
		state[a] = open
		for _, b := range after[a] {
			switch state[b] {
			case open:
				return b
			case closed:
				continue
			}
			if at := visit(b); at != "" {
				return at
			}
		}
		state[a] = closed
		return ""
	}
	for _, a := range names {
		if state[a] == 0 {
			if at := visit(a); at != "" {
				return at
			}
		}
	}
	return ""
}
