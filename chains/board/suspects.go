package board

// SuspectKinds is the kinds of what a noise may come from, whose weights a file may set: see
// package hunt.
var SuspectKinds = []string{"pickup", "lead", "cable", "pedal", "supply", "ground-loop", "amplifier", "mains"}
