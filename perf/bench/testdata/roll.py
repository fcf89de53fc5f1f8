"""The general-purpose rival of the model's ground run: SciPy's solve_ivp.

usage: roll.py METHOD RTOL REPEATS < problem
prints: nanoseconds a run, distance, time

Break points at the corners of the thrust schedule, lift-off as a terminal event.
"""
import math
import sys
import time

from scipy.integrate import solve_ivp


def main():
    method, rtol, repeats = sys.argv[1], float(sys.argv[2]), int(sys.argv[3])
    numbers = iter(sys.stdin.read().split())
    take = lambda n: [float(next(numbers)) for _ in range(n)]
    mass, wind, mu, normal_g, slope_g, drag_k, lift_k, liftoff_sq, first, last, per_step = take(11)
    pieces, segments = int(next(numbers)), int(next(numbers))
    piece = [take(6) for _ in range(pieces)]
    segment = [take(8) for _ in range(segments)]
    low, high = piece[0][0], piece[-1][1]

    def thrust(u):
        if u <= low:
            return first
        if u >= high:
            return last
        q = piece[min(int((u - low) * per_step), pieces - 1)]
        d = u - q[0]
        return q[2] + d * (q[3] + d * (q[4] + d * q[5]))

    def run():
        t, y = 0.0, [0.0, 0.0]
        i = max(k for k in range(segments) if segment[k][0] <= 0)
        while t < 400:
            start, fx, fxr, fz, fzr, m0, mr, mrr = segment[i]
            end = segment[i + 1][0] if i + 1 < segments else 400.0

            def rhs(t, y):
                tau, u = t - start, y[0] + wind
                m = mass + m0 + tau * (mr + tau * mrr)
                sq = u * abs(u)
                n = max(0.0, m * normal_g - lift_k * max(sq, 0.0) - (fz + tau * fzr))
                return [(thrust(u) + fx + tau * fxr - drag_k * sq - mu * n) / m - slope_g, y[0]]

            def off(t, y):
                tau = t - start
                return y[0] + wind - math.sqrt(liftoff_sq * (mass + m0 + tau * (mr + tau * mrr)))

            off.terminal = True
            answer = solve_ivp(rhs, (t, end), y, method=method, rtol=rtol, atol=rtol, events=off)
            t, y = answer.t[-1], answer.y[:, -1]
            if answer.status == 1:
                return y[1], t
            i += 1
        return math.nan, t

    run()
    begin = time.process_time_ns()
    for _ in range(repeats):
        s, t = run()
    print((time.process_time_ns() - begin) / repeats, repr(float(s)), repr(float(t)))


main()
