"""An eye on a machine from outside: what must hold over everything that goes in and comes out.

It reads events and effects only (what was said, played whole, recorded), keeps its own account, and so does not
share the machine's. Used by the walk over a procedure and by the simulated technician.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from handsfree.procedure._events import (
    Answer,
    CancelTimer,
    Command,
    Effect,
    Event,
    Finish,
    Record,
    Say,
    Spoken,
    parse_exact,
)
from handsfree.procedure._model import Caution, Choice, Procedure, Reading, Wait
from handsfree.procedure._state import Mode, State
from handsfree.procedure._words import spoken
from handsfree.quantity import Quantity

__all__ = ["Watch", "observe", "standing"]

Body = Mapping[str, str | tuple[str, ...]]

_YES = ("answer", "yes")
_MOST_WRONG_CODES = 3
#: Lines that only somebody's answer may cause.
_ANSWERED = frozenset({"reading", "inspect", "answer", "pass", "caution", "disposed", "code", "technician"})


@dataclass(frozen=True, slots=True)
class Watch:
    """``read_back`` and ``caution`` are the last ones begun, and whether they were played to their end.

    ``cautioned``: cautions told whole and read back, each with its place in the way. ``against``:
    findings of the record that no supervisor released. ``stopped``: the step whose last verdict stops.
    ``waits``: (step, since when, shortest, longest in ms). ``agreed``: the read-back was affirmed.
    ``wrong_codes``: wrong code words since the last right one, or since the job was held for three.
    """

    read_back: Say | None = None
    read_back_heard: bool = False
    caution: Say | None = None
    caution_heard: bool = False
    cautioned: frozenset[tuple[str, int]] = frozenset()
    against: frozenset[str] = frozenset()
    stopped: str = ""
    waits: tuple[tuple[str, int, int, int], ...] = ()
    agreed: bool = False
    wrong_codes: int = 0

    @property
    def key(self) -> object:
        """What of it can matter later beside ``cautioned``; texts, ids and moments can't."""
        waits = tuple(name for name, *_ in self.waits)
        heard = self.read_back_heard, self.caution_heard
        return heard, bool(self.against), self.stopped, waits, self.agreed, self.wrong_codes


def observe(
    procedure: Procedure, watch: Watch, before: State, event: Event, effects: Sequence[Effect], after: State
) -> tuple[Watch, list[str]]:
    """The account after this turn, and every rule that it broke."""
    faults: list[str] = []
    earlier = watch
    if isinstance(event, Spoken) and event.completed:
        if watch.read_back and event.say == watch.read_back.id:
            watch = replace(watch, read_back_heard=True)
        if watch.caution and event.say == watch.caution.id:
            watch = replace(watch, caution_heard=True)
    if isinstance(event, Answer) and _YES in event.slots and watch.read_back_heard:
        watch = replace(watch, agreed=True)
    bodies = [(e.kind, dict(e.body)) for e in effects if isinstance(e, Record)]
    if any(kind == "refused" for kind, _ in bodies) and (len(effects) != 1 or after is not before):
        faults.append("a refused event changed something")
    for effect in effects:
        match effect:
            case Record(kind=kind):
                if kind in _ANSWERED and not isinstance(event, Answer):
                    faults.append(f"{kind} recorded without an answer")
                watch = _line(procedure, watch, before, event, kind, dict(effect.body), faults)
            case Say(kind="read_back"):
                watch = replace(watch, read_back=effect, read_back_heard=False, agreed=False)
            case Say(kind="caution"):
                watch = replace(watch, caution=effect, caution_heard=False)
            case CancelTimer(name=name):
                watch = replace(watch, waits=tuple(w for w in watch.waits if w[0] != name))
            case Finish():
                faults += _finish(procedure, watch, effect)
            case _:
                pass
    watch = _stands(procedure, watch, after, bodies)
    faults += _limit_passed(procedure, before, bodies, after)
    faults += _left_early(procedure, earlier, before, event, after)
    faults += _uncautioned(procedure, standing(watch, after), after)
    faults += _deaf(after)
    if after.technician != before.technician and not any(kind == "technician" for kind, _ in bodies):
        faults.append("another technician without a line that says so")
    if watch.wrong_codes >= _MOST_WRONG_CODES:
        if after.mode is not Mode.HELD:
            faults.append(f"{after.step}: not held after {watch.wrong_codes} wrong code words")
        watch = replace(watch, wrong_codes=0)
    return watch, faults


def _line(
    procedure: Procedure,
    watch: Watch,
    before: State,
    event: Event,
    kind: str,
    body: Body,
    faults: list[str],
) -> Watch:
    step = str(body.get("step", ""))
    match kind:
        case "reading":
            faults += _unheard(watch, event, body)
            return replace(watch, read_back=None, read_back_heard=False, stopped="")
        case "verdict":
            if body["severity"] == "stop" and body["outcome"] != "inside":
                watch = replace(watch, stopped=step)
                if isinstance(procedure.at(step), Choice):
                    watch = _against(watch, step)
            return watch
        case "disposed" if body["outcome"] == "accept" and watch.stopped == step:
            reading = procedure.at(step)
            return watch if isinstance(reading, Reading) and reading.ambient else _against(watch, step)
        case "inspect" if body["outcome"] == "found":
            return _against(watch, f"{step}: {body['condition']}")
        case "code":
            if not isinstance(event, Answer) or (event.label, body["outcome"]) != (
                "code",
                dict(event.slots).get("code"),
            ):
                faults.append(f"{step}: a code word taken as {body['outcome']} that was not")
            return replace(watch, wrong_codes=0 if body["outcome"] == "right" else watch.wrong_codes + 1)
        case "technician":
            faults += _unsigned(watch, before, event, body)
            return watch
        case "hold_point":
            if body["by"] != "disposition":
                faults += _unproved(watch, before, event, body)
            if body["outcome"] == "refused":
                return _against(watch, step)
            return watch if body["by"] == "disposition" else replace(watch, against=frozenset())
        case "caution":
            caution = procedure.at(step)
            assert isinstance(caution, Caution)
            if watch.caution is None or not watch.caution_heard or caution.ask not in watch.caution.text:
                faults.append(f"caution {step} taken as read back before it was told whole")
            if not isinstance(event, Answer) or event.text != caution.read_back:
                faults.append(f"caution {step} taken as read back in other words")
            return replace(
                watch,
                cautioned=watch.cautioned | {(step, _last(before, step))},
                caution=None,
                caution_heard=False,
            )
        case "wait" if body["outcome"] == "started":
            since = next((w[1] for w in watch.waits if w[0] == step), event.at)
            longest = int(str(body["longest_s"] or 0)) * 1000
            rest = tuple(w for w in watch.waits if w[0] != step)
            return replace(watch, waits=(*rest, (step, since, int(str(body["planned_s"])) * 1000, longest)))
        case "wait" if body["outcome"] == "used in time":
            _, since, _, longest = next(w for w in watch.waits if w[0] == step)
            if longest and event.at - since >= longest:
                faults.append(f"wait {step} used after its longest time")
            return watch
        case _:
            return watch


def _against(watch: Watch, what: str) -> Watch:
    return replace(watch, against=watch.against | {what})


def _unheard(watch: Watch, event: Event, body: Body) -> Iterator[str]:
    """A value is recorded by an affirmative to a read-back of that very value, played to its end."""
    name = body["measurand"]
    if not (isinstance(event, Answer) and _YES in event.slots):
        yield f"{name} recorded without an affirmative"
    if watch.read_back is None or not watch.read_back_heard:
        yield f"{name} recorded before its read-back was played whole"
        return
    value: Quantity | str = str(body["value"])
    if body["unit"]:
        value = Quantity(parse_exact(str(body["value"])), str(body["unit"]))
    if spoken(value) not in watch.read_back.text:
        yield f"{name} recorded as {spoken(value)!r}, read back as {watch.read_back.text!r}"


def _unproved(watch: Watch, before: State, event: Event, body: Body) -> Iterator[str]:
    """A supervisor decides by a badge that was read back whole and affirmed, in a shop by a right code word too."""
    step, badge = body["step"], str(body["by"]).removeprefix("supervisor badge ")
    if not (watch.agreed and watch.read_back and spoken(badge) in watch.read_back.text):
        yield f"{step}: {body['outcome']} without an affirmative to the badge's read-back"
    if "shop" not in dict(before.job):
        return
    if not (isinstance(event, Answer) and event.label == "code" and ("code", "right") in event.slots):
        yield f"{step}: {body['outcome']} without the code word"
    if body["verified"] != "code word":
        yield f"{step}: {body['outcome']} as {body['verified']}"


def _unsigned(watch: Watch, before: State, event: Event, body: Body) -> Iterator[str]:
    """Another technician is taken down by an affirmative to a read-back of that badge, and in a shop of the name."""
    asked = before.mode in (Mode.SIGNING, Mode.CONFIRMING)  # at shift end, or at the first question of a job
    if not asked or not isinstance(event, Answer) or _YES not in event.slots:
        yield "another technician taken down without an affirmative"
    said = watch.read_back.text if watch.read_back and watch.read_back_heard else ""
    if spoken(str(body["badge"])) not in said or str(body["name"]) not in said:
        yield f"badge {body['badge']} taken down, read back as {said!r}"
    if "shop" in dict(before.job) and not body["name"]:
        yield f"badge {body['badge']} taken down, which nobody has in this shop"


def _stands(procedure: Procedure, watch: Watch, after: State, bodies: Sequence[tuple[str, Body]]) -> Watch:
    """A caution that going back has undone, or that is begun anew, must be told again; what was read back,
    told or judged at a step counts at that step only."""
    if after.pending is None:
        watch = replace(watch, read_back=None, read_back_heard=False, stopped="", agreed=False)
    if after.mode is not Mode.FINISHED and not isinstance(procedure.at(after.step), Caution):
        watch = replace(watch, caution=None, caution_heard=False)
    anew = {str(body["to"]) for kind, body in bodies if kind == "back"}
    kept = {
        (name, place)
        for name, place in watch.cautioned
        if place < len(after.path)
        and after.path[place].step == name
        and not (name in anew and place == len(after.path) - 1)
    }
    return replace(watch, cautioned=frozenset(kept))


def _last(state: State, step_id: str) -> int:
    """The last place of a step in the way, -1 for none."""
    return next((n for n in range(len(state.path) - 1, -1, -1) if state.path[n].step == step_id), -1)


def standing(watch: Watch, state: State) -> frozenset[str]:
    """The cautions whose last telling on the way was read back."""
    return frozenset(name for name, place in watch.cautioned if place == _last(state, name))


def _finish(procedure: Procedure, watch: Watch, effect: Finish) -> Iterator[str]:
    ending = procedure.end(effect.outcome)
    if ending is not None and ending.released and watch.against:
        yield f"released as {ending.id} against {', '.join(sorted(watch.against))}"


def _limit_passed(
    procedure: Procedure, before: State, bodies: Sequence[tuple[str, Body]], after: State
) -> Iterator[str]:
    """A reading that a limit stops keeps the job at its step until somebody disposes of it."""
    if not any(kind == "reading" for kind, _ in bodies):
        return
    step = procedure.at(before.step)
    assert isinstance(step, Reading)
    for kind, body in bodies:
        if kind == "verdict" and body["outcome"] != "inside":
            if body["rule"] in step.fits:  # of what was chosen before: it is chosen anew at once
                if after.step != procedure.after(step.id, "unfit"):
                    yield f"{step.id}: went on with {body['rule']} {body['outcome']}"
                continue
            binds = body["severity"] == "stop" or body["rule"] in step.binding
            # A height that was reached can't be measured again: it is disposed of at once, as outside.
            told = step.reached and any(k == "disposed" and b["outcome"] == "accept" for k, b in bodies)
            if told and after.step == procedure.after(step.id, "outside"):
                continue
            if binds and (after.step != before.step or after.mode is Mode.FINISHED):
                yield f"{step.id}: went on over {body['rule']} {body['outcome']}"


def _left_early(
    procedure: Procedure, watch: Watch, before: State, event: Event, after: State
) -> Iterator[str]:
    """Going on from a wait, by whatever event, before its shortest time has passed."""
    if before.mode in (Mode.IDLE, Mode.FINISHED) or not before.path:
        return
    last = procedure.at(before.path[-1].step)
    onward = len(after.path) > len(before.path) and after.path[: len(before.path)] == before.path
    finished = after.mode is Mode.FINISHED and before.step == last.id
    if not isinstance(last, Wait) or not (onward or finished):
        return
    timed = next((w for w in watch.waits if w[0] == last.id), None)
    if timed is None:
        yield f"wait {last.id} left without having been timed"
    elif event.at < timed[1] + timed[2]:
        yield f"wait {last.id} left early"
    # A change of technician that is called off goes on where the wait has run out meanwhile.
    if isinstance(event, Command) and event.name != "resume" and before.mode is not Mode.SIGNING:
        yield f"wait {last.id} left by {event.name}"


def _uncautioned(procedure: Procedure, given: frozenset[str], after: State) -> Iterator[str]:
    if after.mode is Mode.FINISHED:
        return
    for step in procedure.step:
        if isinstance(step, Caution) and after.step in step.guards and step.id not in given:
            yield f"{after.step} entered without caution {step.id}"


def _deaf(after: State) -> Iterator[str]:
    listening = after.mode not in (Mode.IDLE, Mode.TELLING, Mode.STOPPED, Mode.FINISHED)
    if listening and "stop_work" not in dict(after.armed).get("command", ""):
        yield f"stop work is not armed while {after.mode}"
