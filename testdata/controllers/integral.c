/* The integral law of phasebench as another program, in C99.
 *
 *   cc -std=c99 -O2 -ffp-contract=off -o integral integral.c -lm
 *   integral [GAIN]          speaks over stdin and stdout
 *
 * It answers both framings, JSON lines and binary frames; step() is what would
 * go into firmware. The protocol stands in scenarios/control/outside.go. A model is
 * not your engine: keep hard limits and an independent cut-off between any such
 * program and a coil.
 */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define RATE 5.0 /* most move in a cycle [deg] */

/* step returns the next spark [deg]: a late peak asks for advance; NaN, no reading,
 * moves nothing. */
static double step(double gain, double ordered, double read, double target)
{
	double move;

	if (isnan(read))
		return ordered;
	move = gain * (read - target);
	if (move > RATE)
		move = RATE;
	if (move < -RATE)
		move = -RATE;
	return ordered + move;
}

/* number returns the value of key in a line of JSON; NaN for null or none. */
static double number(const char *line, const char *key)
{
	char name[64];
	const char *at;

	snprintf(name, sizeof name, "\"%s\":", key);
	at = strstr(line, name);
	if (!at || strncmp(at + strlen(name), "null", 4) == 0)
		return NAN;
	return strtod(at + strlen(name), NULL);
}

/* place returns which of the fields of the greeting key is, counted from 0. */
static int place(const char *hello, const char *key)
{
	char name[64];
	const char *at = strstr(hello, "\"fields\":["), *end;
	int n = 0;

	snprintf(name, sizeof name, "\"%s\"", key);
	end = at ? strstr(at, name) : NULL;
	if (!end) {
		fprintf(stderr, "integral: no field %s\n", key);
		exit(1);
	}
	for (; at < end; at++)
		n += *at == ',';
	return n;
}

static uint32_t word(const unsigned char *b)
{
	return b[0] | (uint32_t)b[1] << 8 | (uint32_t)b[2] << 16 | (uint32_t)b[3] << 24;
}

static double real(const unsigned char *b)
{
	uint64_t bits = word(b) | (uint64_t)word(b + 4) << 32;
	double v;

	memcpy(&v, &bits, sizeof v);
	return v;
}

static void put(unsigned char *b, double v)
{
	uint64_t bits;
	int i;

	memcpy(&bits, &v, sizeof bits);
	for (i = 0; i < 8; i++)
		b[i] = (unsigned char)(bits >> 8 * i);
}

int main(int argc, char **argv)
{
	static char line[1 << 16];
	static unsigned char body[1 << 16];
	double gain = argc > 1 ? atof(argv[1]) : 0.1;
	unsigned char size[4], answer[16];
	int ordered, read, target;
	uint32_t n;

	if (!fgets(line, sizeof line, stdin) || !strstr(line, "\"version\":1,") || !strstr(line, "\"sees\":\"reading\"")) {
		fprintf(stderr, "integral: want version 1 and readings\n");
		return 1;
	}
	printf("{\"version\":1,\"name\":\"integral in C\"}\n");
	fflush(stdout);
	if (!strstr(line, "\"framing\":\"binary\"")) {
		while (fgets(line, sizeof line, stdin)) {
			printf("{\"spark_deg_btdc\":%.17g}\n", step(gain, number(line, "ordered_deg_btdc"),
				number(line, "read_deg_atdc"), number(line, "target_deg_atdc")));
			fflush(stdout);
		}
		return 0;
	}
	ordered = place(line, "ordered_deg_btdc");
	read = place(line, "read_deg_atdc");
	target = place(line, "target_deg_atdc");
	while (fread(size, 1, 4, stdin) == 4) {
		n = word(size);
		if (n > sizeof body || fread(body, 1, n, stdin) != n)
			return 1;
		put(answer, step(gain, real(body + 4 + 8 * ordered), real(body + 4 + 8 * read), real(body + 4 + 8 * target)));
		put(answer + 8, NAN);
		fwrite(answer, 1, sizeof answer, stdout);
		fflush(stdout);
	}
	return 0;
}
