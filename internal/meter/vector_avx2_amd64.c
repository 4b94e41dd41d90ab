//go:build cgo

#if defined(__clang__)
#pragma clang attribute push(__attribute__((target("avx2"))), apply_to = function)
#else
#pragma GCC target("avx2")
#endif
#include <immintrin.h>

#define VB 32
#define VMAX(a, b) ((vd)_mm256_max_pd(a, b))
#define VMAXF(a, b) ((vf)_mm256_max_ps(a, b))
#define NAME(x) x##_avx2
#include "vector.h"

#if defined(__clang__)
#pragma clang attribute pop
#endif
