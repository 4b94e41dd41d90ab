//go:build cgo

#if defined(__clang__)
#pragma clang attribute push(__attribute__((target("sse4.1"))), apply_to = function)
#else
#pragma GCC target("sse4.1")
#endif

#define NAME(x) x##_sse4
#define WIDTH 16
#include "vector.h"

#if defined(__clang__)
#pragma clang attribute pop
#endif
