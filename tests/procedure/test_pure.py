"""The machine is a pure function of its events; no sequence of them breaks it or goes round a gate."""

from __future__ import annotations

from collections import deque
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from handsfree.grammar import Number
from handsfree.procedure import (
    TABLE,
    Answer,
    Command,
    DeviceBack,
    DeviceLost,
    Effect,
    Event,
    EventError,
    Machine,
    Mode,
    NoInput,
    NoMatch,
    Record,
    Resumed,
    Say,
    SetAside,
    Spoken,
    Start,
    State,
    TakenUp,
    TimerDue,
    event_body,
    event_from_body,
)
from handsfree.procedure._events import exact_text, parse_exact

from .conftest import EVERY_KIND
from .driving import CLEAR, FOUND, JOB, START_MS, Drive, armed_for, book_of, replayed

WORDS = [
    "fabric ply",
    "steel ply",
    "affirmative",
    "affirmative",
    "affirmative",
    "negative",
    "five",
    "seven",
    "six",
    "nine nine nine",
    "two zero degrees celsius",
    "four degrees celsius",
    "five zero percent",
    "nine five percent",
    CLEAR,
    CLEAR,
    FOUND,
    "supervisor release one two",
    "no flame",
    "completed",
    "completed",
    "pass one",
    "pass two",
    "pass three",
    "measure again",
    "out of limits",
    "affirmative",
    "say again",
    "hold work",
    "resume work",
    "go back",
    "correction",
    "change technician",
    "one seven",
    "what is the limit",
    "time left",
    "stop work",
    "rhubarb",
]
BOOK = book_of(EVERY_KIND)


def check_gates(effects: list[tuple[Event, list[Effect]]]) -> None:
    """Nothing enters the record unheard, unread-back or out of turn; no caution is passed over."""
    read_back: Say | None = None  # the last read-back that was begun, and then played whole
    heard_whole = False
    told_whole: Say | None = None
    cautioned = False
    says: dict[int, Say] = {}
    for event, caused in effects:
        if isinstance(event, Spoken) and event.completed and event.say in says:
            if read_back is not None and event.say == read_back.id:
                heard_whole = True
            if says[event.say].kind == "caution":
                told_whole = says[event.say]
        kinds = [e.kind for e in caused if isinstance(e, Record)]
        if "reading" in kinds:
            assert isinstance(event, Answer)
            assert ("answer", "yes") in event.slots
            assert read_back is not None
            assert heard_whole
            line = next(dict(e.body) for e in caused if isinstance(e, Record) and e.kind == "reading")
            assert line["heard"]
            heard_whole, read_back = False, None
        if "caution" in kinds:
            assert isinstance(event, Answer)
            assert told_whole is not None
            assert event.text in told_whole.text
            told_whole = None
            cautioned = True
        for effect in caused:
            if isinstance(effect, Say):
                says[effect.id] = effect
                if effect.kind == "read_back":
                    read_back, heard_whole = effect, False
            if isinstance(effect, Record) and effect.kind == "step" and dict(effect.body)["step"] == "act":
                assert cautioned  # "care" guards "act"


class AnyoneAtAll(RuleBasedStateMachine):
    """Says anything, at any time, with a voice that may fail and a power supply that may go."""

    def __init__(self) -> None:
        super().__init__()
        self.drive = Drive(BOOK, start=False)
        self.log: list[tuple[Event, list[Effect]]] = []
        feed = self.drive.machine.feed

        def listening(event: Event) -> list[Effect]:
            before = self.drive.machine.state
            effects = feed(event)
            self.log.append((event, effects))
            if any(isinstance(e, Record) and e.kind == "refused" for e in effects):
                assert len(effects) == 1
                assert self.drive.machine.state is before
            return effects

        self.drive.machine.feed = listening  # type: ignore[method-assign]

    @initialize()
    def start(self) -> None:
        self.drive.feed(Start(self.drive.at, JOB))

    @rule(words=st.lists(st.sampled_from(WORDS), min_size=1, max_size=8))
    def speaks(self, words: list[str]) -> None:
        self.drive.say(*words)

    @precondition(lambda self: self.drive.state.armed)
    @rule(data=st.data(), lines=st.integers(1, 6))
    def answers_well(self, data: st.DataObject, lines: int) -> None:
        for _ in range(lines):
            fitting = [w for w in WORDS if armed_for(self.drive.state.armed or (("x", "x"),)).interpret(w)]
            if fitting:
                self.drive.say(data.draw(st.sampled_from(fitting)))

    @rule(seconds=st.sampled_from([0, 10, 100, 185, 400]))
    def time_goes_by(self, seconds: int) -> None:
        self.drive.let(seconds)

    @rule()
    def is_silent(self) -> None:
        self.drive.quiet()

    @rule(seconds=st.sampled_from([0, 60, 7200]))
    def power_goes(self, seconds: int) -> None:
        self.drive.power_cut(seconds)

    @rule(works=st.booleans())
    def voice(self, works: bool) -> None:
        self.drive.voice = lambda say: works

    @rule(number=st.integers(-1, 60), completed=st.booleans())
    def reports(self, number: int, completed: bool) -> None:
        self.drive.feed(Spoken(self.drive.at, number, completed))

    @rule(back=st.booleans())
    def device(self, back: bool) -> None:
        kind = DeviceBack if back else DeviceLost
        self.drive.feed(kind(self.drive.at, "microphone"))

    @rule(away=st.booleans())
    def another_tire(self, away: bool) -> None:
        self.drive.feed(SetAside(self.drive.at, "alfa") if away else TakenUp(self.drive.at, "alfa"))

    @rule(name=st.sampled_from(["resume", "stop_work", "go_back", "nonsense"]), early=st.booleans())
    def sends_nonsense(self, name: str, early: bool) -> None:
        self.drive.feed(Command(self.drive.at - early, name))
        self.drive.feed(TimerDue(self.drive.at))
        self.drive.feed(Start(self.drive.at))

    @invariant()
    def reasons_only_grow_but_for_a_concession(self) -> None:
        conceded = [e for e in self.drive.state.exceptions if e.startswith("concession")]
        found = [r for r in self.drive.records("inspect") if r["outcome"] == "found"]
        assert bool(self.drive.state.reasons or conceded) >= bool(found)

    @invariant()
    def somebody_is_listened_to(self) -> None:
        state = self.drive.state
        if Command in TABLE[state.mode] and state.says:
            assert state.armed
            assert "stop_work" in dict(state.armed)["command"]
        if Answer in TABLE[state.mode]:
            assert set(dict(state.armed)) - {"command"}

    def teardown(self) -> None:
        check_gates(self.log)
        # And once more from the record, as an audit does it.
        again = Machine(BOOK)
        for event, effects in self.log:
            assert again.feed(event_from_body(event_body(event))) == effects
        assert again.state == self.drive.state
        finishes(self.drive)


def finishes(drive: Drive) -> None:
    """From wherever it is, an ending can be reached by saying what is asked for."""
    drive.voice = lambda say: True
    if drive.mode in (Mode.STOPPED, Mode.TELLING):
        drive.power_cut()
    answers = ["resume work", "no flame", "affirmative", "measure again", "supervisor release one two"]
    answers += [CLEAR, "completed", "fabric ply", "two zero degrees celsius", "five zero percent", "five"]
    answers += ["pass one", "pass two", "pass three", "one seven"]
    for _ in range(120):
        if drive.mode is Mode.FINISHED:
            return
        if drive.mode is Mode.WAITING:
            assert drive.state.next_due is not None
            drive.let(max(0, drive.state.next_due - drive.at) / 1000)
            continue
        armed = armed_for(drive.state.armed)
        passes = f"pass {['one', 'two', 'three', 'four', 'five', 'six'][min(5, drive.state.index)]}"
        line = next(
            w
            for w in (["resume work", passes] if drive.step == "drill" else []) + answers
            if armed.interpret(w)
        )
        drive.say(line)
    raise AssertionError(f"no ending from {drive.mode} at {drive.step}")


TestAnyoneAtAll = AnyoneAtAll.TestCase
TestAnyoneAtAll.settings = settings(
    max_examples=60, stateful_step_count=25, deadline=None, suppress_health_check=list(HealthCheck)
)


# -- random event lists, valid and not -----------------------------------------------------------------

NUMBERS = st.builds(
    lambda value, places: Number(Decimal(value).scaleb(-places), Decimal(1).scaleb(-places), str(value)),
    st.integers(-999, 99_999),
    st.integers(0, 3),
)
SLOTS = st.sampled_from(
    [
        (),
        (("answer", "yes"),),
        (("answer", "clear"),),
        (("unit", "mm"),),
        (("unit", "ell"),),
        (("option", "fabric"),),
        (("pass", "1"),),
        (("badge", "12"),),
        (("dispose", "accept"),),
    ]
)
AT = st.integers(START_MS, START_MS + 600_000)
RAW = st.one_of(
    st.builds(Start, AT, st.just(JOB)),
    st.builds(
        Answer,
        AT,
        st.text(max_size=8),
        st.sampled_from(["answer", "value", "decoy", "x"]),
        SLOTS,
        st.one_of(st.none(), NUMBERS),
    ),
    st.builds(
        Command,
        AT,
        st.sampled_from(
            ["hold", "resume", "go_back", "stop_work", "correction", "limit", "change_technician", "?"]
        ),
    ),
    st.builds(NoMatch, AT, st.text(max_size=8), st.text(max_size=8), st.sampled_from(["", "2"])),
    st.builds(NoInput, AT),
    st.builds(Spoken, AT, st.integers(-2, 30), st.booleans()),
    st.builds(TimerDue, AT, st.sampled_from(["", "alfa"])),
    st.builds(Resumed, AT, st.sampled_from(["", "bravo"]), st.booleans()),
    st.builds(SetAside, AT, st.sampled_from(["", "alfa"])),
    st.builds(TakenUp, AT, st.sampled_from(["", "alfa"])),
    st.builds(DeviceLost, AT, st.text(max_size=8)),
    st.builds(DeviceBack, AT, st.text(max_size=8)),
)


@settings(max_examples=150, deadline=None)
@given(st.lists(RAW, max_size=25), st.booleans(), st.booleans())
def test_no_list_of_events_raises_and_all_of_it_replays(
    events: list[Event], in_order: bool, shop: bool
) -> None:
    if in_order:
        events = sorted(events, key=lambda event: event.at)
    one, two = Machine(BOOK), Machine(BOOK)
    job = tuple(sorted((*JOB, ("shop", "Harbor Row")))) if shop else JOB
    for event in [Start(START_MS, job), *events]:
        effects = one.feed(event)
        assert two.feed(event_from_body(event_body(event))) == effects
        assert one.state == two.state


@settings(max_examples=200, deadline=None)
@given(RAW)
def test_an_event_comes_back_from_its_line(event: Event) -> None:
    assert event_from_body(event_body(event)) == event


@settings(max_examples=200, deadline=None)
@given(NUMBERS)
def test_exact_text_keeps_every_digit(number: Number) -> None:
    back = parse_exact(exact_text(number.value))
    assert (back, str(back)) == (number.value, exact_text(number.value))


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
KEYS = [
    "type",
    "at_ms",
    "text",
    "label",
    "slots",
    "number",
    "job",
    "name",
    "say",
    "completed",
    "device",
    "reason",
]
TYPES = ["start", "answer", "command", "no_match", "spoken", "timer", "device_lost", "device_back", "?"]


@settings(max_examples=400, deadline=None)
@given(
    st.dictionaries(st.sampled_from(KEYS), JSON, max_size=8),
    st.one_of(st.sampled_from(TYPES), JSON),
    st.one_of(st.integers().map(str), JSON),
)
def test_a_line_that_is_no_event_is_an_event_error(body: dict[str, object], kind: object, at: object) -> None:
    try:
        event = event_from_body({**body, "type": kind, "at_ms": at})
    except EventError:
        return
    assert event_from_body(event_body(event)) == event


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"type": "answer", "at_ms": "1"},
        {"type": "no_input"},
        {"type": "no_input", "at_ms": "soon"},
        {"type": "no_input", "at_ms": "9" * 5000},
        {"type": "start", "at_ms": "1", "job": []},
        {"type": "answer", "at_ms": "1", "text": "", "label": "", "slots": "ab"},
        {"type": "answer", "at_ms": "1", "text": "", "label": "", "slots": [["a"]]},
        *(
            {"type": "answer", "at_ms": "1", "text": "", "label": "", "slots": [], "number": number}
            for number in [
                5,
                {},
                *(
                    {"value": value, "resolution": "1", "spelled": ""}
                    for value in [
                        "NaN",
                        "Infinity",
                        "1E9999999",
                        "1/0",
                        "",
                        "1.",
                        "٣",
                        "1_0",
                        "9" * 41,
                        "1/2/3",
                    ]
                ),
            ]
        ),
    ],
)
def test_lines_that_can_not_be_read(body: dict[str, object]) -> None:
    with pytest.raises(EventError, match="event line"):
        event_from_body(body)


def test_an_unknown_type_is_named() -> None:
    with pytest.raises(EventError, match="unknown event type 'sneeze'"):
        event_from_body({"type": "sneeze", "at_ms": "1"})


# -- every state within reach --------------------------------------------------------------------------

ABSTRACT = [
    "affirmative", "negative", "five", "seven", "nine nine nine", "measure again", "out of limits", "affirmative",
    "completed", "no flame", "fabric ply", "rhubarb", "go back", "hold work", "resume work", "correction",
    "stop work", "pass one", "pass two", CLEAR, FOUND, "supervisor release one two",
]  # fmt: skip


def _key(state: State) -> object:
    """States that behave alike: all but counters, times and the growing lists."""
    return (
        state.mode,
        state.step,
        tuple(v.step for v in state.path[-4:]),
        tuple(sorted(state.facts)),
        state.pending and (state.pending.kind, state.pending.heard),
        min(state.misses, 4),
        state.index,
        state.return_to,
        state.held_from,
        bool(state.reasons),
        tuple(e.step for e in state.entries),
        tuple((t.step, t.over) for t in state.timers),
    )


def test_walk_every_state_to_a_depth_and_find_an_ending_from_each() -> None:
    """Breadth first over what can be said: every state reached can finish, and keeps every gate."""
    root = Drive(BOOK)
    seen = {_key(root.state)}
    queue = deque([(root.state, root.at, 0)])
    checked = 0
    while queue and len(seen) < 450:
        state, at, depth = queue.popleft()
        end = Drive(BOOK, start=False)
        end.machine.state, end.at = state, at
        finishes(end)
        checked += 1
        for word in ABSTRACT:
            drive = Drive(BOOK, start=False)
            drive.machine.state, drive.at = state, at
            if not state.armed:
                continue
            drive.say(word)
            key = _key(drive.state)
            if key not in seen:
                seen.add(key)
                queue.append((drive.state, drive.at, depth + 1))
    assert checked > 200


def test_replay_of_a_whole_job_gives_the_same() -> None:
    drive = Drive(BOOK)
    finishes(drive)
    effects, state = replayed(drive)
    assert effects == drive.effects
    assert state == drive.state
    assert drive.state.outcome == "returned"
