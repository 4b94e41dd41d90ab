/* The structures that Go and the kernels in C share; vector.go mirrors them. */
#ifndef NIGHTREEL_VECTOR_API_H
#define NIGHTREEL_VECTOR_API_H

#include <stddef.h>
#include <stdint.h>

enum { LANES = 16, TILE = 16, REACH = 6 };
enum { FLAT_MARK = 1, CRACK_MARK = 2 };

/* As SampleType in meter.go; TYPE_FLOAT64 is left to plain Go. */
enum { TYPE_UINT8 = 1, TYPE_INT16, TYPE_INT24, TYPE_INT32, TYPE_FLOAT32, TYPE_FLOAT64 };

/* Samples are words of 32 bits, in rows: a frame of all LANES channels.
   Integers are left-justified, floats are made finite. C computes in units of
   the word, so that full scale of integers is 2^31; scaling by a power of two
   does not round. */
typedef uint32_t row[LANES];

/* The parameters of a block, the same for all channels. */
struct plan {
	double b0, b1, b2, a1, a2, c1, c2;       /* K filter */
	double subnormal;                        /* states below it are set to 0 */
	float flat_tolerance, flat_floor, flat_corner; /* of flat tops, with a margin for single precision */
	float crack_floor, crack_ratio;          /* the same for cracks */
	float bound, outer_sum, outer_rest, inner_sum, inner_rest; /* the same for the true-peak filter */
	int64_t floats;                          /* whether the words are floats */
	int64_t lanes;                           /* channels, 1 to LANES */
	int64_t frames;                          /* of the block */
	int64_t step_end[10];                    /* frames, limited to the block's end */
	int64_t factor;                          /* of true-peak oversampling: 1, 2, 4 */
	int64_t weighted, reported;              /* whether to compute sums and energies, and true peaks */
	int64_t mark_shift;                      /* bit i >> mark_shift of flat and crack stands for tile i */
};

/* The state and figures of each channel. */
struct lanes {
	double s1[LANES], s2[LANES], t1[LANES], t2[LANES]; /* K filter, kept from block to block */
	/* From here on for the present block alone. */
	double sum[LANES], squares[LANES], true_peak[LANES];
	double step[10][LANES];                  /* K-weighted sums of squares, before gain */
	double energy[LANES];                    /* the same for the incomplete step */
	uint32_t peak[LANES];                    /* largest magnitude, a word without sign */
	int32_t zeros[LANES];                    /* samples of exactly 0 */
	int32_t flat[LANES];                     /* a bit for each group of tiles: one of them is marked flat */
	int32_t hush[LANES];                     /* not 0: at least one tile is all 0 */
	int32_t crack[LANES];                    /* the same as flat, for cracks */
};

/* The figures of TILE frames of each channel; a block's last tile may be
   shorter. */
struct tile {
	float peak[LANES];                       /* to the nearest float; 0 only if all samples are 0 */
	float bend[LANES];                       /* upper bound of the second differences */
	float near[LANES];                       /* largest sample that the true-peak filter sees from the tile; at first, that of the REACH first frames */
	float bound[LANES];                      /* upper bound of the true-peak filter; at first, the largest of the REACH last frames */
	int32_t flat[LANES];                     /* FLAT_MARK: a flat top may begin in the tile or up to 2 frames before; CRACK_MARK: the wave may crack in it */
};

/* interleaved converts n frames, stride bytes apart, of up to LANES
   interleaved channels to rows; size is the number of readable bytes of src.

   mono converts n samples of each of up to LANES channels, each with a
   pointer. */
typedef void interleaved_kernel(int type, uint32_t *dst, int64_t lanes, const uint8_t *src, int64_t size, int64_t n, int64_t stride);
typedef void mono_kernel(int type, uint32_t *dst, int64_t lanes, const uint8_t *const *src, int64_t n);
typedef void measure_kernel(struct lanes *s, const struct plan *p, const row *x, struct tile *tiles);

#define KERNEL(isa) interleaved_kernel interleaved_##isa; mono_kernel mono_##isa; measure_kernel measure_##isa

/* The kernels, in order of speed; 0 stands for the fastest, 1 for plain Go. */
#if defined(__x86_64__)
enum { KERNEL_SSE4 = 2, KERNEL_AVX2, KERNEL_AVX512, KERNELS };
KERNEL(sse4);
KERNEL(avx2);
KERNEL(avx512);
#elif defined(__aarch64__)
enum { KERNEL_NEON = 2, KERNELS };
KERNEL(neon);
#endif

int kernel_runs(int kernel);
const char *kernel_name(int kernel);
void decode_interleaved(int kernel, int type, uint32_t *dst, int64_t lanes, const uint8_t *src, int64_t size, int64_t n, int64_t stride);
/* Single pointers, because Go may not pass an array of pointers. */
void decode_mono(int kernel, int type, uint32_t *dst, int64_t lanes, int64_t n,
	const uint8_t *c0, const uint8_t *c1, const uint8_t *c2, const uint8_t *c3,
	const uint8_t *c4, const uint8_t *c5, const uint8_t *c6, const uint8_t *c7,
	const uint8_t *c8, const uint8_t *c9, const uint8_t *c10, const uint8_t *c11,
	const uint8_t *c12, const uint8_t *c13, const uint8_t *c14, const uint8_t *c15);
void measure_vector(int kernel, struct lanes *s, const struct plan *p, const uint32_t *x, struct tile *tiles);

#endif
