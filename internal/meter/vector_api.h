/* What the Go side and the kernels in C agree on; vector.go has the same. */
#ifndef NIGHTREEL_VECTOR_API_H
#define NIGHTREEL_VECTOR_API_H

#include <stddef.h>
#include <stdint.h>

enum { LANES = 16, TILE = 16, REACH = 6 };
enum { FLAT_MARK = 1, CRACK_MARK = 2 };

/* As SampleType in meter.go; TYPE_FLOAT64 is left to plain Go. */
enum { TYPE_UINT8 = 1, TYPE_INT16, TYPE_INT24, TYPE_INT32, TYPE_FLOAT32, TYPE_FLOAT64 };

/* Samples are kept as words of 32 bits, in rows: a frame of all LANES channels.
   Integers are left-justified, floats are made finite. Everything in C is
   reckoned in units of the word, so that full scale of integers is 2^31; to
   scale by a power of two rounds nothing. */
typedef uint32_t row[LANES];

/* What is to be done with a block, the same for all channels. */
struct plan {
	double b0, b1, b2, a1, a2, c1, c2;       /* K filter */
	double subnormal;                        /* states below it are set to 0 */
	float flat_tolerance, flat_floor, flat_corner; /* of flat tops, with a margin for single precision */
	float crack_floor, crack_ratio;          /* of cracks, so too */
	float bound, outer_sum, outer_rest, inner_sum, inner_rest; /* of the true-peak filter, so too */
	int64_t floats;                          /* whether the words are floats */
	int64_t lanes;                           /* channels, 1 to LANES */
	int64_t frames;                          /* of the block */
	int64_t step_end[10];                    /* frames; those beyond the block's end at it */
	int64_t factor;                          /* of true-peak oversampling: 1, 2, 4 */
	int64_t weighted, reported;              /* whether sums and energies, and true peaks, are wanted */
	int64_t mark_shift;                      /* tile i is told of by bit i >> mark_shift of flat and crack */
};

/* What is known of each channel. */
struct lanes {
	double s1[LANES], s2[LANES], t1[LANES], t2[LANES]; /* K filter, kept from block to block */
	/* From here on of the block alone. */
	double sum[LANES], squares[LANES], true_peak[LANES];
	double step[10][LANES];                  /* K-weighted sums of squares, before gain */
	double energy[LANES];                    /* that of the step that is not complete */
	uint32_t peak[LANES];                    /* largest magnitude, a word without sign */
	int32_t zeros[LANES];                    /* samples of exactly 0 */
	int32_t flat[LANES];                     /* a bit for each few tiles: some of them is marked flat */
	int32_t hush[LANES];                     /* not 0: some tile is all 0 */
	int32_t crack[LANES];                    /* the same of cracks */
};

/* What is known of TILE frames of each channel; a block's last tile may be
   shorter. */
struct tile {
	float peak[LANES];                       /* to the nearest float; 0 only if all samples are */
	float bend[LANES];                       /* largest second difference, or more */
	float near[LANES];                       /* largest sample that the true-peak filter sees from the tile; at first, that of the REACH first frames */
	float bound[LANES];                      /* the true-peak filter cannot read more; at first, the largest of the REACH last frames */
	int32_t flat[LANES];                     /* FLAT_MARK: a flat top may begin in the tile or up to 2 frames before; CRACK_MARK: the wave may crack in it */
};

/* interleaved: n frames, stride bytes apart, of up to LANES channels that lie
   side by side into rows; size is what may be read of src.
   mono: n samples of each of up to LANES channels, as many pointers. */
typedef void interleaved_kernel(int type, uint32_t *dst, int64_t lanes, const uint8_t *src, int64_t size, int64_t n, int64_t stride);
typedef void mono_kernel(int type, uint32_t *dst, int64_t lanes, const uint8_t *const *src, int64_t n);
typedef void measure_kernel(struct lanes *s, const struct plan *p, const row *x, struct tile *tiles);

#define KERNEL(isa) interleaved_kernel interleaved_##isa; mono_kernel mono_##isa; measure_kernel measure_##isa

/* The kernels, the faster the later; 0 stands for the best there is, 1 for
   plain Go. */
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
/* A pointer each, since Go may hand over no array of pointers. */
void decode_mono(int kernel, int type, uint32_t *dst, int64_t lanes, int64_t n,
	const uint8_t *c0, const uint8_t *c1, const uint8_t *c2, const uint8_t *c3,
	const uint8_t *c4, const uint8_t *c5, const uint8_t *c6, const uint8_t *c7,
	const uint8_t *c8, const uint8_t *c9, const uint8_t *c10, const uint8_t *c11,
	const uint8_t *c12, const uint8_t *c13, const uint8_t *c14, const uint8_t *c15);
void measure_vector(int kernel, struct lanes *s, const struct plan *p, const uint32_t *x, struct tile *tiles);

#endif
