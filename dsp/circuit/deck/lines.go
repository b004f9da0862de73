package deck

import (
	"bytes"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Bounds of a deck. A pedal's has some fifty cards.
const (
	MaxSize     = 64 << 10 // bytes
	maxCard     = 4000     // bytes of a card with its continuations
	maxCards    = 1000
	maxParams   = 200
	maxKnobs    = 16
	maxNesting  = 8   // circuits within circuits
	maxElements = 300 // once they are all written out
)

// card is a line of a deck with its continuations: lower-case, without comments. at has the place
// of each byte.
type card struct {
	text string
	at   []place
}

// place is that of a byte, or of the card's end.
func (c card) place(off int) place {
	if len(c.at) == 0 {
		return place{1, 1}
	}
	if off < len(c.at) {
		return c.at[off]
	}
	last := c.at[len(c.at)-1]
	return place{last.line, last.column + 1}
}

// cardsOf cuts a deck into its cards and the comments that say something of a knob.
func cardsOf(src []byte, f *faulty) (cards, knobs []card) {
	src = bytes.TrimPrefix(src, []byte("\ufeff"))
	for i, line := range strings.Split(strings.ReplaceAll(strings.ReplaceAll(string(src), "\r\n", "\n"), "\r", "\n"), "\n") {
		c, ok := plain(line, i+1, f)
		if !ok {
			return nil, nil
		}
		trimmed := strings.TrimLeft(c.text, " ")
		from := len(c.text) - len(trimmed)
		switch {
		case trimmed == "":
		case trimmed[0] == '*':
			rest := strings.TrimLeft(trimmed[1:], " ")
			if len(rest) > 5 && strings.EqualFold(rest[:5], "knob ") {
				at := len(c.text) - len(rest)
				knobs = append(knobs, card{c.text[at:], c.at[at:]})
			}
		case trimmed[0] == '+':
			if len(cards) == 0 {
				f.at(c.place(from), "a line that goes on (+), and no card before it")
				continue
			}
			last := &cards[len(cards)-1]
			if len(last.text)+len(c.text) > maxCard {
				f.at(c.place(from), "the card is longer than %d characters", maxCard)
				return nil, nil
			}
			last.text += " " + c.text[from+1:]
			last.at = append(append(last.at, c.place(from)), c.at[from+1:]...)
		default:
			if len(cards) == maxCards {
				f.at(c.place(from), "more than %d cards", maxCards)
				return nil, nil
			}
			if len(trimmed) > maxCard {
				f.at(c.place(from), "the card is longer than %d characters", maxCard)
				return nil, nil
			}
			cards = append(cards, card{trimmed, c.at[from:]})
		}
	}
	return cards, knobs
}

// plain is a line in lower case without the comment at its end; a comment as it is.
func plain(line string, number int, f *faulty) (card, bool) {
	var text []byte
	var at []place
	column := 0
	comment := strings.HasPrefix(strings.TrimLeft(line, " \t"), "*")
	for k, r := range line {
		column++
		p := place{number, column}
		if r == utf8.RuneError {
			if _, size := utf8.DecodeRuneInString(line[k:]); size == 1 {
				f.at(p, "a byte that is not UTF-8 text (0x%02x); save the file as UTF-8", line[k])
				return card{}, false
			}
		}
		switch {
		case r == '\t':
			r = ' '
		case r < ' ' || r >= 0x7f && r < 0xa0 || r == '\u2028' || r == '\u2029' || r == '\ufeff' || unicode.Is(unicode.Bidi_Control, r):
			f.at(p, "a control character (U+%04X)", r)
			return card{}, false
		case comment:
		case r == 'µ' || r == 'μ':
			r = 'u'
		case r == ';', r == '$' && (len(text) == 0 || text[len(text)-1] == ' '):
			return card{string(text), at}, true
		case r >= 'A' && r <= 'Z':
			r += 'a' - 'A'
		case r > 0x7f:
			f.at(p, "%q: outside of comments a deck has plain letters, digits and signs only", r)
			return card{}, false
		}
		before := len(text)
		text = utf8.AppendRune(text, r)
		for range len(text) - before {
			at = append(at, p)
		}
	}
	return card{string(text), at}, true
}

// word is a piece of a card: a name or number, a sign, or an expression in braces.
type word struct {
	text  string
	off   int // in its card
	brace bool
}

// words cuts a card from an offset on. = ( ) and , are words of their own; what is in braces or
// quotes is one.
func words(c card, from int, f *faulty) (list []word, ok bool) {
	for k := from; k < len(c.text); {
		switch x := c.text[k]; {
		case x == ' ':
			k++
		case strings.IndexByte("=(),", x) >= 0:
			list = append(list, word{text: c.text[k : k+1], off: k})
			k++
		case x == '{' || x == '\'':
			end := strings.IndexByte(c.text[k+1:], map[byte]byte{'{': '}', '\'': '\''}[x])
			if end < 0 {
				f.at(c.place(k), "what begins with %c has no end", x)
				return nil, false
			}
			list = append(list, word{c.text[k+1 : k+1+end], k + 1, true})
			k += end + 2
		default:
			end := k
			for end < len(c.text) && strings.IndexByte(" =(),{'", c.text[end]) < 0 {
				end++
			}
			list = append(list, word{text: c.text[k:end], off: k})
			k = end
		}
	}
	return list, true
}
