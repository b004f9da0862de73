// Package experiment compares: what the measures of package measures say of a take at every jack,
// of one take against another, of swaps, presets and orders, and how takes are brought to one
// loudness. Results are data, for tables, JSON objects and pages.
//
// It renders in memory and touches no file: whoever calls it brings a recording in volts.
//
// Start reading at Comparison (what comes out of several takes), Measure (one take), NewPair (two),
// Settle and Common (how loudness is matched), bench.go (how many orders share their renders).
package experiment

// Comparison is the result of comparing the takes of a chain file. It is also the JSON object that
// the command prints; its tags are the documented names. Levels in volts are those of the simulated
// circuit; LUFS and dBTP are those of the files for listening. What has no value (the level of
// silence) is null.
type Comparison struct {
	Title     string    `json:"title"`
	Quality   string    `json:"quality"` // draft, normal or fine
	Recording Recording `json:"recording"`
	RateHz    int       `json:"rate_hz"`
	// length of every file: the recording and the longest tail
	Seconds float64 `json:"seconds"`
	// "loudness" (ITU-R BS.1770, integrated), or "rms" where the recording is under 0.4 s
	MatchedBy string `json:"matched_by"`
	// the common level of all files: LUFS, or dB re full scale where matched by rms
	TargetDB  float64 `json:"target_db"`
	CeilingDB float64 `json:"ceiling_dbtp"`
	// the take whose true peak kept the target below the usual one; "" where none did
	LimitedBy string     `json:"limited_by"`
	Takes     []Take     `json:"takes"`
	Nulls     []Null     `json:"nulls"`
	Pairs     []Pair     `json:"pairs"`  // of the same takes as Nulls
	Cables    []Rewiring `json:"cables"` // from the first take to each of the others
}

// Recording is what was rendered, and how its samples became volts.
type Recording struct {
	Name         string  `json:"name"`
	Seconds      float64 `json:"seconds"`
	VoltsPerUnit float64 `json:"volts_per_unit"` // of a sample of 1
	// what the guitar was plugged into: "none", or its resistance and cable
	Load  string   `json:"load"`
	Notes []string `json:"notes"` // stereo side, level, warnings
}

// Take is one take's measures.
type Take struct {
	Number int    `json:"number"` // from 1
	Name   string `json:"name"`
	// the blocks, first to last; of a split, left before right
	Order []string `json:"order"`
	// those of Order on the path to the left amplifier
	Left  []string `json:"left,omitempty"`
	Right []string `json:"right,omitempty"`
	Off   []string `json:"off"`
	// where its guitar has one of its own
	Recording   *Recording    `json:"recording,omitempty"`
	Set         []string      `json:"set"`            // changed settings, as "guitar.volume: 3"
	File        string        `json:"file"`           // in the output folder
	PeakVolts   float64       `json:"peak_volts"`     // at the jack out, largest sample
	RMSVolts    float64       `json:"rms_volts"`      // over the whole file
	LeveldBu    *float64      `json:"level_dbu"`      // of that RMS
	Before      *float64      `json:"before_db"`      // loudness before the gain, 1 V as full scale
	GainDB      float64       `json:"gain_db"`        // from volts (1 V as full scale) to the file
	After       *float64      `json:"after_db"`       // loudness as written
	TruePeakDB  *float64      `json:"true_peak_dbtp"` // as written
	Matched     bool          `json:"matched"`        // false for a silent take
	Solver      []SolverStats `json:"solver"`
	Unconverged int64         `json:"unconverged"` // steps, over all sections
	// where presets change while it plays
	Switched []Switched `json:"switched,omitempty"`
}

// SolverStats is the solver's convergence in one non-linear section.
type SolverStats struct {
	Parts         []string `json:"parts"` // the guitar, the blocks and the load with a jack in it
	RateHz        float64  `json:"rate_hz"`
	Steps         int64    `json:"steps"`
	Divided       int64    `json:"divided"`        // steps taken again in smaller ones
	MaxIterations int      `json:"max_iterations"` // of the worst step
	Unconverged   int64    `json:"unconverged"`
	ResidualVolts float64  `json:"residual_volts"` // the largest error left in a device's voltage
}

// Null is the level of the difference of two matched takes relative to the first of the two. DB is
// null where they are identical to the last bit, where one is silent, or where they were played apart.
type Null struct {
	A         int      `json:"a"` // numbers of takes
	B         int      `json:"b"`
	DB        *float64 `json:"db"`
	Identical bool     `json:"identical"`
}

// Of is the null of a pair of takes.
func (c *Comparison) Of(a, b int) (Null, bool) {
	for _, n := range c.Nulls {
		if n.A == a && n.B == b {
			return n, true
		}
	}
	return Null{}, false
}
