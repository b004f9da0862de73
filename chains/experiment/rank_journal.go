package experiment

import (
	"bytes"
	"encoding/json"
	"fmt"
	"hash/crc32"
	"strconv"

	"drywire/chains/measures"
)

// The journal of a search is a text file that only grows: a head, then a line for every order that
// is known, each with a checksum (CRC-32, IEEE 802.3) before it. A run that was killed may leave
// half a line at the end, which is passed over. Lines are in no particular order, and one order may
// be there twice.

// journalHead says which search a journal belongs to.
type journalHead struct {
	Journal     string   `json:"journal"` // "drywire rank 1"
	Fingerprint string   `json:"fingerprint"`
	Part        int      `json:"part"`
	Parts       int      `json:"parts"`
	Wishes      []string `json:"wishes"`
}

type journalLine struct {
	Order  []string          `json:"order"`
	Values []measures.Figure `json:"values"`
}

const journalFormat = "drywire rank 1"

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

// JournalHead is the first line of the journal of this share.
func (r *Rank) JournalHead() []byte {
	return checked(journalHead{journalFormat, r.Fingerprint(), r.Part, r.Parts, r.Objectives()})
}

// JournalLine is the line of an order that was found.
func JournalLine(names []string, values []measures.Figure) []byte {
	return checked(journalLine{names, values})
}

// ReadJournal takes what a journal of this search holds. anyPart takes the journal of any share,
// else it has to be of this one. It returns how many bytes of it are whole lines (what is left was
// not finished, and what is written next goes in its place) and which of these, counted from 1, are
// damaged and left out.
func (r *Rank) ReadJournal(text []byte, anyPart bool) (good int, damaged []int, err error) {
	for number := 1; ; number++ {
		end := bytes.IndexByte(text[good:], '\n')
		if end < 0 {
			return good, damaged, nil
		}
		line := text[good : good+end]
		if number == 1 {
			if err := r.checkHead(line, anyPart); err != nil {
				return 0, nil, err
			}
		} else {
			var l journalLine
			if err := unchecked(line, &l); err != nil {
				damaged = append(damaged, number)
			} else if !r.Know(l.Order, l.Values) {
				return 0, nil, fmt.Errorf("line %d is no order of this search", number)
			}
		}
		good += end + 1
	}
}

func (r *Rank) checkHead(line []byte, anyPart bool) error {
	var h journalHead
	if err := unchecked(line, &h); err != nil || h.Journal != journalFormat {
		return fmt.Errorf("is not the journal of a ranking")
	}
	if h.Fingerprint != r.Fingerprint() {
		return fmt.Errorf("is of another search: chain file, take, recording, quality, objectives or limit are not the same")
	}
	if !anyPart && (h.Part != r.Part || h.Parts != r.Parts) {
		return fmt.Errorf("is of part %d/%d, this is part %d/%d", h.Part, h.Parts, r.Part, r.Parts)
	}
	return nil
}

// JournalParts is of how many shares a journal is one; 0 where it is no journal.
func JournalParts(text []byte) int {
	line, _, _ := bytes.Cut(text, []byte("\n"))
	var h journalHead
	if unchecked(line, &h) != nil || h.Journal != journalFormat {
		return 0
	}
	return h.Parts
}

// UnfinishedHead says whether a text is the beginning of the journal's head: a run was killed while
// it wrote that.
func UnfinishedHead(text []byte, r *Rank) bool { return bytes.HasPrefix(r.JournalHead(), text) }
