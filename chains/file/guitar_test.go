package file

import (
	"strings"
	"testing"
)

// Two pickups that cancel are told; so are parts of a wiring that are not all there.
func TestFaultsOfGuitarWirings(t *testing.T) {
	for _, c := range []struct{ guitar, want string }{
		{"{second: {pickup: humbucker, wired: parallel, phase: out}}", "nothing is left of it"},
		{"{second: {pickup: humbucker, wired: series, phase: out}}", "nothing is left of it"},
		{"{second: {pickup: single-coil, wired: series, phase: out}}", ""},
		{"{second: {pickup: humbucker, wired: parallel}}", ""},
		{"{second: {pickup: humbucker}}", "wired"},
		{"{second: none, treble_bleed: none, tone_wired: after}", ""},
		{"{treble_bleed: {parallel: 150 kΩ}}", "capacitor"},
		{"{treble_bleed: 1 nF}", "treble_bleed"},
		{"{tone_wired: behind}", "tone_wired"},
	} {
		set := strings.Replace(strings.Trim(c.guitar, "{}"), "second:", "guitar.second:", 1)
		if strings.HasPrefix(set, "guitar.second: {") && c.want == "nothing is left of it" { // as a take may have it
			_, err := Parse("guitar.yaml", []byte("drywire: 1\nrecording: {sample: riff}\nblocks: {keep: {kind: buffer}}\norder: [keep]\ntakes: [{name: one}, {name: two, set: {"+set+"}}}]\n"))
			if err == nil || !strings.Contains(err.Error(), `take "two": the two pickups`) {
				t.Errorf("%s in a take: %v", set, err)
			}
		}
		_, err := Parse("guitar.yaml", []byte("drywire: 1\nrecording: {sample: riff}\nguitar: "+c.guitar+"\nblocks: {keep: {kind: buffer}}\norder: [keep]\n"))
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: want %q, have %v", c.guitar, c.want, err)
		}
	}
}
