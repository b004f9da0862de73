package cli

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
)

// browser says where a page is and opens it.
type browser struct {
	streams
	stop   func() // ends the page
	none   bool   // no browser is to be opened
	closed func()
}

// portIn checks a --port.
func portIn(port int) error {
	if port < 0 || port > 65535 {
		return misusef("--port %d: a port is a number from 1 to 65535", port)
	}
	return nil
}

// open prints the address, what may harm, and a line behind, and opens a browser there.
func (b *browser) open(address, line string) {
	if _, err := fmt.Fprintln(b.out, address); err != nil {
		b.stop() // nobody can know where the page is
		return
	}
	paragraph(b.out, "", hearing, width)
	b.printf("%s\n", line)
	if b.none {
		return
	}
	b.printf("If no browser opens, or it may not read the file that sends it there, open the address yourself.\n")
	closed, err := openBrowser(address)
	if err != nil {
		b.say("drywire: no browser could be opened (%v); open the address yourself", err)
		return
	}
	b.closed = closed
}

// close removes what open has left.
func (b *browser) close() {
	if b.closed != nil {
		b.closed()
	}
}

// openBrowser asks the system to open an address. What a browser is started with can be read by
// everybody on this machine, so it is started with a file that only the user may read and that
// sends it on to the address; closed removes that.
func openBrowser(address string) (closed func(), err error) {
	folder, err := os.MkdirTemp("", "drywire-*") // of mode 0700
	if err != nil {
		return nil, err
	}
	closed = func() { os.RemoveAll(folder) }
	file := filepath.Join(folder, "listen.html")
	html := fmt.Sprintf("<!doctype html><meta charset=\"utf-8\"><title>Drywire</title><meta http-equiv=\"refresh\" content=\"0; url=%s\"><p><a href=%[1]q>Go on to the page</a>.\n", address)
	if err := os.WriteFile(file, []byte(html), 0o600); err != nil {
		closed()
		return nil, err
	}
	name, args := "xdg-open", []string{"file://" + file}
	switch runtime.GOOS {
	case "darwin":
		name, args = "open", []string{file}
	case "windows":
		name, args = "rundll32", []string{"url.dll,FileProtocolHandler", file}
	}
	cmd := exec.Command(name, args...)
	if err := cmd.Start(); err != nil {
		closed()
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	go cmd.Wait() // so that no zombie is left
	return closed, nil
}
