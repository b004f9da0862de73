//go:build unix

package chaintest

import (
	"syscall"
	"testing"
)

// Worked is the seconds of processor time that the process has had.
func Worked(b *testing.B) float64 {
	b.Helper()
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		b.Fatal(err)
	}
	return float64(used.Utime.Nano()+used.Stime.Nano()) / 1e9
}
