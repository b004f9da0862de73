package reverb

import (
	"math"
	"sort"

	"drywire/dsp"
	"drywire/dsp/delayline"
)

// Room is a small rectangular room: early reflections off its walls, one by one, and then the dense
// decay of the same network as the plate's.
//
// The reflections are those of the image method, J. Acoust. Soc. Am. 65(4), 943-950, 1979: mirror
// images of the source, each as soft as it is far and as often reflected. The walls absorb as much
// as makes the decay by Sabine's formula; how loud all of the reverberation is against the direct
// sound follows from that. The direct sound is not in the output: that is the dry sound.
type Room struct {
	line *delayline.Line
	taps []tap
	late *Plate
	gain float64
	wet  [chunk]float64
	rate float64
}

// tap is one reflection: samples after the direct sound, and its height.
type tap struct {
	delay int
	gain  float64
}

// The room: our own, as large as a rehearsal room. Metres.
var (
	walls  = [3]float64{7.1, 5.3, 2.9}
	source = [3]float64{1.9, 1.7, 0.7}
	ear    = [3]float64{4.6, 3.1, 1.5}
)

const (
	sound  = 343.0 // m/s, in air of 20 °C
	sabine = 0.161 // s/m
	bounce = 2     // reflections that are heard one by one have so many bounces at most
)

// NewRoom makes a room. It panics like New, and on a decay that never ends.
func NewRoom(s Settings, rate dsp.Hertz) *Room {
	if math.IsInf(float64(s.Decay), 1) {
		panic("reverb: a room that never decays")
	}
	fs, decay := float64(rate), float64(s.Decay)
	volume := walls[0] * walls[1] * walls[2]
	surface := 2 * (walls[0]*walls[1] + walls[1]*walls[2] + walls[2]*walls[0])
	absorbed := min(0.9, sabine*volume/(surface*decay)) // share of the energy, at each wall
	direct := distance(source, ear)

	p := &Room{rate: fs}
	before := int(math.Round(float64(s.PreDelay) * fs))
	var early float64 // energy
	for _, im := range images(bounce) {
		far := distance(im.at, ear)
		g := direct / far * math.Pow(1-absorbed, float64(im.bounces)/2)
		p.taps = append(p.taps, tap{before + int(math.Round((far-direct)/sound*fs)), g})
		early += g * g
	}
	sort.Slice(p.taps, func(i, j int) bool { return p.taps[i].delay < p.taps[j].delay })
	// All reverberant energy over that of the direct sound: 16π·r²·(1 - a)/(S·a), a diffuse
	// field's. What comes after the single reflections, by the exponential decay, begins when a
	// sound that goes from wall to wall by the mean free path of 4V/S has bounced three times.
	begin := 3 * 4 * volume / surface / sound
	all := 16 * math.Pi * direct * direct * (1 - absorbed) / (surface * absorbed)
	late := all * math.Exp(-6*math.Ln10*begin/decay)
	norm := math.Sqrt(1 / (early + late)) // as loud as what steadily drives it, as a plate
	for k := range p.taps {
		p.taps[k].gain *= norm
	}
	p.gain = norm * math.Sqrt(late)
	lateSettings := s
	lateSettings.PreDelay = min(s.PreDelay+dsp.Second(max(0, begin-direct/sound)), 9.99)
	p.late = New(lateSettings, rate)
	p.line = delayline.New(p.taps[len(p.taps)-1].delay + chunk)
	return p
}

type image struct {
	at      [3]float64
	bounces int
}

// images are the source's, of one up to so many bounces: along each axis n bounces mirror it at the
// walls in turn, on either side.
func images(most int) (list []image) {
	along := func(axis, n int) float64 { // n < 0 starts with the wall at 0
		l, x := walls[axis], source[axis]
		if n%2 == 0 {
			return float64(n)*l + x
		}
		return float64(n+1)*l - x
	}
	abs := func(n int) int { return max(n, -n) }
	for i := -most; i <= most; i++ {
		for j := -most; j <= most; j++ {
			for k := -most; k <= most; k++ {
				if n := abs(i) + abs(j) + abs(k); n >= 1 && n <= most {
					list = append(list, image{[3]float64{along(0, i), along(1, j), along(2, k)}, n})
				}
			}
		}
	}
	return list
}

func distance(a, b [3]float64) float64 {
	return math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (a[1]-b[1])*(a[1]-b[1]) + (a[2]-b[2])*(a[2]-b[2]))
}

// T60 is the decay time at f, the plate's.
func (p *Room) T60(f dsp.Hertz) dsp.Second { return p.late.T60(f) }

// Tail is for how long the output goes on after the input has ended, until 60 dB down.
func (p *Room) Tail() dsp.Second { return p.late.Tail() }

// Reset silences the room.
func (p *Room) Reset() {
	p.line.Reset()
	p.late.Reset()
}

// Process turns src into the wet sound alone at dst; second must be nil: the room is mono. dst may
// be src. It panics where the lengths differ or second is not nil.
func (p *Room) Process(dst, second, src []float64) {
	if len(dst) != len(src) || second != nil {
		panic("reverb: Process of a room needs two slices of equal length")
	}
	for at := 0; at < len(src); at += chunk {
		x, y := src[at:min(at+chunk, len(src))], p.wet[:min(chunk, len(src)-at)]
		p.line.WriteBlock(x)
		p.late.Process(dst[at:at+len(x)], nil, x)
		z := dst[at : at+len(y)]
		for k := range z {
			z[k] *= p.gain
		}
		for _, t := range p.taps {
			p.line.ReadBlock(y, t.delay)
			for k, v := range y {
				z[k] += t.gain * v
			}
		}
	}
}
