//go:build cgo

#if defined(__clang__)
#pragma clang attribute push(__attribute__((target("avx512f,avx512vl,avx512dq,avx512bw"))), apply_to = function)
#else
#pragma GCC target("avx512f,avx512vl,avx512dq,avx512bw")
#endif
#include <immintrin.h>

#define VB 64
#define VMAX(a, b) ((vd)_mm512_max_pd(a, b))
#define VMAXF(a, b) ((vf)_mm512_max_ps(a, b))
#define NAME(x) x##_avx512
#include "vector.h"

#if defined(__clang__)
#pragma clang attribute pop
#endif
