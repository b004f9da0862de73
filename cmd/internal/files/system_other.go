//go:build !unix

package files

import (
	"errors"
	"os"
)

const nonblock = 0

func lock(*os.File) error { return errors.ErrUnsupported }

// cannotSync reports whether a folder cannot be synced where it lies: never, here.
func cannotSync(error) bool { return true }
