"""What a job has several of over time: waits, pressures, sound levels; for the charts."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any, TypeGuard

from handsfree.quantity import UNITS, Quantity, inward
from handsfree.record import in_minutes, judged_numbers, measured, value_of

from ._charts import Level, Pressure, Wait
from ._clock import Clock
from ._readings import name_of
from ._source import Source
from ._values import parse, reading, told

__all__ = ["LEAK", "least_end", "levels_of", "loss_of", "pressures_of", "waits_of"]

#: The rule that judges an end pressure by what was lost.
LEAK = "pressure.leak"

#: More than any tire of these procedures holds: a scale that had to show it would show nothing else.
_MOST_KPA = 2000


def waits_of(source: Source) -> list[Wait]:
    """Each wait that was begun, with how it ended; the last word on it counts."""
    found: dict[int, Wait] = {}
    for row in source.rows:
        if row.get("kind") != "wait" or not row.plan:
            continue
        planned = _seconds(row.plan, "planned_s")
        if planned is None:
            continue
        found[id(row.plan)] = Wait(
            value_of(row, "step"),
            planned,
            _seconds(row.plan, "longest_s"),
            _seconds(row, "waited_s"),
            value_of(row, "outcome"),
            in_minutes(value_of(row.plan, "reason")),
            inward(value_of(row.plan, "source")),
            _inputs(source, row.plan),
        )
    return list(found.values())


def _inputs(source: Source, plan: Mapping[str, Any]) -> str:
    """ "air temperature 21 \u00b0C and air humidity 65 %"."""
    words = []
    for row in getattr(plan, "inputs", ()):
        value = reading(value_of(row, "value"), value_of(row, "unit"))
        words.append(f"{name_of(source, row).lower()} {told(value) if value else measured(row)}")
    return " and ".join(words)


def _seconds(row: Mapping[str, Any], key: str) -> int | None:
    text = value_of(row, key)
    return int(text) if text.isascii() and text.isdigit() and len(text) < 8 else None


def pressures_of(source: Source, clock: Clock) -> list[Pressure]:
    """Pressures in force, in order, with those limits that are themselves pressures to be read on this scale."""
    found = []
    for row in source.rows:
        value = reading(value_of(row, "value"), value_of(row, "unit"))
        if row.get("kind") != "reading" or row.replaced_by is not None or not _fits(value):
            continue
        ends = [_ends(value, verdict) for verdict in row.verdicts]
        low = next((low for low, _ in ends if _fits(low)), None)
        high = next((high for _, high in ends if _fits(high)), None)
        outcome = next((value_of(v, "outcome") for v in row.verdicts if v.get("outcome") != "inside"), "")
        outcome = outcome or ("inside" if row.verdicts else "")
        found.append(Pressure(name_of(source, row), clock.time(row)[:5], value, low, high, outcome))
    return found


def _fits(value: Quantity | None) -> TypeGuard[Quantity]:
    """Whether it is a pressure that a tire could have: the scale must show the others, too."""
    if value is None or UNITS[value.unit].kind != "pressure":
        return False
    return 0 <= Fraction(value.to("kPa").value) <= _MOST_KPA


def _ends(value: Quantity, verdict: Mapping[str, Any]) -> tuple[Quantity | None, Quantity | None]:
    """A verdict's limits on the pressure itself, as the tables show them. A leak's limit is a loss: what counts is
    the least pressure that would still have passed."""
    if value_of(verdict, "rule") == LEAK:
        return least_end(value, verdict), None
    sums = judged_numbers(verdict, getattr(verdict, "judged", None))
    if sums is None:
        return parse(value_of(verdict, "low")), parse(value_of(verdict, "high"))
    ends = (Quantity(Decimal(digits), sums.unit) if digits else None for digits in (sums.low, sums.high))
    return next(ends), next(ends)


def least_end(value: Quantity, verdict: Mapping[str, Any]) -> Quantity | None:
    """The least pressure at the end of a leak test that would still have passed, as it is shown."""
    sums = judged_numbers(verdict)
    if sums is None or sums.unit != value.unit:
        return None
    return Quantity(Fraction(value.value) - Fraction(sums.margin), value.unit)


def loss_of(verdict: Mapping[str, Any]) -> Quantity | None:
    """The pressure that was lost in a leak test, as it is shown beside its limit and margin."""
    sums = judged_numbers(verdict)
    return None if sums is None else Quantity(Decimal(sums.value), sums.unit)


def levels_of(source: Source, clock: Clock) -> list[Level]:
    """How loud every utterance was, where the sound was measured."""
    found = []
    for row in source.rows:
        level = row.get("level")
        if row.get("kind") != "event" or not isinstance(level, dict):
            continue
        try:
            speech, noise = float(level["speech_dbfs"]), float(level["noise_dbfs"])
        except (KeyError, TypeError, ValueError):
            continue
        if not (-200 < speech <= 10 and -200 < noise <= 10):  # NaN and the like fail this too
            continue
        taken = value_of(row, "type") in ("answer", "command")
        found.append(Level(clock.time(row), value_of(row, "text"), speech, noise, taken))
    return found
