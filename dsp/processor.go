package dsp

// Processor is what turns signals into signals: a section, a filter, a running circuit, the core of
// a stage.
type Processor interface {
	// Process takes a signal for every input and gives one for every output, all of one length. No
	// result depends on how a signal is cut into calls. An output may be an input.
	Process(out, in [][]float64)
	// Latency is by how many samples the output comes late.
	Latency() int
	// Reset puts it into the state in which it was made.
	Reset()
}

// Frames is the length of the signals of a call of Process.
func Frames(out, in [][]float64) int {
	if len(in) > 0 {
		return len(in[0])
	}
	if len(out) > 0 {
		return len(out[0])
	}
	return 0
}
