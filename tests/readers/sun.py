"""Checks sunrise and sunset against astral and ephem.

    sun.py cases    prints places and moments, [latitude, longitude, seconds of POSIX time] a line
    sun.py judge    standard input: the same lines with rise and set added, in seconds of POSIX time, or "above" or "below"
                    where the sun does not cross the horizon before or after its noon

The moments are the sun's mean noon on solstices and equinoxes of several years, from 65° south to 65° north; beyond the
polar circles on solstices, where there is nothing to cross.
"""

import datetime
import json
import sys

import astral
import astral.sun
import ephem

# Seconds; 60 where not said.
MOST_S = {"ephem": 10, "astral with this horizon": 10, "astral at 65 degrees": 110}
UTC = datetime.timezone.utc
EPHEM_EPOCH = datetime.datetime(1899, 12, 31, 12, tzinfo=UTC)


def cases():
    for year in (1990, 2024, 2027, 2050):
        for month, day in ((3, 20), (6, 21), (9, 22), (12, 21)):
            midnight = datetime.datetime(year, month, day, tzinfo=UTC).timestamp()
            for lon in (-179.5, -81.4, -8.8, 0.0, 33.3, 147.4, 180.0):
                noon = midnight + 43_200 - lon * 240
                polar = (-89, -80, -68.5, 68.5, 80, 89) if month in (6, 12) else ()
                for lat in (*range(-65, 66, 5), *polar):
                    yield [lat, lon, noon]


def by_ephem(lat, lon, noon):
    place = ephem.Observer()
    place.lat, place.lon = str(lat), str(lon)
    place.pressure, place.horizon = 0, "-0:50"
    place.date = ephem.Date(datetime.datetime.fromtimestamp(noon, UTC).replace(tzinfo=None))
    found = []
    for event in (place.previous_rising, place.next_setting):
        try:
            days = float(event(ephem.Sun(), use_center=True))
            found.append((EPHEM_EPOCH + datetime.timedelta(days=days)).timestamp())
        except ephem.AlwaysUpError:
            found.append("above")
        except ephem.NeverUpError:
            found.append("below")
    return found


def by_astral(lat, lon, rise, set_, own):
    """Astral's events nearest to the ones found: it counts days in UTC, others lie a day off."""
    place = astral.Observer(lat, lon)
    found = []
    for direction, near in ((astral.SunDirection.RISING, rise), (astral.SunDirection.SETTING, set_)):
        day = datetime.datetime.fromtimestamp(near, UTC).date()
        times = []
        for day in [day + datetime.timedelta(days=n) for n in (-1, 0, 1)]:
            if own:
                event = astral.sun.sunrise if direction == astral.SunDirection.RISING else astral.sun.sunset
                times.append(event(place, date=day, tzinfo=UTC).timestamp())
            else:
                time = astral.sun.time_of_transit(place, day, 90.833, direction, with_refraction=False)
                times.append(time.timestamp())
        found.append(min(times, key=lambda t: abs(t - near)))
    return found


def judge():
    crossed, polar, worst = 0, 0, {}
    for line in sys.stdin:
        lat, lon, noon, rise, set_ = json.loads(line)
        expected = by_ephem(lat, lon, noon)
        if isinstance(rise, str) or isinstance(expected[0], str):
            if [rise, set_] != expected:
                sys.exit(f"{line.strip()}: ephem has {expected}")
            polar += 1
            continue
        readers = {
            "ephem": expected,
            "astral with this horizon": by_astral(lat, lon, rise, set_, own=False),
            "astral to 60 degrees": by_astral(lat, lon, rise, set_, own=True),
        }
        # Astral's own horizon is 0.04 degrees higher; at 65 degrees, where the sun only grazes it, that is 100 s.
        if abs(lat) > 60:
            readers["astral at 65 degrees"] = readers.pop("astral to 60 degrees")
        for reader, other in readers.items():
            off = max(abs(rise - other[0]), abs(set_ - other[1]))
            worst[reader] = max(worst.get(reader, 0), off)
            if not off <= MOST_S.get(reader, 60):
                sys.exit(f"{line.strip()}: {off:.0f} s from {reader}")
        crossed += 1
    if crossed < 1_000 or polar < 50:
        sys.exit(f"too few cases: {crossed} and {polar} polar ones")
    differences = ", ".join(f"{off:.0f} s from {reader}" for reader, off in worst.items())
    print(f"{crossed} days: at most {differences}; {polar} polar ones as ephem has them")


if __name__ == "__main__":
    if sys.argv[1] == "cases":
        for case in cases():
            print(json.dumps(case))
    else:
        judge()
