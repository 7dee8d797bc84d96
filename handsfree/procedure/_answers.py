"""What an answer does, by mode and step kind: the dialogue of a reading and its shorter cousins."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Set
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Final

from handsfree import limits
from handsfree.grammar import Interpretation, tire_designation
from handsfree.limits import LimitsError, Outcome, Severity, Verdict
from handsfree.procedure import _judging as judging
from handsfree.procedure._derived import belongs, unrepaired
from handsfree.procedure._events import Answer
from handsfree.procedure._flow import arm_confirm, arm_dispose, ask, enter, go, next_pass, rewind
from handsfree.procedure._misses import NOT_THE_CAUTION, miss
from handsfree.procedure._model import (
    Caution,
    Choice,
    CountPasses,
    Do,
    HoldPoint,
    Inspect,
    Kind,
    Option,
    Reading,
)
from handsfree.procedure._people import badge_read_back, release_asked, released, signed
from handsfree.procedure._rivals import rival
from handsfree.procedure._state import Mode, Pending
from handsfree.procedure._turn import Refusal, Turn
from handsfree.procedure._words import Limited, plainly, spoken, spoken_count, spoken_limit, written
from handsfree.quantity import Quantity, UnitError

__all__ = ["confirm", "dispose", "doubted", "read_back", "said_limit", "take"]


UNSURE: Final = "not heard surely enough"

_MOST_PLACES = 30


def _slot(answer: Answer, key: str) -> str:
    for name, value in answer.slots:
        if name == key:
            return value
    raise Refusal(f"the answer has no {key}")


def take(turn: Turn, answer: Answer) -> None:
    """An answer to the step's question."""
    _TAKE[Kind(turn.step.kind)](turn, answer)


def doubted(turn: Turn, answer: Answer) -> None:
    """An answer heard unsurely. What is read back anyway goes its way; anything else that would count at once is
    asked about first, and an unsure yes, or unsure words of a caution, are none."""
    mode = turn.state.mode
    if mode is Mode.ASKING and not _read_back_anyway(turn, answer):
        _pend(turn, Pending("doubted", answer.text, _heard_so(turn, answer), "", answer=answer))
    elif mode is Mode.ASKING:
        take(turn, answer)
    elif mode is Mode.DISPOSING:
        dispose(turn, answer)
    elif mode is Mode.CONFIRMING and (answer.label == "value" or _slot(answer, "answer") != "yes"):
        confirm(turn, answer)
    else:
        miss(turn, answer.text, UNSURE)


def _heard_so(turn: Turn, answer: Answer) -> str:
    return turn.prompt("read_back_choice", name=answer.text)


def _read_back_anyway(turn: Turn, answer: Answer) -> bool:
    match turn.step:
        case Reading() | HoldPoint():
            return True
        case Choice(confirm=confirm):
            return confirm
        case Inspect():
            return _slot(answer, "answer") == "found"
        case _:
            return False


def _commit_doubted(turn: Turn, pending: Pending) -> None:
    assert pending.answer is not None
    turn.set(mode=Mode.ASKING)
    take(turn, replace(pending.answer, unsure=False))


def _pend(turn: Turn, pending: Pending) -> None:
    """Read back, then wait for the confirmation. Nothing counts before the read-back was played whole."""
    turn.set(mode=Mode.CONFIRMING, pending=pending, misses=0)
    turn.say(pending.spoken, "read_back", must_be_heard=True)
    arm_confirm(turn)


# -- readings ---------------------------------------------------------------------------------------


def _take_reading(turn: Turn, answer: Answer) -> None:
    step = turn.step
    assert isinstance(step, Reading)
    kind = "measured" if step.unit else step.form
    pending = _READ[kind](turn, step, answer)
    if pending is not None:
        _pend(turn, pending)


def _read_back(turn: Turn, step: Reading, answer: Answer, value: Quantity | str) -> Pending:
    text = turn.prompt("read_back", name=step.name, value=spoken(value))
    return Pending("reading", answer.text, text, value)


def _take_designation(turn: Turn, step: Reading, answer: Answer) -> Pending | None:
    text = tire_designation(Interpretation(answer.label, answer.text, answer.slots)) or ""
    try:
        limits.parse_designation(text)
    except LimitsError as error:
        told = turn.prompt("not_judged", reason=str(error), ask=turn.question)
        miss(turn, answer.text, str(error), say=told)
        return None
    return _read_back(turn, step, answer, text)


def _take_digits(turn: Turn, step: Reading, answer: Answer) -> Pending | None:
    digits = _slot(answer, "digits")
    if not _fits(turn, step, answer, digits):
        return None
    return _read_back(turn, step, answer, digits)


def _take_badge(turn: Turn, step: Reading, answer: Answer) -> Pending | None:
    badge = _slot(answer, "badge")
    if not _fits(turn, step, answer, badge):
        return None
    return badge_read_back(turn, "reading", answer, turn.question)


def _fits(turn: Turn, step: Reading, answer: Answer, digits: str) -> bool:
    assert step.digits is not None
    low, high = step.digits
    if low <= len(digits) <= high:
        return True
    told = turn.prompt(
        "wrong_length", count=str(len(digits)), low=str(low), high=str(high), ask=turn.question
    )
    miss(turn, answer.text, "wrong number of digits", say=told)
    return False


def _take_measured(turn: Turn, step: Reading, answer: Answer) -> Pending | None:
    measured = _measured(step, answer)
    if isinstance(measured, str):
        miss(turn, answer.text, measured, say=_implausible(turn, step, answer))
        return None
    other = _rival(step, answer)
    if other is not None:
        which = turn.prompt("which_one", first=_bare(measured), second=_bare(other))
        miss(turn, answer.text, "one of two numbers that sound alike", say=which)
        return None
    before = _before(turn, step)
    if before is not None and measured.to(before.unit).value < before.value:
        told = turn.prompt("not_below", value=spoken(measured), before=spoken(before), ask=turn.question)
        miss(turn, answer.text, "smaller than before", say=told)
        return None
    return _read_back(turn, step, answer, measured)


def _before(turn: Turn, step: Reading) -> Quantity | None:
    """What can only have grown: the value it had when the step was come to, also where a correction has reopened it
    from a later one: what was wrong about it is no bound."""
    if not step.never_below:
        return None
    come_to = next((visit for visit in reversed(turn.state.path) if visit.step == step.id), None)
    known = None if come_to is None else come_to.facts.get(step.fact)
    return known if isinstance(known, Quantity) else None


#: How an answer becomes a value to be read back, by what is read; None after a miss that was told.
_READ: Mapping[str, Callable[[Turn, Reading, Answer], Pending | None]] = {
    "measured": _take_measured,
    "value": _take_digits,
    "designation": _take_designation,
    "badge": _take_badge,
}


def _quantity(step: Reading, answer: Answer) -> Quantity:
    if answer.number is None:
        raise Refusal("the answer has no number")
    number = answer.number
    for part in (number.value, number.resolution):
        if isinstance(part, Decimal) and not (part.is_finite() and abs(part.adjusted()) <= _MOST_PLACES):
            raise Refusal("the number is none that anybody could have said")
    unit = next((value for key, value in answer.slots if key == "unit"), step.unit)
    try:
        return Quantity(number.value, unit, number.resolution)
    except UnitError as error:
        raise Refusal(str(error)) from None


def _measured(step: Reading, answer: Answer) -> Quantity | str:
    """The quantity, or why it can't be one: gate 4, the physical range of the measurand."""
    measured = _quantity(step, answer)
    assert step.plausible is not None
    try:
        value = Fraction(measured.to(step.unit).value)
    except UnitError as error:
        return str(error)
    low, high = (Fraction(Decimal(str(bound))) for bound in step.plausible)
    return measured if low <= value <= high else "outside the physical range"


def _bare(value: Quantity) -> str:
    return spoken(Quantity(value.value, "1"))


def _rival(step: Reading, answer: Answer) -> Quantity | None:
    """The value that sounds like this one and could be true as well, if there is one."""
    assert answer.number is not None
    number = rival(answer.text, answer.number)
    if number is None:
        return None
    other = _measured(step, replace(answer, number=number))
    return None if isinstance(other, str) else other


def _implausible(turn: Turn, step: Reading, answer: Answer) -> str:
    assert step.plausible is not None
    low, high = (spoken(Quantity(Decimal(f"{bound:g}"), step.unit)) for bound in step.plausible)
    return turn.prompt(
        "not_plausible", value=spoken(_quantity(step, answer)), low=low, high=high, ask=turn.question
    )


def _commit_reading(turn: Turn, pending: Pending) -> None:
    step = turn.step
    assert isinstance(step, Reading)
    learned = _learned(step, pending.value)
    try:
        verdicts, fits = judging.judged_by(step, {**turn.state.facts, **learned}, turn.book.policy)
    except LimitsError as error:
        turn.record("not_judged", step=step.id, heard=pending.heard, reason=str(error))
        lead = turn.prompt("not_judged", reason=str(error), ask="")
        if step.again:  # nobody can tell which of the two readings is the wrong one: both are made anew
            turn.say(lead)
            _measure_from(turn, step)
        else:
            ask(turn, lead=lead)
        return
    if step.form == "badge":
        signed(turn, pending)
    number = _record_value(turn, step.fact, pending)
    turn.withdraw()
    turn.forget(_told_before(turn, step))
    for fact, value in learned.items():
        turn.learn(fact, value)
    for verdict in verdicts:
        _record_verdict(turn, verdict)
    worst = judging.worst(verdicts, step.binding)
    if worst is None:
        turn.set(put_right=("", ""))
        turn.enter_in_list(number)
        for verdict in fits:
            _record_verdict(turn, verdict, _part(turn, verdict))
        unfit = judging.worst(fits, step.fits)
        if unfit is not None:
            _unfit(turn, unfit, _inside_text(turn, pending.value, verdicts))
            return
        turn.chime("accepted")
        turn.say(_inside_text(turn, pending.value, verdicts), "verdict")
        go(turn, "inside")
        return
    turn.enter_in_list(number)
    turn.exception(f"{step.id}: {written(pending.value)} {worst.outcome}: {worst.reason}")
    turn.chime("refused")
    if step.adjust:
        lead = _to_put_right(turn, step, pending.value, worst)
        turn.set(put_right=(step.id, lead))  # said again to whoever opens the job again
        ask(turn, lead=lead)
        return
    if step.reached:
        # What was reached can't be measured again: it stands, and the way on is that of outside.
        turn.record("disposed", step=step.id, outcome="accept", heard=pending.heard)
        if worst.severity is Severity.STOP:
            turn.reason(worst.reason)
        reached = turn.prompt("reached", value=spoken(pending.value), limit=_limit(turn, worst))
        turn.say(reached, "verdict", whole=True)
        go(turn, "outside")
        return
    text = _disposing_text(turn, pending.value, worst)
    turn.set(mode=Mode.DISPOSING, misses=0, pending=replace(pending, kind="verdict", spoken=text))
    turn.say(text, "verdict", must_be_heard=True)
    arm_dispose(turn)


def _part(turn: Turn, verdict: Verdict) -> str:
    """The step of the reading in force that a rule judges: its verdict is one on that reading."""
    fact, at = limits.rule(verdict.rule).measurand, turn.book.procedure.at
    passed = (visit.step for visit in reversed(turn.state.path))
    return next((step for step in passed if getattr(at(step), "fact", "") == fact), turn.step.id)


def _unfit(turn: Turn, unfit: Verdict, lead: str) -> None:
    """What was chosen by the reading as it was before does not do for this one: it is chosen anew."""
    turn.exception(f"{_part(turn, unfit)}: {written(unfit.measured)} {unfit.outcome}: {unfit.reason}")
    turn.chime("refused")
    turn.say(f"{lead} {plainly(unfit.reason)}.", "verdict", whole=True)
    go(turn, "unfit")


def _to_put_right(turn: Turn, step: Reading, value: Quantity | str, worst: Verdict) -> str:
    said = {"value": spoken(value), "limit": _limit(turn, worst)}
    if worst.outcome is Outcome.CLOSE:
        return turn.prompt("adjust_close", **said)
    high = worst.high
    over = isinstance(value, Quantity) and high is not None and value.to(high.unit).value > high.value
    if step.above and over:
        return turn.prompt("adjust_above", **said, above=step.above)
    return turn.prompt("adjust", **said)


def _disposing_text(turn: Turn, value: Quantity | str, worst: Verdict) -> str:
    """The verdict and the way on; for a limit on something computed (a loss) the engine's own sentence."""
    said = spoken(value)
    if worst.measured != value:
        return turn.prompt("disposing", value=said, reason=plainly(worst.reason))
    limit = _limit(turn, worst)
    if worst.outcome is Outcome.OUTSIDE:
        bay = isinstance(turn.step, Reading) and turn.step.ambient
        return turn.prompt_of(*(["outside_bay"] if bay else []), "outside", value=said, limit=limit)
    return turn.prompt("close", value=said, limit=limit)


def _learned(step: Reading, value: Quantity | str) -> dict[str, Quantity | str]:
    """The facts a reading gives: its own, and what a tire's designation says besides."""
    more = limits.parse_designation(str(value)).facts() if step.form == "designation" else {}
    return {step.fact: value, **more}


def _told_before(turn: Turn, step: Reading) -> set[str]:
    """The facts of the designation that is replaced: what it said of the tire no longer holds."""
    old = turn.state.facts.get(step.fact)
    return set(_learned(step, old)) if step.form == "designation" and old is not None else set()


def _record_value(turn: Turn, fact: str, pending: Pending) -> int:
    value = pending.value
    steps = _same_reading(turn)
    entries = [e for e in turn.state.entries if e.step in steps and e.index == 0]
    entry = max(entries, key=lambda e: e.record, default=None)
    body = (
        {"value": value, "unit": "", "resolution": ""}
        if isinstance(value, str)
        else {
            "value": written(Quantity(value.value, "1", value.resolution)),
            "unit": value.unit,
            "resolution": "" if value.resolution is None else str(value.resolution),
        }
    )
    return turn.record(
        "reading",
        step=turn.state.step,
        measurand=fact,
        **{k: str(v) for k, v in body.items()},
        heard=pending.heard,
        replaces="" if entry is None else str(entry.record),
    )


def _same_reading(turn: Turn) -> set[str]:
    """The present step, and those whose reading takes the place of its reading, or the other way round."""
    step = turn.step
    before = {step.instead_of} if isinstance(step, Reading) else set()
    later = {s.id for s in turn.book.procedure.step if isinstance(s, Reading) and s.instead_of == step.id}
    return {step.id, *before, *later}


def _record_verdict(turn: Turn, verdict: Verdict, step: str = "") -> None:
    """``step``: where the reading was made that is judged again; left out, the present one."""
    turn.record(
        "verdict",
        step=step or turn.state.step,
        rule=verdict.rule,
        outcome=verdict.outcome,
        severity=verdict.severity,
        low=written(verdict.low),
        high=written(verdict.high),
        inclusive="true" if verdict.inclusive else "false",
        margin=written(verdict.margin),
        source=verdict.source,
        reason=verdict.reason,
    )


def _inside_text(turn: Turn, value: Quantity | str, verdicts: list[Verdict]) -> str:
    said = spoken(value)
    warnings = _warnings(turn, verdicts)
    # A limit on something computed from the value (a loss, an age) would be heard as one on the value.
    inside = [v for v in verdicts if v.outcome is Outcome.INSIDE and not v.unlimited]
    direct = [v for v in inside if v.measured == value and (v.low or v.high)][:1]
    loosened = [v for v in inside if _loosened(turn, v.rule)]
    if direct and direct[0] in loosened:  # heard by an expert too
        text = turn.book.prompts.say("inside", value=said, limit=_limit(turn, direct[0]))
    elif direct:
        text = turn.prompt("inside", value=said, limit=_limit(turn, direct[0]))
    else:
        text = turn.prompt("inside_computed" if inside else "inside_plain", value=said)
    moved = [turn.prompt("loosened", limit=limits.rule(v.rule).title) for v in loosened if v not in direct]
    return " ".join([text, *moved, *warnings])


def _warnings(turn: Turn, verdicts: list[Verdict]) -> list[str]:
    """What is not inside and stops nothing is said all the same, and shown to the supervisor."""
    odd = [v for v in verdicts if v.severity is not Severity.STOP and v.outcome is not Outcome.INSIDE]
    for verdict in odd:
        turn.exception(f"{turn.state.step}: {verdict.reason}")
    return [_warned(turn, verdict) for verdict in odd]


def _limit(turn: Turn, verdict: Verdict) -> str:
    return said_limit(turn, verdict.rule, verdict)


def said_limit(turn: Turn, rule: str, limited: Limited) -> str:
    """A limit in speech, in a verdict and when it is asked for; one that the shop has loosened is named as the shop's
    each time it is said."""
    text = spoken_limit(limited, turn.book.prompts)
    return turn.prompt("limit_loosened", limit=text) if _loosened(turn, rule) else text


def _loosened(turn: Turn, rule: str) -> bool:
    """Whether the shop has loosened this limit, in a job whose prompts can say so: older ones go on as they were."""
    moved = turn.book.policy.overrides.get(rule)
    sayable = "limit_loosened" in turn.book.prompts.templates
    return sayable and moved is not None and moved.limit is not None and bool(moved.allowed_by)


def _warned(turn: Turn, verdict: Verdict) -> str:
    """A warning in speech: the rule's name and its limit; the whole sentence is for the record."""
    bounded = verdict.low or verdict.high
    limit = _limit(turn, verdict) if bounded else plainly(verdict.reason)
    return turn.prompt("warn", name=limits.rule(verdict.rule).title, limit=limit)


# -- the other kinds --------------------------------------------------------------------------------


def _take_inspect(turn: Turn, answer: Answer) -> None:
    step = turn.step
    assert isinstance(step, Inspect)
    condition = step.conditions[turn.state.index]
    finding = _slot(answer, "answer")
    if finding not in ("clear", "found"):
        raise Refusal(f"{finding!r} is neither clear nor found")
    if finding == "found":
        text = turn.prompt("read_back_found", reason=condition.reason)
        _pend(turn, Pending("found", answer.text, text, "found"))
        return
    _commit_condition(turn, "clear", answer.text, turn.prompt("clear"))


def _commit_condition(turn: Turn, outcome: str, heard: str, said: str) -> None:
    step = turn.step
    assert isinstance(step, Inspect)
    index = turn.state.index
    condition = step.conditions[index]
    earlier = next((e for e in turn.state.entries if (e.step, e.index) == (step.id, index)), None)
    number = turn.record(
        "inspect",
        step=step.id,
        condition=condition.id,
        outcome=outcome,
        reason=condition.reason if outcome == "found" else "",
        heard=heard,
        replaces="" if earlier is None else str(earlier.record),
    )
    turn.enter_in_list(number, index)
    turn.withdraw()
    if outcome == "found":
        turn.reason(condition.reason)
    found = turn.state.found or outcome == "found"
    # One that was corrected is not found any more; a job begun by an older procedure goes on as it was.
    if turn.book.procedure.corrected:
        found = any(f.step == step.id for f in turn.state.findings)
    last = index + 1 == len(step.conditions) or bool(turn.state.return_to)
    turn.chime("refused" if outcome == "found" else "accepted")
    if not last:
        turn.set(found=found, index=index + 1, misses=0)
        ask(turn, lead=said)
        return
    turn.set(found=found)
    turn.say(said, "verdict", whole=bool(found))
    go(turn, "found" if found else "clear")


def _take_choice(turn: Turn, answer: Answer) -> None:
    step = turn.step
    assert isinstance(step, Choice)
    chosen = _slot(answer, "option")
    option = next((o for o in step.options if o.id == chosen), None)
    if option is None:
        raise Refusal(f"{chosen!r} is no option here")
    if step.confirm:
        text = turn.prompt("read_back_choice", name=option.name)
        _pend(turn, Pending("option", answer.text, text, option.id, option.id))
    else:
        _commit_option(turn, option, answer.text)


def _commit_option(turn: Turn, option: Option, heard: str) -> None:
    step = turn.step
    assert isinstance(step, Choice)
    objection = _objection(turn, option)
    if objection:
        turn.chime("refused")
        ask(turn, lead=objection)
        return
    earlier = next((e for e in turn.state.entries if e.step == step.id), None)
    if turn.state.return_to:
        _take_back(turn)
    number = turn.record(
        "answer",
        step=step.id,
        measurand=step.fact or "",
        outcome=option.id,
        heard=heard,
        replaces="" if earlier is None else str(earlier.record),
    )
    turn.enter_in_list(number)
    turn.withdraw()
    warnings: list[str] = []
    if step.fact is not None:
        turn.learn(step.fact, option.stored)
        verdicts, _ = judging.judged_by(step, turn.state.facts, turn.book.policy)
        warnings = _warnings(turn, verdicts)
        for verdict in verdicts:
            _record_verdict(turn, verdict)
            if verdict.severity is Severity.STOP and verdict.outcome is not Outcome.INSIDE:
                turn.reason(verdict.reason)
    if option.scrap:
        turn.reason(option.scrap)
    if option.notable:
        turn.exception(f"noted at {step.id}: {option.notable}")
    if option.archive:
        _archive(turn, option.archive)
    if option.recall:
        _recall(turn, option.recall)
    turn.chime("accepted")
    turn.say(" ".join([turn.prompt("chosen", name=option.name), *warnings]), "verdict")
    go(turn, option.id)


def _take_back(turn: Turn) -> None:
    """A corrected answer puts nothing aside and takes nothing up: what the one it replaces did is undone first."""
    visit = next(v for v in reversed(turn.state.path) if v.step == turn.state.step)
    step = turn.step
    assert isinstance(step, Choice)
    groups = {name for option in step.options for name in (option.archive, option.recall) if name}
    if not groups or turn.state.archived == visit.archived:
        return
    others = {k: v for k, v in turn.state.facts.items() if not any(belongs(k, g) for g in groups)}
    before = {k: v for k, v in visit.facts.items() if any(belongs(k, g) for g in groups)}
    known = {(e.step, e.index) for e in turn.state.entries}
    turn.set(
        facts=MappingProxyType({**others, **before}),
        archived=visit.archived,
        entries=(*(e for e in visit.entries if (e.step, e.index) not in known), *turn.state.entries),
    )


def _archive(turn: Turn, group: str) -> None:
    """Put a finished injury's facts aside, so that the next one starts with none."""
    inside = {k: v for k, v in turn.state.facts.items() if belongs(k, group)}
    if not inside:  # the same answer, only corrected: it was put aside already
        return
    rest = {k: v for k, v in turn.state.facts.items() if k not in inside}
    turn.set(
        facts=MappingProxyType(rest),
        archived=(*turn.state.archived, (group, MappingProxyType(inside))),
    )
    # Steps of the next injury are new entries, not corrections of the last one's.
    steps = {s.id for s in turn.book.procedure.step if getattr(s, "fact", None) in inside}
    turn.set(entries=tuple(e for e in turn.state.entries if e.step not in steps))
    _settle(turn, steps)


def _settle(turn: Turn, steps: Set[str]) -> None:
    """What was found at these steps was found of an injury that is put aside: the next one's answers don't replace
    it."""
    turn.set(
        findings=tuple(replace(f, step="") if f.step in steps else f for f in turn.state.findings),
        withdrawn=tuple(replace(f, step="") if f.step in steps else f for f in turn.state.withdrawn),
    )


def _objection(turn: Turn, option: Option) -> str:
    """Why an option can't be taken now, "" when it can: all repaired, or one left to repair, must be so."""
    group = option.recall or option.all_of
    if not group:
        return ""
    found, done = unrepaired(turn.state.facts, turn.state.archived, group)
    if option.recall and done >= found:
        return turn.prompt("no_other", group=group)
    if option.all_of and done < found:
        return turn.prompt("unrepaired", group=group, found=str(found), done=str(done)) + "."
    return ""


def _recall(turn: Turn, group: str) -> None:
    """Take up the next of a group that was put aside; the present one goes to the end."""
    found = next(facts for name, facts in turn.state.archived if name == group)
    inside = {k: v for k, v in turn.state.facts.items() if belongs(k, group)}
    rest = {k: v for k, v in turn.state.facts.items() if k not in inside}
    left = list(turn.state.archived)
    left.remove((group, found))
    turn.set(
        facts=MappingProxyType({**rest, **found}),
        archived=(*left, (group, MappingProxyType(inside))),
        entries=(),
    )
    _settle(turn, {f.step for f in (*turn.state.findings, *turn.state.withdrawn)})


def _take_do(turn: Turn, answer: Answer) -> None:
    assert isinstance(turn.step, Do)
    if turn.step.repairs:
        turn.learn(f"{turn.step.repairs}.repaired", "yes")
    turn.record("answer", step=turn.step.id, measurand="", outcome="done", heard=answer.text, replaces="")
    turn.chime("accepted")
    go(turn, "done")


def _take_count(turn: Turn, answer: Answer) -> None:
    step = turn.step
    assert isinstance(step, CountPasses)
    count = limits.count(step.rule, turn.state.facts, turn.book.policy)
    wanted = turn.state.index + 1
    if _slot(answer, "pass") != str(wanted):
        miss(
            turn, answer.text, "pass out of turn", say=turn.prompt("pass_wrong", wanted=spoken_count(wanted))
        )
        return
    turn.record(
        "pass", step=step.id, n=str(wanted), target=str(count.target), heard=answer.text, source=count.source
    )
    turn.set(index=wanted, misses=0)
    turn.chime("accepted")
    turn.say(turn.prompt("pass_counted", n=spoken_count(wanted)))
    if wanted == count.target:
        go(turn, "done")
    else:
        turn.arm(("answer", next_pass(wanted)))


def _take_release(turn: Turn, answer: Answer) -> None:
    pending = release_asked(turn, answer)
    if pending is not None:
        _pend(turn, pending)


def read_back(turn: Turn, answer: Answer) -> None:
    """The key words of a caution. Anything but these words is wrong, and the caution is heard again."""
    step = turn.step
    assert isinstance(step, Caution)
    if answer.text != step.read_back:
        miss(turn, answer.text, NOT_THE_CAUTION)
        return
    turn.record("caution", step=step.id, signal=step.signal, text=step.ask, read_back=answer.text)
    turn.chime("accepted")
    go(turn, "done")


def confirm(turn: Turn, answer: Answer) -> None:
    """Affirmative, negative, or the value once more in place of either."""
    pending = turn.state.pending
    assert pending is not None
    if answer.label == "value":
        turn.record("not_confirmed", step=turn.state.step, heard=pending.heard, instead=answer.text)
        _take_instead(turn, answer)
        return
    if _slot(answer, "answer") != "yes":
        reject(turn, answer.text)
        return
    turn.set(pending=None)
    _COMMIT[pending.kind](turn, pending)


def _take_instead(turn: Turn, answer: Answer) -> None:
    """A new value where something else was asked: the one it replaces can no longer be confirmed, whatever
    becomes of the new one."""
    again = tuple(("answer", said) for label, said in turn.state.armed if label == "value")
    turn.set(mode=Mode.ASKING, pending=None, armed=again)
    _take_reading(turn, answer)


def reject(turn: Turn, heard: str) -> None:
    """The read-back was wrong: nothing is recorded as a value, the question is asked again."""
    pending = turn.state.pending
    assert pending is not None
    turn.record("not_confirmed", step=turn.state.step, heard=pending.heard, instead=heard)
    ask(turn, lead=turn.prompt("negative", ask=""))


def dispose(turn: Turn, answer: Answer) -> None:
    """After an out-of-limit verdict: measure again (or say the new value at once), or confirm it as it is."""
    step = turn.step
    assert isinstance(step, Reading)
    if answer.label == "value":
        turn.record("disposed", step=step.id, outcome="again", heard=answer.text)
        _take_instead(turn, answer)
        return
    choice = _slot(answer, "dispose")
    if choice == "again":
        turn.record("disposed", step=step.id, outcome=choice, heard=answer.text)
        if step.again:
            turn.say(turn.prompt("measure_again", ask=""))
            _measure_from(turn, step)
        else:
            ask(turn, lead=turn.prompt("measure_again", ask=""))
        return
    if choice != "accept":
        raise Refusal(f"{choice!r} is no disposition")
    value = turn.state.facts[step.fact]
    _pend(turn, Pending("out", answer.text, turn.prompt("read_back_out", name=step.name), value))


def _measure_from(turn: Turn, step: Reading) -> None:
    """Measuring again from an earlier step on: a correction that led here does not lead back, and what was done
    after this step is done again."""
    turn.set(return_to="", return_index=0)
    rewind(turn, max(n for n, visit in enumerate(turn.state.path) if visit.step == step.id) + 1)
    enter(turn, step.again)


def _commit_out(turn: Turn, pending: Pending) -> None:
    step = turn.step
    assert isinstance(step, Reading)
    turn.record("disposed", step=step.id, outcome="accept", heard=pending.heard)
    verdicts, _ = judging.judged_by(step, turn.state.facts, turn.book.policy)
    worst = judging.worst(verdicts, step.binding)
    assert worst is not None  # the facts are those that put the question
    # What binds in this procedure only (an angle that asks for another unit) is nothing against the tire itself, nor
    # is a cold bay: it is warmed, and measured again before the work goes on.
    if worst.severity is Severity.STOP and not step.ambient:
        turn.reason(worst.reason)
    turn.say(turn.prompt("finding_accepted", name=step.name), "verdict")
    go(turn, "outside")


def _commit_found(turn: Turn, pending: Pending) -> None:
    _commit_condition(turn, "found", pending.heard, turn.prompt("found"))


def _commit_choice(turn: Turn, pending: Pending) -> None:
    step = turn.step
    assert isinstance(step, Choice)
    _commit_option(turn, next(o for o in step.options if o.id == pending.option), pending.heard)


_TAKE: Mapping[Kind, Callable[[Turn, Answer], None]] = {
    Kind.READING: _take_reading,
    Kind.INSPECT: _take_inspect,
    Kind.CHOICE: _take_choice,
    Kind.DO: _take_do,
    Kind.COUNT: _take_count,
    Kind.HOLD_POINT: _take_release,
}
_COMMIT: Mapping[str, Callable[[Turn, Pending], None]] = {
    "reading": _commit_reading,
    "found": _commit_found,
    "option": _commit_choice,
    "release": released,
    "reject": released,
    "out": _commit_out,
    "doubted": _commit_doubted,
}
