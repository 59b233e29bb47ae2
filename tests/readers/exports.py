"""Checks that a table says the same as CSV, read by Python's csv module and by duckdb, and as JSON Lines.

    exports.py TABLE TABLE.csv TABLE.jsonl

Every row and every column is compared. Records end with CRLF, and the header is the contract's.
"""

import csv
import json
import re
import sys

import duckdb

PULLS = (
    "pull,kind,boat,day,started_at,ended_at,time_source,lat,lon,sd_m,fixes,trap,pairing,probability,distance_m,"
    "runner_up,soak_h,set_at,set_lat,set_lon,crabs,keepers,claws,both,shorts,berried,females,males,soft,dead,regrown,"
    "crushers,pincers,left_handed,right_handed,bad_breaks,bait_left,bait_added,bait_pieces,bait_kind,tie,tie_new,lid,"
    "tampered,trap_state,taken_in,bottom,sizes,other,total_g,weight_sd_g,weighings,depth_m,water_c,notes,text,flags"
).split(",")
TALLY = PULLS[PULLS.index("crabs") : PULLS.index("other") + 1]
TRACK = "at,lat,lon,quality,hdop,sd_m,speed_m_s".split(",")


def pull(record):
    """The row that the contract makes of a pull record."""
    position, placed, weight = record["position"] or {}, record["set"] or {}, record["weight"] or {}
    pairing, notes = record["pairing"], record["notes"]
    row = {key: record[key] for key in PULLS if key in record}
    row |= {key: position.get(key) for key in ("lat", "lon", "sd_m", "fixes")}
    row |= {"pairing": pairing["grade"]} | {key: pairing[key] for key in ("probability", "distance_m", "runner_up")}
    row |= {"set_at": placed.get("at"), "set_lat": placed.get("lat"), "set_lon": placed.get("lon")}
    row |= {key: record["tally"].get(key) for key in TALLY}
    row |= {"total_g": weight.get("total_g"), "weight_sd_g": weight.get("sd_g")}
    row |= {"weighings": len(weight.get("weighings", [])), "notes": len(notes)}
    row |= {"text": " / ".join(note["text"] for note in notes if note["text"] is not None)}
    row |= {"flags": ";".join(record["flags"])}
    return row


def same(cell, value):
    if value is None:
        return cell == ""
    if isinstance(value, bool):
        return cell == str(value).lower()
    if isinstance(value, (int, float)):
        return cell != "" and float(cell) == value
    if isinstance(value, dict):
        return cell == ";".join(f"{word}:{count}" for word, count in value.items())
    return cell == value


def compare(reader, header, rows, wanted):
    if len(rows) != len(wanted):
        sys.exit(f"{reader}: {len(rows)} rows, but {len(wanted)} lines of JSON")
    for number, (row, record) in enumerate(zip(rows, wanted), 1):
        if len(row) != len(header):
            sys.exit(f"{reader}: row {number} has {len(row)} fields, the header {len(header)}")
        for column, cell in zip(header, row):
            if not same(cell, record[column]):
                sys.exit(f"{reader}: row {number} {column}: {cell!r}, but JSON has {record[column]!r}")


def main():
    table, csv_path, jsonl_path = sys.argv[1:]
    with open(jsonl_path, encoding="utf-8", newline="\n") as file:
        wanted = [json.loads(line) for line in file]
    if table == "pulls":
        wanted = [pull(record) for record in wanted]

    with open(csv_path, "rb") as file:
        raw = file.read().decode("utf-8")
    between = re.sub(r'"(?:[^"]|"")*"', "", raw)
    if between.replace("\r\n", "").count("\n") or between.replace("\r\n", "").count("\r"):
        sys.exit("a record that does not end with CRLF")
    if between.count("\r\n") != len(wanted) + 1 or not raw.endswith("\r\n"):
        sys.exit(f"{between.count(chr(13))} line ends for a header and {len(wanted)} rows")

    with open(csv_path, newline="", encoding="utf-8") as file:
        header, *rows = csv.reader(file, strict=True)
    expected = {"pulls": PULLS, "track": TRACK}.get(table) or (list(wanted[0]) if wanted else header)
    if header != expected or any(set(row) != set(expected) for row in wanted):
        sys.exit(f"the header is {header}, but should be {expected}")
    compare("csv", header, rows, wanted)

    if rows:
        relation = duckdb.read_csv(
            csv_path, header=True, all_varchar=True, delimiter=",", quotechar='"', escapechar='"', strict_mode=True
        )
        if relation.columns != header:
            sys.exit(f"duckdb: the header is {relation.columns}")
        compare("duckdb", header, [["" if cell is None else cell for cell in row] for row in relation.fetchall()], wanted)
    print(f"{table}: {len(rows)} rows of {len(header)} columns agree")


if __name__ == "__main__":
    main()
