package dsp

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// spelling is how people write one unit: the one table behind parsing, printing, hints and schema.
type spelling struct {
	what     string   // what the unit measures, for messages
	like     []string // examples, for messages; the first ones are the most usual
	symbols  []string // the unit's spellings, the printed one first
	anyCase  bool     // capitals do not count in the symbols
	prefixes string   // SI prefixes that may stand before a symbol
	letters  string   // prefixes that may stand alone, or as the decimal point: 470k, 4k7
	printed  string   // prefixes that FormatQuantity chooses from, smallest first; a space is none
}

var spellings = map[Unit]spelling{
	None:     {what: "a number", like: []string{"1", "2.5"}},
	Ohms:     {what: "a resistance", like: []string{"470 kΩ", "4k7", "1 MΩ", "220 Ω"}, symbols: []string{"Ω", "ohm", "ohms"}, anyCase: true, prefixes: "mkKMG", letters: "RkKMG", printed: " kMG"},
	Farads:   {what: "a capacitance", like: []string{"22 nF", "4n7", "130 pF", "2.2 µF"}, symbols: []string{"F", "farad", "farads"}, anyCase: true, prefixes: "pnµum", letters: "pnµu", printed: "pnµ"},
	Henries:  {what: "an inductance", like: []string{"4.4 H", "500 mH"}, symbols: []string{"H", "henry", "henries"}, anyCase: true, prefixes: "nµum", printed: "µm "},
	Volts:    {what: "a voltage", like: []string{"9 V", "420 mV", "-10 dBu"}, symbols: []string{"V", "volt", "volts"}, anyCase: true, prefixes: "nµumk", printed: "nµm k"},
	Amperes:  {what: "a current", like: []string{"500 mA", "1 A"}, symbols: []string{"A", "amp", "amps", "ampere", "amperes"}, anyCase: true, prefixes: "pnµum", printed: "pnµm "},
	Hertzes:  {what: "a frequency", like: []string{"440 Hz", "1.5 kHz"}, symbols: []string{"Hz"}, anyCase: true, prefixes: "mkKM", printed: " k"},
	Seconds:  {what: "a time", like: []string{"380 ms", "0.38 s"}, symbols: []string{"s", "sec", "second", "seconds"}, prefixes: "nµum", printed: "µm "},
	Metres:   {what: "a length", like: []string{"5 m", "30 cm", "10 ft"}, symbols: []string{"m", "metre", "metres", "meter", "meters"}, prefixes: "mc", printed: "c "},
	Decibels: {what: "a ratio in decibels", like: []string{"-6 dB", "3 dB"}, symbols: []string{"dB"}, anyCase: true},
	DBVs:     {what: "a level in dBV", like: []string{"-20 dBV"}, symbols: []string{"dBV"}, anyCase: true},
	DBus:     {what: "a level in dBu", like: []string{"-10 dBu", "4 dBu"}, symbols: []string{"dBu"}, anyCase: true},
	Percents: {what: "a percentage", like: []string{"30 %"}, symbols: []string{"%", "percent"}, anyCase: true},
	Dial:     {what: "a dial position", like: []string{"7", "70 %", "2 o'clock"}},
	Ratios:   {what: "a ratio", like: []string{"4:1", "4"}},
}

// foot is 0.3048 m. Source: exact by definition (international foot, 1959).
const foot = 0.3048

var feet = []string{"ft", "foot", "feet"}

// exponents of the SI prefixes. Source: SI brochure, 9th edition, table 7. K for kilo is common
// usage.
var exponents = map[rune]int{'p': -12, 'n': -9, 'µ': -6, 'u': -6, 'm': -3, 'c': -2, ' ': 0, 'R': 0, 'k': 3, 'K': 3, 'M': 6, 'G': 9}

// Means says what the unit measures, with its article: "a resistance".
func (u Unit) Means() string { return u.spelling().what }

// Examples are quantities as people write them, the usual ones first.
func (u Unit) Examples() []string { return slices.Clone(u.spelling().like) }

func (u Unit) spelling() spelling {
	s, ok := spellings[u]
	if !ok {
		panic(fmt.Sprintf("dsp: no unit %q", string(u)))
	}
	return s
}

// longest is how many bytes a quantity may take; nobody writes more.
const longest = 64

// ParseQuantity reads a quantity as people write it, in the SI base unit:
//
//	470 kΩ  470k  470 kOhm  4k7  2M2   →  Ohms      380 ms  0.38 s   →  Seconds
//	22 nF  22n  4n7                    →  Farads    5 m  30 cm  10 ft →  Metres
//	420 mV  9 V                        →  Volts     30 %  →  Percents, as 0.3
//
// The same letter m is milli or metre, as the unit that is wanted says. A level in dBu or dBV where
// Volts are wanted is an RMS voltage and gives that voltage: for a peak, the caller knows the
// waveform. A level in the one where the other is wanted is converted.
//
// A Dial is 0 to 10, a percentage of that, or a clock position: 7 o'clock is 0, 12 o'clock is 5, 5
// o'clock is 10, and it goes evenly round the 300 degrees between (9:30 o'clock is 2.5). The range
// of a plain number on a dial is left to the caller. Ratios are 4 or 4:1.
//
// A number without the unit that it needs is an error that offers units. Errors are written for the
// person who wrote the text. The result is finite.
func ParseQuantity(text string, unit Unit) (float64, error) {
	sp := unit.spelling()
	if len(text) > longest {
		return 0, fmt.Errorf("too long for %s; write it like %s", sp.what, choices(sp.like))
	}
	v, err := parseQuantity(tidy(text), unit, sp)
	if err == nil {
		return v, nil
	}
	if !errors.Is(err, errNotOne) {
		return 0, fmt.Errorf("%q: %w", text, err)
	}
	for _, other := range []Unit{Ohms, Farads, Henries, Volts, Amperes, Hertzes, Seconds, Metres, Decibels, DBVs, DBus, Percents} {
		if other == unit {
			continue
		}
		if _, err := parseQuantity(tidy(text), other, other.spelling()); err == nil {
			return 0, fmt.Errorf("%q is %s, and %s is wanted; write it like %s", text, other.spelling().what, sp.what, choices(sp.like))
		}
	}
	return 0, fmt.Errorf("%q is not %s; write it like %s", text, sp.what, choices(sp.like))
}

// errNotOne says that a text is no quantity of the unit, without a more helpful reason.
var errNotOne = errors.New("not one")

// tidy gives one spelling to signs that look alike.
var tidyRunes = strings.NewReplacer(
	"\u2126", "Ω", // the ohm sign, for the Greek letter
	"\u03bc", "µ", // the Greek letter, for the micro sign
	"\u2212", "-", // the minus sign
	"\u2019", "'", // a typographic apostrophe
	"\u00a0", " ", "\u2009", " ", "\u202f", " ", // no-break and thin spaces
)

func tidy(text string) string { return strings.TrimSpace(tidyRunes.Replace(text)) }

var (
	clockForm  = regexp.MustCompile(`^([0-9]{1,2})(?::([0-9]{2}))? ?[oO]'?[cC]lock$`)
	ratioForm  = regexp.MustCompile(`^([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)(?: ?: ?1)?$`)
	numberForm = regexp.MustCompile(`^[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?`)
	infixForm  = regexp.MustCompile(`^([+-]?[0-9]+)(\pL)([0-9]+)`) // 4k7
	commaForm  = regexp.MustCompile(`[0-9],[0-9]`)
)

func parseQuantity(s string, unit Unit, sp spelling) (float64, error) {
	if commaForm.MatchString(s) {
		return 0, errors.New("a number takes a decimal point and no comma: 4.7, 1000")
	}
	switch unit {
	case Dial:
		if m := clockForm.FindStringSubmatch(s); m != nil {
			return clock(m[1], m[2])
		}
		if number := numberForm.FindString(s); number != "" && spellings[Percents].names(strings.TrimLeft(s[len(number):], " ")) {
			return decimal(number, -1)
		}
	case Ratios:
		if m := ratioForm.FindStringSubmatch(s); m != nil {
			return decimal(m[1], 0)
		}
		return 0, errNotOne
	}
	if m := infixForm.FindStringSubmatch(s); m != nil && strings.Contains(sp.letters, m[2]) {
		after := strings.TrimPrefix(s[len(m[0]):], " ")
		if after == "" || sp.names(after) {
			return decimal(m[1]+"."+m[3], exponents[[]rune(m[2])[0]])
		}
		return 0, errNotOne
	}
	number := numberForm.FindString(s)
	if number == "" {
		return 0, errNotOne
	}
	suffix := strings.TrimLeft(s[len(number):], " ")
	if suffix == "" {
		if len(sp.symbols) == 0 {
			return decimal(number, 0)
		}
		return 0, fmt.Errorf("it has no unit; write %s like %s", sp.what, choices(sp.like))
	}
	if sp.names(suffix) {
		exponent := 0
		if unit == Percents {
			exponent = -2
		}
		return decimal(number, exponent)
	}
	for _, p := range sp.prefixes {
		if after, ok := strings.CutPrefix(suffix, string(p)); ok && sp.names(after) {
			return decimal(number, exponents[p])
		}
	}
	if len([]rune(suffix)) == 1 {
		if strings.Contains(sp.letters, suffix) {
			return decimal(number, exponents[[]rune(suffix)[0]])
		}
		if sp.letters != "" && suffix == "m" {
			return 0, fmt.Errorf("m is milli here; write %s m%s if that is meant, or another prefix: %s", number, sp.symbols[0], choices(sp.like))
		}
	}
	level := strings.EqualFold(suffix, "dBu") || strings.EqualFold(suffix, "dBV")
	switch {
	case level && (unit == Volts || unit == DBus || unit == DBVs):
		db, err := decimal(number, 0)
		if err != nil {
			return 0, err
		}
		v := FromDB(db) // the RMS voltage
		if strings.EqualFold(suffix, "dBu") {
			v *= DBu
		}
		if math.IsInf(v, 0) || v == 0 {
			return 0, errors.New("the level is too large or too small")
		}
		switch unit {
		case DBus:
			return VoltsToDBu(v), nil
		case DBVs:
			return VoltsToDBV(v), nil
		}
		return v, nil
	case unit == Metres && slices.Contains(feet, suffix):
		v, err := decimal(number, 0)
		return v * foot, err
	}
	return 0, errNotOne
}

// names reports whether s is the unit's name, without a prefix.
func (sp spelling) names(s string) bool {
	return slices.ContainsFunc(sp.symbols, func(symbol string) bool {
		return s == symbol || sp.anyCase && strings.EqualFold(s, symbol)
	})
}

// decimal is number·10^exponent, rounded once: 4.7 with -9 is the float64 nearest to 4.7e-9.
func decimal(number string, exponent int) (float64, error) {
	mantissa, written, found := strings.Cut(strings.ToLower(number), "e")
	if found {
		e, err := strconv.Atoi(written)
		if err != nil || e < -400 || e > 400 {
			return 0, errors.New("the number is too large or too small")
		}
		exponent += e
	}
	v, err := strconv.ParseFloat(mantissa+"e"+strconv.Itoa(exponent), 64)
	if err != nil { // beyond what a float64 holds: the digits are in order
		return 0, errors.New("the number is too large")
	}
	return v, nil
}

// clock is the dial position of a time of day, the way that people name positions of a knob's
// pointer.
func clock(hour, minute string) (float64, error) {
	h, _ := strconv.Atoi(hour)
	m, _ := strconv.Atoi("0" + minute)
	if h < 1 || h > 12 || m > 59 {
		return 0, errors.New("no such time on a clock")
	}
	at := float64(h) + float64(m)/60
	switch {
	case h >= 7:
		return at - 7, nil // 7 o'clock is 0
	case at <= 5:
		return at + 5, nil // 12 o'clock is 5, and 5 o'clock is 10
	}
	return 0, errors.New("a dial ends at 5 o'clock and begins at 7 o'clock")
}

func choices(like []string) string {
	if len(like) == 1 {
		return like[0]
	}
	return strings.Join(like[:len(like)-1], ", ") + " or " + like[len(like)-1]
}

// FormatQuantity prints a quantity the way people write it: 470 kΩ, 380 ms, 4.7 nF, 30 %, 4:1. It
// prints every digit that counts, so that ParseQuantity gives v back, bit for bit: round measured
// values first. It prints NaN and the infinities too, which ParseQuantity refuses.
func FormatQuantity(v float64, unit Unit) string {
	sp := unit.spelling()
	symbol := ""
	if len(sp.symbols) > 0 {
		symbol = " " + sp.symbols[0]
	}
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return strconv.FormatFloat(v, 'g', -1, 64) + symbol
	case unit == Ratios:
		return shifted(v, 0) + ":1"
	case unit == Percents:
		return shifted(v, 2) + symbol
	case sp.printed == "" || v == 0:
		return shifted(v, 0) + symbol
	}
	power := int(math.Floor(math.Log10(math.Abs(v)) + 1e-9))
	prefixes := []rune(sp.printed)
	prefix := prefixes[0]
	for _, p := range prefixes {
		if exponents[p] <= power {
			prefix = p
		}
	}
	name := sp.symbols[0]
	if prefix != ' ' {
		name = string(prefix) + name
	}
	return shifted(v, -exponents[prefix]) + " " + name
}

// shifted prints v·10^places by moving the decimal point of v's shortest decimal form: no rounding.
func shifted(v float64, places int) string {
	if v == 0 {
		return "0"
	}
	mantissa, e, _ := strings.Cut(strconv.FormatFloat(v, 'e', -1, 64), "e")
	exponent, _ := strconv.Atoi(e)
	exponent += places
	sign := ""
	if mantissa[0] == '-' {
		sign, mantissa = "-", mantissa[1:]
	}
	digits := strings.Replace(mantissa, ".", "", 1)
	switch {
	case exponent < -7 || exponent > 15:
		return fmt.Sprintf("%s%se%d", sign, mantissa, exponent)
	case exponent < 0:
		return sign + "0." + strings.Repeat("0", -exponent-1) + digits
	case exponent >= len(digits)-1:
		return sign + digits + strings.Repeat("0", exponent-len(digits)+1)
	}
	return sign + digits[:exponent+1] + "." + digits[exponent+1:]
}

// Pattern is a regular expression (the common part of ECMA-262 and RE2) of the texts that
// ParseQuantity takes for the unit, for editors. It is stricter in what nobody types (odd spaces,
// exponents) and does not know which hours a dial has.
func (u Unit) Pattern() string {
	sp := u.spelling()
	const number = `[-+−]?([0-9]+\.?[0-9]*|\.[0-9]+)`
	switch u {
	case None:
		return "^" + number + "$"
	case Dial:
		return `^([-+−]?([0-9]+\.?[0-9]*|\.[0-9]+)( ?(%|[pP][eE][rR][cC][eE][nN][tT]))?|([1-5]|[7-9]|1[0-2])(:[0-5][0-9])? ?o['’]?clock)$`
	case Ratios:
		return `^[-+−]?([0-9]+\.?[0-9]*|\.[0-9]+)( ?: ?1)?$`
	}
	var names []string
	for _, s := range sp.symbols {
		names = append(names, foldable(s, sp.anyCase))
		if s == "Ω" {
			names = append(names, "\u2126")
		}
	}
	prefixes := ""
	if sp.prefixes != "" {
		prefixes = "[" + strings.Replace(sp.prefixes, "µ", "µμ", 1) + "]?"
	}
	forms := number + " ?" + prefixes + "(" + strings.Join(names, "|") + ")"
	switch u {
	case Volts:
		forms += "|" + number + " ?[dD][bB][uUvV]"
	case DBus:
		forms += "|" + number + " ?[dD][bB][vV]"
	case DBVs:
		forms += "|" + number + " ?[dD][bB][uU]"
	case Metres:
		forms += "|" + number + " ?(" + strings.Join(feet, "|") + ")"
	}
	if sp.letters != "" {
		letters := "[" + strings.Replace(sp.letters, "µ", "µμ", 1) + "]"
		forms += "|" + number + " ?" + letters + "|[-+−]?[0-9]+" + letters + "[0-9]+( ?(" + strings.Join(names, "|") + "))?"
	}
	return "^(" + forms + ")$"
}

// foldable is a pattern of s in any mixture of capitals.
func foldable(s string, anyCase bool) string {
	var b strings.Builder
	for _, r := range s {
		lower, upper := strings.ToLower(string(r)), strings.ToUpper(string(r))
		if !anyCase || lower == upper || r == 'Ω' {
			b.WriteRune(r)
			continue
		}
		b.WriteString("[" + lower + upper + "]")
	}
	return b.String()
}
