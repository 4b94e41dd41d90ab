//go:build cgo && (amd64 || arm64)

/* Which kernels there are, which of them this processor runs, and the way to
   each. */

#include "vector_api.h"

static const struct {
	const char *name;
	decode_kernel *decode;
	measure_kernel *measure;
} kernels[KERNELS] = {
#if defined(__x86_64__)
	[KERNEL_SSE4] = {"SSE4", decode_sse4, measure_sse4},
	[KERNEL_AVX2] = {"AVX2", decode_avx2, measure_avx2},
	[KERNEL_AVX512] = {"AVX-512", decode_avx512, measure_avx512},
#elif defined(__aarch64__)
	[KERNEL_NEON] = {"NEON", decode_neon, measure_neon},
#endif
};

int kernel_runs(int kernel) {
#if defined(__x86_64__)
	__builtin_cpu_init();
	switch (kernel) {
	case KERNEL_SSE4:
		return !!__builtin_cpu_supports("sse4.1");
	case KERNEL_AVX2:
		return !!__builtin_cpu_supports("avx2");
	case KERNEL_AVX512:
		return __builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512vl") &&
			__builtin_cpu_supports("avx512dq") && __builtin_cpu_supports("avx512bw");
	}
	return 0;
#else
	return kernel == KERNEL_NEON; /* part of every 64-bit ARM processor */
#endif
}

const char *kernel_name(int kernel) { return kernels[kernel].name; }

void decode_vector(int kernel, int type, double *dst, int64_t apart, int64_t lanes, const uint8_t *src, int64_t size, int64_t n, int64_t stride) {
	kernels[kernel].decode(type, dst, apart, lanes, src, size, n, stride);
}

void measure_vector(int kernel, struct lanes *s, const struct plan *p, const double *x, struct tile *tiles) {
	kernels[kernel].measure(s, p, x, tiles);
}
