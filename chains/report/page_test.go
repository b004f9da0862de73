package report

import (
	"fmt"
	"math"

	"drywire/chains/cables"
	"drywire/chains/experiment"
	"drywire/chains/measures"
)

// rate and length of the sounds of a made-up page.
const (
	testRate   = 48000
	testFrames = 3 * testRate
)

// tone is a take of its own pitch that swells and falls three times, so that no two places of it
// are alike and its ends are silent.
func tone(hz float64) []float32 {
	x := make([]float32, testFrames)
	for k := range x {
		t := float64(k) / testRate
		x[k] = float32(0.4 * math.Sin(2*math.Pi*hz*t*(1+0.01*t)) * math.Pow(math.Sin(math.Pi*t), 2) * (0.5 + t/6))
	}
	return x
}

func some(v float64) measures.Figure { return measures.Figure{Value: v} }

func none(why string) measures.Figure { return measures.Figure{Why: why} }

func is(m *measures.Measure, f measures.Figure) measures.Value {
	return measures.Value{Measure: m, Figure: f}
}

// made is a page of three made-up takes with everything on it. Its numbers mean nothing.
func made() Page {
	db := func(v float64) *float64 { return &v }
	c := &experiment.Comparison{
		Title: "Which comes first?", Quality: "draft", RateHz: testRate, Seconds: 3, MatchedBy: "loudness", TargetDB: -20, CeilingDB: -1,
		Recording: experiment.Recording{Name: "made up", Seconds: 2.5, VoltsPerUnit: 1, Load: "1 MΩ and 3 m of cable", Notes: []string{"left side of two"}},
	}
	p := Page{
		Version: "0", Command: "drywire compare a.yaml -o takes", Comparison: c, ListenFor: []string{"the one", "the other"}, Hearing: "Start quietly.",
		ChainName: "a.yaml", ChainFile: "drywire: 1\ntitle: Which comes first?\n", Remarks: []string{"nothing to remark"},
	}
	for k, hz := range []float64{220, 330, 550} {
		order := []string{"fuzz", "buffer"}
		if k == 1 {
			order = []string{"buffer", "fuzz"}
		}
		t := experiment.Take{
			Number: k + 1, Name: fmt.Sprintf("take of %.0f Hz", hz), Order: order, Off: []string{}, Set: []string{}, File: "x.wav",
			PeakVolts: 0.1, RMSVolts: 0.02, LeveldBu: db(-31.8), Before: db(-32), GainDB: 12 + 3*float64(k), After: db(-20), TruePeakDB: db(-8), Matched: true,
			Solver: []experiment.SolverStats{{Parts: []string{"guitar", "fuzz"}, RateHz: 384000, Steps: 1234567, Divided: 12, MaxIterations: 5}},
		}
		if k == 2 {
			t.Off, t.Set = []string{"buffer"}, []string{"guitar.volume: 3"}
		}
		c.Takes = append(c.Takes, t)
		p.Sounds = append(p.Sounds, Sound{testRate, [][]float32{tone(hz)}})
		m := &experiment.Measures{Take: t.Name, Order: t.Order, RateHz: testRate, Seconds: 2.5}
		for n, jack := range []string{"guitar", "fuzz.in", "fuzz.out", "buffer.in", "buffer.out", "out"} {
			j := experiment.JackMeasures{
				Jack: jack, Values: measures.Values{
					is(measures.PeakDBu, some(-7.8-float64(n))), is(measures.RMSDBu, some(-17.8-float64(n))), is(measures.Crest, some(10)),
					is(measures.Noise, some(-100)), is(measures.NoiseA, some(-103)), is(measures.SignalToNoise, some(80)), is(measures.SignalToNoiseA, some(84)),
					is(measures.Ceiling, some(0.5)), is(measures.Headroom, some(4-2*float64(n))), is(measures.OverShare, some(0.01)),
					is(measures.Centroid, some(700+100*float64(n))), is(measures.THD, none(measures.NoTone)),
				},
			}
			if jack == "out" {
				for k := 7; k < 10; k++ {
					j.Values[k].Figure = none("it leads into nothing that is known")
				}
			}
			for b := -10; b <= 13; b++ { // 100 Hz to 20 kHz
				f := 1000 * math.Pow(10, float64(b)/10)
				j.ThirdOctaves = append(j.ThirdOctaves, experiment.BandLevel{Hz: f, DBV: some(-30 - 3*math.Abs(float64(b+2*k)))})
			}
			m.Jacks = append(m.Jacks, j)
		}
		p.Measures = append(p.Measures, m)
		r := &experiment.ResponseReport{Take: t.Name, Order: t.Order, Jack: "out", Losses: []experiment.Loss{{
			Jack: "fuzz.in", Source: 9000, Input: 4800, Cable: 5, At: []experiment.LossPoint{{Hz: 1000, Input: some(9), Cable: some(0)}, {Hz: 5000, Input: some(12.3), Cable: some(-0.4)}},
		}}}
		for n := range 240 {
			f := 20 * math.Pow(1000, (float64(n)+0.5)/240)
			r.Points = append(r.Points, experiment.ResponsePoint{Hz: f, GainDB: some(-10 * math.Log10(1+math.Pow(f/(1000*float64(k+1)), 2)))})
		}
		p.Responses = append(p.Responses, r)
		p.Guitar = append(p.Guitar, r)
		p.Noise = append(p.Noise, &experiment.NoiseReport{
			Take: t.Name, Order: t.Order, Jack: "out", ADBu: some(-82.3), DBu: some(-79),
			Blocks: []experiment.NoiseGroup{{Name: "fuzz", ADBu: some(-82.5), Share: 0.955}, {Name: "guitar", ADBu: some(-96), Share: 0.045}},
			Causes: []experiment.NoiseGroup{{Name: "shot", ADBu: some(-83), Share: 0.8}, {Name: "thermal", ADBu: some(-89), Share: 0.2}},
			Moves:  []experiment.NoiseMove{{Block: "buffer", Line: "order", Behind: "guitar", Where: "behind the guitar", Same: true, NoiseDB: -3, GainDB: 0.5}}, Assumptions: []string{"Nobody plays."},
		})
	}
	c.Cables = []experiment.Rewiring{{A: 1, B: 2, Moves: []cables.Move{
		{Block: "echo", Text: "Put echo on the board."},
		{From: cables.Cable{Out: "guitar", In: "fuzz.in"}, To: cables.Cable{Out: "guitar", In: "buffer.in"}, Ends: 1, Text: "Unplug guitar from fuzz.in; plug it into buffer.in."},
		{To: cables.Cable{Out: "buffer.out", In: "fuzz.in"}, Ends: 2, Text: "Take one more cable, and plug it into buffer.out and fuzz.in."},
	}}, {A: 1, B: 3}}
	c.Nulls = []experiment.Null{{A: 1, B: 2, DB: db(-12)}, {A: 1, B: 3, DB: db(-0.5)}, {A: 2, B: 3, Identical: true}}
	pair := func(a, b int, heard, sentence string, likely float64) experiment.Pair {
		return experiment.Pair{
			A: a, B: b, Values: measures.Values{
				is(measures.Null, some(-3)), is(measures.LevelChange, some(1.5)), is(measures.BassChange, some(-0.2)), is(measures.MiddleChange, some(0.4)),
				is(measures.TrebleChange, some(6.1)), is(measures.NoiseChange, some(2)), is(measures.THDChange, none("no tone")), is(measures.SustainChange, some(-0.11)),
			},
			Hearing: experiment.Hearing{Playback: 92, Probability: some(likely), BandsOf: 109}, Heard: heard, Respects: []string{"tone"}, Sentence: sentence,
		}
	}
	p.Pairs = []experiment.Pair{pair(1, 2, experiment.HeardMostly, "The second is brighter.", 0.97), pair(1, 3, experiment.HeardInParts, "The third is a little duller.", 0.3), pair(2, 3, experiment.HeardNot, "They sound alike.", 0.02)}
	p.Swaps = &experiment.SwapMap{Take: "take of 220 Hz", Names: []string{"fuzz", "buffer", "echo"}, Seconds: 5}
	for _, names := range [][2]string{{"fuzz", "buffer"}, {"fuzz", "echo"}, {"buffer", "echo"}} {
		s := experiment.Swap{First: names[0], Second: names[1], Apart: 1, Pair: pair(0, 1, experiment.HeardMostly, "Swapped, it is brighter.", 0.9)}
		if names[0] == "buffer" {
			s.Pair = pair(0, 3, experiment.HeardNot, "No difference.", 0)
			s.Respects = nil
		}
		p.Swaps.Swaps = append(p.Swaps.Swaps, s)
	}
	return p
}
