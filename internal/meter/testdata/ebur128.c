/* Measures one channel with libebur128: ebur128 RATE FILE, the file holding
   doubles in the machine's order. Prints integrated loudness, loudness range,
   sample peak and true peak (both as fractions of full scale). */
#include <ebur128.h>
#include <stdio.h>
#include <stdlib.h>

int main(int argc, char **argv) {
	if (argc != 3) return 2;
	FILE *f = fopen(argv[2], "rb");
	ebur128_state *st = ebur128_init(1, strtoul(argv[1], NULL, 10),
		EBUR128_MODE_I | EBUR128_MODE_LRA | EBUR128_MODE_SAMPLE_PEAK | EBUR128_MODE_TRUE_PEAK);
	if (!f || !st) return 1;
	/* One channel of weight 1.0. */
	ebur128_set_channel(st, 0, EBUR128_LEFT);
	static double buf[4096];
	size_t n;
	while ((n = fread(buf, sizeof *buf, 4096, f)) > 0)
		if (ebur128_add_frames_double(st, buf, n) != EBUR128_SUCCESS) return 1;
	double i, r, s, t;
	if (ebur128_loudness_global(st, &i) || ebur128_loudness_range(st, &r) ||
	    ebur128_sample_peak(st, 0, &s) || ebur128_true_peak(st, 0, &t)) return 1;
	printf("%.17g %.17g %.17g %.17g\n", i, r, s, t);
	ebur128_destroy(&st);
	fclose(f);
	return 0;
}
