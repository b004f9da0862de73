package files

import (
	"os"
	"path/filepath"
)

// StateFolder is where the program keeps what it remembers between runs: drywire in the folder for
// state that the XDG base directory specification names (XDG_STATE_HOME, or .local/state at home;
// the specification of 2021). It may not be there yet. It is an error where neither that variable
// nor a home is set.
func StateFolder() (string, error) {
	folder := os.Getenv("XDG_STATE_HOME")
	if !filepath.IsAbs(folder) { // the specification: relative ones are to be ignored
		home, err := os.UserHomeDir()
		if err != nil {
			return "", err
		}
		folder = filepath.Join(home, ".local", "state")
	}
	return filepath.Join(folder, "drywire"), nil
}
