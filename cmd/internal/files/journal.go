package files

import (
	"errors"
	"io"
	"os"
)

// Journal opens a file to which lines are appended, or makes it, and locks it: a second run on it
// is told. It returns what it holds, at most so many bytes, and is at its end. An error names the
// file.
func Journal(sys System, path string, most int64) (f File, text []byte, err error) {
	if f, _, err = openRegular(sys, path, os.O_RDWR|os.O_CREATE); err != nil {
		return nil, nil, err
	}
	if err = f.Lock(); err != nil && !errors.Is(err, errors.ErrUnsupported) {
		err = Named(path, err)
	} else if text, err = readAll(f, path, most); err == nil {
		_, err = f.Seek(0, io.SeekEnd)
		err = Named(path, err)
	}
	if err != nil {
		f.Close()
		return nil, nil, err
	}
	return f, text, nil
}
