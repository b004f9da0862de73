package chains

import (
	"strings"
	"testing"
)

// Each edit changes what it is about and no other byte: the texts are what a person would have typed.
func TestEditsOfText(t *testing.T) {
	const flow = `drywire: 1
recording: {sample: riff}   # comes with it
blocks:
  fuzz:   {kind: fuzz}   # loud
  buffer: {kind: buffer}
order: [fuzz, buffer]   # left to right
takes:
  # the first
  - {name: a}   # plain
  - {name: b, order: [ buffer, fuzz ]}
`
	for _, c := range []struct {
		name, src string
		edit      func([]byte) ([]byte, error)
		old, new  string // what is there in place of what
	}{
		{"order", flow, func(s []byte) ([]byte, error) { return SetOrder(s, []string{"buffer", "fuzz"}, nil) }, "order: [fuzz, buffer]   #", "order: [buffer, fuzz]   #"},
		{"take's order", flow, func(s []byte) ([]byte, error) {
			return SetTake(s, "b", Take{Name: "b", Order: []string{"fuzz", "buffer"}})
		}, "[ buffer, fuzz ]", "[ fuzz, buffer ]"},
		{"take's name", flow, func(s []byte) ([]byte, error) { return SetTake(s, "a", Take{Name: "a, changed"}) }, "{name: a}", `{name: "a, changed"}`},
		{"take's set", flow, func(s []byte) ([]byte, error) {
			return SetTake(s, "a", Take{Name: "a", Set: []Setting{{Target: "fuzz.fuzz", Text: "7"}}})
		}, "{name: a}", "{name: a, set: {fuzz.fuzz: 7}}"},
		{"add", flow, func(s []byte) ([]byte, error) { return AddTake(s, "a", Take{Name: "c", Off: []string{"fuzz"}}) }, "# plain\n", "# plain\n  - {name: c, off: [fuzz]}\n"},
		{"remove", flow, func(s []byte) ([]byte, error) { return RemoveTake(s, "b") }, "  - {name: b, order: [ buffer, fuzz ]}\n", ""},
		{"block", flow, func(s []byte) ([]byte, error) { return AddBlock(s, "up", "boost") }, "  buffer: {kind: buffer}\norder: [fuzz, buffer]   # left to right\n",
			"  buffer: {kind: buffer}\n  up:     {kind: boost}\norder: [fuzz, buffer]   # left to right\ntray: [up]\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := c.edit([]byte(c.src))
			if err != nil {
				t.Fatal(err)
			}
			if strings.Count(c.src, c.old) != 1 {
				t.Fatalf("%q is not there once", c.old)
			}
			if want := strings.Replace(c.src, c.old, c.new, 1); string(got) != want {
				t.Errorf("got:\n%s\nwant:\n%s", got, want)
			}
		})
	}
}
