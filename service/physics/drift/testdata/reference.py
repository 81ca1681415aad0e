"""The independent run of testdata/published/drift_derived.json: the case of independentCase in published_test.go by another
way. Particles are stepped in latitude and longitude with the meridian's and the prime vertical's radii, every 5 min, and
the shore is a parallel. Plain Python; no code or table is shared with the package.

    python3 reference.py [particles] [seed]
"""

import math
import random
import sys

A, F = 6378137.0, 1 / 298.257223563
E2 = F * (2 - F)

DT_H = 1 / 12
HOURS = 36
SHORE = math.radians(70.42)
P95 = 1.6448536269514722

# until h, toward deg, speed low mid high, divergence deg, current east and north, way of lying
SPANS = [
    (6, 30, (0.6, 0.9, 1.4), 30, 0.10, -0.05, 0),
    (18, 20, (0.2, 0.3, 0.6), 10, 0.15, 0.00, 1),
    (36, 350, (0.3, 0.4, 0.7), 10, 0.05, 0.10, 1),
]
WIND = (0.10, 0.25)  # share, first and last
DIRECTION = (math.radians(8), math.radians(25))
GROWS_H = 24
WIND_SCALE_H, CURRENT_SCALE_H = 9.0, 5.0
CURRENT = 0.12
SIGMA_M = 600 / math.sqrt(2 * math.log(2))
SWITCH_PER_H = 0.1


def process(scale_h, rng):
    """A unit Ornstein-Uhlenbeck process, one value after another."""
    kept = math.exp(-DT_H / scale_h)
    new = math.sqrt(1 - kept * kept)
    x = rng.gauss(0, 1)
    while True:
        yield x
        x = kept * x + new * rng.gauss(0, 1)


def speed(band, place):
    low, mid, high = band
    return max(0.0, mid + (high - mid if place > 0 else mid - low) * place / P95)


def advance(lat, lon, east, north):
    w2 = 1 - E2 * math.sin(lat) ** 2
    middle = lat + north / 2 * w2**1.5 / (A * (1 - E2))
    w2 = 1 - E2 * math.sin(middle) ** 2
    return (
        lat + north * w2**1.5 / (A * (1 - E2)),
        lon + east * math.sqrt(w2) / (A * math.cos(middle)),
    )


def particle(rng, lat0, lon0):
    """Runs one; returns its end and the hour it came ashore, or None."""
    lat, lon = advance(lat0, lon0, rng.gauss(0, SIGMA_M), rng.gauss(0, SIGMA_M))
    place = [rng.gauss(0, 1), rng.gauss(0, 1)]
    off = [rng.uniform(-1, 1), rng.uniform(-1, 1)]
    side = 1
    odd = (1 - math.exp(-2 * SWITCH_PER_H * DT_H)) / 2
    wind, direction = process(WIND_SCALE_H, rng), process(WIND_SCALE_H, rng)
    eastward, northward = process(CURRENT_SCALE_H, rng), process(CURRENT_SCALE_H, rng)
    span = 0
    for i in range(round(HOURS / DT_H)):
        middle = (i + 0.5) * DT_H
        while middle > SPANS[span][0]:
            span += 1
        _, toward, band, divergence, current_east, current_north, mode = SPANS[span]
        grown = min(middle / GROWS_H, 1)
        share = WIND[0] + (WIND[1] - WIND[0]) * grown
        turn = DIRECTION[0] + (DIRECTION[1] - DIRECTION[0]) * grown
        if rng.random() < odd:
            side = -side
        v = speed(band, place[mode]) * max(0.0, 1 + share * next(wind))
        b = math.radians(toward) + turn * next(direction) + math.radians(divergence) * off[mode] * side
        east = v * math.sin(b) + current_east + CURRENT * next(eastward)
        north = v * math.cos(b) + current_north + CURRENT * next(northward)
        before = lat
        lat, lon = advance(lat, lon, east * DT_H * 3600, north * DT_H * 3600)
        if lat >= SHORE:
            return lat, lon, (i + (SHORE - before) / (lat - before)) * DT_H
    return lat, lon, None


def main():
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 100000
    rng = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    runs = [particle(rng, math.radians(70), math.radians(10)) for _ in range(n)]
    lats, lons = [math.degrees(r[0]) for r in runs], [math.degrees(r[1]) for r in runs]
    times = sorted(r[2] for r in runs if r[2] is not None)
    for name, x in (("latitude", lats), ("longitude", lons)):
        mean = math.fsum(x) / n
        print(f"{name}: mean {mean:.6f} deg, standard deviation {math.sqrt(math.fsum((v - mean) ** 2 for v in x) / n):.6f} deg")
    for h in (12, 24, 36):
        print(f"ashore within {h} h: {sum(t <= h for t in times) / n:.5f}")
    print(f"5 % of all ashore by {times[int(0.05 * n)]:.4f} h, half by {times[n // 2]:.4f} h" if 2 * len(times) > n else f"{len(times)} ashore; 5 % by {times[int(0.05 * n)]:.4f} h")


if __name__ == "__main__":
    main()
