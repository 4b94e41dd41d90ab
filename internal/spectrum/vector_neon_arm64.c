//go:build cgo

#define NAME(x) x##_neon
#define WIDTH 16
#include "vector.h"
