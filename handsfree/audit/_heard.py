"""What was heard, parsed again: the words must be a sentence of what was armed, with the meaning recorded."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from handsfree.grammar import Armed, GrammarError, Interpretation, Library
from handsfree.hearing import probability_of, same_meaning
from handsfree.procedure import NOT_HELD, Answer, Command, NoMatch, SetAside
from handsfree.record import Finding
from handsfree.session import BAY, LEAST_PROBABILITY, NEEDLESS, NO_ANSWER

from ._walk import Turn, Walk

__all__ = ["armed_for", "grammar_hash", "heard_for", "parsed_again"]


#: Commands that undo and skip nothing: in records made before December 2026 they count heard unsurely, too. Now only
#: "stop work" does.
HARMLESS = frozenset({"hold", "say_again", "limit", "time_left", "stop_work"})
#: Slots that a shop's file adds to a badge; and the label of a code word, of which no record keeps the words.
_ADDED = ("supervisor", "technician")
_CODE = "code"
#: What the session listens for beside what the job has armed: the other tires of the bay.
_BESIDE = ((BAY, "<commands.bay>"),)


@cache
def _library() -> Library:
    return Library.load()


def grammar_hash() -> str:
    """The hash of the grammars that are installed now."""
    return _library().sha256


@cache
def armed_for(grammar: tuple[tuple[str, str], ...]) -> Armed:
    """What was armed, by its labels and expansions. Raises GrammarError."""
    return _library().arm(dict(grammar))


def parsed_again(walk: Walk) -> Iterator[Finding]:
    """Every answer and command, the call of another tire too, and every no-match that was accepted by sound."""
    before: Turn | None = None  # what was heard last
    for turn in walk.turns:
        body = turn.line.body
        if not isinstance(turn.event, Answer | Command | NoMatch | SetAside) or "hypothesis" not in body:
            continue
        last, before = before, turn
        if not turn.before.armed or _CODE in dict(turn.before.armed):
            continue  # the machine has refused it, and says so; or what was heard is withheld
        try:
            meaning = armed_for(heard_for(turn)).interpret(str(body["hypothesis"]))
        except GrammarError as error:
            yield Finding("parse", turn.number, f"can't be parsed again: {error}")
            continue
        why = _differs(turn, meaning, accepted=body.get("accepted") == "true") or _unsure(turn, last)
        if why:
            yield Finding("parse", turn.number, why)


def heard_for(turn: Turn) -> tuple[tuple[str, str], ...]:
    """What an utterance was listened for: what the job has armed, and what the session answers itself."""
    match turn.event:
        case SetAside():
            return turn.before.armed + _BESIDE
        case NoMatch(reason=reason) if reason == NOT_HELD:
            return turn.before.armed + NEEDLESS
        case _:
            return turn.before.armed


def _unsure(turn: Turn, last: Turn | None) -> str:
    """What was not heard surely counts for sure only where it was heard so twice in a row."""
    body, event = turn.line.body, turn.event
    if isinstance(event, NoMatch) or body.get("unsure") != "true":
        return ""
    if (isinstance(event, Answer) and event.unsure) or (
        isinstance(event, Command) and event.name in HARMLESS
    ):
        return ""
    if body.get("twice") != "true":
        return "was not heard surely, and yet it counted"
    armed = heard_for(turn)
    if last is None or last.before.armed != turn.before.armed or last.line.body.get("unsure") != "true":
        return "counted as heard twice, and was not"
    first, second = (str(one.line.body["hypothesis"]) for one in (last, turn))
    likely = all(_probability(one) >= LEAST_PROBABILITY for one in (last, turn))
    return (
        ""
        if likely and same_meaning(armed_for(armed), first, second)
        else "counted as heard twice, and was not"
    )


def _probability(turn: Turn) -> float:
    scores = turn.line.body.get("scores")
    return probability_of(scores) if isinstance(scores, dict) else 0.0


def _differs(turn: Turn, meaning: Interpretation | None, *, accepted: bool) -> str:
    event = turn.event
    if isinstance(event, NoMatch):
        if event.text != turn.line.body["hypothesis"]:
            return "is not what was heard"
        if event.reason != NO_ANSWER:
            return ""  # too faint, too noisy: for another reason than its words
        return "was understood, but is recorded as a no-match" if accepted and meaning is not None else ""
    if not accepted and not (isinstance(event, Command) and event.name == "stop_work"):
        return "was not accepted by its sound, and yet it counted"
    if meaning is None:
        return "is no sentence of what was armed"
    if isinstance(event, Command):
        same = meaning.label == "command" and meaning.slot("command") == event.name
        return "" if same else "means another command"
    if isinstance(event, SetAside):
        same = meaning.label == BAY and meaning.text == turn.line.body.get("text")
        return "" if same else "does not call another tire"
    assert isinstance(event, Answer)
    slots = tuple(slot for slot in event.slots if slot[0] not in _ADDED or slot in meaning.slots)
    found = (meaning.text, meaning.label, meaning.slots, meaning.number)
    return "" if found == (event.text, event.label, slots, event.number) else "means something else"
