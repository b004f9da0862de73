//go:build !linux && !darwin

package files

import "errors"

func exchange(one, two string) error { return errors.ErrUnsupported }
