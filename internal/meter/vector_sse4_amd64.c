//go:build cgo

#if defined(__clang__)
#pragma clang attribute push(__attribute__((target("sse4.1"))), apply_to = function)
#else
#pragma GCC target("sse4.1")
#endif
#include <immintrin.h>

#define VB 16
#define VMAX(a, b) ((vd)_mm_max_pd(a, b))
#define VMAXF(a, b) ((vf)_mm_max_ps(a, b))
#define NAME(x) x##_sse4
#include "vector.h"

#if defined(__clang__)
#pragma clang attribute pop
#endif
