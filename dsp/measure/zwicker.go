package measure

import "math"

// ZwickerBands is the mid-band frequencies, in Hz and nominal, of the levels that Zwicker takes:
// the third octaves from 25 Hz to 12.5 kHz.
var ZwickerBands = [28]float64{
	25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500,
	630, 800, 1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500,
}

// ZwickerLevels is the levels of a spectrum in ZwickerBands, in dB, where a power of 1 is so many
// dB SPL, as third-octave filters of the sixth order have them: 18 dB under a tone in the next band
// (third-order Butterworth band passes between the edges of IEC 61260-1, in closed form). Ideal
// bands would read tones too soft, since the method counts on the filters' skirts.
func (s Spectrum) ZwickerLevels(spl float64) (levels [28]float64) {
	width := 1 / (math.Pow(10, 0.05) - math.Pow(10, -0.05))
	for k := range levels {
		centre, power := 1000*math.Pow(10, float64(k-16)/10), 0.0
		for n, density := range s.Density[1:] {
			r := float64(n+1) * s.Step / centre
			off := width * (r - 1/r)
			power += density * s.Step / (1 + off*off*off*off*off*off)
		}
		levels[k] = spl + 10*math.Log10(power)
	}
	return levels
}

// Zwicker is the loudness of a stationary sound in a free field, in sone, of its levels in
// ZwickerBands, in dB SPL. One sone is a tone of 1 kHz and 40 dB, 4 sone are one of 60 dB.
//
// Source: ISO 532-1:2017, clause 5 (the method of DIN 45631), its tables A.1 to A.9 from memory;
// what holds them to the standard is the totals that it publishes for its test signals, which the
// test asks for.
func Zwicker(levels [28]float64) float64 {
	return slopes(coreLoudness(criticalBands(levels)))
}

// Phon is the loudness level in phon of a loudness in sone. Source: ISO 532-1:2017, clause 5.8.
func Phon(sone float64) float64 {
	if sone >= 1 {
		return 40 + 10*math.Log2(sone)
	}
	return math.Max(3, 40*math.Pow(math.Max(sone, 0)+0.0005, 0.35))
}

// The ear is less sensitive to low bands the softer they are: ranges of level, and what is added to
// each of the lowest eleven bands in each, in dB.
var (
	lowRanges    = [8]float64{45, 55, 65, 71, 80, 90, 100, 120}
	lowReduction = [8][11]float64{
		{-32, -24, -16, -10, -5, 0, -7, -3, 0, -2, 0},
		{-29, -22, -15, -10, -4, 0, -7, -2, 0, -2, 0},
		{-27, -19, -14, -9, -4, 0, -6, -2, 0, -2, 0},
		{-25, -17, -12, -9, -3, 0, -5, -2, 0, -2, 0},
		{-23, -16, -11, -7, -3, 0, -4, -1, 0, -1, 0},
		{-20, -14, -10, -6, -3, 0, -4, -1, 0, -1, 0},
		{-18, -12, -9, -6, -2, 0, -3, -1, 0, -1, 0},
		{-15, -10, -8, -4, -2, 0, -3, -1, 0, -1, 0},
	}
)

// Of each of the twenty critical bands: threshold in quiet, transmission of the ear, and what
// adapts third octaves to critical bands, in dB.
var (
	quietThreshold = [20]float64{30, 18, 12, 8, 7, 6, 5, 4, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3}
	transmission   = [20]float64{0, 0, 0, 0, 0, 0, 0, 0, 0, 0, -0.5, -1.6, -3.2, -5.4, -5.6, -4, -1.5, 2, 5, 12}
	bandAdaption   = [20]float64{-0.25, -0.6, -0.8, -0.8, -0.5, 0, 0.5, 1.1, 1.5, 1.7, 1.8, 1.8, 1.7, 1.6, 1.4, 1.2, 0.8, 0.5, 0, -0.5}
)

// criticalBands is the levels in the critical bands: the lowest three gather six, three and two
// third octaves.
func criticalBands(levels [28]float64) (bands [20]float64) {
	for k, group := range [3][2]int{{0, 6}, {6, 9}, {9, 11}} {
		power := 0.0
		for n := group[0]; n < group[1]; n++ {
			r := 0
			for r < len(lowRanges)-1 && levels[n] > lowRanges[r]-lowReduction[r][n] {
				r++
			}
			power += math.Pow(10, (levels[n]+lowReduction[r][n])/10)
		}
		bands[k] = 10 * math.Log10(power)
	}
	copy(bands[3:], levels[11:])
	return bands
}

// coreLoudness is the specific loudness of each critical band, in sone per Bark, by itself; of the
// band above the last there is none.
func coreLoudness(bands [20]float64) (core [21]float64) {
	const threshold = 0.25 // the factor s
	for k, level := range bands {
		if level -= transmission[k]; level <= quietThreshold[k] {
			continue
		}
		level -= bandAdaption[k]
		quiet := 0.0635 * math.Pow(10, 0.025*quietThreshold[k])
		core[k] = math.Max(0, quiet*(math.Pow(1-threshold+threshold*math.Pow(10, (level-quietThreshold[k])/10), 0.25)-1))
	}
	// the threshold's slope within the lowest band
	core[0] *= math.Min(1, 0.4+0.32*math.Pow(core[0], 0.2))
	return core
}

// The upper edges of the critical bands in Bark; and by how much a specific loudness falls with
// every Bark over its band, by what it is (the lower ends of the ranges) and by the band, from the
// second to the ninth and all above.
var (
	bandEdges  = [21]float64{0.9, 1.8, 2.8, 3.5, 4.4, 5.4, 6.6, 7.9, 9.2, 10.6, 12.3, 13.8, 15.2, 16.7, 18.1, 19.3, 20.6, 21.8, 22.7, 23.6, 24}
	fallRanges = [18]float64{21.5, 18, 15.1, 11.5, 9, 6.1, 4.4, 3.1, 2.13, 1.36, 0.82, 0.42, 0.30, 0.22, 0.15, 0.10, 0.035, 0}
	falls      = [18][8]float64{
		{13, 8.2, 6.3, 5.5, 5.5, 5.5, 5.5, 5.5},
		{9, 7.5, 6, 5.1, 4.5, 4.5, 4.5, 4.5},
		{7.8, 6.7, 5.6, 4.9, 4.4, 3.9, 3.9, 3.9},
		{6.2, 5.4, 4.6, 4, 3.5, 3.2, 3.2, 3.2},
		{4.5, 3.8, 3.6, 3.2, 2.9, 2.7, 2.7, 2.7},
		{3.7, 3, 2.8, 2.35, 2.2, 2.2, 2.2, 2.2},
		{2.9, 2.3, 2.1, 1.9, 1.8, 1.7, 1.7, 1.7},
		{2.4, 1.7, 1.5, 1.35, 1.3, 1.3, 1.3, 1.3},
		{1.95, 1.45, 1.3, 1.15, 1.1, 1.1, 1.1, 1.1},
		{1.5, 1.2, 0.94, 0.86, 0.82, 0.82, 0.82, 0.82},
		{0.72, 0.67, 0.64, 0.63, 0.62, 0.62, 0.62, 0.62},
		{0.59, 0.53, 0.51, 0.50, 0.42, 0.42, 0.42, 0.42},
		{0.40, 0.33, 0.26, 0.24, 0.22, 0.22, 0.22, 0.22},
		{0.27, 0.21, 0.20, 0.18, 0.17, 0.17, 0.17, 0.17},
		{0.16, 0.15, 0.14, 0.12, 0.11, 0.11, 0.11, 0.11},
		{0.12, 0.11, 0.10, 0.08, 0.08, 0.08, 0.08, 0.08},
		{0.09, 0.08, 0.07, 0.06, 0.06, 0.06, 0.06, 0.05},
		{0.06, 0.05, 0.03, 0.02, 0.02, 0.02, 0.02, 0.02},
	}
)

// slopes is the area, in sone, under the specific loudness over the Bark scale: what a band has by
// itself, and above it what falls slowly into the bands over it, where that is more.
func slopes(core [21]float64) (sone float64) {
	at, now, r := 0.0, 0.0, len(fallRanges)-1 // Bark, sone per Bark, and its range
	for k, own := range core {
		edge := bandEdges[k] + 0.0001
		steep := min(max(k-1, 0), 7)
		for at < edge {
			next, to := edge, own
			if now <= own {
				if now < own {
					for r = 0; r < len(fallRanges)-1 && fallRanges[r] > own; {
						r++
					}
				}
				sone += to * (next - at)
			} else {
				to = math.Max(fallRanges[r], own)
				if next = at + (now-to)/falls[r][steep]; next > edge {
					next, to = edge, now-(edge-at)*falls[r][steep]
				}
				sone += (next - at) * (now + to) / 2
			}
			for r < len(fallRanges)-1 && to <= fallRanges[r] {
				r++
			}
			at, now = next, to
		}
	}
	return sone
}
