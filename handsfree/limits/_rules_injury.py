"""Rules on the injury and on the tire that carries it: may it be repaired, and with which unit?"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from handsfree.limits._channel import STEEPEST_DEG, Channel, End, Lean, ellipse, trace
from handsfree.limits._compare import Interval, interval
from handsfree.limits._crown import band_share, crown_half_width
from handsfree.limits._measurands import choice, quantity
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
from handsfree.limits._sources import DE, JATMA, NONE, NZ, TRMG, UK, US_CHART
from handsfree.limits._types import Count, Facts, Severity, Verdict
from handsfree.quantity import Quantity

__all__ = ["INJURY_RULES"]

_HEAVY_RANGES = frozenset("EFGHJLMN")


def _size_key(facts: Facts, variant: str) -> str:
    if variant == "us_body_ply":
        heavy = (
            choice(facts, "tire.kind") == "light truck"
            and choice(facts, "tire.body_ply") == "steel"
            and choice(facts, "tire.load_range") in _HEAVY_RANGES
        )
        return "us_body_ply.steel" if heavy else "us_body_ply"
    return variant


def _place(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    place = choice(facts, "injury.place")
    return named(rule, facts, policy, place, place == "crown", "crown only")


def _grooves(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    seen = choice(facts, "injury.in_grooves")
    return named(rule, facts, policy, seen, seen == "yes", "between the two outermost grooves")


def _band_half(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    """Distance from the center line against half the UK band; the injury's own half width counts."""
    limit = rule.effective(facts, policy)
    reading, size = quantity(facts, "injury.center_distance"), quantity(facts, "injury.size")
    across, wide = interval(reading, "mm"), interval(size, "mm")
    spread = Interval(across.low + wide.low / 2, across.high + wide.high / 2)
    reach = Quantity((spread.low + spread.high) / 2, "mm").to(reading.unit)
    ends = [] if limit.value is None else [Fraction(limit.value.to("mm").value)]
    if limit.key == "uk":
        width = Fraction(quantity(facts, "tire.section_width").to("mm").value)
        ends.append(width * band_share(width) / 2)
    if ends:
        limit = replace(limit, value=Quantity(min(ends), "mm"))
    extra = limit.note or "center distance plus half the injury"
    return computed(verdict(rule, reach, spread, limit, extra))


def _channel(facts: Facts, measured_at: End) -> Channel:
    return trace(
        quantity(facts, "injury.size"),
        quantity(facts, "injury.angle"),
        quantity(facts, "tire.thickness"),
        quantity(facts, "injury.center_distance"),
        Lean(choice(facts, "injury.lean")),
        measured_at,
    )


def _whole_channel(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    """Both ends of the channel against the crown zone the policy asks for.

    Inside and outside of a tire are measured in the same place by nobody: the distance is taken to belong to that
    end from which the other one lies farther out.
    """
    limit = rule.effective(facts, policy)
    name, needs = _CROWN[limit.key]
    half = Fraction(crown_half_width(name, {needs: quantity(facts, f"tire.{needs}")}).value)
    shop = half if limit.value is None else min(half, Fraction(limit.value.to("mm").value))
    channel = max((_channel(facts, end) for end in End), key=lambda way: (way.reach.high, way.reach.low))
    reading = Quantity(channel.nominal_reach, "mm").to(quantity(facts, "injury.center_distance").unit)
    limit = replace(limit, value=Quantity(shop, "mm"))
    return computed(verdict(rule, reading, channel.reach, limit, "the farther of liner and tread end"))


_CROWN = {
    "us": ("one_inch", "tread_width"),
    "half_inch": ("half_inch", "tread_width"),
    "inch_and_half": ("inch_and_half", "tread_width"),
    "uk": ("band", "section_width"),
}


def _long(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    """Patch over the ellipse, or stem through the channel: what the injury needs, plus the allowance."""
    limit = rule.effective(facts, policy)
    assert limit.value is not None
    spare = Fraction(limit.value.to("mm").value)
    steep = _steepest(quantity(facts, "injury.angle"))
    if rule.measurand == "patch.size":
        need = interval(quantity(facts, "injury.size"), "mm").high * steep + 2 * spare
    else:
        need = interval(quantity(facts, "tire.thickness"), "mm").high * steep + spare
    reading = quantity(facts, rule.measurand)
    return verdict(rule, reading, interval(reading, "mm"), replace(limit, value=Quantity(need, "mm")))


def _steepest(angle: Quantity) -> Fraction:
    """1 / cos of the steepest angle the reading allows: the need is met for every true angle."""
    ellipse(Quantity(Fraction(1), "mm"), angle)  # the reading itself must lie in the model's domain
    top = min(interval(angle, "deg").high, STEEPEST_DEG)
    _, major = ellipse(Quantity(Fraction(1), "mm"), Quantity(top, "deg"))
    return Fraction(major.value)


def _passes(rule: Rule, facts: Facts, policy: Policy) -> Count:
    limit = rule.effective(facts, policy)
    assert limit.value is not None
    target = int(limit.value.value)
    reason = f"{rule.title}: {target} for a {limit.key} body ply."
    return Count(rule.id, target, limit.source, reason)


def _ply_key(facts: Facts, variant: str) -> str:
    return choice(facts, "tire.body_ply")


_PASSES = {
    "any": Limit(exact("3", "1"), COMMON_PRACTICE),
    "fabric": Limit(exact("3", "1"), COMMON_PRACTICE),
    "steel": Limit(
        exact("6", "1"), COMMON_PRACTICE, note="wire ends must be cut clean before the stem goes in"
    ),
}


INJURY_RULES: tuple[Rule, ...] = (
    Rule(
        "injury.size.max",
        "Injury size",
        "injury.size",
        "mm",
        Severity.STOP,
        Sense.MAX,
        {
            "us": Limit(
                exact("6", "mm"), US_CHART, note="of the published pair 1/4 in (6 mm) the stricter counts"
            ),
            "us_body_ply": Limit(exact("6", "mm"), TRMG, note="fabric body ply, or below load range E"),
            "us_body_ply.steel": Limit(
                exact("3/8", "in"),
                "common industry summary for steel-body-ply light truck tires",
                note="published pair 3/8 in (10 mm): the stricter, 9.525 mm, counts",
            ),
            "uk": Limit(exact("6", "mm"), UK, note="at the base of the injury, measured after preparation"),
            "jp": Limit(exact("6", "mm"), JATMA),
            "de": Limit(exact("6", "mm"), DE, note="measured on the inside"),
            "nz": Limit(exact("6", "mm"), NZ),
        },
        plain,
        {"injury.size": spoken("5.5", "mm")},
        pick=_size_key,
        applies="passenger, and light truck through load range E",
        formula="largest injury size, after preparation <= limit",
    ),
    Rule(
        "injury.angle.one_piece",
        "Injury angle for a one-piece unit",
        "injury.angle",
        "deg",
        Severity.WARN,
        Sense.MAX,
        {"any": Limit(exact("25", "deg"), TRMG, note="over this: two-piece repair")},
        plain,
        {"injury.angle": spoken("20", "deg")},
        formula="angle from the normal <= limit; beyond it a two-piece repair is called for",
    ),
    Rule(
        "injury.angle.max",
        "Injury angle",
        "injury.angle",
        "deg",
        Severity.STOP,
        Sense.MAX,
        {
            "us": Limit(None, NONE, note="two-piece fits any angle that stays in the crown"),
            "nz": Limit(exact("45", "deg"), NZ),
        },
        plain,
        {"injury.angle": spoken("30", "deg")},
        formula="angle from the normal <= limit",
    ),
    Rule(
        "injury.place.crown",
        "Injury place",
        "injury.place",
        "",
        Severity.STOP,
        Sense.NONE,
        {"any": Limit(None, US_CHART + ": tread only, nothing in shoulder or sidewall")},
        _place,
        {"injury.place": "crown"},
        formula="place is the crown",
    ),
    Rule(
        "injury.edge.min",
        "Tread edge to injury",
        "injury.edge_distance",
        "mm",
        Severity.STOP,
        Sense.MIN,
        {
            "us": Limit(exact("1", "in"), "tire dealer repair page (secondary): crown starts 1 to 1.5 in in"),
            "half_inch": Limit(exact("1/2", "in"), "explainer (secondary, weak): 1/2 in from the tread edge"),
            "inch_and_half": Limit(
                exact("3/2", "in"),
                "tire dealer repair page (secondary); Tire Business, 15 Sep 2003, for radial truck tires",
            ),
        },
        plain,
        {"injury.edge_distance": spoken("45", "mm")},
        formula="distance from the tread edge to the near side of the injury >= limit",
    ),
    Rule(
        "injury.grooves",
        "Injury between the outermost grooves",
        "injury.in_grooves",
        "",
        Severity.STOP,
        Sense.NONE,
        {"any": Limit(None, "tire maker's consumer page following USTMA: between the two outermost grooves")},
        _grooves,
        {"injury.in_grooves": "yes"},
        formula="the whole injury lies between the shoulder grooves",
    ),
    Rule(
        "injury.band",
        "Injury in the central band",
        "injury.center_distance",
        "mm",
        Severity.STOP,
        Sense.MAX,
        {"us": Limit(None, US_CHART, note="no central band in the US chart"), "uk": Limit(None, UK)},
        _band_half,
        {
            "injury.center_distance": spoken("40", "mm"),
            "injury.size": spoken("5", "mm"),
            "tire.section_width": exact("205", "mm"),
        },
        applies="car tires, United Kingdom",
        example_base="uk",
        computed=True,
        formula="center distance + size / 2 <= section width x (60, 65 or 70 %) / 2",
    ),
    Rule(
        "injury.channel.crown",
        "Farthest reach of the channel",
        "injury.center_distance",
        "mm",
        Severity.STOP,
        Sense.MAX,
        {
            "us": Limit(None, "tire dealer repair page (secondary): crown starts 1 to 1.5 in in"),
            "half_inch": Limit(None, "explainer (secondary, weak): 1/2 in from the tread edge"),
            "inch_and_half": Limit(None, "tire dealer repair page (secondary): 1.5 in"),
            "uk": Limit(None, UK),
        },
        _whole_channel,
        {
            "injury.size": spoken("5", "mm"),
            "injury.angle": spoken("20", "deg"),
            "injury.lean": "outward",
            "injury.center_distance": spoken("30", "mm"),
            "tire.thickness": spoken("14", "mm"),
            "tire.tread_width": spoken("170", "mm"),
        },
        computed=True,
        formula="(x + t tan a where it leans across, at either end) + d / (2 cos a) <= half width of the crown zone",
    ),
    Rule(
        "patch.size.min",
        "Patch diameter",
        "patch.size",
        "mm",
        Severity.STOP,
        Sense.MIN,
        {"any": Limit(exact("12", "mm"), COMMON_PRACTICE, note="margin all round the injury on the liner")},
        _long,
        {
            "patch.size": spoken("45", "mm"),
            "injury.size": spoken("5", "mm"),
            "injury.angle": spoken("20", "deg"),
        },
        computed=True,
        formula="patch >= d / cos a + 2 x margin",
    ),
    Rule(
        "stem.length.min",
        "Stem length",
        "stem.length",
        "mm",
        Severity.STOP,
        Sense.MIN,
        {"any": Limit(exact("10", "mm"), COMMON_PRACTICE, note="allowance to pull and trim by")},
        _long,
        {
            "stem.length": spoken("45", "mm"),
            "tire.thickness": spoken("14", "mm"),
            "injury.angle": spoken("20", "deg"),
        },
        computed=True,
        formula="stem >= t / cos a + allowance",
    ),
    Rule(
        "passes.inside",
        "Cutter passes from the inside",
        "tire.body_ply",
        "1",
        Severity.STOP,
        Sense.MIN,
        _PASSES,
        _passes,
        {"tire.body_ply": "fabric"},
        pick=_ply_key,
        kind="count",
        formula="passes by body ply",
    ),
    Rule(
        "passes.outside",
        "Cutter passes from the outside",
        "tire.body_ply",
        "1",
        Severity.STOP,
        Sense.MIN,
        _PASSES,
        _passes,
        {"tire.body_ply": "steel"},
        pick=_ply_key,
        kind="count",
        formula="passes by body ply",
    ),
)
