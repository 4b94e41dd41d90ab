//go:build cgo

#include <arm_neon.h>

#define VB 16
#define VMAX(a, b) ((vd)vmaxq_f64(a, b))
#define VMAXF(a, b) ((vf)vmaxq_f32(a, b))
#define NAME(x) x##_neon
#include "vector.h"
