#include <stdint.h>

#ifndef SPECTRUM_VECTOR_API_H
#define SPECTRUM_VECTOR_API_H

#define LANES 8     /* tracks side by side */
#define POINTS 1024 /* of a window, after decimation */
#define BINS 512
#define CLASSES 12   /* pitch classes */
#define WORDS 4      /* of a print, 64 signs each */
#define MAX_LAG 32   /* signs */
#define NOTHING -1e9f

/* The state of one window of a group, see gather.go. */
struct gather {
	int32_t sum[LANES];         /* of the step so far */
	int32_t sums[LANES];        /* of the sums so far */
	int32_t last_sum[LANES];    /* the same of the step before */
	int32_t last_sums[LANES];
	float points[POINTS][LANES];
	int64_t in_step;            /* frames of the step taken */
	int64_t steps;              /* finished */
};

/* The tables of the transform, see fft.go. twiddle is for POINTS/2 complex
   points; split is for the last pass, which derives the real transform from the
   complex one. */
struct transform {
	float twiddle[POINTS / 2][2];
	float split[POINTS / 4 + 1][2];
	float window[POINTS];
};

/* A band covers the bins from first to last; the first and last count by their
   shares. */
struct band {
	int64_t first, last;
	float share_first, share_last;
};

/* The rows of a Follower, see follow.go. */
struct follow {
	float keep, slip;
	int64_t seconds, stride;
	const float *ref;
	float *similar, *ahead, *was, *behind;
};

typedef void gather_kernel(struct gather *g, int floats, int64_t decimation, int64_t shift, float scale, const uint32_t *words, int64_t frames, int64_t stride);
typedef void power_kernel(const struct transform *t, const float *points, float *power);
typedef void bands_kernel(const struct band *b, int64_t n, const float *gain, const float *power, float *sums);
typedef void follow_kernel(const struct follow *f, const float *music, int64_t seconds, int64_t from, int64_t to, float *like, int32_t *at);
typedef void agree_kernel(const uint64_t *a, const uint64_t *b, int64_t *differ);

#if defined(__x86_64__)
enum { KERNEL_SSE4 = 2, KERNEL_AVX2, KERNELS };
gather_kernel spectrum_gather_sse4, spectrum_gather_avx2;
power_kernel spectrum_power_sse4, spectrum_power_avx2;
bands_kernel spectrum_bands_sse4, spectrum_bands_avx2;
follow_kernel spectrum_follow_sse4, spectrum_follow_avx2;
agree_kernel spectrum_agree_sse4, spectrum_agree_avx2;
#elif defined(__aarch64__)
enum { KERNEL_NEON = 2, KERNELS };
gather_kernel spectrum_gather_neon;
power_kernel spectrum_power_neon;
bands_kernel spectrum_bands_neon;
follow_kernel spectrum_follow_neon;
agree_kernel spectrum_agree_neon;
#endif

int spectrum_kernel_runs(int kernel);
const char *spectrum_kernel_name(int kernel);
void spectrum_gather(int kernel, struct gather *g, int floats, int64_t decimation, int64_t shift, float scale, const uint32_t *words, int64_t frames, int64_t stride);
void spectrum_power(int kernel, const struct transform *t, const float *points, float *power);
void spectrum_bands(int kernel, const struct band *b, int64_t n, const float *gain, const float *power, float *sums);
/* The rows one by one, so that Go passes no pointer to pointers. */
void spectrum_follow(int kernel, float keep, float slip, int64_t seconds, int64_t stride, const float *ref, float *similar, float *ahead, float *was, float *behind,
	const float *music, int64_t length, int64_t from, int64_t to, float *like, int32_t *at);
void spectrum_agree(int kernel, const uint64_t *a, const uint64_t *b, int64_t *differ);

#endif
