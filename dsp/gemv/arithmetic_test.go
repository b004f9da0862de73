package gemv

import (
	"os"
	"os/exec"
	"strings"
	"testing"

	"golang.org/x/sys/cpu"
)

// The name of the arithmetic follows what the processor can do: without fused products it is
// another one; without registers of 256 bits, where the loops in Go are taken, it is the same,
// since they round as those in assembly do.
func TestArithmetic(t *testing.T) {
	if os.Getenv("ARITHMETIC") != "" {
		t.Logf("named %s.", Arithmetic())
		return
	}
	if !cpu.X86.HasFMA || !cpu.X86.HasAVX2 {
		t.Skip("this processor has neither, or they are switched off")
	}
	named := func(without string) string {
		c := exec.Command(os.Args[0], "-test.run=^TestArithmetic$", "-test.v")
		c.Env = append(os.Environ(), "ARITHMETIC=1", "GODEBUG="+without)
		out, err := c.CombinedOutput()
		_, name, ok := strings.Cut(string(out), "named ")
		name, _, ok2 := strings.Cut(name, ".")
		if err != nil || !ok || !ok2 {
			t.Fatalf("%v: %s", err, out)
		}
		return name
	}
	if name := named("cpu.avx2=off"); name != Arithmetic() {
		t.Errorf("without AVX2: %s, with it %s", name, Arithmetic())
	}
	if name := named("cpu.fma=off"); name == Arithmetic() {
		t.Errorf("without FMA: %s as well", name)
	}
}
