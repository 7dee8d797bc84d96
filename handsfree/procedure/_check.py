"""Proving a procedure before anyone works by it. Pure: the dictionary comes in as a function."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import combinations, islice

from handsfree import limits
from handsfree.grammar import Armed, GrammarError
from handsfree.limits import LimitsError, MissingFact
from handsfree.procedure._derived import (
    ADVICE,
    DERIVED,
    GIVEN_BY_DESIGNATION,
    REASONS,
    SPACING_NEEDS,
    belongs,
)
from handsfree.procedure._flow import decoys, next_pass
from handsfree.procedure._model import (
    Caution,
    Choice,
    CountPasses,
    Do,
    HoldPoint,
    Inspect,
    Procedure,
    Reading,
    Step,
    Wait,
    finds,
)
from handsfree.procedure._sounds import TOO_ALIKE, Pronounce, alike
from handsfree.procedure._state import Mode
from handsfree.procedure._trial import Arms, needs
from handsfree.procedure._turn import COMMANDS
from handsfree.quantity import UNITS

__all__ = ["armed_pairs", "check", "vocabulary"]

_MOST_SENTENCES = 64  # an answer with more sentences is a number, told apart by reading back


def check(procedure: Procedure, library: Arms, pronounce: Pronounce) -> list[str]:
    """Every fault found, one line each; an empty list is the proof.

    ``pronounce`` gives a word's pronunciations (CMU phones), none for a word the recognizer does not know.
    """
    found: list[str] = []
    for test in (
        _reach,
        _ends,
        _stands,
        _rules,
        _advice,
        _facts_first,
        _judged_again,
        _cautions_first,
        _unconfirmed,
    ):
        found += test(procedure)
    found += _grammars(procedure, library)
    if not found:
        found += _units(procedure, library)
        found += _words(procedure, library, pronounce)
    return found


def _reached(
    procedure: Procedure, without: frozenset[str] = frozenset(), also_from: Iterable[str] = ()
) -> set[str]:
    """Steps and endings that can be come to without entering any of ``without``."""
    seen: set[str] = set()
    todo = [procedure.step[0].id, *also_from]
    while todo:
        one = todo.pop()
        if one in seen or one in without:
            continue
        seen.add(one)
        if procedure.end(one) is None:
            todo += procedure.ways(one)
    return seen


def _reach(procedure: Procedure) -> Iterator[str]:
    reached = _reached(procedure)
    for name in [s.id for s in procedure.step] + [e.id for e in procedure.ending]:
        if name not in reached:
            yield f"{name}: can't be reached from the first step"


def _ends(procedure: Procedure) -> Iterator[str]:
    """A step from which no ending can be reached keeps a technician for ever."""
    good = {e.id for e in procedure.ending}
    grew = True
    while grew:
        more = {s.id for s in procedure.step if s.id not in good and procedure.ways(s.id) & good}
        grew = bool(more)
        good |= more
    for step in procedure.step:
        if step.id not in good:
            yield f"{step.id}: no ending can be reached from here"


def _stands(procedure: Procedure) -> Iterator[str]:
    """What stood against the tire and no longer does must have somebody who can release it, and the bay's conditions
    are measured again before anything is released."""
    released = {ending.id for ending in procedure.ending if ending.released}
    finding = next((step.id for step in procedure.step if finds(step)), "")
    if finding and released and not procedure.corrected:
        yield (
            f"{finding}: what is found there by mistake and corrected could never be released; "
            'name a supervisor\'s hold point, corrected = "..."'
        )
    for step in procedure.step:
        if isinstance(step, Reading) and step.ambient:
            after = procedure.after(step.id, "outside")
            if released & {after, *procedure.reached_from(after, without=step.id)}:
                yield f"{step.id}: ambient, but after outside a release is reached without measuring it again"


def _uses(step: Step) -> Iterator[tuple[str, str]]:
    """Limit rules a step names, with the kind of answer it needs from each."""
    if isinstance(step, Reading | Choice):
        fits = step.fits if isinstance(step, Reading) else ()
        yield from ((rule, "verdict") for rule in (*step.limits, *fits))
    elif isinstance(step, CountPasses):
        yield step.rule, "count"
    elif isinstance(step, Wait):
        yield step.rule, "window"


def _rules(procedure: Procedure) -> Iterator[str]:
    for step in procedure.step:
        for name, kind in _uses(step):
            try:
                rule = limits.rule(name)
            except LimitsError as error:
                yield f"{step.id}: {error}"
                continue
            if rule.kind != kind:
                yield f"{step.id}: rule {name} gives a {rule.kind}, a {kind} is needed"


def needed_facts(rule_id: str) -> set[str]:
    """Facts without which a rule can't answer, found by leaving each out of the rule's own worked example."""
    rule = limits.rule(rule_id)
    needed = set()
    for fact in rule.example:
        rest = {key: value for key, value in rule.example.items() if key != fact}
        try:
            limits.answer(rule_id, rest)
        except MissingFact:
            needed.add(fact)
        except LimitsError:
            pass
    return needed


def _facts_first(procedure: Procedure) -> Iterator[str]:
    """Every fact that a rule, an advice or a disposition needs is read on every way to the step that uses it."""
    several = any(
        option.archive == "injury"
        for step in procedure.step
        if isinstance(step, Choice)
        for option in step.options
    )
    for step in procedure.step:
        own = step.fact if isinstance(step, Reading | Choice) else None
        for what, needed in _wants(step, several):
            for fact in sorted(_read_for(procedure, needed) - {own, "today"}):
                without = frozenset(_givers(procedure, fact))
                if step.id in _reached(procedure, without, _forgotten_at(procedure, fact)):
                    yield f"{step.id}: {what} needs {fact}, which is not read on every way here"


def _wants(step: Step, several: bool) -> Iterator[tuple[str, set[str]]]:
    """What a step computes, and the facts it needs for that."""
    for rule, _ in _uses(step):
        try:
            yield f"rule {rule}", needed_facts(rule)
        except LimitsError:
            continue  # an unknown rule is told elsewhere
    for name in step.advice:
        if name in ADVICE:
            yield f"advice {name}", set(ADVICE[name].needs)
    if isinstance(step, HoldPoint) and step.by == "disposition":
        if step.judges == "tire":
            yield "the disposition", set(limits.dispose({}).missing)
        if several:
            yield "the distance between injuries", set(SPACING_NEEDS)


def _judged_again(procedure: Procedure) -> Iterator[str]:
    """A fact that is read once more may change how an earlier reading is judged: where that reading is not made anew
    on every way on to a release, its rules are judged again by the step that reads the fact."""
    readings = [step for step in procedure.step if isinstance(step, Reading)]
    released = {ending.id for ending in procedure.ending if ending.released}
    for step in readings:
        twice = [one for one in readings if one.fact == step.fact]
        for part in readings:
            before = any(part.id in procedure.reached_from(one.id) for one in twice)
            if part.fact == step.fact or not before or step.id not in procedure.reached_from(part.id):
                continue
            if not released & procedure.reached_from(step.id, without=part.id):
                continue
            for rule in part.limits:
                named = rule in (*step.limits, *step.fits)
                if not named and step.fact in _known_by(rule):
                    yield f"{step.id}: {rule} of {part.id} depends on it; name it in limits or fits"


def _known_by(rule: str) -> frozenset[str]:
    """The facts a rule depends on, none for an unknown rule: that is told elsewhere."""
    try:
        return needs(rule)
    except LimitsError:
        return frozenset()


def _read_for(procedure: Procedure, needed: set[str]) -> set[str]:
    """The facts to be read for the facts needed: what no step gives but arithmetic does is traced back."""
    found: set[str] = set()
    for fact in needed:
        derived = fact in DERIVED and not _givers(procedure, fact)
        found |= set(DERIVED[fact]) if derived else {fact}
    return found


def _advice(procedure: Procedure) -> Iterator[str]:
    for step in procedure.step:
        for name in step.advice:
            if name not in ADVICE and name != REASONS:
                yield f"{step.id}: no advice {name!r}; there is {', '.join(sorted(ADVICE))}"


def _givers(procedure: Procedure, fact: str) -> set[str]:
    """The steps after which a fact is known."""
    return {
        step.id
        for step in procedure.step
        if isinstance(step, Reading | Choice)
        and (step.fact == fact or (_designates(step) and fact in GIVEN_BY_DESIGNATION))
    }


def _designates(step: Step) -> bool:
    return isinstance(step, Reading) and step.form == "designation"


def _forgotten_at(procedure: Procedure, fact: str) -> list[str]:
    """Where the work goes on after an answer that puts the fact aside with its group."""
    return [
        procedure.after(step.id, option.id)
        for step in procedure.step
        if isinstance(step, Choice)
        for option in step.options
        if option.archive and belongs(fact, option.archive)
    ]


def _cautions_first(procedure: Procedure) -> Iterator[str]:
    for caution in procedure.step:
        if isinstance(caution, Caution):
            around = _reached(procedure, frozenset({caution.id}))
            for guarded in caution.guards:
                if guarded in around:
                    yield f"{guarded}: can be reached without caution {caution.id}"


def _unconfirmed(procedure: Procedure) -> Iterator[str]:
    """An answer counts without a read-back only where nothing hangs from it: it is kept as no fact, judged by no
    limit, and leads the same way as the others or is held against what is known (an injury left to repair)."""
    for step in procedure.step:
        if not isinstance(step, Choice) or step.confirm:
            continue
        ways = {procedure.after(step.id, option.id) for option in step.options}
        checked = all(option.all_of or option.recall for option in step.options)
        if step.fact or step.limits or any(option.scrap for option in step.options):
            yield f"{step.id}: its answer is kept or judged, so it must be confirmed; take out confirm = false"
        elif len(ways) > 1 and not checked:
            yield f"{step.id}: its answers lead different ways, so they must be confirmed; take out confirm = false"


def _units(procedure: Procedure, library: Arms) -> Iterator[str]:
    """A reading's own unit, the units that can be said for it and what its fact is must be of one kind."""
    for step in procedure.step:
        if not isinstance(step, Reading) or not step.unit:
            continue
        kind = UNITS[step.unit].kind
        known = limits.MEASURANDS.get(step.fact)
        if known is not None and known.kind != kind:
            yield f"{step.id}: unit {step.unit!r} does not fit {step.fact}, a {known.kind}; give it in {known.unit}"
        for said in sorted(library.arm({"x": f"<{step.grammar}>"}).slot_values("unit")):
            if said not in UNITS or UNITS[said].kind != kind:
                yield f"{step.id}: {step.grammar} lets {said!r} be said, which does not fit its unit {step.unit!r}"


def _answers(procedure: Procedure, step: Step) -> str:
    """The JSGF expansion that answers a step, "" for a step without an answer."""
    match step:
        case Reading():
            return f"<{step.grammar}>"
        case Choice():
            return " | ".join(f"({option.say}) {{option={option.id}}}" for option in step.options)
        case Do():
            return step.answer
        case Inspect():
            return "<answers.finding>"
        case CountPasses():
            return next_pass(0)
        case Caution():
            return step.read_back
        case HoldPoint(by="supervisor"):
            return "<answers.supervisor_release>"
        case _:
            return ""


def _commands() -> str:
    return " | ".join([*(f"<commands.{name}>" for name in COMMANDS[Mode.ASKING]), "<commands.bay>"])


def _grammars(procedure: Procedure, library: Arms) -> Iterator[str]:
    for step in procedure.step:
        expansion = _answers(procedure, step)
        if not expansion:
            continue
        try:
            library.arm({"command": _commands(), "answer": expansion})
        except GrammarError as error:
            yield f"{step.id}: {error}"


def _finite(library: Arms, expansion: str) -> list[str]:
    """All sentences of an expansion when they are few; [] when it is a number."""
    sentences = list(islice(library.arm({"x": expansion}).sentences(), _MOST_SENTENCES + 1))
    return sentences if len(sentences) <= _MOST_SENTENCES else []


def _together(procedure: Procedure, step: Step, library: Arms) -> tuple[Armed, list[str]] | None:
    """What a step arms, and its sentences that must be told apart. None for a step without an answer."""
    expansion = _answers(procedure, step)
    if not expansion:
        return None
    labels = {"command": _commands(), "answer": expansion}
    if isinstance(step, Caution):  # a wrong read-back must not pass for the right one
        labels["decoy"] = decoys(procedure, step.read_back)
    # Numbers may sound alike: a reading is read back, and only the next pass counts.
    sentences = [] if isinstance(step, CountPasses | Reading) else _finite(library, expansion)
    sentences += _finite(library, labels["decoy"]) if "decoy" in labels else []
    return library.arm(labels), sentences


#: Armed in any procedure, beside its own answers.
_ALWAYS = ("commands.command", "commands.bay", "answers.yes_no", "answers.badge", "answers.dispose")


def vocabulary(procedure: Procedure, library: Arms) -> frozenset[str]:
    """Every word that may be armed in a job by this procedure; an added shop's code words are not among them."""
    found = set(library.arm({"always": " | ".join(f"<{rule}>" for rule in _ALWAYS)}).words())
    for step in procedure.step:
        together = _together(procedure, step, library)
        found |= together[0].words() if together is not None else set()
    return frozenset(found)


def armed_pairs(procedure: Procedure, library: Arms) -> Iterator[tuple[str, str, str]]:
    """(step, one, other) for any two sentences of different meaning that are armed together, commands too."""
    commands = _finite(library, _commands())
    for step in procedure.step:
        together = _together(procedure, step, library)
        if together is not None:
            armed, sentences = together
            meaning = {sentence: _meaning(armed, sentence) for sentence in {*commands, *sentences}}
            for one, other in combinations(sorted(meaning), 2):
                # Two ways to say one thing ("hold", "hold work") may sound as alike as they like.
                if meaning[one] != meaning[other]:
                    yield step.id, one, other


def _words(procedure: Procedure, library: Arms, pronounce: Pronounce) -> Iterator[str]:
    """Unknown words, one sentence with two meanings, and answers that sound alike."""
    commands = _finite(library, _commands())
    named: set[str] = set()
    for step in procedure.step:
        together = _together(procedure, step, library)
        if together is None:
            continue
        armed, sentences = together
        for word in sorted(armed.words()):
            if word not in named and not pronounce(word):
                named.add(word)
                yield f"{step.id}: the recognizer does not know {word!r}; add it to pronunciations.dict"
        for sentence in sentences:
            if len(armed.interpretations(sentence)) > 1:
                yield f"{step.id}: {sentence!r} has two meanings"
        yield from (f"{step.id}: {text}" for text in _too_alike(armed, commands, sentences, pronounce))


def _too_alike(
    armed: Armed, commands: Iterable[str], answers: Iterable[str], pronounce: Pronounce
) -> Iterator[str]:
    for one, other, nearness in alike({*commands, *answers}, pronounce):
        if _meaning(armed, one) != _meaning(armed, other):  # as in armed_pairs
            wanted = f"at least {TOO_ALIKE:.1f} wanted"
            yield f"{one!r} and {other!r} sound alike (distance {nearness:.1f}, {wanted})"


def _meaning(armed: Armed, sentence: str) -> object:
    meaning = armed.interpret(sentence)
    return meaning and (meaning.label, meaning.slots, meaning.number and meaning.number.value)
