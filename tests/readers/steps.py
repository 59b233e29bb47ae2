"""Steps of a scale's level by ruptures (Killick et al.'s PELT) against ours, on the same readings: one series a line.

On a deck that moves much a mean that steps is no longer all there is, so the sea is kept small here: what is compared is
where the steps are, not how a wave is told from them.
"""

import json
import sys

import numpy as np
import ruptures

compared = 0
for line in sys.stdin:
    case = json.loads(line)
    t, g = np.array(case["t"]), np.array(case["g"])
    ours = np.array(case["steps"])
    # The penalty of Schwarz's criterion for a change of the mean, times the noise that is there.
    noise = np.std(np.diff(g)[np.abs(np.diff(g)) < 20.0]) / np.sqrt(2.0)
    ends = ruptures.Pelt(model="l2", min_size=4, jump=1).fit(g).predict(pen=60.0 * max(noise, 0.5) ** 2 * np.log(len(g)))
    theirs, levels, start = [], [], 0
    for end in ends:
        levels.append(np.median(g[start:end]))
        start = end
    # A step that takes a few readings is one: those less than a second apart belong together.
    for number, end in enumerate(ends[:-1]):
        if abs(levels[number + 1] - levels[number]) < 10.0:
            continue
        if theirs and t[end] - theirs[-1] < 1.0:
            continue
        theirs.append(t[end])
    assert len(theirs) == len(ours), f"{case['name']}: theirs {theirs}, ours {ours.tolist()}"
    apart = np.abs(np.array(theirs) - ours)
    assert apart.max() <= 0.5, f"{case['name']}: {apart.max()} s apart: theirs {theirs}, ours {ours.tolist()}"
    compared += len(ours)
assert compared >= 200, compared
print(f"{compared} steps where ruptures has them")
