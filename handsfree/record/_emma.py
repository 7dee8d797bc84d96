"""What was heard and understood as EMMA 1.0 (W3C Recommendation, 10 February 2009).

The namespace and the names of its elements and attributes were checked; the rules below are from memory: one
document holds one ``emma:sequence``, an interpretation without meaning is empty and marked
``emma:uninterpreted`` or ``emma:no-input``, times are milliseconds since 1970. ``emma:one-of`` does not occur:
the recognizers give one hypothesis an utterance.
An id names the record's line, counted from one. ``emma:confidence`` neither: it is between 0 and 1, and no
engine here gives a probability; the scores stay in the record.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any
from xml.etree import ElementTree as ET

__all__ = ["EMMA", "JOB", "emma"]

EMMA = "http://www.w3.org/2003/04/emma"
#: Namespace of what is understood: labels, slots, numbers.
JOB = "urn:x-handsfree:job"

_HEARD = ("answer", "command", "no_match", "no_input")
#: Characters that XML 1.0 has no form for.
_NO_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def emma(entries: Sequence[Mapping[str, Any]], damage: Sequence[tuple[int, str]] = ()) -> str:
    """The utterances of a record, in order, as an EMMA document.

    ``damage``: line (0: none) and words of each thing that makes the record untrustworthy, as ``emma:info``.
    """
    ET.register_namespace("emma", EMMA)
    ET.register_namespace("job", JOB)
    root = ET.Element(_emma("emma"), {"version": "1.0"})
    if damage:
        info = ET.SubElement(root, _emma("info"))
        for line, told in damage:
            ET.SubElement(info, f"{{{JOB}}}damage", {"line": str(line)} if line else {}).text = _text(told)
    sequence = ET.SubElement(root, _emma("sequence"), {"id": "job"})
    for entry in entries:
        if entry["kind"] == "event" and entry.get("type") in _HEARD:
            _interpretation(sequence, entry)
    ET.indent(root)
    return ET.tostring(root, encoding="unicode", xml_declaration=True) + "\n"


def _emma(name: str) -> str:
    return f"{{{EMMA}}}{name}"


def _text(value: object) -> str:
    return _NO_XML.sub("\ufffd", str(value))


def _interpretation(parent: ET.Element, entry: Mapping[str, Any]) -> None:
    kind = entry["type"]
    one = ET.SubElement(parent, _emma("interpretation"), {"id": f"line{entry['seq'] + 1}"})
    for name, value in _annotations(entry).items():
        one.set(_emma(name), _text(value))
    if kind == "answer":
        _answer(one, entry)
    elif kind == "command":
        ET.SubElement(one, f"{{{JOB}}}command", {"name": _text(entry["name"])})


def _annotations(entry: Mapping[str, Any]) -> dict[str, object]:
    end = int(entry["at_ms"])
    if entry["type"] == "no_input":
        return {"no-input": "true", "end": end}
    words = entry.get("words") or ()
    spoken_ms = int(1000 * max((float(word["end_s"]) for word in words), default=0.0))
    typed = entry.get("engine") == "typed"
    found: dict[str, object] = {
        "medium": "tactile" if typed else "acoustic",
        "mode": "keys" if typed else "voice",
        "function": "dialog",
        "verbal": "true",
        "start": max(
            0, end - spoken_ms
        ),  # the sound's length by its last word; ``end``: when it was understood
        "end": end,
        "tokens": entry.get("hypothesis", entry.get("text", "")),
        "process": f"urn:x-handsfree:engine:{re.sub('[^A-Za-z0-9.-]', '-', str(entry.get('engine', '')))}",
    }
    if entry.get("audio"):
        found["signal"] = entry["audio"]
    if entry["type"] == "no_match":
        found["uninterpreted"] = "true"
    return found


def _answer(parent: ET.Element, entry: Mapping[str, Any]) -> None:
    answer = ET.SubElement(parent, f"{{{JOB}}}answer", {"label": _text(entry["label"])})
    number = entry.get("number")
    if number:
        keys = ("value", "resolution", "spelled")
        ET.SubElement(answer, f"{{{JOB}}}number", {key: _text(number[key]) for key in keys})
    for name, value in entry.get("slots") or ():
        ET.SubElement(answer, f"{{{JOB}}}slot", {"name": _text(name)}).text = _text(value)
