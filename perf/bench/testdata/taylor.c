/*
 * The model's own ground run in C: the same equations by the same Taylor series,
 * with the same cells, events, orders and tolerance as perf/takeoff, so that what is
 * compared is the language and the compiler. Unlike the model it may fuse products
 * with sums, which no compiler is kept from here.
 *
 * usage: taylor REPEATS < problem
 * prints: nanoseconds a run, distance, time
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#define MOST 512
#define ORDER 14
#define STEP_ERROR 1e-7
#define LIMIT_S 400.0
#define MAX_STEPS 20000

enum event { NONE, CORNER, LIMIT, EDGE, NORMAL, LIFTOFF, HALT };
enum condition { AIRSPEED_REACHES, LIFTOFF_REACHED, LOAD_VANISHES, LOAD_TURNS, SPEED_TURNS };

struct piece { double from, to, c[4]; };
struct segment { double start, fx, fxr, fz, fzr, m, mr, mrr; };
struct cell { double low, high, base, c[4]; int from_behind; };
struct problem {
	double mass, headwind, mu, normal_g, slope_g, drag_k, lift_k, liftoff_sq, first, last, per_step;
	int pieces, segments, cells;
	struct piece piece[MOST];
	struct segment segment[MOST];
	struct cell cell[2 * MOST];
};
struct roll {
	const struct problem *p;
	double t, u, s;
	int segment, cell, light, moving, order;
	double d[ORDER + 2];
	double m0, m1, m2, lift0, lift1, forward0, slope1, p0, p1, p2, p3, deceleration, lift_k, reach;
};
struct end { double h; enum event event; double rise, rate; };

static const double reciprocal[ORDER + 2] = {0, 1, 1. / 2, 1. / 3, 1. / 4, 1. / 5, 1. / 6, 1. / 7, 1. / 8,
	1. / 9, 1. / 10, 1. / 11, 1. / 12, 1. / 13, 1. / 14, 1. / 15};

static double larger(double a, double b) { return a > b ? a : b; }
static double smaller(double a, double b) { return a < b ? a : b; }

static void add_cells(struct problem *p, double *low, double high, double base, const double c[4])
{
	double ends[2] = {0, high};
	for (int i = 0; i < 2; i++) {
		if (ends[i] <= *low || ends[i] > high)
			continue;
		struct cell *q = &p->cell[p->cells++];
		*q = (struct cell){*low, ends[i], base, {c[0], c[1], c[2], c[3]}, ends[i] <= 0};
		*low = ends[i];
	}
}

static void set_cells(struct problem *p)
{
	double low = -INFINITY, first[4] = {p->first}, last[4] = {p->last};
	p->cells = 0;
	add_cells(p, &low, p->piece[0].from, p->piece[0].from, first);
	for (int i = 0; i < p->pieces; i++)
		add_cells(p, &low, p->piece[i].to, p->piece[i].from, p->piece[i].c);
	add_cells(p, &low, INFINITY, p->piece[p->pieces - 1].to, last);
}

static void set_light(struct roll *g)
{
	const struct segment *q = &g->p->segment[g->segment];
	double tau = g->t - q->start;
	double mass = g->p->mass + q->m + tau * (q->mr + tau * q->mrr);
	double load = mass * g->p->normal_g - (q->fz + tau * q->fzr);
	if (g->u > 0)
		load -= g->p->lift_k * g->u * g->u;
	g->light = load < 0;
}

static void next_segment(struct roll *g)
{
	while (g->segment + 1 < g->p->segments && g->p->segment[g->segment + 1].start <= g->t)
		g->segment++;
	set_light(g);
}

static double prepare(struct roll *g)
{
	const struct problem *p = g->p;
	const struct segment *q = &p->segment[g->segment];
	const struct cell *c = &p->cell[g->cell];
	g->reach = LIMIT_S;
	if (g->segment + 1 < p->segments)
		g->reach = smaller(g->reach, p->segment[g->segment + 1].start);
	double tau = g->t - q->start;
	g->m0 = p->mass + q->m + tau * (q->mr + tau * q->mrr);
	g->m1 = q->mr + 2 * tau * q->mrr;
	g->m2 = q->mrr;
	g->lift0 = q->fz + tau * q->fzr;
	g->lift1 = q->fzr;
	g->forward0 = q->fx + tau * q->fxr;
	g->slope1 = q->fxr;
	double quadratic = c->from_behind ? p->drag_k : -p->drag_k, f0 = g->forward0;
	g->lift_k = c->from_behind ? 0 : p->lift_k;
	g->deceleration = p->slope_g;
	if (!g->light) {
		quadratic += p->mu * g->lift_k;
		f0 += p->mu * g->lift0;
		g->slope1 += p->mu * g->lift1;
		g->deceleration += p->mu * p->normal_g;
	}
	double e = g->u - c->base, qu = quadratic * g->u;
	g->p3 = c->c[3];
	g->p2 = c->c[2] + 3 * c->c[3] * e + quadratic;
	g->p1 = c->c[1] + e * (2 * c->c[2] + 3 * c->c[3] * e) + 2 * qu;
	g->p0 = c->c[0] + e * (c->c[1] + e * (c->c[2] + e * c->c[3])) + qu * g->u + f0;
	return g->d[1] = g->p0 / g->m0 - g->deceleration;
}

static double guess_edge(const struct roll *g, double h)
{
	const struct cell *c = &g->p->cell[g->cell];
	double rate = g->d[1], curve = g->d[2], gap = c->high - g->u;
	if (rate < 0)
		gap = larger(c->low, g->p->headwind) - g->u;
	if (rate > 0) {
		double lift = sqrt(g->p->liftoff_sq * g->m0) - g->u;
		if (lift > 0)
			gap = smaller(gap, lift);
	}
	if (rate == 0 || isinf(gap))
		return h;
	double first = gap / rate, slope = rate + 2 * curve * first;
	if (slope * rate > 0)
		first -= curve * first * first / slope;
	double reach = 1.02 * first;
	return reach > 0 && reach < h ? reach : h;
}

static double shorten(const struct roll *g, double h)
{
	for (int i = 0; i < 2000; i++) {
		double power = 1;
		for (int k = 0; k < ORDER - 2; k++)
			power *= h;
		double last = fabs(g->d[ORDER - 2]) + h * (fabs(g->d[ORDER - 1]) + h * fabs(g->d[ORDER]));
		if (last * power <= STEP_ERROR)
			break;
		h *= 0.8;
	}
	return h;
}

static double expand(struct roll *g)
{
	double e[ORDER + 2], square[ORDER + 2], *d = g->d;
	double inverse = 1 / g->m0, h = g->reach - g->t;
	e[0] = g->p0 * inverse;
	e[1] = (g->p1 * d[1] + g->slope1 - g->m1 * e[0]) * inverse;
	d[2] = 0.5 * e[1];
	h = guess_edge(g, h);
	int least = fabs(d[1]) <= 0.05 * fabs(d[2] * h) ? ORDER : 2, order = 2;
	double power = h * h, before = INFINITY;
	for (int k = 2; k < ORDER; k++) {
		double sum = 0, other = 0;
		int i = (k - 1) / 2;
		for (; i > 1; i -= 2) {
			sum += d[i] * d[k - i];
			other += d[i - 1] * d[k - i + 1];
		}
		if (i == 1)
			sum += d[1] * d[k - 1];
		sum += other;
		sum += sum;
		if (!(k & 1))
			sum += d[k / 2] * d[k / 2];
		square[k] = sum;
		double force = g->p2 * sum;
		if (g->p3 != 0) {
			double cube = 0, rest = 0;
			for (i = k - 2; i > 1; i -= 2) {
				cube += d[i] * square[k - i];
				rest += d[i - 1] * square[k - i + 1];
			}
			if (i == 1)
				cube += d[1] * square[k - 1];
			force += g->p3 * (cube + rest);
		}
		force += g->p1 * d[k];
		e[k] = (force - g->m1 * e[k - 1] - g->m2 * e[k - 2]) * inverse;
		d[k + 1] = e[k] * reciprocal[k + 1];
		order = k + 1;
		power *= h;
		double term = fabs(d[k + 1] * power);
		if (term + before <= STEP_ERROR && order >= least)
			break;
		before = term;
	}
	g->order = order;
	return order == ORDER ? shorten(g, h) : h;
}

static void gain(const struct roll *g, double tau, double *rise, double *rate)
{
	double square = tau * tau, even = 0, odd = 0, even_rate = 0, odd_rate = 0;
	int k = g->order;
	if (!(k & 1)) {
		even = g->d[k];
		odd_rate = k * even;
		k--;
	}
	for (; k >= 1; k -= 2) {
		double o = g->d[k], e = g->d[k - 1];
		odd = odd * square + o;
		even = even * square + e;
		even_rate = even_rate * square + k * o;
		if (k > 1)
			odd_rate = odd_rate * square + (k - 1) * e;
	}
	*rise = even + tau * odd;
	*rate = even_rate + tau * odd_rate;
}

static double travel(const struct roll *g, double tau)
{
	int n = g->order;
	double sum = g->d[n] * reciprocal[n + 1];
	for (int k = n - 1; k >= 1; k--)
		sum = sum * tau + g->d[k] * reciprocal[k + 1];
	return tau * ((g->u - g->p->headwind) + tau * sum);
}

static void wheel_load(const struct roll *g, double tau, double rise, double accel, double *load, double *rate)
{
	double mass = g->m0 + tau * (g->m1 + tau * g->m2), flow = g->m1 + 2 * tau * g->m2, u = g->u + rise;
	*load = mass * g->p->normal_g - g->lift_k * u * u - g->lift0 - tau * g->lift1;
	*rate = flow * g->p->normal_g - 2 * g->lift_k * u * accel - g->lift1;
}

static void value(const struct roll *g, enum condition c, double level, double tau, double *f, double *slope)
{
	double rise, accel, unused;
	gain(g, tau, &rise, &accel);
	switch (c) {
	case AIRSPEED_REACHES:
		*f = rise - level;
		*slope = accel;
		return;
	case LIFTOFF_REACHED: {
		double mass = g->m0 + tau * (g->m1 + tau * g->m2), flow = g->m1 + 2 * tau * g->m2;
		double speed = sqrt(g->p->liftoff_sq * mass);
		*f = g->u + rise - speed;
		*slope = accel - g->p->liftoff_sq * flow / (2 * speed);
		return;
	}
	case LOAD_VANISHES:
		wheel_load(g, tau, rise, accel, f, slope);
		return;
	case LOAD_TURNS:
		wheel_load(g, tau, rise, accel, &unused, f);
		*slope = 0;
		return;
	case SPEED_TURNS:
		*f = accel;
		*slope = 0;
	}
}

static double root(const struct roll *g, enum condition c, double level, double low, double high)
{
	double f, slope, x = high, width = high - low;
	value(g, c, level, high, &f, &slope);
	int rising = f > 0;
	for (int i = 0; i < 200; i++) {
		if (f == 0)
			return x;
		if ((f > 0) == rising)
			high = x;
		else
			low = x;
		double next = x - f / slope;
		int newton = next > low && next < high;
		if (!newton) {
			if (fabs(f) <= 4e-16 * fabs(slope) * (fabs(x) + fabs(g->t) * 1e-3))
				return x;
			next = low + 0.5 * (high - low);
		}
		if ((newton && fabs(next - x) <= 1e-8 * width) || next == low || next == high)
			return next;
		x = next;
		value(g, c, level, x, &f, &slope);
	}
	return x;
}

static void move_to(const struct roll *g, struct end *e, double h, enum event event)
{
	e->h = h;
	e->event = event;
	gain(g, h, &e->rise, &e->rate);
}

static double peak(const struct roll *g, double low, double high)
{
	double start = low, f, slope;
	for (int i = 0; i < 60; i++) {
		double mid = low + 0.5 * (high - low);
		value(g, LIFTOFF_REACHED, 0, mid, &f, &slope);
		if (slope > 0)
			low = mid;
		else
			high = mid;
	}
	value(g, LIFTOFF_REACHED, 0, low, &f, &slope);
	return f > 0 ? low : start;
}

static int lifts(const struct roll *g, double low, struct end *e)
{
	double u = g->u + e->rise, mass = g->m0 + e->h * (g->m1 + e->h * g->m2), f, before, after;
	if (u > 0 && u * u >= g->p->liftoff_sq * mass) {
		move_to(g, e, root(g, LIFTOFF_REACHED, 0, low, e->h), LIFTOFF);
		return 1;
	}
	if (e->rate >= 0)
		return 0;
	value(g, LIFTOFF_REACHED, 0, e->h, &f, &after);
	value(g, LIFTOFF_REACHED, 0, low, &f, &before);
	if (after < 0 && before > 0) {
		double top = peak(g, low, e->h);
		if (top > low) {
			move_to(g, e, root(g, LIFTOFF_REACHED, 0, low, top), LIFTOFF);
			return 1;
		}
	}
	return 0;
}

static int crossing(const struct roll *g, double low, struct end *e)
{
	const struct cell *c = &g->p->cell[g->cell];
	double floor = larger(c->low, g->p->headwind), u = g->u + e->rise;
	int found = 0;
	if (u > c->high) {
		move_to(g, e, root(g, AIRSPEED_REACHES, c->high - g->u, low, e->h), EDGE);
		found = 1;
	} else if (u < floor && !g->moving) {
		move_to(g, e, root(g, AIRSPEED_REACHES, floor - g->u, low, e->h), floor == g->p->headwind ? HALT : EDGE);
		found = 1;
	}
	return lifts(g, low, e) || found;
}

static void load_event(const struct roll *g, struct end *e)
{
	double last, last_rate, start, start_rate;
	if (g->p->mu == 0)
		return;
	wheel_load(g, e->h, e->rise, e->rate, &last, &last_rate);
	wheel_load(g, 0, 0, g->d[1], &start, &start_rate);
	if (g->light) {
		last = -last, last_rate = -last_rate;
		start = -start, start_rate = -start_rate;
	}
	if (last < 0 && start <= 0 && start_rate <= 0) {
		move_to(g, e, 0, NORMAL);
	} else if (last < 0) {
		move_to(g, e, root(g, LOAD_VANISHES, 0, 0, e->h), NORMAL);
	} else if (start_rate < 0 && last_rate > 0 && start > 0 &&
		smaller(start + start_rate * e->h, last - last_rate * e->h) < 0) {
		double turn = root(g, LOAD_TURNS, 0, 0, e->h), rise, rate, load, unused;
		gain(g, turn, &rise, &rate);
		wheel_load(g, turn, rise, rate, &load, &unused);
		if ((load < 0) != g->light)
			move_to(g, e, root(g, LOAD_VANISHES, 0, 0, turn), NORMAL);
	}
}

static enum event advance(struct roll *g)
{
	struct end e = {expand(g), NONE, 0, 0};
	if (g->t + e.h >= g->reach) {
		e.h = g->reach - g->t;
		e.event = g->reach >= LIMIT_S ? LIMIT : CORNER;
	}
	gain(g, e.h, &e.rise, &e.rate);
	if (!g->moving && ((g->d[1] > 0 && e.rate < 0) || (g->d[1] < 0 && e.rate > 0))) {
		struct end first = {root(g, SPEED_TURNS, 0, 0, e.h), NONE, 0, 0};
		gain(g, first.h, &first.rise, &first.rate);
		if (crossing(g, 0, &first))
			e = first;
		else
			crossing(g, first.h, &e);
	} else {
		crossing(g, 0, &e);
	}
	load_event(g, &e);

	g->s += travel(g, e.h);
	double u = g->u + e.rise;
	g->moving = 0;
	if (e.event == EDGE) {
		const struct cell *c = &g->p->cell[g->cell];
		if (c->high - u < u - c->low) {
			u = c->high;
			g->cell++;
		} else {
			u = c->low;
			g->cell--;
		}
	} else if (e.event == HALT) {
		u = g->p->headwind;
	} else if (e.event == NORMAL) {
		g->light = !g->light;
	}
	g->u = larger(u, g->p->headwind);
	g->t = e.event == CORNER || e.event == LIMIT ? g->reach : g->t + e.h;
	if (e.event == CORNER)
		next_segment(g);
	return e.event;
}

/* Standing: the runs compared here never wait inside a segment, only for its end. */
static enum event stand(struct roll *g)
{
	g->t = g->reach;
	if (g->reach >= LIMIT_S)
		return LIMIT;
	next_segment(g);
	return CORNER;
}

static int run(const struct problem *p, double *distance, double *seconds)
{
	struct roll g = {.p = p, .u = p->headwind};
	double last_corner = p->segment[p->segments - 1].start;
	while (g.segment + 1 < p->segments && p->segment[g.segment + 1].start <= 0)
		g.segment++;
	while (g.cell + 1 < p->cells && p->cell[g.cell].high <= g.u)
		g.cell++;
	set_light(&g);
	for (int i = 0; i < MAX_STEPS; i++) {
		double accel = prepare(&g);
		int standing = accel <= 0 && !g.moving && g.u <= p->headwind;
		if (accel <= 0 && !g.moving && g.t >= last_corner)
			return 0;
		enum event event = standing ? stand(&g) : advance(&g);
		if (event == LIMIT)
			return 0;
		if (event == LIFTOFF)
			break;
	}
	*distance = g.s;
	*seconds = g.t;
	return 1;
}

int main(int argc, char **argv)
{
	static struct problem p;
	if (argc != 2)
		return 2;
	long repeats = atol(argv[1]);
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
	set_cells(&p);
	double s = 0, t = 0, sum = 0;
	struct timespec a, b;
	if (!run(&p, &s, &t))
		return 1;
	clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &a);
	for (long i = 0; i < repeats; i++) {
		p.headwind += 1e-15; /* keeps the loop from being hoisted */
		run(&p, &s, &t);
		sum += s;
	}
	clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &b);
	double ns = (b.tv_sec - a.tv_sec) * 1e9 + (b.tv_nsec - a.tv_nsec);
	printf("%.6f %.17g %.17g\n", ns / (repeats > 0 ? repeats : 1), sum / (repeats > 0 ? repeats : 1), t);
	return 0;
}
