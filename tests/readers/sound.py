"""Reads sound files independently, and checks that they hold what is expected.

    sound.py < EXPECTED.json

For each file: `path`; `raw`, a file of its samples; `bext`, its fields by wavinfo's names, or null; `markers`, if any, its
[first sample, text] pairs; `programs`, whether ffmpeg, ffprobe and sox are to read it too. Samples are read by soundfile
(libsndfile), fields and markers by wavinfo.
"""

import json
import subprocess
import sys

import numpy
import soundfile
from wavinfo import WavInfoReader

# What ffprobe calls the fields of bext.
TAGS = {
    "description": "comment",
    "originator": "encoded_by",
    "originator_ref": "originator_reference",
    "originator_date": "date",
    "originator_time": "creation_time",
    "coding_history": "coding_history",
}


def same(path, reader, what, found, expected):
    if found != expected:
        sys.exit(f"{path}: {reader} finds {what} {found!r}, not {expected!r}")


def output(path, *command):
    """What a program prints; it must have nothing to complain of."""
    done = subprocess.run(command, capture_output=True, check=False)
    if done.returncode or done.stderr:
        sys.exit(f"{path}: {' '.join(command)}: status {done.returncode}: {done.stderr.decode(errors='replace')}")
    return done.stdout


def samples(path, raw):
    info = soundfile.info(path)
    form = (info.format, info.subtype, info.samplerate, info.channels)
    same(path, "soundfile", "the form", form, ("WAV", "PCM_16", 16000, 1))
    found, _ = soundfile.read(path, dtype="int16")
    same(path, "soundfile", "samples", len(found), len(raw))
    same(path, "soundfile", "the same samples", numpy.array_equal(found, raw), True)


def fields(path, file, raw):
    info = WavInfoReader(path)
    form = (info.fmt.sample_rate, info.fmt.channel_count, info.fmt.bits_per_sample, info.data.frame_count)
    same(path, "wavinfo", "the form", form, (16000, 1, 16, len(raw)))
    if file["bext"] is None:
        same(path, "wavinfo", "bext", info.bext, None)
    else:
        found = {**info.bext.to_dict(), "umid": info.bext.umid.hex()}
        for field, expected in file["bext"].items():
            same(path, "wavinfo", field, found[field], expected)
    if "markers" in file:
        texts = {label.name: label.text for label in info.cues.labels}
        found = [[cue.position, texts.get(cue.name)] for cue in info.cues.cues]
        same(path, "wavinfo", "markers", found, file["markers"])
        same(path, "wavinfo", "offsets", [cue.sample_offset for cue in info.cues.cues], [at for at, _ in found])
        same(path, "wavinfo", "chunks", {cue.chunk_id for cue in info.cues.cues}, {b"data"})


def programs(path, file, raw):
    said = json.loads(
        output(path, "ffprobe", "-v", "warning", "-of", "json", "-show_format", "-show_streams", path)
    )
    (stream,) = said["streams"]
    form = [stream[key] for key in ("codec_name", "sample_rate", "channels", "duration_ts")]
    same(path, "ffprobe", "the form", form, ["pcm_s16le", "16000", 1, len(raw)])
    if file["bext"] is not None:
        found = said["format"]["tags"]
        for field, tag in TAGS.items():
            same(path, "ffprobe", tag, found.get(tag, ""), file["bext"][field])
        same(path, "ffprobe", "time_reference", int(found["time_reference"]), file["bext"]["time_reference"])
    form = [int(output(path, "soxi", option, path)) for option in ("-s", "-r", "-c", "-b")]
    same(path, "soxi", "the form", form, [len(raw), 16000, 1, 16])
    for name, command in {
        # Its warnings tell of every mono file that it takes it for mono.
        "ffmpeg": ("ffmpeg", "-v", "error", "-i", path, "-f", "s16le", "-"),
        "sox": ("sox", path, "-t", "raw", "-"),
    }.items():
        same(path, name, "the same samples", output(path, *command) == raw.tobytes(), True)


def main():
    files = json.load(sys.stdin)
    for file in files:
        path, raw = file["path"], numpy.fromfile(file["raw"], dtype="<i2")
        samples(path, raw)
        # wavinfo does not find an empty `data` chunk at the end of a file, and fails.
        if len(raw):
            fields(path, file, raw)
        if len(raw) and file["programs"]:
            programs(path, file, raw)
    asked = sum(file["programs"] for file in files)
    print(f"{len(files)} files read alike by soundfile and wavinfo, {asked} of them by ffmpeg and sox too")


if __name__ == "__main__":
    main()
