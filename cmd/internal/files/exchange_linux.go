package files

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

func exchange(one, two string) error {
	err := unix.Renameat2(unix.AT_FDCWD, one, unix.AT_FDCWD, two, unix.RENAME_EXCHANGE)
	switch {
	case err == nil:
		return nil
	case errors.Is(err, unix.ENOSYS), errors.Is(err, unix.EINVAL), errors.Is(err, unix.ENOTSUP):
		return errors.ErrUnsupported // the kernel, or the file system
	}
	return &os.LinkError{Op: "exchange", Old: one, New: two, Err: err}
}
