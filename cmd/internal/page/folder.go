package page

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"drywire/cmd/internal/files"
	"drywire/cmd/internal/inputs"
	"drywire/cmd/internal/local"
	"drywire/cmd/internal/produce"
	"drywire/samples"
)

// folder is the folder that was opened, as a produce.Folder: nothing is opened that does not stay
// in it, whatever links there are in it.
type folder struct{ root *os.Root }

// regular opens a regular file of the folder.
func (f folder) regular(path string) (*os.File, error) {
	clean := filepath.FromSlash(path)
	if !filepath.IsLocal(clean) {
		return nil, fmt.Errorf("%s is not in the folder that was opened; a page plays only what is", path)
	}
	info, err := f.root.Stat(clean) // before opening: opening a named pipe would wait for ever
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("%s: %w", path, fs.ErrNotExist)
		}
		return nil, fmt.Errorf("%s is not to be read from the folder that was opened", path)
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is not a regular file", path)
	}
	file, err := f.root.Open(clean)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, local.Plain(err))
	}
	return file, nil
}

// Open implements produce.Folder.
func (f folder) Open(path string) (*samples.Reader, func(), error) {
	file, err := f.regular(path)
	if err != nil {
		return nil, nil, err
	}
	held, err := inputs.New(context.Background(), files.Disk{}).Hold(path, file, nil)
	if err != nil {
		return nil, nil, err
	}
	r, err := samples.NewReader(held, held.Size(), path)
	if err != nil {
		file.Close()
		return nil, nil, err
	}
	return r, func() { r.Close(); file.Close() }, nil
}

// Text implements produce.Folder.
func (f folder) Text(path string, most int64) ([]byte, error) {
	file, err := f.regular(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	return io.ReadAll(io.LimitReader(file, most))
}

// Named implements produce.Folder: nobody gives a page another file.
func (f folder) Named(path string) (*samples.Reader, func(), error) {
	return nil, nil, fmt.Errorf("%s is not in the folder that was opened", path)
}

// Path implements produce.Folder.
func (f folder) Path(path string) string { return path }

// Stamp implements produce.Folder.
func (f folder) Stamp(path string) string {
	info, err := f.root.Stat(filepath.FromSlash(path))
	if err != nil {
		return ""
	}
	return fmt.Sprint(info.Size(), " ", info.ModTime().UnixNano())
}

// Near implements produce.Folder: it looks at nothing outside of the folder either.
func (f folder) Near(path string) string {
	clean := filepath.FromSlash(path)
	if !filepath.IsLocal(clean) {
		return ""
	}
	list, err := fs.ReadDir(f.root.FS(), filepath.ToSlash(filepath.Dir(clean)))
	if err != nil {
		return ""
	}
	return produce.Nearest(path, list)
}
