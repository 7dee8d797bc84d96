"""What a supervisor must look at, line by line: a table from kind to the reason, "" for an ordinary line."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from ._phrases import limit_of, reason_of, takes_over, who_decided
from ._story import Told
from ._wording import Entry, has, in_use, items, joined, left_at, line_of, measured, seconds, value_of

__all__ = ["clock_of", "exceptions", "exceptions_of", "practice_of"]

#: An accepted utterance less likely to be what was said than this is shown (our own choice, no published source).
_NEAR = 0.6

#: What only the closing line tells: a reason that was put up with, one whose answer was corrected before it was
#: released, and an answer that the procedure calls worth a look.
_ONLY_THERE = ("concession", "finding corrected", "noted at")


def exceptions_of(row: Told) -> list[str]:
    """Why this line is out of the ordinary, nothing when it is not."""
    return [*_by_kind(row), *([clock_of(row)] if row.clock else [])]


def clock_of(row: Told) -> str:
    """What is wrong with the time of a line, "" for nothing."""
    told = "the signature is " if row.clock and value_of(row, "kind") == "signed" else ""
    return told + row.clock


def _by_kind(row: Told) -> list[str]:
    if value_of(row, "kind") == "open":
        return _opened(row)
    if value_of(row, "kind") == "close":
        return [in_use(text) for text in items(row, "exceptions") if text.startswith(_ONLY_THERE)]
    rule = _RULES.get(value_of(row, "kind"))
    found = rule(row) if rule else ""
    return [found] if found else []


def exceptions(rows: Sequence[Told]) -> list[tuple[str, str]]:
    """A job's exceptions, each with its line ("line 340"), in order. What counts or lists them goes by this or asks
    ``exceptions_of`` of every line, so that the end of a session, ``show`` and the pages say one number."""
    return [(f"line {line_of(row) or '?'}", note) for row in rows for note in exceptions_of(row)]


def practice_of(opened: Entry) -> str:
    """What to call a job that was only practice, "" for a real one."""
    why = value_of(opened, "practice")
    return f"PRACTICE, not for a real tire: {why}" if why else ""


def _opened(row: Told) -> list[str]:
    practice = practice_of(row)
    loosened = [moved for moved in items(row, "policy_moved") if "loosened" in moved]
    return [
        *([practice] if practice else []),
        *(f"limit loosened: {moved.replace(', loosened', '', 1)}" for moved in loosened),
    ]


def _verdict(row: Told) -> str:
    outcome = value_of(row, "outcome")
    if outcome in ("inside", ""):
        return ""
    what = {"outside": "outside the limit", "close": "too close to call"}.get(outcome, outcome)
    severity = value_of(row, "severity")
    mild = " (warning)" if severity in ("warn", "note") else ""  # as it was said and shown
    told = joined(f"{value_of(row, 'step')}: {what}{mild}", limit_of(row), reason_of(row))
    after = _put_right(row)
    return f"{told.rstrip('.')}; {after}" if after else told


def _put_right(row: Told) -> str:
    """What became of the reading that a verdict refused, when a later one took its place and is inside."""
    if row.judged is None or row.judged.latest is row.judged or not row.judged.latest.inside:
        return ""
    now = row.judged.latest
    return f"{'corrected' if now.reopened else 'put right'}: {measured({**now, 'measurand': ''})}"


def _corrected(row: Told) -> str:
    if not row.correction:
        return ""
    was = measured(row.replaced) or f"record {value_of(row, 'replaces')}"
    if was == measured(row):
        return ""  # reopened, and said once more
    return f"{value_of(row, 'step')}: corrected from {was} to {measured(row)}"


def _reading(row: Told) -> str:
    """A correction, or a good reading that another took the place of; of a refused one its verdict tells."""
    old = row.replaced
    if row.correction or not isinstance(old, Told) or not old.inside:
        return _corrected(row)
    if measured(row) == measured(old):
        return ""
    return f"{value_of(row, 'step')}: measured again, {measured(row)} instead of {measured(old)}"


def _inspect(row: Told) -> str:
    found = (
        f"{value_of(row, 'step')}: {value_of(row, 'condition')} found"
        if value_of(row, "outcome") == "found"
        else ""
    )
    return joined(found, _corrected(row) or _changed(row))


def _changed(row: Told) -> str:
    """An inspection that came out otherwise the second time, with no correction asked for."""
    was, now = value_of(row.replaced, "outcome"), value_of(row, "outcome")
    return f"{value_of(row, 'step')}: {measured(row.replaced)} became {now}" if was and was != now else ""


def _wait(row: Told) -> str:
    """Checked by the figures, not only by the outcome's word."""
    if not has(row, "waited_s"):
        return ""
    plan = row.plan or row
    figures = [_whole(row, "waited_s"), _whole(plan, "planned_s"), _whole(plan, "longest_s")]
    waited, planned, longest = figures
    fits = (
        waited is not None
        and planned is not None
        and planned <= waited <= (waited if longest is None else longest)
    )
    if fits and value_of(row, "outcome") != "overrun":
        return ""
    limits = joined(
        seconds(plan, "planned_s"), (has(plan, "longest_s") and seconds(plan, "longest_s")) or "", sep=" to "
    )
    return f"{value_of(row, 'step')}: waited {seconds(row, 'waited_s')}, planned {limits}"


def _whole(row: Entry, key: str) -> int | None:
    text = value_of(row, key)
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None


def _disposed(row: Told) -> str:
    return "" if value_of(row, "outcome") == "again" else left_at(row)


def _hold_point(row: Told) -> str:
    """A refusal, and whatever a person released: only the engine's own release is ordinary."""
    outcome, by = value_of(row, "outcome"), value_of(row, "by")
    if outcome == "released" and by == "disposition":
        return ""
    return joined(
        f"{value_of(row, 'step')}: {outcome} by {who_decided(row)}", *map(in_use, items(row, "reasons"))
    )


def _signed(row: Told) -> str:
    decision = value_of(row, "decision")
    again = f"redo: {'; '.join(items(row, 'redo'))}" if items(row, "redo") else ""
    told = joined(f"{decision} by {value_of(row, 'name')}", value_of(row, "reason"), again)
    # An acceptance with a reason: it was rejected before.
    return "" if decision == "accept" and not value_of(row, "reason") else told


def _missed(row: Told) -> str:
    """A caution that was not read back at once: whoever stumbles over it may not have listened."""
    if row.step_kind != "caution":
        return ""
    heard = f', "{value_of(row, "heard")}" was said' if has(row, "heard") else ""
    return f"{value_of(row, 'step')}: not read back at once{heard}"


def _weak(row: Told) -> str:
    """An utterance taken although its sound left much doubt: the acceptance is no proof, listen to it."""
    scores = row.get("scores")
    if value_of(row, "accepted") != "true" or not isinstance(scores, dict):
        return ""
    try:
        probability = float(scores["probability"])
    except (KeyError, TypeError, ValueError):
        return ""  # typed, or of another engine
    return f'"{value_of(row, "text")}": {probability:.0%} sure by its sound' if probability < _NEAR else ""


def _at(what: str) -> Callable[[Told], str]:
    return lambda row: f"{what} at {value_of(row, 'step')}"


def _hold(row: Told) -> str:
    """Not where the work went on at another tire: the timeline has that, and nothing is out of the ordinary."""
    turned = value_of(row.cause, "type") == "set_aside" or value_of(row.cause, "aside") == "true"
    return "" if turned else f"put on hold at {value_of(row, 'step')}"


_RULES: dict[str, Callable[[Told], str]] = {
    "event": _weak,
    "missed": _missed,
    "verdict": _verdict,
    "reading": _reading,
    "answer": _corrected,
    "inspect": _inspect,
    "wait": _wait,
    "caution": lambda row: "" if has(row, "read_back") else f"caution not read back: {value_of(row, 'text')}",
    "cut_off": _at("what must be heard was cut off"),
    "not_judged": lambda row: f"{value_of(row, 'step')}: not judged, {in_use(value_of(row, 'reason'))}",
    "disposed": _disposed,
    "hold_point": _hold_point,
    "code": lambda row: (
        f"{value_of(row, 'step')}: wrong code word for badge {value_of(row, 'badge')}"
        if value_of(row, "outcome") != "right"
        else ""
    ),
    "technician": lambda row: f"technician changed {takes_over(row)}" if has(row, "was") else "",
    "hold": _hold,
    "signed": _signed,
    "stop": _at("work stopped"),
    "resumed": _at("interrupted and opened again"),
    "back": lambda row: f"went back from {value_of(row, 'step')} to {value_of(row, 'to')}",
    "device": lambda row: joined(value_of(row, "device"), value_of(row, "outcome"), sep=" "),
    "sound_lost": lambda row: f"{value_of(row, 'ms')} ms of sound lost, the computer was too slow",
    "reopened": lambda row: f"opened again: {value_of(row, 'reason')}",
    "recovered": lambda row: f"an unfinished line was moved to {value_of(row, 'file')}",
}
