"""Small procedures and someone who talks a machine through them, as the session does but without any I/O."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cache

from handsfree.grammar import Armed, Library
from handsfree.limits import DEFAULT, Policy
from handsfree.procedure import (
    Answer,
    Arm,
    Book,
    Command,
    Effect,
    Event,
    Machine,
    Mode,
    NoInput,
    NoMatch,
    Prompts,
    Record,
    Resumed,
    Say,
    Spoken,
    Start,
    State,
    TimerDue,
    read_procedure,
)
from handsfree.session import prompts_text

HEAD = 'schema = 1\nid = "small"\ntitle = "Small job"\nversion = "1"\nnotice = "Follow the makers."\n'
ENDINGS = (
    '[[ending]]\nid = "returned"\ndisposition = "return to service"\nsay = "Finished."\n'
    '[[ending]]\nid = "scrap"\ndisposition = "scrap"\nsay = "Scrapped."\n'
)
START_MS = 1_900_000_000_000
JOB = (("technician", "Ana"), ("today", "2030-03-17"))

SIZE = """[[step]]
id = "size"
phase = "measure"
kind = "reading"
ask = "Injury size?"
name = "Injury size"
fact = "injury.size"
grammar = "readings.length_mm"
unit = "mm"
plausible = [0.5, 60]
limits = ["injury.size.max"]
forms = "five millimeters"
"""
ORDER = """[[step]]
id = "order"
phase = "receive"
kind = "reading"
ask = "Work order?"
name = "Work order"
fact = "job.work_order"
grammar = "readings.digits"
unit = ""
digits = [3, 5]
no_limit = "an identifier"
"""
#: The step in which whoever works signs in, as in the packaged procedures.
SIGN_IN = """[[step]]
id = "technician"
phase = "receive"
kind = "reading"
ask = "Your badge number?"
name = "Technician badge"
fact = "job.technician"
grammar = "answers.badge"
unit = ""
form = "badge"
digits = [2, 6]
no_limit = "an identifier"
"""
SPEED = """[[step]]
id = "speed"
phase = "work"
kind = "reading"
ask = "Cutter speed?"
name = "Cutter speed"
fact = "drill.rpm"
grammar = "readings.speed_rpm"
unit = "rpm"
plausible = [50, 40000]
limits = ["drill.rpm.max"]
adjust = true
"""
PLY = """[[step]]
id = "ply"
phase = "receive"
kind = "choice"
ask = "Body ply?"
fact = "tire.body_ply"
options = [
  { id = "fabric", say = "fabric ply", name = "Fabric ply" },
  { id = "steel", say = "steel ply", name = "Steel ply" },
]
"""
LOOK = """[[step]]
id = "look"
phase = "inspect"
kind = "inspect"
ask = "Inspect the tire."
conditions = [
  { id = "beads", ask = "Beads torn?", reason = "bead damage" },
  { id = "liner", ask = "Liner dusty?", reason = "run-flat damage" },
  { id = "tread", ask = "Tread open?", reason = "tread separation" },
]
"""
CARE = """[[step]]
id = "care"
phase = "prepare"
kind = "caution"
signal = "WARNING"
ask = "Cement burns."
read_back = "no flame"
guards = ["act"]
"""
AIR = """[[step]]
id = "temperature"
phase = "cement"
kind = "reading"
ask = "Air temperature?"
name = "Air temperature"
fact = "air.temperature"
grammar = "readings.temperature"
unit = "degC"
plausible = [-40, 50]
limits = ["air.temperature.min"]
on = { outside = "warm-up" }
[[step]]
id = "humidity"
phase = "cement"
kind = "reading"
ask = "Humidity?"
name = "Humidity"
fact = "air.humidity"
grammar = "readings.humidity"
unit = "%"
plausible = [1, 100]
limits = ["air.humidity.max", "air.humidity.usual"]
on = { outside = "warm-up" }
"""
WARM = """[[step]]
id = "warm-up"
phase = "cement"
kind = "do"
ask = "Warm the bay."
on = { done = "temperature" }
"""
BADGE = """[[step]]
id = "boss"
phase = "measure"
kind = "hold_point"
by = "supervisor"
ask = "Supervisor?"
on = { refused = "scrap" }
"""
DISPOSE = """[[step]]
id = "dispose"
phase = "measure"
kind = "hold_point"
by = "disposition"
ask = "Repairable."
on = { refused = "scrap" }
"""


def do(name: str = "act", *, to: str = "", ask: str = "Do it.") -> str:
    on = f'on = {{ done = "{to}" }}\n' if to else ""
    return f'[[step]]\nid = "{name}"\nphase = "work"\nkind = "do"\nask = "{ask}"\n{on}'


def count(rule: str = "passes.inside") -> str:
    return f'[[step]]\nid = "drill"\nphase = "work"\nkind = "count"\nask = "Drill."\nrule = "{rule}"\n'


def wait(until: str = "", over: str = "") -> str:
    more = f'until = "{until}"\n' + (f'on = {{ overrun = "{over}" }}\n' if over else "") if until else ""
    return (
        f'[[step]]\nid = "dry"\nphase = "cement"\nkind = "wait"\nask = "Let it dry."\nrule = "drying"\n{more}'
    )


def whole(*steps: str, end: str | None = "last") -> str:
    """A procedure of these steps; unless ``end`` is None a last action leads to the ending "returned"."""
    tail = "" if end is None else do(end, to="returned", ask="Hand over.")
    return HEAD + "".join(steps) + tail + ENDINGS


@cache
def library() -> Library:
    return Library.load()


@cache
def armed_for(grammar: tuple[tuple[str, str], ...]) -> Armed:
    return library().arm(dict(grammar))


@cache
def packaged_prompts() -> Prompts:
    return Prompts(prompts_text())


def book_of(text: str, policy: Policy = DEFAULT) -> Book:
    return Book(read_procedure(text), packaged_prompts(), policy)


class Drive:
    """A machine and the one who works by it. Every Say is answered with Spoken, as far as ``voice`` allows."""

    def __init__(self, text: str | Book, policy: Policy = DEFAULT, *, start: bool = True) -> None:
        self.book = text if isinstance(text, Book) else book_of(text, policy)
        self.machine = Machine(self.book)
        self.at = START_MS
        self.events: list[Event] = []
        self.effects: list[Effect] = []
        self.last: list[Effect] = []
        #: Whether a Say is played to its end; None: the player has not reported yet.
        self.voice: Callable[[Say], bool | None] = lambda say: True
        if start:
            self.feed(Start(self.at, JOB))

    @property
    def state(self) -> State:
        return self.machine.state

    @property
    def mode(self) -> Mode:
        return self.machine.state.mode

    @property
    def step(self) -> str:
        return self.machine.state.step

    def feed(self, event: Event) -> list[Effect]:
        """Feed it and report what was spoken, like the session; gives all effects of that."""
        self.last = []
        self._feed(event)
        return self.last

    def _feed(self, event: Event) -> None:
        effects = self.machine.feed(event)
        self.events.append(event)
        self.effects += effects
        self.last += effects
        for effect in effects:
            if isinstance(effect, Say) and (played := self.voice(effect)) is not None:
                self._feed(Spoken(self.at, effect.id, played))

    def heard(self, words: str) -> Event:
        """The event that these words are now, by what is armed."""
        if not self.state.armed:
            return NoMatch(self.at, words, "nothing is armed")
        # What a session makes of the placeholder for a supervisor's code word, with one word and one decoy.
        code = "granite window {code=right} | elephant {code=wrong}"
        armed = tuple((label, code if "<shop." in text else text) for label, text in self.state.armed)
        meaning = armed_for(armed).interpret(words)
        if meaning is None:
            return NoMatch(self.at, words, "not an answer to what was asked")
        if meaning.label == "command":
            return Command(self.at, meaning.slot("command") or "", meaning.text)
        return Answer(self.at, meaning.text, meaning.label, meaning.slots, meaning.number)

    def say(self, *lines: str) -> list[Effect]:
        """Say each line, a second apart. Gives the effects of the last."""
        for line in lines:
            self.at += 1000
            self.feed(self.heard(line))
        return self.last

    def quiet(self) -> list[Effect]:
        self.at += 30_000
        return self.feed(NoInput(self.at))

    def let(self, seconds: float) -> list[Effect]:
        """Let time go by; timers that fall due on the way are handled at their moment."""
        until = self.at + int(seconds * 1000)
        effects: list[Effect] = []
        while (due := self.state.next_due) is not None and due <= until and self.mode is not Mode.STOPPED:
            self.at = max(self.at, due)
            effects += self.feed(TimerDue(self.at))
        self.at = until
        return effects

    def power_cut(self, seconds: float = 0) -> list[Effect]:
        self.at += int(seconds * 1000)
        return self.feed(Resumed(self.at))

    def records(self, kind: str, effects: Iterable[Effect] | None = None) -> list[dict[str, str]]:
        source = self.effects if effects is None else effects
        return [dict(e.body) for e in source if isinstance(e, Record) and e.kind == kind]

    def spoken(self, effects: Iterable[Effect] | None = None) -> list[str]:
        return [e.text for e in (self.last if effects is None else effects) if isinstance(e, Say)]

    def said(self) -> str:
        """Everything said in the last turn."""
        return " ".join(self.spoken())

    def readings(self) -> list[tuple[str, str]]:
        return [(r["measurand"], f"{r['value']} {r['unit']}".strip()) for r in self.records("reading")]

    def armed(self) -> dict[str, str]:
        return dict(self.state.armed)


def arms(effects: Iterable[Effect]) -> list[Arm]:
    return [e for e in effects if isinstance(e, Arm)]


def replayed(drive: Drive) -> tuple[list[Effect], State]:
    """Feed the same events to a fresh machine."""
    machine = Machine(drive.book)
    effects = [effect for event in drive.events for effect in machine.feed(event)]
    return effects, machine.state


@cache
def words_for(rule: str, key: str, value: str) -> str:
    """How the grammar lets that be said: its shortest sentence with that slot."""
    armed = armed_for((("x", f"<{rule}>"),))
    return next(s for s in armed.sentences() if (m := armed.interpret(s)) and m.slot(key) == value)


CLEAR = words_for("answers.finding", "answer", "clear")
FOUND = words_for("answers.finding", "answer", "found")
