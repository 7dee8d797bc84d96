"""A supervisor's decision as the record's next line, signed; and what such lines are worth.

The signature is over the line itself without ``hash`` and ``signature``, in RFC 8785 form. ``prev`` is part of
it, and so is every byte above. What the record can't show by itself is a signature line that was cut off its
end: that is why the shop's folder of keys keeps a list of what was signed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import rfc8785

from ._check import OLDER, STRANGER, Finding
from ._clocks import behind, second_of
from ._errors import RecordError
from ._files import explain
from ._keys import Key, public_keys, verified
from ._line import Json, Line
from ._listed import SIGNED_LIST, be_ready, note, noted
from ._log import JobLog, system_clock
from ._named import check_listed_name
from ._read import LogRead

__all__ = ["DECISIONS", "Decision", "check_overturned", "check_signatures", "sign"]

DECISIONS = ("accept", "concession", "reject")
#: What may follow a signature: another one, and sound that the privacy policy drops.
_MAY_FOLLOW = ("signed", "audio_dropped")


@dataclass(frozen=True, slots=True)
class Decision:
    """``decision`` is accept, concession (``reason`` needed) or reject (``reason`` and ``redo`` needed).
    An accept that follows a rejection needs its ``reason`` too."""

    decision: str
    reason: str = ""
    redo: tuple[str, ...] = ()

    def check(self) -> None:
        """Raises RecordError for a decision that lacks its reason or what to redo."""
        if self.decision not in DECISIONS:
            raise RecordError(f"{self.decision!r} is no decision; choose one of {', '.join(DECISIONS)}")
        if self.decision != "accept" and not self.reason.strip():
            raise RecordError(
                f'a decision {self.decision!r} needs a reason in words: --{self.decision} "WHY"; nothing was signed'
            )
        if self.decision == "reject" and not any(text.strip() for text in self.redo):
            raise RecordError("a rejection must say what to do again; give it with --redo")
        if self.decision != "reject" and self.redo:
            raise RecordError("only a rejection asks for something to be done again; leave --redo out")


def check_overturned(lines: Sequence[Line], decision: Decision) -> None:
    """Raises RecordError for an acceptance without a reason where the last decision, be it anybody's, was to
    reject: whoever reads the record must see why that no longer holds."""
    last = next((line for line in reversed(lines) if line.kind == "signed"), None)
    if last is None or last.body.get("decision") != "reject" or decision.decision == "reject":
        return
    if not decision.reason.strip():
        raise RecordError(
            f"{last.body.get('name')} rejected this job on {last.at[:10]}; "
            "to accept it nevertheless say why, with --reason"
        )


def sign(log: JobLog, key: Key, name: str, decision: Decision, keys: Path) -> Line:
    """Append the signed decision, and note it in the shop's list. The caller has audited the record before.

    ``name``: who the key belongs to by the shop's folder ``keys``. Signatures of the record that the list lacks are
    noted too. Whoever decides once more what is the record's last line already signs nothing: that line is noted and
    returned where the list lacked it, else it is an error.

    Raises RecordError: nothing was signed, unless it says that only the list lacks the line (the disk filled up).
    """
    decision.check()
    check_overturned(log.lines, decision)
    try:
        be_ready(keys)
    except OSError as error:
        raise explain(
            f"nothing was signed, for it can't be noted in {keys / SIGNED_LIST}", error, folder=False
        ) from None
    listed = {row.line for row in noted(keys)[0]}
    lacking = [line for line in log.lines if line.kind == "signed" and line.hash not in listed]
    last = log.lines[-1]
    if _says(last) == (key.public, decision.decision, decision.reason.strip(), list(decision.redo)):
        if last not in lacking:
            raise RecordError(
                f"{log.folder.name} has that already: {decision.decision} by {name} on {last.at[:10]}, line "
                f"{last.seq + 1}, its last; nothing was signed"
            )
        note(keys, log.folder.resolve().name, log.lines[0].hash, lacking)
        return last
    at, mono_ms = system_clock()
    last_at = behind([line.entry for line in log.lines], at)
    if last_at:
        raise RecordError(
            f"the computer's clock says {second_of(at)}, and the record's last line is of {second_of(last_at)}: set "
            "the clock right, or sign when it is past that; nothing was signed"
        )
    entry: dict[str, Json] = {
        "kind": "signed",
        "at": at,
        "mono_ms": mono_ms,
        "decision": decision.decision,
        "reason": decision.reason.strip(),
        "redo": list(decision.redo),
        "name": name,
        "key": key.public,
    }
    message = rfc8785.dumps({**entry, "seq": len(log.lines), "prev": log.head})
    line = log.append([{**entry, "signature": key.sign(message)}])[0]
    note(keys, log.folder.resolve().name, log.lines[0].hash, [*lacking, line])
    return line


def _says(line: Line) -> tuple[object, ...]:
    """Who decided what, of a signature's line; nothing of another one."""
    return (
        tuple(line.body.get(k) for k in ("key", "decision", "reason", "redo"))
        if line.kind == "signed"
        else ()
    )


def _message(line: Line) -> bytes:
    return rfc8785.dumps({k: v for k, v in line.entry.items() if k not in ("hash", "signature")})


def check_signatures(read: LogRead, keys: Path | None) -> tuple[list[Finding], str]:
    """Findings about a record's signatures, and who signed and how, the last one first, "" for nobody. Raises
    RecordError for a folder of keys that can't be read.

    Without ``keys`` only that each signature is of the key it names, and that nothing came after it.
    """
    known = None if keys is None else public_keys(keys)
    found = []
    told: list[str] = []
    for number, line in zip(read.numbers, read.lines, strict=True):
        if line.kind == "signed":
            why, what, sort = _fault(line, known, keys)
            told.insert(0, what)
            if why:
                found.append(Finding("signed", number, why, sort=sort))
        elif told and line.kind not in _MAY_FOLLOW:
            found.append(
                Finding("signed", number, f"a line of kind {line.kind} was added after the signature")
            )
    if keys is not None:
        found += [*_missing(read, keys), *_not_noted(read, keys, known or {})]
        found += check_listed_name(read, noted(keys)[0])
    return found, "; before: ".join(told)


def _fault(line: Line, known: Mapping[str, str] | None, keys: Path | None) -> tuple[str, str, str]:
    """What is wrong with a signature, what it says, and the finding's sort."""
    key, signature = (str(line.body.get(k, "")) for k in ("key", "signature"))
    owner = str(line.body.get("name", "")) if known is None else known.get(key, "")
    who = owner or f"an unknown key {key[:16]}"
    told = f"{line.body.get('decision')} by {who} on {line.at[:10]}"
    if not verified(key, signature, _message(line)):
        return f"the signature is false ({told})", f"FALSE SIGNATURE, {told}", ""
    if not owner:
        why = (
            f"signed with a key that is not in the shop's folder {keys}: {key[:16]}, as {line.body.get('name')}; the "
            "signature fits the record, but whose it is can't be told"
        )
        return why, told, STRANGER
    if line.body.get("name") != owner:
        return f"signed as {line.body.get('name')}, with the key of {owner}", told, ""
    return "", told, ""


def _not_noted(read: LogRead, keys: Path, known: Mapping[str, str]) -> Iterator[Finding]:
    """Good signatures that the shop's list lacks: were they cut off, nobody could tell."""
    listed = {row.line for row in noted(keys)[0]}
    there = (keys / SIGNED_LIST).exists()
    for number, line in zip(read.numbers, read.lines, strict=True):
        if line.kind != "signed" or line.hash in listed or _fault(line, known, keys)[0]:
            continue
        told = (
            f"the signature is not in {keys / SIGNED_LIST}: were it cut off, nobody could tell; give its sign "
            "command again, which puts it in"
        )
        # Public keys alone, without the list, are what somebody outside the shop is given.
        yield Finding("signed", number, told, "warn" if there else "note")


def _missing(read: LogRead, keys: Path) -> list[Finding]:
    """Signatures of this job that the shop's list knows and the record does not."""
    if not read.lines:
        return []
    here = {line.hash for line in read.lines}
    rows, torn = noted(keys)
    cut = f"the shop's {SIGNED_LIST} is cut off at line {torn}: a signature may not be noted in it"
    found = [Finding("signed", 0, cut, "warn")] if torn else []
    lacking = [row for row in rows if row.job == read.lines[0].hash and row.line not in here]
    if lacking:
        when = ", ".join(f"on {row.day} ({row.decision})" for row in lacking)
        what = "line" if len(lacking) == 1 else "lines"
        told = f"it was signed {when}, and this record does not hold the {what}"
        found.append(Finding("signed", 0, f"{told}: an older copy, or its end was cut off", sort=OLDER))
    return found
