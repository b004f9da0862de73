package hunt

import "fmt"

// Step is where a search stands: what is asked next, or what it ends with. It is also the JSON
// object of the page.
type Step struct {
	Ask       string   `json:"ask"`       // "" at the end
	Words     []string `json:"words"`     // that may be answered
	Likeliest string   `json:"likeliest"` // so far; "" while none stands out
	Said      string   `json:"said"`      // the verdict; "" before the end
	Tests     int      `json:"tests"`     // done so far
	Plugs     int      `json:"plugs"`
	Minutes   float64  `json:"minutes"`
}

// skip is answered where a test cannot be done.
const skip = "skip"

// standsOut is how likely the likeliest suspect has to be to be named before the end.
const standsOut = 0.3

// At is where a search stands after some answers: what the noise sounds like, then one for each
// test as it is asked. The error is of an answer that is none.
func (h *Hunt) At(answers []string) (*Step, error) {
	s := h.Begin()
	if len(answers) == 0 {
		return &Step{Ask: "What do you hear?", Words: Sounds}, nil
	}
	if err := s.Hear(answers[0]); err != nil {
		return nil, err
	}
	step := &Step{Words: append(append([]string{}, Changes...), skip)}
	for _, word := range answers[1:] {
		k, ok := s.Next()
		if !ok {
			return nil, fmt.Errorf("%q answers nothing: the search is at its end", word)
		}
		if word == skip {
			s.Skip(k)
		} else if err := s.Answer(k, word); err != nil {
			return nil, err
		} else {
			step.Tests++
		}
	}
	step.Plugs, step.Minutes = s.Plugs, s.Minutes
	k, ok := s.Next()
	if !ok {
		step.Words, step.Said = []string{}, s.Said()
		return step, nil
	}
	step.Ask = s.Ask(k)
	for _, sound := range Sounds { // another noise than before says that something else is left
		if sound != answers[0] {
			step.Words = append(step.Words, sound)
		}
	}
	if top := s.Ranked()[0]; top.P > standsOut {
		step.Likeliest = fmt.Sprintf("%s (%.0f %%)", top.Suspect.Name, 100*top.P)
	}
	return step, nil
}
