package dsp

// Unit names what a number counts. The zero value is a plain number.
type Unit string

// The units that quantities are written in.
const (
	None     Unit = ""
	Ohms     Unit = "Ω"
	Farads   Unit = "F"
	Henries  Unit = "H"
	Volts    Unit = "V"
	Amperes  Unit = "A"
	Hertzes  Unit = "Hz"
	Seconds  Unit = "s"
	Metres   Unit = "m"
	Decibels Unit = "dB"
	DBVs     Unit = "dBV" // level re 1 V RMS
	DBus     Unit = "dBu" // level re 0.7746 V RMS
	Percents Unit = "%"   // stored as a fraction: 30 % is 0.3
	// a knob's scale, 0 to 10; also written as a percentage or a clock position
	Dial   Unit = "dial"
	Ratios Unit = ":1" // a compression ratio, 4 or 4:1
)
