package edit

import (
	"fmt"
	"reflect"

	"drywire/chains/board"
)

// Edits of bytes, for tests that write texts. Each holds that the text which it was made from is as
// it was.

func onBytes(src []byte, edit func(*Text) (*Text, error)) ([]byte, error) {
	x, err := Read("the chain file", src)
	if err != nil {
		return nil, err
	}
	got, err := edit(x)
	again, _ := Read("the chain file", src)
	if what := differs(forComparison(x.File), forComparison(again.File)); what != "" || !reflect.DeepEqual(x.Source, again.Source) {
		return nil, fmt.Errorf("the edit has changed %s of what it was made from", what)
	}
	if err != nil {
		return nil, err
	}
	return got.Source, nil
}

func SetOrder(src []byte, order []string, split *board.SplitOrder) ([]byte, error) {
	return onBytes(src, func(x *Text) (*Text, error) { return x.SetOrder(order, split) })
}

func SetTake(src []byte, name string, t board.Take) ([]byte, error) {
	return onBytes(src, func(x *Text) (*Text, error) { return x.SetTake(name, t) })
}

func AddTake(src []byte, after string, t board.Take) ([]byte, error) {
	return onBytes(src, func(x *Text) (*Text, error) { return x.AddTake(after, t) })
}

func RemoveTake(src []byte, name string) ([]byte, error) {
	return onBytes(src, func(x *Text) (*Text, error) { return x.RemoveTake(name) })
}

func SetLoops(src []byte, switcher string, loops []board.Loop) ([]byte, error) {
	return onBytes(src, func(x *Text) (*Text, error) { return x.SetLoops(switcher, loops) })
}

func SetTray(src []byte, names []string) ([]byte, error) {
	return onBytes(src, func(x *Text) (*Text, error) { return x.SetTray(names) })
}

func AddBlock(src []byte, name, kind string) ([]byte, error) {
	return onBytes(src, func(x *Text) (*Text, error) { return x.AddBlock(name, kind) })
}
