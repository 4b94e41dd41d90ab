//go:build cgo

#if defined(__clang__)
#pragma clang attribute push(__attribute__((target("avx512f,avx512vl,avx512dq,avx512bw"))), apply_to = function)
#else
#pragma GCC target("avx512f,avx512vl,avx512dq,avx512bw")
#endif
#include <immintrin.h>
#include <stdint.h>

#define VB 64
typedef int32_t vi __attribute__((vector_size(VB)));
#define NAME(x) x##_avx512
#define MAX_F(a, b) ((vf)_mm512_max_ps((__m512)(a), (__m512)(b)))
#define MIN_F(a, b) ((vf)_mm512_min_ps((__m512)(a), (__m512)(b)))
#define MAX_U(a, b) ((vu)_mm512_max_epu32((__m512i)(a), (__m512i)(b)))
#define MIN_U(a, b) ((vu)_mm512_min_epu32((__m512i)(a), (__m512i)(b)))
#define ABS_I(a) ((vi)_mm512_abs_epi32((__m512i)(a)))
#define WIDEN_I(x) _mm512_cvtepi32_pd(_mm256_loadu_si256((const __m256i *)(x)))
#define WIDEN_F(x) _mm512_cvtps_pd(_mm256_loadu_ps((const float *)(x)))
#define FMA(a, b, c) ((vf)_mm512_fmadd_ps((__m512)(a), (__m512)(b), (__m512)(c)))
#define ANY(v) (_mm512_test_epi32_mask((__m512i)(v), (__m512i)(v)) != 0)
#define PICK(v, ...) ((vi)_mm512_shuffle_epi8((__m512i)(v), _mm512_broadcast_i32x4(_mm_setr_epi8(__VA_ARGS__))))

static inline __attribute__((always_inline)) vi quads(const uint8_t *a, const uint8_t *b, const uint8_t *c, const uint8_t *d) {
	__m512i v = _mm512_castsi128_si512(_mm_loadu_si128((const __m128i *)a));
	v = _mm512_inserti32x4(v, _mm_loadu_si128((const __m128i *)b), 1);
	v = _mm512_inserti32x4(v, _mm_loadu_si128((const __m128i *)c), 2);
	return (vi)_mm512_inserti32x4(v, _mm_loadu_si128((const __m128i *)d), 3);
}
#define QUADS(p, apart) quads(p, (p) + (apart), (p) + 2 * (apart), (p) + 3 * (apart))
#define QUADS_24(p) ((vi)_mm512_permutexvar_epi32(_mm512_setr_epi32(0, 1, 2, 2, 3, 4, 5, 5, 6, 7, 8, 8, 9, 10, 11, 11), _mm512_loadu_si512(p)))
#define QUADS_OF(p, at) quads((p)[0] + (at), (p)[4] + (at), (p)[8] + (at), (p)[12] + (at))

#include "vector.h"

#if defined(__clang__)
#pragma clang attribute pop
#endif
