"""Checks what is read from sentences against pynmea2 and pynmeagps.

    sentences.py samples DIR    prints the sentences of the source packages in DIR, one JSON string a line
    sentences.py judge          standard input: per line {"sentence", "whole", "kind", "lat", "lon", "tod_us", "date"}
    sentences.py judge --all    the same, and both libraries must be able to read every sentence

Positions must be equal to 1e-9 degrees, times to the microsecond that pynmea2 loses by cutting a float, dates exactly.
No position is right only where the fields hold none: empty, 0° N 0° E, minutes from 60 on, beyond a pole or half a turn.
"""

import json
import pathlib
import re
import sys
import tarfile

import pynmea2
import pynmeagps

from framing import BLANK, exactly_one

DEGREES = 1e-9
WITH_POSITION = ("RMC", "GGA", "GNS", "GLL")
WITH_TIME = WITH_POSITION + ("GST", "ZDA")
SAMPLE = re.compile(r"[$!][A-Z]{3,}[^\"'\\\n]*\*[0-9A-Fa-f]{2}")


def samples(directory):
    found = {}
    for package in sorted(pathlib.Path(directory).glob("*.tar.gz")):
        with tarfile.open(package) as tar:
            for member in tar:
                if re.search(r"/(tests?|examples)/.*\.(py|log)$", member.name):
                    text = tar.extractfile(member).read().decode("utf-8", "replace")
                    found.update(dict.fromkeys(SAMPLE.findall(text)))
    for sentence in found:
        print(json.dumps(sentence))


def ask(read):
    """What a library says, or None where it has no answer."""
    try:
        return read()
    except (ValueError, TypeError, AttributeError, IndexError, KeyError, pynmea2.ParseError):
        return None


def by_pynmea2(sentence):
    message = ask(lambda: pynmea2.parse(sentence, check=True))
    if message is None:
        return None
    kind = getattr(message, "sentence_type", None)
    said = {"tod_us": None, "date": None, "position": None}
    if kind in WITH_TIME:
        said["tod_us"] = ask(lambda: of_day(message.timestamp))
    if kind == "RMC":
        said["date"] = ask(lambda: message.datestamp.isoformat())
    if kind == "ZDA" and (date := ask(lambda: (message.year, message.month, message.day))) and all(date):
        said["date"] = "%04d-%02d-%02d" % date
    if kind in WITH_POSITION and ask(lambda: message.lat_dir in tuple("NS") and message.lon_dir in tuple("EW")):
        said["position"] = ask(lambda: (message.latitude, message.longitude))
    return said


def by_pynmeagps(sentence):
    try:
        message = pynmeagps.NMEAReader.parse(sentence, validate=pynmeagps.VALCKSUM)
    except (pynmeagps.NMEAParseError, pynmeagps.NMEAMessageError, pynmeagps.NMEATypeError, ValueError, TypeError, KeyError):
        return None
    said = {"tod_us": None, "date": None, "position": None}
    if message.msgID in WITH_TIME and not isinstance(time := getattr(message, "time", ""), str):
        said["tod_us"] = of_day(time)
    if message.msgID == "RMC" and not isinstance(date := getattr(message, "date", ""), str):
        said["date"] = date.isoformat()
    if message.msgID in WITH_POSITION:
        lat, lon = getattr(message, "lat", ""), getattr(message, "lon", "")
        if not isinstance(lat, str) and not isinstance(lon, str) and message.NS and message.EW:
            said["position"] = (lat, lon)
    return said


def of_day(time):
    return ((time.hour * 60 + time.minute) * 60 + time.second) * 1_000_000 + time.microsecond


def holds_none(fields):
    """Whether these four fields hold no position of this earth."""
    lat, _, lon, _ = fields
    for angle, most in ((lat, 90), (lon, 180)):
        match = re.fullmatch(r"(\d*?)(\d\d(?:\.\d*)?)", angle)
        if not match or float(match[2]) >= 60 or float(match[1] or 0) + float(match[2]) / 60 > most:
            return True
    return not any(c in "123456789" for c in lat + lon)


def differences(ours, theirs, fields):
    if (position := theirs["position"]) is not None:
        if ours["lat"] is None:
            if not holds_none(fields):
                yield f"no position, but {position}"
        elif abs(ours["lat"] - position[0]) > DEGREES or abs(ours["lon"] - position[1]) > DEGREES:
            yield f"position {ours['lat']}, {ours['lon']}, but {position}"
    if (tod_us := theirs["tod_us"]) is not None and (ours["tod_us"] is None or abs(ours["tod_us"] - tod_us) > 1):
        yield f"time of day {ours['tod_us']}, but {tod_us}"
    if theirs["date"] is not None and ours["date"] != theirs["date"]:
        yield f"date {ours['date']}, but {theirs['date']}"


def judge(every):
    libraries = {"pynmea2": by_pynmea2, "pynmeagps": by_pynmeagps}
    agreed = {name: {"sentences": 0, "positions": 0, "times": 0} for name in libraries}
    count = 0
    for line in sys.stdin:
        ours = json.loads(line)
        sentence = ours["sentence"]
        count += 1
        if ours["whole"] != exactly_one(sentence.encode("utf-8").strip(BLANK)):
            sys.exit(f"{sentence!r}: a whole sentence: {ours['whole']}, but the rules say otherwise")
        if not ours["whole"]:
            continue
        from_field = 1 if ours["kind"] == "GLL" else 3 if ours["kind"] == "RMC" else 2
        fields = (sentence.rsplit("*", 1)[0].split(",") + [""] * 8)[from_field : from_field + 4]
        for name, read in libraries.items():
            theirs = read(sentence)
            if theirs is None:
                if every:
                    sys.exit(f"{sentence!r}: {name} cannot read it")
                continue
            for difference in differences(ours, theirs, fields):
                sys.exit(f"{sentence!r}: {difference} by {name}")
            agreed[name]["sentences"] += 1
            agreed[name]["positions"] += theirs["position"] is not None
            agreed[name]["times"] += theirs["tod_us"] is not None
    for name, counts in agreed.items():
        if not all(counts.values()):
            sys.exit(f"nothing was compared with {name}: {counts}")
        print(f"{name} agrees on {counts} of {count} sentences")


if __name__ == "__main__":
    if sys.argv[1] == "samples":
        samples(sys.argv[2])
    else:
        judge("--all" in sys.argv)
