package file

import (
	"github.com/goccy/go-yaml/ast"

	"drywire/chains/board"
	"drywire/chains/internal/table"
	"drywire/dsp"
)

// suspectsKey is how much the player suspects each kind of what may make a noise.
func suspectsKey() key[board.File] {
	const brief = "how much hunt suspects each kind of fault against the others, like {cable: 4}; 0 is not at all"
	var keys []key[map[string]float64]
	for _, name := range board.SuspectKinds {
		const says = "against the other kinds"
		keys = append(keys, key[map[string]float64]{
			Name: name, Brief: says, Schema: table.QuantitySchema(says, dsp.Dial, 0, 10, ""),
			Read: func(r *reader, path string, n ast.Node) func(*map[string]float64) {
				v, ok := r.Quantity(path, n, dsp.Dial, 0, 10)
				if !ok {
					return nil
				}
				return func(m *map[string]float64) { (*m)[name] = v }
			},
		})
	}
	return key[board.File]{
		Name: "suspects", Brief: brief, Schema: table.Map(brief, keys),
		Read: func(r *reader, path string, n ast.Node) func(*board.File) {
			m, faults := map[string]float64{}, len(r.Faults)
			table.Read(r, path, n, "cable: 4", keys, &m)
			if len(r.Faults) > faults {
				return nil
			}
			return func(f *board.File) { f.Suspects = m }
		},
	}
}
