"""A job's page: everything worked out, then one template. Pure: from a job that was read to a string."""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from handsfree.record import counted, crew, how_to_do_again, items, value_of

from ._charts import levels, pressures, wait_bar
from ._clock import Clock
from ._injury import Injury, injuries_of
from ._look import look_at, sorted_out
from ._readings import Reading, answers, readings_of
from ._section import section
from ._series import levels_of, pressures_of, waits_of
from ._signed import signatures_of, unsigned
from ._source import Source
from ._status import closing, status_of
from ._timeline import timeline
from ._tire_face import face
from ._unit_view import channel_view, liner_view
from ._values import reading, told

__all__ = ["environment", "facts_of", "job_injuries", "job_page"]


@cache
def environment() -> Environment:
    """The templates. Whatever comes from a record is escaped by the library, never by a template."""
    made = Environment(
        loader=PackageLoader("handsfree.review"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["counted"] = counted
    made.filters["whole_options"] = _whole_options
    return made


def _whole_options(text: str) -> Markup:
    """A command's options, and a date, in one piece each: a narrow screen breaks "--procedure" after a hyphen."""
    parts = re.split(r"((?<!\S)-[-\w]{1,40}|(?<!\S)\w[-\w]{1,40}-[-\w]{1,40})", text)
    kept = [
        Markup('<span class="one">{}</span>').format(one) if n % 2 else escape(one)
        for n, one in enumerate(parts)
    ]
    return Markup("").join(kept)


def job_page(source: Source, clock: Clock | None = None) -> str:
    """One self-contained HTML page. Never raises for a damaged or odd record: it is shown and said so."""
    clock = clock or Clock()
    odd = look_at(source)
    status = status_of(source, len(odd), clock)
    readings = readings_of(source, clock)
    injuries = job_injuries(source)
    closed = closing(source)
    sounds = [sound for sound in source.sounds.values() if sound.kept]
    return (
        environment()
        .get_template("job.html")
        .render(
            name=source.name,
            zones=clock.zones(source.rows),
            status=status,
            signatures=signatures_of(source, clock),
            go_on=how_to_do_again(source.rows),
            unsigned=unsigned(source, closed=closed is not None),
            facts=facts_of(source, clock),
            odd=odd,
            odd_groups=sorted_out(odd),
            readings=by_phase([one for one in readings if not one.instead]),
            replaced=[one for one in readings if one.instead],
            answers=answers(source, clock),
            doubt=source.doubt,
            face=face(injuries),
            injuries=[_pictures(injury) for injury in injuries],
            waits=[(wait, wait_bar(wait, f"wait-{n}")) for n, wait in enumerate(waits_of(source), 1)],
            pressures=pressures(pressures_of(source, clock)),
            levels=levels(levels_of(source, clock)),
            phases=timeline(source, clock),
            without_sound=sum(not sound.uri for sound in sounds),
            sounds=len(sounds),
            findings=sorted(source.findings, key=lambda one: one.severity != "error"),
            head=value_of(source.rows[-1], "hash") if source.rows else "",
            lines=len(source.rows),
            stated=items(closed, "exceptions") if closed else [],
            pins=_pins(source),
        )
    )


def by_phase(readings: Sequence[Reading]) -> list[tuple[str, list[Reading]]]:
    """Readings in the order of the work; a phase that is come back to has one heading."""
    phases: dict[str, list[Reading]] = {}
    for one in readings:
        phases.setdefault(one.phase, []).append(one)
    return list(phases.items())


def job_injuries(source: Source) -> tuple[Injury, ...]:
    """The injuries as the procedure knows them at the end of the record; none where it can't be replayed."""
    if source.state is None or source.book is None:
        return ()
    clocks = [
        reading(value_of(row, "value"), value_of(row, "unit"))
        for row in source.rows
        if row.get("measurand") == "injury.clock" and row.get("kind") == "reading" and row.replaced_by is None
    ]
    measured = [Fraction(clock.value) for clock in clocks if clock is not None]
    return injuries_of(source.state.facts, source.state.archived, source.book.policy, measured, source.own)


def facts_of(source: Source, clock: Clock) -> list[tuple[str, str]]:
    """What the page names the job by: label and value."""
    opened = source.rows[0] if source.rows else {}
    closed = closing(source)
    found = [
        ("Technician", ", then ".join(crew(source.rows))),
        ("Shop", value_of(opened, "shop")),
        ("Bay", value_of(opened, "bay")),
        ("Work order", _known(source, "job.work_order", "work_order")),
        ("Vehicle", _known(source, "job.vehicle", "vehicle")),
        ("Wheel", _known(source, "job.wheel_position", "")),
        ("Tire", _known(source, "tire.designation", "")),
        ("Procedure", _joined(value_of(opened, "procedure_title"), value_of(opened, "procedure_version"))),
        ("Started", clock.both(source.rows[0]) if source.rows else ""),
        ("Ended", clock.both(closed) if closed else "not closed"),
    ]
    policy = value_of(opened, "policy")
    if policy not in ("", "us"):
        found.insert(8, ("Shop policy", policy))
    return [(label, value) for label, value in found if value]


def _joined(title: str, version: str) -> str:
    return f"{title}, version {version}" if title and version else title


def _known(source: Source, measurand: str, header: str) -> str:
    """The last value of a measurand, else what the first line says."""
    for row in reversed(source.rows):
        if row.get("kind") in ("reading", "answer") and row.get("measurand") == measurand:
            text = value_of(row, "value") or value_of(row, "outcome")
            return text.replace("-", " ") if row.get("kind") == "answer" else text
    return value_of(source.rows[0], header) if source.rows and header else ""


def _pins(source: Source) -> list[tuple[str, str]]:
    """What the first line pins: versions, engine and hashes."""
    opened = source.rows[0] if source.rows else {}
    wanted = [k for k in opened if k.endswith("sha256")] + ["tool", "schema", "engine", "input", "clock"]
    return [(key.replace("_", " "), value_of(opened, key)) for key in wanted if value_of(opened, key)]


def _pictures(injury: Injury) -> dict[str, Any]:
    """One injury's drawings, and their numbers as text."""
    name = f"injury-{injury.number}"
    drawn: list[tuple[str, Markup | None]] = [
        ("Cross-section and crown zone", section(injury, f"{name}-section")),
        ("Channel and unit", channel_view(injury, f"{name}-channel")),
        ("Liner from inside", liner_view(injury, f"{name}-liner")),
    ]
    return {
        "injury": injury,
        "drawn": [(t, d) for t, d in drawn if d is not None],
        "numbers": _numbers(injury),
    }


_NUMBERS = (
    ("Size", "injury.size"),
    ("Angle from straight in", "injury.angle"),
    ("Leans, going out", "injury.lean"),
    ("Tire thickness", "tire.thickness"),
    ("From the tread edge", "injury.edge_distance"),
    ("Patch", "patch.size"),
    ("Stem", "stem.length"),
    ("Outline beyond the patch", "buff.outline_margin"),
    ("Stem left standing", "stem.trim_height"),
)


def _numbers(injury: Injury) -> list[tuple[str, str]]:
    found = []
    for label, fact in _NUMBERS:
        value = injury.facts.get(fact)
        if value is not None:
            found.append((label, value if isinstance(value, str) else told(value)))
    return [*found, ("Repaired", "yes" if injury.repaired else "NO")]
