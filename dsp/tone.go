package dsp

// Tone is a sine.
type Tone struct {
	Hz    Hertz `json:"hz"`
	Volts Volt  `json:"volts"` // peak
}
