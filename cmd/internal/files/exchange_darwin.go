package files

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

func exchange(one, two string) error {
	err := unix.RenamexNp(one, two, unix.RENAME_SWAP)
	switch {
	case err == nil:
		return nil
	case errors.Is(err, unix.ENOSYS), errors.Is(err, unix.EINVAL), errors.Is(err, unix.ENOTSUP):
		return errors.ErrUnsupported // the file system
	}
	return &os.LinkError{Op: "exchange", Old: one, New: two, Err: err}
}
