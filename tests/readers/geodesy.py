"""Checks distances against GeographicLib.

    geodesy.py cases    prints pairs of positions, [lat1, lon1, lat2, lon2, published metres or null] a line
    geodesy.py judge    standard input: the same lines with the distance found as a sixth value

Published: the test set that GeographicLib's Python package carries, and the examples of Karney, "Algorithms for
geodesics", J. Geodesy 87 (2013) 43-55. The rest is computed with GeographicLib: near, far, antipodal and across the
antimeridian, from a fixed seed.
"""

import json
import random
import sys

from geographiclib.geodesic import Geodesic
from geographiclib.test.test_geodesic import GeodesicTest

MOST_M = 0.001
KARNEY = [
    [40, 0, 41.79331020506, 137.84490004377, 10_000_000.0],
    [-30.12345, 0, -30.12344, 0.00005, 4.944208],
    [-30, 0, 29.9, 179.8, 19_989_832.82761],
]


def cases():
    for lat1, lon1, _, lat2, lon2, _, metres, *_ in GeodesicTest.testcases:
        yield [lat1, lon1, lat2, lon2, metres]
    yield from KARNEY
    some = random.Random(2013)
    for _ in range(2_000):
        lat, lon = some.uniform(-90, 90), some.uniform(-180, 180)
        yield [lat, lon, some.uniform(-90, 90), some.uniform(-180, 180), None]
        # As far as traps and trips are apart.
        lat = some.uniform(24, 29)
        step = 10 ** some.uniform(-6, -0.5)
        yield [lat, lon, lat + some.uniform(-step, step), lon + some.uniform(-step, step), None]
        yield [lat, 180 - step, -lat, step - 180, None]
        # Nearly, and exactly, on the other side of the earth.
        yield [lat, lon, -lat + some.choice([0, step]), (lon + 360) % 360 - 180 + some.choice([0, step / 3]), None]


def judge():
    worst, published, count = 0.0, 0, 0
    for line in sys.stdin:
        lat1, lon1, lat2, lon2, given, found = json.loads(line)
        computed = Geodesic.WGS84.Inverse(lat1, lon1, lat2, lon2, Geodesic.DISTANCE)["s12"]
        for metres in [computed] if given is None else [computed, given]:
            if not abs(found - metres) <= MOST_M:
                sys.exit(f"{line.strip()}: {found} m, but GeographicLib has {metres} m")
            worst = max(worst, abs(found - metres))
        published += given is not None
        count += 1
    if not published or count <= published:
        sys.exit("too few cases")
    print(f"{count} distances, {published} of them published, agree within {worst:.1e} m")


if __name__ == "__main__":
    if sys.argv[1] == "cases":
        for case in cases():
            print(json.dumps(case))
    else:
        judge()
