/*
 * Another rival of the model's ground run: the same equations by a plain adaptive
 * Runge-Kutta method of order 5 (Dormand and Prince), with exact break points
 * at the corners of the thrust schedule and lift-off found by stepping anew.
 *
 * usage: rungekutta TOLERANCE REPEATS < problem
 * prints: nanoseconds a run, distance, time
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#define MOST 512

struct piece { double from, to, c[4]; };
struct segment { double start, fx, fxr, fz, fzr, m, mr, mrr; };
struct problem {
	double mass, headwind, mu, normal_g, slope_g, drag_k, lift_k, liftoff_sq;
	double first, last, per_step;
	int pieces, segments;
	struct piece piece[MOST];
	struct segment segment[MOST];
};

static double thrust(const struct problem *p, double u)
{
	if (u <= p->piece[0].from)
		return p->first;
	if (u >= p->piece[p->pieces - 1].to)
		return p->last;
	int i = (int)((u - p->piece[0].from) * p->per_step);
	if (i >= p->pieces)
		i = p->pieces - 1;
	const struct piece *q = &p->piece[i];
	double d = u - q->from;
	return q->c[0] + d * (q->c[1] + d * (q->c[2] + d * q->c[3]));
}

static double accel(const struct problem *p, const struct segment *g, double t, double v)
{
	double tau = t - g->start, u = v + p->headwind;
	double m = p->mass + g->m + tau * (g->mr + tau * g->mrr);
	double sq = u * fabs(u);
	double n = m * p->normal_g - p->lift_k * (sq > 0 ? sq : 0) - (g->fz + tau * g->fzr);
	if (n < 0)
		n = 0;
	return (thrust(p, u) + g->fx + tau * g->fxr - p->drag_k * sq - p->mu * n) / m - p->slope_g;
}

static double liftoff(const struct problem *p, const struct segment *g, double t, double v)
{
	double tau = t - g->start;
	double m = p->mass + g->m + tau * (g->mr + tau * g->mrr);
	return v + p->headwind - sqrt(p->liftoff_sq * m);
}

/* one step; y = {v, s}, k1 in and out for first-same-as-last */
static double step(const struct problem *p, const struct segment *g, double t, double h,
	const double y[2], double a1, double out[2], double *a7)
{
	double v1 = y[0];
	double v2 = y[0] + h * (1. / 5) * a1;
	double a2 = accel(p, g, t + h / 5, v2);
	double v3 = y[0] + h * (3. / 40 * a1 + 9. / 40 * a2);
	double a3 = accel(p, g, t + 3 * h / 10, v3);
	double v4 = y[0] + h * (44. / 45 * a1 - 56. / 15 * a2 + 32. / 9 * a3);
	double a4 = accel(p, g, t + 4 * h / 5, v4);
	double v5 = y[0] + h * (19372. / 6561 * a1 - 25360. / 2187 * a2 + 64448. / 6561 * a3 - 212. / 729 * a4);
	double a5 = accel(p, g, t + 8 * h / 9, v5);
	double v6 = y[0] + h * (9017. / 3168 * a1 - 355. / 33 * a2 + 46732. / 5247 * a3 + 49. / 176 * a4 - 5103. / 18656 * a5);
	double a6 = accel(p, g, t + h, v6);
	out[0] = y[0] + h * (35. / 384 * a1 + 500. / 1113 * a3 + 125. / 192 * a4 - 2187. / 6784 * a5 + 11. / 84 * a6);
	out[1] = y[1] + h * (35. / 384 * v1 + 500. / 1113 * v3 + 125. / 192 * v4 - 2187. / 6784 * v5 + 11. / 84 * v6);
	*a7 = accel(p, g, t + h, out[0]);
	double ev = h * (71. / 57600 * a1 - 71. / 16695 * a3 + 71. / 1920 * a4 - 17253. / 339200 * a5 + 22. / 525 * a6 - 1. / 40 * *a7);
	double es = h * (71. / 57600 * v1 - 71. / 16695 * v3 + 71. / 1920 * v4 - 17253. / 339200 * v5 + 22. / 525 * v6 - 1. / 40 * out[0]);
	ev = fabs(ev) / (1 + fabs(y[0]));
	es = fabs(es) / (1 + fabs(y[1]));
	return ev > es ? ev : es;
}

static int run(const struct problem *p, double tolerance, double *distance, double *seconds)
{
	double t = 0, h = 0.5, y[2] = {0, 0}, out[2], a1, a7;
	int i = 0;
	while (i + 1 < p->segments && p->segment[i + 1].start <= 0)
		i++;
	a1 = accel(p, &p->segment[i], t, y[0]);
	while (t < 400) {
		const struct segment *g = &p->segment[i];
		double corner = i + 1 < p->segments ? p->segment[i + 1].start : 400;
		if (y[0] <= 0 && a1 <= 0) {
			t = corner;
			i++;
			if (i >= p->segments)
				return 0;
			a1 = accel(p, &p->segment[i], t, y[0]);
			continue;
		}
		int end = t + h >= corner;
		double used = end ? corner - t : h;
		double err = step(p, g, t, used, y, a1, out, &a7) / tolerance;
		double factor = err > 0 ? 0.9 * pow(err, -0.2) : 5;
		if (factor > 5)
			factor = 5;
		if (factor < 0.2)
			factor = 0.2;
		if (err > 1) {
			h = used * factor;
			continue;
		}
		double f1 = liftoff(p, g, t + used, out[0]);
		if (f1 >= 0) {
			double f0 = liftoff(p, g, t, y[0]), lo = 0, hi = used, x = used;
			for (int k = 0; k < 50 && fabs(f1) > 1e-9; k++) {
				x = lo + (hi - lo) * f0 / (f0 - f1);
				step(p, g, t, x, y, a1, out, &a7);
				double f = liftoff(p, g, t + x, out[0]);
				if (f < 0) {
					lo = x;
					f0 = f;
				} else {
					hi = x;
					f1 = f;
				}
				if (fabs(f) < 1e-9)
					break;
			}
			*distance = out[1];
			*seconds = t + x;
			return 1;
		}
		y[0] = out[0] > 0 ? out[0] : 0;
		y[1] = out[1];
		t += used;
		a1 = a7;
		if (!end) {
			h = used * factor;
		} else {
			t = corner;
			i++;
			if (i >= p->segments)
				return 0;
			a1 = accel(p, &p->segment[i], t, y[0]);
			if (used * factor > h)
				h = used * factor;
		}
	}
	return 0;
}

int main(int argc, char **argv)
{
	static struct problem p;
	if (argc != 3)
		return 2;
	double tolerance = atof(argv[1]);
	long repeats = atol(argv[2]);
	int ok = scanf("%lf %lf %lf %lf %lf %lf %lf %lf %lf %lf %lf %d %d", &p.mass, &p.headwind, &p.mu, &p.normal_g,
		&p.slope_g, &p.drag_k, &p.lift_k, &p.liftoff_sq, &p.first, &p.last, &p.per_step, &p.pieces, &p.segments);
	if (ok != 13 || p.pieces > MOST || p.segments > MOST)
		return 2;
	for (int i = 0; i < p.pieces; i++) {
		struct piece *q = &p.piece[i];
		if (scanf("%lf %lf %lf %lf %lf %lf", &q->from, &q->to, &q->c[0], &q->c[1], &q->c[2], &q->c[3]) != 6)
			return 2;
	}
	for (int i = 0; i < p.segments; i++) {
		struct segment *g = &p.segment[i];
		if (scanf("%lf %lf %lf %lf %lf %lf %lf %lf", &g->start, &g->fx, &g->fxr, &g->fz, &g->fzr, &g->m, &g->mr, &g->mrr) != 8)
			return 2;
	}
	double s = 0, t = 0, sum = 0;
	struct timespec a, b;
	if (!run(&p, tolerance, &s, &t))
		return 1;
	clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &a);
	for (long i = 0; i < repeats; i++) {
		p.headwind += 1e-15; /* keeps the loop from being hoisted */
		run(&p, tolerance, &s, &t);
		sum += s;
	}
	clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &b);
	double ns = (b.tv_sec - a.tv_sec) * 1e9 + (b.tv_nsec - a.tv_nsec);
	printf("%.6f %.17g %.17g\n", ns / (repeats > 0 ? repeats : 1), sum / (repeats > 0 ? repeats : 1), t);
	return 0;
}
