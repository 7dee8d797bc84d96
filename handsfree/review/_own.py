"""What belongs to each injury of a tire that has several: the unit it was repaired with, and what its limits asked.

The machine puts an injury's own facts aside for the next one; those of the repair it only replaces, since nothing is
judged by them again. A picture of each injury needs its own, so the record's events are gone through once more.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from handsfree.procedure import Book, Machine, event_from_body
from handsfree.quantity import Quantity
from handsfree.record import Line, value_of

__all__ = ["UNIT", "Own", "own_of"]

#: What is read of a repair, by how the facts are named.
UNIT = ("patch.", "stem.", "buff.")


@dataclass(frozen=True, slots=True)
class Own:
    """``unit``: what was read of its repair; ``judged``: rule -> its last verdict's line."""

    unit: dict[str, Quantity | str] = field(default_factory=dict)
    judged: dict[str, Mapping[str, object]] = field(default_factory=dict)


def own_of(book: Book, lines: Sequence[Line]) -> tuple[Own, ...]:
    """For each injury put aside, in the order of the machine's ``archived``, and last for the present one.

    ``lines``: a record in the present form, which replays. Raises EventError where it does not.
    """
    machine = Machine(book)
    present: Own = Own()
    aside: tuple[Own, ...] = ()
    state = machine.state
    # By the tuple itself: an answer taken back, and a step back, give the very one again that was there before.
    seen = {id(state.archived): (state.archived, present, aside)}
    for line in lines:
        if line.kind == "verdict":
            present.judged[value_of(line.body, "rule")] = line.body
        if line.kind != "event":
            continue
        before = state
        machine.feed(event_from_body(line.body))
        state = machine.state
        if state.archived is not before.archived:
            if id(state.archived) not in seen:
                # What the step began with: a corrected answer first undoes what it did before.
                begun = next(
                    (v.archived for v in reversed(before.path) if v.step == before.step), before.archived
                )
                _, put_aside, others = seen[id(begun)]
                every = (*others, put_aside)
                taken_up = len(state.archived) == len(begun)
                now = (every[0], every[1:]) if taken_up else (Own(), every)
                seen[id(state.archived)] = (state.archived, *now)
            _, present, aside = seen[id(state.archived)]
        for name, value in state.facts.items():
            if name.startswith(UNIT) and before.facts.get(name) is not value:
                present.unit[name] = value
    return (*aside, present)
