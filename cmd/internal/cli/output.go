package cli

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"drywire/chains/file"
	"drywire/cmd/internal/files"
)

// output is a stream of text through which all reaches a terminal: what commands one, or turns the
// direction of reading, is written down as \u and its number, which in JSON is the same text. The
// first error is remembered, and after it nothing is written.
type output struct {
	to   io.Writer
	name string
	part []byte // of a character that the next call completes
	err  error
}

// Write implements io.Writer.
func (o *output) Write(b []byte) (int, error) {
	if o.err != nil {
		return 0, o.err
	}
	text := append(o.part, b...)
	whole := len(text)
	for k := max(0, whole-utf8.UTFMax); k < len(text); k++ {
		if utf8.RuneStart(text[k]) && !utf8.FullRune(text[k:]) {
			whole = k
		}
	}
	o.part = append([]byte(nil), text[whole:]...)
	if _, err := io.WriteString(o.to, plain(string(text[:whole]))); err != nil {
		o.err = files.Named(o.name, err)
	}
	return len(b), o.err
}

// plain is a text without what steers a terminal, but for the ends of lines and tabulators.
func plain(text string) string {
	steers := func(c rune) bool { return c != '\n' && c != '\t' && file.Steers(c) }
	if strings.IndexFunc(text, steers) < 0 && utf8.ValidString(text) {
		return text
	}
	var b strings.Builder
	for _, c := range text { // bytes that are no character come as U+FFFD
		if steers(c) {
			fmt.Fprintf(&b, "\\u%04x", c)
		} else {
			b.WriteRune(c)
		}
	}
	return b.String()
}

// raw is the stream itself, for sound and for bars that move.
func raw(stream io.Writer) io.Writer {
	if o, ok := stream.(*output); ok {
		return o.to
	}
	return stream
}
