package file

import (
	"fmt"
	"slices"

	"drywire/chains/board"
	"drywire/chains/internal/yamltext"
)

// Setting is a setting as a take of the file may have it, from its target, like fuzz.level, and its
// value as text. The error says what is wrong with either, as Parse would.
func Setting(f *board.File, target, text string) (board.Setting, error) {
	r := &reader{Reader: *yamltext.NewReader(target), supplies: f.Supplies, cabinets: f.Cabinets, read: map[string]bool{}}
	for _, b := range f.Blocks {
		r.declared = append(r.declared, b.Name)
		r.addTargets(b.Name, b.Kind, b.Powered)
	}
	targets := append(commonTargets(), r.targets...)
	k := slices.IndexFunc(targets, func(k key[board.Chain]) bool { return k.Name == target })
	if k < 0 {
		return board.Setting{}, fmt.Errorf("no setting %q", target)
	}
	body := r.Guard([]byte("k: " + text))
	pairs, ok := r.QuietPairs(body)
	if body == nil || !ok || len(pairs) != 1 {
		return board.Setting{}, fmt.Errorf("%s: %q is not readable", target, text)
	}
	apply := targets[k].Read(r, target, pairs[0].Value)
	if apply == nil {
		return board.Setting{}, fmt.Errorf("%s", r.Faults[0].Text)
	}
	return board.Setting{Target: target, Text: yamltext.Written(pairs[0].Value), Apply: apply}, nil
}
