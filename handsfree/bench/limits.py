"""How fast the limits engine judges, and what it does with a million random injuries, counted and drawn.

    python -m handsfree.bench.limits                     speed of every rule
    python -m handsfree.bench.limits --sweep 1000000 --plot sweep.png
    python -m handsfree.bench.limits --page handsfree/limits/RULES.md

The sweep draws injuries evenly over a 170 mm tread (invented, common for a 205 mm tire), wider than any limit, so
that every boundary is crossed many times. It needs matplotlib only for ``--plot``.
"""

from __future__ import annotations

import argparse
import math
import random
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

from handsfree.limits import Decision, Facts, answer, dispose, named_policy, rules, rules_page
from handsfree.quantity import Quantity

__all__ = ["Sweep", "main", "speed", "sweep", "write_rules_page"]

_TREAD_MM = 170
_TENTH, _ONE = Decimal("0.1"), Decimal(1)
_INSET_MM = 25.4  # the US default: 1 in from the tread edge
_CELLS = {  # panel -> y axis
    "up to 20 deg": "size, mm",
    "up to 5.5 mm, leaning outward": "angle from the normal, deg",
    "up to 5.5 mm, leaning inward": "angle from the normal, deg",
}

Cells = dict[tuple[float, float], Counter[str]]


@dataclass(slots=True)
class Sweep:
    """``cells``: panel -> (center distance mm, size mm or angle deg) -> how often each decision fell there."""

    decisions: Counter[str] = field(default_factory=Counter)
    reasons: Counter[str] = field(default_factory=Counter)
    cells: dict[str, Cells] = field(default_factory=lambda: {name: {} for name in _CELLS})
    seconds: float = 0.0
    verdicts: int = 0


def speed(seconds: float = 0.2) -> Iterator[tuple[str, float]]:
    """Answers a second for each rule, on its own example."""
    for item in rules():
        policy = named_policy(item.example_base)
        done, start = 0, time.perf_counter()
        while time.perf_counter() - start < seconds:
            for _ in range(50):
                answer(item.id, item.example, policy)
            done += 50
        yield item.id, done / (time.perf_counter() - start)


def _injury(draw: random.Random) -> tuple[Facts, tuple[float, int, int, str]]:
    size = Decimal(draw.randrange(0, 101)) / 10
    angle, center = draw.randrange(0, 61), draw.randrange(0, _TREAD_MM // 2 + 1)
    lean = draw.choice(("outward", "inward", "round"))
    edge = max(Decimal(_TREAD_MM) / 2 - center - size / 2, Decimal(0))
    facts: Facts = {
        "injury.place": "crown",
        "injury.size": Quantity(size, "mm", _TENTH),
        "injury.angle": Quantity(Decimal(angle), "deg", _ONE),
        "injury.lean": lean,
        "injury.center_distance": Quantity(Decimal(center), "mm", _ONE),
        "injury.edge_distance": Quantity(edge, "mm", _ONE),
        "tire.tread_width": Quantity(Decimal(_TREAD_MM), "mm", _ONE),
        "tire.thickness": Quantity(Decimal(draw.randrange(10, 19)), "mm", _ONE),
        "tread.depth": Quantity(Decimal(draw.randrange(0, 91)) / 10, "mm", _TENTH),
    }
    return facts, (float(size), angle, center, lean)


def sweep(count: int, seed: int = 1, base: str = "us") -> Sweep:
    """Judge ``count`` random injuries and count decisions and reasons. Same seed, same result."""
    draw, policy, found = random.Random(seed), named_policy(base), Sweep()
    start = time.perf_counter()
    for _ in range(count):
        facts, place = _injury(draw)
        judged = dispose(facts, policy)
        found.decisions[judged.decision.value] += 1
        found.reasons.update(f"{verdict.rule} {verdict.outcome.value}" for verdict in judged.reasons)
        found.verdicts += len(judged.reasons) + len(judged.clear)
        if not any(verdict.rule.startswith("tread.") for verdict in judged.reasons):
            _place(
                found.cells, place, judged.decision.value
            )  # the picture shows place, size, angle, not wear
    found.seconds = time.perf_counter() - start
    return found


def _place(cells: dict[str, Cells], place: tuple[float, int, int, str], decision: str) -> None:
    size, angle, center, lean = place
    straight, outward, inward = cells.values()
    spots = []
    if angle <= 20:
        spots.append((straight, size))
    if size <= 5.5 and lean in ("outward", "inward"):
        spots.append((outward if lean == "outward" else inward, float(angle)))
    for panel, y in spots:
        panel.setdefault((float(center), y), Counter())[decision] += 1


_COLORS = {
    Decision.ONE_PIECE.value: (0.13, 0.40, 0.67),
    Decision.TWO_PIECE.value: (0.57, 0.77, 0.87),
    Decision.MEASURE.value: (1.00, 0.85, 0.18),
    Decision.SCRAP.value: (0.70, 0.09, 0.17),
}


def _image(cells: Cells) -> tuple[list[list[tuple[float, ...]]], list[float], list[float]]:
    """Each cell in the mean color of the decisions that fell into it; white where none did."""
    xs, ys = (sorted({spot[axis] for spot in cells}) for axis in (0, 1))
    rows = []
    for y in ys:
        row = []
        for x in xs:
            counts = cells.get((x, y), Counter())
            total = counts.total()
            mixed = (
                sum(_COLORS[n][i] * k for n, k in counts.items()) / total if total else 1.0 for i in range(3)
            )
            row.append(tuple(mixed))
        rows.append(row)
    return rows, xs, ys


def _edge(angle: int, size: float, thickness: float) -> float:
    """Where the zone should end for an outward lean, by the closed form, not by the engine."""
    a = math.radians(angle)
    return _TREAD_MM / 2 - _INSET_MM - thickness * math.tan(a) - size / 2 / math.cos(a)


def _plot(found: Sweep, path: Path) -> None:
    """Three cuts through the zone: how big, how steep outward, how steep inward."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot
    from matplotlib.patches import Patch

    figure, axes = pyplot.subplots(1, 3, figsize=(16, 6), layout="constrained")
    for axis, (title, cells) in zip(axes, found.cells.items(), strict=True):
        image, xs, ys = _image(cells)
        half_x, half_y = 0.5, (ys[-1] - ys[0]) / (len(ys) - 1) / 2
        extent = (xs[0] - half_x, xs[-1] + half_x, ys[0] - half_y, ys[-1] + half_y)
        axis.imshow(image, origin="lower", extent=extent, aspect="auto", interpolation="nearest")
        axis.axvline(_TREAD_MM / 2 - _INSET_MM, color="black", linewidth=1, linestyle=":")
        axis.axhline(6 if "size" in _CELLS[title] else 25, color="black", linewidth=1, linestyle=":")
        axis.set(title=title, xlabel="distance from the center line, mm", ylabel=_CELLS[title])
    angles = range(61)
    for size, thickness in ((0.0, 10.0), (5.5, 18.0)):
        axes[1].plot([_edge(a, size, thickness) for a in angles], angles, color="black", linewidth=1.2)
    patches = [Patch(color=color, label=name) for name, color in _COLORS.items()]
    figure.legend(handles=patches, loc="outside lower center", ncols=4, frameon=False)
    total = sum(found.decisions.values())
    figure.suptitle(
        f"{total:,} random injuries on a {_TREAD_MM} mm tread, worn ones left out. Dotted: 1 in from the edge, 6 mm, "
        "25 deg;\nsolid: where the closed form ends the zone for the thinnest and thickest tire drawn"
    )
    figure.savefig(path, dpi=110)
    pyplot.close(figure)


def write_rules_page(path: Path) -> None:
    """Write the generated page of all rules."""
    path.write_text(rules_page(), encoding="utf-8")


def _report(found: Sweep) -> None:
    total = sum(found.decisions.values())
    print(
        f"{total:,} injuries, {found.verdicts:,} verdicts in {found.seconds:.1f} s: "
        f"{total / found.seconds:,.0f} tires/s, {found.verdicts / found.seconds:,.0f} verdicts/s"
    )
    for title, counts in (("disposition", found.decisions), ("reason", found.reasons)):
        print(f"\n{title}")
        for name, number in counts.most_common():
            print(f"  {name:40} {number:>10,}  {100 * number / total:5.1f} %")


def main(arguments: list[str] | None = None) -> int:
    """Run the benchmark from the command line."""
    parser = argparse.ArgumentParser(
        prog="handsfree.bench.limits", description="Speed and sweep of the limits engine."
    )
    parser.add_argument("--sweep", type=int, default=0, metavar="N", help="judge N random injuries")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--base", default="us", choices=("us", "jp", "de", "nz"), help="named policy for the sweep"
    )
    parser.add_argument("--plot", type=Path, metavar="PNG", help="draw the sweep (needs matplotlib)")
    parser.add_argument("--page", type=Path, metavar="FILE", help="only write the page of all rules")
    chosen = parser.parse_args(arguments)
    if chosen.page:
        write_rules_page(chosen.page)
        return 0
    if not chosen.sweep:
        for name, rate in speed():
            print(f"{name:28} {rate:>10,.0f} /s")
        return 0
    found = sweep(chosen.sweep, chosen.seed, chosen.base)
    _report(found)
    if chosen.plot:
        _plot(found, chosen.plot)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
