"""Trap files by other programs' libraries.

    traps.py write DIR                    writes DIR/traps.gpx (gpxpy) and DIR/traps.geojson (geojson)
    traps.py judge LIST.csv [--set-at]    checks a `traps list --format csv` against what was written
"""

import csv
import pathlib
import random
import sys

import geojson
import gpxpy.gpx

DEGREES = 1e-7
NAMES = ["007", "7", "=1+1", '12 "north"', "a,b;c", "Ann & <Bob>", "O'Neil", "🦀", "سلطعون", "Käfig 3", "-4", "1e5", "null"]


def traps():
    some = random.Random(7)
    for number, name in enumerate(NAMES + [f"T{n}" for n in range(200)]):
        lat, lon = round(some.uniform(-90, 90), 8), round(some.uniform(-179.9, 180), 8)
        set_at = f"2027-01-{number % 28 + 1:02d}T12:30:00.000Z" if number % 3 else None
        yield name, lat, lon, set_at


def write(directory):
    gpx = gpxpy.gpx.GPX()
    features = []
    for name, lat, lon, set_at in traps():
        gpx.waypoints.append(gpxpy.gpx.GPXWaypoint(lat, lon, name=name, symbol="Buoy", comment="set by hand"))
        point = geojson.Point((lon, lat), precision=8)
        properties = {"trap": name, "colour": "orange"} | ({"set_at": set_at} if set_at else {})
        features.append(geojson.Feature(geometry=point, properties=properties))
    collection = geojson.FeatureCollection(features)
    assert collection.is_valid, collection.errors()
    directory = pathlib.Path(directory)
    (directory / "traps.gpx").write_text(gpx.to_xml(), encoding="utf-8")
    (directory / "traps.geojson").write_text(geojson.dumps(collection), encoding="utf-8")


def judge(path, with_set_at):
    with open(path, newline="", encoding="utf-8") as file:
        listed = {row["trap"]: row for row in csv.DictReader(file, strict=True)}
    written = list(traps())
    if len(listed) != len(written):
        sys.exit(f"{len(listed)} traps listed, but {len(written)} written")
    for name, lat, lon, set_at in written:
        row = listed.get(name) or sys.exit(f"trap {name!r} is not listed")
        if abs(float(row["lat"]) - lat) > DEGREES or abs(float(row["lon"]) - lon) > DEGREES:
            sys.exit(f"trap {name!r}: {row}, but it was written at {lat}, {lon}")
        if row["set_at"] != (set_at or "" if with_set_at else ""):
            sys.exit(f"trap {name!r}: {row}, but it was set at {set_at}")
    print(f"{len(written)} traps agree")


if __name__ == "__main__":
    if sys.argv[1] == "write":
        write(sys.argv[2])
    else:
        judge(sys.argv[2], "--set-at" in sys.argv)
