/* The kernel of kernel.go for sixteen channels side by side, in vectors of VB
   bytes. A file for each instruction set includes this one after defining

     VB                VB bytes a vector: 16, 32 or 64
     vi                a vector of int32_t
     NAME(x)           x with the instruction set's name
     MAX_F, MIN_F      the larger and the smaller of two vectors of floats
     MAX_U, MIN_U      the same of words without sign
     ABS_I             the magnitudes of int32_t; that of the smallest is 2^31
     WIDEN_I, WIDEN_F  as many int32_t, or floats, from an address as fit a vector of doubles
     FMA(a, b, c)      a * b + c of floats, rounded once if that is faster
     ANY(v)            whether any bit is set
     PICK(v, m)        in each 16 bytes of v those that m names; 0 for NONE
     QUADS(p, apart)   16 bytes each from p, p + apart, …, as many as fill a vector
     QUADS_24(p)       the same for apart = 12; reads VB bytes
     QUADS_OF(p, at)   16 bytes each at p[0] + at, p[4] + at, …

   Every channel's figures result from the same operations in the same order as
   in plain Go, in double precision, with no operation fused into another. So
   all kernels agree to the last bit, and a catalog does not depend on the
   machine that filled it. Vectorising across channels allows that; along time
   it would not. Values that only select where to look closer are in single
   precision, with a margin. */

#include <string.h>
#include "vector_api.h"

#if defined(__clang__)
#pragma STDC FP_CONTRACT OFF
#endif /* gcc: by -std=c11, see vector_cgo.go */

#define INLINE static inline __attribute__((always_inline))
#define W (VB / 8) /* doubles in a vector */
#define Q (VB / 4) /* words in a vector */

typedef double vd __attribute__((vector_size(VB)));
typedef float vf __attribute__((vector_size(VB)));
typedef uint32_t vu __attribute__((vector_size(VB)));

/* The same at any address. */
#define ANYWHERE __attribute__((aligned(4), may_alias))
typedef vd any_vd ANYWHERE;
typedef vi any_vi ANYWHERE;
typedef vu any_vu ANYWHERE;
typedef vf any_vf ANYWHERE;

INLINE vd all(double x) { return x - (vd){0}; }
INLINE vf all_f(float x) { return x - (vf){0}; }
INLINE vf abs_f(vf x) { return (vf)((vi)x & INT32_MAX); }

/* ---- bytes to words ---- */

#define MAX_FLOAT 0x4e6e6b28 /* 1e9f: maxAmplitude */
#define INF_FLOAT 0x7f800000

INLINE uint32_t finite(uint32_t bits) {
	uint32_t size = bits & INT32_MAX;
	if (size > INF_FLOAT) return 0;
	if (size > MAX_FLOAT) return MAX_FLOAT | (bits & ~(uint32_t)INT32_MAX);
	return bits;
}

INLINE uint32_t word(int type, const uint8_t *p) {
	switch (type) {
	case TYPE_UINT8:
		return (uint32_t)(p[0] ^ 0x80) << 24;
	case TYPE_INT16:
		return (uint32_t)p[0] << 16 | (uint32_t)p[1] << 24;
	case TYPE_INT24:
		return (uint32_t)p[0] << 8 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 24;
	}
	uint32_t u = (uint32_t)p[0] | (uint32_t)p[1] << 8 | (uint32_t)p[2] << 16 | (uint32_t)p[3] << 24;
	return type == TYPE_INT32 ? u : finite(u);
}

INLINE int64_t bytes(int type) {
	static const char size[] = {[TYPE_UINT8] = 1, [TYPE_INT16] = 2, [TYPE_INT24] = 3, [TYPE_INT32] = 4, [TYPE_FLOAT32] = 4};
	return size[type];
}

#define NONE (-128)

/* words turns the first four samples of each 16 bytes into words. */
INLINE vi words(int type, vi v) {
	switch (type) {
	case TYPE_UINT8:
		return PICK(v, NONE, NONE, NONE, 0, NONE, NONE, NONE, 1, NONE, NONE, NONE, 2, NONE, NONE, NONE, 3) ^ INT32_MIN;
	case TYPE_INT16:
		return PICK(v, NONE, NONE, 0, 1, NONE, NONE, 2, 3, NONE, NONE, 4, 5, NONE, NONE, 6, 7);
	case TYPE_INT24:
		return PICK(v, NONE, 0, 1, 2, NONE, 3, 4, 5, NONE, 6, 7, 8, NONE, 9, 10, 11);
	case TYPE_FLOAT32: {
		vi size = v & INT32_MAX, over = size > MAX_FLOAT;
		return (v & ~over) | (((v & INT32_MIN) | MAX_FLOAT) & over & (size <= INF_FLOAT));
	}
	}
	return v;
}

/* interleaved reads more of a row than its lanes need, but no more than src
   has. Unused lanes get the bytes that follow. */
INLINE void interleaved(int type, uint32_t *dst, int64_t lanes, const uint8_t *src, int64_t size, int64_t n, int64_t stride) {
	const int64_t quad = 4 * bytes(type);
	const int64_t last = (lanes - 1) / Q * Q * bytes(type); /* where the last vector starts */
	const int64_t reach = last + (type == TYPE_INT24 ? VB : VB / 16 * quad - quad + 16);
	int64_t fast = size < reach ? 0 : (size - reach) / stride + 1;
	if (fast > n) fast = n;
	for (int64_t i = 0; i < fast; i++) {
		const uint8_t *p = src + i * stride;
		for (int64_t k = 0; k < lanes; k += Q, p += Q * bytes(type))
			*(any_vi *)(dst + i * LANES + k) = words(type, type == TYPE_INT24 ? QUADS_24(p) : QUADS(p, quad));
	}
	for (int64_t i = fast; i < n; i++)
		for (int64_t l = 0; l < lanes; l++) dst[i * LANES + l] = word(type, src + i * stride + l * bytes(type));
}

void NAME(interleaved)(int type, uint32_t *dst, int64_t lanes, const uint8_t *src, int64_t size, int64_t n, int64_t stride) {
	switch (type) {
	case TYPE_UINT8: interleaved(TYPE_UINT8, dst, lanes, src, size, n, stride); break;
	case TYPE_INT16: interleaved(TYPE_INT16, dst, lanes, src, size, n, stride); break;
	case TYPE_INT24: interleaved(TYPE_INT24, dst, lanes, src, size, n, stride); break;
	case TYPE_INT32: interleaved(TYPE_INT32, dst, lanes, src, size, n, stride); break;
	case TYPE_FLOAT32: interleaved(TYPE_FLOAT32, dst, lanes, src, size, n, stride); break;
	}
}

#if defined(__clang__) || __GNUC__ >= 12
#define SHUFFLE(a, b, ...) __builtin_shufflevector(a, b, __VA_ARGS__)
#else
#define SHUFFLE(a, b, ...) __builtin_shuffle(a, b, (vi){__VA_ARGS__})
#endif

#define LOW 0, Q, 1, Q + 1
#define HIGH 2, Q + 2, 3, Q + 3
#define EVEN 0, 1, Q, Q + 1
#define ODD 2, 3, Q + 2, Q + 3
#define FURTHER(i, a, b, c, d) a + 4 * i, b + 4 * i, c + 4 * i, d + 4 * i
#if VB == 64
#define EACH(...) __VA_ARGS__, FURTHER(1, __VA_ARGS__), FURTHER(2, __VA_ARGS__), FURTHER(3, __VA_ARGS__)
#elif VB == 32
#define EACH(...) __VA_ARGS__, FURTHER(1, __VA_ARGS__)
#else
#define EACH(...) __VA_ARGS__
#endif
#define TURN(a, b, ...) SHUFFLE(a, b, EACH(__VA_ARGS__))

/* mono lays channels side by side, four frames at a time: it transposes four
   times four words within each 16 bytes. */
INLINE void mono(int type, uint32_t *dst, int64_t lanes, const uint8_t *const *src, int64_t n) {
	int64_t fast = 0;
	for (; fast + 4 <= n && fast * bytes(type) + 16 <= n * bytes(type); fast += 4)
		for (int k = 0; k < lanes; k += Q) {
			vi a[4];
			for (int i = 0; i < 4; i++) a[i] = words(type, QUADS_OF(src + k + i, fast * bytes(type)));
			vi t0 = TURN(a[0], a[1], LOW), t1 = TURN(a[0], a[1], HIGH);
			vi t2 = TURN(a[2], a[3], LOW), t3 = TURN(a[2], a[3], HIGH);
			uint32_t *to = dst + fast * LANES + k;
			*(any_vi *)to = TURN(t0, t2, EVEN);
			*(any_vi *)(to + LANES) = TURN(t0, t2, ODD);
			*(any_vi *)(to + 2 * LANES) = TURN(t1, t3, EVEN);
			*(any_vi *)(to + 3 * LANES) = TURN(t1, t3, ODD);
		}
	for (int64_t i = fast; i < n; i++)
		for (int64_t l = 0; l < lanes; l++) dst[i * LANES + l] = word(type, src[l] + i * bytes(type));
}

void NAME(mono)(int type, uint32_t *dst, int64_t lanes, const uint8_t *const *src, int64_t n) {
	switch (type) {
	case TYPE_UINT8: mono(TYPE_UINT8, dst, lanes, src, n); break;
	case TYPE_INT16: mono(TYPE_INT16, dst, lanes, src, n); break;
	case TYPE_INT24: mono(TYPE_INT24, dst, lanes, src, n); break;
	case TYPE_INT32: mono(TYPE_INT32, dst, lanes, src, n); break;
	case TYPE_FLOAT32: mono(TYPE_FLOAT32, dst, lanes, src, n); break;
	}
}

/* ---- peaks, and where to look closer ---- */

/* The error bound of a second difference in single precision, relative to its
   largest sample: eight roundings of 2^-24, with a large margin. */
#define BEND_MARGIN 0x1p-20f

INLINE vi at(const row *x, int64_t i, int k) { return *(const any_vi *)(x[i] + k); }
INLINE vf as_float(int floats, vi v) { return floats ? (vf)v : __builtin_convertvector(v, vf); }
INLINE vu size_of(int floats, vi v) { return floats ? (vu)(v & INT32_MAX) : (vu)ABS_I(v); }
INLINE vf size_as_float(int floats, vu v) { return floats ? (vf)v : __builtin_convertvector(v, vf); }

/* levels fills the tiles of n frames from x on, for Q channels from k on, and
   adds to s. tiles[-1] is the tile before.

   A flat top of at least four frames has three steps within the tolerance. So
   either two of them lead to a pair of frames that is compared together here,
   or one leads to the single frame at the end. The sharp bend is at its
   beginning, at most two frames before. first is the number of the first
   tile. */
INLINE void levels(int floats, const row *x, int64_t n, int k, const struct plan *p, struct lanes *s, struct tile *tiles, int64_t first) {
	const vf tolerance = all_f(p->flat_tolerance), floor = all_f(p->flat_floor), corner = all_f(p->flat_corner);
	vf last = as_float(floats, at(x, -1, k)), step = last - as_float(floats, at(x, -2, k));
	vf peak_before = *(any_vf *)(tiles[-1].peak + k), bend_before = *(any_vf *)(tiles[-1].bend + k);
	vu top = {0};
	vi any_flat = {0}, any_hush = {0}, zeros = {0};
	for (int64_t from = 0; from < n; from += TILE, tiles++) {
		vu peak = {0}, least = ~(vu){0};
		vf bend = {0}, flat = all_f(1);
		int64_t i = from, to = n < from + TILE ? n : from + TILE;
#define PAIRS(end) \
		for (; i + 2 <= (end); i += 2) { \
			vi va = at(x, i, k), vb = at(x, i + 1, k); \
			vu size_a = size_of(floats, va), size_b = size_of(floats, vb); \
			peak = MAX_U(MAX_U(size_a, size_b), peak); \
			least = MIN_U(MIN_U(size_a, size_b), least); \
			vf a = as_float(floats, va), b = as_float(floats, vb); \
			vf da = a - last, db = b - a; \
			bend = MAX_F(MAX_F(abs_f(da - step), abs_f(db - da)), bend); \
			flat = MIN_F(MAX_F(MAX_F(abs_f(da), abs_f(db)) - tolerance, floor - abs_f(b)), flat); \
			last = b; \
			step = db; \
		}
		vu head, tail;
		if (to == from + TILE) {
			PAIRS(from + REACH)
			head = peak;
			PAIRS(to - REACH)
			vu before = peak;
			peak = (vu){0};
			PAIRS(to)
			tail = peak;
			peak = MAX_U(before, tail);
		} else {
			PAIRS(to)
		}
#undef PAIRS
		if (i < to) { /* at the very end */
			vi va = at(x, i, k);
			peak = MAX_U(size_of(floats, va), peak);
			least = MIN_U(size_of(floats, va), least);
			vf a = as_float(floats, va), da = a - last;
			bend = MAX_F(abs_f(da - step), bend);
			flat = MIN_F(MAX_F(abs_f(da) - tolerance, floor - abs_f(a)), flat);
		}
		if (to < from + TILE) head = tail = peak;
		vf size = size_as_float(floats, peak);
		*(any_vf *)(tiles->near + k) = size_as_float(floats, head);
		*(any_vf *)(tiles->bound + k) = size_as_float(floats, tail);
		bend += MAX_F(size, peak_before) * BEND_MARGIN;
		vi marked = (flat <= 0) & (MAX_F(bend, bend_before) >= corner);
		*(any_vf *)(tiles->peak + k) = size;
		*(any_vf *)(tiles->bend + k) = bend;
		*(any_vi *)(tiles->flat + k) = marked & FLAT_MARK;
		any_flat |= marked & (int32_t)(1u << ((first + from / TILE) >> p->mark_shift));
		top = MAX_U(top, peak);
		peak_before = size;
		bend_before = bend;
		vi quiet = (vi)(least == 0);
		if (ANY(quiet)) {
			any_hush |= (vi)(peak == 0);
			for (i = from; i < to; i++) zeros -= (vi)(size_of(floats, at(x, i, k)) == 0);
		}
	}
	if (!s) return;
	any_vu *peak = (any_vu *)(s->peak + k);
	*peak = MAX_U(*peak, top);
	*(any_vi *)(s->zeros + k) += zeros;
	*(any_vi *)(s->flat + k) |= any_flat;
	*(any_vi *)(s->hush + k) |= any_hush;
}

/* ---- sums and K weighting ---- */

INLINE vd load(const double *x, int k) { return *(const any_vd *)(x + k); }
INLINE void store(double *x, int k, vd v) { *(any_vd *)(x + k) = v; }

INLINE vd as_double(int floats, const uint32_t *x) {
	return floats ? (vd)WIDEN_F(x) : (vd)WIDEN_I(x);
}

/* weigh does kFilter.energy for frames [from, to) of Q channels from k on, in
   two vectors, which fill the time that each operation waits for the one
   before. */
INLINE void weigh(int floats, const row *x, int64_t from, int64_t to, int k, const struct plan *p, struct lanes *s) {
	const vd b0 = all(p->b0), b1 = all(p->b1), b2 = all(p->b2), a1 = all(p->a1), a2 = all(p->a2);
	const vd c1 = all(p->c1), c2 = all(p->c2);
	vd s1[2], s2[2], t1[2], t2[2], energy[2], sum[2], squares[2];
	for (int j = 0; j < 2; j++) {
		s1[j] = load(s->s1, k + j * W);
		s2[j] = load(s->s2, k + j * W);
		t1[j] = load(s->t1, k + j * W);
		t2[j] = load(s->t2, k + j * W);
		energy[j] = load(s->energy, k + j * W);
		sum[j] = load(s->sum, k + j * W);
		squares[j] = load(s->squares, k + j * W);
	}
	for (int64_t i = from; i < to; i++)
		for (int j = 0; j < 2; j++) {
			vd v = as_double(floats, x[i] + k + j * W);
			sum[j] += v;
			squares[j] += v * v;
			vd y = b0 * v + s1[j];
			s1[j] = (b1 * v + s2[j]) - a1 * y;
			s2[j] = b2 * v - a2 * y;
			vd z = y + t1[j];
			t1[j] = (t2[j] - (y + y)) - c1 * z;
			t2[j] = y - c2 * z;
			energy[j] += z * z;
		}
	for (int j = 0; j < 2; j++) {
		store(s->s1, k + j * W, s1[j]);
		store(s->s2, k + j * W, s2[j]);
		store(s->t1, k + j * W, t1[j]);
		store(s->t2, k + j * W, t2[j]);
		store(s->energy, k + j * W, energy[j]);
		store(s->sum, k + j * W, sum[j]);
		store(s->squares, k + j * W, squares[j]);
	}
}

/* ---- true peak ---- */

/* The interpolator's coefficients, as in truepeak.go, times 8192. */
#define INNER(TAP) TAP(0, -239, 0) TAP(1, 240, -155) TAP(2, -424, 271) TAP(3, 730, -477) TAP(4, -1364, 832) TAP(5, 3810, -1641)
#define OUTER(TAP) TAP(0, 14, 0) TAP(1, 90, -68) TAP(2, -161, 122) TAP(3, 272, -218) TAP(4, -487, 390) TAP(5, 1125, -838)

/* screened estimates the largest magnitude between the samples, in single
   precision. x are thirteen vectors, step apart, with the requested frames in
   the middle. With S and D the sum and the difference of a phase and its
   mirror image, the larger of the two is (|S| + |D|) / 2. */
INLINE vf screened(const float *x, int64_t step, int factor) {
#define AT(k) (*(const any_vf *)(x + (k) * step))
	vf sums[6], differences[6], center = AT(6);
	for (int k = 0; k < 6; k++) {
		vf a = AT(k), b = AT(12 - k);
		sums[k] = a + b;
		differences[k] = a - b;
	}
#undef AT
#define TAP(k, c, mirrored) \
	sum = FMA(all_f((c) + (mirrored)), sums[k], sum); \
	difference = FMA(all_f((c) - (mirrored)), differences[k], difference);
	vf sum = 2 * 6388 * center, difference = {0};
	INNER(TAP)
	vf size = abs_f(sum) + abs_f(difference);
	if (factor == 4) {
		sum = 2 * 7964 * center;
		difference = (vf){0};
		OUTER(TAP)
		size = MAX_F(size, abs_f(sum) + abs_f(difference));
	}
#undef TAP
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

/* The error bound of the screening, relative to the largest sample in reach:
   25 roundings of 2^-24, on sums of magnitudes of at most twice the bound
   2.0228. The second term covers the underflow of single precision. */
#define SCREEN_RELATIVE 1e-5f
#define SCREEN_ABSOLUTE 1e-34f

/* below returns a float that is not above x. */
INLINE float below(double x) { return (float)x * (1 - 1e-6f); }

/* worth is the estimate from which a frame is computed exactly. */
INLINE float worth(double least, float near) { return below(least) - (near * SCREEN_RELATIVE + SCREEN_ABSOLUTE); }

/* frame_peak is exact for a frame of one channel, x its word. */
static double frame_peak(int floats, const uint32_t *x, int factor, double least) {
	double w[2 * REACH + 1];
	for (int i = 0; i <= 2 * REACH; i++) {
		int32_t v = (int32_t)x[(i - REACH) * LANES];
		float f;
		memcpy(&f, &v, sizeof f);
		w[i] = floats ? (double)f : (double)v;
	}
	return exact(w, factor, least);
}

/* tile_peak returns the true peak of n frames of one channel, or least if
   that is larger; near is the largest sample in reach. */
static double tile_peak(int floats, const uint32_t *x, int64_t n, float near, int factor, double least) {
	_Alignas(64) float narrow[TILE + 2 * REACH + Q], size[TILE];
	for (int i = 0; i < TILE + 2 * REACH; i++) {
		int32_t v = (int32_t)x[(i - REACH) * LANES];
		if (floats) memcpy(&narrow[i], &v, sizeof v);
		else narrow[i] = (float)v;
	}
	const vf limit = all_f(worth(least, near));
	vi above = {0};
	for (int i = 0; i < TILE; i += Q) {
		vf v = screened(narrow + i, 1, factor);
		above |= v >= limit;
		*(any_vf *)(size + i) = v;
	}
	if (ANY(above))
		for (int64_t i = 0; i < n; i++)
			if (size[i] >= worth(least, near)) least = frame_peak(floats, x + i * LANES, factor, least);
	return least;
}

/* tile_peaks does tile_peak for those of Q channels from k on whose bound is
   above least. */
INLINE void tile_peaks(int floats, const row *x, int64_t n, int k, const struct tile *t, const struct plan *p, struct lanes *s, float *least) {
	_Alignas(64) float narrow[TILE + 2 * REACH][Q], size[TILE][Q];
	for (int i = 0; i < TILE + 2 * REACH; i++) *(any_vf *)narrow[i] = as_float(floats, at(x, i - REACH, k));
	/* If the bound excludes a lane, its limit cannot be reached. */
	vf bound = *(any_vf *)(t->bound + k), floor = *(any_vf *)(least + k);
	vf slack = *(any_vf *)(t->near + k) * SCREEN_RELATIVE + SCREEN_ABSOLUTE;
	vi open = bound > floor;
	vf limit = (vf)(((vi)(floor - slack) & open) | (~open & INF_FLOAT));
	vi above = {0};
	for (int i = 0; i < TILE; i++) {
		vf v = screened(narrow[i], Q, (int)p->factor);
		above |= v >= limit;
		*(any_vf *)size[i] = v;
	}
	if (!ANY(above)) return;
	for (int l = 0; l < Q; l++) {
		if (!(t->bound[k + l] > least[k + l])) continue;
		double top = s->true_peak[k + l];
		for (int64_t i = 0; i < n; i++)
			if (size[i][l] >= worth(top, t->near[k + l])) top = frame_peak(floats, x[i] + k + l, (int)p->factor, top);
		s->true_peak[k + l] = top;
		least[k + l] = below(top);
	}
}

/* From this number of channels on, computing all Q of them takes less time. */
#define ALL_LANES 5

/* true_peaks finds the true peak of every channel of a block: first in the
   tile with the largest bound, then in all tiles whose bounds allow a larger
   one. tiles has one more tile before the block and one after. */
static void true_peaks(int floats, const row *x, const struct plan *p, struct lanes *s, struct tile *tiles) {
	const int64_t count = (p->frames + TILE - 1) / TILE;
	struct tile *t = tiles + 1;
	float least[LANES] = {0};
	int32_t first[LANES];
	for (int64_t l = 0; l < p->lanes; l++) {
		float f;
		memcpy(&f, &s->peak[l], sizeof f);
		s->true_peak[l] = floats ? (double)f : (double)s->peak[l];
		least[l] = below(s->true_peak[l]);
	}
	for (int64_t l = p->lanes; l < LANES; l++) least[l] = __builtin_inff();
	for (int k = 0; k < LANES; k += Q) {
		vf most = {0};
		vi where = {0};
#define TILE_AT(i, what) (*(any_vf *)(t[i].what + k))
		vf tail = TILE_AT(-1, bound);
		for (int64_t i = 0; i < count; i++) {
			vf near = MAX_F(MAX_F(tail, TILE_AT(i, peak)), TILE_AT(i + 1, near));
			tail = TILE_AT(i, bound);
			vf bend = MAX_F(MAX_F(TILE_AT(i - 1, bend), TILE_AT(i, bend)), TILE_AT(i + 1, bend));
			if (i == count - 2) { /* the last tile may be shorter than the filter */
				near = MAX_F(near, TILE_AT(i + 2, near));
				bend = MAX_F(bend, TILE_AT(i + 2, bend));
			}
			vf straight = MAX_F(near * p->outer_sum + bend * p->outer_rest, near * p->inner_sum + bend * p->inner_rest);
			vf bound = MIN_F(near * p->bound, straight) + SCREEN_ABSOLUTE;
			bound = (vf)((vi)bound & (near > 0)); /* silence is below nothing */
			TILE_AT(i, bound) = bound;
			TILE_AT(i, near) = near;
			vi more = bound > most;
			where = (more & (int32_t)i) | (~more & where);
			most = MAX_F(most, bound);
		}
		*(any_vi *)(first + k) = where;
		vi above = most > *(any_vf *)(least + k);
		if (!ANY(above)) continue;
		for (int l = k; l < k + Q; l++) {
			if (!(t[first[l]].bound[l] > least[l])) continue;
			int64_t i = first[l], n = p->frames - i * TILE < TILE ? p->frames - i * TILE : TILE;
			s->true_peak[l] = tile_peak(floats, x[i * TILE] + l, n, t[i].near[l], (int)p->factor, s->true_peak[l]);
			least[l] = below(s->true_peak[l]);
			t[i].bound[l] = 0;
		}
		for (int64_t i = 0; i < count; i++) {
			above = TILE_AT(i, bound) > *(any_vf *)(least + k);
			if (!ANY(above)) continue;
			int64_t n = p->frames - i * TILE < TILE ? p->frames - i * TILE : TILE;
			int open = 0;
			for (int l = k; l < k + Q; l++) open += above[l - k] != 0;
			if (open >= ALL_LANES) {
				tile_peaks(floats, x + i * TILE, n, k, t + i, p, s, least);
				continue;
			}
			for (int l = k; l < k + Q; l++)
				if (above[l - k]) {
					s->true_peak[l] = tile_peak(floats, x[i * TILE] + l, n, t[i].near[l], (int)p->factor, s->true_peak[l]);
					least[l] = below(s->true_peak[l]);
				}
		}
#undef TILE_AT
	}
}

/* ---- cracks ---- */

/* cracks marks the tiles in which isCrack in crack.go may find a crack. The
   bends are too large by their margin, at most by twice the margin after
   rounding. That is subtracted from the sum that a bend is compared with, and
   from its neighbours. */
INLINE void cracks(int floats, int64_t count, int k, const struct plan *p, struct lanes *s, struct tile *tiles) {
#define BEND(d) (*(any_vf *)(tiles[i + (d)].bend + k))
	const vf floor = all_f(p->crack_floor), ratio = all_f(p->crack_ratio);
	vf top = MAX_F(size_as_float(floats, *(any_vu *)(s->peak + k)), *(any_vf *)(tiles[-1].peak + k));
	vf margin = top * (8 * 2.5f * BEND_MARGIN);
	vi any = {0};
	for (int64_t i = 5; i < count - 5; i++) {
		vf b = BEND(0);
		vf sum = ((BEND(-5) + BEND(-4)) + (BEND(-3) + BEND(-2))) + ((BEND(2) + BEND(3)) + (BEND(4) + BEND(5)));
		vf beside = MAX_F(BEND(-1), BEND(1));
		vi marked = (vi)(b >= floor) & (vi)(b >= (sum - margin) * ratio) & (vi)(b >= beside - margin);
		any_vi *flat = (any_vi *)(tiles[i].flat + k);
		*flat |= marked & CRACK_MARK;
		any |= marked & (int32_t)(1u << (i >> p->mark_shift));
	}
#undef BEND
	*(any_vi *)(s->crack + k) = any;
}

/* ---- a block ---- */

#define STRETCH (16 * TILE) /* frames that are gone through twice while they are at hand */

INLINE void measured(int floats, struct lanes *s, const struct plan *p, const row *x, struct tile *tiles) {
	const int64_t n = p->frames, count = (n + TILE - 1) / TILE;
	const int lanes = (int)((p->lanes + Q - 1) / Q * Q);
	memset(s->sum, 0, sizeof *s - offsetof(struct lanes, sum));

	/* The tiles before and after the block, for the bounds. The first of them
	   has no tile before it; only its bends are used. */
	struct tile edge[2];
	memset(edge, 0, sizeof edge);
	for (int k = 0; k < lanes; k += Q) levels(floats, x - TILE, TILE, k, p, 0, edge + 1, 0);
	tiles[0] = edge[1];
	int step = 0;
	for (int64_t from = 0; from < n; from += STRETCH) {
		int64_t size = n - from < STRETCH ? n - from : STRETCH;
		for (int k = 0; k < lanes; k += Q) levels(floats, x + from, size, k, p, s, tiles + 1 + from / TILE, from / TILE);
		if (p->weighted)
			for (int64_t at = from; at < from + size;) {
				int64_t to = p->step_end[step] < from + size ? p->step_end[step] : from + size;
				for (int k = 0; k < lanes; k += Q) weigh(floats, x, at, to, k, p, s);
				if (to == p->step_end[step]) {
					memcpy(s->step[step++], s->energy, sizeof s->energy);
					memset(s->energy, 0, sizeof s->energy);
				}
				at = to;
			}
	}
	for (int k = 0; k < lanes; k += Q) levels(floats, x + n, TILE, k, p, 0, tiles + 1 + count, 0);

	if (p->reported)
		for (int k = 0; k < lanes; k += Q) cracks(floats, n / TILE, k, p, s, tiles + 1);

	double *state[] = {s->s1, s->s2, s->t1, s->t2};
	if (p->weighted)
		for (int i = 0; i < 4; i++)
			for (int l = 0; l < LANES; l++)
				if (__builtin_fabs(state[i][l]) < p->subnormal) state[i][l] = 0;
	if (p->factor > 1 && p->reported) true_peaks(floats, x, p, s, tiles);
}

void NAME(measure)(struct lanes *s, const struct plan *p, const row *x, struct tile *tiles) {
	if (p->floats) measured(1, s, p, x, tiles);
	else measured(0, s, p, x, tiles);
}
