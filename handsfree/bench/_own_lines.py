"""Recordings of one's own for the hearing bench, in any language: a folder with sound files, grammars and lines.toml.

[[line]]
file = "001.wav"           # WAV or FLAC
say = "three five p s i"   # what is said in it
arm = "<readings.pressure>"  # what is armed then: JSGF, rules of the *.jsgf files there, else the packaged ones
known = true               # false: it is no sentence of that, and must not be taken for one
"""

from __future__ import annotations

import tomllib
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from handsfree.audio import AudioError, read_sound
from handsfree.bench._script import Recording
from handsfree.grammar import Library

__all__ = ["own_lines"]


class _Line(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    file: str
    say: str
    arm: str
    known: bool = True
    voice: str = ""


class _Lines(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    line: tuple[_Line, ...] = Field(min_length=1)


def own_lines(folder: Path) -> list[Recording]:
    """The lines of ``folder``. Raises AudioError (a file is missing, or a line does not fit) and GrammarError."""
    path = folder / "lines.toml"
    try:
        lines = _Lines.model_validate(tomllib.loads(path.read_text(encoding="utf-8"))).line
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise AudioError(f"{path}: can't be read: {error}") from None
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise AudioError(f"{path}: {place}: {first['msg']}") from None
    own = any(folder.glob("*.jsgf"))
    library, found = Library.load(folder if own else None), []
    commands = {} if own else {"command": "<commands.command>"}
    for line in lines:
        armed = library.arm({**commands, "answer": line.arm})
        if line.known != (armed.interpret(line.say) is not None):
            what = "is no sentence" if line.known else "is a sentence"
            raise AudioError(f"{path}: {line.say!r} {what} of {line.arm}; set known, or arm something else")
        found.append(Recording(line.say, line.voice, read_sound(folder / line.file), armed, line.known))
    return found
