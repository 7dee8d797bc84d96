"""Walking a machine through everything that can happen to it, with abstract answers, state by state.

A breadth-first search. A reading is answered by one sentence for each way the limits can take it (inside, outside,
too close to call, can't be judged, implausible), a choice by each option, and so on; beside the answers: every armed
command, no-match, silence, a timer's moment, an answer that comes after a wait's longest time, a voice that is cut
off, power that goes, a device that is lost, another tire. Every turn is watched from outside (``_watch``).

States that behave alike are walked once. What is left out of their key, and why that is sound:

* counters, the moment, the list of exceptions, the last thing said: they number and describe, no branch reads them;
* times of timers: kept as what is left until each is due, since time moves only by the events of the walk;
* the values of facts: a step's answers are chosen by how the limits take them, so that two states whose facts differ
  have the same ways on; only which facts are known is kept (and an option is a step's outcome, kept in the way);
* the way so far: its last steps only (``remember``), since a state whose way was cut short is met again, in full,
  at the step that going back leads to; the same for entries that a correction can reopen;
* texts of reasons: only whether there is one is read, and which of the last steps gave them
  or gave them before the answer there was another (a step farther back counts as any: that is what it gets wrong).

The last three are the ones that could be wrong, so they are tested by the walk itself: of pairs of states with the
same key a sample is walked from both, and every event must lead both to the same key (``differing``).
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace

from handsfree.grammar import Armed
from handsfree.procedure import _trial as trial
from handsfree.procedure._derived import unrepaired
from handsfree.procedure._events import (
    Answer,
    DeviceBack,
    DeviceLost,
    Event,
    NoInput,
    NoMatch,
    Resumed,
    SetAside,
    Spoken,
    Start,
    TakenUp,
    TimerDue,
)
from handsfree.procedure._machine import TABLE, Machine
from handsfree.procedure._model import Caution, Choice, CountPasses, Do, HoldPoint, Inspect, Reading
from handsfree.procedure._state import Mode, State
from handsfree.procedure._trial import Arms
from handsfree.procedure._turn import COMMANDS, Book
from handsfree.procedure._watch import Watch, observe, standing
from handsfree.procedure._words import spoken_count

__all__ = ["Walked", "stray", "walk"]

START_MS = 1_900_000_000_000
JOB = (("today", "2030-03-17"),)
SHOP = (("shop", "Harbor Row"),)
#: Whose badges these are in the shop: a supervisor's, who may work too, and nobody's; any other is a technician's.
_TECHNICIAN = (("technician", "Mara Lindqvist"),)
_PEOPLE = {
    "409": (("supervisor", "R. Holt"), ("technician", "R. Holt")),
    "99": (),
}
_CODES = "granite {code=right} | elephant {code=wrong}"
_MOST_FOUND = 20
#: Events that no technician can be asked to bring about: a way to an ending must not need one.
_MISHAPS = ("power gone", "late ", "cut off", "device ", "stop work", "set aside")


@dataclass(slots=True)
class Walked:
    """``depth``: events on the longest shortest way. ``whole``: nothing was left unwalked. ``modes``: those that were
    met. ``audited`` pairs of states with one key were compared, ``differing`` of them (each a line) behaved
    differently."""

    states: int = 0
    transitions: int = 0
    depth: int = 0
    whole: bool = True
    audited: int = 0
    modes: frozenset[Mode] = frozenset()
    findings: list[str] = field(default_factory=list)
    differing: list[str] = field(default_factory=list)


class _Alphabet:
    """What can happen in a state, by name. ``calm``: only answers, timers and these commands."""

    def __init__(
        self, book: Book, library: Arms, injuries: int, calm: tuple[str, ...] | None, shop: bool
    ) -> None:
        self._book, self._library, self._injuries, self._shop = book, library, injuries, shop
        self._calm, self._asked = calm is not None, calm
        self._arms: dict[object, Armed] = {}
        self._classes: dict[object, dict[str, str]] = {}
        self._sayings: dict[tuple[str, str, str], str] = {}
        self._commands: dict[str, str] = {}
        self._taken: dict[object, str] = {}
        self._owing: dict[str, frozenset[str]] = {}
        self._needed = {
            fact
            for step in book.procedure.step
            for rule in trial.rules_of(step)
            for fact in trial.needs(rule)
            if fact != getattr(step, "fact", None)
        }

    def events(self, state: State) -> Iterator[tuple[str, Event]]:
        at = state.at
        if state.mode is Mode.IDLE:
            yield "start", Start(at, JOB + (SHOP if self._shop else ()))
            return
        if state.mode is Mode.FINISHED:
            return
        if state.mode is Mode.STOPPED:
            yield "power gone", Resumed(at)
            return
        if state.awaiting:
            yield "spoken", Spoken(at, state.awaiting)
            if not self._calm:
                yield "cut off", Spoken(at, state.awaiting, completed=False)
                yield from self._mishaps(state)
                yield from ((f"too early {name}", e) for name, e in list(self._answers(state, at))[:2])
            return
        yield from self._answers(state, at)
        yield from self._spoken_commands(state)
        due = state.next_due
        if due is not None:
            yield "timer", TimerDue(max(at, due))
        if self._calm:
            return
        yield "no match", NoMatch(at, "rhubarb", "not an answer to what was asked")
        if any(label != "command" for label, _ in state.armed):
            yield "silence", NoInput(at)
        yield from self._mishaps(state)
        latest = max((t.longest_due or t.shortest_due for t in state.timers), default=0)
        if latest > at:
            yield "late power gone", Resumed(latest)
            yield from ((f"late {name}", event) for name, event in self._answers(state, latest))

    def _mishaps(self, state: State) -> Iterator[tuple[str, Event]]:
        yield "power gone", Resumed(state.at)
        yield "device lost", DeviceLost(state.at, "microphone")
        yield "set aside", SetAside(state.at, "alfa")
        if state.mode is Mode.HELD:
            yield "device back", DeviceBack(state.at, "microphone")
            yield "taken up", TakenUp(state.at, "alfa")

    def seen(self, state: State, watch: Watch) -> tuple[object, ...]:
        """What a state's key takes of what is known: how the limits take the value that waits for its
        confirmation, which facts are known that another step's limits need, and the cautions given that are
        not given again before what they guard."""
        step = self._book.procedure.at(state.step) if state.step else None
        own = getattr(step, "fact", None)
        known = frozenset(f for f in state.facts if f in self._needed and f != own)
        return (
            self._pending(state),
            known,
            standing(watch, state) & (self._owed(state.step) | self._owed(state.return_to)),
        )

    def _owed(self, step_id: str) -> frozenset[str]:
        """Cautions that a way on from this step relies on having been given before."""
        if step_id not in self._owing:
            procedure = self._book.procedure
            cautions = [s for s in procedure.step if isinstance(s, Caution)] if step_id else []
            self._owing[step_id] = frozenset(
                c.id
                for c in cautions
                if {step_id, *procedure.reached_from(step_id, without=c.id)} & set(c.guards)
            )
        return self._owing[step_id]

    def _pending(self, state: State) -> str:
        step = self._book.procedure.at(state.step) if state.pending else None
        if state.pending is None or not isinstance(step, Reading) or state.pending.kind != "reading":
            return ""
        place = (step.id, state.pending.value, trial.relevant(step, state.facts))
        if place not in self._taken:
            self._taken[place] = trial.judged(step, state.pending.value, state.facts, self._book.policy)
        return self._taken[place]

    def armed(self, state: State) -> Armed:
        if state.armed not in self._arms:
            # The code word is the session's to put in; here any two words stand for right and wrong.
            filled = {label: _CODES if label == "code" else text for label, text in state.armed}
            self._arms[state.armed] = self._library.arm(filled)
        return self._arms[state.armed]

    def _spoken_commands(self, state: State) -> Iterator[tuple[str, Event]]:
        for name in COMMANDS.get(state.mode, ()):
            if self._asked is not None and name not in self._asked:
                continue
            if name not in self._commands:
                alone = self._library.arm({"command": f"<commands.{name}>"})
                self._commands[name] = next(alone.sentences())
            words = self._commands[name]
            yield name.replace("_", " "), trial.event_of(self.armed(state), words, state.at)

    def _answers(self, state: State, at: int) -> Iterator[tuple[str, Event]]:
        if Answer not in TABLE[state.mode] or not state.armed:
            return
        armed = self.armed(state)
        for name, words in self._sentences(state, armed):
            event = trial.event_of(armed, words, at)
            if isinstance(event, Answer):
                yield name, self._named(event)

    def _named(self, event: Answer) -> Answer:
        """With the names that the session finds for a badge in the shop's file."""
        badge = dict(event.slots).get("badge", "")
        names = _PEOPLE.get(badge, _TECHNICIAN) if self._shop and badge else ()
        return replace(event, slots=event.slots + names) if names else event

    def _sentences(self, state: State, armed: Armed) -> Iterator[tuple[str, str]]:
        step = self._book.procedure.at(state.step)
        match state.mode:
            case Mode.CONFIRMING:
                yield from self._by_slot(state, "answer", ("yes", "no"))
                yield from self._values(state, armed)
            case Mode.DISPOSING:
                yield from self._by_slot(state, "dispose", ("again", "accept"))
                yield from self._values(state, armed)
            case Mode.READING_BACK:
                assert isinstance(step, Caution)
                yield "read back", step.read_back
                if not self._calm:
                    yield "read back wrong", "affirmative"
            case Mode.PROVING:
                yield "right code word", "granite"
                yield "wrong code word", "elephant"
            case Mode.SIGNING:
                if state.pending is not None:
                    yield from self._by_slot(state, "answer", ("yes", "no"))
                yield "badge", "one seven"
                if self._shop and not self._calm:
                    yield "badge of nobody", "nine nine"
            case _:
                yield from self._first(state, armed)

    def _first(self, state: State, armed: Armed) -> Iterator[tuple[str, str]]:
        step = self._book.procedure.at(state.step)
        match step:
            case Reading():
                yield from self._values(state, armed)
            case Inspect():
                yield from self._by_slot(state, "answer", ("clear", "found"))
            case Choice():
                full = sum(1 for group, _ in state.archived if group) >= self._injuries - 1
                chosen = [o.id for o in step.options if not (o.archive and full)]
                yield from self._by_slot(state, "option", chosen)
            case CountPasses():
                yield "pass", f"pass {spoken_count(state.index + 1)}"
                if not self._calm:
                    yield "pass out of turn", f"pass {spoken_count(state.index + 2)}"
            case Do():
                yield "completed", self._found(state, "answer", "done")
            case HoldPoint():
                yield "release", "supervisor release four zero nine"
                yield "reject", "supervisor rejection four zero nine"
                if self._shop and not self._calm:
                    yield "release by no supervisor", "supervisor release one seven"
            case _:
                pass

    def _by_slot(self, state: State, key: str, values: Iterable[str]) -> Iterator[tuple[str, str]]:
        for value in values:
            yield value, self._found(state, key, value)

    def _found(self, state: State, key: str, value: str) -> str:
        """The shortest sentence with that slot, of the question's own answers: a reading's are far too many."""
        expansion = dict(state.armed)["answer"]
        place = (expansion, key, value)
        if place not in self._sayings:
            alone = self._library.arm({"answer": expansion})
            fitting = (s for s in alone.sentences() if (m := alone.interpret(s)) and m.slot(key) == value)
            self._sayings[place] = next(fitting, "")
        return self._sayings[place]

    def _values(self, state: State, armed: Armed) -> Iterator[tuple[str, str]]:
        step = self._book.procedure.at(state.step)
        if not isinstance(step, Reading):
            return
        place = (step.id, trial.relevant(step, state.facts))
        if place not in self._classes:
            self._classes[place] = trial.classes(step, armed, state.facts, self._book.policy)
        yield from self._classes[place].items()


def _key(state: State, watch: Watch, remember: int, how: object, *known: object) -> object:
    """States that behave alike; see the head of this file. ``how``: the way the limits take what is pending."""
    pending = state.pending
    visited = {visit.step for visit in state.path}
    open_entries = [(e.step, e.index) for e in state.entries if e.step in visited]
    return (
        state.mode,
        state.step,
        state.index,
        state.found,
        tuple(visit.step for visit in state.path[-remember:]),
        *known,
        len(state.archived),
        unrepaired(state.facts, state.archived, "injury"),
        tuple(open_entries[-1:]),
        pending and (pending.kind, how, pending.option),
        bool(state.awaiting),
        state.misses,
        tuple((t.step, t.over, max(0, (t.due or 0) - state.at)) for t in state.timers),
        (state.return_to, state.return_index),
        state.held_from,
        state.signing_from,
        state.wrong_codes,
        state.overrun,
        bool(state.reasons),
        _found_at(state, remember),
        state.armed,
        state.outcome,
        watch.key,
    )


def _found_at(state: State, remember: int) -> object:
    """By the answers of which of the last steps something is found, or was; of any other only whether."""
    last = {visit.step for visit in state.path[-remember:]} | {state.step, state.return_to}
    where = (
        (held, f.step if f.step in last else "")
        for held, found in ((True, state.findings), (False, state.withdrawn))
        for f in found
    )
    return frozenset(where), state.path[-1].onward if state.path else ""


class _Walk:
    def __init__(self, book: Book, alphabet: _Alphabet, remember: int) -> None:
        self._book, self._alphabet, self._remember = book, alphabet, remember
        self._machine = Machine(book)
        self.result = Walked()
        self.keys: dict[object, int] = {}
        self.nodes: list[tuple[State, Watch]] = []
        self.came: list[tuple[int, str]] = []
        self.depths: list[int] = []
        self.back: list[list[int]] = []
        self.moves: list[bool] = []
        self.expanded: list[bool] = []

    def turn(self, state: State, watch: Watch, event: Event) -> tuple[State, Watch, list[str]]:
        """One event on a copy. A machine that raises is a finding, not the end of the walk."""
        machine = self._machine
        machine.state = state
        try:
            effects = machine.feed(event)
        except Exception as error:
            return state, watch, [f"{type(error).__name__}: {error}"]
        after, faults = observe(self._book.procedure, watch, state, event, effects, machine.state)
        return machine.state, after, faults

    def enter(self, state: State, watch: Watch, came: tuple[int, str], depth: int) -> tuple[int, bool]:
        key = _key(state, watch, self._remember, *self._alphabet.seen(state, watch))
        known = self.keys.get(key)
        if known is not None:
            return known, False
        self.keys[key] = number = len(self.nodes)
        self.nodes.append((state, watch))
        self.came.append(came)
        self.depths.append(depth)
        self.back.append([])
        self.moves.append(False)
        self.expanded.append(False)
        return number, True

    def way(self, number: int, last: str = "") -> str:
        """The events that lead there: the shortest list."""
        names = [last] if last else []
        while number:
            number, name = self.came[number]
            names.append(name)
        return ", ".join(reversed(names))

    def found(self, text: str, way: str) -> None:
        if len(self.result.findings) < _MOST_FOUND and all(
            not f.startswith(f"{text}; ") for f in self.result.findings
        ):
            self.result.findings.append(f"{text}; after: {way}")

    def run(self, depth: int, most_states: int, audit: int) -> None:
        self.enter(State(at=START_MS), Watch(), (0, ""), 0)
        queue = deque([0])
        pairs: list[tuple[int, State, Watch]] = []
        pick, met = random.Random(1), 0
        while queue:
            number = queue.popleft()
            if self.depths[number] >= depth or len(self.nodes) >= most_states:
                self.result.whole = False
                break
            self.expanded[number] = True
            state, watch = self.nodes[number]
            ways = list(self._alphabet.events(state))
            if self._lost(state, {name for name, _ in ways}):
                self.found(f"nothing that can be said at {state.step} can be judged", self.way(number))
            for name, event in ways:
                after, watched, faults = self.turn(state, watch, event)
                self.result.transitions += 1
                for fault in faults:
                    self.found(fault, self.way(number, name))
                target, fresh = self.enter(after, watched, (number, name), self.depths[number] + 1)
                if fresh:
                    queue.append(target)
                else:
                    met += 1
                    if len(pairs) < audit:
                        pairs.append((target, after, watched))
                    elif audit and (place := pick.randrange(met)) < audit:
                        pairs[place] = (target, after, watched)
                self.moves[number] |= target != number
                if not name.startswith(_MISHAPS) or state.mode is Mode.STOPPED:
                    self.back[target].append(number)
        self.result.states, self.result.depth = len(self.nodes), max(self.depths)
        self.result.modes = frozenset(state.mode for state, _ in self.nodes)
        self._endings()
        self._audit(pairs)

    def _lost(self, state: State, names: set[str]) -> bool:
        """A reading of which every value would be refused: the technician could only go back."""
        step = self._book.procedure.at(state.step) if state.mode is Mode.ASKING else None
        return (
            isinstance(step, Reading) and "unjudged" in names and not names & {"inside", "outside", "close"}
        )

    def _endings(self) -> None:
        """Backward from every ending, over what people do; a state that was not walked may still end."""
        good = [not self.expanded[n] or s.mode is Mode.FINISHED for n, (s, _) in enumerate(self.nodes)]
        todo = [n for n, yes in enumerate(good) if yes]
        while todo:
            for source in self.back[todo.pop()]:
                if not good[source]:
                    good[source] = True
                    todo.append(source)
        for number, (state, _) in enumerate(self.nodes):
            place = f"{state.mode} at {state.step}"
            if not good[number]:
                self.found(f"no ending can be reached from {place}", self.way(number))
            if self.expanded[number] and not self.moves[number] and state.mode is not Mode.FINISHED:
                self.found(f"nothing goes on from {place}", self.way(number))

    def _audit(self, pairs: list[tuple[int, State, Watch]]) -> None:
        for number, state, watch in pairs:
            self.result.audited += 1
            one, other = self._leads(*self.nodes[number]), self._leads(state, watch)
            for name in sorted({*one, *other}):
                if one.get(name) != other.get(name):
                    self.result.differing.append(
                        f"{state.mode} at {state.step}: {name}; after: {self.way(number)}"
                    )
                    break

    def _leads(self, state: State, watch: Watch) -> dict[str, object]:
        found = {}
        for name, event in self._alphabet.events(state):
            after, watched, _ = self.turn(state, watch, event)
            found[name] = _key(after, watched, self._remember - 1, *self._alphabet.seen(after, watched))
        return found


def walk(
    book: Book,
    library: Arms,
    *,
    depth: int = 10_000,
    most_states: int = 1_000_000,
    injuries: int = 2,
    remember: int = 3,
    calm: tuple[str, ...] | None = None,
    audit: int = 0,
    shop: bool = False,
) -> Walked:
    """Walk breadth first until no state is new, or to ``depth`` events or ``most_states`` states.

    At most ``injuries`` are measured in one tire, and ``remember`` steps of the way kept in a state's key.
    ``calm``: only answers, timers and these commands happen. ``audit``: pairs of states with one key to compare.
    ``shop``: the job works by a shop's file, so that a supervisor's code word is asked.
    """
    walking = _Walk(book, _Alphabet(book, library, injuries, calm, shop), remember)
    walking.run(depth, most_states, audit)
    return walking.result


def stray(
    book: Book, library: Arms, *, seed: int, events: int, injuries: int = 3, shop: bool = False
) -> list[str]:
    """One long walk at random with nothing left out of any state. Returns what broke, with the way to it."""
    alphabet = _Alphabet(book, library, injuries, None, shop)
    walking, pick = _Walk(book, alphabet, 1), random.Random(seed)
    state, watch, way = State(at=START_MS), Watch(), []
    for _ in range(events):
        ways = list(alphabet.events(state))
        if not ways:
            break
        # Answers lead on; without leaning on them the walk never leaves the first steps.
        weights = [1.0 if isinstance(e, Answer | Spoken | Start | TimerDue) else 0.06 for _, e in ways]
        name, event = pick.choices(ways, weights)[0]
        state, watch, faults = walking.turn(state, watch, event)
        way.append(name)
        if faults:
            return [f"{fault}; after: {', '.join(way)}" for fault in faults]
    return []
