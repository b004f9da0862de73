package measures

import (
	"drywire/dsp"
	"drywire/dsp/measure"
)

// Levels are of the simulated voltage over the whole recording. Those of a peak count the peak
// voltage itself, as a ceiling is one. The ones in dBV are for programs; people read dBu.
var (
	PeakVolts = &Measure{Key: "peak_volts", Name: "peak", Unit: "V", Heading: "peak", Digits: Significant,
		Definition: "the largest voltage",
		At:         func(j *Jack) Figure { j.look(); return Figure{Value: j.levels.Peak} }}
	PeakDBV = &Measure{Key: "peak_dbv", Name: "peak", Unit: "dBV", Digits: 1,
		Definition: "of the peak: 0 dBV is a peak of 1 V",
		At:         func(j *Jack) Figure { return j.level(measure.Levels.PeakDB) }}
	PeakDBu = &Measure{Key: "peak_dbu", Name: "peak", Unit: "dBu", Heading: "peak", Digits: 1,
		Definition: "of the peak: 0 dBu is a peak of 0.775 V",
		At:         func(j *Jack) Figure { return ToDBu(PeakDBV.At(j)) }}
	RMSVolts = &Measure{Key: "rms_volts", Name: "RMS", Unit: "V", Digits: Significant,
		Definition: "root of the mean square over the whole recording",
		At:         func(j *Jack) Figure { j.look(); return Figure{Value: j.levels.RMS} }}
	RMSDBV = &Measure{Key: "rms_dbv", Name: "RMS", Unit: "dBV", Digits: 1,
		Definition: "of the RMS: 0 dBV is 1 V",
		At:         func(j *Jack) Figure { return j.level(measure.Levels.RMSDB) }}
	RMSDBu = &Measure{Key: "rms_dbu", Name: "RMS", Unit: "dBu", Heading: "RMS", Digits: 1,
		Definition: "of the RMS: 0 dBu is 0.775 V",
		At:         func(j *Jack) Figure { return ToDBu(RMSDBV.At(j)) }}
	Crest = &Measure{Key: "crest_db", Name: "crest factor", Unit: "dB", Heading: "crest", Digits: 1,
		Definition: "peak over RMS",
		At:         func(j *Jack) Figure { return j.level(measure.Levels.CrestDB) }}
	Loudness = &Measure{Key: "loudness_lufs", Name: "loudness", Unit: "LUFS", Heading: "loudness", Digits: 1,
		Definition: "ITU-R BS.1770-5, integrated, with 1 V as full scale",
		At: func(j *Jack) Figure {
			return j.level(func(measure.Levels) (float64, error) { return measure.Loudness(j.X, j.Rate) })
		}}
	LevelChange = &Measure{Key: "level_lu", Name: "level", Unit: "LU", Heading: "level", Digits: 1,
		Definition: "loudness (ITU-R BS.1770-5) before matching",
		Change:     func(s *Sides) Figure { return s.B.Before.Minus(s.A.Before) }}
)

// ToDBu is the level in dBu of one in dBV.
func ToDBu(dBV Figure) Figure { return dBV.Minus(Figure{Value: dsp.VoltsToDBV(dsp.DBu)}) }
