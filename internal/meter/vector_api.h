/* What the Go side and the kernels in C agree on; vector.go has the same. */
#ifndef NIGHTREEL_VECTOR_API_H
#define NIGHTREEL_VECTOR_API_H

#include <stddef.h>
#include <stdint.h>

enum { LANES = 8, TILE = 16, REACH = 6 };

/* As SampleType in meter.go. */
enum { TYPE_UINT8 = 1, TYPE_INT16, TYPE_INT24, TYPE_INT32, TYPE_FLOAT32, TYPE_FLOAT64 };

/* What is to be done with a block, the same for all channels. */
struct plan {
	double b0, b1, b2, a1, a2, c1, c2;       /* K filter */
	double subnormal;                        /* states below it are set to 0 */
	double flat_tolerance, flat_floor, flat_corner;
	double bound, outer_sum, outer_rest, inner_sum, inner_rest; /* of the true-peak filter */
	int64_t lanes;                           /* channels, 1 to LANES */
	int64_t apart;                           /* doubles from a channel's samples to the next one's */
	int64_t frames;                          /* of the block */
	int64_t step_end[10];                    /* frames; those beyond the block's end at it */
	int64_t factor;                          /* of true-peak oversampling: 1, 2, 4 */
	int64_t weighted, reported;              /* whether K-weighted energies and true peaks are wanted */
};

/* What is known of each channel. */
struct lanes {
	double s1[LANES], s2[LANES], t1[LANES], t2[LANES]; /* K filter, kept from block to block */
	/* From here on of the block alone. */
	double peak[LANES], sum[LANES], squares[LANES], true_peak[LANES];
	double step[10][LANES];                  /* K-weighted sums of squares, before gain */
	double energy[LANES];                    /* that of the step that is not complete */
	int64_t zeros[LANES];                    /* samples of exactly 0 */
	int64_t flat[LANES];                     /* not 0: some tile is marked flat */
	int64_t hush[LANES];                     /* not 0: some tile is all 0 */
};

/* What is known of TILE frames of each channel; a block's last tile may be
   shorter. */
struct tile {
	double peak[LANES];
	double near[LANES];                      /* largest sample of the tile and those beside it */
	double bend[LANES];                      /* largest second difference; after the kernel a bound */
	int64_t flat[LANES];                     /* not 0: a flat top may begin in the tile or up to 2 frames before */
};

typedef void decode_kernel(int type, double *dst, int64_t apart, int64_t lanes, const uint8_t *src, int64_t size, int64_t n, int64_t stride);
typedef void measure_kernel(struct lanes *s, const struct plan *p, const double *x, struct tile *tiles);

/* The kernels, the faster the later; 0 stands for the best there is, 1 for
   plain Go. */
#if defined(__x86_64__)
enum { KERNEL_SSE4 = 2, KERNEL_AVX2, KERNEL_AVX512, KERNELS };
decode_kernel decode_sse4, decode_avx2, decode_avx512;
measure_kernel measure_sse4, measure_avx2, measure_avx512;
#elif defined(__aarch64__)
enum { KERNEL_NEON = 2, KERNELS };
decode_kernel decode_neon;
measure_kernel measure_neon;
#endif

int kernel_runs(int kernel);
const char *kernel_name(int kernel);
void decode_vector(int kernel, int type, double *dst, int64_t apart, int64_t lanes, const uint8_t *src, int64_t size, int64_t n, int64_t stride);
void measure_vector(int kernel, struct lanes *s, const struct plan *p, const double *x, struct tile *tiles);

#endif
