package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"drywire/dsp/circuit"
	"drywire/dsp/section"
)

// Knob is a pot of a case that is turned while it runs: in the deck, its two halves are resistors
// whose value is an expression of time.
//
// The expression is independent of how a chain is rendered. From point to point the dial follows
// 3x²-2x³, which is the only cubic that is level at both ends; so every point must be a first, a
// last or a turning one.
type Knob struct {
	// in the circuit: its halves are ELEMENT.top and ELEMENT.bottom
	Element string  `json:"element"`
	Track   float64 `json:"track"` // Ω
	// the track is fed from its other end: the share below the wiper is the taper of 10 minus the
	// dial
	Turned bool      `json:"turned"`
	Times  []float64 `json:"times"`
	Dial   []float64 `json:"dial"`
}

// dial is the knob's place, 0 to 10, as an expression of time.
func (k Knob) dial() string {
	text := fmt.Sprint(k.Dial[len(k.Dial)-1])
	for i := len(k.Times) - 2; i >= 0; i-- {
		s := fmt.Sprintf("((time-%v)/%v)", k.Times[i], k.Times[i+1]-k.Times[i])
		text = fmt.Sprintf("((time<%v)?(%v+%v*%s*%s*(3-2*%s)):(%s))", k.Times[i+1], k.Dial[i], k.Dial[i+1]-k.Dial[i], s, s, s, text)
	}
	return fmt.Sprintf("((time<%v)?%v:%s)", k.Times[0], k.Dial[0], text)
}

// audio is the base of an audio taper that has 15 % of the track at half the dial.
const audio = (1/0.15 - 1) * (1/0.15 - 1)

// write puts the expressions in the place of the two resistors.
func (k Knob) write(deck string) (string, error) {
	node := "knob_" + circuit.SPICEName(k.Element)
	x := "v(" + node + ")/10"
	if k.Turned {
		x = "(1-" + x + ")"
	}
	upper := fmt.Sprintf("min(max(1,%v*(1-(pow(%v,%s)-1)/%v)),%v)", k.Track, audio, x, audio-1, k.Track-1)
	cards := map[string]string{".top": upper, ".bottom": fmt.Sprintf("%v-%s", k.Track, upper)}
	lines := strings.Split(deck, "\n")
	found := 0
	for i, line := range lines {
		for half, value := range cards {
			f := strings.Fields(line)
			if len(f) == 4 && f[0] == "R"+circuit.SPICEName(k.Element+half) {
				lines[i] = fmt.Sprintf("%s %s %s R='%s'", f[0], f[1], f[2], value)
				found++
			}
		}
	}
	if found != 2 {
		return "", fmt.Errorf("%s: %d halves of a pot in the deck", k.Element, found)
	}
	lines = append(lines[:1], append([]string{fmt.Sprintf("B%s %s 0 V=%s", node, node, k.dial())}, lines[1:]...)...)
	return strings.Join(lines, "\n"), nil
}

// moving is cases with a knob that is turned while they run.
func moving() []Case {
	const head = "drywire: 1\ntitle: reference\nrecording: {file: none.wav, full_scale: 1 V, load: none}\n"
	return []Case{
		{
			Name: "guitar's volume 10 to 3 into a fuzz",
			Text: head + "guitar: {volume: {at: {50 ms: 10, 1.05 s: 3}}}\nblocks: {fuzz: {kind: fuzz, fuzz: 9, level: 8}}\norder: [fuzz]\n",
			Jack: "out", Rate: 48000, Length: 1.1, Drive: Tones(330, 0.1),
			Knobs: []Knob{{Element: "guitar.volume", Track: 500e3, Times: []float64{0.05, 1.05}, Dial: []float64{10, 3}}},
		},
		{
			Name: "volume pedal 10 to 3",
			Text: head + "blocks: {pedal: {kind: volume, volume: {at: {50 ms: 10, 450 ms: 3}}}}\norder: [pedal]\n",
			Jack: "out", Rate: 48000, Length: 0.5, Drive: Tones(997, 0.5),
			Knobs: []Knob{{Element: "pedal.pot", Track: 250e3, Times: []float64{0.05, 0.45}, Dial: []float64{10, 3}}},
		},
		{
			Name: "wah rocked from 2 to 9 and back",
			Text: head + "blocks: {wah: {kind: wah, position: {at: {50 ms: 2, 250 ms: 9, 450 ms: 2}}}}\norder: [wah]\n",
			Jack: "out", Rate: 48000, Length: 0.5, Drive: Tones(330, 0.02, 1244.5, 0.02),
			Knobs: []Knob{{Element: "wah.pedal", Track: 100e3, Turned: true, Times: []float64{0.05, 0.25, 0.45}, Dial: []float64{2, 9, 2}}},
		},
	}
}

// checkMoving prints the error of every moving case, at both qualities.
func checkMoving(ctx context.Context, out io.Writer) error {
	for _, c := range moving() {
		want, residual, a, err := c.Reference(ctx)
		if err != nil {
			return err
		}
		fmt.Fprintf(out, "%-40s reference %.1f dB at %.2g µs", c.Name, residual, a.Step*1e6)
		for _, q := range []section.Quality{section.Normal, section.Fine} {
			y, r, err := c.Render(ctx, q)
			if err != nil {
				return err
			}
			fmt.Fprintf(out, ", %s %.1f dB (%d unconverged)", q.Name, ErrorDB(c.Spectrum(y, 1), want), r.Failures)
		}
		fmt.Fprintln(out)
	}
	return nil
}
