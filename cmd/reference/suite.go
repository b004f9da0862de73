package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
)

// chainText is the fuzz behind a guitar, with or without a buffer in between, as a chain file.
func chainText(device string, fuzz, volume float64, buffered bool) string {
	order := "[fuzz]"
	if buffered {
		order = "[buffer, fuzz]"
	}
	text := fmt.Sprintf(`drywire: 1
title: reference
recording: {file: none.wav, full_scale: 1 V, load: none}
guitar: {pickup: humbucker, volume: %.6g, tone: 10, cable: 5 m}
blocks:
  fuzz: {kind: fuzz, device: %s, fuzz: %.6g, level: 8}
`, volume, device, fuzz)
	if buffered {
		text += "  buffer: {kind: buffer}\n"
	}
	return text + "order: " + order + "\ntakes: [{name: only}]\n"
}

func fuzzCase(device string, fuzz, volume float64, buffered bool, rate, length float64, d Drive) Case {
	how := "direct"
	if buffered {
		how = "buffered"
	}
	return Case{
		Name: strings.Join([]string{device[:2], fmt.Sprintf("fuzz %.3g", fuzz), fmt.Sprintf("vol %.3g", volume), how, fmt.Sprintf("%.3gk", rate/1e3), d.String()}, " "),
		Text: chainText(device, fuzz, volume, buffered),
		Jack: "out", Rate: rate, Length: length, Drive: d,
	}
}

// Suite is the fixed list: device × fuzz control × guitar's volume × direct or buffered, every
// combination once, with levels, drives and rates dealt out so that each meets each device at
// either volume.
func Suite() []Case {
	const length = 0.1 // s
	drives := []func(v float64) Drive{
		func(v float64) Drive { return Tones(330, v) },
		func(v float64) Drive { return Tones(1244.5, 0.5*v, 1661.2, 0.5*v) },
		func(v float64) Drive { return Tones(110, v) },
		func(v float64) Drive { return Pluck(196, v) },
		func(v float64) Drive { return Tones(2637, v) },
	}
	rates := []float64{48000, 44100, 96000}
	var list []Case
	for _, device := range []string{"silicon", "germanium"} {
		for _, fuzz := range []float64{0, 6, 10} {
			for _, volume := range []float64{10, 3} {
				for _, buffered := range []bool{false, true} {
					k := len(list)
					level := []float64{0.02, 0.2}[(k+k/4+k/12)%2]
					rate := 48000.0
					if k%4 == 3 {
						rate = rates[1+(k/4)%2]
					}
					list = append(list, fuzzCase(device, fuzz, volume, buffered, rate, length, drives[k%len(drives)](level)))
				}
			}
		}
	}
	// The hardest known: full fuzz, hard picking, a buffer in front, high notes.
	for _, device := range []string{"silicon", "germanium"} {
		list = append(list,
			fuzzCase(device, 10, 10, true, 48000, length, Tones(1244.5, 0.5)),
			fuzzCase(device, 10, 10, true, 44100, length, Tones(4186, 0.5)),
			fuzzCase(device, 10, 10, false, 48000, length, Tones(330, 0.2)),
			fuzzCase(device, 10, 10, true, 48000, length, Tones(330, 0.1, 441, 0.1)),
		)
	}
	return list
}

// drawn is a tone, two or a pluck, of a frequency in Hz by chance and that level in V.
func drawn(r *rand.Rand, level float64) Drive {
	between := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, r.Float64()) }
	switch r.IntN(3) {
	case 0:
		return Tones(between(80, 5000), level)
	case 1:
		return Tones(between(80, 5000), level/2, between(80, 5000), level/2)
	}
	return Pluck(between(80, 660), level)
}

// Random is random conditions, which were not used in development.
func Random(seed uint64, count int) []Case {
	r := rand.New(rand.NewPCG(seed, 0))
	between := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, r.Float64()) }
	var list []Case
	for range count {
		device := []string{"silicon", "germanium"}[r.IntN(2)]
		rate := []float64{44100, 48000, 96000}[r.IntN(3)]
		fuzz, volume := 10*r.Float64(), 1+9*r.Float64()
		d := drawn(r, between(5e-3, 0.6))
		list = append(list, fuzzCase(device, fuzz, volume, r.IntN(2) == 1, rate, 0.1, d))
	}
	return list
}
