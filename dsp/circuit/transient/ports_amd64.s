#include "go_asm.h"
#include "textflag.h"

// The steps' arithmetic on four or eight rows: what the plain forms in ports.go do, in their order. DI is the ports, SI the workspace.

DATA ones<>+0(SB)/8, $1.0
DATA ones<>+8(SB)/8, $1.0
DATA ones<>+16(SB)/8, $1.0
DATA ones<>+24(SB)/8, $1.0
GLOBL ones<>(SB), RODATA, $32

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

DATA without<>+0(SB)/8, $0x7fffffffffffffff
DATA without<>+8(SB)/8, $0x7fffffffffffffff
DATA without<>+16(SB)/8, $0x7fffffffffffffff
DATA without<>+24(SB)/8, $0x7fffffffffffffff
GLOBL without<>(SB), RODATA, $32 // of the sign

DATA sense<>+0(SB)/8, $1.0e12
DATA sense<>+8(SB)/8, $1.0e12
DATA sense<>+16(SB)/8, $1.0e12
DATA sense<>+24(SB)/8, $1.0e12
GLOBL sense<>(SB), RODATA, $32 // beyondSense

DATA infinity<>+0(SB)/8, $0x7ff0000000000000
GLOBL infinity<>(SB), RODATA, $8

DATA minus<>+0(SB)/8, $-1.0
GLOBL minus<>(SB), RODATA, $8

// LARGEST leaves the largest number of Y0 in X0; it needs X1.
#define LARGEST \
	VEXTRACTF128 $1, Y0, X1 \
	VMAXPD X1, X0, X0 \
	VPERMILPD $1, X0, X1 \
	VMAXSD X1, X0, X0

// TIMES4 is a·x, all rows, the columns of even and of odd index apart: a of four columns at at(SI), x in Y1, the sum in Y0; it needs Y2 to Y7.
#define TIMES4(at) \
	VPERMPD $0x00, Y1, Y4 \
	VPERMPD $0x55, Y1, Y5 \
	VPERMPD $0xAA, Y1, Y6 \
	VPERMPD $0xFF, Y1, Y7 \
	VMULPD at(SI), Y4, Y0 \
	VMULPD (at+32)(SI), Y5, Y2 \
	VFMADD231PD (at+64)(SI), Y6, Y0 \
	VFMADD231PD (at+96)(SI), Y7, Y2 \
	VADDPD Y2, Y0, Y0

// func predict4(t *ports, s *workspace, p, x *float64, n int) float64
// Y0 Y1 Y2 Y3 sum every fourth column.
TEXT ·predict4(SB), NOSPLIT, $0-48
	MOVQ t+0(FP), DI
	MOVQ s+8(FP), SI
	MOVQ p+16(FP), DX
	MOVQ x+24(FP), BX
	MOVQ n+32(FP), CX
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1
	VXORPD Y2, Y2, Y2
	VXORPD Y3, Y3, Y3
	SUBQ $4, CX
	JL   tail
four:
	VBROADCASTSD (BX), Y4
	VBROADCASTSD 8(BX), Y5
	VBROADCASTSD 16(BX), Y6
	VBROADCASTSD 24(BX), Y7
	VFMADD231PD (DX), Y4, Y0
	VFMADD231PD 32(DX), Y5, Y1
	VFMADD231PD 64(DX), Y6, Y2
	VFMADD231PD 96(DX), Y7, Y3
	ADDQ $128, DX
	ADDQ $32, BX
	SUBQ $4, CX
	JGE  four
tail:
	ADDQ $4, CX
	JZ   sum
	VBROADCASTSD (BX), Y4
	VFMADD231PD (DX), Y4, Y0
	DECQ CX
	JZ   sum
	VBROADCASTSD 8(BX), Y5
	VFMADD231PD 32(DX), Y5, Y1
	DECQ CX
	JZ   sum
	VBROADCASTSD 16(BX), Y6
	VFMADD231PD 64(DX), Y6, Y2
sum:
	VADDPD Y2, Y0, Y0
	VADDPD Y3, Y1, Y1
	VADDPD Y1, Y0, Y0
	VMOVUPD Y0, workspace_want(SI)
	VSUBPD workspace_p(SI), Y0, Y1
	TIMES4(workspace_inverse)
	VMOVUPD ports_v(DI), Y8
	VADDPD Y0, Y8, Y0
	VMOVUPD Y0, workspace_tangent(SI)
	VADDPD workspace_ahead(SI), Y0, Y0
	VMOVUPD Y0, ports_next(DI)
	VSUBPD Y8, Y0, Y0
	VANDPD without<>(SB), Y0, Y0
	VMULPD ports_limitInverse(DI), Y0, Y0
	LARGEST
	VMOVSD X0, ret+40(FP)
	VZEROUPPER
	RET

// func predict8(t *ports, s *workspace, p, x *float64, n int) float64
// As predict4; Y0 to Y3 and Y4 to Y7 sum the lower and the upper rows.
TEXT ·predict8(SB), NOSPLIT, $0-48
	MOVQ t+0(FP), DI
	MOVQ s+8(FP), SI
	MOVQ p+16(FP), DX
	MOVQ x+24(FP), BX
	MOVQ n+32(FP), CX
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1
	VXORPD Y2, Y2, Y2
	VXORPD Y3, Y3, Y3
	VXORPD Y4, Y4, Y4
	VXORPD Y5, Y5, Y5
	VXORPD Y6, Y6, Y6
	VXORPD Y7, Y7, Y7
	SUBQ $4, CX
	JL   tail
four:
	VBROADCASTSD (BX), Y8
	VBROADCASTSD 8(BX), Y9
	VBROADCASTSD 16(BX), Y10
	VBROADCASTSD 24(BX), Y11
	VFMADD231PD (DX), Y8, Y0
	VFMADD231PD 32(DX), Y8, Y4
	VFMADD231PD 64(DX), Y9, Y1
	VFMADD231PD 96(DX), Y9, Y5
	VFMADD231PD 128(DX), Y10, Y2
	VFMADD231PD 160(DX), Y10, Y6
	VFMADD231PD 192(DX), Y11, Y3
	VFMADD231PD 224(DX), Y11, Y7
	ADDQ $256, DX
	ADDQ $32, BX
	SUBQ $4, CX
	JGE  four
tail:
	ADDQ $4, CX
	JZ   sum
	VBROADCASTSD (BX), Y8
	VFMADD231PD (DX), Y8, Y0
	VFMADD231PD 32(DX), Y8, Y4
	DECQ CX
	JZ   sum
	VBROADCASTSD 8(BX), Y9
	VFMADD231PD 64(DX), Y9, Y1
	VFMADD231PD 96(DX), Y9, Y5
	DECQ CX
	JZ   sum
	VBROADCASTSD 16(BX), Y10
	VFMADD231PD 128(DX), Y10, Y2
	VFMADD231PD 160(DX), Y10, Y6
sum:
	VADDPD Y2, Y0, Y0
	VADDPD Y3, Y1, Y1
	VADDPD Y1, Y0, Y0
	VADDPD Y6, Y4, Y4
	VADDPD Y7, Y5, Y5
	VADDPD Y5, Y4, Y4
	VMOVUPD Y0, workspace_want(SI)
	VMOVUPD Y4, (workspace_want+32)(SI)
	VSUBPD workspace_p(SI), Y0, Y0
	VSUBPD (workspace_p+32)(SI), Y4, Y4
	VMOVUPD Y0, ports_f(DI)
	VMOVUPD Y4, (ports_f+32)(DI)
	LEAQ workspace_inverse(SI), R8
	LEAQ ports_f(DI), R9
	MOVQ workspace_pairs(SI), CX
	CALL times8<>(SB)
	VMOVUPD ports_v(DI), Y8
	VMOVUPD (ports_v+32)(DI), Y9
	VADDPD Y0, Y8, Y0
	VADDPD Y4, Y9, Y4
	VMOVUPD Y0, workspace_tangent(SI)
	VMOVUPD Y4, (workspace_tangent+32)(SI)
	VADDPD workspace_ahead(SI), Y0, Y0
	VADDPD (workspace_ahead+32)(SI), Y4, Y4
	VMOVUPD Y0, ports_next(DI)
	VMOVUPD Y4, (ports_next+32)(DI)
	VSUBPD Y8, Y0, Y0
	VSUBPD Y9, Y4, Y4
	VANDPD without<>(SB), Y0, Y0
	VANDPD without<>(SB), Y4, Y4
	VMULPD ports_limitInverse(DI), Y0, Y0
	VMULPD (ports_limitInverse+32)(DI), Y4, Y4
	VMAXPD Y4, Y0, Y0
	LARGEST
	VMOVSD X0, ret+40(FP)
	VZEROUPPER
	RET

// times8 is a·x: a of CX pairs of columns at R8, x at R9, the lower rows in Y0, the upper in Y4; the columns of even and of odd index apart. It needs Y1, Y5, Y8 and Y9.
TEXT times8<>(SB), NOSPLIT, $0-0
	VBROADCASTSD (R9), Y8
	VBROADCASTSD 8(R9), Y9
	VMULPD (R8), Y8, Y0
	VMULPD 32(R8), Y8, Y4
	VMULPD 64(R8), Y9, Y1
	VMULPD 96(R8), Y9, Y5
more:
	DECQ CX
	JZ   done
	ADDQ $128, R8
	ADDQ $16, R9
	VBROADCASTSD (R9), Y8
	VBROADCASTSD 8(R9), Y9
	VFMADD231PD (R8), Y8, Y0
	VFMADD231PD 32(R8), Y8, Y4
	VFMADD231PD 64(R8), Y9, Y1
	VFMADD231PD 96(R8), Y9, Y5
	JMP  more
done:
	VADDPD Y1, Y0, Y0
	VADDPD Y5, Y4, Y4
	RET

// GATHER loads four numbers that were stored one by one, which a load of all of them would wait for. It needs X2.
#define GATHER(at, y, x) \
	VMOVSD at(DI), x \
	VMOVHPD (at+8)(DI), x, x \
	VMOVSD (at+16)(DI), X2 \
	VMOVHPD (at+24)(DI), X2, X2 \
	VINSERTF128 $1, X2, y, y

// INVERSE checks the determinant in Y3 and sets Y3 to 1 over it.
#define INVERSE \
	VMOVQ X3, AX \
	ANDQ R10, AX \
	CMPQ AX, R12 \
	JLS  singular \
	CMPQ AX, R13 \
	JCC  singular \
	VDIVPD Y3, Y14, Y3

// PIVOT4 takes the pivot's columns x and y, whose own two rows first, second and rows choose and whose unit vectors lie at unit: Y4 is x0, Y5 x1, Y6 y0, Y7 y1, Y3 becomes 1 over the determinant,
// Y0 and Y1 the columns with the unit vectors taken from their rows times the pivot's adjugate, and x and y what the identity's columns have become.
#define PIVOT4(x, y, first, second, rows, at) \
	VPERMPD first, x, Y4 \
	VPERMPD second, x, Y5 \
	VPERMPD first, y, Y6 \
	VPERMPD second, y, Y7 \
	VMULPD Y5, Y6, Y3 \
	VFMSUB231PD Y7, Y4, Y3 \
	INVERSE \
	VBLENDPD rows, Y13, x, Y0 \
	VBLENDPD rows, Y13, y, Y1 \
	VSUBPD unit<>+at(SB), Y0, Y0 \
	VSUBPD unit<>+(at+64)(SB), Y1, Y1 \
	VMULPD Y5, Y1, Y5 \
	VMULPD Y6, Y0, Y6 \
	VFMSUB213PD Y5, Y7, Y0 \
	VFMSUB213PD Y6, Y4, Y1 \
	VXORPD x, x, x \
	VXORPD y, y, y \
	VFNMADD231PD Y3, Y0, x \
	VFNMADD231PD Y3, Y1, y

// ELIMINATE4 takes the pivot from two other columns.
#define ELIMINATE4(x, y, first, second, rows) \
	VPERMPD first, x, Y4 \
	VPERMPD second, x, Y5 \
	VPERMPD first, y, Y6 \
	VPERMPD second, y, Y7 \
	VMULPD Y4, Y0, Y4 \
	VFMADD231PD Y5, Y1, Y4 \
	VMULPD Y6, Y0, Y6 \
	VFMADD231PD Y7, Y1, Y6 \
	VBLENDPD rows, Y13, x, x \
	VBLENDPD rows, Y13, y, y \
	VFNMADD231PD Y3, Y4, x \
	VFNMADD231PD Y3, Y6, y

// VERDICT gives back the largest of the corrections in Y0, all of whose comparisons with what makes sense are in Y1. What jumps to singular gives back -1.
#define VERDICT \
	VMOVMSKPD Y1, AX \
	CMPL AX, $15 \
	JNE  nonsense \
	LARGEST \
	JMP  give \
nonsense: \
	VMOVSD infinity<>(SB), X0 \
	JMP  give \
singular: \
	VMOVSD minus<>(SB), X0 \
give: \
	VMOVSD X0, ret+32(FP) \
	VZEROUPPER \
	RET

// func correct4(t *ports, s *workspace, pairs int, least float64) float64
// Y8 to Y11 are the columns of the Jacobian and become its inverse; Y12 is f, Y13 zeros, Y14 ones.
TEXT ·correct4(SB), NOSPLIT, $0-40
	MOVQ t+0(FP), DI
	MOVQ s+8(FP), SI
	MOVQ pairs+16(FP), CX
	MOVQ least+24(FP), R12
	MOVQ $0x7ff0000000000000, R13
	MOVQ $0x7fffffffffffffff, R10
	VXORPD Y13, Y13, Y13
	VMOVUPD ones<>(SB), Y14
	// f = K·di + want + v0 - next
	GATHER(ports_i, Y1, X1)
	VSUBPD ports_base(DI), Y1, Y1
	VMOVUPD Y1, ports_di(DI)
	TIMES4(workspace_k)
	VMOVUPD workspace_want(SI), Y1
	VADDPD ports_v0(DI), Y1, Y1
	VSUBPD ports_next(DI), Y1, Y1
	VADDPD Y1, Y0, Y12
	// the first two columns
	VMOVUPD workspace_k(SI), Y4
	VMOVUPD (workspace_k+32)(SI), Y5
	VBROADCASTSD ports_own(DI), Y0
	VBROADCASTSD (ports_oth+8)(DI), Y1
	VBROADCASTSD ports_oth(DI), Y2
	VBROADCASTSD (ports_own+8)(DI), Y3
	VMULPD Y1, Y5, Y6
	VFMADD231PD Y0, Y4, Y6
	VMULPD Y3, Y5, Y5
	VFMADD231PD Y2, Y4, Y5
	VMOVUPD unit<>+0(SB), Y8
	VMOVUPD unit<>+64(SB), Y9
	VSUBPD Y6, Y8, Y8
	VSUBPD Y5, Y9, Y9
	// the last two, which with one pair remain unit vectors
	VMOVUPD unit<>+128(SB), Y10
	VMOVUPD unit<>+192(SB), Y11
	CMPQ CX, $1
	JE   pivot
	VMOVUPD (workspace_k+64)(SI), Y4
	VMOVUPD (workspace_k+96)(SI), Y5
	VBROADCASTSD (ports_own+16)(DI), Y0
	VBROADCASTSD (ports_oth+24)(DI), Y1
	VBROADCASTSD (ports_oth+16)(DI), Y2
	VBROADCASTSD (ports_own+24)(DI), Y3
	VMULPD Y1, Y5, Y6
	VFMADD231PD Y0, Y4, Y6
	VMULPD Y3, Y5, Y5
	VFMADD231PD Y2, Y4, Y5
	VSUBPD Y6, Y10, Y10
	VSUBPD Y5, Y11, Y11
pivot:
	PIVOT4(Y8, Y9, $0x00, $0x55, $3, 0)
	CMPQ CX, $1
	JE   inverted
	ELIMINATE4(Y10, Y11, $0x00, $0x55, $3)
	PIVOT4(Y10, Y11, $0xAA, $0xFF, $12, 128)
	ELIMINATE4(Y8, Y9, $0xAA, $0xFF, $12)
inverted:
	VMOVUPD Y8, workspace_inverse(SI)
	VMOVUPD Y9, (workspace_inverse+32)(SI)
	VMOVUPD Y10, (workspace_inverse+64)(SI)
	VMOVUPD Y11, (workspace_inverse+96)(SI)
	// d = inverse·f
	VPERMPD $0x00, Y12, Y4
	VPERMPD $0x55, Y12, Y5
	VPERMPD $0xAA, Y12, Y6
	VPERMPD $0xFF, Y12, Y7
	VMULPD Y8, Y4, Y0
	VMULPD Y9, Y5, Y2
	VFMADD231PD Y10, Y6, Y0
	VFMADD231PD Y11, Y7, Y2
	VADDPD Y2, Y0, Y0
	VMOVUPD Y0, ports_d(DI)
	VANDPD without<>(SB), Y0, Y0
	VMULPD ports_weight(DI), Y0, Y0
	VMOVUPD sense<>(SB), Y1
	VCMPPD $2, Y1, Y0, Y1
	VERDICT

// COLUMN takes from column j, 64·j bytes on at R8, what invert does: Y0 Y1 and Y4 Y5 are the pivot's columns times its adjugate, Y3 is 1 over its determinant.
#define COLUMN(at) \
	VBROADCASTSD at(R8)(BX*1), Y6 \
	VBROADCASTSD (at+8)(R8)(BX*1), Y7 \
	VMULPD  Y6, Y0, Y8 \
	VMULPD  Y6, Y1, Y10 \
	VFMADD231PD Y7, Y4, Y8 \
	VFMADD231PD Y7, Y5, Y10 \
	VANDPD  at(R8), Y12, Y9 \
	VANDPD  (at+32)(R8), Y13, Y11 \
	VFNMADD231PD Y3, Y8, Y9 \
	VFNMADD231PD Y3, Y10, Y11 \
	VMOVUPD Y9, at(R8) \
	VMOVUPD Y11, (at+32)(R8)

// func correct8(t *ports, s *workspace, pairs int, least float64) float64
// R8 is the Jacobian, which becomes its inverse, BX 8·k for column k, R11 that column, R15 its unit vector; Y12 Y13 let all rows pass but k and k+1, Y14 are ones.
TEXT ·correct8(SB), NOSPLIT, $0-40
	MOVQ t+0(FP), DI
	MOVQ s+8(FP), SI
	// f = K·di + want + v0 - next
	GATHER(ports_i, Y0, X0)
	GATHER((ports_i+32), Y1, X1)
	VSUBPD ports_base(DI), Y0, Y0
	VSUBPD (ports_base+32)(DI), Y1, Y1
	VMOVUPD Y0, ports_di(DI)
	VMOVUPD Y1, (ports_di+32)(DI)
	LEAQ workspace_k(SI), R8
	LEAQ ports_di(DI), R9
	MOVQ pairs+16(FP), CX
	CALL times8<>(SB)
	VMOVUPD workspace_want(SI), Y1
	VMOVUPD (workspace_want+32)(SI), Y5
	VADDPD ports_v0(DI), Y1, Y1
	VADDPD (ports_v0+32)(DI), Y5, Y5
	VSUBPD ports_next(DI), Y1, Y1
	VSUBPD (ports_next+32)(DI), Y5, Y5
	VADDPD Y1, Y0, Y0
	VADDPD Y5, Y4, Y4
	VMOVUPD Y0, ports_f(DI)
	VMOVUPD Y4, (ports_f+32)(DI)
	// the Jacobian
	MOVQ pairs+16(FP), DX
	SHLQ $4, DX
	MOVQ least+24(FP), R12
	MOVQ $0x7ff0000000000000, R13
	MOVQ $0x7fffffffffffffff, R10
	LEAQ workspace_inverse(SI), R8
	LEAQ workspace_k(SI), CX
	LEAQ ports_own(DI), R9
	LEAQ ports_oth(DI), AX
	LEAQ unit<>(SB), R15
	VMOVUPD ones<>(SB), Y14
	MOVQ R8, R11
	XORQ BX, BX
product:
	VBROADCASTSD (R9), Y0
	VBROADCASTSD 8(AX), Y1
	VBROADCASTSD (AX), Y2
	VBROADCASTSD 8(R9), Y3
	VMOVUPD (CX), Y4
	VMOVUPD 64(CX), Y5
	VMULPD Y1, Y5, Y6
	VMULPD Y3, Y5, Y7
	VFMADD231PD Y0, Y4, Y6
	VFMADD231PD Y2, Y4, Y7
	VMOVUPD (R15), Y8
	VMOVUPD 64(R15), Y9
	VSUBPD Y6, Y8, Y8
	VSUBPD Y7, Y9, Y9
	VMOVUPD Y8, (R11)
	VMOVUPD Y9, 64(R11)
	VMOVUPD 32(CX), Y4
	VMOVUPD 96(CX), Y5
	VMULPD Y1, Y5, Y6
	VMULPD Y3, Y5, Y7
	VFMADD231PD Y0, Y4, Y6
	VFMADD231PD Y2, Y4, Y7
	VMOVUPD 32(R15), Y8
	VMOVUPD 96(R15), Y9
	VSUBPD Y6, Y8, Y8
	VSUBPD Y7, Y9, Y9
	VMOVUPD Y8, 32(R11)
	VMOVUPD Y9, 96(R11)
	ADDQ $128, R11
	ADDQ $128, R15
	ADDQ $128, CX
	ADDQ $16, R9
	ADDQ $16, AX
	ADDQ $16, BX
	CMPQ BX, DX
	JLT  product
	LEAQ unit<>(SB), R15
	MOVQ R8, R11
	XORQ BX, BX
pivot:
	VBROADCASTSD (R11)(BX*1), Y8    // x0
	VBROADCASTSD 8(R11)(BX*1), Y9   // x1
	VBROADCASTSD 64(R11)(BX*1), Y10 // y0
	VBROADCASTSD 72(R11)(BX*1), Y11 // y1
	VMULPD Y9, Y10, Y3
	VFMSUB231PD Y11, Y8, Y3
	INVERSE
	VXORPD Y15, Y15, Y15
	VMOVUPD (R15), Y4
	VMOVUPD 32(R15), Y5
	VMOVUPD 64(R15), Y6
	VMOVUPD 96(R15), Y7
	VORPD Y4, Y6, Y12
	VORPD Y5, Y7, Y13
	VCMPPD $0, Y15, Y12, Y12
	VCMPPD $0, Y15, Y13, Y13
	// the pivot's columns with the unit vectors taken from its rows
	VANDPD (R11), Y12, Y0
	VANDPD 32(R11), Y13, Y1
	VANDPD 64(R11), Y12, Y2
	VANDPD 96(R11), Y13, Y15
	VSUBPD Y4, Y0, Y0
	VSUBPD Y5, Y1, Y1
	VSUBPD Y6, Y2, Y2
	VSUBPD Y7, Y15, Y15
	VMOVUPD Y4, (R11)
	VMOVUPD Y5, 32(R11)
	VMOVUPD Y6, 64(R11)
	VMOVUPD Y7, 96(R11)
	VMULPD Y10, Y0, Y4
	VMULPD Y10, Y1, Y5
	VFMSUB231PD Y8, Y2, Y4          // y·x0 - x·y0
	VFMSUB231PD Y8, Y15, Y5
	VMULPD Y9, Y2, Y2
	VMULPD Y9, Y15, Y15
	VFMSUB213PD Y2, Y11, Y0         // x·y1 - y·x1
	VFMSUB213PD Y15, Y11, Y1
	COLUMN(0)
	COLUMN(64)
	COLUMN(128)
	COLUMN(192)
	COLUMN(256)
	COLUMN(320)
	CMPQ DX, $64
	JLT  next
	COLUMN(384)
	COLUMN(448)
next:
	ADDQ $128, R11
	ADDQ $128, R15
	ADDQ $16, BX
	CMPQ BX, DX
	JLT  pivot
	// d = inverse·f
	LEAQ ports_f(DI), R9
	MOVQ pairs+16(FP), CX
	CALL times8<>(SB)
	VMOVUPD Y0, ports_d(DI)
	VMOVUPD Y4, (ports_d+32)(DI)
	VANDPD without<>(SB), Y0, Y0
	VANDPD without<>(SB), Y4, Y4
	VMULPD ports_weight(DI), Y0, Y0
	VMULPD (ports_weight+32)(DI), Y4, Y4
	VMOVUPD sense<>(SB), Y1
	VCMPPD $2, Y1, Y0, Y2
	VCMPPD $2, Y1, Y4, Y1
	VANDPD Y2, Y1, Y1
	VMAXPD Y4, Y0, Y0
	VERDICT

// SETTLE makes the last correction in the rows that lie so many bytes on and leaves their bend in Y1: Y14 is r, Y15 scale.
#define SETTLE(at) \
	VMOVUPD (ports_d+at)(DI), Y0 \
	VADDPD (ports_next+at)(DI), Y0, Y1 \
	VMOVUPD Y1, (ports_next+at)(DI) \
	VSUBPD (workspace_tangent+at)(SI), Y1, Y1 \
	VSUBPD (workspace_off+at)(SI), Y1, Y2 \
	VMOVUPD Y1, (workspace_off+at)(SI) \
	VADDPD Y2, Y1, Y2 \
	VMOVUPD Y2, (workspace_ahead+at)(SI) \
	VPERMILPD $5, Y0, Y3 \
	VMULPD (ports_oth+at)(DI), Y3, Y3 \
	VFMADD231PD (ports_own+at)(DI), Y0, Y3 \
	VADDPD (ports_di+at)(DI), Y3, Y0 \
	VMOVUPD Y0, (ports_di+at)(DI) \
	VMOVUPD (ports_last+at)(DI), Y2 \
	VSUBPD Y2, Y0, Y1 \
	VSUBPD (ports_before+at)(DI), Y2, Y2 \
	VFNMADD231PD Y14, Y2, Y1 \
	VMULPD Y15, Y1, Y1 \
	VMOVUPD Y1, (ports_second+at)(DI) \
	VMOVUPD (workspace_want+at)(SI), Y2 \
	VMOVUPD Y2, (workspace_p+at)(SI)

// func settle4(t *ports, s *workspace, r, scale float64) float64
TEXT ·settle4(SB), NOSPLIT, $0-40
	MOVQ t+0(FP), DI
	MOVQ s+8(FP), SI
	VBROADCASTSD r+16(FP), Y14
	VBROADCASTSD scale+24(FP), Y15
	SETTLE(0)
	TIMES4(workspace_k)
	VANDPD without<>(SB), Y0, Y0
	VMULPD ports_weight(DI), Y0, Y0
	LARGEST
	VMOVSD X0, ret+32(FP)
	VZEROUPPER
	RET

// func settle8(t *ports, s *workspace, r, scale float64) float64
TEXT ·settle8(SB), NOSPLIT, $0-40
	MOVQ t+0(FP), DI
	MOVQ s+8(FP), SI
	VBROADCASTSD r+16(FP), Y14
	VBROADCASTSD scale+24(FP), Y15
	SETTLE(0)
	SETTLE(32)
	LEAQ workspace_k(SI), R8
	LEAQ ports_second(DI), R9
	MOVQ workspace_pairs(SI), CX
	CALL times8<>(SB)
	VANDPD without<>(SB), Y0, Y0
	VANDPD without<>(SB), Y4, Y4
	VMULPD ports_weight(DI), Y0, Y0
	VMULPD (ports_weight+32)(DI), Y4, Y4
	VMAXPD Y4, Y0, Y0
	LARGEST
	VMOVSD X0, ret+32(FP)
	VZEROUPPER
	RET

// func carryAVX(next, s, diagonal, turn, drive *float64, rows int, x *float64, n int)
// Eight rows at a time and then four; Y0 Y1 sum the states and the columns of even index, Y2 Y3 those of odd index.
TEXT ·carryAVX(SB), NOSPLIT, $0-64
	MOVQ next+0(FP), DI
	MOVQ s+8(FP), R9
	MOVQ diagonal+16(FP), R8
	MOVQ turn+24(FP), R12
	MOVQ drive+32(FP), R10
	MOVQ rows+40(FP), R11
	MOVQ R11, DX
	SHLQ $3, DX
	SUBQ $8, R11
	JL   last
eight:
	MOVQ R10, SI
	MOVQ x+48(FP), BX
	MOVQ n+56(FP), CX
	VMOVUPD (R9), Y4
	VMOVUPD 32(R9), Y5
	VMULPD (R8), Y4, Y0
	VMULPD 32(R8), Y5, Y1
	VPERMILPD $5, Y4, Y4
	VPERMILPD $5, Y5, Y5
	VMULPD (R12), Y4, Y2
	VMULPD 32(R12), Y5, Y3
	SUBQ $2, CX
	JL   odd8
two8:
	VBROADCASTSD (BX), Y4
	VBROADCASTSD 8(BX), Y5
	VFMADD231PD (SI), Y4, Y0
	VFMADD231PD 32(SI), Y4, Y1
	VFMADD231PD (SI)(DX*1), Y5, Y2
	VFMADD231PD 32(SI)(DX*1), Y5, Y3
	LEAQ (SI)(DX*2), SI
	ADDQ $16, BX
	SUBQ $2, CX
	JGE  two8
odd8:
	ADDQ $2, CX
	JZ   sum8
	VBROADCASTSD (BX), Y4
	VFMADD231PD (SI), Y4, Y0
	VFMADD231PD 32(SI), Y4, Y1
sum8:
	VADDPD Y2, Y0, Y0
	VADDPD Y3, Y1, Y1
	VMOVUPD Y0, (DI)
	VMOVUPD Y1, 32(DI)
	ADDQ $64, DI
	ADDQ $64, R8
	ADDQ $64, R9
	ADDQ $64, R10
	ADDQ $64, R12
	SUBQ $8, R11
	JGE  eight
last:
	ADDQ $8, R11
	JZ   done
	MOVQ x+48(FP), BX
	MOVQ n+56(FP), CX
	VMOVUPD (R9), Y4
	VMULPD (R8), Y4, Y0
	VPERMILPD $5, Y4, Y4
	VMULPD (R12), Y4, Y2
	SUBQ $2, CX
	JL   odd4
two4:
	VBROADCASTSD (BX), Y4
	VBROADCASTSD 8(BX), Y5
	VFMADD231PD (R10), Y4, Y0
	VFMADD231PD (R10)(DX*1), Y5, Y2
	LEAQ (R10)(DX*2), R10
	ADDQ $16, BX
	SUBQ $2, CX
	JGE  two4
odd4:
	ADDQ $2, CX
	JZ   sum4
	VBROADCASTSD (BX), Y4
	VFMADD231PD (R10), Y4, Y0
sum4:
	VADDPD Y2, Y0, Y0
	VMOVUPD Y0, (DI)
done:
	VZEROUPPER
	RET

// func productAVX(a, b *float64, n int) float64
TEXT ·productAVX(SB), NOSPLIT, $0-32
	MOVQ a+0(FP), SI
	MOVQ b+8(FP), DI
	MOVQ n+16(FP), CX
	VMOVUPD (SI), Y0
	VMOVUPD 32(SI), Y1
	VMULPD (DI), Y0, Y0
	VMULPD 32(DI), Y1, Y1
	SUBQ $8, CX
	JLE  whole
more:
	ADDQ $64, SI
	ADDQ $64, DI
	VMOVUPD (SI), Y2
	VMOVUPD 32(SI), Y3
	VFMADD231PD (DI), Y2, Y0
	VFMADD231PD 32(DI), Y3, Y1
	SUBQ $8, CX
	JG   more
whole:
	VADDPD Y1, Y0, Y0
	VEXTRACTF128 $1, Y0, X1
	VADDPD X1, X0, X0
	VPERMILPD $1, X0, X1
	VADDSD X1, X0, X0
	VMOVSD X0, ret+24(FP)
	VZEROUPPER
	RET
