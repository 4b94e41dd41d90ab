//go:build cgo

#include <arm_neon.h>
#include <stdint.h>

#define VB 16
typedef int32_t vi __attribute__((vector_size(VB)));
#define NAME(x) x##_neon
#define MAX_F(a, b) ((vf)vmaxq_f32((float32x4_t)(a), (float32x4_t)(b)))
#define MIN_F(a, b) ((vf)vminq_f32((float32x4_t)(a), (float32x4_t)(b)))
#define MAX_U(a, b) ((vu)vmaxq_u32((uint32x4_t)(a), (uint32x4_t)(b)))
#define MIN_U(a, b) ((vu)vminq_u32((uint32x4_t)(a), (uint32x4_t)(b)))
#define ABS_I(a) ((vi)vabsq_s32((int32x4_t)(a)))
#define WIDEN_I(x) vcvtq_f64_s64(vmovl_s32(vld1_s32((const int32_t *)(x))))
#define WIDEN_F(x) vcvt_f64_f32(vld1_f32((const float *)(x)))
#define FMA(a, b, c) ((vf)vfmaq_f32((float32x4_t)(c), (float32x4_t)(a), (float32x4_t)(b)))
#define ANY(v) (vmaxvq_u32((uint32x4_t)(v)) != 0)
#define PICK(v, ...) ((vi)vqtbl1q_u8((uint8x16_t)(v), (uint8x16_t)(int8x16_t){__VA_ARGS__}))
#define QUADS(p, apart) ((vi)vld1q_u8(p))
#define QUADS_24(p) QUADS(p, 12)
#define QUADS_OF(p, at) ((vi)vld1q_u8((p)[0] + (at)))

#include "vector.h"
