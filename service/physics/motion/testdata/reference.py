"""The benchmark's other yardstick: the equations of package motion as most people would first write them, with
scipy's solve_ivp, for the case "power 12 m, storm, stiff" of testdata/published/motion_cases.json.

    python3 reference.py [seconds of sea]

The sea and the span differ from the package's 3 h records, so that mean and standard deviation of the tension agree
only as far as so short a sea allows.
"""

import sys
import time

try:
    import numpy as np
    from scipy.integrate import solve_ivp
    from scipy.optimize import brentq
except ImportError:
    print("skipped: no scipy here; apt-get install python3-scipy")
    sys.exit(0)

G, RHO = 9.80665, 1025.0
RECORD_S, LEAD_S, STEP_S = 10800.0, 60.0, 0.05

# The case.
MASS, LWL, DRAUGHT, WIND, HS, TP = 14000.0, 11.2, 1.3, 3930.0, 6.0, 10.0
D0, BREAKING, RODE, KR, DEPTH, TAU, SLACK_TAU = 5.5, 83300.0, 90.0, 3.54, 8.0, 60.0, 0.5

# What follows from it.
HULL_MASS = 1.08 * MASS
CANOPY_MASS = 8 / 3 * RHO * (0.3375 * D0) ** 3
HULL_K = 0.5 * RHO * 0.5 * MASS / (RHO * LWL)
CANOPY_K = 0.5 * RHO * 0.75 * np.pi * D0**2 / 4


def static_tension(e):
    return BREAKING * e * (1 + 4 * e * e)


def start():
    """Distance, speeds and fading tension at rest in the steady balance, and the dynamic stiffness there."""
    speed = np.sqrt(WIND / (CANOPY_K + HULL_K))
    horizontal = tension = CANOPY_K * speed**2
    for _ in range(50):
        e = brentq(lambda e: static_tension(e) - tension, 0, 1, xtol=1e-14)
        chord = RODE * (1 + e)
        tension = horizontal / np.sqrt(1 - (DEPTH / chord) ** 2)
    return [np.sqrt(chord**2 - DEPTH**2), speed, speed, 0.0], max(0.0, KR - (1 + 12 * e * e))


def sea(seed):
    """Instants and the water's speed at hull and canopy in one 3 h record."""
    lines = int(5 * RECORD_S / TP)
    step = 2 * np.pi / RECORD_S
    w = np.arange(1, lines + 1) * step
    x = w * TP / (2 * np.pi)
    steep = TP / np.sqrt(HS)
    gamma = 5 if steep <= 3.6 else np.exp(5.75 - 1.15 * steep) if steep < 5 else 1
    s = np.where(x > 1, 0.09, 0.07)
    density = np.exp(-1.25 / x**4) / x**5 * gamma ** np.exp(-((x - 1) ** 2) / (2 * s * s))
    density *= HS**2 / 16 / (density.sum() * step)
    k = w * w / G
    rng = np.random.default_rng(seed)
    a = np.sqrt(density * step) * (rng.standard_normal(lines) + 1j * rng.standard_normal(lines))
    hull = a * w * np.exp(-k * DRAUGHT / 2) * np.sinc(k * LWL / 2 / np.pi)
    canopy = a * w * np.exp(-k * DEPTH) * np.exp(1j * k * RODE)
    n = 65536
    t = np.arange(n + 1) * RECORD_S / n

    def series(c):
        spectrum = np.zeros(n // 2 + 1, complex)
        spectrum[1 : lines + 1] = c * n / 2
        u = np.fft.irfft(spectrum, n)
        return np.append(u, u[0])

    return t, series(hull), series(canopy)


def main():
    span = float(sys.argv[1]) if len(sys.argv) > 1 else 240.0
    t, u, uc = sea(1)
    y0, kd = start()

    def tension_of(d, q):
        e = np.hypot(d, DEPTH) / RODE - 1
        return np.where(e > 0, np.maximum(0, static_tension(e) + q), 0.0)

    def rates(time_s, y):
        d, w, wc, q = y
        hull, canopy = np.interp(time_s, t, u), np.interp(time_s, t, uc)
        stretching = w + hull - wc - canopy
        chord = np.sqrt(d * d + DEPTH * DEPTH)
        cosine = d / chord
        e = chord / RODE - 1
        if e > 0:
            tension = max(0.0, static_tension(e) + q)
            q_rate = kd * BREAKING * cosine * stretching / RODE - q / TAU
        else:
            tension, q_rate = 0.0, -q / SLACK_TAU
        back = 0.3 if wc < 0 else 1.0
        return [
            stretching,
            (WIND - HULL_K * w * abs(w) - tension * cosine) / HULL_MASS,
            (tension * cosine - back * CANOPY_K * wc * abs(wc)) / CANOPY_MASS,
            q_rate,
        ]

    began = time.perf_counter()
    end = LEAD_S + span
    answer = solve_ivp(rates, (0, end), y0, t_eval=np.arange(LEAD_S, end, STEP_S), rtol=1e-6, atol=1e-6)
    elapsed = time.perf_counter() - began
    if not answer.success:
        sys.exit(answer.message)
    tension = tension_of(answer.y[0], answer.y[3])
    print(f"x_real_time {end / elapsed:.0f}")
    print(f"mean_n {tension.mean():.1f}\nsd_n {tension.std():.1f}\nmax_n {tension.max():.1f}")


main()
