package cli

import (
	"fmt"
	"io"
	"math/cmplx"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"drywire/chains/measures"
	"drywire/chains/wiring"
	"drywire/cmd/internal/produce"
	"drywire/dsp"
)

func quantity(v float64, u dsp.Unit) string { return produce.Quantity(v, u) }

func volts(v float64) string { return produce.Volts(v) }

func ohms(z complex128) string { return quantity(cmplx.Abs(z), dsp.Ohms) }

func rateText(hz float64) string { return strconv.FormatFloat(hz/1e3, 'g', -1, 64) + " kHz" }

func decibels(db float64) string { return produce.Decibels(db) }

func decibelsOf(db *float64) string {
	if db == nil {
		return "-"
	}
	return decibels(*db)
}

// grouped is a count with its thousands apart.
func grouped(n int64) string {
	digits := strconv.FormatInt(n, 10)
	var b strings.Builder
	for k, d := range digits {
		if k > 0 && (len(digits)-k)%3 == 0 && digits[k-1] != '-' {
			b.WriteByte(' ')
		}
		b.WriteRune(d)
	}
	return b.String()
}

func plural(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, more)
}

// clip shortens a text to so many characters.
func clip(text string, most int) string {
	if utf8.RuneCountInString(text) <= most {
		return text
	}
	return string([]rune(text)[:most-1]) + "…"
}

// table prints aligned columns. The first of its rows is the header, whose cells may have lines;
// columns whose header begins with a space are set flush right.
type table struct {
	header []string
	rows   [][]string
}

func (t *table) row(cells ...string) { t.rows = append(t.rows, cells) }

func (t *table) print(w io.Writer) {
	var lines [][]string
	tall := 0
	heads := make([][]string, len(t.header))
	for k, h := range t.header {
		heads[k] = strings.Split(strings.TrimPrefix(h, " "), "\n")
		tall = max(tall, len(heads[k]))
	}
	for l := range tall {
		row := make([]string, len(heads))
		for k, h := range heads {
			if l < len(h) {
				row[k] = h[l]
			}
		}
		lines = append(lines, row)
	}
	lines = append(lines, t.rows...)
	for _, row := range lines {
		var b strings.Builder
		for k, c := range row {
			pad := strings.Repeat(" ", t.width(k)-utf8.RuneCountInString(c))
			if k > 0 {
				b.WriteString("  ")
			}
			if strings.HasPrefix(t.header[k], " ") {
				b.WriteString(pad + c)
			} else {
				b.WriteString(c + pad)
			}
		}
		fmt.Fprintln(w, strings.TrimRight(b.String(), " "))
	}
}

// paragraph prints text in lines of at most so many columns, the first with a lead and the others
// as far in.
func paragraph(w io.Writer, lead, text string, most int) {
	in := strings.Repeat(" ", utf8.RuneCountInString(lead))
	line := lead
	empty := true
	for _, word := range strings.Fields(text) {
		if !empty && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > most {
			fmt.Fprintln(w, line)
			line, empty = in, true
		}
		if !empty {
			line += " "
		}
		line += word
		empty = false
	}
	fmt.Fprintln(w, strings.TrimRight(line, " "))
}

// within is print in as many tables as it takes to be no wider than most, each with the first
// column.
func (t *table) within(w io.Writer, most int) {
	for from := 1; from < len(t.header); {
		to, room := from, most-t.width(0)
		for ; to < len(t.header) && (to == from || room >= 2+t.width(to)); to++ {
			room -= 2 + t.width(to)
		}
		if from > 1 {
			fmt.Fprintln(w)
		}
		part := table{header: append([]string{t.header[0]}, t.header[from:to]...)}
		for _, row := range t.rows {
			part.row(append([]string{row[0]}, row[from:to]...)...)
		}
		part.print(w)
		from = to
	}
}

// width is that of a column.
func (t *table) width(k int) (n int) {
	for _, line := range strings.Split(strings.TrimPrefix(t.header[k], " "), "\n") {
		n = max(n, utf8.RuneCountInString(line))
	}
	for _, row := range t.rows {
		n = max(n, utf8.RuneCountInString(row[k]))
	}
	return n
}

// headings is the columns of some measures, with their units.
func headings(list []*measures.Measure) (heads []string) {
	for _, m := range list {
		heads = append(heads, " "+m.Heading+"\n"+m.Shown())
	}
	return heads
}

// texts is a row of them.
func texts(list []*measures.Measure, values measures.Values) (cells []string) {
	for _, m := range list {
		cells = append(cells, m.Format(values.Of(m)))
	}
	return cells
}

// measureList is some measures for a help, by their keys.
func measureList(list []*measures.Measure) string {
	var b strings.Builder
	for _, m := range list {
		paragraph(&b, fmt.Sprintf("    %-20s  ", m.Key), m.Definition, width)
	}
	return b.String()
}

// keyList is their keys alone.
func keyList(list []*measures.Measure) string {
	var keys []string
	for _, m := range list {
		keys = append(keys, m.Key)
	}
	var b strings.Builder
	paragraph(&b, "    ", strings.Join(keys, ", "), width)
	return b.String()
}

func letterOrDigit(c rune) bool { return unicode.IsLetter(c) || unicode.IsDigit(c) }

// lost is by how much a hand-over lowers the level, in dB: the divider of source and input.
func lost(h wiring.Handover) float64 { return dsp.ToDB(cmplx.Abs((h.Source + h.Input) / h.Input)) }

// wrap is print with the last column broken into lines, so that no line is longer than most.
func (t *table) wrap(w io.Writer, most int) {
	last := len(t.header) - 1
	room := most
	for k := range t.header[:last] {
		room -= t.width(k) + 2
	}
	room = max(room, 20)
	broken := table{header: t.header}
	for _, row := range t.rows {
		var text strings.Builder
		paragraph(&text, "", row[last], room)
		for k, line := range strings.Split(strings.TrimSuffix(text.String(), "\n"), "\n") {
			cells := make([]string, last+1)
			if k == 0 {
				copy(cells, row)
			}
			cells[last] = line
			broken.row(cells...)
		}
	}
	broken.print(w)
}
