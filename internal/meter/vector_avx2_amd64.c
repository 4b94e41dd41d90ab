//go:build cgo

#if defined(__clang__)
#pragma clang attribute push(__attribute__((target("avx2,fma"))), apply_to = function)
#else
#pragma GCC target("avx2,fma")
#endif
#include <immintrin.h>
#include <stdint.h>

#define VB 32
typedef int32_t vi __attribute__((vector_size(VB)));
#define NAME(x) x##_avx2
#define MAX_F(a, b) ((vf)_mm256_max_ps((__m256)(a), (__m256)(b)))
#define MIN_F(a, b) ((vf)_mm256_min_ps((__m256)(a), (__m256)(b)))
#define MAX_U(a, b) ((vu)_mm256_max_epu32((__m256i)(a), (__m256i)(b)))
#define MIN_U(a, b) ((vu)_mm256_min_epu32((__m256i)(a), (__m256i)(b)))
#define ABS_I(a) ((vi)_mm256_abs_epi32((__m256i)(a)))
#define WIDEN_I(x) _mm256_cvtepi32_pd(_mm_loadu_si128((const __m128i *)(x)))
#define WIDEN_F(x) _mm256_cvtps_pd(_mm_loadu_ps((const float *)(x)))
#define FMA(a, b, c) ((vf)_mm256_fmadd_ps((__m256)(a), (__m256)(b), (__m256)(c)))
#define ANY(v) (!_mm256_testz_si256((__m256i)(v), (__m256i)(v)))
#define PICK(v, ...) ((vi)_mm256_shuffle_epi8((__m256i)(v), _mm256_broadcastsi128_si256(_mm_setr_epi8(__VA_ARGS__))))

static inline __attribute__((always_inline)) vi quads(const uint8_t *a, const uint8_t *b) {
	__m256i v = _mm256_castsi128_si256(_mm_loadu_si128((const __m128i *)a));
	return (vi)_mm256_inserti128_si256(v, _mm_loadu_si128((const __m128i *)b), 1);
}
#define QUADS(p, apart) quads(p, (p) + (apart))
#define QUADS_24(p) ((vi)_mm256_permutevar8x32_epi32(_mm256_loadu_si256((const __m256i *)(p)), _mm256_setr_epi32(0, 1, 2, 2, 3, 4, 5, 5)))
#define QUADS_OF(p, at) quads((p)[0] + (at), (p)[4] + (at))

#include "vector.h"

#if defined(__clang__)
#pragma clang attribute pop
#endif
