#include "textflag.h"

// TAPPD adds a tap times 32 samples to Y0 to Y7.
#define TAPPD(at) \
	VBROADCASTSD at(BX), Y13 \
	VFMADD231PD (at+0)(AX), Y13, Y0 \
	VFMADD231PD (at+32)(DX), Y13, Y1 \
	VFMADD231PD (at+64)(AX), Y13, Y2 \
	VFMADD231PD (at+96)(DX), Y13, Y3 \
	VFMADD231PD (at+128)(AX), Y13, Y4 \
	VFMADD231PD (at+160)(DX), Y13, Y5 \
	VFMADD231PD (at+192)(AX), Y13, Y6 \
	VFMADD231PD (at+224)(DX), Y13, Y7

// func slideAVX(y, a, b *float64, n int, taps *float64, count int, bias float64)
// n is a multiple of four, count positive. 32 outputs at a time, then four. Of 32 samples, every second four are read from a, the others from b, and after four taps the other way round.
TEXT ·slideAVX(SB), NOSPLIT, $0-56
	MOVQ y+0(FP), DI
	MOVQ a+8(FP), SI
	MOVQ b+16(FP), R11
	MOVQ n+24(FP), R9
	MOVQ taps+32(FP), R8
	MOVQ count+40(FP), R10
	VBROADCASTSD bias+48(FP), Y15
	SUBQ $32, R9
	JL   few
many:
	VMOVAPD Y15, Y0
	VMOVAPD Y15, Y1
	VMOVAPD Y15, Y2
	VMOVAPD Y15, Y3
	VMOVAPD Y15, Y4
	VMOVAPD Y15, Y5
	VMOVAPD Y15, Y6
	VMOVAPD Y15, Y7
	MOVQ SI, AX
	MOVQ R11, DX
	MOVQ R8, BX
	MOVQ R10, R12
	SUBQ $4, R12
	JL   rest
phase:
	TAPPD(0)
	TAPPD(8)
	TAPPD(16)
	TAPPD(24)
	ADDQ $32, AX
	ADDQ $32, DX
	ADDQ $32, BX
	XCHGQ AX, DX
	SUBQ $4, R12
	JGE  phase
rest:
	ADDQ $4, R12
	JZ   end
tap:
	TAPPD(0)
	ADDQ $8, AX
	ADDQ $8, DX
	ADDQ $8, BX
	DECQ R12
	JNZ  tap
end:
	VMOVUPD Y0, 0(DI)
	VMOVUPD Y1, 32(DI)
	VMOVUPD Y2, 64(DI)
	VMOVUPD Y3, 96(DI)
	VMOVUPD Y4, 128(DI)
	VMOVUPD Y5, 160(DI)
	VMOVUPD Y6, 192(DI)
	VMOVUPD Y7, 224(DI)
	ADDQ $256, DI
	ADDQ $256, SI
	ADDQ $256, R11
	SUBQ $32, R9
	JGE  many
few:
	ADDQ $32, R9
	JZ   done
four:
	VMOVAPD Y15, Y0
	MOVQ SI, AX
	MOVQ R8, BX
	MOVQ R10, CX
fewtap:
	VBROADCASTSD (BX), Y13
	VFMADD231PD (AX), Y13, Y0
	ADDQ $8, AX
	ADDQ $8, BX
	DECQ CX
	JNZ  fewtap
	VMOVUPD Y0, (DI)
	ADDQ $32, DI
	ADDQ $32, SI
	SUBQ $4, R9
	JG   four
done:
	VZEROUPPER
	RET

// NEAR gives eight outputs from the sums of single precision in F, whose lower half is L.
#define NEAR(F, L, at) \
	VEXTRACTF128 $1, F, X9 \
	VCVTPS2PD L, Y8 \
	VCVTPS2PD X9, Y9 \
	VMULPD at(R13), Y14, Y10 \
	VMULPD (at+32)(R13), Y14, Y11 \
	VADDPD Y10, Y15, Y10 \
	VADDPD Y11, Y15, Y11 \
	VADDPD Y8, Y10, Y10 \
	VADDPD Y9, Y11, Y11 \
	VMOVUPD Y10, at(DI) \
	VMOVUPD Y11, (at+32)(DI)

// TAPPS adds a tap times 64 samples to Y0 to Y7.
#define TAPPS(at) \
	VBROADCASTSS at(BX), Y13 \
	VMULPS (at+0)(AX), Y13, Y8 \
	VADDPS Y8, Y0, Y0 \
	VMULPS (at+32)(DX), Y13, Y9 \
	VADDPS Y9, Y1, Y1 \
	VMULPS (at+64)(AX), Y13, Y10 \
	VADDPS Y10, Y2, Y2 \
	VMULPS (at+96)(DX), Y13, Y11 \
	VADDPS Y11, Y3, Y3 \
	VMULPS (at+128)(AX), Y13, Y12 \
	VADDPS Y12, Y4, Y4 \
	VMULPS (at+160)(DX), Y13, Y8 \
	VADDPS Y8, Y5, Y5 \
	VMULPS (at+192)(AX), Y13, Y9 \
	VADDPS Y9, Y6, Y6 \
	VMULPS (at+224)(DX), Y13, Y10 \
	VADDPS Y10, Y7, Y7

// func slideNearAVX(y, x *float64, n int, gain, bias float64, a, b, taps *float32, count int)
// n is a multiple of eight, count positive. 64 outputs at a time, then eight. Of 64 samples, every second eight are read from a, the others from b, and after eight taps the other way round.
TEXT ·slideNearAVX(SB), NOSPLIT, $0-72
	MOVQ y+0(FP), DI
	MOVQ x+8(FP), R13
	MOVQ n+16(FP), R9
	VBROADCASTSD gain+24(FP), Y14
	VBROADCASTSD bias+32(FP), Y15
	MOVQ a+40(FP), SI
	MOVQ b+48(FP), R11
	MOVQ taps+56(FP), R8
	MOVQ count+64(FP), R10
	SUBQ $64, R9
	JL   few
many:
	VXORPS Y0, Y0, Y0
	VXORPS Y1, Y1, Y1
	VXORPS Y2, Y2, Y2
	VXORPS Y3, Y3, Y3
	VXORPS Y4, Y4, Y4
	VXORPS Y5, Y5, Y5
	VXORPS Y6, Y6, Y6
	VXORPS Y7, Y7, Y7
	MOVQ SI, AX
	MOVQ R11, DX
	MOVQ R8, BX
	MOVQ R10, R12
	SUBQ $8, R12
	JL   rest
phase:
	TAPPS(0)
	TAPPS(4)
	TAPPS(8)
	TAPPS(12)
	TAPPS(16)
	TAPPS(20)
	TAPPS(24)
	TAPPS(28)
	ADDQ $32, AX
	ADDQ $32, DX
	ADDQ $32, BX
	XCHGQ AX, DX
	SUBQ $8, R12
	JGE  phase
rest:
	ADDQ $8, R12
	JZ   end
tap:
	TAPPS(0)
	ADDQ $4, AX
	ADDQ $4, DX
	ADDQ $4, BX
	DECQ R12
	JNZ  tap
end:
	NEAR(Y0, X0, 0)
	NEAR(Y1, X1, 64)
	NEAR(Y2, X2, 128)
	NEAR(Y3, X3, 192)
	NEAR(Y4, X4, 256)
	NEAR(Y5, X5, 320)
	NEAR(Y6, X6, 384)
	NEAR(Y7, X7, 448)
	ADDQ $512, DI
	ADDQ $512, R13
	ADDQ $256, SI
	ADDQ $256, R11
	SUBQ $64, R9
	JGE  many
few:
	ADDQ $64, R9
	JZ   done
eight:
	VXORPS Y0, Y0, Y0
	MOVQ SI, AX
	MOVQ R8, BX
	MOVQ R10, CX
fewtap:
	VBROADCASTSS (BX), Y13
	VMULPS (AX), Y13, Y12
	VADDPS Y12, Y0, Y0
	ADDQ $4, AX
	ADDQ $4, BX
	DECQ CX
	JNZ  fewtap
	NEAR(Y0, X0, 0)
	ADDQ $64, DI
	ADDQ $64, R13
	ADDQ $32, SI
	SUBQ $8, R9
	JG   eight
done:
	VZEROUPPER
	RET

// func narrowAVX(a, b *float32, x *float64, n int, least float32)
// n is a multiple of eight.
TEXT ·narrowAVX(SB), NOSPLIT, $0-36
	MOVQ a+0(FP), DI
	MOVQ b+8(FP), DX
	MOVQ x+16(FP), SI
	MOVQ n+24(FP), CX
	VBROADCASTSS least+32(FP), Y7
	VPCMPEQD Y6, Y6, Y6
	VPSRLD $1, Y6, Y6
loop:
	VCVTPD2PSY (SI), X0
	VCVTPD2PSY 32(SI), X1
	VINSERTF128 $1, X1, Y0, Y0
	VANDPS Y6, Y0, Y2
	VCMPPS $0x15, Y7, Y2, Y2 // not less than
	VANDPS Y2, Y0, Y0
	VMOVUPS Y0, (DI)
	VMOVUPS Y0, (DX)
	ADDQ $64, SI
	ADDQ $32, DI
	ADDQ $32, DX
	SUBQ $8, CX
	JG   loop
	VZEROUPPER
	RET

// func withinAVX(x *float64, n int, limit float64) bool
// n is a multiple of sixteen.
TEXT ·withinAVX(SB), NOSPLIT, $0-25
	MOVQ x+0(FP), SI
	MOVQ n+8(FP), CX
	VBROADCASTSD limit+16(FP), Y7
	VPCMPEQQ Y6, Y6, Y6
	VPSRLQ $1, Y6, Y5
loop:
	VANDPD (SI), Y5, Y0
	VANDPD 32(SI), Y5, Y1
	VANDPD 64(SI), Y5, Y2
	VANDPD 96(SI), Y5, Y3
	VCMPPD $2, Y7, Y0, Y0 // less or equal, and both numbers
	VCMPPD $2, Y7, Y1, Y1
	VCMPPD $2, Y7, Y2, Y2
	VCMPPD $2, Y7, Y3, Y3
	VANDPD Y1, Y0, Y0
	VANDPD Y3, Y2, Y2
	VANDPD Y2, Y0, Y0
	VANDPD Y0, Y6, Y6
	ADDQ $128, SI
	SUBQ $16, CX
	JG   loop
	VMOVMSKPD Y6, AX
	CMPL AX, $15
	SETEQ ret+24(FP)
	VZEROUPPER
	RET

// func ringAVX(y, u *float64, n int, of, state *float64)
// n is a multiple of four. Y8 to Y11 are the real parts of the pole and its powers, Y12 to Y15 their imaginary parts, Y6 Y7 the state.
TEXT ·ringAVX(SB), NOSPLIT, $0-40
	MOVQ y+0(FP), DI
	MOVQ u+8(FP), SI
	MOVQ n+16(FP), CX
	MOVQ of+24(FP), R8
	MOVQ state+32(FP), R9
	VMOVUPD (R8), Y8
	VMOVUPD 32(R8), Y9
	VMOVUPD 64(R8), Y10
	VMOVUPD 96(R8), Y11
	VMOVUPD 128(R8), Y12
	VMOVUPD 160(R8), Y13
	VMOVUPD 192(R8), Y14
	VMOVUPD 224(R8), Y15
	VMOVUPD (R9), Y6
	VMOVUPD 32(R9), Y7
loop:
	VMOVUPD -8(SI), Y1
	VMOVUPD -16(SI), Y2
	VMOVUPD -24(SI), Y3
	VMULPD Y1, Y8, Y0
	VMULPD Y2, Y9, Y4
	VMULPD Y3, Y10, Y5
	VADDPD (SI), Y0, Y0
	VADDPD Y5, Y4, Y4
	VADDPD Y4, Y0, Y0
	VMULPD Y1, Y12, Y1
	VMULPD Y2, Y13, Y2
	VMULPD Y3, Y14, Y3
	VADDPD Y3, Y2, Y2
	VADDPD Y2, Y1, Y1
	VMULPD Y6, Y11, Y2
	VMULPD Y7, Y15, Y3
	VMULPD Y7, Y11, Y4
	VMULPD Y6, Y15, Y5
	VADDPD Y2, Y0, Y0
	VADDPD Y4, Y1, Y1
	VSUBPD Y3, Y0, Y6
	VADDPD Y5, Y1, Y7
	VMULPD 256(R8), Y6, Y0
	VMULPD 288(R8), Y7, Y1
	VADDPD (DI), Y0, Y0
	VADDPD Y1, Y0, Y0
	VMOVUPD Y0, (DI)
	ADDQ $32, SI
	ADDQ $32, DI
	SUBQ $4, CX
	JG   loop
	VMOVUPD Y6, (R9)
	VMOVUPD Y7, 32(R9)
	VZEROUPPER
	RET

// func decayAVX(y, u *float64, n int, of, state *float64)
// n is a multiple of four. Y8 to Y11 are the pole and its powers, Y6 the state.
TEXT ·decayAVX(SB), NOSPLIT, $0-40
	MOVQ y+0(FP), DI
	MOVQ u+8(FP), SI
	MOVQ n+16(FP), CX
	MOVQ of+24(FP), R8
	MOVQ state+32(FP), R9
	VMOVUPD (R8), Y8
	VMOVUPD 32(R8), Y9
	VMOVUPD 64(R8), Y10
	VMOVUPD 96(R8), Y11
	VMOVUPD 256(R8), Y12
	VMOVUPD (R9), Y6
loop:
	VMULPD -8(SI), Y8, Y0
	VMULPD -16(SI), Y9, Y1
	VMULPD -24(SI), Y10, Y2
	VADDPD (SI), Y0, Y0
	VADDPD Y2, Y1, Y1
	VADDPD Y1, Y0, Y0
	VMULPD Y6, Y11, Y3
	VADDPD Y3, Y0, Y6
	VMULPD Y6, Y12, Y1
	VADDPD (DI), Y1, Y1
	VMOVUPD Y1, (DI)
	ADDQ $32, SI
	ADDQ $32, DI
	SUBQ $4, CX
	JG   loop
	VMOVUPD Y6, (R9)
	VZEROUPPER
	RET

// func bothAVX(y, u *float64, n int, ofRing, ring, ofDecay, decay *float64)
// ringAVX, then decayAVX. Y6 Y7 are the state of the one, Y12 that of the other.
TEXT ·bothAVX(SB), NOSPLIT, $0-56
	MOVQ y+0(FP), DI
	MOVQ u+8(FP), SI
	MOVQ n+16(FP), CX
	MOVQ ofRing+24(FP), R8
	MOVQ ring+32(FP), R9
	MOVQ ofDecay+40(FP), R10
	MOVQ decay+48(FP), R11
	VMOVUPD 96(R8), Y11
	VMOVUPD 224(R8), Y15
	VMOVUPD 96(R10), Y10
	VMOVUPD (R9), Y6
	VMOVUPD 32(R9), Y7
	VMOVUPD (R11), Y12
loop:
	VMOVUPD (SI), Y0
	VMOVUPD -8(SI), Y1
	VMOVUPD -16(SI), Y2
	VMOVUPD -24(SI), Y3
	VMULPD (R10), Y1, Y4
	VMULPD 32(R10), Y2, Y5
	VMULPD 64(R10), Y3, Y8
	VADDPD Y0, Y4, Y4
	VADDPD Y8, Y5, Y5
	VADDPD Y5, Y4, Y4
	VMULPD Y12, Y10, Y9
	VADDPD Y9, Y4, Y12
	VMULPD (R8), Y1, Y4
	VMULPD 32(R8), Y2, Y5
	VMULPD 64(R8), Y3, Y8
	VADDPD Y0, Y4, Y0
	VADDPD Y8, Y5, Y5
	VADDPD Y5, Y0, Y0
	VMULPD 128(R8), Y1, Y1
	VMULPD 160(R8), Y2, Y2
	VMULPD 192(R8), Y3, Y3
	VADDPD Y3, Y2, Y2
	VADDPD Y2, Y1, Y1
	VMULPD Y6, Y11, Y2
	VMULPD Y7, Y15, Y3
	VMULPD Y7, Y11, Y4
	VMULPD Y6, Y15, Y5
	VADDPD Y2, Y0, Y0
	VADDPD Y4, Y1, Y1
	VSUBPD Y3, Y0, Y6
	VADDPD Y5, Y1, Y7
	VMULPD 256(R8), Y6, Y0
	VMULPD 288(R8), Y7, Y1
	VADDPD (DI), Y0, Y0
	VADDPD Y1, Y0, Y0
	VMULPD 256(R10), Y12, Y1
	VADDPD Y0, Y1, Y0
	VMOVUPD Y0, (DI)
	ADDQ $32, SI
	ADDQ $32, DI
	SUBQ $4, CX
	JG   loop
	VMOVUPD Y6, (R9)
	VMOVUPD Y7, 32(R9)
	VMOVUPD Y12, (R11)
	VZEROUPPER
	RET
