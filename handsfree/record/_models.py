"""Every kind of line of a record, as models: what the format is, and what its JSON Schema is made from.

Values are strings: a number is exactly the digits that were spoken, "" where there is none. ``python -m
handsfree.record._models`` prints the schema that is kept beside this file.
"""

from __future__ import annotations

import json
from functools import cache
from typing import Annotated, Any, Literal

import rfc8785
from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from ._line import GENESIS
from ._migrate import SCHEMA

__all__ = ["misfit", "schema_text"]

Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Moment = Annotated[str, Field(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z$")]
Whole = Annotated[str, Field(pattern=r"^[0-9]+$")]
Milliseconds = Annotated[str, Field(pattern=r"^-?[0-9]+$")]
Truth = Literal["true", "false"]
Audio = Annotated[str, Field(pattern=r"^audio/[0-9]{4,}-[0-9a-f]{32}\.(flac|wav)$")]
#: "withheld" stands for sound that must not be kept: a code word.
Kept = Annotated[str, Field(pattern=r"^(audio/[0-9]{4,}-[0-9a-f]{32}\.(flac|wav)|withheld)$")]
Replaces = Annotated[
    str, Field(pattern=r"^([0-9]+)?$", description="the record number it replaces, or empty")
]


class _Line(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    seq: Annotated[int, Field(ge=0, description="0, 1, 2, ...")]
    prev: Annotated[Sha256, Field(description=f"hash of the line before; {GENESIS[:4]}... for the first")]
    hash: Annotated[Sha256, Field(description="SHA-256 of the line's RFC 8785 form without this key")]
    at: Annotated[Moment, Field(description="wall time when it was written, RFC 3339, UTC")]
    mono_ms: Annotated[int, Field(description="the computer's monotonic clock; compares within one session")]


class Open(_Line):
    """The first line: who, what by, and every file and program it depends on, pinned by hash. Further keys are
    texts; ``about`` names those that were given to the machine."""

    model_config = ConfigDict(extra="allow", frozen=True)
    __pydantic_extra__: dict[str, str] = Field(init=False)  # pydantic reads the type of further keys here

    kind: Literal["open"]
    schema_: Annotated[Literal["2"], Field(alias="schema")] = "2"
    tool: str
    procedure: str
    procedure_title: str
    procedure_version: str
    procedure_sha256: Sha256
    prompts_sha256: Sha256
    policy_sha256: Sha256
    policy: str
    policy_moved: list[str]
    clock: Literal["system", "paced", "simulated"]
    about: list[str]
    engine: str


# -- events: what happened -----------------------------------------------------------------------


class _Event(_Line):
    kind: Literal["event"]
    at_ms: Annotated[Milliseconds, Field(description="the machine's time: since 1970, never running back")]


class Word(BaseModel):
    """One word of a hypothesis, seconds from the utterance's first sample."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    text: str
    start_s: str
    end_s: str


class Level(BaseModel):
    """How loud the utterance and the noise before it were."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    speech_dbfs: str
    noise_dbfs: str
    snr_db: str
    clipped: Annotated[Whole, Field(description="samples at full scale")]


class Number(BaseModel):
    """An exact number as it was spelled by the grammar."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    value: str
    resolution: str
    spelled: str


class _Heard(_Event):
    hypothesis: Annotated[str, Field(description="what the engine heard, accepted or not")]
    engine: str
    accepted: Annotated[Truth, Field(description="by sound, before any meaning")]
    unsure: Annotated[
        Literal["true"] | None, Field(description="accepted, to be confirmed in words before it counts")
    ] = None
    twice: Annotated[
        Literal["true"] | None,
        Field(description="unsure, but the utterance before it, unsure too, said the same: so it counts"),
    ] = None
    scores: dict[str, str]
    words: list[Word]
    audio: Kept | None = None
    level: Level | None = None
    loudness: Annotated[
        Literal["too loud", "too soft"] | None, Field(description="said to the technician before the reply")
    ] = None


class StartEvent(_Event):
    """The job begins."""

    type: Literal["start"]
    job: dict[str, str]


class AnswerEvent(_Heard):
    """A whole sentence of the armed grammar."""

    type: Literal["answer"]
    text: str
    label: str
    slots: list[Annotated[list[str], Field(min_length=2, max_length=2)]]
    number: Number | None = None


class CommandEvent(_Heard):
    """One of the commands that are always armed."""

    type: Literal["command"]
    name: str
    text: str
    elsewhere: Annotated[
        list[Annotated[list[str], Field(min_length=3, max_length=3)]] | None,
        Field(
            description="waits of other tires where time left was asked: name, wait or open, milliseconds left"
        ),
    ] = None


class NoMatchEvent(_Heard):
    """Speech that was refused, with the reason."""

    type: Literal["no_match"]
    text: str
    reason: str
    level_db: Whole | None = None
    tire: Annotated[str | None, Field(description="the tire that was called and is worked on already")] = None


class NoInputEvent(_Event):
    """Silence where an answer was due."""

    type: Literal["no_input"]
    engine: Annotated[
        Literal["typed"] | None, Field(description="where it was the keyboard that was silent")
    ] = None


class SpokenEvent(_Event):
    """A sentence was played, ``completed`` only to its last sample."""

    type: Literal["spoken"]
    say: Whole
    completed: Truth
    text: str
    say_kind: str
    cut_by: Annotated[Literal["speech"] | None, Field(description="who stopped it, where somebody did")] = (
        None
    )


class TimerEvent(_Event):
    """A wait's time has come."""

    type: Literal["timer"]
    tire: str | None = None


class ResumedEvent(_Event):
    """The job was opened again."""

    type: Literal["resumed"]
    tire: str | None = None
    aside: Literal["true"] | None = None


class TurnedEvent(_Event):
    """The technician turned to another tire, or back to this one; ``tire`` is its spoken name."""

    type: Literal["set_aside", "taken_up"]
    tire: str | None = None
    text: str | None = None
    hypothesis: Annotated[str | None, Field(description="what was heard, as of an answer")] = None
    engine: str | None = None
    accepted: Truth | None = None
    unsure: Annotated[Literal["true"] | None, Field(description="as of an answer")] = None
    twice: Annotated[Literal["true"] | None, Field(description="as of an answer")] = None
    scores: dict[str, str] | None = None
    words: list[Word] | None = None
    audio: Kept | None = None
    level: Level | None = None


class DeviceEvent(_Event):
    """A microphone or a loudspeaker went or came back."""

    type: Literal["device_lost", "device_back"]
    device: str


class SealedEvent(_Event):
    """The job is over; ``head`` is the hash of the line before, ``words`` the same for the ear."""

    type: Literal["sealed"]
    head: Sha256
    words: list[str]


Event = Annotated[
    StartEvent
    | AnswerEvent
    | CommandEvent
    | NoMatchEvent
    | NoInputEvent
    | SpokenEvent
    | TimerEvent
    | ResumedEvent
    | TurnedEvent
    | DeviceEvent
    | SealedEvent,
    Field(discriminator="type"),
]


# -- records: what the machine made of it --------------------------------------------------------


class _Record(_Line):
    record: Annotated[Whole, Field(description="number of the machine's line: what a correction points at")]


class _AtStep(_Record):
    step: str


class Step(_AtStep):
    """A step is entered."""

    kind: Literal["step"]
    phase: str
    step_kind: str


class Known(_AtStep):
    """A step left out, because another had told its fact."""

    kind: Literal["known"]
    measurand: str
    outcome: str


class Advice(_AtStep):
    """A sentence computed from what was read."""

    kind: Literal["advice"]
    name: str
    text: str


class Reading(_AtStep):
    """A measured value: heard, read back and confirmed."""

    kind: Literal["reading"]
    measurand: str
    value: str
    unit: Annotated[str, Field(description="as spoken; empty for an identifier")]
    resolution: str
    heard: str
    replaces: Replaces


class Verdict(_AtStep):
    """A reading judged by a rule."""

    kind: Literal["verdict"]
    rule: str
    outcome: Literal["inside", "outside", "close"]
    severity: Literal["stop", "warn", "note"]
    low: str
    high: str
    inclusive: Truth
    margin: str
    source: str
    reason: str


class NotJudged(_AtStep):
    """A value that no rule could judge, and why."""

    kind: Literal["not_judged"]
    heard: str
    reason: str


class Inspect(_AtStep):
    """One condition of an inspection."""

    kind: Literal["inspect"]
    condition: str
    outcome: Literal["clear", "found"]
    reason: str
    heard: str
    replaces: Replaces


class Answer(_AtStep):
    """A choice made, or an action done."""

    kind: Literal["answer"]
    measurand: str
    outcome: str
    heard: str
    replaces: Replaces


class NotConfirmed(_AtStep):
    """A read-back that was answered otherwise: nothing was recorded of it."""

    kind: Literal["not_confirmed"]
    heard: str
    instead: str


class Disposed(_AtStep):
    """What became of a reading outside its limit."""

    kind: Literal["disposed"]
    outcome: Literal["again", "accept"]
    heard: str


class Told(_AtStep):
    """A caution was played to its last sample."""

    kind: Literal["told", "cut_off"]
    say: Whole


class Caution(_AtStep):
    """A caution's key words were read back."""

    kind: Literal["caution"]
    signal: str
    text: str
    read_back: str


class Pass(_AtStep):
    """One pass counted, of so many."""

    kind: Literal["pass"]
    n: Whole
    target: Whole
    heard: str
    source: str


class WaitStarted(_AtStep):
    """A wait begins: the shortest and the longest time, whole seconds, and where they come from."""

    kind: Literal["wait"]
    outcome: Literal["started"]
    planned_s: Whole
    longest_s: Annotated[str, Field(pattern=r"^([0-9]+)?$")]
    source: str
    reason: str


class WaitEnded(_AtStep):
    """What became of a wait, and how long it lasted."""

    kind: Literal["wait"]
    outcome: Literal["over", "used in time", "overrun", "left"]
    waited_s: Whole


class HoldPoint(_AtStep):
    """Released or refused, by the disposition of the whole tire or by a supervisor; "unclear" where a disposition
    has no finding against the tire, only what is too close to call or was not judged."""

    kind: Literal["hold_point"]
    by: str
    outcome: Literal["released", "refused", "unclear"]
    name: Annotated[str | None, Field(description="who holds the badge, by the shop's file")] = None
    verified: Annotated[str | None, Field(description="by what the badge was proved, if at all")] = None
    decision: str | None = None
    reasons: list[str] | None = None
    sources: list[str] | None = None


class Code(_AtStep):
    """A supervisor's code word was asked for: right or wrong, never the word."""

    kind: Literal["code"]
    badge: str
    outcome: str
    count: Whole


class Technician(_AtStep):
    """Another technician goes on with the work."""

    kind: Literal["technician"]
    was: str
    now: str
    badge: str
    name: str


class Turned(_AtStep):
    """The job was set aside for another tire, or taken up again."""

    kind: Literal["set_aside", "taken_up"]
    tire: str
    mode: str | None = None


class Command(_AtStep):
    """A command was carried out."""

    kind: Literal["command"]
    name: str
    heard: str


class Missed(_AtStep):
    """Not understood, or no answer here."""

    kind: Literal["missed"]
    heard: str
    reason: str
    count: Whole


class Correction(_AtStep):
    """A recorded entry is opened again; the line that replaces it will point at ``record_no``."""

    kind: Literal["correction"]
    reopens: str
    record_no: Whole


class Back(_AtStep):
    """One step back."""

    kind: Literal["back"]
    to: str
    index: Whole | None = None


class Resume(_AtStep):
    """Work goes on."""

    kind: Literal["resume"]


class Halt(_AtStep):
    """On hold, stopped, or opened again, and where the dialogue stood."""

    kind: Literal["hold", "stop", "resumed"]
    mode: str


class Device(_Record):
    """A microphone or a loudspeaker went or came back."""

    kind: Literal["device"]
    device: str
    outcome: Literal["lost", "back"]


class Refused(_Line):
    """An event that did not fit: it changed nothing."""

    kind: Literal["refused"]
    event: str
    reason: str


class Close(_Record):
    """The disposition, its reasons, and what a supervisor should see first."""

    kind: Literal["close"]
    outcome: str
    disposition: str
    reasons: list[str]
    exceptions: list[str]


class Seal(_Record):
    """The closing line: the chain head as it was told."""

    kind: Literal["seal"]
    head: Sha256
    words: list[str]


# -- lines the machine knows nothing of ----------------------------------------------------------


class Recovered(_Line):
    """An unfinished line was moved out of the way after a crash."""

    kind: Literal["recovered"]
    file: str
    torn_line: Whole
    torn_bytes: Whole
    torn_sha256: Sha256
    kept_bytes: Whole
    reason: str


class Reopened(_Line):
    """A finished job was opened again to complete its record: a new session's clock counts from here."""

    kind: Literal["reopened"]
    reason: str


class Note(_Line):
    """A session's remark: another shop file is in use from here on, or the folder of sound was gone."""

    kind: Literal["note"]
    text: str
    shop_sha256: Sha256 | None = None


class SoundLost(_Line):
    """The computer was late: so much of what was to be heard before the next event never arrived."""

    kind: Literal["sound_lost"]
    device: Literal["microphone"]
    ms: Annotated[Whole, Field(description="at least; a multiple of 30")]


class Voice(_Line):
    """The recognizer hears by another adaptation from here on: that of whoever signed in, or none."""

    kind: Literal["voice"]
    adaptation: Annotated[
        str, Field(pattern=r"^([0-9a-f]{64})?$", description="SHA-256 of its voice.json; empty: none")
    ]
    why: Annotated[
        Literal["signed in", "none enrolled", "refused"],
        Field(description="refused: one is enrolled, but changed or made for another model"),
    ]


class Signed(_Line):
    """A supervisor's decision over everything above, signed with Ed25519 (RFC 8032) over ``prev`` and this line's
    body without ``signature``, in RFC 8785 form."""

    kind: Literal["signed"]
    decision: Literal["accept", "concession", "reject"]
    reason: Annotated[str, Field(description="of a concession or a rejection, or of an acceptance after one")]
    redo: Annotated[list[str], Field(description="steps to do again after a rejection")]
    name: str
    key: Annotated[Sha256, Field(description="the public key, 32 bytes, hex")]
    signature: Annotated[str, Field(pattern=r"^[0-9a-f]{128}$")]


class AudioDropped(_Line):
    """Utterances older than the policy's days were deleted; their hashes stand in their names, and stay."""

    kind: Literal["audio_dropped"]
    days: Whole
    files: list[Audio]


AnyLine = Annotated[
    Open
    | Event
    | Step
    | Known
    | Advice
    | Reading
    | Annotated[WaitStarted | WaitEnded, Field(discriminator="outcome")]
    | Verdict
    | NotJudged
    | Inspect
    | Answer
    | NotConfirmed
    | Disposed
    | Told
    | Caution
    | Pass
    | HoldPoint
    | Code
    | Technician
    | Turned
    | Command
    | Missed
    | Correction
    | Back
    | Resume
    | Halt
    | Device
    | Refused
    | Close
    | Seal
    | Recovered
    | Reopened
    | Note
    | SoundLost
    | Voice
    | Signed
    | AudioDropped,
    Field(discriminator="kind"),
]


@cache
def _adapter() -> TypeAdapter[Any]:
    return TypeAdapter(AnyLine)


def misfit(entry: dict[str, Any]) -> str:
    """Why a line (as a dict, in the present form) is not of the format, "" when it is."""
    try:
        _adapter().validate_json(rfc8785.dumps(entry))
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        place = ".".join(str(part) for part in first["loc"])
        return f"{place + ': ' if place else ''}{first['msg']}"
    return ""


def schema_text() -> str:
    """The JSON Schema (2020-12) of one line, as it is kept in ``record.schema.json``."""
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"One line of record.jsonl, line format {SCHEMA}",
        **_untitled(_adapter().json_schema()),
    }
    return json.dumps(schema, indent=1, sort_keys=True) + "\n"


def _untitled(node: Any) -> Any:
    """The schema without the titles that only say a key's name once more."""
    if isinstance(node, list):
        return [_untitled(item) for item in node]
    if not isinstance(node, dict):
        return node
    return {
        key: _untitled(item) for key, item in node.items() if not (key == "title" and isinstance(item, str))
    }


if __name__ == "__main__":
    print(schema_text(), end="")
