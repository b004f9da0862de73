package reverb

import (
	"math"
	"testing"

	"drywire/dsp"
)

// The first reflections by hand: floor, ceiling and the wall at y = 5.3 m, their paths by
// Pythagoras less that of the direct sound, at 343 m/s; their heights, against each other, as the
// inverse of their paths.
func TestRoomReflections(t *testing.T) {
	const rate = 48000
	h := make([]float64, rate/20)
	h[0] = 1
	NewRoom(Settings{Decay: 0.8, Tone: 1}, rate).Process(h, nil, h)
	path := func(dy, dz float64) float64 { return math.Sqrt(2.7*2.7 + dy*dy + dz*dz) }
	direct := path(1.4, 0.8)
	floor, ceiling, wall := path(1.4, 0.7+1.5), path(1.4, 2*2.9-0.7-1.5), path(2*5.3-1.7-3.1, 0.8)
	var first float64
	for n, p := range []float64{floor, ceiling, wall} {
		at := int(math.Round((p - direct) / 343 * rate))
		v := h[at] * p
		if n == 0 {
			first = v
		}
		if !(v > 0) || math.Abs(v/first-1) > 1e-9 {
			t.Errorf("reflection %d: height times path is %v at sample %d, want %v", n, v, at, first)
		}
	}
	// One bounce more, floor and ceiling, takes √(1 - a), with a from Sabine's formula:
	// 0.161·V/(S·T).
	twice := path(1.4, 2*2.9+0.7-1.5)
	a := 0.161 * 7.1 * 5.3 * 2.9 / (2 * (7.1*5.3 + 5.3*2.9 + 2.9*7.1) * 0.8)
	if got := h[int(math.Round((twice-direct)/343*rate))] * twice / first; math.Abs(got-math.Sqrt(1-a)) > 1e-9 {
		t.Errorf("the second bounce takes %v, want %v", got, math.Sqrt(1-a))
	}
	at := int(math.Round((floor - direct) / 343 * rate))
	for n, v := range h[:at] {
		if v != 0 {
			t.Errorf("%v at sample %d, before the first reflection", v, n)
		}
	}
}

// Dense within 100 ms, and steady noise comes out as loud as it went in.
func TestRoomDensityAndLevel(t *testing.T) {
	const rate = 48000
	h := make([]float64, rate/2)
	h[0] = 1
	NewRoom(Settings{Decay: 1, Tone: 1}, rate).Process(h, nil, h)
	if d := density(h, rate/10, rate); d < 0.9 {
		t.Errorf("echo density %.3f after 100 ms, want 0.9", d)
	}
	for _, decay := range []dsp.Second{0.3, 1, 3} {
		x := noise(8*rate, 3)
		NewRoom(Settings{Decay: decay, Tone: 1}, rate).Process(x, nil, x)
		var sum float64
		for _, v := range x[4*rate:] {
			sum += v * v
		}
		if level := 10 * math.Log10(sum/(4*rate)); math.Abs(level) > 1 {
			t.Errorf("decay %v s: noise comes out at %+.2f dB", float64(decay), level)
		}
	}
}
