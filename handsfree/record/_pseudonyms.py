"""A copy of a record's lines in which nobody is named: for statistics, for a trainer, for a maker.

Persons become "person 1", "person 2", ... in the order in which they appear; badge numbers, signing keys and
enrolled voices are persons too. What a record says of the tire is left as it is. The copy's hashes are those of the
original, so the chain can be checked there only.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

__all__ = ["pseudonymised"]

Entry = dict[str, Any]

_DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_ALLOWED = re.compile(r"allowed by (.+?):")
#: Keys that hold a person, by kind of line.
_PERSONS = {
    "signed": ("name", "key"),
    "hold_point": ("name",),
    "technician": ("was", "now", "name"),
    # It is the same in all jobs of a person.
    "voice": ("adaptation",),
}
#: Keys that never hold a person's name; a name that looks like a unit or a step must not change them.
_LEFT = frozenset(
    re.findall(
        r"\w+",
        "seq prev hash head kind at mono_ms at_ms type step record value unit resolution measurand rule outcome"
        " severity low high margin replaces number level scores audio files schema engine",
    )
)


def pseudonymised(entries: Sequence[Entry]) -> list[Entry]:
    """The lines with every name, badge number, signing key and enrolled voice's hash replaced."""
    names: dict[str, str] = {}
    badges: dict[str, str] = {}
    for entry in entries:
        for name in _names(entry):
            names.setdefault(name, f"person {len(names) + len(badges) + 1}")
        for badge in _badges(entry):
            badges.setdefault(badge, f"person {len(names) + len(badges) + 1}")
    rules = [*_name_rules(names), *_badge_rules(badges)]
    return [_changed(entry, rules, badges) for entry in entries]


def _names(entry: Entry) -> Iterator[str]:
    job = entry.get("job") if isinstance(entry.get("job"), Mapping) else {}
    found = [entry.get("technician"), job.get("technician"), *_allowed(entry)]  # type: ignore[union-attr]
    found += [entry.get(key) for key in _PERSONS.get(str(entry.get("kind")), ())]
    found += [pair[1] for pair in entry.get("slots") or () if pair[0] in ("supervisor", "technician")]
    yield from (name for name in found if isinstance(name, str) and name.strip())


def _allowed(entry: Entry) -> Iterator[str]:
    for key in ("policy_moved", "exceptions"):
        for text in entry.get(key) or ():
            yield from _ALLOWED.findall(str(text))


def _badges(entry: Entry) -> Iterator[str]:
    for pair in entry.get("slots") or ():
        if pair[0] == "badge":
            yield str(pair[1])
    if entry.get("kind") in ("code", "technician") and entry.get("badge"):
        yield str(entry["badge"])


def _name_rules(names: Mapping[str, str]) -> Iterator[tuple[re.Pattern[str], str]]:
    for name in sorted(names, key=len, reverse=True):
        yield re.compile(rf"(?<!\w){re.escape(name)}(?!\w)", re.IGNORECASE), names[name]


def _badge_rules(badges: Mapping[str, str]) -> Iterator[tuple[re.Pattern[str], str]]:
    """A badge as figures after its word, and as it is spoken digit by digit wherever that stands."""
    for badge in sorted(badges, key=len, reverse=True):
        said = " ".join(_DIGITS[int(digit)] for digit in badge if digit.isascii() and digit.isdigit())
        forms = [form for form in (re.escape(badge), said) if form]
        yield (
            re.compile(rf"\b(badge|release|reject|released|rejected)( by)? (?:{'|'.join(forms)})\b", re.I),
            rf"\1\2 {badges[badge]}",
        )


def _changed(entry: Entry, rules: Sequence[tuple[re.Pattern[str], str]], badges: Mapping[str, str]) -> Entry:
    entry = {key: value if key in _LEFT else _walk(value, rules) for key, value in entry.items()}
    if entry.get("badge"):
        entry["badge"] = badges.get(entry["badge"], "")
    if entry.get("slots") and any(pair[0] == "badge" for pair in entry["slots"]):
        entry["slots"] = [[k, badges.get(v, v) if k == "badge" else v] for k, v in entry["slots"]]
        entry["words"] = []  # each with its time: the number could be read off them
    if entry.get("kind") == "signed":
        entry["signature"] = ""  # over the original; here it would only fail
    return entry


def _walk(value: Any, rules: Sequence[tuple[re.Pattern[str], str]]) -> Any:
    if isinstance(value, str):
        for pattern, instead in rules:
            value = pattern.sub(instead, value)
        return value
    if isinstance(value, list):
        return [_walk(item, rules) for item in value]
    if isinstance(value, Mapping):
        return {key: _walk(item, rules) for key, item in value.items()}
    return value
