/* Measures the 24-bit samples of a WAV file with libebur128: ebur128 FILE RATE
   CHANNELS OFFSET FRAMES, OFFSET being where the samples start in bytes. One
   channel, or all of an interleaved file in one state: loudness, loudness range,
   sample peak and true peak. */
#include <ebur128.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

int main(int argc, char **argv) {
	if (argc != 6) return 2;
	FILE *f = fopen(argv[1], "rb");
	unsigned channels = strtoul(argv[3], NULL, 10);
	long left = strtol(argv[5], NULL, 10);
	ebur128_state *st = ebur128_init(channels, strtoul(argv[2], NULL, 10),
		EBUR128_MODE_I | EBUR128_MODE_LRA | EBUR128_MODE_SAMPLE_PEAK | EBUR128_MODE_TRUE_PEAK);
	if (!f || !st || fseek(f, strtol(argv[4], NULL, 10), SEEK_SET)) return 1;
	for (unsigned c = 0; c < channels; c++) ebur128_set_channel(st, c, EBUR128_LEFT);
	enum { FRAMES = 4800 };
	unsigned char *raw = malloc((size_t)FRAMES * channels * 3);
	int *x = malloc((size_t)FRAMES * channels * sizeof *x);
	while (left > 0) {
		size_t n = fread(raw, 3 * channels, left < FRAMES ? left : FRAMES, f);
		if (n == 0) return 1;
		for (size_t i = 0; i < n * channels; i++)
			x[i] = (int32_t)((uint32_t)raw[3 * i] << 8 | (uint32_t)raw[3 * i + 1] << 16 | (uint32_t)raw[3 * i + 2] << 24);
		if (ebur128_add_frames_int(st, x, n) != EBUR128_SUCCESS) return 1;
		left -= n;
	}
	double i, r, s, t;
	if (ebur128_loudness_global(st, &i) || ebur128_loudness_range(st, &r) ||
	    ebur128_sample_peak(st, 0, &s) || ebur128_true_peak(st, 0, &t)) return 1;
	printf("%.2f LUFS %.2f LU %.6f %.6f\n", i, r, s, t);
	return 0;
}
