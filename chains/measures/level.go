package measures

import (
	"drywire/dsp"
	"drywire/dsp/measure"
)

// Levels are of the simulated voltage over the whole recording: dBV re 1 V, dBu re 0.7746 V
// (IEC 61606-1; of a peak they count the peak voltage itself, as a ceiling is one).

// PeakVolts is the largest voltage.
var PeakVolts = &Measure{
	Key: "peak_volts", Name: "peak", Unit: "V", Heading: "peak", Digits: Significant,
	Definition: "the largest voltage",
	At:         func(j *Jack) Figure { j.look(); return Figure{Value: j.levels.Peak} },
}

// PeakDBV is the level of the peak, for programs.
var PeakDBV = &Measure{
	Key: "peak_dbv", Name: "peak", Unit: "dBV", Digits: 1,
	Definition: "of the peak: 0 dBV is a peak of 1 V",
	At:         func(j *Jack) Figure { return j.level(measure.Levels.PeakDB) },
}

// PeakDBu is the level of the peak.
var PeakDBu = &Measure{
	Key: "peak_dbu", Name: "peak", Unit: "dBu", Heading: "peak", Digits: 1,
	Definition: "of the peak: 0 dBu is a peak of 0.775 V",
	At:         func(j *Jack) Figure { return ToDBu(PeakDBV.At(j)) },
}

// RMSVolts is the average voltage.
var RMSVolts = &Measure{
	Key: "rms_volts", Name: "RMS", Unit: "V", Digits: Significant,
	Definition: "root of the mean square over the whole recording",
	At:         func(j *Jack) Figure { j.look(); return Figure{Value: j.levels.RMS} },
}

// RMSDBV is the level of the average, for programs.
var RMSDBV = &Measure{
	Key: "rms_dbv", Name: "RMS", Unit: "dBV", Digits: 1,
	Definition: "of the RMS: 0 dBV is 1 V",
	At:         func(j *Jack) Figure { return j.level(measure.Levels.RMSDB) },
}

// RMSDBu is the level of the average.
var RMSDBu = &Measure{
	Key: "rms_dbu", Name: "RMS", Unit: "dBu", Heading: "RMS", Digits: 1,
	Definition: "of the RMS: 0 dBu is 0.775 V",
	At:         func(j *Jack) Figure { return ToDBu(RMSDBV.At(j)) },
}

// Crest is the peak over the RMS.
var Crest = &Measure{
	Key: "crest_db", Name: "crest factor", Unit: "dB", Heading: "crest", Digits: 1,
	Definition: "peak over RMS",
	At:         func(j *Jack) Figure { return j.level(measure.Levels.CrestDB) },
}

// ToDBu is the level in dBu of one in dBV.
func ToDBu(dBV Figure) Figure { return dBV.Minus(Figure{Value: dsp.VoltsToDBV(dsp.DBu)}) }

// fromVolts is the level in dBu of an RMS voltage that may be nought.
func fromVolts(v Figure) Figure {
	if v.OK() {
		return NoiseLevel(v.Value * v.Value)
	}
	return v
}
