// Package class is what listeners have answered in lessons: the texts that the pages of lessons give
// to be pasted (ParseAnswers), and what a class believed before a lesson and after it, added up
// (Merge) and drawn (Picture). It knows no lesson: beliefs are their words.
package class

import (
	"fmt"
	"html"
	"slices"
	"strings"

	"drywire/chains/file"
	"drywire/chains/internal/yamltext"
)

// Answers is what one listener has answered: beliefs by their words, and takes by their names; ""
// where there was no answer.
type Answers struct {
	Lesson, Who   string
	Right         string // the belief that is right
	Before, After string
	Hear          string // the take that was to be heard; neither
	Heard         string
	Saw           string // in the listener's words
}

// answersHead begins the text of one listener's answers.
const answersHead = "drywire answers 1"

// ParseAnswers reads what lesson pages give to be pasted: any number of texts in a row, each with
// its head and a line for every key. The error is file.Faults.
func ParseAnswers(name string, src []byte) ([]Answers, error) {
	lines := strings.Split(strings.ReplaceAll(strings.TrimPrefix(string(src), "\ufeff"), "\r", ""), "\n")
	var list []Answers
	var faults file.Faults
	fault := func(k int, format string, args ...any) {
		faults = append(faults, file.Fault{File: name, Line: k + 1, Column: 1, Text: yamltext.OneLine(fmt.Sprintf(format, args...)), Excerpt: yamltext.Excerpt(lines, k+1, 1)})
	}
	var seen map[string]bool
	var keys []string
	for k, line := range lines {
		line = strings.TrimSpace(line)
		if len(faults) >= yamltext.MaxFaults {
			break
		}
		switch {
		case line == "":
			continue
		case line == answersHead:
			list, seen = append(list, Answers{}), map[string]bool{}
			continue
		case len(list) == 0:
			fault(k, "answers begin with the line %q", answersHead)
			return nil, faults
		}
		key, value, ok := strings.Cut(line, ":")
		of := list[len(list)-1].fields()
		if keys = keys[:0]; !ok || of[key] == nil {
			for name := range of {
				keys = append(keys, name)
			}
			slices.Sort(keys)
			near := yamltext.Nearest(key, keys)
			if near != "" {
				near = fmt.Sprintf("; did you mean %q?", near)
			}
			fault(k, "no key %q%s (keys: %s)", yamltext.Clipped(key, 40), near, strings.Join(keys, ", "))
			continue
		}
		if seen[key] {
			fault(k, "%s is here twice; the next listener's answers begin with the line %q", key, answersHead)
			continue
		}
		seen[key] = true
		if value = yamltext.OneLine(strings.TrimSpace(value)); value != "-" {
			*list[len(list)-1].fields()[key] = value
		}
	}
	for k, a := range list {
		if a.Lesson == "" || a.Right == "" {
			fault(0, "listener %d has no line %q or no line %q", k+1, "lesson", "right")
		}
	}
	if len(list) == 0 && len(faults) == 0 {
		fault(0, "there are no answers in it; they begin with the line %q", answersHead)
	}
	if len(faults) > 0 {
		return nil, faults
	}
	return list, nil
}

// fields are where the lines of a text go, by their keys.
func (a *Answers) fields() map[string]*string {
	return map[string]*string{
		"lesson": &a.Lesson, "who": &a.Who, "right": &a.Right, "before": &a.Before, "after": &a.After,
		"hear": &a.Hear, "heard": &a.Heard, "saw": &a.Saw,
	}
}

// Class is what several listeners believed before a lesson and after it.
type Class struct {
	Lesson  string   `json:"lesson"`
	Count   int      `json:"listeners"`
	Beliefs []Belief `json:"beliefs"` // the right one first, then by how many had it before
	// of those who answered
	Asked   [2]int `json:"answered"` // before, after
	Heard   int    `json:"heard_right"`
	Hearing int    `json:"heard"` // who said what they heard
	// of those who were wrong before, which share is right after: (after - before)/(1 - before),
	// of the shares of right answers; nil where all were right before, or nobody answered
	Gain *float64 `json:"gain"`
	Saw  []string `json:"saw"` // in the listeners' words
}

// Belief is one of them, and how many had it.
type Belief struct {
	Belief string `json:"belief"`
	Right  bool   `json:"right"`
	Before int    `json:"before"`
	After  int    `json:"after"`
}

// Merge adds answers up, a Class per lesson, in the order in which lessons first come.
func Merge(all []Answers) []Class {
	var classes []Class
	for _, a := range all {
		k := slices.IndexFunc(classes, func(c Class) bool { return c.Lesson == a.Lesson })
		if k < 0 {
			k = len(classes)
			classes = append(classes, Class{Lesson: a.Lesson, Beliefs: []Belief{{Belief: a.Right, Right: true}}, Saw: []string{}})
		}
		c := &classes[k]
		c.Count++
		for n, belief := range []string{a.Before, a.After} {
			if belief == "" {
				continue
			}
			c.Asked[n]++
			b := c.belief(belief)
			*[]*int{&b.Before, &b.After}[n]++
		}
		if a.Heard != "" {
			c.Hearing++
			if a.Heard == a.Hear {
				c.Heard++
			}
		}
		if a.Saw != "" {
			c.Saw = append(c.Saw, a.Saw)
		}
	}
	for k := range classes {
		c := &classes[k]
		slices.SortStableFunc(c.Beliefs[1:], func(a, b Belief) int { return b.Before - a.Before })
		if c.Asked[0] > 0 && c.Asked[1] > 0 {
			before, after := float64(c.Beliefs[0].Before)/float64(c.Asked[0]), float64(c.Beliefs[0].After)/float64(c.Asked[1])
			if before < 1 {
				gain := (after - before) / (1 - before)
				c.Gain = &gain
			}
		}
	}
	return classes
}

func (c *Class) belief(name string) *Belief {
	k := slices.IndexFunc(c.Beliefs, func(b Belief) bool { return b.Belief == name })
	if k < 0 {
		k = len(c.Beliefs)
		c.Beliefs = append(c.Beliefs, Belief{Belief: name})
	}
	return &c.Beliefs[k]
}

// Picture draws what classes believed as an SVG file: for every belief a bar before and one after,
// with their numbers, in black and grey, for a screen or for paper.
func Picture(classes []Class) []byte {
	const width, left, row, bar, head = 900, 380, 62, 20, 84
	height := 20
	for _, c := range classes {
		height += head + row*len(c.Beliefs)
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" width="%d" height="%d" role="img" aria-label="What was believed before and after" font-family="Go, Arial, sans-serif" font-size="17">`+"\n", width, height, width, height)
	fmt.Fprintf(&b, `<rect width="%d" height="%d" fill="#fff"/>`+"\n", width, height)
	y := 20
	for _, c := range classes {
		fmt.Fprintf(&b, `<text x="16" y="%d" font-size="22" font-weight="700">%s: %d listeners</text>`+"\n", y+20, html.EscapeString(c.Lesson), c.Count)
		fmt.Fprintf(&b, `<text x="16" y="%d" fill="#555">grey: before; black: after; * the right one</text>`+"\n", y+46)
		y += head - 20
		for _, belief := range c.Beliefs {
			name := belief.Belief
			if belief.Right {
				name = "* " + name
			}
			for k, line := range wrapped(name, 40) {
				fmt.Fprintf(&b, `<text x="16" y="%d">%s</text>`+"\n", y+22+21*k, html.EscapeString(line))
			}
			for k, n := range []int{belief.Before, belief.After} {
				long := 0
				if c.Asked[k] > 0 {
					long = (width - left - 90) * n / c.Asked[k]
				}
				at, fill := y+4+k*(bar+3), []string{"#a8a8a8", "#15181c"}[k]
				fmt.Fprintf(&b, `<rect x="%d" y="%d" width="%d" height="%d" fill="%s"/><text x="%d" y="%d">%d of %d</text>`+"\n", left, at, max(long, 1), bar, fill, left+long+8, at+bar-4, n, c.Asked[k])
			}
			y += row
		}
		y += 20
	}
	b.WriteString("</svg>\n")
	return []byte(b.String())
}

// wrapped is a text in lines of so many characters, two at most.
func wrapped(text string, most int) []string {
	lines := []string{""}
	for _, word := range strings.Fields(text) {
		last := &lines[len(lines)-1]
		switch {
		case *last == "":
			*last = word
		case len([]rune(*last))+1+len([]rune(word)) <= most:
			*last += " " + word
		case len(lines) == 2:
			*last += "…"
			return lines
		default:
			lines = append(lines, word)
		}
	}
	return lines
}
