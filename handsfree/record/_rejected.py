"""A job that a supervisor rejected: what it is called from then on, and how the work goes on.

Nothing may follow a signature: the job stays closed.
"""

from __future__ import annotations

import hashlib
import shlex
from collections.abc import Mapping, Sequence
from typing import Any, TypeVar

from ._wording import items, joined, last_signed, value_of

__all__ = ["REJECTED", "as_it_stands", "how_to_do_again", "rejection", "why_rejected"]

#: The disposition of such a job, wherever one is shown.
REJECTED = "rejected when it was reviewed"

#: The hash of the policy file of a job without one, which is empty.
_NO_POLICY = hashlib.sha256(b"").hexdigest()

#: Recognizers that must be named: a job is begun with another one where none is.
_OTHER_ENGINES = frozenset({"vosk", "typed"})

_Row = TypeVar("_Row", bound=Mapping[str, Any])


def rejection(rows: Sequence[_Row]) -> _Row | None:
    """The last decision, where it is to reject; None where it is another, or nobody decided."""
    last = last_signed(rows)
    return last if last is not None and value_of(last, "decision") == "reject" else None


def why_rejected(rows: Sequence[Mapping[str, Any]]) -> str:
    """The reason of the rejection that counts and what to do again; "" where there is none."""
    rejected = rejection(rows)
    if rejected is None:
        return ""
    again = "; ".join(items(rejected, "redo"))
    return joined(value_of(rejected, "reason"), again and f"do again: {again}", sep="; ")


def as_it_stands(rows: Sequence[Mapping[str, Any]], ended: str) -> str:
    """The disposition by which a record is known: ``ended``, which its work came to, never before a rejection."""
    return f"{REJECTED}; the work had ended with: {ended}" if rejection(rows) is not None else ended


def how_to_do_again(rows: Sequence[Mapping[str, Any]]) -> str:
    """What to do, with the command, where the last decision is a rejection; "" where it is not.

    ``rows``: a record's lines, in order.
    """
    if rejection(rows) is None:
        return ""
    opened = rows[0]
    procedure = value_of(opened, "procedure")
    # Not a real job in the place of one that was practice.
    command = "handsfree run --practice" if value_of(opened, "practice") else "handsfree run"
    command += f" --procedure {shlex.quote(procedure)}" if procedure else ""
    engine = value_of(opened, "engine")
    command += f" --engine {shlex.quote(engine)}" if engine in _OTHER_ENGINES else ""
    files = _files(opened)
    command += "".join(f" {option}" for option in files)
    where = f" ({', '.join(files.values())})" if files else ""
    return f"a rejected job stays closed; do the work again as a new job, by the same work order: {command}{where}"


def _files(opened: Mapping[str, Any]) -> dict[str, str]:
    """The options with the files that the job was begun with, and what the record knows of them: without the shop's
    nobody is asked for a code word, and without the policy other limits hold."""
    found = {}
    if value_of(opened, "shop_sha256") or value_of(opened, "shop"):
        name = value_of(opened, "shop")
        found["--shop SHOP.toml"] = f"SHOP.toml: the shop file{f' of {name}' if name else ''}"
    if value_of(opened, "policy_sha256") not in ("", _NO_POLICY):
        found["--policy POLICY.toml"] = "POLICY.toml: the policy, a copy of which is the job's policy.toml"
    return found
