#include "textflag.h"

// func add8AVX(y *[8]float64, a *float64, stride int, x *float64, n int)
// Y0 Y1 sum the columns of even index, Y2 Y3 those of odd index.
TEXT ·add8AVX(SB), NOSPLIT, $0-40
	MOVQ y+0(FP), DI
	MOVQ a+8(FP), SI
	MOVQ stride+16(FP), DX
	MOVQ x+24(FP), BX
	MOVQ n+32(FP), CX
	SHLQ $3, DX
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1
	VXORPD Y2, Y2, Y2
	VXORPD Y3, Y3, Y3
	SUBQ $2, CX
	JL   last8
two8:
	VBROADCASTSD (BX), Y4
	VBROADCASTSD 8(BX), Y5
	VMULPD (SI), Y4, Y6
	VMULPD 32(SI), Y4, Y7
	VMULPD (SI)(DX*1), Y5, Y8
	VMULPD 32(SI)(DX*1), Y5, Y9
	VADDPD Y6, Y0, Y0
	VADDPD Y7, Y1, Y1
	VADDPD Y8, Y2, Y2
	VADDPD Y9, Y3, Y3
	LEAQ (SI)(DX*2), SI
	ADDQ $16, BX
	SUBQ $2, CX
	JGE  two8
last8:
	ADDQ $2, CX
	JZ   sum8
	VBROADCASTSD (BX), Y4
	VMULPD (SI), Y4, Y6
	VMULPD 32(SI), Y4, Y7
	VADDPD Y6, Y0, Y0
	VADDPD Y7, Y1, Y1
sum8:
	VADDPD Y2, Y0, Y0
	VADDPD Y3, Y1, Y1
	VADDPD (DI), Y0, Y0
	VADDPD 32(DI), Y1, Y1
	VMOVUPD Y0, (DI)
	VMOVUPD Y1, 32(DI)
	VZEROUPPER
	RET

// func add4AVX(y *[4]float64, a *float64, stride int, x *float64, n int)
TEXT ·add4AVX(SB), NOSPLIT, $0-40
	MOVQ y+0(FP), DI
	MOVQ a+8(FP), SI
	MOVQ stride+16(FP), DX
	MOVQ x+24(FP), BX
	MOVQ n+32(FP), CX
	SHLQ $3, DX
	VXORPD Y0, Y0, Y0
	VXORPD Y2, Y2, Y2
	SUBQ $2, CX
	JL   last4
two4:
	VBROADCASTSD (BX), Y4
	VBROADCASTSD 8(BX), Y5
	VMULPD (SI), Y4, Y6
	VMULPD (SI)(DX*1), Y5, Y8
	VADDPD Y6, Y0, Y0
	VADDPD Y8, Y2, Y2
	LEAQ (SI)(DX*2), SI
	ADDQ $16, BX
	SUBQ $2, CX
	JGE  two4
last4:
	ADDQ $2, CX
	JZ   sum4
	VBROADCASTSD (BX), Y4
	VMULPD (SI), Y4, Y6
	VADDPD Y6, Y0, Y0
sum4:
	VADDPD Y2, Y0, Y0
	VADDPD (DI), Y0, Y0
	VMOVUPD Y0, (DI)
	VZEROUPPER
	RET

// func mul8AVX(y *[8]float64, a *float64, stride int, x *float64, n int)
TEXT ·mul8AVX(SB), NOSPLIT, $0-40
	MOVQ y+0(FP), DI
	MOVQ a+8(FP), SI
	MOVQ stride+16(FP), DX
	MOVQ x+24(FP), BX
	MOVQ n+32(FP), CX
	SHLQ $3, DX
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1
	VXORPD Y2, Y2, Y2
	VXORPD Y3, Y3, Y3
	SUBQ $2, CX
	JL   lastm8
twom8:
	VBROADCASTSD (BX), Y4
	VBROADCASTSD 8(BX), Y5
	VMULPD (SI), Y4, Y6
	VMULPD 32(SI), Y4, Y7
	VMULPD (SI)(DX*1), Y5, Y8
	VMULPD 32(SI)(DX*1), Y5, Y9
	VADDPD Y6, Y0, Y0
	VADDPD Y7, Y1, Y1
	VADDPD Y8, Y2, Y2
	VADDPD Y9, Y3, Y3
	LEAQ (SI)(DX*2), SI
	ADDQ $16, BX
	SUBQ $2, CX
	JGE  twom8
lastm8:
	ADDQ $2, CX
	JZ   sum8
	VBROADCASTSD (BX), Y4
	VMULPD (SI), Y4, Y6
	VMULPD 32(SI), Y4, Y7
	VADDPD Y6, Y0, Y0
	VADDPD Y7, Y1, Y1
sum8:
	VADDPD Y2, Y0, Y0
	VADDPD Y3, Y1, Y1
	VMOVUPD Y0, (DI)
	VMOVUPD Y1, 32(DI)
	VZEROUPPER
	RET

// func mul4AVX(y *[4]float64, a *float64, stride int, x *float64, n int)
TEXT ·mul4AVX(SB), NOSPLIT, $0-40
	MOVQ y+0(FP), DI
	MOVQ a+8(FP), SI
	MOVQ stride+16(FP), DX
	MOVQ x+24(FP), BX
	MOVQ n+32(FP), CX
	SHLQ $3, DX
	VXORPD Y0, Y0, Y0
	VXORPD Y2, Y2, Y2
	SUBQ $2, CX
	JL   lastm4
twom4:
	VBROADCASTSD (BX), Y4
	VBROADCASTSD 8(BX), Y5
	VMULPD (SI), Y4, Y6
	VMULPD (SI)(DX*1), Y5, Y8
	VADDPD Y6, Y0, Y0
	VADDPD Y8, Y2, Y2
	LEAQ (SI)(DX*2), SI
	ADDQ $16, BX
	SUBQ $2, CX
	JGE  twom4
lastm4:
	ADDQ $2, CX
	JZ   sum4
	VBROADCASTSD (BX), Y4
	VMULPD (SI), Y4, Y6
	VADDPD Y6, Y0, Y0
sum4:
	VADDPD Y2, Y0, Y0
	VMOVUPD Y0, (DI)
	VZEROUPPER
	RET

// func recurAVX(y, d, s, a *float64, rows int, x *float64, n int)
// Eight rows at a time; Y0 Y1 sum d·s and the columns of even index, Y2 Y3 those of odd index.
TEXT ·recurAVX(SB), NOSPLIT, $0-56
	MOVQ y+0(FP), DI
	MOVQ d+8(FP), R8
	MOVQ s+16(FP), R9
	MOVQ a+24(FP), R10
	MOVQ rows+32(FP), R11
	MOVQ R11, DX
	SHLQ $3, DX
rows:
	MOVQ R10, SI
	MOVQ x+40(FP), BX
	MOVQ n+48(FP), CX
	VMOVUPD (R8), Y0
	VMOVUPD 32(R8), Y1
	VMULPD (R9), Y0, Y0
	VMULPD 32(R9), Y1, Y1
	VXORPD Y2, Y2, Y2
	VXORPD Y3, Y3, Y3
	SUBQ $2, CX
	JL   last
two:
	VBROADCASTSD (BX), Y4
	VBROADCASTSD 8(BX), Y5
	VMULPD (SI), Y4, Y6
	VMULPD 32(SI), Y4, Y7
	VMULPD (SI)(DX*1), Y5, Y8
	VMULPD 32(SI)(DX*1), Y5, Y9
	VADDPD Y6, Y0, Y0
	VADDPD Y7, Y1, Y1
	VADDPD Y8, Y2, Y2
	VADDPD Y9, Y3, Y3
	LEAQ (SI)(DX*2), SI
	ADDQ $16, BX
	SUBQ $2, CX
	JGE  two
last:
	ADDQ $2, CX
	JZ   sum
	VBROADCASTSD (BX), Y4
	VMULPD (SI), Y4, Y6
	VMULPD 32(SI), Y4, Y7
	VADDPD Y6, Y0, Y0
	VADDPD Y7, Y1, Y1
sum:
	VADDPD Y2, Y0, Y0
	VADDPD Y3, Y1, Y1
	VMOVUPD Y0, (DI)
	VMOVUPD Y1, 32(DI)
	ADDQ $64, DI
	ADDQ $64, R8
	ADDQ $64, R9
	ADDQ $64, R10
	SUBQ $8, R11
	JG   rows
	VZEROUPPER
	RET

// The eight unit vectors.
DATA unit<>+0(SB)/8, $1.0
DATA unit<>+72(SB)/8, $1.0
DATA unit<>+144(SB)/8, $1.0
DATA unit<>+216(SB)/8, $1.0
DATA unit<>+288(SB)/8, $1.0
DATA unit<>+360(SB)/8, $1.0
DATA unit<>+432(SB)/8, $1.0
DATA unit<>+504(SB)/8, $1.0
GLOBL unit<>(SB), RODATA, $512

// COLUMN takes c·p·a[k][j] from column j, 64·j bytes on, and leaves p·a[k][j] in row k.
#define COLUMN(at) \
	VBROADCASTSD at(DI)(BX*1), Y6 \
	VMULPD  Y1, Y6, Y6 \
	VMULPD  Y6, Y2, Y7 \
	VMULPD  Y6, Y3, Y8 \
	VANDPD  at(DI), Y11, Y9 \
	VANDPD  at+32(DI), Y12, Y10 \
	VSUBPD  Y7, Y9, Y9 \
	VSUBPD  Y8, Y10, Y10 \
	VMOVUPD Y9, at(DI) \
	VMOVUPD Y10, at+32(DI)

// func invert8AVX(a *float64, least float64) bool
// SI is column k, R8 its unit vector, BX 8·k; c is Y2 Y3, p is Y1; Y11 Y12 let all pass but row k.
TEXT ·invert8AVX(SB), NOSPLIT, $0-17
	MOVQ a+0(FP), DI
	MOVQ least+8(FP), R12
	MOVQ $0x7ff0000000000000, R13
	MOVQ $0x7fffffffffffffff, R14
	LEAQ unit<>(SB), R8
	VMOVSD (R8), X13
	MOVQ DI, SI
	XORQ BX, BX
pivot:
	VADDSD (SI)(BX*1), X13, X0
	VMOVQ X0, AX
	ANDQ R14, AX
	CMPQ AX, R12
	JLS  singular
	CMPQ AX, R13
	JCC  singular
	VDIVSD X0, X13, X1
	VBROADCASTSD X1, Y1
	VMOVUPD (SI), Y2
	VMOVUPD 32(SI), Y3
	VMOVUPD (R8), Y4
	VMOVUPD 32(R8), Y5
	VXORPD Y0, Y0, Y0
	VCMPPD $0, Y0, Y4, Y11
	VCMPPD $0, Y0, Y5, Y12
	VANDPD Y11, Y2, Y2
	VANDPD Y12, Y3, Y3
	VSUBPD Y4, Y2, Y2
	VSUBPD Y5, Y3, Y3
	VMOVUPD Y4, (SI)
	VMOVUPD Y5, 32(SI)
	COLUMN(0)
	COLUMN(64)
	COLUMN(128)
	COLUMN(192)
	COLUMN(256)
	COLUMN(320)
	COLUMN(384)
	COLUMN(448)
	ADDQ $64, SI
	ADDQ $64, R8
	ADDQ $8, BX
	CMPQ BX, $64
	JLT  pivot
	VZEROUPPER
	MOVB $1, ret+16(FP)
	RET
singular:
	VZEROUPPER
	MOVB $0, ret+16(FP)
	RET
