"""Checks a boat's track against filterpy's Kalman filter and its Rauch-Tung-Striebel smoother.

Reads cases from standard input, one JSON object a line: {"acceleration": q, "steps": [...]}, q the spectral density of
the acceleration's noise in m2/s3. A step has "dt" (seconds since the last, null at the first), "place" as seen [x, y]
with variance "place_m2", "velocity" as seen or null with variance "velocity_m2", and what the program under test
believes: "known" and, in hindsight of all steps, "hindsight", each {"place": [x, y], "velocity": [vx, vy], "pp": ...,
"pv": ..., "vv": ...}. The velocity is taken in before the place. filterpy starts from what is known at the first step
and has a filter for each axis. Prints how many steps agree. Exits with 1 and a message at the first difference beyond
1e-6, at a line that is no case, and when there is no case at all.
"""

import json
import sys

import numpy
from filterpy.kalman import KalmanFilter

TOLERANCE = 1e-6


def state(belief, axis):
    """State and covariance of one axis."""
    x = numpy.array([belief["place"][axis], belief["velocity"][axis]], dtype=float)
    return x, numpy.array([[belief["pp"], belief["pv"]], [belief["pv"], belief["vv"]]], dtype=float)


def run(case, axis):
    """States, covariances, transitions and process noises, step by step."""
    first, *rest = case["steps"]
    q = case["acceleration"]
    kf = KalmanFilter(dim_x=2, dim_z=1)
    kf.x, kf.P = state(first["known"], axis)
    xs, ps, fs, qs = [kf.x.copy()], [kf.P.copy()], [numpy.eye(2)], [numpy.zeros((2, 2))]
    for step in rest:
        dt = step["dt"]
        f = numpy.array([[1.0, dt], [0.0, 1.0]])
        noise = q * numpy.array([[dt**3 / 3, dt**2 / 2], [dt**2 / 2, dt]])
        kf.predict(F=f, Q=noise)
        if step["velocity"] is not None:
            kf.update(step["velocity"][axis], R=step["velocity_m2"], H=numpy.array([[0.0, 1.0]]))
        kf.update(step["place"][axis], R=step["place_m2"], H=numpy.array([[1.0, 0.0]]))
        xs.append(kf.x.copy())
        ps.append(kf.P.copy())
        fs.append(f)
        qs.append(noise)
    xs, ps = numpy.array(xs), numpy.array(ps)
    smooth, smooth_ps, _, _ = kf.rts_smoother(xs, ps, Fs=fs, Qs=qs)
    return (xs, ps), (smooth, smooth_ps)


def main():
    cases, steps, worst = 0, 0, 0.0
    for number, line in enumerate(sys.stdin, 1):
        try:
            case = json.loads(line)
            found = [run(case, axis) for axis in range(2)]
        except (ValueError, KeyError, TypeError, IndexError) as error:
            sys.exit(f"line {number}: no case: {error!r}")
        for at, step in enumerate(case["steps"]):
            for axis, both in enumerate(found):
                for what, (xs, ps) in zip(["known", "hindsight"], both):
                    x, p = state(step[what], axis)
                    off = max(numpy.abs(x - xs[at]).max(), numpy.abs(p - ps[at]).max())
                    if not off <= TOLERANCE:
                        sys.exit(f"line {number}, step {at}, axis {axis}: {what} {x} {p}, but filterpy has {xs[at]} {ps[at]}")
                    worst = max(worst, off)
            steps += 1
        cases += 1
    if cases == 0 or steps <= cases:
        sys.exit("too few cases on standard input")
    print(f"{steps} steps of {cases} tracks agree within {worst:.1e}")


if __name__ == "__main__":
    main()
