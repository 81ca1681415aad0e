"""The distance from places to the nearest shore, from the source of the data and by other means than this package.

    ncdump /usr/share/gmt-gshhg/binned_GSHHS_h.nc | python3 nearest.py LATITUDE LONGITUDE [LATITUDE LONGITUDE ...]

Shares nothing with the package: reads the dump afresh, measures with Vincenty's inverse (Survey Review 23, 1975) and
looks at every shore there is. Prints metres. Its answers stand in testdata/published/coast_derived.json.
"""
import math
import re
import sys

A, F = 6378137.0, 1 / 298.257223563
B = A * (1 - F)


def vincenty(lat1, lon1, lat2, lon2):
    u1, u2 = (math.atan((1 - F) * math.tan(math.radians(x))) for x in (lat1, lat2))
    s1, c1, s2, c2 = math.sin(u1), math.cos(u1), math.sin(u2), math.cos(u2)
    big = lam = math.radians(math.remainder(lon2 - lon1, 360))
    for _ in range(200):
        sl, cl = math.sin(lam), math.cos(lam)
        ss = math.hypot(c2 * sl, c1 * s2 - s1 * c2 * cl)
        if ss == 0:
            return 0.0
        cs = s1 * s2 + c1 * c2 * cl
        sigma = math.atan2(ss, cs)
        sa = c1 * c2 * sl / ss
        ca2 = 1 - sa * sa
        c2m = cs - 2 * s1 * s2 / ca2 if ca2 else 0.0
        c = F / 16 * ca2 * (4 + F * (4 - 3 * ca2))
        last, lam = lam, big + (1 - c) * F * sa * (sigma + c * ss * (c2m + c * cs * (2 * c2m * c2m - 1)))
        if abs(lam - last) < 1e-13:
            break
    k = ca2 * (A * A - B * B) / (B * B)
    big_a = 1 + k / 16384 * (4096 + k * (-768 + k * (320 - 175 * k)))
    big_b = k / 1024 * (256 + k * (-128 + k * (74 - 47 * k)))
    d = big_b * ss * (c2m + big_b / 4 * (cs * (2 * c2m * c2m - 1)
                      - big_b / 6 * c2m * (4 * ss * ss - 3) * (4 * c2m * c2m - 3)))
    return B * big_a * (sigma - d)


def haversine(lat1, lon1, lat2, lon2):
    p, q = math.radians(lat1), math.radians(lat2)
    h = math.sin((p - q) / 2) ** 2 + math.cos(p) * math.cos(q) * math.sin(math.radians(lon1 - lon2) / 2) ** 2
    return 2 * 6371000 * math.asin(math.sqrt(h))


def segments():
    text = sys.stdin.read()
    v = {}
    for name, values in re.findall(r"\n (\w+) = ([^;]*);", text[text.index("\ndata:"):]):
        if "km_squared" not in name:
            v[name] = [-32767 if x.strip() == "_" else int(x.strip().rstrip("b")) for x in values.split(",")]
    columns = v["N_bins_in_360_longitude_range"][0]
    size = 360 / columns
    east, north = v["Relative_longitude_from_SW_corner_of_bin"], v["Relative_latitude_from_SW_corner_of_bin"]
    for b, (first, count) in enumerate(zip(v["Id_of_first_segment_in_a_bin"], v["N_segments_in_a_bin"])):
        south, west = 90 - size * (b // columns + 1), size * (b % columns)
        for s in range(first, first + count):
            info, start = v["Embedded_npts_levels_exit_entry_for_a_segment"][s], v["Id_of_first_point_in_a_segment"][s]
            if info >> 6 & 7 == 6:  # the grounding line of Antarctica
                continue
            p = [(south + (north[i] & 0xFFFF) * size / 65535, west + (east[i] & 0xFFFF) * size / 65535)
                 for i in range(start, start + (info >> 9))]
            yield from zip(p, p[1:])


def nearest(lat, lon, shores):
    near = []
    best = math.inf
    for a, b in shores:
        if abs(a[0] - lat) * 111000 > best * 1.02 + 60000:
            continue
        d = min(haversine(lat, lon, *a), haversine(lat, lon, *b))
        if d < best * 1.02 + 60000:  # the longest segment is 49 km; the sphere is wrong by half a hundredth
            near.append((d, a, b))
            best = min(best, d)
    answer = math.inf
    for d, a, b in near:
        if d > best * 1.02 + 60000:
            continue
        along = lambda t: vincenty(lat, lon, a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]))
        if min(along(0), along(1)) - haversine(*a, *b) * 1.02 > answer:
            continue
        low, high = 0.0, 1.0
        for _ in range(60):
            x, y = low + (high - low) / 3, high - (high - low) / 3
            if along(x) < along(y):
                high = y
            else:
                low = x
        answer = min(answer, along(low))
    return answer


if __name__ == "__main__":
    all_shores = list(segments())
    places = [float(x) for x in sys.argv[1:]]
    for place in zip(places[::2], places[1::2]):
        print("%g %g: %.2f m" % (*place, nearest(*place, all_shores)), flush=True)
