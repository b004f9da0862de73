package cli

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains"
	"drywire/chains/file"
	"drywire/chains/template"
)

type newOptions struct {
	file  string
	from  string
	list  bool
	force bool
}

func newCommand(s streams) *cobra.Command {
	var o newOptions
	cmd := &cobra.Command{
		Use:   "new [FILE]",
		Short: "Write a chain file to start from",
		Long: `New writes a chain file with a comment for every line, or a copy of one that comes with the
program. Without a FILE it is named after what it holds; - is standard output. A file that is there
already is kept, unless --force is given.`,
		Example: `  drywire new my-chain.yaml
  drywire new --list
  drywire new --from fuzz-or-buffer-first question.yaml`,
		Args:              atMostOne("file"),
		ValidArgsFunction: completeChainFile,
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) == 1 {
				o.file = args[0]
			}
			return runNew(s, o)
		},
	}
	cmd.Flags().StringVar(&o.from, "from", "", "copy the shipped chain file of this `NAME`")
	cmd.Flags().BoolVar(&o.list, "list", false, "list the shipped chain files")
	cmd.Flags().BoolVar(&o.force, "force", false, "write over a file that is there")
	complete(cmd, "from", completeShippedChain)
	return cmd
}

func runNew(s streams, o newOptions) error {
	if o.list {
		var t table
		t.header = []string{"name", "question"}
		for _, name := range chains.Shipped() {
			title := ""
			if src, err := chains.ReadShipped(name); err == nil {
				if f, err := file.Parse(name, src); err == nil {
					title = f.Title
				}
			}
			t.row(name, clip(title, 60))
		}
		t.print(s.out)
		return nil
	}
	text, name := template.Text(""), "my-chain.yaml"
	if o.from != "" {
		var err error
		if text, err = chains.ReadShipped(o.from); err != nil {
			return misuse{err}
		}
		name = strings.TrimSuffix(o.from, ".yaml") + ".yaml"
	}
	switch {
	case o.file == "-":
		_, err := s.out.Write(text)
		return err
	case o.file == "":
		o.file = name
	case filepath.Ext(o.file) == "":
		o.file += ".yaml"
	}
	taken := fmt.Errorf("%s: is there already; --force writes over it, or give another name", o.file)
	out, name, err := openFor(s.disk, o.file)
	if err != nil {
		return err
	}
	defer out.abort()
	if err := out.text(name, text); err != nil {
		return err
	}
	if !o.force {
		out.Fresh(name)
	}
	if err := out.publish(); errors.Is(err, fs.ErrExist) {
		return taken
	} else if err != nil {
		return err
	}
	s.printf("Wrote %s. Next:\n  drywire check %s\n  drywire compare %s -o takes\n", o.file, shell(o.file), shell(o.file))
	return nil
}

// shell is a word as a shell wants it typed.
func shell(word string) string {
	plain := func(c rune) bool { return letterOrDigit(c) || strings.ContainsRune("-_./\\:", c) }
	if strings.IndexFunc(word, func(c rune) bool { return !plain(c) }) < 0 {
		return word
	}
	return `"` + word + `"`
}
