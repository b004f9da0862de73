package local

import (
	"bytes"
	"net/http"
	"strings"
	"time"

	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"
)

// kinds is the content types of the page's files, by the ends of their names; nothing else is
// served.
var kinds = map[string]string{
	".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml",
}

var fonts = map[string][]byte{"font/regular.ttf": goregular.TTF, "font/bold.ttf": gobold.TTF, "font/mono.ttf": gomono.TTF}

// ServeStatic serves a file by its name, which is a key of files and never a path on disk; "" is
// index.html. The three faces of the Go fonts are always there, under font/.
func ServeStatic(files map[string][]byte, w http.ResponseWriter, r *http.Request, path string) {
	if path == "" {
		path = "index.html"
	}
	http.NewResponseController(w).SetWriteDeadline(time.Now().Add(WriteWait))
	if font, ok := fonts[path]; ok {
		w.Header().Set("Content-Type", "font/ttf")
		w.Header().Set("Cache-Control", "private, max-age=86400")
		http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(font))
		return
	}
	dot := strings.LastIndexByte(path, '.')
	b, ok := files[path]
	if !ok || dot < 0 || kinds[path[dot:]] == "" {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", kinds[path[dot:]])
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(b))
}
