package produce

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"

	lru "github.com/hashicorp/golang-lru/v2"

	"drywire/blocks"
	"drywire/chains/file"
	"drywire/dsp/circuit/deck"
)

// Decks reads decks from a folder, and remembers the last kinds of block that it has made of them,
// by what is in them.
func Decks(folder Folder) file.Decks {
	type text struct {
		path string
		sum  [32]byte
	}
	kinds, _ := lru.New[text, *blocks.Kind](32) // it fails for sizes under 1 alone
	return func(path string) (*blocks.Kind, error) {
		src, err := folder.Text(path, deck.MaxSize+1)
		if err != nil {
			if errors.Is(err, fs.ErrNotExist) {
				hint := ""
				if near := folder.Near(path); near != "" {
					hint = fmt.Sprintf("; did you mean %q?", near)
				}
				return nil, fmt.Errorf("%w; its path is relative to the chain file%s", err, hint)
			}
			return nil, err
		}
		key := text{path, sha256.Sum256(src)}
		if known, ok := kinds.Get(key); ok {
			return known, nil
		}
		d, err := deck.Read(path, src)
		if err != nil {
			return nil, err
		}
		k, err := blocks.Circuit(d)
		if err != nil {
			return nil, err
		}
		kinds.Add(key, k)
		return k, nil
	}
}
