"""A technician made of chance by seed: what he means, what he says, and what he makes of what he hears.

He hears the tool's words and sees which step is asked; he never sees what the machine has understood. A read-back
is compared, as text, with what he said; when the work goes on without his having confirmed what he heard, he knows
that something wrong is recorded, and says "correction" (or "go back") until it is put right.
"""

from __future__ import annotations

import random
import re
from collections import Counter
from dataclasses import dataclass, field
from itertools import islice

from handsfree.bench._channel import Arming
from handsfree.bench._crew import CODE_WORD, Crew
from handsfree.bench._world import Value, World
from handsfree.grammar import Armed
from handsfree.procedure import Book, Machine, Mode
from handsfree.procedure._model import Caution, Choice, CountPasses, Do, HoldPoint, Inspect, Reading
from handsfree.procedure._words import spoken, spoken_count

__all__ = ["IN_SOUND", "Habits", "Technician"]

#: How the tool begins when it has only gone somewhere else.
_NOTHING_NEW = (
    "Back.",
    "Correction.",
    "Waited too long",
    "This is the first step",
    "Job opened again",
    "Going on",
)

#: Answers that are no entry of his to be compared with what is recorded.
_NO_ENTRY = ("done", "pass", "read_back", "again", "badge", "code", "signs", "signs not")
#: "one four, or four zero?" and the advice at the third miss: then he says it digit by digit.
_IN_DIGITS = re.compile(r"^[a-z ]+, or [a-z ]+\?$|digit by digit, please", re.IGNORECASE)

Key = tuple[str, int, int]  # step, its last place in the way, condition of an inspection


@dataclass(frozen=True, slots=True)
class Habits:
    """Chances, by what they are for. Values: ``outside``, ``close``, ``found``. By answer: the others."""

    outside: float = 0.03
    close: float = 0.02
    found: float = 0.01
    misread: float = 0.03  # says another value than is true
    misread_noticed: float = 0.5  # at the read-back
    corrects_himself: float = 0.02  # takes a right value back before or after it is recorded
    chatter: float = 0.04
    wrong_order: float = 0.02
    slow: float = 0.02
    holds: float = 0.01
    goes_back: float = 0.01
    asks: float = 0.02  # say again, what is the limit, time left
    stops: float = 0.001
    pauses: float = 0.02  # within a number: its beginning is heard alone
    changes: float = 0.002  # another technician takes over
    wrong_code: float = 0.1  # the supervisor says another code word than his own


#: In sound the noise makes the errors: chatter and misreads are rare, and he does not stop within a number.
IN_SOUND = Habits(
    chatter=0.01, misread=0.01, wrong_order=0.005, pauses=0.0, holds=0.005, corrects_himself=0.005
)


@dataclass(slots=True)
class Meant:
    """``kind``: value, option, clear, found, done, pass, release, reject, code, read_back, yes, no, badge, signs,
    signs not (yes and no to a new technician's badge), command, nothing.
    ``content``: what should come back in the tool's words."""

    kind: str
    key: Key = ("", -1, 0)
    content: str = ""
    mode: Mode = Mode.ASKING


#: How he is told that a setting was refused, beside what the step says of one that is over.
_PUT_RIGHT = ("put it right and measure again", "measure finer, or put it right")


@dataclass(slots=True)
class Technician:
    """One job's technician. ``said`` takes what the tool says, ``speak`` gives the next words, None for silence."""

    book: Book
    machine: Machine  # for the step that is asked and the mode: what a screen shows
    seed: int
    arming: Arming
    crew: Crew
    habits: Habits = field(default_factory=Habits)
    counts: Counter[str] = field(default_factory=Counter)
    pick: random.Random = field(init=False)
    world: World = field(init=False)
    heard: list[tuple[str, str]] = field(default_factory=list)
    values: dict[Key, Value] = field(default_factory=dict)  # what he says each reading is
    true: dict[Key, Value] = field(default_factory=dict)
    answers: dict[Key, str] = field(default_factory=dict)  # option, clear or found, release or reject
    last: Meant = field(default_factory=lambda: Meant("nothing"))
    wrong: list[Key] = field(default_factory=list)  # recorded wrongly, known to him, to be put right
    tries: int = 0
    gave_up: bool = False
    read_back: str = ""  # the last one heard
    verdict: str = ""
    words: str = ""  # of the last answer: what was heard unsurely is asked about in the words heard
    rest: str = ""  # what is left to say after a pause
    measured_again: bool = False

    def __post_init__(self) -> None:
        self.pick = random.Random(self.seed)
        habits = self.habits
        self.world = World(self.pick, self.book.policy, outside=habits.outside, close=habits.close)

    def said(self, text: str, kind: str) -> None:
        self.heard.append((text, kind))
        if kind == "read_back":
            self.read_back = text.lower()
            self.crew.said(text)
        elif kind == "verdict":
            self.verdict = text
        else:
            self.crew.said(text)

    # -- what he makes of what he heard --------------------------------------------------------------

    def key(self) -> Key:
        state = self.machine.state
        backward = range(len(state.path) - 1, -1, -1)
        place = next((n for n in backward if state.path[n].step == state.step), -1)
        return (
            state.step,
            place,
            state.index if isinstance(self.book.procedure.at(state.step), Inspect) else 0,
        )

    def _told(self, phrase: str) -> bool:
        """Whether the phrase was said, as a sentence of its own, since he last spoke."""
        return any(_says(text, phrase) for text, _ in self.heard)

    def listen(self) -> None:
        """After each of his utterances: has something been recorded that he did not mean?"""
        state, meant = self.machine.state, self.last
        if meant.key[1] < 0 or state.mode in (Mode.HELD, Mode.CONFIRMING, Mode.SIGNING, Mode.STOPPED):
            return
        stopped = state.mode is Mode.DISPOSING and meant.mode is not Mode.DISPOSING
        moved = stopped or state.mode is Mode.FINISHED or self.key() != meant.key
        # Going back, by whatever misunderstanding, shows in the step that is asked; nothing is recorded by it.
        if not moved or meant.mode is Mode.WAITING or any(t.startswith(_NOTHING_NEW) for t, _ in self.heard):
            return
        right = {
            "yes": not meant.content or self._told(meant.content),
            "clear": self._told("clear"),
            "option": self._told(meant.content),
        }.get(meant.kind, meant.kind in _NO_ENTRY)
        if right and meant.key in self.wrong:
            self.wrong.remove(meant.key)
            self.tries = 0
        if not right and meant.key not in self.wrong:
            self.counts["wrong noticed"] += 1
            self.wrong.append(meant.key)

    def _mean(self, kind: str, content: str = "") -> None:
        self.last = Meant(kind, self.key(), content, self.machine.state.mode)

    # -- what he says --------------------------------------------------------------------------------

    def speak(self, armed: Armed) -> str | None:
        """The next utterance for what is asked now; None when he lets the time pass."""
        self.listen()
        words = self._interlude() or self._put_right() or self._habit() or self._reply(armed)
        self.heard.clear()
        return words or None

    def _command(self, words: str) -> str:
        self._mean("command")
        self.counts["commands"] += 1
        return words

    def _interlude(self) -> str:
        mode = self.machine.state.mode
        if self.rest:
            words, self.rest = self.rest, ""
            return words
        if mode is Mode.HELD:
            return self._command("resume work")
        return ""

    def _put_right(self) -> str:
        """Correction until the step with the wrong entry is asked again; else back to it; at last stop work."""
        state = self.machine.state
        if not self.wrong or state.mode in (Mode.CONFIRMING, Mode.PROVING, Mode.SIGNING):
            return ""
        place = self.wrong[-1]
        if self.key() == place:
            return ""  # asked again at last: what he says now puts it right
        if place[1] >= len(state.path) or state.path[place[1]].step != place[0]:
            self.wrong.pop()  # it is undone: the way no longer holds it
            return ""
        self.tries += 1
        self.counts["corrections"] += 1
        if self.tries > 40:
            self.gave_up = True
            return self._command("stop work")
        kind = self.book.procedure.at(place[0])
        first = (
            self.tries % 4 == 1
            and not state.return_to
            and not isinstance(kind, Do | CountPasses | Caution | HoldPoint)
        )
        return self._command("correction" if first else "go back")

    def _habit(self) -> str:
        """Now and then something else than the answer."""
        habits, state = self.habits, self.machine.state
        if self.crew.wanted and state.mode in (Mode.ASKING, Mode.WAITING):
            return self._command("change technician")
        if state.mode is Mode.WAITING:
            return self._command(self.pick.choice(("time left", "what is the limit")))
        if self.wrong:
            return ""  # first that
        roll = self.pick.random()
        for name, share in (
            ("chatter", habits.chatter),
            ("wrong_order", habits.wrong_order),
            ("holds", habits.holds),
            ("goes_back", habits.goes_back),
            ("asks", habits.asks),
            ("stops", habits.stops),
            ("changes", habits.changes if state.mode is Mode.ASKING else 0.0),
        ):
            if roll < share:
                self.counts[name] += 1
                return self._odd(name)
            roll -= share
        return ""

    def _odd(self, name: str) -> str:
        pick = self.pick
        match name:
            case "chatter":
                self._mean("nothing")
                return pick.choice(
                    ("pass me the pliers", "is that coffee still hot", "who left the light on")
                )
            case "wrong_order":
                self._mean("nothing")
                # Never a yes to what he has not listened to: that is no error of hearing.
                return pick.choice(("completed", "nothing found", "three two", "fabric", "it is tacky"))
            case "holds":
                return self._command(pick.choice(("hold work", "stand by")))
            case "goes_back":
                return self._command("go back")
            case "stops":
                return self._command("stop work")
            case "changes":
                self.crew.change(pick)
                return self._command("change technician")
            case _:
                return self._command(pick.choice(("say again", "what is the limit", "time left")))

    def silent(self) -> bool:
        """Whether he lets this turn pass in silence."""
        slow = self.pick.random() < self.habits.slow
        if slow and self.machine.state.mode is not Mode.HELD:
            self.listen()
            self._mean("nothing")
            self.heard.clear()
            self.counts["slow"] += 1
            return True
        return False

    def _reply(self, armed: Armed) -> str:
        state = self.machine.state
        step = self.book.procedure.at(state.step)
        match state.mode:
            case Mode.CONFIRMING:
                return self._confirm()
            case Mode.DISPOSING:
                assert isinstance(step, Reading)
                return self._dispose(step, armed)
            case Mode.READING_BACK:
                assert isinstance(step, Caution)
                self._mean("read_back")
                return step.read_back
            case Mode.SIGNING:
                return self._sign(armed)
            case Mode.PROVING:
                return self._prove()
            case _:
                self.words = self._answer(armed)
                return self.words

    def _sign(self, armed: Armed) -> str:
        """Whoever takes over says the badge number, and listens whether it is read back right."""
        if not self.crew.wanted:
            return self._command("go back")  # nobody asked for it
        if "value" not in armed.labels:
            self._mean("badge")
            return spoken(self.crew.wanted)
        right = self.crew.is_read_back(self.read_back)
        self._mean("signs" if right else "signs not")
        return "affirmative" if right else "negative"

    def _prove(self) -> str:
        """The supervisor's code word, unless another decision was read back than the one meant."""
        if not self._is_read_back(self._expected(self.key())):
            return self._command("go back")
        self._mean("code")
        if self.pick.random() < self.habits.wrong_code:
            self.counts["wrong code words"] += 1
            return self._sentence("code", "wrong", "code")
        return CODE_WORD

    def _answer(self, armed: Armed) -> str:
        self.counts["contents"] += 1
        step, key = self.book.procedure.at(self.machine.state.step), self.key()
        match step:
            case Reading():
                return self._value(step, key, armed)
            case Inspect():
                if key not in self.answers:
                    self.answers[key] = "found" if self.pick.random() < self.habits.found else "clear"
                reason = step.conditions[key[2]].reason
                self._mean(self.answers[key], f"Found: {reason}")
                return self._sentence("answer", self.answers[key])
            case Choice():
                return self._option(step, key)
            case CountPasses():
                self._mean("pass")
                return f"pass {spoken_count(self.machine.state.index + 1)}"
            case HoldPoint():
                if key not in self.answers:
                    self.answers[key] = self.pick.choice(("release", "release", "reject"))
                word = self.answers[key]
                self._mean(word)
                which = "release" if word == "release" else "rejection"
                return f"supervisor {which} {spoken(self.crew.supervisor)}"
            case _:
                self._mean("done")
                return self._sentence("answer", "done")

    def _value(self, step: Reading, key: Key, armed: Armed) -> str:
        # "Put it right and measure again": a setting that was refused is another value now.
        refused = (
            self.last.kind == "yes"
            and self.last.key == key
            and any(self._told(how) for how in (*_PUT_RIGHT, step.above.rstrip(".").lower()) if how)
        )
        shrunk = any("can't be. Before it was" in text for text, _ in self.heard)
        if refused or shrunk or self._told("that can't be judged"):
            self.measured_again = True
        if self.measured_again:
            self.values.pop(key, None)
        good, self.measured_again = self.measured_again, False
        if step.form == "badge":  # his own: nothing that he could misread
            self.true[key] = self.values[key] = self.crew.present
        elif key not in self.values:
            facts = self.machine.state.facts
            self.true[key] = self.values[key] = self.world.reading(step, facts, armed, good=good)
            if self.pick.random() < self.habits.misread:
                self.counts["misreads"] += 1
                self.values[key] = self.world.reading(step, facts, armed)
        value = self.values[key]
        self._mean("value", f"{step.name}: {spoken(value)}")
        in_digits = any(_IN_DIGITS.search(text) for text, _ in self.heard)
        words = self.world.words(step, value, armed, in_digits=in_digits)
        if len(words.split()) > 2 and self.pick.random() < self.habits.pauses:
            self.counts["pauses"] += 1
            cut = self.pick.randrange(1, len(words.split()))
            self.rest = " ".join(words.split()[cut:])
            return " ".join(words.split()[:cut])
        return words

    def _option(self, step: Choice, key: Key) -> str:
        if any(option.all_of or option.recall for option in step.options):
            # Every injury repaired, unless the tool has just said that one is left.
            left = any("repaired" in text and "found" in text for text, _ in self.heard)
            chosen = next(o.id for o in step.options if bool(o.recall) is left)
            self.answers[key] = chosen
        elif key not in self.answers:
            facts = self.machine.state.facts
            self.answers[key] = self.world.choice(step, self.book.procedure, facts)
        option = next(o for o in step.options if o.id == self.answers[key])
        self._mean("option", option.name)
        return self._sentence("option", option.id)

    def _confirm(self) -> str:
        """Only the words of the read-back count: are they those of what he meant here?"""
        state, key = self.machine.state, self.key()
        self.counts["read-backs"] += 1
        expected = self._expected(key)
        right = self._is_read_back(expected) or self._is_asked_about()
        if right and self._notices(key):
            right = False
        if right and self.pick.random() < self.habits.corrects_himself:
            self.counts["self-corrections"] += 1
            return self._command("correction")
        self.counts["needless read-backs"] += right
        word = "yes" if right else "no"
        step = self.book.procedure.at(state.step)
        again = self._recorded_words(step, key) if right else ""
        self._mean(word, again)
        return self._sentence("answer", word)

    def _is_read_back(self, expected: str) -> bool:
        """Whether this is what was read back last; an expert hears no "affirmative?" after it."""
        ends = (". affirmative?", "?")
        return bool(expected) and any(f" {expected.lower()}{end}" in f" {self.read_back}" for end in ends)

    def _is_asked_about(self) -> bool:
        """Whether his own words are asked about, and nothing else: the end of a longer number is not his number."""
        return bool(self.words) and self.read_back in (f"{self.words}. affirmative?", f"{self.words}?")

    def _recorded_words(self, step: object, key: Key) -> str:
        """What the tool says when it records this: he listens for it."""
        if isinstance(step, Reading) and key in self.values and self.last.kind != "accept":
            return spoken(self.values[key])
        if isinstance(step, Choice) and key in self.answers:
            return next(o.name for o in step.options if o.id == self.answers[key])
        return ""

    def _expected(self, key: Key) -> str:
        step = self.book.procedure.at(key[0])
        if self.last.kind == "accept" and isinstance(step, Reading):
            return f"{step.name}: out of limits"
        match step:
            case Reading(form="badge") if key in self.values:
                return self.crew.read_back(str(self.values[key]))
            case Reading() if key in self.values:
                return f"{step.name}: {spoken(self.values[key])}"
            case Choice() if key in self.answers:
                return next(o.name for o in step.options if o.id == self.answers[key])
            case Inspect() if self.answers.get(key) == "found":
                return f"Found: {step.conditions[key[2]].reason}"
            case HoldPoint() if key in self.answers:
                done = "Released" if self.answers[key] == "release" else "Rejected"
                return f"{done} by badge {spoken(self.crew.supervisor)}"
            case _:
                return ""

    def _notices(self, key: Key) -> bool:
        """Hearing it said back, he sees that he misread the gauge."""
        if key not in self.true or self.values.get(key) == self.true[key]:
            return False
        if self.pick.random() >= self.habits.misread_noticed:
            return False
        self.counts["misreads noticed"] += 1
        self.values[key] = self.true[key]
        return True

    def _dispose(self, step: Reading, armed: Armed) -> str:
        """Out of limits, or too close to call. A value that is not his is measured again."""
        key = self.key()
        mine = key in self.values and _says(self.verdict, spoken(self.values[key]))
        if not mine:
            if key not in self.wrong:
                self.counts["wrong noticed"] += 1
            self._mean("again")
            return "measure again"
        if self.pick.random() < 0.5:
            self.measured_again = True
            self._mean("again")
            return "measure again"
        self._mean("accept")
        return "out of limits"

    def _sentence(self, slot: str, value: str, label: str = "answer") -> str:
        """One of the few sentences that mean this now: of the answer alone, commands left out."""
        place = (dict(self.machine.state.armed)[label], slot, value)
        if place not in _SENTENCES:
            alone = self.arming.arm(dict(self.crew.people.fill(((label, place[0]),))))
            meanings = ((s, alone.interpret(s)) for s in alone.sentences())
            fitting = (s for s, m in meanings if m is not None and m.slot(slot) == value)
            _SENTENCES[place] = tuple(islice(fitting, 3))
        return self.pick.choice(_SENTENCES[place])


_SENTENCES: dict[tuple[str, str, str], tuple[str, ...]] = {}


def _says(text: str, phrase: str) -> bool:
    """Whether the phrase is a sentence of the text."""
    return phrase.lower() in (s.strip() for s in re.split(r"[.?!](?:\s|$)", text.lower()))
