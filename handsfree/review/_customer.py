"""The customer's copy: one page, without the names of staff and without sound. Pure."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from handsfree.quantity import Quantity
from handsfree.record import (
    REJECTED,
    Told,
    counted,
    items,
    joined,
    lasting,
    practice_of,
    rejection,
    value_of,
)

from ._charts import Wait
from ._clock import Clock
from ._injury import Injury
from ._look import Odd, look_at, sorted_out
from ._page import environment, facts_of, job_injuries
from ._readings import Reading, judged_of, name_of, readings_of
from ._section import section
from ._series import LEAK, least_end, loss_of, waits_of
from ._signed import signatures_of
from ._source import Source
from ._status import Status, closing, status_of
from ._tire_face import face
from ._values import amount, customary, gap_told, in_brackets, limit_told
from ._values import reading as quantity

__all__ = ["customer_page"]

#: What a customer is shown of the job's head; nobody's name, no bay.
_HEAD = ("Work order", "Vehicle", "Wheel", "Tire", "Ended")
#: Limits a customer may ask for, in this order.
_LIMITS = (
    "injury.size",
    "injury.angle",
    "injury.edge_distance",
    "tread.depth",
    "patch.size",
    "stem.length",
    "pressure.set",
    "pressure.leak_end",
    "torque.applied",
)
_MOST_LIMITS = 9  # so that it stays one page
_MOST_REASONS = 6


def customer_page(source: Source, clock_: Clock | None = None) -> str:
    """One HTML page of A4 or Letter, headed by the shop's name where the record names it.

    A job that is not finished or damaged says so, and claims nothing; one that a supervisor must look at first
    says that, and what is open: never more than the review page says.
    """
    at = clock_ or Clock()
    odd = look_at(source)
    status = status_of(source, len(odd), at)
    closed = closing(source)
    sound = not source.damage and not source.doubt and not source.newer and closed is not None
    readings = readings_of(source, at, customer=True)
    injuries = job_injuries(source) if sound else ()
    reasons = [_without_staff(source, reason) for reason in status.reasons]
    look = sound and status.tone == "look"
    remarks = _remarks(source, odd) if look else []
    practice = bool(source.rows) and practice_of(source.rows[0]) != ""
    looked, signed = _signed(source, at)
    answer = {"yes": "Released to the road", "no": "Not for the road"}.get(status.tone) or (
        "Released to the road, with remarks"
        if looked
        else "Released to the road only after the shop has looked"
    )
    return (
        environment()
        .get_template("customer.html")
        .render(
            head=value_of(source.rows[-1], "hash") if source.rows else "",
            tone=status.tone,
            shop=value_of(source.rows[0], "shop") if source.rows else "",
            answer=answer,
            signed=signed if look else "",
            remarks=remarks[:_MOST_REASONS],
            more_remarks=max(len(remarks) - _MOST_REASONS, 0),
            disposition=_without_staff(source, _disposition(source, status)),
            practice=practice,
            sound=sound,
            reasons=reasons[:_MOST_REASONS],
            more=max(len(reasons) - _MOST_REASONS, 0),
            facts=[(label, value) for label, value in facts_of(source, at) if label in _HEAD],
            procedure=value_of(source.rows[0], "procedure_title") if source.rows else "",
            found=_found(source, injuries, readings),
            done=_done(source, injuries, readings),
            limits=_kept(source, readings),
            pictures=_pictures(injuries),
            advice=_advice(source, readings) if status.released and not practice else [],
            notice=source.book.procedure.notice if source.book else "",
        )
    )


def _disposition(source: Source, status: Status) -> str:
    """What became of the tire: under "Not for the road" never that it was returned to service."""
    if rejection(source.rows) is not None:
        return REJECTED.capitalize()
    # A practice job's says after these words what a real one would have come to.
    return "Practice, not for a real tire" if status.group == "practice" else status.disposition


def _remarks(source: Source, odd: Sequence[Odd]) -> list[str]:
    """What the review page asks to look at, for a customer: values beside their limits, of the rest its kind."""
    rows = {value_of(row, "seq"): row for row in source.rows}
    lines = []
    for heading, group in sorted_out(odd):
        judged = [rows[one.seq] for one in group if one.sort in ("outside", "close") and one.seq in rows]
        lines += [_without_staff(source, _remark(source, row)) for row in judged]
        if not judged:
            what = _PLAINLY.get(group[0].sort, heading)
            lines.append(f"{what}: {'once' if len(group) == 1 else f'{len(group)} times'}")
    return lines


#: What a customer reads instead of a heading for a supervisor.
_PLAINLY: Mapping[str, str] = {
    "release": "A supervisor of the shop was asked, or signed, and decided",
    "judged": "A value could not be judged",
    "found": "Something was found in an inspection",
    "loosened": "The shop works by a wider limit than the published one",
    "wait": "A wait was too short or too long",
    "caution": "A caution was not read back at once",
    "correction": "An entry was corrected, or a step gone back",
    "weak": "An answer was heard only just well enough",
    "interrupted": "The work was interrupted",
}


def _remark(source: Source, row: Told) -> str:
    """ "Torque applied: 150 N·m; outside by 36 N·m; limit: at most 114 N·m; then put right: 110 N·m"."""
    one, was = judged_of(row), row.judged
    told = [one.word, f"limit: {one.limit}"]
    if was is None:
        return f"{one.title}: {'; '.join(told)}"
    value = quantity(value_of(was, "value"), value_of(was, "unit"))
    if one.value:
        told.insert(0, f"{one.title.lower()} {one.value}")
    if value is not None:
        told.insert(0, in_brackets(*customary(value, heard=True)))
    now = was.latest
    after = quantity(value_of(now, "value"), value_of(now, "unit"))
    if now is not was and now.inside and after is not None:
        told.append(f"then put right: {in_brackets(*customary(after, heard=True))}")
    return f"{name_of(source, was)}: {'; '.join(told)}"


def _signed(source: Source, clock_: Clock) -> tuple[bool, str]:
    """Whether somebody of the shop has looked and accepted, and that in words."""
    last = next(iter(signatures_of(source, clock_)), None)
    if last is None or last.tone == "no":
        return False, "Nobody of the shop has signed for this yet. Open:"
    if source.keys is None:
        return False, "A signature stands under this, but it was not verified. Open:"
    return True, "The shop has looked at this and accepted it:"


def _without_staff(source: Source, text: str) -> str:
    """A sentence with nobody's name or badge in it."""
    text = re.sub(r"(?:supervisor )?badge \S+", "the shop\u2019s supervisor", text)
    for name in sorted(_staff(source), key=len, reverse=True):
        text = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)", "the shop", text)
    return text


#: Kinds of line that are about people, and the keys of a name or a badge in them.
_PEOPLE, _NAMES = ("hold_point", "code", "technician", "signed"), ("name", "badge", "was", "now")


def _staff(source: Source) -> set[str]:
    opened = source.rows[0] if source.rows else Told()
    names = {value_of(opened, "technician"), value_of(opened, "bay")}
    for row in source.rows:
        if row.get("measurand") == "job.technician":
            names.add(value_of(row, "value"))
        if row.get("kind") in _PEOPLE:
            names |= {value_of(row, "by").rpartition(" ")[2], *(value_of(row, key) for key in _NAMES)}
    if source.book is not None:
        names |= {change.allowed_by for change in source.book.policy.overrides.values()}
    return names - {"", "disposition"}


def _said(value: object, words: str) -> str:
    """A fact that was read; "" for one that was not."""
    return f"{in_brackets(*customary(value, heard=True))} {words}" if isinstance(value, Quantity) else ""


def _found(source: Source, injuries: Sequence[Injury], readings: Sequence[Reading]) -> list[str]:
    lines = []
    sizes = [one for one in readings if one.measurand == "injury.size"]
    for injury in injuries:
        size, edge = injury.facts.get("injury.size"), injury.facts.get("injury.edge_distance")
        # Read once more after drilling: that is how wide it is now, not how wide it was found.
        wide = "wide after drilling" if injury.repaired and len(sizes) > len(injuries) else "wide"
        lines.append(joined(injury.name, _said(size, wide), _said(edge, "from the tread edge")))
    lines = [*_noted_first(source), *lines]
    points = [row for row in source.rows if row.get("kind") == "inspect" and row.replaced_by is None]
    looked = [row for row in points if _of_the_tire(source, row)] or points
    defects = [
        value_of(row, "reason") or value_of(row, "condition")
        for row in points
        if row.get("outcome") == "found"
    ]
    if defects:
        lines.append(f"Inspection: {'; '.join(defects)}")
    elif looked and injuries:
        lines.append(f"Inspection inside and outside: {counted(len(looked), 'point')}, nothing else found")
    elif looked:
        lines.append(f"Inspection: {counted(len(looked), 'point')}, nothing found")
    driven = _last(readings, "recheck.distance")
    if driven is not None and not _sets_recheck(source):
        lines.append(f"{driven.name}: {_value(driven)}")
    return lines + _nuts(source)


def _of_the_tire(source: Source, row: Told) -> bool:
    """Whether an inspection is that of the tire before its repair, not of the repair, the wheel or the valve."""
    return getattr(source.step(value_of(row, "step")), "phase", "") == "inspect"


def _noted_first(source: Source) -> list[str]:
    """What was recorded against the tire and then came out otherwise: a customer must not hear of it elsewhere."""
    closed = closing(source)
    stated = items(closed, "exceptions") if closed is not None else []
    lines = []
    for row in source.rows:
        now = row.latest
        if row.get("kind") != "inspect" or row.get("outcome") != "found" or now.get("outcome") != "clear":
            continue
        what = value_of(row, "reason") or value_of(row, "condition")
        told = "corrected to nothing found" if now.reopened else "nothing found when it was looked at again"
        if any(text.startswith("finding corrected") and what in text for text in stated):
            told += ", and released by the shop\u2019s supervisor"
        lines.append(f"Noted first: {what}; then {told}")
    return lines


def _nuts(source: Source) -> list[str]:
    """What the torque check found at the nuts, each time it was made, as the procedure names it."""
    steps = source.book.procedure.step if source.book is not None else ()
    choices = {step.id: step for step in steps if step.kind == "choice"}
    if not any(step.fact == "torque.nuts_turned" for step in choices.values()):
        return []
    found: list[str] = []
    for row in source.rows:
        step = choices.get(value_of(row, "step")) if row.get("kind") == "answer" else None
        if step is None:
            continue
        option = next((one for one in step.options if one.id == value_of(row, "outcome")), None)
        if option is None or not (step.fact == "torque.nuts_turned" or option.scrap):
            continue
        if not found or not found[-1].endswith(option.name):
            how = "then corrected" if row.correction else "then, checked again"
            found.append(f"{how}: {option.name}" if found else option.name)
    return ["; ".join(found)] if found else []


def _sets_recheck(source: Source) -> bool:
    """Whether the job's procedure fits a wheel and tells the customer to come back for the nuts; else a distance
    is the one already driven, and the torque is that of a check."""
    steps = source.book.procedure.step if source.book is not None else ()
    return any("recheck" in step.advice for step in steps)


def _last(readings: Sequence[Reading], measurand: str) -> Reading | None:
    return next((one for one in reversed(readings) if one.measurand == measurand), None)


def _done(source: Source, injuries: Sequence[Injury], readings: Sequence[Reading]) -> list[str]:
    lines = []
    for injury in injuries:
        if injury.repaired:
            unit = [f"patch {float(injury.patch):g} mm"] if injury.patch is not None else []
            unit += [f"stem {float(injury.stem):g} mm"] if injury.stem is not None else []
            lines.append(f"{injury.name} repaired from inside" + (f": {', '.join(unit)}" if unit else ""))
    lines += [_waited(wait) for wait in waits_of(source) if wait.waited is not None]
    torque = (
        "Wheel fitted, nuts tightened to {}"
        if _sets_recheck(source)
        else "Wheel nuts\u2019 torque checked: {}"
    )
    for measurand, words in (("torque.applied", torque), ("pressure.set", "Pressure set to {}")):
        value = _last(readings, measurand)
        if value is not None:
            lines.append(words.format(_value(value)))
    return lines


def _waited(wait: Wait) -> str:
    assert wait.waited is not None
    told = f"at least {lasting(wait.planned)} needed" if wait.kept else wait.words.lower()
    return f"{wait.name}: {lasting(wait.waited)}, {told}"


def _value(one: Reading) -> str:
    return in_brackets(one.spoken, one.converted)


def _kept(source: Source, readings: Sequence[Reading]) -> list[Reading]:
    judged = [one for one in readings if one.judged and one.measurand in _LIMITS]
    kept = sorted(judged, key=lambda one: _LIMITS.index(one.measurand))[:_MOST_LIMITS]
    rows = {value_of(row, "seq"): row for row in source.rows}
    return [row for one in kept for row in _leak_apart(one, rows[one.seq])]


def _leak_apart(one: Reading, row: Told) -> list[Reading]:
    """An end pressure is judged by the pressure lost: each beside a limit of its own kind."""
    verdict = next((verdict for verdict in row.verdicts if value_of(verdict, "rule") == LEAK), None)
    value = quantity(value_of(row, "value"), value_of(row, "unit"))
    if verdict is None or value is None:
        return [one]
    least, loss = least_end(value, verdict), loss_of(verdict)
    if least is None or loss is None:
        return [one]
    judged = one.judged[row.verdicts.index(verdict)]
    lost = replace(one, name="Pressure lost", spoken=_lost(loss), converted="", judged=[judged])
    gap = Quantity(abs(Fraction(value.value) - Fraction(least.value)), least.unit)
    word = judged.word if judged.outcome == "close" else f"{judged.outcome} by {gap_told(gap)}"
    end = replace(judged, word=word, limit=f"at least {limit_told(least, least, 'low')}, by what may be lost")
    return [replace(one, judged=[end]), lost]


def _lost(loss: Quantity) -> str:
    """A loss below nothing is a rise, which no leak makes."""
    if loss.value < 0:
        return f"none: it rose by {amount(Quantity(-loss.value, loss.unit))} (temperature or gauge)"
    return amount(loss)


def _pictures(injuries: Sequence[Injury]) -> list[tuple[str, str]]:
    drawn = [("Where round the tire, valve at twelve", face(injuries, "face"))]
    first = next((injury for injury in injuries if injury.channel is not None), None)
    if first is not None:
        drawn.append((f"{first.name}, the tire cut across", section(first, "section")))
    return [(title, picture) for title, picture in drawn if picture is not None]


def _advice(source: Source, readings: Sequence[Reading]) -> list[str]:
    """What the customer must do; but for the distance, common practice without a published source."""
    lines = []
    recheck = _last(readings, "recheck.distance") if _sets_recheck(source) else None
    placard = _last(readings, "pressure.placard")
    if recheck is not None:
        lines.append(f"Come back to have the wheel nuts\u2019 torque checked after {_value(recheck)}.")
    if placard is not None:
        lines.append(
            f"Check the pressure, cold, in the next days: {_value(placard)}, as the vehicle\u2019s placard says."
        )
    lines.append(
        "Vibration, pulling to a side or a falling pressure: stop safely and have the wheel looked at."
    )
    return lines
