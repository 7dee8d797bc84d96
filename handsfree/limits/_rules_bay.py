"""Rules on the bay, its tools and its waits: climate, cement, buffer, cutter, stem."""

from __future__ import annotations

from fractions import Fraction

from handsfree.limits._dewpoint import surface_margin
from handsfree.limits._drying import drying_times
from handsfree.limits._measurands import has, quantity
from handsfree.limits._policy import Policy
from handsfree.limits._rule import (
    COMMON_PRACTICE,
    Limit,
    Rule,
    Sense,
    computed,
    exact,
    plain,
    spoken,
    verdict,
)
from handsfree.limits._types import Facts, Severity, Verdict, Window
from handsfree.quantity import Quantity

__all__ = ["BAY_RULES"]

_ADHESIVE = "TM 10-5430-237-12&P, rubber-fabric adhesive (an analogue: not below 5 degC nor above 90 % RH)"
_SURFACE = "ISO 8502-4 and ISO 12944-7 practice, coating trade articles"
_CEMENT = "Tire Business, 19 Aug 2014: cement dries 3 to 5 minutes; cold and damp by our own model"


def _dew(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    air, damp = quantity(facts, "air.temperature"), quantity(facts, "air.humidity")
    known = has(facts, "surface.temperature")
    surface = quantity(facts, "surface.temperature") if known else air
    spread = surface_margin(surface, air, damp)
    middle = Quantity((spread.low + spread.high) / 2, "K", spread.high - spread.low)
    extra = "" if known else "surface not read: taken at air temperature"
    return computed(verdict(rule, middle, spread, rule.effective(facts, policy), extra))


def _drying(rule: Rule, facts: Facts, policy: Policy) -> Window:
    air, damp = quantity(facts, "air.temperature"), quantity(facts, "air.humidity")
    limit = rule.effective(facts, policy)
    assert limit.value is not None
    shortest, longest = drying_times(air, damp, limit.value)
    base = Fraction(limit.value.to("s").value)
    why = "ordinary climate" if shortest == base else f"cold or damp: longer than {int(base)} s"
    reason = f"{rule.title}: at least {shortest} s, then at most {longest} s before cementing again; {why}."
    return Window(rule.id, shortest, longest, limit.source, reason)


BAY_RULES: tuple[Rule, ...] = (
    Rule(
        "air.temperature.min",
        "Air temperature",
        "air.temperature",
        "degC",
        Severity.STOP,
        Sense.MIN,
        {"any": Limit(exact("5", "degC"), _ADHESIVE)},
        plain,
        {"air.temperature": spoken("18", "degC")},
        formula="air temperature >= limit",
    ),
    Rule(
        "air.humidity.max",
        "Relative humidity",
        "air.humidity",
        "%",
        Severity.STOP,
        Sense.MAX,
        {"any": Limit(exact("90", "%"), _ADHESIVE)},
        plain,
        {"air.humidity": spoken("55", "%")},
        formula="relative humidity <= limit",
    ),
    Rule(
        "air.humidity.usual",
        "Relative humidity, usual practice",
        "air.humidity",
        "%",
        Severity.WARN,
        Sense.MAX,
        {"any": Limit(exact("85", "%"), _SURFACE, inclusive=False)},
        plain,
        {"air.humidity": spoken("55", "%")},
        formula="relative humidity < limit",
    ),
    Rule(
        "air.dew_point_margin",
        "Surface above the dew point",
        "surface.temperature",
        "K",
        Severity.STOP,
        Sense.MIN,
        {"any": Limit(exact("3", "K"), _SURFACE, note="3 K is stricter than the 5 degF also published")},
        _dew,
        {
            "air.temperature": spoken("20.0", "degC"),
            "air.humidity": spoken("50", "%"),
            "surface.temperature": spoken("15.0", "degC"),
        },
        formula="surface - Td >= limit; Td = c g / (b - g), g = ln(RH/100) + b T / (c + T), "
        "b = 17.625, c = 243.04",
    ),
    Rule(
        "drying",
        "Cement drying",
        "air.temperature",
        "s",
        Severity.STOP,
        Sense.MIN,
        {"any": Limit(exact("180", "s"), _CEMENT)},
        _drying,
        {"air.temperature": spoken("12", "degC"), "air.humidity": spoken("60", "%")},
        kind="window",
        computed=True,
        formula="shortest = 180 s x 2^((20 - T)/10 if T < 20) x (1 + (RH - 50)/50 if RH > 50); "
        "longest = shortest + 120 s / 2^((T - 20)/10 if T > 20), at least 60 s more",
    ),
    Rule(
        "buffer.rpm.max",
        "Buffer speed",
        "buffer.rpm",
        "rpm",
        Severity.STOP,
        Sense.MAX,
        {"any": Limit(exact("5000", "rpm"), "Tire Business, 19 Aug 2014: faster scorches the rubber")},
        plain,
        {"buffer.rpm": spoken("4500", "rpm")},
        setting=True,
        formula="speed on the nameplate or dial <= limit",
    ),
    Rule(
        "drill.rpm.max",
        "Carbide cutter speed",
        "drill.rpm",
        "rpm",
        Severity.STOP,
        Sense.MAX,
        {
            "any": Limit(
                exact("1200", "rpm"), "tire service guide (secondary): cutter or reamer up to 1,200 rpm"
            )
        },
        plain,
        {"drill.rpm": spoken("1000", "rpm")},
        setting=True,
        formula="speed on the nameplate or dial <= limit",
    ),
    Rule(
        "stem.trim_height.max",
        "Stem above the tread",
        "stem.trim_height",
        "mm",
        Severity.WARN,
        Sense.MAX,
        {"any": Limit(exact("3", "mm"), COMMON_PRACTICE)},
        plain,
        {"stem.trim_height": spoken("2", "mm")},
        formula="stem left standing <= limit",
    ),
    Rule(
        "buff.outline.min",
        "Buffed outline beyond the patch",
        "buff.outline_margin",
        "mm",
        Severity.WARN,
        Sense.MIN,
        {"any": Limit(exact("6", "mm"), COMMON_PRACTICE)},
        plain,
        {"buff.outline_margin": spoken("12", "mm")},
        formula="buffed beyond the patch all round >= limit",
    ),
    Rule(
        "air.blow.max",
        "Blow-off air pressure",
        "air.blow_pressure",
        "kPa",
        Severity.STOP,
        Sense.MAX,
        {
            "any": Limit(
                exact("30", "psi"), "29 CFR 1917.154 (same rule as 1910.242(b)): 30 psi, with chip guard"
            )
        },
        plain,
        {"air.blow_pressure": spoken("25", "psi")},
        setting=True,
        formula="regulator setting <= limit",
    ),
)
