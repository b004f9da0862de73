package transient

import "golang.org/x/sys/cpu"

var fast = cpu.X86.HasAVX && cpu.X86.HasAVX2 && cpu.X86.HasFMA

//go:noescape
func predict4(t *ports, s *workspace, p, x *float64, n int) float64

//go:noescape
func predict8(t *ports, s *workspace, p, x *float64, n int) float64

//go:noescape
func correct4(t *ports, s *workspace, pairs int, least float64) float64

//go:noescape
func correct8(t *ports, s *workspace, pairs int, least float64) float64

//go:noescape
func settle4(t *ports, s *workspace, r, scale float64) float64

//go:noescape
func settle8(t *ports, s *workspace, r, scale float64) float64

//go:noescape
func carryAVX(next, s, diagonal, turn, drive *float64, rows int, x *float64, n int)

//go:noescape
func productAVX(a, b *float64, n int) float64
