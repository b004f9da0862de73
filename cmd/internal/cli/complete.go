package cli

import (
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"drywire/blocks"
	"drywire/chains"
	"drywire/chains/board"
	"drywire/samples"
)

// What a shell offers when Tab is pressed.

type completion = func(cmd *cobra.Command, args []string, word string) ([]string, cobra.ShellCompDirective)

func completeChainFile(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	if len(args) > 0 {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	return []string{"yaml", "yml"}, cobra.ShellCompDirectiveFilterFileExt
}

func completeWAV(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return []string{"wav", "w64", "bw64"}, cobra.ShellCompDirectiveFilterFileExt
}

func completeFolder(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return nil, cobra.ShellCompDirectiveFilterDirs
}

func completeQuality(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	about := map[string]string{"draft": "quick", "normal": "good for listening", "fine": "for measuring"}
	var words []string
	for _, q := range qualityNames() {
		words = append(words, q+"\t"+about[q])
	}
	return words, cobra.ShellCompDirectiveNoFileComp
}

func completeKind(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	var words []string
	for _, k := range append(slices.Clone(blocks.Kinds()), blocks.AnyCircuit()) {
		if len(args) == 0 {
			words = append(words, k.Name+"\t"+k.Brief)
		}
	}
	return words, cobra.ShellCompDirectiveNoFileComp
}

func completeShippedChain(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return chains.Shipped(), cobra.ShellCompDirectiveNoFileComp
}

// completeRecording offers the shipped recordings, and leaves the files to the shell.
func completeRecording(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	var words []string
	for _, r := range samples.Shipped() {
		words = append(words, r.Name+"\t"+r.Title)
	}
	return words, cobra.ShellCompDirectiveDefault
}

// fromChain completes with what the chain file of the command line has.
func fromChain(words func(f *board.File, take string) []string) completion {
	return func(cmd *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
		if len(args) == 0 || args[0] == "-" {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		text, _, err := openChainFile(streams{}, args[0])
		if err != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		take := ""
		if flag := cmd.Flags().Lookup("take"); flag != nil {
			take = flag.Value.String()
		}
		return words(text.File, take), cobra.ShellCompDirectiveNoFileComp
	}
}

var (
	completeTake = fromChain(func(f *board.File, _ string) []string {
		var words []string
		for _, c := range f.Chains() {
			words = append(words, fmt.Sprintf("%s\t%s", c.Take, orderText(c)))
		}
		return words
	})
	completeJack = fromChain(func(f *board.File, take string) []string {
		return jacksOf(f, take, func(c *board.Chain) []string { return c.Jacks() })
	})
	completeBlock = fromChain(func(f *board.File, take string) []string {
		return jacksOf(f, take, func(c *board.Chain) []string {
			var names []string
			for _, b := range c.Every() {
				names = append(names, b.Name)
			}
			return names
		})
	})
)

// jacksOf is the words of one take, or of all takes where it is not known.
func jacksOf(f *board.File, take string, words func(*board.Chain) []string) []string {
	if c, err := f.Take(take); err == nil {
		return words(c)
	}
	var all []string
	for _, c := range f.Chains() {
		for _, w := range words(c) {
			if !slices.Contains(all, w) {
				all = append(all, w)
			}
		}
	}
	return all
}

// complete registers a flag's completion.
func complete(cmd *cobra.Command, flag string, f completion) {
	if err := cmd.RegisterFlagCompletionFunc(flag, f); err != nil {
		panic("cli: " + err.Error())
	}
}
