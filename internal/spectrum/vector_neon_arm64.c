//go:build cgo

#define NAME(x) x##_neon
#include "vector.h"
