/*
 * The benchmark's yardstick: the equations of package motion in a plain C loop, classical Runge-Kutta of fourth
 * order at 0.05 s, for the case "power 12 m, storm, stiff" of testdata/published/motion_cases.json. It is written
 * from the equations and makes its own sea, so that its mean and standard deviation also check the package's.
 *
 *   cc -O3 -o reference reference.c -lm && ./reference [records [rounds]]
 *
 * Like the package it runs 300 s before the 3 h it counts. Unlike it, it draws the water by a straight line between
 * samples 0.16 s apart, keeps no tension, and looks for no peaks.
 */
#include <complex.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#define PI 3.14159265358979323846
#define G 9.80665
#define RHO 1025.0

#define RECORD 10800.0 /* s */
#define LEAD 300.0     /* s */
#define STEP 0.05      /* s */
#define SAMPLES 65536  /* of the water in a record */
#define LINES 5400     /* frequencies of the spectrum: five peak frequencies */

/* The case. */
static const double mass = 14000, lwl = 11.2, draught = 1.3, wind = 3930, hs = 6, tp = 10, d0 = 5.5, breaking = 83300,
                    rode = 90, kr = 3.54, depth = 8, tau = 60, slack_tau = 0.5, curve_a = 1, curve_b = 4;

/* What follows from it. */
static double per_hull_mass, per_canopy_mass, hull_k, canopy_k, kd, per_rode, per_tau, start_distance, start_speed;

static double static_tension(double e) { return breaking * e * (curve_a + curve_b * e * e); }

static double stretch_at(double tension) {
	double lo = 0, hi = 1;
	for (int i = 0; i < 200; i++) {
		double e = (lo + hi) / 2;
		if (static_tension(e) < tension)
			lo = e;
		else
			hi = e;
	}
	return lo;
}

static void set_up(void) {
	double r = 0.3375 * d0;
	per_hull_mass = 1 / (1.08 * mass);
	per_canopy_mass = 1 / (8.0 / 3 * RHO * r * r * r);
	per_rode = 1 / rode;
	per_tau = 1 / tau;
	hull_k = 0.5 * RHO * 0.5 * mass / (RHO * lwl);
	canopy_k = 0.5 * RHO * 0.75 * PI * d0 * d0 / 4;
	start_speed = sqrt(wind / (canopy_k + hull_k));
	double horizontal = canopy_k * start_speed * start_speed, tension = horizontal, e = 0;
	for (int i = 0; i < 50; i++) {
		e = stretch_at(tension);
		double sine = depth / (rode * (1 + e));
		tension = horizontal / sqrt(1 - sine * sine);
	}
	start_distance = sqrt(rode * (1 + e) * rode * (1 + e) - depth * depth);
	kd = fmax(0, kr - (curve_a + 3 * curve_b * e * e));
}

/* Gaussian numbers: xorshift and Box-Muller. */
static uint64_t bits = 1;

static double uniform(void) {
	bits ^= bits << 13;
	bits ^= bits >> 7;
	bits ^= bits << 17;
	return ((bits >> 11) + 0.5) / 9007199254740992.0;
}

static double complex gaussian_pair(void) {
	double r = sqrt(-2 * log(uniform()));
	return r * cexp(2 * PI * I * uniform());
}

/* Transform to time, in place: x[n] = sum over k of c[k] exp(2 pi i n k / SAMPLES). */
static double complex twiddle[SAMPLES / 2];

static void transform(double complex *x) {
	for (int i = 1, j = 0; i < SAMPLES; i++) {
		int bit = SAMPLES >> 1;
		for (; j & bit; bit >>= 1)
			j ^= bit;
		j ^= bit;
		if (i < j) {
			double complex t = x[i];
			x[i] = x[j];
			x[j] = t;
		}
	}
	for (int len = 2; len <= SAMPLES; len <<= 1)
		for (int i = 0; i < SAMPLES; i += len)
			for (int j = 0; j < len / 2; j++) {
				double complex w = twiddle[j * (SAMPLES / len)];
				double ar = creal(x[i + j]), ai = cimag(x[i + j]);
				double br = creal(x[i + j + len / 2]), bi = cimag(x[i + j + len / 2]);
				double tr = br * creal(w) - bi * cimag(w), ti = br * cimag(w) + bi * creal(w);
				x[i + j] = ar + tr + I * (ai + ti);
				x[i + j + len / 2] = ar - tr + I * (ai - ti);
			}
}

/* JONSWAP, cut at five peak frequencies, and the two velocities' filters at its lines. */
static double sigma[LINES + 1], hull_gain[LINES + 1], canopy_gain[LINES + 1];
static double complex canopy_phase[LINES + 1];

static void make_spectrum(void) {
	double steep = tp / sqrt(hs), gamma = steep <= 3.6 ? 5 : steep < 5 ? exp(5.75 - 1.15 * steep) : 1;
	double step = 2 * PI / RECORD, wp = 2 * PI / tp, m0 = 0;
	for (int i = 1; i <= LINES; i++) {
		double w = i * step, x = w / wp, s = x > 1 ? 0.09 : 0.07, k = w * w / G, half = k * lwl / 2;
		double density = exp(-1.25 / pow(x, 4)) / pow(x, 5) * pow(gamma, exp(-(x - 1) * (x - 1) / (2 * s * s)));
		m0 += density * step;
		sigma[i] = sqrt(density * step);
		hull_gain[i] = w * exp(-k * draught / 2) * (half > 0 ? sin(half) / half : 1);
		canopy_gain[i] = w * exp(-k * depth);
		canopy_phase[i] = cexp(I * k * rode);
	}
	for (int i = 1; i <= LINES; i++)
		sigma[i] *= hs / 4 / sqrt(m0);
	for (int i = 0; i < SAMPLES / 2; i++)
		twiddle[i] = cexp(2 * PI * I * i / SAMPLES);
}

/* The record of a seed: real part the water at the hull, imaginary part at the canopy, with one sample over. */
static void make_record(double complex *water, uint64_t seed) {
	bits = seed * 0x9e3779b97f4a7c15u + 1;
	for (int i = 0; i < 20; i++)
		uniform();
	for (int i = 0; i < SAMPLES; i++)
		water[i] = 0;
	for (int i = 1; i <= LINES; i++) {
		double complex a = sigma[i] * gaussian_pair() / 2;
		double complex h = a * hull_gain[i], c = a * canopy_gain[i] * canopy_phase[i];
		water[i] = h + I * c;
		water[SAMPLES - i] = conj(h) + I * conj(c);
	}
	transform(water);
	water[SAMPLES] = water[0];
}

struct state {
	double d, w, wc, q;
};

static inline struct state rates(struct state x, double u, double uc, double *tension) {
	struct state r;
	r.d = x.w + u - x.wc - uc;
	double chord = sqrt(x.d * x.d + depth * depth), cosine = x.d / chord, e = chord * per_rode - 1;
	double t = 0;
	if (e > 0) {
		t = static_tension(e) + x.q;
		if (t < 0)
			t = 0;
		r.q = kd * breaking * per_rode * cosine * r.d - x.q * per_tau;
	} else {
		r.q = -x.q / slack_tau;
	}
	r.w = (wind - hull_k * x.w * fabs(x.w) - t * cosine) * per_hull_mass;
	r.wc = (t * cosine - (x.wc < 0 ? 0.3 : 1) * canopy_k * x.wc * fabs(x.wc)) * per_canopy_mass;
	*tension = t;
	return r;
}

static inline struct state along(struct state x, double h, struct state r) {
	return (struct state){x.d + h * r.d, x.w + h * r.w, x.wc + h * r.wc, x.q + h * r.q};
}

static inline void water_at(const double complex *water, double t, double *u, double *uc) {
	double p = t * (SAMPLES / RECORD);
	int i = (int)p;
	double part = p - i;
	*u = creal(water[i]) + part * (creal(water[i + 1]) - creal(water[i]));
	*uc = cimag(water[i]) + part * (cimag(water[i + 1]) - cimag(water[i]));
}

struct result {
	double mean, variance, max;
};

static struct state run(const double complex *water, struct state x, double from, double duration, struct result *out) {
	long steps = lround(duration / STEP);
	double sum = 0, squares = 0, max = 0, u0, c0, u1, c1, u2, c2, tension, unused;
	water_at(water, from, &u0, &c0);
	for (long i = 0; i < steps; i++) {
		double t = from + i * STEP;
		water_at(water, t + STEP / 2, &u1, &c1);
		water_at(water, fmin(t + STEP, RECORD * (1 - 1e-12)), &u2, &c2);
		struct state k1 = rates(x, u0, c0, &tension);
		struct state k2 = rates(along(x, STEP / 2, k1), u1, c1, &unused);
		struct state k3 = rates(along(x, STEP / 2, k2), u1, c1, &unused);
		struct state k4 = rates(along(x, STEP, k3), u2, c2, &unused);
		sum += tension;
		squares += tension * tension;
		if (tension > max)
			max = tension;
		x.d += STEP / 6 * (k1.d + 2 * k2.d + 2 * k3.d + k4.d);
		x.w += STEP / 6 * (k1.w + 2 * k2.w + 2 * k3.w + k4.w);
		x.wc += STEP / 6 * (k1.wc + 2 * k2.wc + 2 * k3.wc + k4.wc);
		x.q += STEP / 6 * (k1.q + 2 * k2.q + 2 * k3.q + k4.q);
		u0 = u2;
		c0 = c2;
	}
	out->mean = sum / steps;
	out->variance = squares / steps - out->mean * out->mean;
	out->max = max;
	return x;
}

static struct result run_record(const double complex *water) {
	struct result r;
	struct state x = {start_distance, start_speed, start_speed, 0};
	x = run(water, x, RECORD - LEAD, LEAD, &r);
	run(water, x, 0, RECORD, &r);
	return r;
}

static double now(void) {
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return t.tv_sec + 1e-9 * t.tv_nsec;
}

int main(int argc, char **argv) {
	int records = argc > 1 ? atoi(argv[1]) : 12, rounds = argc > 2 ? atoi(argv[2]) : 5;
	if (records < 1 || rounds < 1) {
		fprintf(stderr, "usage: reference [records [rounds]], both 1 or more\n");
		return 2;
	}
	double complex *water = malloc((SAMPLES + 1) * sizeof *water);
	if (!water)
		return 1;
	set_up();
	make_spectrum();
	double making = 0, integrating = 0, mean = 0, variance = 0, max = 0;
	for (int round = 0; round < rounds; round++)
		for (int seed = 1; seed <= records; seed++) {
			double t0 = now();
			make_record(water, seed);
			double t1 = now();
			struct result r = run_record(water);
			integrating += now() - t1;
			making += t1 - t0;
			if (round == 0) {
				mean += r.mean / records;
				variance += r.variance / records;
				max += r.max / records;
			}
		}
	double simulated = (RECORD + LEAD) * records * rounds;
	printf("x_real_time %.0f\n", simulated / integrating);
	printf("x_real_time_with_new_sea %.0f\n", simulated / (integrating + making));
	printf("mean_n %.1f\nsd_n %.1f\nmax_n %.1f\n", mean, sqrt(variance), max);
	free(water);
	return 0;
}
