"""Checks a season's table against one made from the exported pulls with scipy.

    season.py PULLS SEASON

Both files are JSON Lines: `export jsonl` and `season --format jsonl`. Everything in the table is made again from the pulls:
who counts in which row, sums, spreads, estimates. The ends of a range are tried on scipy's distributions: there the chance
of a total as small (or as large) as the one counted must be 2.5 %. scipy.stats: nbinom and poisson for counts, gamma for
amounts, binomtest's exact interval for shares, beta and t for shares of crabs. Exits with 1 and a message at the first difference.
"""

import json
import math
import sys

from scipy import optimize, stats

MEASURES = ("crabs", "keepers", "claws", "g")
SHARES = (("short", "shorts"), ("berried", "berried"))
CLASSES = ((1.5, "to 1"), (2.5, "2"), (3.5, "3"), (5.5, "4 to 5"), (8.5, "6 to 8"), (math.inf, "over 8"))
Z = stats.norm.ppf(0.975)
WIDEST = 1_000


def told(pull, key):
    """What a pull says of a measure, and whether it says it: "stated", "nought" as it follows from one, or "unsaid"."""
    tally = pull["tally"]
    if "count-differs" in pull["flags"]:
        tally = {}
    if key == "g" and pull["weight"] is not None:
        return pull["weight"]["total_g"], "stated"
    if key in tally:
        return tally[key], "stated"
    causes = {"crabs": (), "claws": ("keepers", "crabs"), "g": ("claws", "keepers", "crabs")}.get(key, ("crabs",))
    causes = [tally[cause] for cause in causes if cause in tally]
    if 0 in causes:
        return 0, "nought"
    return None, "unsaid" if causes else None


def stated(pull, key):
    """What a pull says of a measure, directly or not."""
    return told(pull, key)[0]


def read(path):
    with open(path, encoding="utf-8") as lines:
        return [json.loads(line) for line in lines]


def placed(pull):
    """Trap, class of soak and days of soak that a pull counts under."""
    trap = None if pull["pairing"]["grade"] == "doubtful" else pull["trap"]
    days = pull["soak_h"] / 24 if trap is not None and pull["soak_h"] is not None else None
    soak = "unknown" if days is None else next(name for end, name in CLASSES if days < end)
    return trap, soak, days


class Groups(dict):
    """Pulls by the row they belong to."""

    def __init__(self, pulls):
        super().__init__()
        for pull in pulls:
            trap, soak, days = placed(pull)
            for key in (("all", None, None), ("soak", None, soak), ("trap", trap, None), ("trap and soak", trap, soak)):
                self.setdefault(key, []).append((pull, days))

    def amounts(self, key, measure, by_day):
        """Amounts, exposures and the part of a pull that each counts."""
        how = [told(pull, measure)[1] for pull, _ in self[key]]
        some = how.count("stated") + how.count("unsaid")
        part = {"stated": 1, "nought": how.count("stated") / some if some else 1}
        found = []
        for (pull, days), how_here in zip(self[key], how):
            t = days if by_day else 1
            if part.get(how_here) and t is not None:
                found.append((stated(pull, measure), t, part[how_here]))
        return found

    def alike(self, key):
        """The rows that have their spread in common with this one."""
        def known(key):
            by, trap, soak = key
            return by == "all" or (by != "trap" or trap is not None) and soak != "unknown" and (by == "soak" or trap is not None)

        return [other for other in self if other[0] == key[0] and known(other) == known(key)]


def total(row):
    """Pulls, amount, exposure and the exposure's squares."""
    return tuple(sum(part * value for value, part in values) for values in (
        [(1, part) for _, _, part in row],
        [(x, part) for x, _, part in row],
        [(t, part) for _, t, part in row],
        [(t * t, part) for _, t, part in row],
    ))


def spread(rows, counts):
    """Alpha, or the squared coefficient of variation, and None where nothing tells it."""
    telling = [row for row in rows if total(row)[0] > 1 and total(row)[1] > 0 and total(row)[2] > 0]
    freedom = sum(total(row)[0] - 1 for row in telling)
    if freedom < 1:
        return None
    target = freedom * (Z / stats.t.ppf(0.975, freedom)) ** 2

    def pearson(alpha):
        found = 0.0
        for row in telling:
            n, x, t, tt = total(row)
            rate = x / t
            squares = sum(part * (x - rate * t) ** 2 for x, t, part in row)
            found += n * squares / (rate * t + alpha * rate * rate * tt if counts else rate * rate * tt)
        return found

    if not counts:
        return pearson(0) / target if pearson(0) > 1e-9 else None
    if pearson(0) <= target:
        return 0.0
    return math.exp(optimize.brentq(lambda a: pearson(math.exp(a)) - target, -20, 20, xtol=1e-13))


def tails(row, value, counts, size):
    """For a rate: the chances of a total as small and as large as the one there was."""
    _, x, t, tt = total(row)
    pulls = t * t / tt
    mean = value * t
    if not counts:
        shape = pulls / size
        return stats.gamma.cdf(x, shape, scale=mean / shape), stats.gamma.sf(x, shape, scale=mean / shape)
    if size * max(x, 1) / pulls < 1e-7:
        return stats.poisson.cdf(x, mean), stats.poisson.sf(x - 1, mean)
    shape = pulls / size
    p = shape / (shape + mean)
    return stats.nbinom.cdf(x, shape, p), stats.nbinom.sf(x - 1, shape, p)


class Table:
    """What was compared."""

    def __init__(self):
        self.values = 0
        self.ends = 0
        self.none = 0
        self.worst = 0.0

    def same(self, where, found, expected, places):
        self.values += 1
        if found is None or expected is None:
            fits = found is None and expected is None
        else:
            fits = abs(found - expected) <= 0.51 * 10 ** -places
        if not fits:
            sys.exit(f"{where}: {found}, but scipy has {expected}")

    def rate(self, where, row, counts, size, found):
        """A value and the ends of its range, each as printed: to four places."""
        value, low, high = found
        _, x, t, _ = total(row)
        self.same(where, value, x / t if t else None, 4)
        if not t:
            return
        if size is None:
            self.same(where, low, None, 4)
            self.same(where, high, None, 4)
            self.none += 1
            return
        self.end(where, row, counts, size, low, x, t, 1)
        self.end(where, row, counts, size, high, x, t, 0)

    def end(self, where, row, counts, size, found, x, t, side):
        if x == 0 and side == 1:
            return self.same(where, found, 0, 4)
        if x == 0 and not counts:
            return self.same(where, found, None, 4)
        chance = lambda value: tails(row, value, counts, size)[side] - 0.025
        if found is None:
            # Left out as too far away: there the chance is still larger.
            if side == 1 or not chance(WIDEST * max(x, 1) / t) > -1e-9:
                sys.exit(f"{where}: no end, but one is not far")
            self.none += 1
            return None
        root = optimize.brentq(chance, 1e-12, (WIDEST + 1) * max(x, 1) / t, xtol=1e-13)
        self.ends += 1
        off = abs(found - root) - 0.00005
        self.worst = max(self.worst, off / root)
        if off > 1e-7 * root + 1e-9:
            sys.exit(f"{where}: {found}, but scipy has {root}")
        return None


def clustered(rows):
    """Korn and Graubard's interval."""
    y, m, n = sum(y for y, _ in rows), sum(m for _, m in rows), len(rows)
    if not m:
        return None, None, None
    share = y / m
    if n < 2:
        return share, None, None
    chance = m * share * (1 - share)
    squares = sum((y - share * m) ** 2 for y, m in rows)
    effect = max(1.0, n / (n - 1) * squares / chance) if chance else 1.0
    worth = m / effect * (Z / stats.t.ppf(0.975, n - 1)) ** 2
    y = share * worth
    low = stats.beta.ppf(0.025, y, worth - y + 1) if share > 0 else 0
    high = stats.beta.ppf(0.975, y + 1, worth - y) if share < 1 else 1
    return share, low, high


def main():
    records = read(sys.argv[1])
    pulls = [record for record in records if record["kind"] == "pull"]
    if len(pulls) != len(records):
        sys.exit("this check is of pulls only")
    table, groups, out = read(sys.argv[2]), Groups(pulls), Table()
    keys = [(row["by"], row["trap"], row["soak_days"]) for row in table]
    if len(set(keys)) != len(keys) or set(keys) != set(groups):
        sys.exit(f"the rows are {sorted(map(str, keys))}, but should be {sorted(map(str, groups))}")
    for key, row in zip(keys, table):
        here = groups[key]
        out.same(key, row["pulls"], len(here), 0)
        out.same(key, row["likely"], sum(p["pairing"]["grade"] == "likely" for p, _ in here), 0)
        out.same(key, row["unclear"], sum("count-differs" in p["flags"] for p, _ in here), 0)
        out.same(key, row["soaks"], sum(days is not None for _, days in here), 0)
        out.same(key, row["soak_days_sum"], sum(days or 0 for _, days in here), 3)
        for measure in MEASURES:
            counts = measure != "g"
            for per, by_day in (("per_pull", False), ("per_soak_day", True)):
                name = f"{measure}_{per}"
                amounts = groups.amounts(key, measure, by_day)
                if not by_day:
                    how = [told(pull, measure)[1] for pull, _ in here]
                    out.same((key, name), row[f"{measure}_pulls"], how.count("stated") + how.count("nought"), 0)
                    out.same((key, name), row[f"{measure}_unsaid"], how.count("unsaid"), 0)
                    out.same((key, name), row[measure], total(amounts)[1], 0 if counts else 1)
                size = spread([groups.amounts(other, measure, by_day) for other in groups.alike(key)], counts)
                found = [row[name], row[f"{name}_low"], row[f"{name}_high"]]
                out.rate((key, name), amounts, counts, size, found)
        crabs = [stated(pull, "crabs") for pull, _ in here]
        crabs = [n for n in crabs if n is not None]
        out.same((key, "empty"), row["empty"], crabs.count(0), 0)
        out.same((key, "empty"), row["empty_of"], len(crabs), 0)
        exact = stats.binomtest(crabs.count(0), len(crabs)).proportion_ci(method="exact") if crabs else (None, None)
        expected = [crabs.count(0) / len(crabs) if crabs else None, *exact]
        for end, expected_here in zip(("", "_low", "_high"), expected):
            out.same((key, "empty"), row[f"empty_share{end}"], expected_here, 4)
        for share, count in SHARES:
            rows = [(stated(p, count), stated(p, "crabs")) for p, _ in here]
            rows = [(y, m) for y, m in rows if y is not None and m is not None and 0 < m >= y]
            out.same((key, share), row[share], sum(y for y, _ in rows), 0)
            out.same((key, share), row[f"{share}_of"], sum(m for _, m in rows), 0)
            for end, expected_here in zip(("", "_low", "_high"), clustered(rows)):
                out.same((key, share), row[f"{share}_share{end}"], expected_here, 4)
    if out.ends < 100 or out.none < 3:
        sys.exit(f"too little to compare: {out.ends} ends of ranges, {out.none} left out")
    print(
        f"{len(pulls)} pulls, {len(table)} rows, {out.values} values agree, and {out.ends} ends of ranges"
        f" (worst beyond rounding {max(out.worst, 0):.0e} of it); {out.none} are left out, and scipy says the same"
    )


if __name__ == "__main__":
    main()
