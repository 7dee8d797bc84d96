"""A folder of sound files that speaks when asked: plain WAV or FLAC files in name order, or with a scenario file.

``scenario.toml`` orders the files and says how long the speaker waits (``pause_s``) and which lines are said
of the speaker's own accord (``interjects``). What a line says is written there for people and tests; the
session never reads it.
"""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from handsfree._toml import TomlError, one_line, read_toml
from handsfree.audio import AudioError, ScriptLine, sound_files

__all__ = ["Scenario", "demo_folder", "parse_scenario", "read_scenario", "script_lines"]


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="allow")


class ScenarioLine(_Model):
    file: str
    say: str = ""
    pause_s: float = Field(default=0.4, ge=0, le=600, allow_inf_nan=False)
    interjects: bool = False


class About(_Model):
    title: str = ""
    technician: str = ""
    shop: str = ""


class Scenario(_Model):
    scenario: About
    line: tuple[ScenarioLine, ...] = Field(min_length=1)


def demo_folder() -> Path:
    """Where the packaged demo's recordings are."""
    return Path(str(resources.files("handsfree"))) / "demo_data"


def read_scenario(folder: Path) -> Scenario | None:
    """The folder's scenario, or None when it has none. Raises AudioError."""
    path = folder / "scenario.toml"
    if not path.exists():
        return None
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise AudioError(f"{path}: can't be read: {error}") from None
    return parse_scenario(text, path)


def parse_scenario(text: str, path: Path) -> Scenario:
    """A scenario file's text. Raises AudioError, one line that begins with ``path``."""
    try:
        return Scenario.model_validate(read_toml(text))
    except TomlError as error:
        raise AudioError(f"{path}: can't be read: {error}") from None
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise AudioError(f"{path}: {one_line(place)}: {one_line(first['msg'])}") from None


def script_lines(path: Path) -> list[ScriptLine]:
    """The files to play, in order. Raises AudioError when there is none."""
    if path.is_file():
        return [ScriptLine(path)]
    if not path.is_dir():
        raise AudioError(f"{path}: no such file or folder; give a WAV or FLAC file, or a folder of them")
    scenario = read_scenario(path)
    if scenario is not None:
        return [ScriptLine(path / line.file, line.pause_s, line.interjects) for line in scenario.line]
    files = sound_files(path)
    if not files:
        raise AudioError(f"{path}: no WAV or FLAC files in it; record some, or choose another folder")
    return [ScriptLine(file) for file in files]
