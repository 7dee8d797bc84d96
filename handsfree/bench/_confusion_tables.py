"""What a run of confusions says, line by line: by distance, the curves, the threshold in force, the costs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from handsfree.bench._confusions import LEVELS, Trial
from handsfree.bench._costs import AS_SET, BY_LENGTH, gain, rank_costs
from handsfree.bench._curve import Curve, binned, fit, interval, resampled
from handsfree.bench._pairs import BIN, HALVES, Pair, apart, procedure_pairs
from handsfree.procedure._sounds import TOO_ALIKE

__all__ = [
    "STRICT",
    "TARGET",
    "TARGET_LEVEL",
    "Counts",
    "bins",
    "counts",
    "docs_lines",
    "headings",
    "level_name",
    "levels_of",
    "paragraphs",
    "threshold",
]

#: What the threshold in force is for: two phrases no farther apart than it are confused this often, said at
#: this signal-to-noise ratio in dB. STRICT: what is wished for, when the procedures' words allow it.
TARGET, STRICT, TARGET_LEVEL = 0.05, 0.01, 20.0


@dataclass(frozen=True, slots=True)
class Counts:
    """Pairs, their distances, how often each was said and confused, row by row."""

    pairs: list[Pair]
    distance: list[float]
    confused: list[int]
    said: list[int]

    @property
    def rates(self) -> list[float]:
        return [k / n for k, n in zip(self.confused, self.said, strict=True)]

    def curve(self, chosen: Sequence[int] | None = None) -> Curve:
        rows = range(len(self.pairs)) if chosen is None else chosen
        return fit(*([column[i] for i in rows] for column in (self.distance, self.confused, self.said)))

    def total(self, low: float, high: float) -> tuple[int, int]:
        """Confused and said, over pairs at least ``low`` and less than ``high`` apart."""
        rows = [i for i, far in enumerate(self.distance) if low <= round(far, 6) < high]
        return sum(self.confused[i] for i in rows), sum(self.said[i] for i in rows)


def counts(trials: Sequence[Trial], part: str, level: float | None = None) -> Counts:
    """The counts of one part ("tune", "report", "procedure") at one level, or at all."""
    found: dict[Pair, list[int]] = defaultdict(lambda: [0, 0])
    for trial in trials:
        if trial.part == part and level in (None, trial.level):
            row = found[Pair(trial.one, trial.other, part)]
            row[0] += trial.confused
            row[1] += 1
    pairs = list(found)
    return Counts(
        pairs, [apart(p) for p in pairs], [found[p][0] for p in pairs], [found[p][1] for p in pairs]
    )


def threshold(found: Counts, rate: float, times: int = 200) -> tuple[float, tuple[float, float]]:
    """The distance at which the curve falls to ``rate``, and its 95 % interval over resampled pairs."""
    draws = [found.curve(list(draw)).reaches(rate) for draw in resampled(len(found.pairs), times, seed=1)]
    return found.curve().reaches(rate), interval(draws)


def _percent(confused: int, said: int) -> str:
    return f"{100 * confused / said:.1f}" if said else "-"


def levels_of(trials: Sequence[Trial]) -> list[float]:
    """The noise levels measured, quiet first."""
    return sorted({t.level for t in trials}, reverse=True)


def level_name(level: float) -> str:
    """For headings."""
    return "quiet" if level == LEVELS[0] else f"{level:g} dB"


def bins(trials: Sequence[Trial], levels: Sequence[float]) -> Iterator[list[str]]:
    """Rows: distance; pairs and confused per cent by level of the reported half; the same of the procedures."""
    parts = [(part, [counts(trials, part, at) for at in levels]) for part in ("report", "procedure")]
    rows: dict[tuple[float, float], list[str]] = {}
    for number, (_, by_level) in enumerate(parts):
        for n, found in enumerate(by_level):
            for row in binned(found.distance, found.confused, found.said, BIN):
                cells = rows.setdefault((row.low, row.high), ["-"] * (len(parts) * (1 + len(levels))))
                at = number * (1 + len(levels))
                cells[at] = str(row.pairs)
                cells[at + 1 + n] = _percent(row.confused, row.said)
    for (low, high), cells in sorted(rows.items()):
        yield [f"{low:.1f} to {high:.1f}", *cells]


def headings(levels: Sequence[float]) -> list[str]:
    at = [level_name(level) for level in levels]
    return [
        "phones apart",
        "planted pairs",
        *(f"{a}, %" for a in at),
        "armed pairs",
        *(f"{a}, %" for a in at),
    ]


def _curves(trials: Sequence[Trial], levels: Sequence[float]) -> Iterator[str]:
    for part in HALVES:
        for level in levels:
            found = counts(trials, part, level)
            falls = []
            for rate in (TARGET, STRICT):
                at, (low, high) = threshold(found, rate)
                falls.append(f"{100 * rate:g} % at {at:.1f} phones (95 % interval {low:.1f} to {high:.1f})")
            now = 100 * float(found.curve().rate(TOO_ALIKE))
            yield f"{part} half, {level_name(level)}: {now:.1f} % at {TOO_ALIKE:g} phones, {', '.join(falls)}"


def _verdict(trials: Sequence[Trial]) -> Iterator[str]:
    """What the threshold in force lets through, on pairs it was not chosen by."""
    for part, name in (
        ("report", "planted pairs not tuned on"),
        ("procedure", "pairs armed by the procedures"),
    ):
        found = counts(trials, part, TARGET_LEVEL)
        over, under = found.total(TOO_ALIKE, 99.0), found.total(0.0, TOO_ALIKE)
        nearer = f", {under[0]} of {under[1]} ({_percent(*under)} %) when nearer" if under[1] else ""
        yield (
            f"{name}, {TARGET_LEVEL:g} dB: confused {over[0]} of {over[1]} times ({_percent(*over)} %) when at "
            f"least {TOO_ALIKE:g} apart{nearer}"
        )


def _unheard(trials: Sequence[Trial], levels: Sequence[float]) -> str:
    """What can't be confused because neither of the two was heard."""
    shares = []
    for level in levels:
        here = [t for t in trials if t.level == level]
        shares.append(
            f"{_percent(sum(t.heard not in (t.one, t.other) for t in here), len(here))} % {level_name(level)}"
        )
    return f"heard as neither of the two: {', '.join(shares)}"


def _costs(trials: Sequence[Trial]) -> Iterator[str]:
    tune, report = (counts(trials, part) for part in HALVES)
    ranked = rank_costs(tune.pairs, tune.rates)
    other = {row.name: row.correlation for row in rank_costs(report.pairs, report.rates)}
    for row in ranked:
        if row in ranked[:3] or row.name in (AS_SET, BY_LENGTH):
            yield f"{row.name}: {row.correlation:.3f} tuned on, {other[row.name]:.3f} reported"
    low, high = gain(ranked[0].name, report.pairs, report.rates)
    yield f"best of the tuned half less as set, reported half: {low:+.3f} to {high:+.3f} (95 % interval)"


def _worst(trials: Sequence[Trial]) -> Iterator[str]:
    """Pairs of the procedures that were confused at all."""
    found = counts(trials, "procedure")
    rows = zip(found.confused, found.said, found.distance, found.pairs, strict=True)
    for k, n, far, pair in sorted(rows, key=lambda row: (-row[0], row[2])):
        if k:
            yield f"{pair.one!r} and {pair.other!r}: {k} of {n}, {far:.1f} apart"


def _nearer_than_strict(trials: Sequence[Trial]) -> Iterator[str]:
    """Pairs of the procedures that a threshold at STRICT would refuse: other words are wanted for these."""
    at = counts(trials, "tune", TARGET_LEVEL).curve().reaches(STRICT)
    for pair in procedure_pairs(at):
        yield f"{pair.one!r} and {pair.other!r}, {apart(pair):.1f} apart"


def docs_lines(trials: Sequence[Trial]) -> list[str]:
    """The measured lines of DEVELOPERS.md."""
    levels = levels_of(trials)
    heads = headings(levels)
    lines = [f"| {' | '.join(heads)} |", "|" + "---|" * len(heads)]
    lines += [f"| {' | '.join(row)} |" for row in bins(trials, levels)]
    said_by = ", ".join(f"`{v}`" for v in sorted({t.voice for t in trials}))
    items = [
        f"{len(trials)} phrases said by {said_by}",
        _unheard(trials, levels),
        *(f"curve of the {line}" for line in _curves(trials, levels)),
    ]
    items += _verdict(trials)
    items += [f"rank correlation, {line}" for line in _costs(trials)]
    return [*lines, "", *(f"- {item}." for item in items)]


def paragraphs(trials: Sequence[Trial]) -> Iterator[tuple[str, list[str]]]:
    """Title and lines of what the table of bins does not say."""
    yield "Confused, by the curve", [_unheard(trials, levels_of(trials)), *_curves(trials, levels_of(trials))]
    yield f"Threshold in force: {TOO_ALIKE:g} phones", list(_verdict(trials))
    yield "Rank correlation of distance with confusions", list(_costs(trials))
    yield "Armed pairs that were confused, all levels", list(_worst(trials))
    title = f"Armed pairs nearer than confused {100 * STRICT:g} % of the time at {TARGET_LEVEL:g} dB"
    yield title, list(_nearer_than_strict(trials))
