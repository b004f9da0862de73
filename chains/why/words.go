package why

import (
	"fmt"
	"math"
	"strings"

	"drywire/chains/measures"
)

// Text is a value of the complaint's measure as it is printed, with its unit.
func (c *Complaint) Text(v float64) string {
	unit := c.Measure.Shown()
	if c.Relative {
		unit = "LU"
	}
	return strings.TrimSpace(measures.Figure{Value: v}.Text(c.Measure.Digits) + " " + unit)
}

// is says what a value is, as a clause.
func (c *Complaint) is(v float64) string {
	switch {
	case !c.Relative:
		return fmt.Sprintf("%s is %s", c.Measure.Name, c.Text(v))
	case c.Either:
		return fmt.Sprintf("it is %s away from the others", c.Text(v))
	case v < 0:
		return fmt.Sprintf("it is %s softer than the others", c.Text(-v))
	}
	return fmt.Sprintf("it is %s louder than the others", c.Text(v))
}

// at is where it is judged, as it follows a clause.
func at(a *Answer) string {
	if a.At == "" {
		return ""
	}
	return " at " + a.At
}

// nothing is the answer where nothing is wrong.
func (f *finder) nothing() string {
	c, a := f.q.Complaint, f.answer
	if !a.Value.OK() {
		return fmt.Sprintf("Nothing to find: %s of %q is not measurable (%s).", c.Measure.Name, a.Take, a.Value.Why)
	}
	return fmt.Sprintf("Nothing wrong is found: of %q, %s%s, and it is complained of %s.", a.Take, c.is(a.Value.Value), at(a), c.beyond())
}

// beyond is from where on a complaint holds.
func (c *Complaint) beyond() string {
	word := "under"
	if c.Measure.Better == "lower" {
		word = "over"
	}
	if c.Relative {
		return "from " + c.Text(math.Abs(c.Limit)) + " on"
	}
	return word + " " + c.Text(c.Limit)
}

// sentence is the answer in one or two.
func (f *finder) sentence() string {
	c, a := f.q.Complaint, f.answer
	text := fmt.Sprintf("It is so: %s%s, complained of %s. ", c.is(a.Value.Value), at(a), c.beyond())
	switch {
	case len(a.Causes) == 0 && a.At != "" && len(a.About) > 0:
		text += fmt.Sprintf("No other pedal causes it: it is made by %s, at whose jack it is judged, or by the guitar and the cables.", among(a.About))
	case len(a.Causes) == 0 && c.Holds(a.Bare):
		text += "No pedal causes it: it is there without any of them, so it is the guitar, the cables or the amplifier."
	case len(a.Causes) == 0:
		text += "No pedal causes it alone, and taking one out does not help: they do it together."
	default:
		first := a.Causes[0]
		var needed []string // each of which by itself makes it go, taken out
		for _, k := range a.Causes {
			if k.Necessary && !k.Sufficient && len(k.Blocks) == 1 {
				needed = append(needed, k.Blocks...)
			}
		}
		verb := "causes"
		if len(first.Blocks) > 1 {
			verb = "together cause"
		}
		switch {
		case first.Necessary && first.Sufficient:
			text += fmt.Sprintf("%s %s it: without it, it is gone; alone, it is there.", capital(among(first.Blocks)), verb)
		case first.Necessary && len(needed) > 1 && len(first.Blocks) == 1:
			text += fmt.Sprintf("%s make it together: with any one of them out, it is gone.", capital(among(needed)))
		case first.Necessary:
			text += fmt.Sprintf("%s %s it: taken out, it is gone.", capital(among(first.Blocks)), verb)
		case first.Gain == most:
			text += fmt.Sprintf("%s %s it.", capital(among(first.Blocks)), verb)
		default:
			text += fmt.Sprintf("The largest part comes from %s (%s better without), which is not all of it.", among(first.Blocks), c.Text(first.Gain))
		}
	}
	if len(a.Causes) > 0 && c.Holds(a.Bare) {
		text += fmt.Sprintf(" Without any pedal it is there too (%s): a part of it is the guitar, the cables or the amplifier.", c.Text(a.Bare.Value))
	}
	if len(a.Fixes) > 0 {
		fix := a.Fixes[0]
		word := "helps most for the least work"
		if fix.Cures {
			word = "cures it"
		}
		text += fmt.Sprintf(" What %s: %s (%s).", word, fix.Text, f.gained(fix))
	} else {
		text += " No single change that was tried helps."
	}
	return text
}

func (f *finder) gained(x Fix) string {
	text := fmt.Sprintf("then %s", f.q.Complaint.Text(x.Value.Value))
	switch x.Plugs {
	case 0:
		return text + ", no plug to move"
	case 1:
		return text + ", one plug"
	}
	return fmt.Sprintf("%s, %d plugs", text, x.Plugs)
}

// confirm is the one experiment on the floor that tells the remaining explanations apart.
func (f *finder) confirm() string {
	c, a := f.q.Complaint, f.answer
	if len(a.Causes) == 0 && a.At != "" && len(a.About) > 0 {
		return fmt.Sprintf("Listen in front of %s as well: if it is there too, it comes from before.", among(a.About))
	}
	if len(a.Causes) == 0 {
		return fmt.Sprintf("Plug the guitar straight into the amplifier: by this model the complaint stays (%s).", figure(c, a.Bare.Value, a.Bare.OK()))
	}
	first := a.Causes[0]
	text := fmt.Sprintf("Pull %s out of the chain and plug past it: by this model, %s becomes %s.", among(first.Blocks), c.Measure.Name, figure(c, first.Without.Value, first.Without.OK()))
	if len(a.Causes) > 1 {
		second := a.Causes[1]
		text += fmt.Sprintf(" If it stays as it was, put that back and pull %s.", among(second.Blocks))
	}
	return text + " If it still stays, it is something that the model does not know."
}

func figure(c *Complaint, v float64, ok bool) string {
	if !ok {
		return "nothing"
	}
	return c.Text(v)
}

func capital(text string) string {
	if text == "" {
		return text
	}
	return strings.ToUpper(text[:1]) + text[1:]
}
