"""What was signed, by whom, and whether that still holds. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from handsfree.record import NAMED, OLDER, Finding, items, line_of, value_of

from ._clock import Clock
from ._source import Source

__all__ = ["Signature", "signature_state", "signatures_of", "unsigned"]

_DONE = {"accept": "Accepted", "concession": "Accepted by concession", "reject": "Rejected"}


@dataclass(frozen=True, slots=True)
class Signature:
    """One signed decision. ``tone``: yes, look or no; ``proof``: what the signature is worth, in words."""

    seq: str
    tone: str
    told: str
    proof: str
    reason: str = ""
    redo: Sequence[str] = ()


def signatures_of(source: Source, clock: Clock) -> list[Signature]:
    """Every signature of the record, the last one first: that is the one that counts."""
    found = []
    for row in source.rows:
        if row.get("kind") != "signed":
            continue
        seq, decision, number = value_of(row, "seq"), value_of(row, "decision"), line_of(row)
        about = [one for one in source.findings if one.check == "signed" and one.line == number]
        tone, proof = _worth(source, about)
        tone = {"reject": "no", "accept": tone}.get(decision, tone if tone == "no" else "look")
        told = f"{_DONE.get(decision, decision)} by {value_of(row, 'name')} on {clock.both(row)}"
        found.append(Signature(seq, tone, told, proof, value_of(row, "reason"), items(row, "redo")))
    return found[::-1]


def _worth(source: Source, about: Sequence[Finding]) -> tuple[str, str]:
    """``about``: what was found of this signature. That the shop's list lacks it makes it no worse by itself."""
    faults = [one.message for one in about if one.severity == "error"]
    if faults:
        return "no", f"Do not rely on it: {'; '.join(faults)}."
    if source.changed and not source.altered:
        wrong = any(one.sort == NAMED for one in source.damage)
        why = "this is another job\u2019s folder" if wrong else "another copy of the job was signed after it"
        return "look", f"As it was signed, but do not rely on it: {why}."
    if source.changed:
        return (
            "no",
            "Do not rely on it: what stands here is not what was signed, or can\u2019t be read any more.",
        )
    if source.keys is None:
        return "look", "The shop\u2019s public keys were not given: whose signature it is was not verified."
    proof = ["Verified against the shop\u2019s public keys.", *(f"But {one.message}." for one in about)]
    return "look" if any(one.severity == "warn" for one in about) else "yes", " ".join(proof)


def unsigned(source: Source, *, closed: bool) -> str:
    """What is said where the record holds no signature."""
    if any(one.sort == OLDER for one in source.findings):
        return "The signatures that the shop's list has for this job are not in this record."
    return "Nobody has signed this job yet." if closed else "Not signed: the job is not finished."


def signature_state(source: Source) -> str:
    """In a word or two, for an index."""
    signed = [value_of(row, "decision") for row in source.rows if row.get("kind") == "signed"]
    decision = signed[-1] if signed else ""
    if source.newer:
        return "older copy"
    if any(one.sort == OLDER for one in source.findings):
        if decision and not source.altered:
            return "older copy"
        # Of a copy nobody can tell whether it ever held one, but by the one beside it that does.
        return f"not signed, as {source.twin} is" if source.twin else "its signature is not here"
    if not decision:
        return "not signed"
    if source.damage:
        return "signed, changed since" if source.changed else "signed by an unknown key"
    state = {"accept": "accepted", "concession": "concession", "reject": "rejected"}.get(decision, decision)
    return state if source.keys is not None else f"{state}, not verified"
