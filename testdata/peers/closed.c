/* The sealed cycle of this folder in C: Runge and Kutta's fourth order by hand, and
 * CVODE (Adams) where it is compiled with it. Prints "name tolerance seconds error", as
 * closed.py does. usage: closed reference.csv */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static const double bore = 0.086, stroke = 0.086, rod = 0.1435, ratio = 10.5, rpm = 2000, gas = 287, wall = 450;
static const double p0 = 0.6e5, t0 = 350;
#define DEG (M_PI / 180)
#define POINTS 541
static double from, to, spark, span, piston, swept, clear_, omega, crank, v0, mass, heat, speed, swirl, film;

static double volume(double t, double *dv) {
	double s = sin(t), c = cos(t), root = sqrt(rod * rod - crank * crank * s * s);
	*dv = piston * crank * s * (1 + crank * c / root);
	return clear_ + piston * (crank + rod - crank * c - root);
}

static void setup(void) {
	double dv;
	from = -140 * DEG, to = 130 * DEG, spark = -20 * DEG, span = 55 * DEG;
	piston = M_PI * bore * bore / 4, swept = piston * stroke, clear_ = swept / (ratio - 1);
	omega = 2 * M_PI * rpm / 60, crank = stroke / 2;
	v0 = volume(from, &dv);
	mass = p0 * v0 / (gas * t0), heat = mass / 15.6 * 44e6 * 0.95, speed = 2 * stroke * rpm / 60;
	swirl = 3.24e-3 * swept * t0 / (p0 * v0), film = 3.26 * pow(bore, -0.2);
}

static void slope(double t, const double *y, double *d, int fired) {
	double dv, p = y[0], v = volume(t, &dv), temp = p * v / (mass * gas);
	double gamma = 1.338 - 6e-5 * temp + 1e-8 * temp * temp, burn = 0, wave = 2.28 * speed;
	if (fired) {
		double z = (t - spark) / span;
		burn = heat * 6.908 * 3 * z * z * exp(-6.908 * z * z * z) / span;
		wave += swirl * (p - p0 * pow(v0 / v, 1.33));
	}
	double h = film * pow(p / 1e3, 0.8) * pow(temp, -0.55) * pow(wave, 0.8);
	double area = M_PI * bore * bore / 2 + 4 * v / bore;
	double q = burn - h * area * (temp - wall) / omega;
	d[0] = (gamma - 1) / v * q - gamma * p / v * dv;
	d[1] = p * dv;
}

/* parts steps to each of the 540 intervals. */
static double rk4(double *out, int parts) {
	double y[2] = {p0, 0}, k1[2], k2[2], k3[2], k4[2], z[2], h = (to - from) / (POINTS - 1) / parts;
	out[0] = p0;
	for (int i = 1; i < POINTS; i++) {
		int fired = i > 240;
		for (int k = 0; k < parts; k++) {
			double t = from + ((i - 1) * parts + k) * h;
			slope(t, y, k1, fired);
			for (int j = 0; j < 2; j++) z[j] = y[j] + h / 2 * k1[j];
			slope(t + h / 2, z, k2, fired);
			for (int j = 0; j < 2; j++) z[j] = y[j] + h / 2 * k2[j];
			slope(t + h / 2, z, k3, fired);
			for (int j = 0; j < 2; j++) z[j] = y[j] + h * k3[j];
			slope(t + h, z, k4, fired);
			for (int j = 0; j < 2; j++) y[j] += h / 6 * (k1[j] + 2 * k2[j] + 2 * k3[j] + k4[j]);
		}
		out[i] = y[0];
	}
	return y[1];
}

/* coarse steps over several intervals of the grid, cubic Hermite between: as few
 * evaluations as the fourth order needs, at the same 541 angles. */
static double rk4_coarse(double *out, int every) {
	double y[2] = {p0, 0}, k1[2], k2[2], k3[2], k4[2], z[2], n[2], d[2], h = (to - from) / (POINTS - 1) * every;
	for (int i = 0; i < POINTS - 1; i += every) {
		int fired = i >= 240;
		double t = from + (to - from) / (POINTS - 1) * i;
		slope(t, y, k1, fired);
		for (int j = 0; j < 2; j++) z[j] = y[j] + h / 2 * k1[j];
		slope(t + h / 2, z, k2, fired);
		for (int j = 0; j < 2; j++) z[j] = y[j] + h / 2 * k2[j];
		slope(t + h / 2, z, k3, fired);
		for (int j = 0; j < 2; j++) z[j] = y[j] + h * k3[j];
		slope(t + h, z, k4, fired);
		for (int j = 0; j < 2; j++) n[j] = y[j] + h / 6 * (k1[j] + 2 * k2[j] + 2 * k3[j] + k4[j]);
		slope(t + h, n, d, fired);
		for (int k = 0; k < every; k++) {
			double u = (double)k / every, a = h * k1[0], b = h * d[0], e = n[0] - y[0];
			out[i + k] = y[0] + u * (a + u * (3 * e - 2 * a - b + u * (a + b - 2 * e)));
		}
		y[0] = n[0], y[1] = n[1];
	}
	out[POINTS - 1] = y[0];
	return y[1];
}

static double worst(const double *p, const double *reference) {
	double most = 0;
	for (int i = 0; i < POINTS; i++) most = fmax(most, fabs(p[i] / reference[i] - 1));
	return most;
}

static double now(void) {
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return t.tv_sec + 1e-9 * t.tv_nsec;
}

#ifdef CVODE
#include <cvode/cvode.h>
#include <nvector/nvector_serial.h>
#include <sundials/sundials_types.h>
#include <sunnonlinsol/sunnonlinsol_fixedpoint.h>

static int cv_fired;
static int cv_slope(realtype t, N_Vector y, N_Vector d, void *data) {
	(void)data;
	slope(t, N_VGetArrayPointer(y), N_VGetArrayPointer(d), cv_fired);
	return 0;
}

static void *cv;
static N_Vector cv_y;

static void cv_setup(void) {
	SUNContext context;
	SUNContext_Create(NULL, &context);
	cv_y = N_VNew_Serial(2, context);
	cv = CVodeCreate(CV_ADAMS, context);
	CVodeInit(cv, cv_slope, from, cv_y);
	SUNNonlinearSolver solver = SUNNonlinSol_FixedPoint(cv_y, 0, context);
	CVodeSetNonlinearSolver(cv, solver);
	CVodeSetMaxNumSteps(cv, 100000);
}

static double cvode(double *out, double rtol) {
	double *y = N_VGetArrayPointer(cv_y), t;
	y[0] = p0, y[1] = 0, out[0] = p0;
	CVodeSStolerances(cv, rtol, rtol * 100);
	for (int half = 0; half < 2; half++) {
		cv_fired = half;
		CVodeReInit(cv, half ? spark : from, cv_y);
		CVodeSetStopTime(cv, half ? to : spark);
		for (int i = half ? 241 : 1; i <= (half ? 540 : 240); i++) {
			double at = i == 240 ? spark : i == 540 ? to : from + (to - from) / (POINTS - 1) * i;
			CVode(cv, at, cv_y, &t, CV_NORMAL);
			out[i] = y[0];
		}
	}
	return y[1];
}
#endif

int main(int argc, char **argv) {
	static double reference[POINTS], p[POINTS];
	char line[256];
	FILE *f = argc > 1 ? fopen(argv[1], "r") : NULL;
	if (!f || !fgets(line, sizeof line, f) || !fgets(line, sizeof line, f)) return fprintf(stderr, "closed: no reference\n"), 1;
	for (int i = 0; i < POINTS; i++) {
		if (!fgets(line, sizeof line, f) || !strchr(line, ',')) return fprintf(stderr, "closed: reference too short\n"), 1;
		reference[i] = atof(strchr(line, ',') + 1);
	}
	fclose(f);
	setup();
	for (int every = 10; every >= 1; every--) {
		if (240 % every || 300 % every) continue;
		double begin = now();
		int n = 0;
		for (; now() - begin < 0.3 || n < 3; n++) rk4_coarse(p, every);
		printf("c-rk4 %d %.6g %.3g\n", every, (now() - begin) / n, worst(p, reference));
	}
	for (int parts = 1; parts <= 2; parts *= 2) {
		double begin = now();
		int n = 0;
		for (; now() - begin < 0.3 || n < 3; n++) rk4(p, parts);
		printf("c-rk4 1/%d %.6g %.3g\n", parts, (now() - begin) / n, worst(p, reference));
	}
#ifdef CVODE
	cv_setup();
	for (double rtol = 1e-4; rtol > 5e-10; rtol /= 10) {
		double begin = now();
		int n = 0;
		for (; now() - begin < 0.3 || n < 3; n++) cvode(p, rtol);
		printf("cvode-adams %g %.6g %.3g\n", rtol, (now() - begin) / n, worst(p, reference));
	}
#endif
	return 0;
}
