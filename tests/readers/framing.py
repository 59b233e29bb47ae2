"""Where NMEA 0183 sentences begin and end, written anew from the rules, for the other scripts here.

Rules: "NMEA Revealed" (the gpsd project), "NMEA 0183 Physical Protocol Layer"; the contract of `ingest`: a line that is
not exactly one sentence with a right checksum is refused, even if a sentence is saved from it.
"""

import functools
import operator
import re

ENDING = re.compile(rb"\*([0-9A-Fa-f]{2})")
AMID = re.compile(rb"[$!]([0-9A-Za-z]{3,},[\x20\x22\x23\x25-\x29\x2b-\x7e]*)\*([0-9A-Fa-f]{2})")
BLANK = b" \t\n\r\x0c"


def checksum(text):
    return functools.reduce(operator.xor, text, 0)


def is_right(text, digits):
    return checksum(text) == int(digits, 16)


def exactly_one(line):
    """Whether bytes without white space at their ends are one whole sentence that is text, and nothing more."""
    if line[:1] not in (b"$", b"!"):
        return False
    ends = [m.end() for m in ENDING.finditer(line) if is_right(line[1 : m.start()], m[1])]
    if ends != [len(line)]:
        return False
    try:
        line.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def sentences(line):
    """The sentences a line gives: itself, or those that can be saved from it."""
    if exactly_one(line):
        return [line.decode("utf-8")]
    return [m[0].decode("ascii") for m in AMID.finditer(line) if is_right(m[1], m[2])]
