/* What gather.go and fft.go do, for eight tracks side by side, in vectors of
   eight floats. A file for each instruction set includes this one after
   defining

     NAME(x)         x with the instruction set's name
     WIDTH           bytes of the processor's own vectors

   The compiler cuts the vectors to what the processor has. Sums of samples are
   integers. Floats are added and multiplied in the same order as in plain Go,
   and no operation is fused into another. So all kernels agree to the last bit,
   and a catalog has the same content whichever machine filled it. */

#include "vector_api.h"

#if defined(__clang__)
#pragma STDC FP_CONTRACT OFF
#endif /* gcc: by -std=c11, see vector_cgo.go */

#define INLINE static inline __attribute__((always_inline))

typedef float vf __attribute__((vector_size(32)));
typedef int32_t vi __attribute__((vector_size(32)));
/* The same at any address. */
#define ANYWHERE __attribute__((aligned(1), may_alias))
typedef vf any_vf ANYWHERE;
typedef vi any_vi ANYWHERE;

/* ---- decimation ---- */

/* integers turns eight words into integers of 32 bits, as integer does in
   gather.go. Floats are scaled by a power of two, which is exact. */
INLINE vi integers(int floats, const uint32_t *words) {
	if (!floats) return *(const any_vi *)words;
	vf x = *(const any_vf *)words;
	vi over = x >= 1, under = x <= -1, within = (x > -1) & (x < 1);
	vf y = (vf)((vi)x & within) * 2147483648.f;
	return __builtin_convertvector(y, vi) | (over & INT32_MAX) | (under & INT32_MIN);
}

/* gathered takes frames of eight tracks that lie side by side, stride words
   apart. floats is known when this is compiled. */
INLINE void gathered(struct gather *g, int floats, int64_t d, int64_t shift, float scale, const uint32_t *words, int64_t frames, int64_t stride) {
	vi sum = *(const any_vi *)g->sum, sums = *(const any_vi *)g->sums;
	vi sum0 = *(const any_vi *)g->last_sum, sums0 = *(const any_vi *)g->last_sums;
	int64_t in_step = g->in_step, step = g->steps;
	const int down = (int)shift;
	for (int64_t i = 0; i < frames;) {
		int64_t to = i + d - in_step;
		if (to > frames) to = frames;
		in_step += to - i;
		for (; i < to; i++) {
			sum += integers(floats, words + i * stride) >> down;
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

void NAME(spectrum_gather)(struct gather *g, int floats, int64_t d, int64_t shift, float scale, const uint32_t *words, int64_t frames, int64_t stride) {
	if (floats) gathered(g, 1, d, shift, scale, words, frames, stride);
	else gathered(g, 0, d, shift, scale, words, frames, stride);
}

/* ---- transform ---- */

struct point { vf re, im; };

INLINE struct point turned(struct point a, const float *w) {
	return (struct point){a.re * w[0] - a.im * w[1], a.re * w[1] + a.im * w[0]};
}

/* radix4 does one pass of radix 4 over n points in s interleaved transforms. */
INLINE void radix4(const struct point *x, struct point *y, int n, int s, const struct transform *t) {
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
	radix4(a, b, 512, 1, t);
	radix4(b, a, 128, 4, t);
	radix4(a, b, 32, 16, t);
	radix4(b, a, 8, 64, t);
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

/* ---- following a song ---- */

/* Comparisons of vectors that the processor does not have are cut to single
   floats, so these vectors are as long as its own. */
typedef float wf __attribute__((vector_size(WIDTH)));
typedef int32_t wi __attribute__((vector_size(WIDTH)));
typedef wf any_wf ANYWHERE;
#define WIDE (WIDTH / 4)

INLINE wf chosen(wi which, wf a, wf b) { return (wf)(((wi)a & which) | ((wi)b & ~which)); }
INLINE wf larger(wf a, wf b) { return chosen(a > b, a, b); }

#define ROW(rows, t) ((rows) + (t) * f->stride)
#define AT(p) (*(const any_wf *)(p))

/* spectrum_follow is Follower.follow, for WIDE seconds of the reference at
   once. Sums past the reference's end are made, too; nothing reads them. */
void NAME(spectrum_follow)(const struct follow *f, const float *music, int64_t seconds, int64_t from, int64_t to, float *like, int32_t *at) {
	const int64_t first = LANES, end = LANES + f->seconds;
	const float keep = f->keep, slip = f->slip;
	const wf zero = {0};
	for (int64_t t = 0; t < seconds; t++) {
		const float *c = music + t * CLASSES;
		float *s = ROW(f->similar, t);
		for (int64_t j = first; j < end; j += WIDE) {
			wf sum = c[0] * AT(f->ref + j);
			for (int k = 1; k < CLASSES; k++) sum += c[k] * AT(ROW(f->ref, k) + j);
			*(any_wf *)(s + j) = sum;
		}
	}
	for (int64_t t = seconds - 1; t >= 0; t--) {
		const float *s = ROW(f->similar, t), *next = ROW(f->ahead, t + 1);
		float *a = ROW(f->ahead, t);
		for (int64_t j = first; j < end; j += WIDE) {
			wf v = AT(s + j);
			if (t < seconds - 1) {
				wf best = larger(larger(AT(next + j) - slip, AT(next + j + 1)), AT(next + j + 2) - slip);
				v += keep * larger(best, zero);
			}
			*(any_wf *)(a + j) = v;
		}
		for (int64_t j = end; j < f->stride; j++) a[j] = NOTHING;
	}
	const float whole = (1 + keep) / (1 - keep);
	wi lanes;
	for (int l = 0; l < WIDE; l++) lanes[l] = l;
	float *was = f->was, *behind = f->behind;
	for (int64_t t = 0; t < to; t++) {
		const float *s = ROW(f->similar, t), *a = ROW(f->ahead, t);
		wf top = zero + NOTHING;
		wi where = {0};
		for (int64_t j = first; j < end; j += WIDE) {
			wf best = larger(larger(AT(was + j) - slip, AT(was + j - 1)), AT(was + j - 2) - slip);
			best = keep * larger(best, zero);
			*(any_wf *)(behind + j) = AT(s + j) + best;
			wf v = best + AT(a + j);
			wi m = v > top;
			top = chosen(m, v, top);
			where = ((lanes + (int32_t)(j - first)) & m) | (where & ~m);
		}
		float *swap = was;
		was = behind;
		behind = swap;
		if (t < from) continue;
		/* The first of equals, as in Go: lanes hold their own first. */
		int best = 0;
		for (int l = 1; l < WIDE; l++)
			if (top[l] > top[best] || (top[l] == top[best] && where[l] < where[best])) best = l;
		like[t] = top[best] / whole;
		at[t] = where[best];
	}
}

/* ---- comparing waves ---- */

/* spectrum_agree is Agreement.agree. The processor counts the signs of a word in
   one instruction; SSE 4.1 has none for that, and there the compiler calls its
   library. */
void NAME(spectrum_agree)(const uint64_t *a, const uint64_t *b, int64_t *differ) {
	for (int lag = 0; lag <= MAX_LAG; lag++) {
		/* Both directions: b moved down, and a moved down. A shift by 64 is not
		   defined, so the word above moves in two steps. */
		int64_t later = 0, sooner = 0;
		for (int w = 0; w < WORDS; w++) {
			uint64_t above_a = w + 1 < WORDS ? a[w + 1] << 1 << (63 - lag) : 0;
			uint64_t above_b = w + 1 < WORDS ? b[w + 1] << 1 << (63 - lag) : 0;
			uint64_t held = w + 1 < WORDS ? ~(uint64_t)0 : ~(uint64_t)0 >> lag;
			later += __builtin_popcountll((a[w] ^ (b[w] >> lag | above_b)) & held);
			sooner += __builtin_popcountll((b[w] ^ (a[w] >> lag | above_a)) & held);
		}
		differ[MAX_LAG + lag] += later;
		if (lag > 0) differ[MAX_LAG - lag] += sooner;
	}
}
