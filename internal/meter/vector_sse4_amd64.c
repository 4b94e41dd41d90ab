//go:build cgo

#if defined(__clang__)
#pragma clang attribute push(__attribute__((target("sse4.1"))), apply_to = function)
#else
#pragma GCC target("sse4.1")
#endif
#include <immintrin.h>
#include <stdint.h>

#define VB 16
typedef int32_t vi __attribute__((vector_size(VB)));
#define NAME(x) x##_sse4
#define MAX_F(a, b) ((vf)_mm_max_ps((__m128)(a), (__m128)(b)))
#define MIN_F(a, b) ((vf)_mm_min_ps((__m128)(a), (__m128)(b)))
#define MAX_U(a, b) ((vu)_mm_max_epu32((__m128i)(a), (__m128i)(b)))
#define MIN_U(a, b) ((vu)_mm_min_epu32((__m128i)(a), (__m128i)(b)))
#define ABS_I(a) ((vi)_mm_abs_epi32((__m128i)(a)))
#define WIDEN_I(x) _mm_cvtepi32_pd(_mm_loadl_epi64((const __m128i *)(x)))
#define WIDEN_F(x) _mm_cvtps_pd(_mm_castsi128_ps(_mm_loadl_epi64((const __m128i *)(x))))
#define FMA(a, b, c) ((a) * (b) + (c))
#define ANY(v) (!_mm_testz_si128((__m128i)(v), (__m128i)(v)))
#define PICK(v, ...) ((vi)_mm_shuffle_epi8((__m128i)(v), _mm_setr_epi8(__VA_ARGS__)))
#define QUADS(p, apart) ((vi)_mm_loadu_si128((const __m128i *)(p)))
#define QUADS_24(p) QUADS(p, 12)
#define QUADS_OF(p, at) ((vi)_mm_loadu_si128((const __m128i *)((p)[0] + (at))))

#include "vector.h"

#if defined(__clang__)
#pragma clang attribute pop
#endif
