"""Checks that query engines read the folders of many boats as one table, by the queries of the page.

    folders.py duckdb|pyarrow PAGE DIR ALL.jsonl
    folders.py spark PAGE DIR ALL.jsonl DATA

ALL.jsonl has the pull records of all boats. The query's answer is compared, and then every value of every pull. DATA has
every table of a boat as .parquet and .jsonl: Spark, a cluster in one process, reads those too.
"""

import datetime
import os
import re
import sys

from formats import PULLS, day, lines, rows, same, time

TIMES = ("started_at", "ended_at", "set_at")


def query(page, engine):
    with open(page, encoding="utf-8") as file:
        return re.search(rf"```\w+\n(?:--|#) {engine}\n(.*?)```", file.read(), re.S).group(1)


def answer(wanted):
    """Pulls and keepers by boat and trap, since February 2027."""
    groups = {}
    for row in wanted:
        if row["day"] is None or row["day"] < "2027-02-01" or row["kind"] != "pull":
            continue
        pulls, keepers = groups.get((row["boat"], row["trap"]), (0, None))
        if row["keepers"] is not None:
            keepers = (keepers or 0) + row["keepers"]
        groups[row["boat"], row["trap"]] = (pulls + 1, keepers)
    return {(boat, trap, *counts) for (boat, trap), counts in groups.items()}


def everything(engine, found, wanted):
    """Found are dictionaries of real types."""
    same(f"{engine} rows", len(found), len(wanted))
    found = {row["pull"]: row for row in found}
    for row in wanted:
        for column in PULLS:
            cell, expected = found[row["pull"]][column], row[column]
            if column in TIMES:
                expected = time(expected)
                if cell is not None and cell.tzinfo is None:
                    cell = cell.replace(tzinfo=datetime.timezone.utc)
            if column == "day":
                expected = day(expected)
                cell = day(cell) if isinstance(cell, str) else cell
            same(f"{engine} {row['pull']} {column}", cell, expected)


def by_duckdb(text, folder, wanted):
    import duckdb

    connection = duckdb.connect()
    connection.execute("SET TimeZone = 'UTC'")
    text = text.replace("DIR", folder)
    same("duckdb's answer", set(connection.execute(text).fetchall()), answer(wanted))
    source = re.search(r"read_parquet\(.*\)", text).group(0)
    table = connection.execute(f"SELECT * FROM {source}")
    names = [column[0] for column in table.description]
    everything("duckdb", [dict(zip(names, row)) for row in table.fetchall()], wanted)


def by_pyarrow(text, folder, wanted):
    names = {}
    exec(text.replace("DIR", folder), names)
    found = {(r["boat"], r["day"], r["trap"], r["keepers"]) for r in names["table"].to_pylist()}
    same("pyarrow's answer", found, {(r["boat"], day(r["day"]), r["trap"], r["keepers"]) for r in wanted})
    dataset = names["ds"].dataset(folder, partitioning=names["folders"])
    everything("pyarrow", dataset.to_table().to_pylist(), wanted)


def by_spark(text, folder, wanted, data):
    os.environ |= {"TZ": "UTC", "LC_ALL": "C.UTF-8", "SPARK_LOCAL_IP": "127.0.0.1"}
    from pyspark.sql import SparkSession

    options = {
        "spark.ui.enabled": "false",
        "spark.sql.session.timeZone": "UTC",
        "spark.sql.shuffle.partitions": "1",
        "spark.sql.sources.partitionColumnTypeInference.enabled": "false",
    }
    spark = SparkSession.builder.master("local[1]").config(map=options).getOrCreate()
    names = {"spark": spark}
    exec(text.replace("DIR", folder), names)
    same("spark's answer", {tuple(row) for row in names["table"].collect()}, answer(wanted))
    everything("spark", [row.asDict() for row in spark.read.parquet(folder).collect()], wanted)
    for table in ("pulls", "notes", "weighings", "track", "traps", "days"):
        expected = lines(os.path.join(data, f"{table}.jsonl"))
        found = [row.asDict() for row in spark.read.parquet(os.path.join(data, f"{table}.parquet")).collect()]
        if table == "pulls":
            everything("spark, one file", found, rows(expected))
        else:
            every_row(table, found, expected)
        print(f"spark {table}: {len(found)} rows agree")
    spark.stop()


def every_row(table, found, wanted):
    """Rows in order, each with the columns of the JSON, beside the geometry."""
    same(f"spark {table} rows", len(found), len(wanted))
    for number, (cells, row) in enumerate(zip(found, wanted)):
        same(f"spark {table} columns", [name for name in cells if name != "geometry"], list(row))
        for column, expected in row.items():
            cell = cells[column]
            if isinstance(cell, datetime.datetime):
                expected, cell = time(expected), cell.replace(tzinfo=datetime.timezone.utc)
            elif isinstance(cell, datetime.date):
                expected = day(expected)
            same(f"spark {table} {number} {column}", cell, expected)


def main():
    engine, page, folder, records, *more = sys.argv[1:]
    wanted = rows(lines(records))
    {"duckdb": by_duckdb, "pyarrow": by_pyarrow, "spark": by_spark}[engine](query(page, engine), folder, wanted, *more)
    boats = {row["boat"] for row in wanted}
    print(f"{engine}: {len(wanted)} pulls of {len(boats)} boats agree, {len(answer(wanted))} rows of the query")


if __name__ == "__main__":
    main()
