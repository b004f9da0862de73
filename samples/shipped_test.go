package samples

import (
	"math"
	"math/cmplx"
	"os"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"drywire/samples/pluck"
)

// voltage is a shipped recording in volts.
func voltage(t *testing.T, r Recording) []float64 {
	t.Helper()
	f, err := r.Open()
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if want := (Format{pluck.Rate, 1, 24, false}); f.Format != want || len(f.Warnings) != 0 {
		t.Errorf("%s: %v, want %v; warnings %q", r.Name, f.Format, want, f.Warnings)
	}
	x, err := readAll(f, 4096)
	if err != nil {
		t.Fatal(err)
	}
	for i := range x {
		x[i] *= float64(r.FullScale)
	}
	return x
}

func piece(t *testing.T, name string) pluck.Piece {
	t.Helper()
	for _, p := range pluck.Pieces() {
		if p.Name == name {
			return p
		}
	}
	t.Fatalf("no piece %q", name)
	return pluck.Piece{}
}

func rms(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(x)))
}

func peak(x []float64) float64 {
	p := 0.0
	for _, v := range x {
		p = max(p, math.Abs(v))
	}
	return p
}

// between is x from one time to another, in seconds.
func between(x []float64, from, to float64) []float64 {
	return x[int(from*pluck.Rate):min(int(to*pluck.Rate), len(x))]
}

func level(ratio float64) float64 { return 20 * math.Log10(ratio) }

// The four kinds of recording are there, every one says what it is, and together they are small.
func TestShipped(t *testing.T) {
	all := Shipped()
	var names []string
	size := int64(0)
	for _, r := range all {
		names = append(names, r.Name)
		if r.Title == "" || r.Purpose == "" || r.Load != "none" || r.FullScale <= 0 || r.Seed == 0 ||
			r.Pickup != "single-coil" && r.Pickup != "humbucker" {
			t.Errorf("incomplete: %+v", r)
		}
		info, err := os.Stat("recordings/" + r.File)
		if err != nil {
			t.Fatal(err)
		}
		size += info.Size()
	}
	if got := strings.Join(names, " "); got != "notes riff arpeggio chugs" {
		t.Errorf("there are %s", got)
	}
	if size > 6e6 {
		t.Errorf("%d bytes; at most 6 MB travel in the program", size)
	}
	if entries, err := os.ReadDir("recordings"); err != nil || len(entries) != len(all) {
		t.Errorf("%d files for %d recordings, %v", len(entries), len(all), err)
	}
}

// What ships is what the generator makes. The comparison is by level, because the last bits differ
// from processor to processor.
func TestShippedAreGenerated(t *testing.T) {
	for _, r := range Shipped() {
		x := voltage(t, r)
		p := piece(t, r.Name)
		want := p.Render()
		if len(x) != len(want) || r.Seed != p.Seed {
			t.Fatalf("%s: %d samples, generated %d; run go generate", r.Name, len(x), len(want))
		}
		diff := make([]float64, len(x))
		for i := range x {
			diff[i] = x[i] - want[i]
		}
		if d := level(rms(diff) / rms(want)); d > -90 {
			t.Errorf("%s: %.1f dB from what the generator makes, want -90 or less; run go generate", r.Name, d)
		}
	}
}

// Levels as a guitar has them: no clipping, no DC, silence before the first note and after the
// last, loudest moments between the 100 mV and 1 V that are published for guitars.
func TestLevels(t *testing.T) {
	for _, r := range Shipped() {
		x := voltage(t, r)
		top := peak(x)
		if top > 0.9*float64(r.FullScale) {
			t.Errorf("%s: peaks at %.0f mV of %.0f mV full scale", r.Name, top*1e3, float64(r.FullScale)*1e3)
		}
		if top < 0.1 || top > 1 {
			t.Errorf("%s: peaks at %.0f mV", r.Name, top*1e3)
		}
		mean := 0.0
		for _, v := range x {
			mean += v / float64(len(x))
		}
		if d := level(math.Abs(mean) / rms(x)); d > -60 {
			t.Errorf("%s: DC is %.1f dB of the signal, want -60 or less", r.Name, d)
		}
		if d := level(rms(x[:2400]) / top); d > -100 {
			t.Errorf("%s: the first 50 ms are at %.1f dB of the peak", r.Name, d)
		}
		if d := level(peak(x[len(x)-480:]) / top); d > -90 {
			t.Errorf("%s: the last 10 ms are at %.1f dB of the peak", r.Name, d)
		}
	}
}

// The hardest note is ten times the softest, 20 dB, on the same string and fret; the soft one peaks
// where soft notes of guitars do (20 to 30 mV), and the hard one still sounds after four seconds.
func TestNotesDynamics(t *testing.T) {
	x, p := voltage(t, Shipped()[0]), piece(t, "notes")
	first, last := p.Notes[0], p.Notes[len(p.Notes)-1]
	if first.String != last.String || first.Fret != last.Fret {
		t.Fatal("the first and the last note are not the same")
	}
	loud := func(n pluck.Note) float64 { return peak(between(x, n.At, n.At+0.3)) }
	soft, hard := loud(first), loud(last)
	if d := level(hard / soft); math.Abs(d-20) > 1 {
		t.Errorf("from %.1f mV to %.1f mV is %.2f dB, want 20 ± 1", soft*1e3, hard*1e3, d)
	}
	if soft < 20e-3 || soft > 30e-3 {
		t.Errorf("the soft note peaks at %.1f mV, want 20 to 30", soft*1e3)
	}
	if d := level(rms(between(x, last.At+4, last.At+4.2)) / rms(between(x, last.At, last.At+0.2))); d < -40 {
		t.Errorf("after four seconds the note is at %.1f dB of its beginning", d)
	}
	before := 0.0
	for k, n := range p.Notes[:6] {
		now := loud(n)
		if now <= before {
			t.Errorf("note %d is not louder than the one before: %.1f mV after %.1f mV", k+1, now*1e3, before*1e3)
		}
		before = now
	}
}

// spectrum is the amplitude of each bin of x, through a Hann window.
func spectrum(x []float64) []float64 {
	w := make([]float64, len(x))
	for i := range x {
		w[i] = x[i] * (0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(len(x))))
	}
	var a []float64
	for _, c := range fourier.NewFFT(len(w)).Coefficients(nil, w) {
		a = append(a, 4*cmplx.Abs(c)/float64(len(w)))
	}
	return a
}

// The long note at the end of the file dies from the top: octave by octave it falls further in two
// seconds.
func TestNotesDieFromTheTop(t *testing.T) {
	x, p := voltage(t, Shipped()[0]), piece(t, "notes")
	at := p.Notes[len(p.Notes)-1].At
	const window = 8192
	octave := func(after, from float64) float64 {
		start := int((at + after) * pluck.Rate)
		a := spectrum(x[start : start+window])
		return rms(a[int(from*window/pluck.Rate):int(2*from*window/pluck.Rate)])
	}
	last := 0.0
	for _, from := range []float64{230, 460, 920, 1840, 3680, 7360} { // Hz; the note is E4, 329.6 Hz
		fall := level(octave(0.1, from) / octave(2.1, from))
		if fall < last+0.5 {
			t.Errorf("from %.0f Hz the octave falls by %.1f dB in two seconds, the one below by %.1f dB", from, fall, last)
		}
		last = fall
	}
}

// The long note shows where it was picked and sensed. E4 on the second string is fretted at the
// fifth fret, so 648 mm · 2^(-5/12) = 485.5 mm sound; the pick is 105 mm and the coil 155 mm from
// the bridge. Partial n is then |sin(nπ·105/485.5)·sin(nπ·155/485.5)|/n of the spectrum, under the
// roundness of the pick.
func TestNotesShowTheCombs(t *testing.T) {
	x, p := voltage(t, Shipped()[0]), piece(t, "notes")
	n := p.Notes[len(p.Notes)-1]
	const window = 8192
	start := int((n.At + 0.02) * pluck.Rate)
	a := spectrum(x[start : start+window])
	partial := func(k float64) float64 { // the highest bin within 2 %
		f := k * 329.63 * window / pluck.Rate
		return slices.Max(a[int(0.98*f) : int(1.02*f)+2])
	}
	comb := func(k float64) float64 {
		return math.Abs(math.Sin(k*math.Pi*105/485.5)*math.Sin(k*math.Pi*155/485.5)) / k
	}
	for k := 2.0; k <= 14; k++ {
		got := level(partial(k) / partial(1))
		want := level(comb(k) / comb(1))
		// Over it lie the pick's roundness and the coil's width (down to -8 dB at the 14th), decay
		// within the first 0.1 s (to -2 dB) and beats (±1.5 dB).
		if got > want+2 || got < want-2-8*k/14 {
			t.Errorf("partial %.0f is at %.1f dB of the first, want %.1f, and up to %.1f less", k, got, want, 2+8*k/14)
		}
	}
	for _, k := range []float64{3, 9} { // near multiples of 485.5/155 = 3.13 and of 485.5/105 = 4.62
		if dip := level(math.Sqrt(partial(k-1)*partial(k+1)) / partial(k)); dip < 6 {
			t.Errorf("partial %.0f is %.1f dB below its neighbours, want 6", k, dip)
		}
	}
}

// Two strings at a time, in the riff.
func TestRiffHasDoubleStops(t *testing.T) {
	pairs := 0
	notes := piece(t, "riff").Notes
	for i := 1; i < len(notes); i++ {
		if gap := notes[i].At - notes[i-1].At; gap > 0 && gap < 0.018 && notes[i].String == notes[i-1].String-1 {
			pairs++
		}
	}
	if pairs < 6 {
		t.Errorf("%d double-stops", pairs)
	}
}

// A rest is silence: from a fifth of a second after the last chug until the pick comes back.
func TestChugsRest(t *testing.T) {
	x, p := voltage(t, Shipped()[3]), piece(t, "chugs")
	top := peak(x)
	rests := 0
	end := 0.0
	for _, n := range p.Notes {
		if rest := between(x, end+0.2, max(n.At-0.02, end+0.2)); end > 0 && len(rest) > pluck.Rate/20 {
			rests++
			if d := level(peak(rest) / top); d > -60 {
				t.Errorf("the rest before %.2f s peaks at %.1f dB, want -60 or less", n.At, d)
			}
		}
		end = max(end, n.Stop)
	}
	if rests < 3 {
		t.Errorf("%d rests were found", rests)
	}
}

func TestFind(t *testing.T) {
	for _, r := range Shipped() {
		if got, err := Find(r.Name); got != r || err != nil {
			t.Errorf("Find(%q) = %+v, %v", r.Name, got, err)
		}
	}
	for name, want := range map[string]string{
		"rif":     `no shipped recording "rif"; did you mean "riff"? There are notes, riff, arpeggio, chugs`,
		"Chugs":   `no shipped recording "Chugs"; did you mean "chugs"? There are notes, riff, arpeggio, chugs`,
		"ntoes":   `no shipped recording "ntoes"; did you mean "notes"? There are notes, riff, arpeggio, chugs`,
		"noteses": `no shipped recording "noteses"; did you mean "notes"? There are notes, riff, arpeggio, chugs`,
		"CHUGS":   `no shipped recording "CHUGS"; did you mean "chugs"? There are notes, riff, arpeggio, chugs`,
		"waltz":   `no shipped recording "waltz"; there are notes, riff, arpeggio, chugs`,
		"":        `no shipped recording ""; there are notes, riff, arpeggio, chugs`,
	} {
		if _, err := Find(name); err == nil || err.Error() != want {
			t.Errorf("Find(%q): %v\nwant %s", name, err, want)
		}
	}
}

// Two readers of one recording do not disturb each other, and a second pass gives the same.
func TestOpenTwice(t *testing.T) {
	r := Shipped()[1]
	a, err := r.Open()
	if err != nil {
		t.Fatal(err)
	}
	b, err := r.Open()
	if err != nil {
		t.Fatal(err)
	}
	x, err := readAll(a, 1000)
	if err != nil {
		t.Fatal(err)
	}
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	y, err := readAll(b, 777)
	if err != nil {
		t.Fatal(err)
	}
	equal(t, y, x)
	b.Rewind()
	y, err = readAll(b, 5000)
	if err != nil {
		t.Fatal(err)
	}
	equal(t, y, x)
}
