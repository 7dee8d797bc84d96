"""Every accepted way to say one value of one measurand: for prompts that give an example, and for tests.

Written from the rules of speech, not from the grammar files, so that each checks the other.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal
from fractions import Fraction

from handsfree.quantity import Exact

from ._spoken import DENOMINATORS, digit_by_digit, whole_words
from ._types import Number

__all__ = ["accepted_forms"]

_FRACTIONS = frozenset({"length_mm", "mass"})


def accepted_forms(number: Number | Exact, kind: str) -> list[str]:
    """All forms without a unit, sorted; ``kind`` is a rule of readings.jsgf, for example "length_mm".

    Empty when the measurand takes no such number (a fraction of a degree, a negative length).
    """
    value, resolution = (number.value, number.resolution) if isinstance(number, Number) else (number, None)
    if kind == "clock_position":
        return _tidy(_clock(Fraction(value)))
    if value < 0 or (isinstance(value, Decimal) and value.is_signed()):
        return [f"minus {form}" for form in accepted_forms(-value, kind)] if kind == "temperature" else []
    if isinstance(value, Fraction):
        return _tidy(_fraction(value, resolution)) if kind in _FRACTIONS else []
    return _tidy(_decimal(value, hundreds=kind == "speed_rpm"))


def _tidy(forms: Iterable[str]) -> list[str]:
    """Each form also with "niner", and with "oh" for a zero that does not begin the number."""
    found: set[str] = set()
    for form in forms:
        first, *rest = form.split()
        with_oh = " ".join([first, *("oh" if word == "zero" else word for word in rest)])
        for variant in (form, with_oh):
            found.add(variant)
            found.add(" ".join("niner" if word == "nine" else word for word in variant.split()))
    return sorted(found)


def _decimal(value: Decimal, *, hundreds: bool) -> Iterator[str]:
    whole, _, places = format(value, "f").partition(".")
    heads = list(_whole(int(whole), hundreds=hundreds))
    if not places:
        yield from heads
        return
    for point in ("point", "decimal"):
        tail = f"{point} {digit_by_digit(Decimal('0.' + places)).removeprefix('zero point ')}"
        yield from (f"{head} {tail}" for head in heads)
        if int(whole) == 0:
            yield tail


def _whole(number: int, *, hundreds: bool = False) -> Iterator[str]:
    yield digit_by_digit(Decimal(number))
    yield whole_words(number)
    yield whole_words(number, joiner="and")
    many, rest = divmod(number, 100)
    if hundreds and 11 <= many <= 99 and many % 10:
        head = f"{whole_words(many)} hundred"
        yield from (
            f"{head} {joiner} {whole_words(rest)}".replace("  ", " ") for joiner in ("", "and") if rest
        )
        if not rest:
            yield head


def _fraction(value: Fraction, resolution: Exact | None) -> Iterator[str]:
    whole, part = divmod(value, 1)
    denominator = Fraction(resolution).denominator if resolution else part.denominator
    numerator = part * denominator
    if denominator not in DENOMINATORS or numerator.denominator != 1 or not numerator or whole > 99:
        return
    heads = (
        [f"{head} and " for head in (whole_words(whole), digit_by_digit(Decimal(whole)))] if whole else [""]
    )
    for tail in _parts(int(numerator), denominator):
        yield from (head + tail for head in heads)


def _parts(numerator: int, denominator: int) -> Iterator[str]:
    one, several = DENOMINATORS[denominator]
    names = [(one, several), ("fourth", "fourths")] if denominator == 4 else [(one, several)]
    for singular, plural in names:
        if numerator > 1:
            yield f"{whole_words(numerator)} {plural}"
        else:
            yield from (f"{article} {singular}" for article in ("a", "an", "one"))
            if singular in ("half", "quarter"):
                yield singular


def _clock(value: Fraction) -> Iterator[str]:
    hour, half = divmod(value, 1)
    if not 1 <= hour <= 12 or half not in (0, Fraction(1, 2)):
        return
    name = whole_words(int(hour))
    if half:
        yield from (f"{name} thirty", f"half past {name}")
        return
    for form in (name, digit_by_digit(Decimal(int(hour)))):
        yield from (form, f"{form} o'clock")
