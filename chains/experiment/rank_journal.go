package experiment

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"strconv"

	"drywire/chains/measures"
	"drywire/dsp/gemv"
)

// The journal of a search is a text file that only grows: a head, then a line for every order that
// is known, each with a checksum (CRC-32, IEEE 802.3) before it. Every line says of which search it
// is and by which arithmetic it was found, so that a damaged one, be it the head, costs itself
// alone. A run that was killed may leave half a line at the end, which is passed over. Lines are in
// no particular order, and one order may be there twice.

// journalOf says which search a line belongs to, and where it comes from.
type journalOf struct {
	Search     string `json:"search"`     // the fingerprint
	Arithmetic string `json:"arithmetic"` // gemv.Arithmetic where it was found
	Part       int    `json:"part"`
	Parts      int    `json:"parts"`
}

// journalLine is the head, which has Journal and Wishes, or an order, which has the others.
type journalLine struct {
	Journal string   `json:"journal,omitempty"` // "drywire rank 2"
	Wishes  []string `json:"wishes,omitempty"`
	journalOf
	Order  []string          `json:"order,omitempty"`
	Values []measures.Figure `json:"values,omitempty"`
}

const journalFormat = "drywire rank 2"

func checked(v any) []byte {
	text, err := json.Marshal(v)
	if err != nil {
		panic(fmt.Sprintf("experiment: journal: %v", err)) // figures are finite
	}
	return fmt.Appendf(nil, "%08x %s\n", crc32.ChecksumIEEE(text), text)
}

// unchecked is what a line of a journal holds, if its checksum is right.
func unchecked(line []byte, v any) error {
	sum, text, ok := bytes.Cut(line, []byte(" "))
	want, err := strconv.ParseUint(string(sum), 16, 32)
	if !ok || err != nil || len(sum) != 8 || uint32(want) != crc32.ChecksumIEEE(text) {
		return fmt.Errorf("its checksum is wrong")
	}
	return json.Unmarshal(text, v)
}

func (r *Rank) journalOf() journalOf {
	return journalOf{r.Fingerprint(), gemv.Arithmetic(), r.Part, r.Parts}
}

// JournalHead is the first line of the journal of this share, with its line end.
func (r *Rank) JournalHead() []byte {
	return checked(journalLine{Journal: journalFormat, Wishes: r.Objectives(), journalOf: r.journalOf()})
}

// JournalLine writes the lines of the orders that this share finds.
func (r *Rank) JournalLine() func(names []string, values []measures.Figure) []byte {
	of := r.journalOf()
	return func(names []string, values []measures.Figure) []byte {
		return checked(journalLine{journalOf: of, Order: names, Values: values})
	}
}

// Journal is what a journal of a search holds.
type Journal struct {
	Good    int   // bytes that are whole lines: what is left was not finished
	Damaged []int // lines, counted from 1, that are left out
	Headed  bool  // whether its head is whole
}

// ReadJournal takes what a journal of this search holds. anyPart takes the journal of any share,
// else it has to be of this one. What is written next goes behind what is good. It is an error
// where text is no journal, or that of another search, kind of processor or share, or holds an
// order that is none of this search's. Damaged lines are no error: Journal has their numbers.
func (r *Rank) ReadJournal(text []byte, anyPart bool) (j Journal, err error) {
	of := r.journalOf()
	lines := 0
	for number := 1; ; number++ {
		end := bytes.IndexByte(text[j.Good:], '\n')
		if end < 0 {
			break
		}
		var l journalLine
		if err := unchecked(text[j.Good:j.Good+end], &l); err != nil {
			j.Damaged = append(j.Damaged, number)
		} else if err := of.joins(l, anyPart); err != nil {
			return Journal{}, err
		} else if lines++; l.Journal != "" {
			j.Headed = true
		} else if !r.Know(l.Order, l.Values) {
			return Journal{}, fmt.Errorf("line %d is no order of this search", number)
		}
		j.Good += end + 1
	}
	if lines == 0 && j.Good > 0 {
		return Journal{}, errNoJournal
	}
	return j, nil
}

var errNoJournal = errors.New("is not the journal of a ranking")

// joins says why a line is not of this search.
func (of journalOf) joins(l journalLine, anyPart bool) error {
	switch {
	case l.Journal != "" && l.Journal != journalFormat, l.Search == "":
		return errNoJournal
	case l.Search != of.Search:
		return fmt.Errorf("is of another search: chain file, take, recording, quality, objectives, limit or the version of the program are not the same")
	case l.Arithmetic != of.Arithmetic:
		return fmt.Errorf("was found on a processor that rounds otherwise (%s; this one: %s), so the last digits would not match: run and join all shares on processors of one kind", l.Arithmetic, of.Arithmetic)
	case !anyPart && (l.Part != of.Part || l.Parts != of.Parts):
		return fmt.Errorf("is of part %d/%d, this is part %d/%d", l.Part, l.Parts, of.Part, of.Parts)
	}
	return nil
}

// JournalParts is of how many shares a journal is one; 0 where it is no journal.
func JournalParts(text []byte) int {
	for line := range bytes.Lines(text) {
		var l journalLine
		if unchecked(bytes.TrimSuffix(line, []byte("\n")), &l) == nil && l.Search != "" {
			return l.Parts
		}
	}
	return 0
}

// UnfinishedHead reports whether a text is the beginning of the journal's head: a run was killed
// while it wrote that.
func UnfinishedHead(text []byte, r *Rank) bool { return bytes.HasPrefix(r.JournalHead(), text) }
