/* What gather.go and fft.go do, for eight tracks side by side, in vectors of
   eight floats. A file for each instruction set includes this one after
   defining

     NAME(x)         x with the instruction set's name

   The compiler cuts the vectors to what the processor has. Sums of samples are
   integers; floats are added and multiplied in the same order as in plain Go
   with no operation fused into another, so all kernels agree to the last bit
   and a catalog does not tell which machine filled it. */

#include <string.h>
#include "vector_api.h"

#if defined(__clang__)
#pragma STDC FP_CONTRACT OFF
#endif /* gcc: by -std=c11, see vector_cgo.go */

#define INLINE static inline __attribute__((always_inline))

typedef float vf __attribute__((vector_size(32)));
typedef int32_t vi __attribute__((vector_size(32)));
typedef int32_t v4i __attribute__((vector_size(16)));
typedef uint8_t v16b __attribute__((vector_size(16)));
typedef int64_t v2l __attribute__((vector_size(16)));

/* The same at any address. */
#define ANYWHERE __attribute__((aligned(1), may_alias))
typedef vf any_vf ANYWHERE;
typedef vi any_vi ANYWHERE;
typedef v16b any_v16b ANYWHERE;
typedef int64_t any_int64 ANYWHERE;

#if defined(__clang__) || __GNUC__ >= 12
#define SHUFFLE(a, b, ...) __builtin_shufflevector(a, b, __VA_ARGS__)
#define BYTES(a, ...) __builtin_shufflevector(a, a, __VA_ARGS__)
#else
#define SHUFFLE(a, b, ...) __builtin_shuffle(a, b, (__typeof__((a) < (b))){__VA_ARGS__})
#define BYTES(a, ...) __builtin_shuffle(a, (v16b){__VA_ARGS__})
#endif

/* ---- samples ---- */

INLINE int64_t bytes(int type) {
	static const char size[] = {[TYPE_UINT8] = 1, [TYPE_INT16] = 2, [TYPE_INT24] = 3,
		[TYPE_INT32] = 4, [TYPE_FLOAT32] = 4, [TYPE_FLOAT64] = 8};
	return size[type];
}

/* whole turns a fraction of full scale into an integer of 32 bit, as in
   samples.go. */
INLINE int32_t whole(double x) {
	if (!(x > -1)) return x <= -1 ? INT32_MIN : 0;
	if (x >= 1) return INT32_MAX;
	return (int32_t)(x * 2147483648.);
}

/* sample reads one sample as an integer of 32 bit. */
INLINE int32_t sample(int type, const uint8_t *p) {
	switch (type) {
	case TYPE_UINT8:
		return (int32_t)((uint32_t)(*p ^ 0x80) << 24);
	case TYPE_INT16:
		return (int32_t)((uint32_t)p[0] << 16 | (uint32_t)p[1] << 24);
	case TYPE_INT24:
		return (int32_t)((uint32_t)p[0] << 8 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 24);
	case TYPE_INT32: {
		int32_t v;
		memcpy(&v, p, sizeof v);
		return v;
	}
	case TYPE_FLOAT32: {
		float v;
		memcpy(&v, p, sizeof v);
		return whole(v);
	}
	}
	double v;
	memcpy(&v, p, sizeof v);
	return whole(v);
}

INLINE int fast(int type) { return type == TYPE_INT16 || type == TYPE_INT24 || type == TYPE_INT32; }

/* four reads four samples that lie side by side; reads 16 bytes at most. */
INLINE v4i four(int type, const uint8_t *p) {
	v16b b;
	switch (type) {
	case TYPE_INT16:
		b = (v16b)(v2l){*(const any_int64 *)p};
		return (v4i)BYTES(b, 0, 0, 0, 1, 0, 0, 2, 3, 0, 0, 4, 5, 0, 0, 6, 7) >> 16 << 16;
	case TYPE_INT24:
		b = *(const any_v16b *)p;
		return (v4i)BYTES(b, 0, 0, 1, 2, 0, 3, 4, 5, 0, 6, 7, 8, 0, 9, 10, 11) >> 8 << 8;
	}
	return (v4i)*(const any_v16b *)p;
}

INLINE vi eight(int type, const uint8_t *p, int64_t lanes) {
	v4i a = four(type, p), b = {0};
	if (lanes > 4) b = four(type, p + 4 * bytes(type));
	return SHUFFLE(a, b, 0, 1, 2, 3, 4, 5, 6, 7);
}

/* ---- decimation ---- */

/* point is what two steps beside each other come to: a triangle of weights over
   both. Unsigned, for it may wrap on the way. */
INLINE int32_t point(uint32_t d, uint32_t sum0, uint32_t sums0, uint32_t sum1, uint32_t sums1) {
	return (int32_t)((d + 1) * sum0 - sums0 + sums1 - sum1);
}

/* interleaved takes frames of up to eight tracks that lie side by side. */
INLINE void interleaved(struct gather *g, int type, int64_t d, int64_t shift, float scale, int64_t lanes, const uint8_t *src, int64_t size, int64_t frames, int64_t stride) {
	vi sum = *(const any_vi *)g->sum, sums = *(const any_vi *)g->sums;
	vi sum0 = *(const any_vi *)g->last_sum, sums0 = *(const any_vi *)g->last_sums;
	int64_t in_step = g->in_step, step = g->steps;
	const int down = (int)shift;
	int64_t reach = lanes > 4 ? 4 * bytes(type) + 16 : 16;
	int64_t quick = fast(type) && size >= reach ? (size - reach) / stride + 1 : 0; /* frames that may be read so */
	for (int64_t i = 0; i < frames;) {
		int64_t to = i + d - in_step;
		if (to > frames) to = frames;
		in_step += to - i;
		for (; i < to && i < quick; i++) {
			sum += eight(type, src + i * stride, lanes) >> down;
			sums += sum;
		}
		for (; i < to; i++) {
			for (int64_t l = 0; l < lanes; l++) sum[l] += sample(type, src + i * stride + l * bytes(type)) >> down;
			sums += sum;
		}
		if (in_step < d) break;
		if (step > 0 && step <= POINTS) {
			vi out = sum0 * (int32_t)(d + 1) - sums0 + sums - sum;
			*(any_vf *)g->points[step - 1] = __builtin_convertvector(out, vf) * scale;
		}
		sum0 = sum;
		sums0 = sums;
		sum = sums = (vi){0};
		in_step = 0;
		step++;
	}
	*(any_vi *)g->sum = sum;
	*(any_vi *)g->sums = sums;
	*(any_vi *)g->last_sum = sum0;
	*(any_vi *)g->last_sums = sums0;
}

/* alone takes frames of one track, into one lane. Four steps at a time are
   turned so that they lie side by side. */
INLINE void alone(struct gather *g, int type, int64_t d, int64_t shift, float scale, int64_t lane, const uint8_t *src, int64_t size, int64_t frames, int64_t stride) {
	uint32_t sum = g->sum[lane], sums = g->sums[lane], sum0 = g->last_sum[lane], sums0 = g->last_sums[lane];
	int64_t in_step = g->in_step, step = g->steps;
	const int down = (int)shift;
	const int side_by_side = fast(type) && stride == bytes(type);
	for (int64_t i = 0; i < frames;) {
		if (side_by_side && in_step == 0 && i + 4 * d <= frames && (i + 4 * d + 12) * stride <= size) {
			v4i s = {0}, t = {0};
			for (int64_t j = 0; j < d; j += 4) {
				const uint8_t *p = src + (i + j) * stride;
				v4i a = four(type, p) >> down, b = four(type, p + d * stride) >> down;
				v4i c = four(type, p + 2 * d * stride) >> down, e = four(type, p + 3 * d * stride) >> down;
				v4i t0 = SHUFFLE(a, b, 0, 4, 1, 5), t1 = SHUFFLE(a, b, 2, 6, 3, 7);
				v4i t2 = SHUFFLE(c, e, 0, 4, 1, 5), t3 = SHUFFLE(c, e, 2, 6, 3, 7);
				v4i row[4] = {SHUFFLE(t0, t2, 0, 1, 4, 5), SHUFFLE(t0, t2, 2, 3, 6, 7),
					SHUFFLE(t1, t3, 0, 1, 4, 5), SHUFFLE(t1, t3, 2, 3, 6, 7)};
				for (int k = 0; k < 4 && j + k < d; k++) {
					s += row[k];
					t += s;
				}
			}
			for (int k = 0; k < 4; k++) {
				if (step > 0 && step <= POINTS) g->points[step - 1][lane] = (float)point((uint32_t)d, sum0, sums0, (uint32_t)s[k], (uint32_t)t[k]) * scale;
				sum0 = (uint32_t)s[k];
				sums0 = (uint32_t)t[k];
				step++;
			}
			i += 4 * d;
			continue;
		}
		sum += (uint32_t)(sample(type, src + i * stride) >> down);
		sums += sum;
		i++;
		if (++in_step < d) continue;
		if (step > 0 && step <= POINTS) g->points[step - 1][lane] = (float)point((uint32_t)d, sum0, sums0, sum, sums) * scale;
		sum0 = sum;
		sums0 = sums;
		sum = sums = 0;
		in_step = 0;
		step++;
	}
	g->sum[lane] = (int32_t)sum;
	g->sums[lane] = (int32_t)sums;
	g->last_sum[lane] = (int32_t)sum0;
	g->last_sums[lane] = (int32_t)sums0;
}

/* gather of a type known when it is compiled. lanes < 0 stands for one track
   alone, in lane -lanes-1. */
INLINE void gathered(struct gather *g, int type, int64_t d, int64_t shift, float scale, int64_t lanes, const uint8_t *src, int64_t size, int64_t frames, int64_t stride) {
	if (lanes < 0) alone(g, type, d, shift, scale, -lanes - 1, src, size, frames, stride);
	else interleaved(g, type, d, shift, scale, lanes, src, size, frames, stride);
}

void NAME(spectrum_gather)(struct gather *g, int type, int64_t d, int64_t shift, float scale, int64_t lanes, const uint8_t *src, int64_t size, int64_t frames, int64_t stride) {
	switch (type) {
	case TYPE_UINT8: gathered(g, TYPE_UINT8, d, shift, scale, lanes, src, size, frames, stride); break;
	case TYPE_INT16: gathered(g, TYPE_INT16, d, shift, scale, lanes, src, size, frames, stride); break;
	case TYPE_INT24: gathered(g, TYPE_INT24, d, shift, scale, lanes, src, size, frames, stride); break;
	case TYPE_INT32: gathered(g, TYPE_INT32, d, shift, scale, lanes, src, size, frames, stride); break;
	case TYPE_FLOAT32: gathered(g, TYPE_FLOAT32, d, shift, scale, lanes, src, size, frames, stride); break;
	case TYPE_FLOAT64: gathered(g, TYPE_FLOAT64, d, shift, scale, lanes, src, size, frames, stride); break;
	}
}

/* ---- transform ---- */

struct point { vf re, im; };

INLINE struct point turned(struct point a, const float *w) {
	return (struct point){a.re * w[0] - a.im * w[1], a.re * w[1] + a.im * w[0]};
}

/* stage does one stage of radix 4: n points in s interleaved transforms. */
INLINE void stage(const struct point *x, struct point *y, int n, int s, const struct transform *t) {
	int m = n / 4;
	for (int p = 0; p < m; p++) {
		const float *w1 = t->twiddle[p * s], *w2 = t->twiddle[2 * p * s], *w3 = t->twiddle[3 * p * s];
		for (int q = 0; q < s; q++) {
			struct point a = x[q + s * p], b = x[q + s * (p + m)], c = x[q + s * (p + 2 * m)], d = x[q + s * (p + 3 * m)];
			struct point apc = {a.re + c.re, a.im + c.im}, amc = {a.re - c.re, a.im - c.im};
			struct point bpd = {b.re + d.re, b.im + d.im}, bmd = {b.re - d.re, b.im - d.im};
			struct point *to = y + q + s * 4 * p;
			to[0] = (struct point){apc.re + bpd.re, apc.im + bpd.im};
			to[s] = turned((struct point){amc.re + bmd.im, amc.im - bmd.re}, w1);
			to[2 * s] = turned((struct point){apc.re - bpd.re, apc.im - bpd.im}, w2);
			to[3 * s] = turned((struct point){amc.re - bmd.im, amc.im + bmd.re}, w3);
		}
	}
}

void NAME(spectrum_power)(const struct transform *t, const float *points, float *power) {
	_Alignas(64) struct point a[BINS], b[BINS];
	for (int i = 0; i < BINS; i++) {
		a[i].re = *(const any_vf *)(points + 2 * i * LANES) * t->window[2 * i];
		a[i].im = *(const any_vf *)(points + (2 * i + 1) * LANES) * t->window[2 * i + 1];
	}
	stage(a, b, 512, 1, t);
	stage(b, a, 128, 4, t);
	stage(a, b, 32, 16, t);
	stage(b, a, 8, 64, t);
	for (int q = 0; q < 256; q++) { /* radix 2 */
		struct point u = a[q], v = a[q + 256];
		b[q] = (struct point){u.re + v.re, u.im + v.im};
		b[q + 256] = (struct point){u.re - v.re, u.im - v.im};
	}
	for (int k = 0; k <= BINS / 2; k++) {
		struct point u = b[k], v = b[(BINS - k) & (BINS - 1)];
		struct point even = {u.re + v.re, u.im - v.im};
		struct point odd = turned((struct point){u.im + v.im, v.re - u.re}, t->split[k]);
		vf re = even.re + odd.re, im = even.im + odd.im;
		*(any_vf *)(power + k * LANES) = re * re + im * im;
		if (k == 0 || k == BINS / 2) continue;
		re = even.re - odd.re;
		im = even.im - odd.im;
		*(any_vf *)(power + (BINS - k) * LANES) = re * re + im * im;
	}
}

/* ---- bands ---- */

void NAME(spectrum_bands)(const struct band *b, int64_t n, const float *gain, const float *power, float *sums) {
	for (int64_t i = 0; i < n; i++, b++) {
		vf sum = *(const any_vf *)(power + b->first * LANES) * (gain[b->first] * b->share_first);
		for (int64_t k = b->first + 1; k < b->last; k++) sum += *(const any_vf *)(power + k * LANES) * gain[k];
		sum += *(const any_vf *)(power + b->last * LANES) * (gain[b->last] * b->share_last);
		*(any_vf *)(sums + i * LANES) = sum;
	}
}
