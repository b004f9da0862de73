package blockstest

import (
	"testing"

	"drywire/blocks"
)

// Every kind of block keeps every promise.
func TestKinds(t *testing.T) {
	for _, f := range CheckList(blocks.Kinds()) {
		t.Error(f)
	}
	for _, k := range blocks.Kinds() {
		t.Run(k.Name, func(t *testing.T) {
			for _, f := range Check(k) {
				t.Error(f)
			}
		})
	}
}
