"""Rules on the tire that carries the injury: tread, age, build, and the repairs it already has."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from fractions import Fraction

from handsfree.limits._compare import Interval, interval
from handsfree.limits._datecode import age, parse_date_code
from handsfree.limits._measurands import choice, has, quantity
from handsfree.limits._policy import Policy
from handsfree.limits._rule import (
    COMMON_PRACTICE,
    Limit,
    Rule,
    Sense,
    computed,
    exact,
    named,
    plain,
    spoken,
    verdict,
)
from handsfree.limits._sources import DE, JATMA, NONE, NZ, US_CHART
from handsfree.limits._types import Facts, LimitsError, Outcome, Severity, Verdict
from handsfree.quantity import Quantity

__all__ = ["TIRE_RULES"]

_RUN_FLAT = "vehicle service manual, 2005: history of a run-flat tire"
_TOO_HEAVY = frozenset("FGHJLMN")
_CONDITION = "textbook list of tires not to repair; USTMA chart"


def _yes_no(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    seen = choice(facts, rule.measurand)
    wanted = "yes" if rule.id == "tire.tubeless" else "no"
    return named(rule, facts, policy, seen, seen == wanted, f"must be {wanted}")


def _load_range(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    seen = choice(facts, "tire.load_range")
    return named(rule, facts, policy, seen, seen not in _TOO_HEAVY, "up to and including load range E")


def _kind(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    seen = choice(facts, "tire.kind")
    return named(rule, facts, policy, seen, seen in {"passenger", "light truck"}, "passenger or light truck")


def _axle(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    seen = choice(facts, "refit.axle")
    key = rule.variant(policy)
    wanted = "not on the front" if key == "jp" else "any axle"
    return named(rule, facts, policy, seen, key != "jp" or seen != "front", wanted)


def _speed_rating(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    seen = choice(facts, "tire.speed_symbol")
    kept = rule.variant(policy) == "de"
    wanted = "no speed limit" if kept else "ask before the rating is relied on"
    return named(rule, facts, policy, seen, kept, wanted)


def _uneven(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    low, high = quantity(facts, "tread.depth"), quantity(facts, "tread.depth.highest")
    a, b = interval(low, "mm"), interval(high, "mm")
    spread = Interval(b.low - a.high, b.high - a.low)
    middle = Quantity((spread.low + spread.high) / 2, "mm", spread.high - spread.low or None)
    if middle.value < 0:
        raise LimitsError("the highest groove is lower than the lowest: read the grooves again")
    return computed(verdict(rule, middle.to(low.unit), spread, rule.effective(facts, policy)))


def _count_key(facts: Facts, variant: str) -> str:
    if variant == "nz":
        return (
            "nz.run_flat" if has(facts, "tire.run_flat") and choice(facts, "tire.run_flat") == "yes" else "nz"
        )
    if variant == "uk":
        fast = choice(facts, "tire.speed_symbol") in {"V", "W", "Y", "Z", "ZR"}
        return "uk.fast" if fast else "uk"
    return variant


def _spacing_key(facts: Facts, variant: str) -> str:
    return _count_key(facts, variant) if variant == "nz" else variant


def _repairs(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    earlier = quantity(facts, "repairs.earlier")
    total = Quantity(earlier.value + 1, "1")
    at = Fraction(total.value)
    return verdict(rule, total, Interval(at, at), rule.effective(facts, policy), "counting this repair")


_NOTE_AGE = exact("6", "a")


def _age(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    """Over the limit in force: the rule's severity. Only over six years: the same verdict as a note."""
    code = parse_date_code(choice(facts, "tire.date_code"))
    try:
        today = dt.date.fromisoformat(choice(facts, "today"))
    except ValueError as wrong:
        if isinstance(wrong, LimitsError):
            raise
        raise LimitsError("today must be year-month-day, like 2026-03-31") from None
    old = age(code, today)
    limit = rule.effective(facts, policy)
    spread = interval(old, "a")
    week = f"week of {code.first.isoformat()} to {code.last.isoformat()}"
    result = computed(verdict(rule, old, spread, limit, week))
    if result.outcome is not Outcome.INSIDE:
        return result
    source = "vehicle maker's owner information, 2018: replace by six years"
    note = replace(limit, value=_NOTE_AGE, severity=Severity.NOTE, source=source)
    hint = computed(verdict(rule, old, spread, note, week))
    return hint if hint.outcome is Outcome.OUTSIDE else result


TIRE_RULES: tuple[Rule, ...] = (
    Rule(
        "tread.depth.min",
        "Tread depth in the lowest groove",
        "tread.depth",
        "mm",
        Severity.STOP,
        Sense.MIN,
        {
            "us": Limit(
                exact("2", "32nd"),
                "USTMA truck/bus chart: 2/32 in or less in any groove is worn out",
                inclusive=False,
                note="2/32 in is 1.5875 mm and is itself worn out",
            ),
            "uk": Limit(exact("1.6", "mm"), "shop pages citing BS AU 159: below 1.6 mm over the central 3/4"),
            "jp": Limit(exact("1.6", "mm"), JATMA),
            "de": Limit(exact("1.6", "mm"), "Directive 89/459/EEC: 1.6 mm in the main grooves"),
            "nz": Limit(exact("1.6", "mm"), NZ),
            "nz_legal": Limit(exact("1.5", "mm"), "New Zealand warrant of fitness, dealer page"),
        },
        plain,
        {"tread.depth": spoken("4.5", "mm")},
        formula="lowest groove > (US) or >= limit",
    ),
    Rule(
        "repairs.count.max",
        "Repairs in this tire",
        "repairs.earlier",
        "1",
        Severity.STOP,
        Sense.MAX,
        {
            "us": Limit(None, US_CHART, note="no count in the US chart: the tire maker's policy decides"),
            "uk": Limit(None, NONE),
            "uk.fast": Limit(
                exact("1", "1"), "tire trade citing BS AU 159: one repair from speed symbol V up"
            ),
            "jp": Limit(exact("2", "1"), JATMA),
            "de": Limit(None, NONE),
            "nz": Limit(exact("3", "1"), NZ),
            "nz.run_flat": Limit(exact("2", "1"), NZ, note="run-flat tire"),
        },
        _repairs,
        {"repairs.earlier": exact("1", "1")},
        pick=_count_key,
        formula="earlier repairs + 1 <= limit",
    ),
    Rule(
        "repairs.spacing.min",
        "Distance to the nearest repair",
        "repairs.spacing",
        "mm",
        Severity.STOP,
        Sense.MIN,
        {
            "us": Limit(None, US_CHART, note="repairs may not overlap"),
            "jp": Limit(exact("400", "mm"), JATMA),
            "nz": Limit(exact("150", "mm"), NZ),
            "nz.run_flat": Limit(exact("400", "mm"), NZ, note="run-flat tire"),
        },
        plain,
        {"repairs.spacing": spoken("500", "mm")},
        pick=_spacing_key,
        formula="arc round the tread between the two centers >= limit",
    ),
    Rule(
        "repairs.overlap",
        "Overlapping patches",
        "repairs.overlap",
        "",
        Severity.STOP,
        Sense.NONE,
        {"any": Limit(None, "RMA release, Tire Business, 6 Apr 2011: repairs may not overlap")},
        _yes_no,
        {"repairs.overlap": "no"},
        formula="no two patches overlap",
    ),
    Rule(
        "repairs.improper",
        "Improper earlier repair",
        "repairs.improper",
        "",
        Severity.STOP,
        Sense.NONE,
        {"any": Limit(None, US_CHART + ": a tire with an improper repair is scrap")},
        _yes_no,
        {"repairs.improper": "no"},
        formula="no earlier improper repair",
    ),
    Rule(
        "tire.load_range",
        "Load range",
        "tire.load_range",
        "",
        Severity.STOP,
        Sense.NONE,
        {"any": Limit(None, US_CHART + ": all passenger sizes and LT through load range E")},
        _load_range,
        {"tire.load_range": "E"},
        formula="load range up to and including E",
    ),
    Rule(
        "tire.tubeless",
        "Tubeless tire",
        "tire.tubeless",
        "",
        Severity.STOP,
        Sense.NONE,
        {"any": Limit(None, "tire maker's page and USTMA truck chart: a tube never stands in for a repair")},
        _yes_no,
        {"tire.tubeless": "yes"},
        formula="tubeless",
    ),
    Rule(
        "tire.sealant",
        "Sealant in the tire",
        "tire.sealant",
        "",
        Severity.WARN,
        Sense.NONE,
        {
            "us": Limit(None, _CONDITION, note="sealant may be flammable: ventilate, mark the tire"),
            "de": Limit(None, DE + ": no repair after sealant", severity=Severity.STOP),
        },
        _yes_no,
        {"tire.sealant": "no"},
        formula="no sealant",
    ),
    Rule(
        "tire.age",
        "Tire age",
        "tire.date_code",
        "a",
        Severity.WARN,
        Sense.MAX,
        {
            "any": Limit(
                exact("10", "a"),
                "JATMA directive of 24 May 2005, guideline; a vehicle maker's manual: replace at 10 years",
            ),
            "us_none": Limit(None, "USTMA view, 2005: no fixed age limit"),
            "six_years": Limit(
                exact("6", "a"), "vehicle maker's owner information, 2018: replace by six years"
            ),
        },
        _age,
        {"tire.date_code": "3623", "today": "2026-03-31"},
        formula="age from the production week (49 CFR 574.5: first full Sunday-to-Saturday week is 01); "
        "over 6 years a note",
    ),
    Rule(
        "tire.kind",
        "Tire kind",
        "tire.kind",
        "",
        Severity.STOP,
        Sense.NONE,
        {"any": Limit(None, US_CHART + ": passenger and light truck, GVWR 10,000 lb or less")},
        _kind,
        {"tire.kind": "passenger"},
        formula="passenger or light truck",
    ),
    Rule(
        "tread.depth.legal",
        "Tread depth for the road",
        "tread.depth",
        "mm",
        Severity.STOP,
        Sense.MIN,
        {
            "us": Limit(exact("2", "32nd"), "49 CFR 570.9, from memory: 2/32 in"),
            "uk": Limit(exact("1.6", "mm"), "UK police Q405: 1.6 mm over the central 3/4"),
            "de": Limit(exact("1.6", "mm"), "Directive 89/459/EEC: 1.6 mm in the main grooves"),
            "nz": Limit(exact("1.5", "mm"), "New Zealand warrant of fitness, dealer page"),
            "jp": Limit(exact("1.6", "mm"), JATMA),
        },
        plain,
        {"tread.depth": spoken("4.5", "mm")},
        formula="lowest groove >= limit",
    ),
    Rule(
        "tread.uneven.max",
        "Uneven wear across the grooves",
        "tread.depth.highest",
        "mm",
        Severity.NOTE,
        Sense.MAX,
        {"any": Limit(exact("2", "32nd"), COMMON_PRACTICE)},
        _uneven,
        {"tread.depth": spoken("4.0", "mm"), "tread.depth.highest": spoken("5.0", "mm")},
        formula="highest groove - lowest groove <= limit",
    ),
    Rule(
        "run_flat.distance.max",
        "Distance with the warning lamp on",
        "run_flat.distance",
        "km",
        Severity.STOP,
        Sense.MAX,
        {
            "any": Limit(
                exact("160", "km"), _RUN_FLAT, inclusive=False, note="of 160 km (100 mi) the stricter"
            )
        },
        plain,
        {"run_flat.distance": spoken("20", "km")},
        applies="run-flat tires",
        formula="distance < limit",
    ),
    Rule(
        "run_flat.speed.max",
        "Speed with the warning lamp on",
        "run_flat.speed",
        "km/h",
        Severity.STOP,
        Sense.MAX,
        {
            "any": Limit(
                exact("55", "mph"), _RUN_FLAT, inclusive=False, note="of 90 km/h (55 mph) the stricter"
            )
        },
        plain,
        {"run_flat.speed": spoken("70", "km/h")},
        applies="run-flat tires",
        formula="speed < limit",
    ),
    Rule(
        "run_flat.pressure.min",
        "Lowest pressure run at",
        "run_flat.pressure",
        "kPa",
        Severity.STOP,
        Sense.MIN,
        {"any": Limit(exact("100", "kPa"), _RUN_FLAT, note="below about 100 kPa sidewall harm is likely")},
        plain,
        {"run_flat.pressure": spoken("150", "kPa")},
        applies="run-flat tires",
        formula="pressure >= limit",
    ),
    Rule(
        "pressure.found.min",
        "Pressure found, look for run-flat marks",
        "pressure.found",
        "kPa",
        Severity.WARN,
        Sense.MIN,
        {
            "any": Limit(
                exact("100", "kPa"),
                f"{_RUN_FLAT}; that it holds for other tires: {COMMON_PRACTICE}",
                note="driven below about 100 kPa sidewall harm is likely; it may have lost air standing",
            )
        },
        plain,
        {"pressure.found": spoken("165", "kPa")},
        formula="pressure as found >= limit",
    ),
    Rule(
        "refit.axle",
        "Axle the repaired tire goes to",
        "refit.axle",
        "",
        Severity.STOP,
        Sense.NONE,
        {"us": Limit(None, NONE), "jp": Limit(None, JATMA + ": not on front wheels afterwards")},
        _axle,
        {"refit.axle": "rear"},
        formula="Japan: not the front axle",
    ),
    Rule(
        "tire.speed_rating",
        "Speed symbol after repair",
        "tire.speed_symbol",
        "",
        Severity.NOTE,
        Sense.NONE,
        {
            "us": Limit(None, US_CHART, note="ask the tire maker whether the rating survives"),
            "map": Limit(None, "shop page citing the Motorist Assurance Program", note="the rating is lost"),
            "de": Limit(None, DE + ": no speed-index limit"),
        },
        _speed_rating,
        {"tire.speed_symbol": "H"},
        formula="note for the customer",
    ),
)
