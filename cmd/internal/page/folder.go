package page

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"drywire/cmd/internal/produce"
	"drywire/samples"
)

// folder is the folder that was opened, as a produce.Folder: nothing is opened that does not stay in it, whatever links there are in it.
type folder struct{ root *os.Root }

// Open implements produce.Folder.
func (f folder) Open(path string) (*samples.Reader, func(), error) {
	clean := filepath.FromSlash(path)
	if !filepath.IsLocal(clean) {
		return nil, nil, fmt.Errorf("%s is not in the folder that was opened; a page plays only what is", path)
	}
	info, err := f.root.Stat(clean) // before opening: opening a named pipe would wait for ever
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil, nil, fmt.Errorf("%s: %w", path, fs.ErrNotExist)
		}
		return nil, nil, fmt.Errorf("%s is not to be read from the folder that was opened", path)
	}
	if !info.Mode().IsRegular() {
		return nil, nil, fmt.Errorf("%s is not a regular file", path)
	}
	file, err := f.root.Open(clean)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", path, plain(err))
	}
	r, err := samples.NewReader(file, info.Size(), path)
	if err != nil {
		file.Close()
		return nil, nil, err
	}
	return r, func() { file.Close() }, nil
}

// Stamp implements produce.Folder.
func (f folder) Stamp(path string) string {
	info, err := f.root.Stat(filepath.FromSlash(path))
	if err != nil {
		return ""
	}
	return produce.Stamp(info)
}
