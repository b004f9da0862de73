// Command drywire renders a dry guitar recording through the orders of a pedalboard that a chain
// file describes. See package cli.
package main

import (
	"os"

	"drywire/cmd/internal/cli"
)

func main() { os.Exit(cli.Main()) }
