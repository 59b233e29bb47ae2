"""Text of sound files by a model of the Whisper family: pairs of paths in, a line of JSON each out.

Run by `gunwale recogniser whisper PYTHON MODEL`. Needs faster-whisper (PyPI) and a model's folder as that loads it.
A pair is a note as it was recorded and the same without its noise; each is heard after words of its own. The model
writes several readings of a note. The confidence is that of the best one, per piece of a word, times the share that
readings with the same words have of all of them.
"""

import json
import math
import os
import re
import sys
import wave

MODEL, LANGUAGE, WORDS = sys.argv[1], sys.argv[2], sys.argv[3:5]
# Downloads nothing, whatever is missing.
os.environ["HF_HUB_OFFLINE"] = "1"
os.environ.setdefault("OMP_NUM_THREADS", "1")
READINGS = 5  # as many as the search follows anyway
WINDOW = 3000  # frames of the half minute that a model takes at once


def give_up(why):
    sys.exit(why)


try:
    import numpy
    from faster_whisper import WhisperModel
    from faster_whisper.tokenizer import Tokenizer
    from faster_whisper.transcribe import get_suppressed_tokens
except ImportError as missing:
    give_up(f"{missing}: install it (pip install faster-whisper)")
if not os.path.isfile(os.path.join(MODEL, "model.bin")):
    give_up(f"no model.bin in {MODEL}: give the folder of a faster-whisper model")

model = WhisperModel(MODEL, device="cpu", compute_type="int8", cpu_threads=1, local_files_only=True)
if LANGUAGE != "en" and not model.model.is_multilingual:
    give_up(f"the model in {MODEL} knows English only: give one that knows {LANGUAGE}")
tokens = Tokenizer(model.hf_tokenizer, model.model.is_multilingual, task="transcribe", language=LANGUAGE)
prompts = [model.get_prompt(tokens, tokens.encode(" " + words), without_timestamps=True) for words in WORDS]
suppressed = get_suppressed_tokens(tokens, [-1])


def samples(path):
    with wave.open(path) as sound:
        if (sound.getnchannels(), sound.getsampwidth(), sound.getframerate()) != (1, 2, 16000):
            give_up(f"{path} is not 16 kHz mono 16 bit")
        heard = sound.readframes(sound.getnframes())
    return numpy.frombuffer(heard, dtype=numpy.int16).astype(numpy.float32) / 32768


def plain(text):
    return re.findall(r"[\w']+", text.lower())


def hear(window, prompt):
    """The text of half a minute, and its confidence."""
    sound = model.encode(window)
    [found] = model.model.generate(
        sound,
        [prompt],
        beam_size=READINGS,
        num_hypotheses=READINGS,
        max_length=448,
        suppress_tokens=suppressed,
        return_scores=True,
    )
    readings = [
        (tokens.decode(ids).strip(), score, len(ids)) for ids, score in zip(found.sequences_ids, found.scores)
    ]
    best, per_token, _ = readings[0]
    if not plain(best):
        return "", 1.0
    top = max(score * length for _, score, length in readings)
    weights = [math.exp(score * length - top) for _, score, length in readings]
    same = sum(w for w, (text, _, _) in zip(weights, readings) if plain(text) == plain(best))
    return best, math.exp(min(per_token, 0.0)) * same / sum(weights)


def text_of(path, prompt):
    features = model.feature_extractor(samples(path))
    texts, confidence = [], 1.0
    for first in range(0, max(features.shape[1], 1), WINDOW):
        window = features[:, first : first + WINDOW]
        if first > 0 and window.shape[1] < 50:
            break
        window = numpy.pad(window, ((0, 0), (0, WINDOW - window.shape[1])))
        text, sure = hear(window, prompt)
        texts.append(text)
        confidence = min(confidence, sure)
    return " ".join(filter(None, texts)), confidence


for line in sys.stdin:
    (text, confidence), (also, _) = map(text_of, json.loads(line), prompts)
    print(json.dumps({"text": text, "also": also, "confidence": round(confidence, 4)}), flush=True)
