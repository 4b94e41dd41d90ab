//go:build cgo

#if defined(__clang__)
#pragma clang attribute push(__attribute__((target("avx2"))), apply_to = function)
#else
#pragma GCC target("avx2")
#endif

#define NAME(x) x##_avx2
#define WIDTH 32
#include "vector.h"

#if defined(__clang__)
#pragma clang attribute pop
#endif
