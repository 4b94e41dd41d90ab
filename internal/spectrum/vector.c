//go:build cgo && (amd64 || arm64)

/* The list of kernels, the test which of them this processor runs, and the
   dispatch to each. */

#include "vector_api.h"

static const struct {
	const char *name;
	gather_kernel *gather;
	power_kernel *power;
	bands_kernel *bands;
	follow_kernel *follow;
	agree_kernel *agree;
} kernels[KERNELS] = {
#if defined(__x86_64__)
	[KERNEL_SSE4] = {"SSE4", spectrum_gather_sse4, spectrum_power_sse4, spectrum_bands_sse4, spectrum_follow_sse4, spectrum_agree_sse4},
	[KERNEL_AVX2] = {"AVX2", spectrum_gather_avx2, spectrum_power_avx2, spectrum_bands_avx2, spectrum_follow_avx2, spectrum_agree_avx2},
#elif defined(__aarch64__)
	[KERNEL_NEON] = {"NEON", spectrum_gather_neon, spectrum_power_neon, spectrum_bands_neon, spectrum_follow_neon, spectrum_agree_neon},
#endif
};

int spectrum_kernel_runs(int kernel) {
#if defined(__x86_64__)
	__builtin_cpu_init();
	switch (kernel) {
	case KERNEL_SSE4:
		return !!__builtin_cpu_supports("sse4.1");
	case KERNEL_AVX2:
		return !!__builtin_cpu_supports("avx2");
	}
	return 0;
#else
	return kernel == KERNEL_NEON; /* part of every 64-bit ARM processor */
#endif
}

const char *spectrum_kernel_name(int kernel) { return kernels[kernel].name; }

void spectrum_gather(int kernel, struct gather *g, int floats, int64_t decimation, int64_t shift, float scale, const uint32_t *words, int64_t frames, int64_t stride) {
	kernels[kernel].gather(g, floats, decimation, shift, scale, words, frames, stride);
}

void spectrum_power(int kernel, const struct transform *t, const float *points, float *power) {
	kernels[kernel].power(t, points, power);
}

void spectrum_bands(int kernel, const struct band *b, int64_t n, const float *gain, const float *power, float *sums) {
	kernels[kernel].bands(b, n, gain, power, sums);
}

void spectrum_follow(int kernel, float keep, float slip, int64_t seconds, int64_t stride, const float *ref, float *similar, float *ahead, float *was, float *behind,
	const float *music, int64_t length, int64_t from, int64_t to, float *like, int32_t *at) {
	const struct follow f = {keep, slip, seconds, stride, ref, similar, ahead, was, behind};
	kernels[kernel].follow(&f, music, length, from, to, like, at);
}

void spectrum_agree(int kernel, const uint64_t *a, const uint64_t *b, int64_t *differ) { kernels[kernel].agree(a, b, differ); }
