"""How each kind of line is said to a reader: a table from kind to formatter.

A formatter gives None for a line that another line already tells.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from rich.text import Text

from handsfree.quantity import inward

from ._added_up import judged_numbers
from ._story import Told
from ._units import with_unit
from ._wording import (
    counted,
    days_of,
    has,
    in_minutes,
    in_use,
    items,
    joined,
    left_at,
    line_of,
    measured,
    plain,
    rest,
    seconds,
    stepped,
    value_of,
)

__all__ = [
    "EVENTS",
    "PHRASES",
    "Phrase",
    "limit_in_words",
    "limit_of",
    "phrase",
    "reason_of",
    "unknown",
    "who_decided",
]


class Phrase(NamedTuple):
    """One row: a label (who or what), the text, the label's style."""

    label: str
    text: Text
    style: str = ""


Formatter = Callable[[Told], Phrase | None]


def phrase(row: Told) -> Phrase | None:
    """A line as a reader sees it; None when it tells nothing new."""
    told = PHRASES.get(value_of(row, "kind"), unknown)(row)
    if not row.clock:
        return told
    label, text, style = told or Phrase("clock", Text(""), "bold yellow")
    return Phrase(label, Text(joined(text.plain, row.clock, sep="; ")), style)


def unknown(row: Told) -> Phrase:
    """A kind this version does not know: shown whole rather than hidden."""
    return Phrase(value_of(row, "kind") or "?", Text(rest(row, "kind")), "dim")


def _plainly(label: str, style: str = "") -> Formatter:
    return lambda row: Phrase(label, Text(rest(row)), style)


def _hidden(_: Told) -> None:
    return


def _open(row: Told) -> Phrase:
    pins = [f"{key} {value_of(row, key)[:16]}" for key in row if key.endswith("sha256")]
    return Phrase("opened", Text(joined("schema " + value_of(row, "schema"), *pins)), "dim")


def _event(row: Told) -> Phrase | None:
    kind = value_of(row, "type")
    if kind in EVENTS:
        return EVENTS[kind](row)
    return Phrase(kind.replace("_", " ") or "event", Text(rest(row, "type")), "dim")


def _heard(row: Told) -> Phrase:
    said = value_of(row, "text") or value_of(row, "hypothesis")
    return Phrase("heard", Text(joined(f'"{said}"', _understood(row), sep="  ")), "cyan")


def _understood(row: Told) -> str:
    if value_of(row, "type") == "command":
        return f"command: {value_of(row, 'name').replace('_', ' ')}"
    number, slots = row.get("number"), row.get("slots")
    value = value_of(dict(number), "value") if isinstance(number, dict) else ""
    match slots:
        case [["unit", str(unit)]] if value:
            return f"understood: {measured({'value': value, 'unit': unit})}"
        case [["dispose", str()]]:  # its words say it, and "accept" would say that somebody did
            return f"understood: {value_of(row, 'text')}"
    meaning = joined(value, value_of({"slots": plain(slots)}, "slots") if slots else "")
    return f"understood: {meaning}" if meaning else ""


def _no_match(row: Told) -> Phrase:
    said = value_of(row, "text")
    what = f'"{said}"' if said else "speech"
    level = f"{value_of(row, 'level_db')} dB over the noise" if has(row, "level_db") else ""
    reason = joined(value_of(row, "reason") or "fits nothing armed", level)
    return Phrase("no match", Text(joined(what, reason, sep=": ")), "yellow")


def _spoken(row: Told) -> Phrase:
    whole = value_of(row, "completed") == "true"
    text = joined(value_of(row, "text"), "" if whole else "(NOT PLAYED TO ITS END)", sep=" ")
    kind = value_of(row, "say_kind")
    if value_of(row, "cut_by"):
        return Phrase("cut off", Text(f"{value_of(row, 'text')} (by {value_of(row, 'cut_by')})"), "yellow")
    style = "bold yellow" if kind == "caution" else "green"
    return Phrase("said", Text(text), style if whole else "red")


EVENTS: dict[str, Formatter] = {
    "start": lambda row: Phrase("started", Text(joined("the job starts", plain(row.get("job")), sep=": "))),
    "answer": _heard,
    "command": _heard,
    "no_match": _no_match,
    "no_input": lambda _: Phrase("no input", Text("nothing was said"), "yellow"),
    "spoken": _spoken,
    "timer": _hidden,  # the wait's own line says it
    "set_aside": lambda row: _heard(row) if has(row, "hypothesis") else None,
    "taken_up": _hidden,  # its own line says it
    "resumed": _hidden,  # so does the resumed line
    "device_lost": _hidden,
    "device_back": _hidden,
    "sealed": _hidden,  # the seal's own line says it
}


def _corrected(row: Told, text: str) -> Text:
    """The text, with the value it replaces beside it when it is a correction."""
    told = Text(text)
    old = row.replaced
    where = f"line {line_of(old)}" if old else f"record {value_of(row, 'replaces')}, which is not here"
    if row.correction:
        told.append(f"  CORRECTION, replaces {joined(measured(old), where, sep=' of ')}", style="bold yellow")
    elif old and value_of(row, "kind") == "reading":
        told.append(f"  instead of {joined(measured(old), where, sep=' of ')}", style="yellow")
    return told


def _reading(row: Told) -> Phrase:
    resolution = f" (to {value_of(row, 'resolution')})" if has(row, "resolution") else ""
    return Phrase(
        "recorded",
        _corrected(row, joined(value_of(row, "step"), measured(row) + resolution, sep=": ")),
        "bold",
    )


def _answer(row: Told) -> Phrase:
    return Phrase("recorded", _corrected(row, stepped(row, "outcome")), "bold")


def _inspect(row: Told) -> Phrase:
    outcome = value_of(row, "outcome").upper()
    text = joined(joined(stepped(row, "condition"), outcome, sep=": "), value_of(row, "reason"))
    return Phrase("inspected", _corrected(row, text), "bold red" if outcome == "FOUND" else "bold")


def limit_of(row: Told) -> str:
    """A verdict's limits in words."""
    low, high = value_of(row, "low"), value_of(row, "high")
    sums = judged_numbers(row, row.judged)
    if sums is not None:
        low, high = (number and with_unit(number, sums.unit) for number in (sums.low, sums.high))
    return limit_in_words(row, low, high)


def limit_in_words(row: Mapping[str, Any], low: str, high: str) -> str:
    """A verdict's limits, each as it is to be shown ("" for none)."""
    least, most = ("more than", "under") if value_of(row, "inclusive") == "false" else ("at least", "at most")
    return in_use(joined(low and f"{least} {low}", high and f"{most} {high}", sep=" and "))


def reason_of(row: Told) -> str:
    """A verdict's sentence; where it judges the reading itself, with the digits that were heard."""
    return in_use(value_of(row, "reason"), value_of(row.judged or {}, "value"))


def _verdict(row: Told) -> Phrase:
    outcome, margin, source = (value_of(row, key) for key in ("outcome", "margin", "source"))
    sums = judged_numbers(row, row.judged)
    if sums is not None:
        margin = with_unit(sums.margin, sums.unit)
    text = joined(
        outcome.upper(),
        limit_of(row),
        margin and in_use(f"margin {margin}"),
        reason_of(row).rstrip("."),
        source and f"[{inward(source)}]",
    )
    style = (
        "green" if outcome == "inside" else "bold red" if value_of(row, "severity") == "stop" else "yellow"
    )
    return Phrase("verdict", Text(text), style)


def _caution(row: Told) -> Phrase:
    back = value_of(row, "read_back")
    answer = f'read back "{back}"' if back else "NOT READ BACK"
    return Phrase(
        "caution", Text(joined(stepped(row, "text"), answer)), "bold yellow" if back else "bold red"
    )


def _wait(row: Told) -> Phrase:
    plan = row.plan or row
    planned = f"planned {seconds(plan, 'planned_s')}"
    longest = f"at most {seconds(plan, 'longest_s')}" if has(plan, "longest_s") else ""
    waited = f"waited {seconds(row, 'waited_s')}" if has(row, "waited_s") else ""
    source = f"[{inward(value_of(row, 'source'))}]" if has(row, "source") else ""
    style = "bold red" if value_of(row, "outcome") == "overrun" else "bold"
    computed = " and ".join(measured(one) for one in plan.inputs) if isinstance(plan, Told) else ""
    computed = computed and f"computed from {computed}"
    reason = in_minutes(value_of(row, "reason").rstrip("."))
    text = joined(stepped(row, "outcome"), waited, planned, longest, computed, reason, source)
    return Phrase("wait", Text(text), style)


def _pass(row: Told) -> Phrase:
    return Phrase(
        "pass", Text(f"{value_of(row, 'step')}: {value_of(row, 'n')} of {value_of(row, 'target')}"), "bold"
    )


def _missed(row: Told) -> Phrase | None:
    """What was understood but is no answer here; a no-match's own line already gives its reason."""
    if value_of(row.cause, "type") in ("no_match", "no_input"):
        return None
    return Phrase("not taken", Text(value_of(row, "reason")), "yellow")


def _not_confirmed(row: Told) -> Phrase:
    text = f'read-back of "{value_of(row, "heard")}" was answered "{value_of(row, "instead")}"'
    return Phrase("not taken", Text(text), "yellow")


def _hold_point(row: Told) -> Phrase:
    outcome = value_of(row, "outcome")
    who = who_decided(row)
    reasons = map(in_use, items(row, "reasons"))
    text = joined(f"{joined(value_of(row, 'step'), outcome, sep=': ')} by {who}", *reasons)
    sources = items(row, "sources")
    text = joined(text, f"[{'; '.join(map(inward, sources))}]" if sources else "")
    return Phrase("hold point", Text(text), "bold" if outcome == "released" else "bold red")


def who_decided(row: Told) -> str:
    """Who released or refused at a hold point, by which proof; where no person did, by what."""
    by, verified = value_of(row, "by"), value_of(row, "verified")
    if by == "disposition":
        return "the limits and inspections"
    proof = "code word right" if verified == "code word" else verified
    return joined(by, value_of(row, "name"), proof)


def _code(row: Told) -> Phrase:
    outcome = value_of(row, "outcome")
    text = f"{value_of(row, 'step')}: {outcome}, badge {value_of(row, 'badge')}"
    return Phrase("code word", Text(text), "bold" if outcome == "right" else "bold red")


def takes_over(row: Told) -> str:
    """Who works from here on, and who did."""
    was, now = value_of(row, "was"), value_of(row, "now")
    return f"from {was} to {now}" if was else now


def _refused(row: Told) -> Phrase:
    return Phrase("refused", Text(joined(value_of(row, "event"), value_of(row, "reason"))), "yellow")


def _step(row: Told) -> Phrase:
    title = value_of(row, "title") or value_of(row, "step")
    return Phrase("", Text(joined(value_of(row, "phase"), title, sep=" / "), style="bold underline"))


def _recovered(row: Told) -> Phrase:
    text = f"{value_of(row, 'torn_bytes')} bytes of an unfinished line were moved to {value_of(row, 'file')}"
    return Phrase("recovered", Text(text), "yellow")


def _signed(row: Told) -> Phrase:
    decision = value_of(row, "decision")
    text = joined(
        f"{decision} by {value_of(row, 'name')}, key {value_of(row, 'key')[:16]}",
        value_of(row, "reason"),
        *items(row, "redo"),
    )
    return Phrase("signed", Text(text), "bold green" if decision == "accept" else "bold red")


def _audio_dropped(row: Told) -> Phrase:
    files = items(row, "files")
    text = f"{counted(len(files), 'utterance')} older than {days_of(row)}, by policy"
    return Phrase("dropped", Text(text), "yellow")


def _voice(row: Told) -> Phrase:
    adaptation = value_of(row, "adaptation")
    if adaptation:
        return Phrase("voice", Text(f"enrolled, heard by adaptation {adaptation[:16]}"), "dim")
    return Phrase("voice", Text(f"heard without an adaptation: {value_of(row, 'why')}"), "dim")


def _close(row: Told) -> Phrase:
    reasons = map(in_use, items(row, "reasons"))
    text = joined(value_of(row, "disposition") or value_of(row, "outcome"), *reasons)
    return Phrase("closed", Text(text), "bold")


PHRASES: dict[str, Formatter] = {
    "open": _open,
    "event": _event,
    "reading": _reading,
    "answer": _answer,
    "inspect": _inspect,
    "verdict": _verdict,
    "not_judged": _plainly("not judged", "bold red"),
    "disposed": lambda row: Phrase("decided", Text(left_at(row)), "bold"),
    "caution": _caution,
    "advice": lambda row: Phrase("advice", Text(f"{value_of(row, 'name')}: {value_of(row, 'text')}")),
    "told": lambda row: Phrase("played", Text(f"{value_of(row, 'step')}: to its end"), "dim"),
    "cut_off": lambda row: Phrase("cut off", Text(f"{value_of(row, 'step')}: said again whole"), "red"),
    "wait": _wait,
    "pass": _pass,
    "command": _hidden,  # its event says it
    "correction": lambda row: Phrase(
        "reopened", Text(f"{value_of(row, 'reopens')}, to be corrected"), "bold yellow"
    ),
    "back": lambda row: Phrase(
        "went back", Text(f"from {value_of(row, 'step')} to {value_of(row, 'to')}"), "yellow"
    ),
    "missed": _missed,
    "not_confirmed": _not_confirmed,
    "refused": _refused,
    "hold": lambda row: Phrase("hold", Text(f"at {value_of(row, 'step')}"), "bold yellow"),
    "resume": lambda row: Phrase("resume", Text(f"at {value_of(row, 'step')}"), "bold"),
    "resumed": lambda row: Phrase("resumed", Text(f"opened again at {value_of(row, 'step')}"), "bold yellow"),
    "stop": lambda row: Phrase("stop work", Text(f"at {value_of(row, 'step')}"), "bold red"),
    "device": lambda row: Phrase(
        "device", Text(joined(value_of(row, "device"), value_of(row, "outcome"), sep=" ")), "red"
    ),
    "hold_point": _hold_point,
    "code": _code,
    "technician": lambda row: Phrase("technician", Text(takes_over(row)), "bold yellow"),
    "set_aside": lambda row: Phrase("set aside", Text(f"tire {value_of(row, 'tire')}"), "bold yellow"),
    "taken_up": lambda row: Phrase("taken up", Text(f"tire {value_of(row, 'tire')}"), "bold"),
    "step": _step,
    "known": lambda row: Phrase(
        "known", Text(f"{value_of(row, 'step')}: {value_of(row, 'outcome')}, told before"), "dim"
    ),
    "recovered": _recovered,
    "reopened": lambda row: Phrase("reopened", Text(value_of(row, "reason")), "yellow"),
    "close": _close,
    "seal": lambda row: Phrase("sealed", Text(f"check words: {' '.join(items(row, 'words'))}"), "bold"),
    "signed": _signed,
    "audio_dropped": _audio_dropped,
    "voice": _voice,
    "sound_lost": lambda row: Phrase(
        "sound lost",
        Text(f"{value_of(row, 'ms')} ms from the {value_of(row, 'device')}: computer too slow"),
        "red",
    ),
}
