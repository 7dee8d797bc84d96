"""A copy of a record's lines in which nobody is named: for statistics, for a trainer, for a maker.

Persons become "person 1", "person 2", ... in the order in which they appear; a badge number, a signing key and an
enrolled voice are the person whose they are by the record. What was said in answer to the question for a badge is
withheld, as a code word is. What a record says of the tire is left as it is. The copy's hashes are those of the
original, so the chain can be checked there only.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

__all__ = ["WITHHELD_BADGE", "pseudonymised"]

Entry = dict[str, Any]

#: Stands for what was said when a badge was asked for.
WITHHELD_BADGE = "(badge)"
#: As the grammar hears them, and as the tool says them.
_DIGITS = {
    word: str(digit)
    for digit, words in enumerate("zero,oh one two three four five six seven eight nine,niner".split())  # noqa: SIM905
    for word in words.split(",")
}
_RUN = re.compile(rf"\b(?:{'|'.join(_DIGITS)})(?:\s+(?:{'|'.join(_DIGITS)}))*\b", re.I)
_BEFORE_BADGE = re.compile(r"\b(?:badge|release|reject(?:ion)?|released|rejected)\W+(?:by\W+)?$", re.I)
_ALLOWED = re.compile(r"allowed by (.+?):")
_BADGE = re.compile(r"(?:(.*), )?badge ([0-9]+)", re.DOTALL)
#: Keys that never hold a person's name; a name that looks like a unit or a step must not change them.
_LEFT = frozenset(
    re.findall(
        r"\w+",
        "seq prev hash head kind at mono_ms at_ms type step record value unit resolution measurand rule outcome"
        " severity low high margin replaces number level scores audio files schema engine",
    )
)
_SAID = ("text", "hypothesis", "heard", "instead")
#: A person's badge number ("badge", "17"), or a name, a key or a voice's hash ("name", "Mara Lindqvist").
_Token = tuple[str, str]
_Change = Callable[[str], str]


def pseudonymised(entries: Sequence[Entry]) -> list[Entry]:
    """The lines with every name, badge number, signing key and enrolled voice's hash replaced."""
    people = _numbered(entries)
    named, change = _changers(people)
    steps, said = _badge_steps(entries), _said(entries)
    found, asked = [], False
    for number, entry in enumerate(entries):
        asked = _asked(entry, steps, asked=asked)
        hide = named if _of_the_tire(entry) else change
        new = {key: value if key in _LEFT else _walk(value, hide) for key, value in entry.items()}
        if _is_badge(entries, number):
            for key in ("value", "outcome"):
                if entry.get(key):
                    new[key] = _person(people, str(entry[key]))
            if entry.get("heard"):
                new["heard"] = WITHHELD_BADGE
        elif _tells(entry, said, asked=asked):
            new.update({key: WITHHELD_BADGE for key in _SAID if entry.get(key) and _holds(entry, key, said)})
            if entry.get("words"):
                new["words"] = []  # each with its time: the number could be read off them
            new.pop("number", None)
        if entry.get("badge"):
            new["badge"] = _person(people, str(entry["badge"]), badge=True)
        if _slot(entry, "badge"):
            new["slots"] = [
                [k, _person(people, str(v), badge=k == "badge") if k in _PERSONAL else v]
                for k, v in entry["slots"]
            ]
        if entry.get("kind") == "signed":
            new["signature"] = ""  # over the original; here it would only fail
        found.append(new)
    return found


# -- who there is ------------------------------------------------------------------------------------

_PERSONAL = ("badge", "supervisor", "technician")


def _numbered(entries: Sequence[Entry]) -> dict[_Token, str]:
    """Everything that names somebody -> "person N"; what names the same person has the same N."""
    same: list[set[_Token]] = []  # in the order in which they appear
    for group in _groups(entries):
        met = [one for one in same if one & group]
        if met:
            met[0].update(group, *met[1:])
            same = [one for one in same if not any(one is other for other in met[1:])]
        else:
            same.append(set(group))
    return {token: f"person {n}" for n, one in enumerate(same, start=1) for token in one}


def _groups(entries: Sequence[Entry]) -> Iterator[set[_Token]]:
    """Line by line, what names one person."""
    working: set[_Token] = set()
    for entry in entries:
        kind = entry.get("kind")
        job = entry["job"] if isinstance(entry.get("job"), Mapping) else {}
        badge = {("badge", str(entry["badge"]))} if entry.get("badge") else set()
        groups = [_tokens(entry.get("technician")), _tokens(job.get("technician"))]
        groups += [_tokens(name) for name in _allowed(entry)]
        if kind == "technician":
            working = _tokens(entry.get("now")) | _tokens(entry.get("name")) | badge
            groups += [_tokens(entry.get("was")), working]
        elif kind == "hold_point":
            by = str(entry.get("by") or "").removeprefix("supervisor ")
            groups.append(_tokens(entry.get("name")) | (_tokens(by) if _BADGE.fullmatch(by) else set()))
        elif kind == "signed":
            groups.append(_tokens(entry.get("name")) | _tokens(entry.get("key")))
        elif kind == "voice" and entry.get("adaptation"):
            # It is the same in all jobs of a person.
            groups.append(_tokens(entry["adaptation"]) | working)
        else:
            groups.append(badge)
        slots = [_slot_tokens(pair) for pair in entry.get("slots") or () if pair[0] in _PERSONAL]
        groups.append(set().union(*slots))
        if not working:
            working = next((group for group in groups if group and kind == "open"), set())
        yield from (group for group in groups if group)


def _slot_tokens(pair: Sequence[Any]) -> set[_Token]:
    return {("badge", str(pair[1]))} if pair[0] == "badge" else _tokens(pair[1])


def _tokens(name: object) -> set[_Token]:
    """A name as it stands, and the name and the badge in it."""
    if not isinstance(name, str) or not name.strip():
        return set()
    found = {("name", name)}
    parts = _BADGE.fullmatch(name)
    if parts:
        found |= {("badge", parts[2]), *([("name", parts[1])] if (parts[1] or "").strip() else [])}
    elif name.isascii() and name.isdigit():
        found.add(("badge", name))
    return found


def _allowed(entry: Entry) -> Iterator[str]:
    for key in ("policy_moved", "exceptions"):
        for text in entry.get(key) or ():
            yield from _ALLOWED.findall(str(text))


def _person(people: Mapping[_Token, str], text: str, *, badge: bool = False) -> str:
    kinds = ("badge",) if badge else ("name", "badge")
    return next((people[kind, text] for kind in kinds if (kind, text) in people), WITHHELD_BADGE)


# -- where a badge is said ---------------------------------------------------------------------------


def _slot(entry: Entry, name: str) -> str:
    return next((str(pair[1]) for pair in entry.get("slots") or () if pair[0] == name), "")


def _is_badge(entries: Sequence[Entry], number: int) -> bool:
    """Whether a line is the reading of a badge: by its fact, or because it follows the line that signs it in."""
    entry, before = entries[number], entries[number - 1] if number else {}
    if entry.get("measurand") == "job.technician":
        return True
    signing = before.get("kind") == "technician" and before.get("step") == entry.get("step")
    return signing and entry.get("kind") == "reading" and entry.get("value") == before.get("badge")


def _of_the_tire(entry: Entry) -> bool:
    """Whether a line says what was understood or recorded of the tire, in which a number is no badge."""
    understood = entry.get("kind") == "event" and entry.get("type") == "answer"
    return (understood and not _slot(entry, "badge")) or entry.get("kind") in ("reading", "answer", "inspect")


def _badge_steps(entries: Sequence[Entry]) -> set[object]:
    """Steps that ask for a badge."""
    return {
        entry.get("step")
        for number, entry in enumerate(entries)
        if entry.get("kind") == "code"
        or (entry.get("kind") == "hold_point" and "badge" in str(entry.get("by")))
        or _is_badge(entries, number)
    }


def _said(entries: Sequence[Entry]) -> set[str]:
    """What was heard as a badge, in all its wordings: later lines repeat it."""
    answers = [entry for entry in entries if _slot(entry, "badge")]
    return {str(entry[key]).casefold() for entry in answers for key in _SAID if entry.get(key)}


def _asked(entry: Entry, steps: set[object], *, asked: bool) -> bool:
    """Whether a badge is asked for from this line on."""
    kind = entry.get("kind")
    if kind == "step":
        return entry.get("step") in steps
    if kind == "event" and entry.get("type") == "spoken" and "badge" in str(entry.get("text")).casefold():
        return True
    return asked and kind not in ("technician", "hold_point")


def _tells(entry: Entry, said: set[str], *, asked: bool) -> bool:
    """Whether somebody's words in this line may be a badge, or a part of one that was not understood."""
    if _slot(entry, "badge"):
        return True
    kind = entry.get("kind")
    # What was understood as something else is no badge.
    if _of_the_tire(entry) or (kind == "event" and entry.get("type") != "no_match"):
        return False
    words = " ".join(str(entry.get(key) or "") for key in _SAID)
    if asked and (_RUN.search(words) or re.search(r"\d", words)):
        return True
    return kind != "event" and any(str(entry.get(key) or "").casefold() in said for key in _SAID)


def _holds(entry: Entry, key: str, said: set[str]) -> bool:
    if _slot(entry, "badge"):
        return True
    text = str(entry[key])
    return text.casefold() in said or bool(_RUN.search(text) or re.search(r"\d", text))


# -- what is put in its place ------------------------------------------------------------------------


def _changers(people: Mapping[_Token, str]) -> tuple[_Change, _Change]:
    """The first replaces names, and a badge as figures after its word; the second also a badge as it is spoken."""
    names = sorted((text for kind, text in people if kind == "name"), key=len, reverse=True)
    badges = {text: person for (kind, text), person in people.items() if kind == "badge"}
    rules = [
        (re.compile(rf"(?<!\w){re.escape(name)}(?!\w)", re.IGNORECASE), people["name", name])
        for name in names
    ]
    rules += [
        (
            re.compile(rf"\b((?:badge|release|reject(?:ion)?|released|rejected)\W+(?:by )?){badge}\b", re.I),
            rf"\1{who}",
        )
        for badge, who in badges.items()
        if badge.isascii() and badge.isdigit()
    ]

    def spoken(found: re.Match[str]) -> str:
        who = badges.get("".join(_DIGITS[word] for word in found[0].casefold().split()))
        before, after = found.string[: found.start()], found.string[found.end() :]
        alone = re.match(r"[.?!,;]|$| works on\b", after) is not None  # a value has its unit after it
        begins = not before or before.rstrip()[-1:] in (".", "?", "!")
        if who and (_BEFORE_BADGE.search(before) or (alone and (begins or len(found[0].split()) > 2))):
            return who
        return found[0]

    def named(text: str) -> str:
        for pattern, instead in rules:
            text = pattern.sub(instead, text)
        return text

    return named, lambda text: _RUN.sub(spoken, named(text))


def _walk(value: Any, change: _Change) -> Any:
    if isinstance(value, str):
        return change(value)
    if isinstance(value, list):
        return [_walk(item, change) for item in value]
    if isinstance(value, Mapping):
        return {key: _walk(item, change) for key, item in value.items()}
    return value
