package dsp

import (
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// Wants are float64 literals: decimal arithmetic on the text, no rounding but the literal's own.
var quantities = []struct {
	text string
	unit Unit
	want float64
}{
	{"470 kΩ", Ohms, 470e3},
	{"470k", Ohms, 470e3},
	{"470K", Ohms, 470e3},
	{"470 kOhm", Ohms, 470e3},
	{"470kohms", Ohms, 470e3},
	{"470 k\u2126", Ohms, 470e3}, // the ohm sign
	{"4k7", Ohms, 4.7e3},
	{"4k7Ω", Ohms, 4.7e3},
	{"2M2", Ohms, 2.2e6},
	{"2.2M", Ohms, 2.2e6},
	{"1 MΩ", Ohms, 1e6},
	{"4R7", Ohms, 4.7},
	{"470R", Ohms, 470},
	{"100 ohm", Ohms, 100},
	{"50 mΩ", Ohms, 0.05},
	{"0.5 kΩ", Ohms, 500},
	{".5 kΩ", Ohms, 500},
	{"22 nF", Farads, 22e-9},
	{"22n", Farads, 22e-9},
	{"4n7", Farads, 4.7e-9},
	{"4.7 nf", Farads, 4.7e-9},
	{"2.2 µF", Farads, 2.2e-6},
	{"2.2 \u03bcF", Farads, 2.2e-6},
	{"2.2uF", Farads, 2.2e-6},
	{"2u2", Farads, 2.2e-6},
	{"130 pF", Farads, 130e-12},
	{"1 mF", Farads, 1e-3},
	{"4.4 H", Henries, 4.4},
	{"500 mH", Henries, 0.5},
	{"9 V", Volts, 9},
	{"9v", Volts, 9},
	{"420 mV", Volts, 0.42},
	{"-4.5 V", Volts, -4.5},
	{"\u22124.5 V", Volts, -4.5}, // the minus sign
	{"0 dBV", Volts, 1},          // the definition of dBV
	{"-20 dBV", Volts, 0.1},
	{"0 dBu", Volts, math.Sqrt(0.6)}, // the definition of dBu
	{"500 mA", Amperes, 0.5},
	{"2 µA", Amperes, 2e-6},
	{"440 Hz", Hertzes, 440},
	{"1.5 kHz", Hertzes, 1500},
	{"1.5khz", Hertzes, 1500},
	{"380 ms", Seconds, 0.38},
	{"0.38 s", Seconds, 0.38},
	{"50 µs", Seconds, 50e-6},
	{"5 m", Metres, 5},
	{"5m", Metres, 5},
	{"5\u00a0m", Metres, 5}, // a no-break space
	{"30 cm", Metres, 0.3},
	{"5 mm", Metres, 0.005},
	{"10 ft", Metres, 10 * 0.3048}, // 0.3048 m per foot, by definition
	{"-6 dB", Decibels, -6},
	{"+6dB", Decibels, 6},
	{"4 dBu", DBus, 4},
	{"-10 dBV", DBVs, -10},
	{"30 %", Percents, 0.3},
	{"30%", Percents, 0.3},
	{"12.5 percent", Percents, 0.125},
	{"7", Dial, 7},
	{"7.5", Dial, 7.5},
	{"70 %", Dial, 7},
	{"33 %", Dial, 3.3},    // 0.33·10 is not 3.3 in binary
	{"7 o'clock", Dial, 0}, // the ends and the middle: the design's scale
	{"12 o'clock", Dial, 5},
	{"5 o'clock", Dial, 10},
	{"9 o'clock", Dial, 2},
	{"9 o\u2019clock", Dial, 2},
	{"9:30 o'clock", Dial, 2.5},
	{"12:30 o'clock", Dial, 5.5},
	{"4", Ratios, 4},
	{"4:1", Ratios, 4},
	{"2.5 : 1", Ratios, 2.5},
	{"12", None, 12},
	{"-0.5", None, -0.5},
	{"1e3 Hz", Hertzes, 1000},
}

func TestParseQuantity(t *testing.T) {
	for _, c := range quantities {
		got, err := ParseQuantity(c.text, c.unit)
		if err != nil || got != c.want {
			t.Errorf("ParseQuantity(%q, %q) = %v, %v; want %v", c.text, c.unit, got, err, c.want)
		}
	}
	// The two levels differ by 20·log10 sqrt(0.6) = -2.2184874961635637 dB, closed form.
	for _, c := range []struct {
		text string
		unit Unit
		want float64
	}{{"0 dBV", DBus, 2.2184874961635637}, {"0 dBu", DBVs, -2.2184874961635637}} {
		if got, err := ParseQuantity(c.text, c.unit); err != nil || math.Abs(got-c.want) > 1e-12 {
			t.Errorf("ParseQuantity(%q, %q) = %v, %v; want %v", c.text, c.unit, got, err, c.want)
		}
	}
}

func TestParseQuantityFaults(t *testing.T) {
	for _, c := range []struct {
		text string
		unit Unit
		says string // what the message must contain
	}{
		{"5", Metres, "no unit; write a length like 5 m, 30 cm or 10 ft"},
		{"470", Ohms, "no unit; write a resistance like 470 kΩ"},
		{"30", Percents, "no unit; write a percentage like 30 %"},
		{"-6", Decibels, "no unit"},
		{"4,7 kΩ", Ohms, "decimal point"},
		{"1,000 Hz", Hertzes, "no comma"},
		{"380 ms", Hertzes, "is a time, and a frequency is wanted; write it like 440 Hz or 1.5 kHz"},
		{"470 kΩ", Farads, "is a resistance, and a capacitance is wanted"},
		{"-6 dB", Volts, "is a ratio in decibels, and a voltage is wanted"},
		{"470m", Ohms, "m is milli here"},
		{"22m", Farads, "m is milli here"},
		{"5 k", Metres, "is a resistance, and a length is wanted"},
		{"6 o'clock", Dial, "begins at 7 o'clock"},
		{"5:30 o'clock", Dial, "ends at 5 o'clock"},
		{"13 o'clock", Dial, "no such time"},
		{"9:75 o'clock", Dial, "no such time"},
		{"half past 9", Dial, "is not a dial position; write it like 7, 70 % or 2 o'clock"},
		{"4:2", Ratios, "is not a ratio"},
		{"loud", Volts, "is not a voltage"},
		{"", Volts, "is not a voltage"},
		{"4k7k", Ohms, "is not a resistance"},
		{"1e999 V", Volts, "too large"},
		{"1e308 kΩ", Ohms, "too large"},
		{"9999 dBu", Volts, "level is too large"},
		{"NaN", None, "is not a number"},
		{"Inf", Dial, "is not a dial position"},
		{"0x10", None, "is not a number"},
		{"1_000", None, "is not a number"},
		{strings.Repeat("1", 65), None, "too long"},
	} {
		v, err := ParseQuantity(c.text, c.unit)
		if err == nil {
			t.Errorf("ParseQuantity(%q, %q) = %v, want an error", c.text, c.unit, v)
		} else if !strings.Contains(err.Error(), c.says) {
			t.Errorf("ParseQuantity(%q, %q): %q does not say %q", c.text, c.unit, err, c.says)
		}
	}
}

func TestFormatQuantity(t *testing.T) {
	for _, c := range []struct {
		v    float64
		unit Unit
		want string
	}{
		{470e3, Ohms, "470 kΩ"},
		{1e6, Ohms, "1 MΩ"},
		{220, Ohms, "220 Ω"},
		{0.5, Ohms, "0.5 Ω"},
		{4.7e-9, Farads, "4.7 nF"},
		{1e-9, Farads, "1 nF"},
		{1e-7, Farads, "100 nF"},
		{130e-12, Farads, "130 pF"},
		{4.4, Henries, "4.4 H"},
		{0.38, Seconds, "380 ms"},
		{1.5, Seconds, "1.5 s"},
		{0.42, Volts, "420 mV"},
		{-4.5, Volts, "-4.5 V"},
		{0, Volts, "0 V"},
		{0.3, Metres, "30 cm"},
		{5, Metres, "5 m"},
		{1500, Hertzes, "1.5 kHz"},
		{-6, Decibels, "-6 dB"},
		{0.3, Percents, "30 %"},
		{1, Percents, "100 %"},
		{7, Dial, "7"},
		{4, Ratios, "4:1"},
		{12, None, "12"},
		{math.Inf(1), Ohms, "+Inf Ω"},
	} {
		if got := FormatQuantity(c.v, c.unit); got != c.want {
			t.Errorf("FormatQuantity(%v, %q) = %q, want %q", c.v, c.unit, got, c.want)
		}
	}
}

// Every text that the table holds, and no text that the parser refuses, matches the unit's pattern.
func TestPatternAgreesWithParser(t *testing.T) {
	patterns := map[Unit]*regexp.Regexp{}
	for u := range spellings {
		patterns[u] = regexp.MustCompile(u.Pattern())
	}
	if len(patterns) != 15 {
		t.Fatalf("%d units; is a new one in this test's reach?", len(patterns))
	}
	for u, p := range patterns {
		examples := u.Examples()
		if len(examples) == 0 {
			t.Errorf("unit %q has no example", u)
		}
		for _, e := range examples {
			if _, err := ParseQuantity(e, u); err != nil {
				t.Errorf("an example of unit %q: %v", u, err)
			}
			if !p.MatchString(e) {
				t.Errorf("%q: the pattern of unit %q does not match", e, u)
			}
		}
		for _, c := range quantities {
			_, err := ParseQuantity(c.text, u)
			if p.MatchString(c.text) && err != nil {
				t.Errorf("the pattern of unit %q matches %q, the parser says %v", u, c.text, err)
			}
			odd := strings.Contains(c.text, "\u00a0") || c.text == "1e3 Hz" // what the pattern leaves out
			if err == nil && !odd && !p.MatchString(c.text) {
				t.Errorf("the parser takes %q for unit %q, its pattern %s does not", c.text, u, p)
			}
		}
	}
}

func FuzzQuantity(f *testing.F) {
	units := make([]Unit, 0, len(spellings))
	for u := range spellings {
		units = append(units, u)
	}
	slices.Sort(units)
	for _, c := range quantities {
		f.Add(c.text, uint8(slices.Index(units, c.unit)), c.want)
	}
	patterns := map[Unit]*regexp.Regexp{}
	for _, u := range units {
		patterns[u] = regexp.MustCompile(u.Pattern())
	}
	f.Fuzz(func(t *testing.T, text string, n uint8, v float64) {
		unit := units[int(n)%len(units)]
		// What the pattern takes the parser takes, but for lengths, levels and clock positions that
		// no pattern can judge.
		if patterns[unit].MatchString(text) && len(text) <= longest {
			_, err := ParseQuantity(text, unit)
			if err != nil && !strings.Contains(err.Error(), "too large") && !strings.Contains(err.Error(), "a dial ends") {
				t.Fatalf("the pattern of unit %q takes %q, the parser says %v", unit, text, err)
			}
		}
		if got, err := ParseQuantity(text, unit); err == nil {
			if math.IsNaN(got) || math.IsInf(got, 0) {
				t.Fatalf("ParseQuantity(%q, %q) = %v", text, unit, got)
			}
			roundTrip(t, got, unit)
		} else if err.Error() == "" {
			t.Fatalf("ParseQuantity(%q, %q): an empty message", text, unit)
		}
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			roundTrip(t, v, unit)
		}
	})
}

func roundTrip(t *testing.T, v float64, unit Unit) {
	t.Helper()
	text := FormatQuantity(v, unit)
	if got, err := ParseQuantity(text, unit); err != nil || got != v {
		t.Fatalf("FormatQuantity(%v, %q) = %q, which parses as %v, %v", v, unit, text, got, err)
	}
}
