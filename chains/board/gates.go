package board

// Opened is the chain with its gates open, as they are while one plays; there is false where it has
// none that is on.
func (c *Chain) Opened() (opened *Chain, there bool) {
	opened = c.clone()
	for _, line := range opened.lines() {
		for k, p := range line {
			if p.Kind.Name == "gate" && !p.Off {
				line[k].Settings = p.Settings.With("range", 0)
				there = true
			}
		}
	}
	return opened, there
}
