"""Counts a tape or NMEA log independently, and checks `ingest`'s last line and `export --table track` against it.

    logs.py LOG TRACK.csv "lines N refused R fixes F pulls P" [--dates]

With --dates, the dates that the sentences give must stand in the track too.

Sentences are read by pynmea2. A position epoch is what the sentences of one time of day say together: some one with a
position says its fix is good (quality 1 to 5 or 9, modes A D P R F), none says that there is no fix, or one that is
estimated, typed in or simulated. Each time of day counts once within a minute, and an epoch ends with the first sentence
of another time or 0.6 s of silence. The clock is a tape's `t`; a plain log's is its own time of day, which stands still
where that goes back.
"""

import csv
import datetime
import json
import sys

import pynmea2

from framing import BLANK, exactly_one, sentences
from sentences import DEGREES, WITH_POSITION, WITH_TIME, ask, holds_none, of_day

DAY = 86_400_000_000
QUIET, FORGET = 600_000, 60_000_000
RANK = {"GGA": 4, "GNS": 3, "RMC": 2, "GLL": 1}
KNOWN = {"gps": str, "scale": str, "said": str, "button": bool}
GOOD, VOID, SILENT = "good", "void", "silent"


def fix_of(message):
    kind = message.sentence_type
    if kind == "GGA":
        quality = message.data[5].strip() if len(message.data) > 5 else ""
        return SILENT if not quality else GOOD if quality in tuple("123459") else VOID
    if kind == "GNS":
        modes = message.mode_indicator or ""
        heard = set(modes) - {"N"}
        return SILENT if not modes else GOOD if heard and heard <= set("ADPRF") else VOID
    mode = (message.mode_indicator if kind == "RMC" else message.faa_mode) or ""
    if message.status == "A":
        return GOOD if mode in tuple("ADPRF") + ("",) else VOID
    return GOOD if message.status == "V" and mode in tuple("RFP") else VOID


class Epochs:
    def __init__(self):
        self.done, self.open, self.heard = [], None, {}

    def close(self):
        if self.open:
            tod, last, void, best, date = self.open
            if void or best:
                self.heard[tod] = last
            if best and not void:
                self.done.append((tod, date, *best[1]))
        self.open = None

    def take(self, t, sentence):
        if self.open and t - self.open[1] >= QUIET:
            self.close()
        message = ask(lambda: pynmea2.parse(sentence, check=True))
        kind = getattr(message, "sentence_type", None)
        if kind not in WITH_POSITION + ("GST",) or sentence[0] != "$":
            return
        tod = ask(lambda: of_day(message.timestamp))
        if tod is None:
            return
        if not self.open or self.open[0] != tod:
            if tod in self.heard and t - self.heard[tod] <= FORGET:
                self.heard[tod] = t
                return
            self.close()
            self.open = [tod, t, False, None, None]
        self.open[1] = t
        if kind == "GST":
            return
        fix = fix_of(message)
        if fix == VOID:
            self.open[2] = True
        if kind == "RMC":
            self.open[4] = ask(lambda: message.datestamp)
        fields = [message.lat, message.lat_dir, message.lon, message.lon_dir]
        position = ask(lambda: (message.latitude, message.longitude))
        usable = position and fields[1] in tuple("NS") and fields[3] in tuple("EW") and not holds_none(fields)
        if fix == GOOD and usable and (not self.open[3] or RANK[kind] > self.open[3][0]):
            self.open[3] = (RANK[kind], position)


class LogClock:
    def __init__(self):
        self.t, self.last = 0, None

    def stamp(self, sentence):
        message = ask(lambda: pynmea2.parse(sentence, check=True))
        now = ask(lambda: of_day(message.timestamp)) if sentence[3:6] in WITH_TIME else None
        if now is not None:
            if self.last is not None:
                self.t += max(0, (now - self.last + DAY // 2) % DAY - DAY // 2)
            self.last = now
        return self.t


def tape_line(line):
    """`t` in microseconds and the sentence of a line that is understood; None for one that is not."""
    try:
        said = json.loads(line.decode("utf-8"))
    except ValueError:
        return None
    if not isinstance(said, dict) or type(said.get("t")) not in (int, float):
        return None
    kinds = [kind for kind in KNOWN if kind in said]
    if not kinds or any(type(said[kind]) is not KNOWN[kind] for kind in kinds):
        return None
    return round(said["t"] * 1e6), said.get("gps")


def count(log):
    lines = refused = 0
    tape, clock, epochs = None, LogClock(), Epochs()
    with open(log, "rb") as file:
        for line in file.read().split(b"\n"):
            line = line.strip(BLANK)
            if not line or line.startswith(b"#"):
                continue
            lines += 1
            tape = line.startswith(b"{") if tape is None else tape
            t = None
            if tape:
                understood = tape_line(line)
                if understood is None:
                    refused += 1
                    continue
                t, gps = understood
                if gps is None:
                    continue
                line = gps.encode("utf-8").strip(BLANK)
            refused += not exactly_one(line)
            for sentence in sentences(line):
                epochs.take(clock.stamp(sentence) if t is None else t, sentence)
    epochs.close()
    return lines, refused, epochs.done


def main():
    log, track, said, *dates = sys.argv[1:]
    lines, refused, epochs = count(log)
    words = said.split()
    theirs = dict(zip(words[::2], map(int, words[1::2])))
    ours = {"lines": lines, "refused": refused, "fixes": len(epochs)}
    if any(theirs[key] != ours[key] for key in ours):
        sys.exit(f"{log}: {said}, but counted independently {ours}")
    with open(track, newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file, strict=True))
    if len(rows) != len(epochs):
        sys.exit(f"{log}: {len(rows)} rows in the track, but {len(epochs)} position epochs")
    dated = 0
    for number, (row, (tod, date, lat, lon)) in enumerate(zip(rows, epochs), 1):
        # The track states eight decimals.
        off = max(abs(float(row["lat"]) - lat), abs(float(row["lon"]) - lon))
        if off > 0.5e-8 + DEGREES:
            sys.exit(f"{log}: row {number} {row}, but the position is {lat}, {lon}")
        if row["at"]:
            dated += 1
            at = datetime.datetime.strptime(row["at"], "%Y-%m-%dT%H:%M:%S.%fZ")
            if dates and date and at.date() != date:
                sys.exit(f"{log}: row {number} {row}, but its date is {date}")
            # Milliseconds are stated.
            if abs((of_day(at) - tod + DAY // 2) % DAY - DAY // 2) > 501:
                sys.exit(f"{log}: row {number} {row}, but its time of day is {tod / 1e6} s")
    if dates and dated != len(epochs):
        sys.exit(f"{log}: {len(epochs) - dated} position epochs have no date")
    print(f"lines {lines} refused {refused} fixes {len(epochs)}, {dated} of them dated: agreed")


if __name__ == "__main__":
    main()
