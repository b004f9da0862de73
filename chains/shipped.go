// Package chains holds the chain files that come with the program. What reads, wires, renders and
// compares them is in the folders below:
//
//	board       what a chain file says, as data
//	cables      which cables to move, and in which order
//	stops       where a knob that moves stops
//	arrange     the moves of blocks that can be wired
//	file        reads it
//	template    writes the one to begin with
//	edit        changes its text
//	wiring      a chain as one circuit, cut at its stages
//	render      plays a recording through it
//	measures    what is measured, each defined once
//	cost        estimate of the processor time and memory that it needs
//	noise       the noise at rest, source by source
//	experiment  takes compared: jacks, pairs, swaps, presets, orders
//	because     which of their differences makes two takes sound apart
//	why         what causes a complaint, and what to do
//	sweep       a knob over its travel, and what limits its useful range
//	hunt        where a noise comes from, test by test
//	venue       the same presets played soft and loud, as the ear has them
//	power       which block is plugged into which output
//	sheet       the wiring sheet, to print
//	lesson      a question about a board, what is heard and measured, and why
//	lessons     the lessons that come with the program
//	class       what a class believed before a lesson and after it
//	report      the page that plays and shows it
package chains

import (
	"embed"

	"drywire/chains/internal/shelf"
)

//go:embed *.yaml
var files embed.FS

var shipped = shelf.Shelf{Files: files, What: "shipped chain file"}

// Shipped is the names of the chain files that come with the program, in the order of the alphabet.
func Shipped() []string { return shipped.Names() }

// ReadShipped is the text of a shipped chain file, by its name with or without .yaml. The error
// names the nearest.
func ReadShipped(name string) ([]byte, error) { return shipped.Read(name) }
