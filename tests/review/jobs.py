"""Whole jobs of every kind, made as the session makes them: somebody who says what is asked, but for what a test
wants said otherwise."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from procedure.driving import START_MS
from session.bay import session, typed
from session.test_session import OPTIONS, TRUCK, VALUES

from handsfree.audio import Utterance
from handsfree.grammar import Armed
from handsfree.hearing import Hypothesis, Word
from handsfree.procedure import Mode
from handsfree.session import (
    Closed,
    Heard,
    Job,
    Quiet,
    SimulatedClock,
    create_job,
    packaged_procedure,
    prompts_text,
)

#: Sentences said, in turn, when the step asks (or asks what to do with a value out of limits).
Script = Mapping[str, Sequence[str]]

ABOUT = {"technician": "Ana Quay", "bay": "Bay Two", "today": "2030-03-17"}
TONE = bytes(range(200))  # not silence; short, so that a page is quick to parse


class Willing:
    """Says the right thing to every step; ``script`` first. ``until``: the step at which nothing more is said."""

    def __init__(
        self,
        job: Job,
        clock: SimulatedClock,
        script: Script,
        options: Mapping[str, str],
        until: str,
        weak: str,
    ) -> None:
        self.engine = typed([], clock).engine
        self.job, self.clock, self.until, self.weak = job, clock, until, weak
        self.left = {step: list(said) for step, said in script.items()}
        self.values, self.options = {**VALUES, **options}, {**OPTIONS, **options}

    def listen(self, armed: Armed, until: int | None, *, answer: bool) -> Heard | Quiet | Closed:
        state = self.job.machine.state
        if state.mode is Mode.WAITING:
            assert until is not None
            self.clock.advance(until - self.clock.now())
            return Quiet()
        self.clock.advance(1500)
        if state.step == self.until or state.mode is Mode.STOPPED:
            return Closed("the script is at an end")
        said = self._said(armed)
        words = tuple(Word(word, 0.1, 0.3) for word in said.split())
        sure = 0.55 if state.step == self.weak and state.mode is Mode.ASKING else 0.97
        scores = (("grammar", -1.0), ("phone", -2.0), ("ratio", 1.0), ("probability", sure))
        heard = Hypothesis(said, words, "willing", scores, True, "")
        return Heard(heard, Utterance(TONE, 0, 400, -20.5, -52.25, 0))

    def _said(self, armed: Armed) -> str:
        state = self.job.machine.state
        step = self.job.machine.book.procedure.at(state.step)
        waiting = self.left.get(step.id)
        if waiting and state.mode is not Mode.CONFIRMING:
            return waiting.pop(0)
        if state.mode is Mode.ASKING and step.kind == "reading":
            return self.values.get(step.id, "three five" if step.unit == "psi" else "one two three four")
        for sentence in armed.sentences():
            meaning = armed.interpret(sentence)
            if meaning is None or meaning.label != "answer":
                continue
            if state.mode is Mode.READING_BACK and sentence != step.read_back:
                continue
            slots = dict(meaning.slots)
            if slots.get("answer") in ("no", "found"):
                continue
            if slots.get("option", "") not in ("", self.options.get(step.id, slots.get("option"))):
                continue
            if slots.get("pass") in (None, str(state.index + 1)):
                return sentence
        raise AssertionError(f"nothing to say at {state.step}")

    def close(self) -> None: ...


def make_job(
    folder: Path,
    script: Script | None = None,
    *,
    procedure: str = "passenger-one-piece",
    options: Mapping[str, str] | None = None,
    about: Mapping[str, str] | None = None,
    policy: str = "",
    until: str = "",
    weak: str = "",
) -> str:
    """Make a job in ``folder``; returns how it ended."""
    clock = SimulatedClock(START_MS)
    job = create_job(
        folder,
        procedure=packaged_procedure(procedure),
        prompts=prompts_text(),
        policy=policy,
        about={key: value for key, value in {**ABOUT, **(about or {})}.items() if value},
        pins={"engine": "typed"},
        clock=clock,
    )
    ears = Willing(job, clock, script or {}, options or {}, until, weak)
    running = session(job, clock, ears)
    try:
        return running.run(job.first)
    finally:
        running.close()


HOSTILE = "<script>alert(1)</script>"
LOOSENED = f"""name = "our \\"quoted\\" shop & <b>sons</b>"
[limits."buffer.rpm.max"]
limit = "5500 rpm"
allowed_by = "R. Overlook"
why = "the \\"blue\\" buffer's <i>plate</i> says so & it was measured {HOSTILE}"
"""

#: name -> what make_job is told. "eventful" holds most of what can be out of the ordinary.
KINDS: Mapping[str, Mapping[str, Any]] = {
    "whole": {"options": {"tread-highest": "six"}},
    "eventful": {
        "policy": LOOSENED,
        "about": {"technician": HOSTILE},
        "weak": "thickness",
        "script": {
            "deflate-first": ["affirmative"],
            "injury-clock": ["three o'clock", "half past nine"],
            "injury-size": ["six", "measure again", "five", "five point five"],
            "injury-lean": ["toward shoulder", "inboard"],
            "another-injury": ["another injury"],
            "drill-speed": ["one eight zero zero"],
            "buffer-speed": ["five one zero zero"],
            "air-humidity": ["five five"],
            "surface-temperature": ["correction"],
            "all-repaired": ["next injury"],
            "hose": ["hold work", "resume work"],
            "seating-pressure": ["four five"],
            "over-pressure-supervisor": ["supervisor release four zero nine"],
        },
    },
    "truck": {"procedure": "light-truck-steel", "options": TRUCK},
    "recheck": {"procedure": "lug-nut-recheck", "about": {"practice": "training"}},
    "scrap": {"script": {"tread-depth": ["two", "out of limits"]}},
    "defect": {"script": {"inspect": ["nothing found", "defect found"]}},
    "unfinished": {"until": "drill-inside"},
    "stopped": {"script": {"injury-edge": ["stop work"]}},
    "lamp": {
        "about": {"technician": ""},
        "options": {"sensor-lamp-after": "on", "technician": "seven seven three one"},
        "script": {"lamp-lit-supervisor": ["supervisor rejection four zero nine"]},
    },
}
