"""The hearing bench's scores as a table, as JSON and as a plot."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from pathlib import Path

from rich.table import Table

from handsfree.bench._hearing import Score

__all__ = ["as_table", "plot", "write_json"]

_HEADINGS = (
    "front end", "noise", "dB", "said", "words %", "value %", "unsure", "again", "wrong", "undetected", "outside",
    "taken", "taken/h", "doubted", "rtf",
)  # fmt: skip


def as_table(title: str, scores: Iterable[Score]) -> Table:
    table = Table(title=title)
    for heading in _HEADINGS:
        table.add_column(heading, justify="left" if heading in ("front end", "noise") else "right")
    for s in scores:
        table.add_row(
            s.front_end,
            s.noise,
            "" if s.level is None else f"{s.level:g}",
            str(s.said),
            f"{100 * s.right / s.said:.1f}",
            f"{100 * s.value / s.said:.1f}",
            str(s.unsure),
            f"{s.again} ({s.refused})",
            str(s.wrong),
            "" if s.undetected is None else str(s.undetected),
            str(s.outside),
            str(s.taken),
            f"{s.taken / s.hours:.0f}" if s.hours else "",
            str(s.doubted),
            f"{s.real_time_factor:.3f}",
        )
    return table


def write_json(path: Path, scores: Sequence[Score]) -> None:
    rows = [{**asdict(score), "again": score.again} for score in scores]
    path.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")


def plot(path: Path, scores: Sequence[Score]) -> None:
    """Value accuracy and wrong answers over level, a line for each noise. Needs matplotlib."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10, 4.5), layout="constrained")
    panels = figure.subplots(1, 2)
    for noise in dict.fromkeys((s.noise, s.front_end) for s in scores if s.level is not None):
        row = sorted((s for s in scores if (s.noise, s.front_end) == noise), key=lambda s: s.level or 0)
        levels = [s.level or 0 for s in row]
        panels[0].plot(levels, [100 * s.value / s.said for s in row], marker="o", label=" ".join(noise))
        panels[1].plot(levels, [100 * s.wrong / s.said for s in row], marker="o")
    panels[0].set(xlabel="signal-to-noise ratio, dB", ylabel="right value, accepted, %", ylim=(0, 101))
    panels[1].set(xlabel="signal-to-noise ratio, dB", ylabel="accepted with another meaning, %")
    panels[0].legend()
    figure.savefig(path)
