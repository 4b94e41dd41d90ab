/* The kernel of kernel.go for eight channels side by side, in vectors of VB
   bytes. A file for each instruction set includes this one after defining

     VB              bytes of a vector: 16, 32 or 64
     VMAX(a, b)      the larger of two vectors of doubles, lane by lane
     VMAXF(a, b)     the same of floats
     NAME(x)         x with the instruction set's name

   Every channel's figures come out of the same operations in the same order as
   in plain Go, in double precision and with no operation fused into another:
   so all kernels agree to the last bit, and a catalog does not tell which
   machine filled it. Vectorising across channels allows that; along time it
   would not. */

#include <stdint.h>
#include <string.h>
#include "vector_api.h"

#if defined(__clang__)
#pragma STDC FP_CONTRACT OFF
#endif /* gcc: by -std=c11, see vector_cgo.go */

#define INLINE static inline __attribute__((always_inline))
#define W (VB / 8)        /* doubles in a vector */
#define COLUMNS (LANES / W)

typedef double vd __attribute__((vector_size(VB)));
typedef int64_t vl __attribute__((vector_size(VB)));
typedef int32_t v4i __attribute__((vector_size(16)));
typedef uint8_t v16b __attribute__((vector_size(16)));
typedef int64_t v2l __attribute__((vector_size(16)));
typedef double v4d __attribute__((vector_size(32)));
typedef double v2d __attribute__((vector_size(16)));
typedef float v4f __attribute__((vector_size(16)));
typedef float vf __attribute__((vector_size(VB)));
typedef int32_t vi __attribute__((vector_size(VB)));

/* The same at any address. */
#define ANYWHERE __attribute__((aligned(1), may_alias))
typedef vd any_vd ANYWHERE;
typedef vl any_vl ANYWHERE;
typedef vf any_vf ANYWHERE;
typedef v4d any_v4d ANYWHERE;
typedef v2d any_v2d ANYWHERE;
typedef v16b any_v16b ANYWHERE;
typedef int64_t any_int64 ANYWHERE;

#if defined(__clang__) || __GNUC__ >= 12
#define SHUFFLE(a, b, ...) __builtin_shufflevector(a, b, __VA_ARGS__)
#define BYTES(a, ...) __builtin_shufflevector(a, a, __VA_ARGS__)
#else
#define SHUFFLE(a, b, ...) __builtin_shuffle(a, b, (__typeof__((a) < (b))){__VA_ARGS__})
#define BYTES(a, ...) __builtin_shuffle(a, (v16b){__VA_ARGS__})
#endif

#if VB >= 32
#define NARROW(x) __builtin_convertvector(*(const any_v4d *)(x), v4f)
#else
#define NARROW(x) ((v4f){(float)(x)[0], (float)(x)[1], (float)(x)[2], (float)(x)[3]})
#endif

INLINE vd all(double x) {
	vd v;
	for (int i = 0; i < W; i++) v[i] = x;
	return v;
}

INLINE vd vabs(vd x) { return (vd)((vl)x & INT64_MAX); }
INLINE vf fabs_f(vf x) { return (vf)((vi)x & INT32_MAX); }

/* ---- samples to fractions of full scale ---- */

#define MAX_AMPLITUDE 1e9
#define MAX_FLOAT 0x4e6e6b28 /* 1e9f */
#define INF_FLOAT 0x7f800000

INLINE float finite_float(uint32_t bits) {
	uint32_t size = bits & INT32_MAX;
	if (size > INF_FLOAT) bits = 0;
	else if (size > MAX_FLOAT) bits = MAX_FLOAT | (bits & ~(uint32_t)INT32_MAX);
	float x;
	memcpy(&x, &bits, sizeof x);
	return x;
}

INLINE double finite(double x) {
	if (x >= -MAX_AMPLITUDE && x <= MAX_AMPLITUDE) return x;
	return x > 0 ? MAX_AMPLITUDE : x < 0 ? -MAX_AMPLITUDE : 0;
}

INLINE double sample(int type, const uint8_t *p) {
	switch (type) {
	case TYPE_UINT8:
		return ((int)*p - 128) / 128.;
	case TYPE_INT16:
		return (int16_t)(p[0] | p[1] << 8) / 32768.;
	case TYPE_INT24:
		return (int32_t)((uint32_t)p[0] << 8 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 24) / 2147483648.;
	case TYPE_INT32:
	case TYPE_FLOAT32: {
		uint32_t u = (uint32_t)p[0] | (uint32_t)p[1] << 8 | (uint32_t)p[2] << 16 | (uint32_t)p[3] << 24;
		return type == TYPE_INT32 ? (int32_t)u / 2147483648. : finite_float(u);
	}
	}
	double x;
	memcpy(&x, p, sizeof x);
	return finite(x);
}

/* Four samples that lie side by side, as bits: integers in the upper bytes,
   floats as they are but made finite. Reads wide(type) bytes. */
INLINE v4i four(int type, const uint8_t *p) {
	v16b b;
	switch (type) {
	case TYPE_UINT8: {
		v4i v = {p[0], p[1], p[2], p[3]};
		return (v - 128) << 24;
	}
	case TYPE_INT16:
		b = (v16b)(v2l){*(const any_int64 *)p};
		return (v4i)BYTES(b, 0, 0, 0, 1, 0, 0, 2, 3, 0, 0, 4, 5, 0, 0, 6, 7) >> 16 << 16;
	case TYPE_INT24:
		b = *(const any_v16b *)p;
		return (v4i)BYTES(b, 0, 0, 1, 2, 0, 3, 4, 5, 0, 6, 7, 8, 0, 9, 10, 11) >> 8 << 8;
	}
	v4i v = (v4i)*(const any_v16b *)p;
	if (type == TYPE_FLOAT32) {
		v4i size = v & INT32_MAX, over = size > MAX_FLOAT;
		v = (v & ~over) | (((v & INT32_MIN) | MAX_FLOAT) & over & (size <= INF_FLOAT));
	}
	return v;
}

INLINE int64_t wide(int type) {
	switch (type) {
	case TYPE_UINT8:
		return 4;
	case TYPE_INT16:
		return 8;
	}
	return 16;
}

INLINE int64_t bytes(int type) {
	static const char size[] = {[TYPE_UINT8] = 1, [TYPE_INT16] = 2, [TYPE_INT24] = 3,
		[TYPE_INT32] = 4, [TYPE_FLOAT32] = 4, [TYPE_FLOAT64] = 8};
	return size[type];
}

/* put writes four samples as fractions of full scale. */
INLINE void put(int type, double *to, v4i v) {
#if VB >= 32
	*(any_v4d *)to = type == TYPE_FLOAT32 ? __builtin_convertvector((v4f)v, v4d)
		: __builtin_convertvector(v, v4d) * (1 / 2147483648.);
#else
	for (int i = 0; i < 4; i++)
		to[i] = type == TYPE_FLOAT32 ? (double)((v4f)v)[i] : v[i] * (1 / 2147483648.);
#endif
}

/* transposed turns four times four numbers about. */
INLINE void transposed(v4i *a) {
	v4i t0 = SHUFFLE(a[0], a[1], 0, 4, 1, 5), t1 = SHUFFLE(a[0], a[1], 2, 6, 3, 7);
	v4i t2 = SHUFFLE(a[2], a[3], 0, 4, 1, 5), t3 = SHUFFLE(a[2], a[3], 2, 6, 3, 7);
	a[0] = SHUFFLE(t0, t2, 0, 1, 4, 5);
	a[1] = SHUFFLE(t0, t2, 2, 3, 6, 7);
	a[2] = SHUFFLE(t1, t3, 0, 1, 4, 5);
	a[3] = SHUFFLE(t1, t3, 2, 3, 6, 7);
}

/* decoded does decode for a type known when it is compiled. */
INLINE void decoded(int type, double *dst, int64_t apart, int64_t lanes, const uint8_t *src, int64_t size, int64_t n, int64_t stride) {
	int64_t fast = 0; /* frames done four at a time */
	if (type != TYPE_FLOAT64 && stride == bytes(type)) {
		for (; fast + 4 <= n && fast * stride + wide(type) <= size; fast += 4)
			put(type, dst + fast, four(type, src + fast * stride));
	} else if (type != TYPE_FLOAT64) {
		int64_t reach = 3 * stride + (lanes - 1) / 4 * 4 * bytes(type) + wide(type);
		for (; fast + 4 <= n && fast * stride + reach <= size; fast += 4) {
			const uint8_t *p = src + fast * stride;
			for (int64_t l = 0; l < lanes; l += 4, p += 4 * bytes(type)) {
				v4i v[4];
				for (int i = 0; i < 4; i++) v[i] = four(type, p + i * stride);
				transposed(v);
				for (int i = 0; i < 4 && l + i < lanes; i++) put(type, dst + (l + i) * apart + fast, v[i]);
			}
		}
	}
	for (int64_t l = 0; l < lanes; l++)
		for (int64_t i = fast; i < n; i++)
			dst[l * apart + i] = sample(type, src + i * stride + l * bytes(type));
}

void NAME(decode)(int type, double *dst, int64_t apart, int64_t lanes, const uint8_t *src, int64_t size, int64_t n, int64_t stride) {
	switch (type) {
	case TYPE_UINT8: decoded(TYPE_UINT8, dst, apart, lanes, src, size, n, stride); break;
	case TYPE_INT16: decoded(TYPE_INT16, dst, apart, lanes, src, size, n, stride); break;
	case TYPE_INT24: decoded(TYPE_INT24, dst, apart, lanes, src, size, n, stride); break;
	case TYPE_INT32: decoded(TYPE_INT32, dst, apart, lanes, src, size, n, stride); break;
	case TYPE_FLOAT32: decoded(TYPE_FLOAT32, dst, apart, lanes, src, size, n, stride); break;
	case TYPE_FLOAT64: decoded(TYPE_FLOAT64, dst, apart, lanes, src, size, n, stride); break;
	}
}

/* ---- a run of frames, turned so that the channels lie side by side ---- */

#define RUN 32 /* frames, as peakRun in kernel.go; the last run of a block may be up to 63 int64_t */
#define BEFORE 2

struct run {
	_Alignas(64) double x[BEFORE + 2 * RUN + 4][LANES];
};

/* turn lays n frames of all channels, n rounded up to a multiple of 4, into
   rows from row on. */
INLINE void turn(struct run *r, int64_t row, const double *x, int64_t apart, int64_t lanes, int64_t n) {
	for (int64_t i = 0; i < n; i += 4) {
#if VB >= 32
		for (int64_t l = 0; l < lanes; l += 4) {
			const double *from = x + l * apart + i;
			v4d a = *(const any_v4d *)from, b = *(const any_v4d *)(from + apart);
			v4d c = *(const any_v4d *)(from + 2 * apart), d = *(const any_v4d *)(from + 3 * apart);
			v4d t0 = SHUFFLE(a, b, 0, 4, 2, 6), t1 = SHUFFLE(a, b, 1, 5, 3, 7);
			v4d t2 = SHUFFLE(c, d, 0, 4, 2, 6), t3 = SHUFFLE(c, d, 1, 5, 3, 7);
			double *to = &r->x[row + i][l];
			*(any_v4d *)to = SHUFFLE(t0, t2, 0, 1, 4, 5);
			*(any_v4d *)(to + LANES) = SHUFFLE(t1, t3, 0, 1, 4, 5);
			*(any_v4d *)(to + 2 * LANES) = SHUFFLE(t0, t2, 2, 3, 6, 7);
			*(any_v4d *)(to + 3 * LANES) = SHUFFLE(t1, t3, 2, 3, 6, 7);
		}
#else
		for (int64_t l = 0; l < lanes; l += 2)
			for (int k = 0; k < 4; k += 2) {
				const double *from = x + l * apart + i + k;
				v2d a = *(const any_v2d *)from, b = *(const any_v2d *)(from + apart);
				*(any_v2d *)&r->x[row + i + k][l] = SHUFFLE(a, b, 0, 2);
				*(any_v2d *)&r->x[row + i + k + 1][l] = SHUFFLE(a, b, 1, 3);
			}
#endif
	}
}

INLINE vd load(const double *x, int column) { return *(const any_vd *)(x + column * W); }

INLINE void store(double *x, int column, vd v) { *(any_vd *)(x + column * W) = v; }

INLINE vd at(const struct run *r, int64_t row, int column) { return load(r->x[row], column); }

/* ---- plain statistics ---- */

/* levels does levels in kernel.go for n frames of a column, which start at row
   BEFORE, and fills a tile for each TILE frames of them. The sums are added up
   in two halves as there.

   A flat top of four frames or more has three steps within the tolerance, so
   two of them lead to a pair of frames that is looked at together here, or one
   to the single frame at the end. A sharp bend is where it begins, at most two
   frames before. */
INLINE void levels(const struct run *r, int64_t n, int column, const struct plan *p, struct lanes *s, struct tile *tiles) {
	const vd tolerance = all(p->flat_tolerance), floor = all(p->flat_floor), corner = all(p->flat_corner), zero = all(0);
	vd sum0 = zero, sum1 = zero, squares0 = zero, squares1 = zero, top = zero;
	vl zeros = (vl)zero, any_flat = zeros, any_hush = zeros;
	vd last = at(r, BEFORE - 1, column), step = last - at(r, BEFORE - 2, column);
	for (int64_t from = 0; from < n; from += TILE, tiles++) {
		vd peak = zero, bend = zero;
		vl flat = (vl)zero;
		int64_t i = from, to = n < from + TILE ? n : from + TILE;
		for (; i + 2 <= to; i += 2) {
			vd a = at(r, BEFORE + i, column), b = at(r, BEFORE + i + 1, column);
			vd size = vabs(b), da = a - last, db = b - a;
			sum0 += a;
			sum1 += b;
			squares0 += a * a;
			squares1 += b * b;
			zeros -= (a == zero) + (b == zero);
			peak = VMAX(VMAX(vabs(a), size), peak);
			bend = VMAX(VMAX(vabs(da - step), vabs(db - da)), bend);
			flat |= (vl)(VMAX(vabs(da), vabs(db)) <= tolerance) & (vl)(size >= floor);
			last = b;
			step = db;
		}
		if (i < to) { /* at the very end */
			vd a = at(r, BEFORE + i, column);
			sum0 += a;
			squares0 += a * a;
			zeros -= a == zero;
			peak = VMAX(vabs(a), peak);
			bend = VMAX(vabs((a - last) - step), bend);
			flat |= (vl)(vabs(a - last) <= tolerance) & (vl)(vabs(a) >= floor);
		}
		if (s) flat &= (vl)(VMAX(bend, load(tiles[-1].bend, column)) >= corner);
		top = VMAX(top, peak);
		any_flat |= flat;
		any_hush |= (vl)(peak == zero);
		store(tiles->peak, column, peak);
		store(tiles->bend, column, bend);
		*(any_vl *)(tiles->flat + column * W) = flat;
	}
	if (!s) return;
	store(s->peak, column, VMAX(load(s->peak, column), top));
	store(s->sum, column, load(s->sum, column) + (sum0 + sum1));
	store(s->squares, column, load(s->squares, column) + (squares0 + squares1));
	*(any_vl *)(s->zeros + column * W) += zeros;
	*(any_vl *)(s->flat + column * W) |= any_flat;
	*(any_vl *)(s->hush + column * W) |= any_hush;
}

/* ---- K weighting ---- */

/* weigh does kFilter.energy for rows [from, to) of so many columns: enough of
   them to fill the time that each operation waits for the one before. */
INLINE void weigh(const struct run *r, int64_t from, int64_t to, int column, int columns, const struct plan *p, struct lanes *s) {
	const vd b0 = all(p->b0), b1 = all(p->b1), b2 = all(p->b2), a1 = all(p->a1), a2 = all(p->a2);
	const vd c1 = all(p->c1), c2 = all(p->c2);
	vd s1[2], s2[2], t1[2], t2[2], sum[2];
	for (int k = 0; k < columns; k++) {
		s1[k] = load(s->s1, column + k);
		s2[k] = load(s->s2, column + k);
		t1[k] = load(s->t1, column + k);
		t2[k] = load(s->t2, column + k);
		sum[k] = load(s->energy, column + k);
	}
	for (int64_t i = from; i < to; i++)
		for (int k = 0; k < columns; k++) {
			vd v = at(r, i, column + k);
			vd y = b0 * v + s1[k];
			s1[k] = (b1 * v + s2[k]) - a1 * y;
			s2[k] = b2 * v - a2 * y;
			vd z = y + t1[k];
			t1[k] = (t2[k] - (y + y)) - c1 * z;
			t2[k] = y - c2 * z;
			sum[k] += z * z;
		}
	for (int k = 0; k < columns; k++) {
		store(s->s1, column + k, s1[k]);
		store(s->s2, column + k, s2[k]);
		store(s->t1, column + k, t1[k]);
		store(s->t2, column + k, t2[k]);
		store(s->energy, column + k, sum[k]);
	}
}

static void weighed(const struct run *r, int64_t from, int64_t to, int columns, const struct plan *p, struct lanes *s) {
	int k = 0;
	for (; k + 2 <= columns; k += 2) weigh(r, from, to, k, 2, p, s);
	if (k < columns) weigh(r, from, to, k, 1, p, s);
}

/* ---- true peak ---- */

/* The interpolator's coefficients, as in truepeak.go, times 8192. */
#define INNER(TAP) TAP(0, -239, 0) TAP(1, 240, -155) TAP(2, -424, 271) TAP(3, 730, -477) TAP(4, -1364, 832) TAP(5, 3810, -1641)
#define OUTER(TAP) TAP(0, 14, 0) TAP(1, 90, -68) TAP(2, -161, 122) TAP(3, 272, -218) TAP(4, -487, 390) TAP(5, 1125, -838)

/* screened estimates, for frames side by side, the largest magnitude between
   the samples, in single precision. With S and D the sum and the difference of
   a phase and its mirror image, the larger of the two is (|S| + |D|) / 2. */
INLINE vf screened(const float *x, int factor) {
#define AT(k) (*(const any_vf *)(x + (k)))
#define TAP(k, c, mirrored) \
	sum += (float)((c) + (mirrored)) * (AT(k) + AT(12 - k)); \
	difference += (float)((c) - (mirrored)) * (AT(k) - AT(12 - k));
	vf sum = 2 * 6388 * AT(6), difference = {0};
	INNER(TAP)
	vf size = fabs_f(sum) + fabs_f(difference);
	if (factor == 4) {
		sum = 2 * 7964 * AT(6);
		difference = (vf){0};
		OUTER(TAP)
		size = VMAXF(size, fabs_f(sum) + fabs_f(difference));
	}
#undef TAP
#undef AT
	return size * (1.f / 16384);
}

/* exact does interpolated in truepeak.go for one frame. */
static double exact(const double *w, int factor, double least) {
	static const double phases[2][12] = {
		{-239. / 8192, 240. / 8192, -424. / 8192, 730. / 8192, -1364. / 8192, 3810. / 8192,
			6388. / 8192, -1641. / 8192, 832. / 8192, -477. / 8192, 271. / 8192, -155. / 8192},
		{14. / 8192, 90. / 8192, -161. / 8192, 272. / 8192, -487. / 8192, 1125. / 8192,
			7964. / 8192, -838. / 8192, 390. / 8192, -218. / 8192, 122. / 8192, -68. / 8192},
	};
	for (int p = 0; p < factor / 2; p++) {
		double q = phases[p][0] * w[12], r = phases[p][0] * w[0];
		for (int k = 1; k < 12; k++) {
			q += phases[p][k] * w[12 - k];
			r += phases[p][k] * w[k];
		}
		q = __builtin_fabs(q);
		r = __builtin_fabs(r);
		if (q > least) least = q;
		if (r > least) least = r;
	}
	return least;
}

/* What the screening can be off by, of the largest sample in reach: 24 roundings
   of 2^-24, on sums of magnitudes of at most twice the bound 2.0228; and where
   single precision runs out of exponents. */
#define SCREEN_RELATIVE 1e-5f
#define SCREEN_ABSOLUTE 1e-34f

INLINE float screen(double least, double near) {
	return (float)least * (1 - 1e-6f) - ((float)near * SCREEN_RELATIVE + SCREEN_ABSOLUTE);
}

/* tile_peak returns the true peak of n frames that start at x, or least. */
static double tile_peak(const double *x, int64_t n, double near, int factor, double least) {
	_Alignas(64) float narrow[TILE + 2 * REACH + 4], size[TILE];
	x -= REACH;
	for (int i = 0; i < TILE + 2 * REACH; i += 4)
		*(v4f *)(narrow + i) = NARROW(x + i);
	float limit = screen(least, near);
	vi above = {0};
	for (int i = 0; i < TILE; i += VB / 4) {
		vf v = screened(narrow + i, factor);
		above |= v >= limit;
		*(vf *)(size + i) = v;
	}
	int64_t any = 0;
	for (int i = 0; i < W; i++) any |= ((vl)above)[i];
	if (any)
		for (int64_t i = 0; i < n; i++)
			if (size[i] >= limit) {
				least = exact(x + i, factor, least);
				limit = screen(least, near);
			}
	return least;
}

INLINE double larger(double a, double b) { return a > b ? a : b; }

/* true_peaks finds the true peak of every channel of a block: first where it
   can be largest, then wherever the bounds allow it to be larger still. tiles
   has one tile more before the block and one after. Bounds overwrite bends. */
static void true_peaks(const double *x, const struct plan *p, struct lanes *s, struct tile *tiles) {
	int64_t count = (p->frames + TILE - 1) / TILE;
	struct tile *t = tiles + 1;
	double before[LANES];
	memcpy(before, tiles[0].bend, sizeof before);
	for (int64_t i = 0; i < count; i++)
		for (int l = 0; l < LANES; l++) {
			double near = larger(larger(t[i - 1].peak[l], t[i].peak[l]), t[i + 1].peak[l]);
			double bend = larger(larger(before[l], t[i].bend[l]), t[i + 1].bend[l]);
			if (i == count - 2) { /* the last tile may be shorter than the filter */
				near = larger(near, t[i + 2].peak[l]);
				bend = larger(bend, t[i + 2].bend[l]);
			}
			before[l] = t[i].bend[l];
			double straight = larger(near * p->outer_sum + bend * p->outer_rest, near * p->inner_sum + bend * p->inner_rest);
			double bound = near * p->bound;
			t[i].near[l] = near;
			t[i].bend[l] = bound < straight ? bound : straight;
		}
	for (int l = 0; l < p->lanes; l++) {
		double least = s->peak[l];
		int64_t first = 0;
		for (int64_t i = 1; i < count; i++)
			if (t[i].bend[l] > t[first].bend[l]) first = i;
		if (t[first].bend[l] > least)
			for (int64_t k = -1; k < count; k++) {
				int64_t i = k < 0 ? first : k;
				if (!(t[i].bend[l] > least)) continue;
				int64_t n = p->frames - i * TILE < TILE ? p->frames - i * TILE : TILE;
				least = tile_peak(x + l * p->apart + i * TILE, n, t[i].near[l], p->factor, least);
				t[i].bend[l] = 0;
			}
		s->true_peak[l] = least;
	}
}

/* ---- a block ---- */

void NAME(measure)(struct lanes *s, const struct plan *p, const double *x, struct tile *tiles) {
	struct run r;
	const int columns = (p->lanes + W - 1) / W;
	const int64_t lanes = columns * W, apart = p->apart, n = p->frames;
	memset(s->peak, 0, sizeof *s - offsetof(struct lanes, peak));
	if (lanes < LANES) memset(&r, 0, sizeof r);

	/* The tiles before and after the block, for the bounds. */
	int64_t count = (n + TILE - 1) / TILE;
	turn(&r, 0, x - TILE - BEFORE, apart, lanes, TILE + BEFORE);
	for (int c = 0; c < columns; c++) levels(&r, TILE, c, p, 0, tiles);
	turn(&r, 0, x + n - BEFORE, apart, lanes, TILE + BEFORE);
	for (int c = 0; c < columns; c++) levels(&r, TILE, c, p, 0, tiles + 1 + count);

	turn(&r, 0, x - BEFORE, apart, lanes, BEFORE);
	int step = 0;
	for (int64_t from = 0; from < n;) {
		int64_t size = n - from < 2 * RUN ? n - from : RUN;
		turn(&r, BEFORE, x + from, apart, lanes, size);
		for (int c = 0; c < columns; c++) levels(&r, size, c, p, s, tiles + 1 + from / TILE);
		if (p->weighted)
			for (int64_t at = 0; at < size;) {
				int64_t to = p->step_end[step] - from;
				if (to > size) {
					weighed(&r, BEFORE + at, BEFORE + size, columns, p, s);
					break;
				}
				weighed(&r, BEFORE + at, BEFORE + to, columns, p, s);
				memcpy(s->step[step++], s->energy, sizeof s->energy);
				memset(s->energy, 0, sizeof s->energy);
				at = to;
			}
		from += size;
		memcpy(r.x[0], r.x[size], sizeof r.x[0] * BEFORE);
	}
	double *state[] = {s->s1, s->s2, s->t1, s->t2};
	if (p->weighted)
		for (int i = 0; i < 4; i++)
			for (int l = 0; l < LANES; l++)
				if (__builtin_fabs(state[i][l]) < p->subnormal) state[i][l] = 0;
	if (p->factor > 1 && p->reported) true_peaks(x, p, s, tiles);
	else memcpy(s->true_peak, s->peak, sizeof s->peak);
}
