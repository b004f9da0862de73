package page

import (
	"errors"
	"io/fs"
	"net/http"
	"time"

	"drywire/cmd/internal/files"
	"drywire/cmd/internal/inputs"
	"drywire/cmd/internal/local"
)

// Bounds on a recording that comes from a page.
const (
	mostRecording = 512 << 20 // bytes
	longestUpload = 2 * time.Minute
)

// Bring answers a request whose body is a recording, and whose query names it: it is put into the
// folder once it has been read as one. A file of that name that is there stays. The error is a
// Refusal.
func Bring(disk files.System, folder string, w http.ResponseWriter, r *http.Request) error {
	http.NewResponseController(w).SetReadDeadline(time.Now().Add(longestUpload))
	sound, err := inputs.Keep(disk, folder, r.URL.Query().Get("name"), http.MaxBytesReader(w, r.Body, mostRecording))
	if errors.Is(err, fs.ErrExist) {
		return local.Refuse(http.StatusConflict, "a recording of that name is in the folder already: give this one another name")
	}
	var large *http.MaxBytesError
	if errors.As(err, &large) {
		return local.Refuse(http.StatusRequestEntityTooLarge, "the recording is larger than %d MiB: give the chain file its path in a terminal", mostRecording>>20)
	}
	if err != nil {
		return local.Refuse(http.StatusBadRequest, "%v", err)
	}
	local.Answer(w, http.StatusOK, sound)
	return nil
}

// recording puts a recording beside the chain file. The operation "recording" turns to it.
func (s *server) recording(w http.ResponseWriter, r *http.Request) error {
	return Bring(s.options.Disk, s.root.Name(), w, r)
}
