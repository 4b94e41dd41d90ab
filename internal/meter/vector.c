//go:build cgo && (amd64 || arm64)

/* The list of kernels, the test which of them this processor runs, and the
   dispatch to each. */

#include "vector_api.h"

static const struct {
	const char *name;
	interleaved_kernel *interleaved;
	mono_kernel *mono;
	measure_kernel *measure;
} kernels[KERNELS] = {
#if defined(__x86_64__)
	[KERNEL_SSE4] = {"SSE4", interleaved_sse4, mono_sse4, measure_sse4},
	[KERNEL_AVX2] = {"AVX2", interleaved_avx2, mono_avx2, measure_avx2},
	[KERNEL_AVX512] = {"AVX-512", interleaved_avx512, mono_avx512, measure_avx512},
#elif defined(__aarch64__)
	[KERNEL_NEON] = {"NEON", interleaved_neon, mono_neon, measure_neon},
#endif
};

int kernel_runs(int kernel) {
#if defined(__x86_64__)
	__builtin_cpu_init();
	switch (kernel) {
	case KERNEL_SSE4:
		return !!__builtin_cpu_supports("sse4.1");
	case KERNEL_AVX2:
		return __builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma");
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

void decode_interleaved(int kernel, int type, uint32_t *dst, int64_t lanes, const uint8_t *src, int64_t size, int64_t n, int64_t stride) {
	kernels[kernel].interleaved(type, dst, lanes, src, size, n, stride);
}

void decode_mono(int kernel, int type, uint32_t *dst, int64_t lanes, int64_t n,
	const uint8_t *c0, const uint8_t *c1, const uint8_t *c2, const uint8_t *c3,
	const uint8_t *c4, const uint8_t *c5, const uint8_t *c6, const uint8_t *c7,
	const uint8_t *c8, const uint8_t *c9, const uint8_t *c10, const uint8_t *c11,
	const uint8_t *c12, const uint8_t *c13, const uint8_t *c14, const uint8_t *c15) {
	const uint8_t *src[LANES] = {c0, c1, c2, c3, c4, c5, c6, c7, c8, c9, c10, c11, c12, c13, c14, c15};
	kernels[kernel].mono(type, dst, lanes, src, n);
}

void measure_vector(int kernel, struct lanes *s, const struct plan *p, const uint32_t *x, struct tile *tiles) {
	kernels[kernel].measure(s, p, (const row *)x, tiles);
}
