//go:build unix

package files

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// nonblock keeps an opening from waiting for a pipe's other end.
const nonblock = unix.O_NONBLOCK

func lock(f *os.File) error {
	err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	switch {
	case err == nil:
		return nil
	case errors.Is(err, unix.EWOULDBLOCK):
		return errLocked
	case errors.Is(err, unix.EBADF), errors.Is(err, unix.EINVAL), errors.Is(err, unix.ENOTSUP), errors.Is(err, unix.ENOSYS), errors.Is(err, unix.ENOLCK):
		return errors.ErrUnsupported // a network file system, for one
	}
	return &os.PathError{Op: "lock", Path: f.Name(), Err: err}
}

// cannotSync reports whether a folder cannot be synced where it lies.
func cannotSync(err error) bool {
	return errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOTSUP)
}
