package blocks

// Limited is a core that is linear and does the same at any time as long as what goes in does not
// take it to a limit: in that it states a response (Responder) and says afterwards whether a limit
// has been reached.
//
// Such cores, and the linear circuits between them, may be taken in any order with the same result.
// A core that answers to its signal (a compressor) or moves by itself (a chorus) is none.
type Limited interface {
	Responder
	// Limited reports whether the signal has reached a limit since the last Reset.
	Limited() bool
}

// Limited implements Limited.
func (f *Follower) Limited() bool { return f.clip.Reached() }

// Limited implements Limited.
func (e *equalizing) Limited() bool { return e.in.Reached() || e.out.Reached() }

// Limited implements Limited.
func (e *echoes) Limited() bool { return e.in.Reached() || e.converter.Reached() || e.out.Reached() }
