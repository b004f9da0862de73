package render

// Limits is what has been found out about stages that reach a limit.
func (o *Orders) Limits() map[[32]byte]bool { return o.limits }

// Recording is the recording with its margins.
func (m *Memo) Recording() []float64 { return m.recording }
