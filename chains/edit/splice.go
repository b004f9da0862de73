package edit

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"drywire/chains/internal/yamltext"
)

// comments reports whether there is a comment in a stretch of blanks, commas and comments.
func (d *document) comments(from, to int) bool {
	return bytes.IndexByte(d.src[from:to], '#') >= 0
}

// replace puts a text in one line in the place of a value. One in block style, which begins in
// lines of its own, moves up behind its key.
func (d *document) replace(e entry, text string) error {
	from := e.value.from
	if e.key != nil && !e.value.form.flow() && e.value.form != scalarPart {
		from = e.key.to + bytes.IndexByte(d.src[e.key.to:], ':') + 1
		text = " " + text
	}
	return d.splice(from, e.value.to, text)
}

// insertKey puts a key behind the entry before of a map (-1: at its beginning). apart asks for an
// empty line in between, in block style.
func (d *document) insertKey(m *part, before int, key, value string, apart bool) error {
	if m.form == flowMap {
		return d.insertFlow(m, before+1, yamltext.Quote(key, true)+": "+value)
	}
	text := strings.Repeat(" ", d.indent(m.from)) + yamltext.Quote(key, false) + ":"
	if isBreak(value[0]) {
		text += value
	} else {
		text += " " + value
	}
	if before < 0 {
		return d.splice(m.from, m.from, strings.TrimLeft(text, " ")+d.eol()+strings.Repeat(" ", d.indent(m.from)))
	}
	if apart {
		text = d.eol() + text
	}
	at := d.lineEnd(m.entries[before].to())
	// comments that are indented like the entry's own lines
	for next := d.next(at); next < len(d.src); next = d.next(at) {
		line := strings.TrimRight(string(d.src[next:d.lineEnd(next)]), " \t")
		if word := strings.TrimLeft(line, " "); !strings.HasPrefix(word, "#") || len(line)-len(word) <= d.indent(m.from) {
			break
		}
		at = d.lineEnd(next)
	}
	return d.splice(at, at, d.eol()+text)
}

// removeKey takes a key and its value out of a map that has others, with the comment behind it, and
// with the empty lines before it where some are behind it too.
func (d *document) removeKey(m *part, k int) error {
	e := m.entries[k]
	if m.form == flowMap {
		return d.removeFlow(m, k)
	}
	// behind the dash of a list: the next key moves up, and comments on the way go before the dash
	if !d.leads(e.from) {
		if k+1 >= len(m.entries) || d.lineStart(e.from) == d.lineStart(m.entries[k+1].from) {
			return errLayout
		}
		next := m.entries[k+1].from
		way := string(d.src[d.next(e.to()):d.lineStart(next)])
		first := d.lineStart(e.from)
		if strings.TrimLeft(string(d.src[first:e.from]), " -") != "" {
			return errLayout
		}
		return d.splice(first, next, way+string(d.src[first:e.from]))
	}
	return d.removeLines(e)
}

// removeLines takes out the lines of an entry. Empty lines that were on both sides of it stay on
// one.
func (d *document) removeLines(e entry) error {
	from, to := d.lineStart(e.from), d.next(e.to())
	if d.blank(to) || to == len(d.src) {
		for from > d.lines[0] && d.blank(d.lineStart(from-1)) {
			from = d.lineStart(from - 1)
		}
	}
	// the last line has no end: now the one before is the last
	if to == len(d.src) && from > d.lines[0] && d.lineEnd(e.to()) == to {
		from--
		if from > d.lines[0] && d.src[from] == '\n' && d.src[from-1] == '\r' {
			from--
		}
	}
	return d.splice(from, to, "")
}

// blank reports whether an empty line begins there.
func (d *document) blank(at int) bool {
	return at < len(d.src) && strings.Trim(string(d.src[at:d.lineEnd(at)]), " \t") == ""
}

// insert puts an entry before the k-th of a list. flow is its text in one line; block is its text
// where it stands in lines of its own.
func (d *document) insert(list *part, k int, flow string, block func(indent string) string) error {
	if list.form == flowList {
		return d.insertFlow(list, k, flow)
	}
	for _, e := range list.entries {
		if !d.leads(e.from) {
			return errLayout
		}
	}
	indent := strings.Repeat(" ", d.indent(list.from))
	if k > 0 {
		apart := ""
		if len(list.entries) > 1 { // empty lines between takes
			j := max(1, min(k, len(list.entries)-1))
			for at := d.next(list.entries[j-1].to()); at < list.entries[j].from && d.blank(at); at = d.next(at) {
				apart += d.eol()
			}
		}
		at := d.lineEnd(list.entries[k-1].to())
		return d.splice(at, at, d.eol()+apart+indent+block(indent))
	}
	at := d.lead(list, 0)
	return d.splice(at, at, indent+block(indent)+d.eol())
}

// lead is where an entry of a list in block style begins with the comments that stand right above
// it.
func (d *document) lead(list *part, k int) int {
	at := d.lineStart(list.entries[k].from)
	stop := d.lines[0]
	if k > 0 {
		stop = d.next(list.entries[k-1].to())
	}
	for at > stop {
		above := d.lineStart(at - 1)
		if above < stop || !strings.HasPrefix(strings.TrimLeft(string(d.src[above:d.lineEnd(above)]), " \t"), "#") {
			break
		}
		at = above
	}
	return at
}

// remove takes an entry out of a list, with the comment behind it. Comments above it stay.
func (d *document) remove(list *part, k int) error {
	if list.form == flowList {
		return d.removeFlow(list, k)
	}
	if !d.leads(list.entries[k].from) {
		return errLayout
	}
	if len(list.entries) == 1 {
		return errLayout
	}
	e := list.entries[k]
	// the empty lines before the next go too
	if to := d.next(e.to()); k == 0 && d.blank(to) && d.lead(list, 1) > to {
		for d.blank(to) {
			to = d.next(to)
		}
		return d.splice(d.lineStart(e.from), to, "")
	}
	return d.removeLines(e)
}

// permute gives a list its entries in another order: the k-th is then the one that was from[k]. In
// block style, comments above an entry and behind it go with it; in flow style they stay.
func (d *document) permute(list *part, from []int) error {
	cut := func(a, b int) string { return string(d.src[a:b]) }
	var begin, end []int
	for k, e := range list.entries {
		if list.form == flowList {
			begin, end = append(begin, e.from), append(end, e.to())
			continue
		}
		if !d.leads(e.from) {
			return errLayout
		}
		begin, end = append(begin, d.lead(list, k)), append(end, d.lineEnd(e.to()))
	}
	var text strings.Builder
	for k, old := range from {
		if k > 0 {
			text.WriteString(cut(end[k-1], begin[k]))
		}
		text.WriteString(cut(begin[old], end[old]))
	}
	return d.splice(begin[0], end[len(end)-1], text.String())
}

// insertFlow puts a text before the k-th entry of a list or a map between brackets.
func (d *document) insertFlow(p *part, k int, text string) error {
	n := len(p.entries)
	switch {
	case n == 0:
		from, to := p.from+1, p.to-1
		if strings.Trim(string(d.src[from:to]), " \t") != "" {
			to = from
			text += " "
		}
		return d.splice(from, to, text)
	case k == 0:
		return d.splice(p.entries[0].from, p.entries[0].from, text+d.between(p, 0))
	case k < n:
		if d.comments(p.entries[k-1].to(), p.entries[k].from) {
			return d.splice(p.entries[k].from, p.entries[k].from, text+d.between(p, k))
		}
		at := p.entries[k-1].to()
		return d.splice(at, at, d.between(p, k)+text)
	}
	last := p.entries[n-1].to()
	line := d.lineEnd(last)
	if line >= p.to || !d.comments(last, line) {
		return d.splice(last, last, d.between(p, n-1)+text)
	}
	// a comment is behind the last entry, and stays there
	_, comma := d.skipLine(last)
	text = d.eol() + strings.Repeat(" ", d.indent(p.entries[n-1].from)) + text
	if comma {
		return d.splice(line, line, text+",")
	}
	return d.splice(last, line, ","+string(d.src[last:line])+text)
}

// skipLine goes over blanks and at most one comma.
func (d *document) skipLine(at int) (end int, comma bool) {
	for ; at < len(d.src); at++ {
		switch c := d.src[at]; {
		case c == ' ' || c == '\t':
		case c == ',' && !comma:
			comma = true
		default:
			return at, comma
		}
	}
	return at, comma
}

// between is what separates entries between brackets, near the k-th.
func (d *document) between(p *part, k int) string {
	if k = max(k, 1); k < len(p.entries) {
		if from, to := p.entries[k-1].to(), p.entries[k].from; !d.comments(from, to) {
			return string(d.src[from:to])
		}
	}
	e := p.entries[len(p.entries)-1]
	if d.leads(e.from) {
		return "," + d.eol() + strings.Repeat(" ", d.indent(e.from))
	}
	return ", "
}

// removeFlow takes an entry out of a list or a map between brackets. Comments stay.
func (d *document) removeFlow(p *part, k int) error {
	n, e := len(p.entries), p.entries[k]
	switch {
	case n == 1 && !d.comments(p.from, e.from) && !d.comments(e.to(), p.to):
		return d.splice(p.from+1, p.to-1, "")
	case k > 0 && !d.comments(p.entries[k-1].to(), e.from):
		return d.splice(p.entries[k-1].to(), e.to(), "")
	case k == 0 && n > 1 && !d.comments(e.to(), p.entries[1].from):
		return d.splice(e.from, p.entries[1].from, "")
	}
	to := e.to()
	if end, comma := d.skip(to); comma {
		to += bytes.IndexByte(d.src[to:end], ',') + 1
	}
	return d.splice(e.from, to, "")
}

// empty makes [] of a list in block style that is the value of a key. Comments in it stay.
func (d *document) empty(e entry) error {
	at := e.key.to + bytes.IndexByte(d.src[e.key.to:], ':') + 1
	from, text := at, " []"
	for _, item := range e.value.entries {
		if !d.leads(item.from) {
			return errLayout
		}
		text += string(d.src[at:d.lineStart(item.from)])
		at = d.next(item.to())
	}
	return d.splice(from, at, text)
}

// arrange gives the list at a path the entries that are wanted. names are those it has; text is
// what an entry that it does not have looks like in one line.
func (d *document) arrange(names, wanted []string, text func(string) string, path ...any) error {
	now := slices.Clone(names)
	for k, n := range wanted {
		if slices.Contains(wanted[:k], n) {
			return fmt.Errorf("%q is there twice", n)
		}
	}
	list := d.find(path...)
	if list == nil || !slices.Contains([]form{flowList, blockList}, list.form) || len(list.entries) != len(names) {
		return errLayout
	}
	stay := func(n string) bool { return slices.Contains(wanted, n) }
	if list.form == blockList && len(now) > 0 && !slices.ContainsFunc(now, stay) {
		e, ok := d.entry(path...)
		if !ok || e.key == nil {
			return errLayout
		}
		if len(wanted) > 0 { // nothing of it stays: the last entry goes when there is another one
			if err := d.insert(list, 0, text(wanted[0]), func(string) string { return "- " + text(wanted[0]) }); err != nil {
				return err
			}
			now = append([]string{wanted[0]}, now...)
		} else {
			return d.empty(e)
		}
	}
	// First the order of those that stay, in the places of those that stay: so each has its
	// comments with it before one goes.
	var kept []string
	for _, n := range wanted {
		if slices.Contains(now, n) {
			kept = append(kept, n)
		}
	}
	from, moved := make([]int, len(now)), false
	for k, n := range now {
		from[k] = k
		if stay(n) {
			from[k], kept = slices.Index(now, kept[0]), kept[1:]
		}
		moved = moved || from[k] != k
	}
	if moved {
		if err := d.permute(d.find(path...), from); err != nil {
			return err
		}
		old := slices.Clone(now)
		for k := range now {
			now[k] = old[from[k]]
		}
	}
	for k := len(now) - 1; k >= 0; k-- {
		if stay(now[k]) {
			continue
		}
		if err := d.remove(d.find(path...), k); err != nil {
			return err
		}
		now = slices.Delete(now, k, k+1)
	}
	for k, n := range wanted {
		if k < len(now) && now[k] == n {
			continue
		}
		if err := d.insert(d.find(path...), k, text(n), func(string) string { return "- " + text(n) }); err != nil {
			return err
		}
		now = slices.Insert(now, k, n)
	}
	return nil
}

// entry is the entry that a path ends in.
func (d *document) entry(path ...any) (entry, bool) {
	p := d.find(path[:len(path)-1]...)
	if p == nil {
		return entry{}, false
	}
	k, isNumber := path[len(path)-1].(int)
	if !isNumber {
		k = p.index(path[len(path)-1].(string))
	}
	if k < 0 || k >= len(p.entries) {
		return entry{}, false
	}
	return p.entries[k], true
}
