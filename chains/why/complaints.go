package why

import (
	"context"

	"drywire/chains/measures"
)

// Complaint is a complaint in a player's words with the measure and the limit that it stands for.
// It holds where the measure is on the wrong side of the limit.
type Complaint struct {
	Word    string            `json:"word"`
	Says    string            `json:"says"` // as a player would
	Measure *measures.Measure `json:"measure"`
	Limit   float64           `json:"limit"` // in the measure's unit
	Step    float64           `json:"step"`  // the least change that is worth speaking of
	Source  string            `json:"source"`
	Unknown string            `json:"unknown"` // what the model cannot know of it

	// of what a comparison speaks of, what the complaint is itself; or nil
	Itself *measures.Measure `json:"-"`
	// Gone: where the measure finds none of it, the complaint is gone too. Else a chain in which it
	// cannot be measured says nothing.
	Gone bool `json:"-"`
	// Relative: the measure is compared with its median over the file's other takes.
	Relative bool `json:"relative,omitempty"`
	// Either: the difference counts whichever way it goes. The other presets are compared with,
	// where the take is one.
	Either bool `json:"either,omitempty"`
}

// Complaints is all of them, in the order in which help lists them.
var Complaints = []Complaint{
	{
		Word: "hiss", Says: "it hisses when I stop playing",
		Itself:  measures.NoiseChange,
		Measure: measures.OverHiss, Limit: 60, Step: 1, Gone: true,
		Source:  "playing at 85 to 90 dB(A) in a room of 25 to 30 dB(A): common practice, no source",
		Unknown: "a noisy or failing part, and interference from a phone, a dimmer or a computer, are not in the model",
	},
	{
		Word: "hum", Says: "it hums when I stop playing",
		Measure: measures.OverHum, Limit: 60, Step: 1, Gone: true,
		Source:  "as for hiss: common practice, no source",
		Unknown: "ground loops, a shared adapter that the file does not name, a bad shield and a transformer close by are not in the model: drywire noise says what is",
	},
	{
		Word: "dull", Says: "it is dull, the treble is gone",
		Measure: measures.Brightness, Limit: -6, Step: 1,
		Source:  "half the amplitude of the dry guitar's: common practice, no source",
		Unknown: "old strings, the loudspeaker that you really have and where you stand are not in the model",
	},
	{
		Word: "harsh", Says: "it is harsh and bites",
		Measure: measures.Bite, Limit: 9, Step: 1,
		Source:  "common practice, no source",
		Unknown: "the loudspeaker that you really have, and how it beams at you, are not in the model",
	},
	{
		Word: "thin", Says: "it is thin, there is no body",
		Measure: measures.Bass, Limit: -6, Step: 1,
		Source:  "half the amplitude of the dry guitar's: common practice, no source",
		Unknown: "two amplifiers of opposite polarity in one room are seen only where the file has both; the room is not in the model",
	},
	{
		Word: "boomy", Says: "it booms",
		Measure: measures.Boom, Limit: 6, Step: 1,
		Source:  "twice the amplitude of the dry guitar's: common practice, no source",
		Unknown: "the room, and an amplifier on a hollow stage, are not in the model",
	},
	{
		Word: "muddy", Says: "it is muddy",
		Measure: measures.Mud, Limit: 4, Step: 1,
		Source:  "common practice, no source",
		Unknown: "the rest of the band is not in the model",
	},
	{
		Word: "no-clean-up", Says: "it does not clean up when I roll the guitar back",
		Measure: cleanUp, Limit: 6, Step: 1,
		Source:  "half of the distortion left at volume 2: common practice, no source",
		Unknown: "a treble-bleed network in the guitar is not in the model",
	},
	{
		Word: "dead-sustain", Says: "notes die too soon",
		Itself:  measures.SustainChange,
		Measure: measures.Sustain, Limit: 0.9 * measures.NoteFalls, Step: 0.1,
		Source:  "a tenth shorter than the note at the guitar: closed form of the test note",
		Unknown: "frets, action and how the guitar answers to a loud amplifier are not in the model",
	},
	{
		Word: "no-headroom", Says: "something breaks up that should stay clean",
		Measure: measures.LeastHeadroom, Limit: 0, Step: 1, Gone: true,
		Source:  "the highest peak at its input meets its ceiling: by definition",
		Unknown: "a supply that gives less than its label says is not in the model",
	},
	{
		Word: "smeared-echoes", Says: "the echoes smear into what I play",
		Measure: measures.ClearRepeats, Limit: 20, Step: 1,
		Source:  "what is between the notes at a tenth of the repeat's amplitude: common practice, no source",
		Unknown: "the room's own echoes are not in the model",
	},
	{
		Word: "stumbling-octave", Says: "the octave below stumbles on low notes",
		Measure: measures.OctaveInStep, Limit: 75, Step: 5,
		Source:  "a quarter of the note in the wrong octave: common practice, no source",
		Unknown: "your picking hand, the pickup that is on and old strings make more of it than any block: the test note is plucked a sixth of the string from the bridge",
	},
	{
		Word: "cannot-turn-up", Says: "I turn it up and it gets no louder",
		Measure: swallowed, Limit: 9, Step: 1,
		Source:  "of 12 dB more from the guitar, 3 dB or less arrive: common practice, no source",
		Unknown: "a speaker that gives in, and ears that do, are not in the model; drywire sweep says what ends the travel of a knob",
	},
	{
		Word: "jumps", Says: "the level jumps when I switch to this preset",
		Itself:  measures.LevelChange,
		Measure: louder, Limit: 2, Step: 0.5, Relative: true, Either: true,
		Source:  "2 LU from the other presets, or takes where it is no preset; 1 LU is just noticed in a change of programme: common practice, no source",
		Unknown: "what the others in the band play is not in the model; drywire presets works out a trim for each preset",
	},
	{
		Word: "too-quiet", Says: "this one gets lost, it is too quiet",
		Itself:  measures.LevelChange,
		Measure: measures.LoudnessAtEnd, Limit: -2, Step: 0.5, Relative: true,
		Source:  "2 LU under the file's other takes; 1 LU is just noticed in a change of programme: common practice, no source",
		Unknown: "what the others in the band play is not in the model",
	},
	{
		Word: "too-loud", Says: "this one jumps out, it is too loud",
		Itself:  measures.LevelChange,
		Measure: louder, Limit: 2, Step: 0.5, Relative: true,
		Source:  "2 LU over the file's other takes: common practice, no source",
		Unknown: "what the others in the band play is not in the model",
	},
}

// louder is the loudness, of which less is wanted.
var louder = func() *measures.Measure {
	m := *measures.LoudnessAtEnd
	m.Better = measures.Lower
	return &m
}()

// swallowed is the compression in dB, of which less is wanted.
var swallowed = func() *measures.Measure {
	m := *measures.Compression
	m.Better = measures.Lower
	return &m
}()

// cleanUp is for what distorts enough to be heard: 1 %, common practice, no source. What is under
// that is inaudible, whether it cleans up or not.
var cleanUp = func() *measures.Measure {
	m := *measures.CleanUp
	m.OfTake = func(ctx context.Context, t measures.Take) (measures.Figure, error) {
		full, err := measures.FullTHD.OfTake(ctx, t)
		if err != nil || !full.OK() {
			return full, err
		}
		if full.Value < 1 {
			return measures.None("nothing to clean up: under 1 %% of distortion"), nil
		}
		return measures.CleanUp.OfTake(ctx, t)
	}
	return &m
}()

// Find is the complaint of that word, or nil.
func Find(word string) *Complaint {
	for k := range Complaints {
		if Complaints[k].Word == word {
			return &Complaints[k]
		}
	}
	return nil
}

// Words is the words of all complaints.
func Words() (list []string) {
	for _, c := range Complaints {
		list = append(list, c.Word)
	}
	return list
}

// Holds reports whether a value is complained of. One that cannot be measured is not.
func (c *Complaint) Holds(f measures.Figure) bool {
	return f.OK() && c.gain(f, measures.Figure{Value: c.Limit}) > 0
}

// gain is by how much b is better than a, in the measure's unit; less than nothing where it is
// worse.
func (c *Complaint) gain(a, b measures.Figure) float64 {
	if c.Measure.Better == measures.Lower {
		return a.Value - b.Value
	}
	return b.Value - a.Value
}

// cured reports whether a figure is on the right side of the limit.
func (c *Complaint) cured(f measures.Figure) bool { return !c.Holds(f) && (f.OK() || c.Gone) }
