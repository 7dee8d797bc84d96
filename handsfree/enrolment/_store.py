"""Enrolled voices on the disk: a folder each, private, proved by hashes when it is read, gone by one call.

The folder's name is a hash of the person's name, which may be anything. In it are ``voice.json`` and the transforms
that it names with their SHA-256. No sound is stored.
"""

from __future__ import annotations

import hashlib
import shutil
import unicodedata
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from handsfree._data_folder import data_folder
from handsfree.hearing import MOST_LAXER, MOST_STRICTER, Adaptation, EngineError, engine_pins, packaged_sha256
from handsfree.hearing._mllr import read_transform
from handsfree.record import write_private

__all__ = ["Measured", "StoredVoice", "VoiceStore", "pinned", "sha256_of", "voices_folder"]

_ABOUT = "voice.json"
_NAME = Annotated[str, Field(min_length=1, max_length=60, pattern=r"^[^\x00-\x1f\x7f{}]+$")]
_Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
_Condition = Literal["quiet", "noise-10db"]
_MOST_BYTES = 100_000


class Measured(BaseModel):
    """Held-out phrases in one state of the room, of ``said``: accepted right and wrong, before and after; of
    ``outside`` phrases that answered nothing, those that were taken; mean acceptance of those heard right."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    said: int
    right: tuple[int, int]
    wrong: tuple[int, int]
    outside: int
    taken: tuple[int, int]
    acceptance: tuple[float, float]


class StoredVoice(BaseModel):
    """What ``voice.json`` says. ``made``: RFC 3339, UTC. ``phrases``: how many were used. ``transforms``: condition
    to the file's SHA-256. ``biases``: added to the logarithm of the odds of acceptance."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    version: Literal["1"] = "1"
    name: _NAME
    made: str
    phrases: int
    engine_version: str
    model_sha256: _Sha256
    packaged_sha256: _Sha256
    transforms: dict[_Condition, _Sha256]
    biases: dict[_Condition, Annotated[float, Field(ge=-MOST_STRICTER, le=MOST_LAXER)]]
    measured: dict[_Condition, Measured]


def voices_folder() -> Path:
    """Where voices are: HANDSFREE_VOICES, else handsfree/voices in the user's data folder (XDG)."""
    return data_folder("voices")


class VoiceStore:
    """The voices in one folder. Raises EngineError, one line that says what to do."""

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = folder or voices_folder()

    @staticmethod
    def key(name: str) -> str:
        """The name of a person's folder, also of a name in other capitals."""
        plain = unicodedata.normalize("NFC", " ".join(name.split())).casefold()
        return hashlib.sha256(plain.encode(errors="replace")).hexdigest()[:32]

    @staticmethod
    def checked(name: str) -> str:
        """The name, fit to be stored."""
        name = unicodedata.normalize("NFC", " ".join(name.split(" "))).strip()
        try:
            return _Named(name=name).name
        except ValidationError:
            raise EngineError(
                "the name must have 1 to 60 characters, none of them a brace or a control character"
            ) from None

    def write(self, voice: StoredVoice, transforms: Mapping[str, str]) -> Path:
        """Store a voice in the place of an earlier one of that name. Every file is on the disk when this returns."""
        place = self.folder / self.key(voice.name)
        fresh = place.with_suffix(".new")
        try:
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            _remove(fresh)
            fresh.mkdir(mode=0o700)
            for condition, text in transforms.items():
                write_private(fresh / f"{condition}.mllr", text.encode("ascii"))
            write_private(fresh / _ABOUT, (voice.model_dump_json(indent=1) + "\n").encode())
            _remove(place)
            fresh.rename(place)
        except OSError as error:
            raise EngineError(
                f"{place}: {error.strerror}; nothing was stored, make the folder writable or set HANDSFREE_VOICES"
            ) from None
        return place

    def find(self, name: str) -> Adaptation | None:
        """The adaptation to a voice, proved; None where none of that name is stored."""
        place = self.folder / self.key(name)
        return self._proved(place) if place.is_dir() else None

    def by_hash(self, sha256: str) -> Adaptation | None:
        """The adaptation that a record names."""
        for place in self._places():
            if _sha256(_bytes(place / _ABOUT)) == sha256:
                return self._proved(place)
        return None

    def all(self) -> Iterator[tuple[StoredVoice | None, str]]:
        """Every voice, and why it can't be used ("" when it can); None for one that can't even be read."""
        for place in self._places():
            try:
                voice = _read(place)[0]
            except EngineError as error:
                yield None, str(error)
                continue
            try:
                self._proved(place)
            except EngineError as error:
                yield voice, str(error)
            else:
                yield voice, ""

    def forget(self, name: str) -> bool:
        """Delete a voice, whatever state it is in; False where there was none."""
        place = self.folder / self.key(name)
        there = [path for path in (place, place.with_suffix(".new")) if path.exists() or path.is_symlink()]
        try:
            for path in there:
                _remove(path)
        except OSError as error:
            raise EngineError(f"{place}: {error.strerror}; delete that folder by hand") from None
        return bool(there)

    def _places(self) -> list[Path]:
        return sorted(path.parent for path in self.folder.glob(f"*/{_ABOUT}") if not path.parent.suffix)

    def _proved(self, place: Path) -> Adaptation:
        voice, about = _read(place)
        again = f"enrol again, or handsfree forget-voice {voice.name!r}"
        if self.key(voice.name) != place.name:
            raise EngineError(f"{place / _ABOUT} was changed: it is another person's; {again}")
        if (voice.model_sha256, voice.packaged_sha256) != _models()[1:]:
            raise EngineError(
                f"the voice of {voice.name!r} was enrolled with another recognizer model; {again}"
            )
        transforms = {}
        for condition, digest in voice.transforms.items():
            path = place / f"{condition}.mllr"
            content = _bytes(path)
            if _sha256(content) != digest:
                raise EngineError(f"{path} was changed since {voice.name!r} was enrolled; {again}")
            try:
                read_transform(content.decode("ascii"))
            except ValueError:
                raise EngineError(f"{path} is no transform of the recognizer's model; {again}") from None
            transforms[str(condition)] = path
        return Adaptation(
            transforms, {str(condition): bias for condition, bias in voice.biases.items()}, _sha256(about)
        )


class _Named(BaseModel):
    name: _NAME


@cache
def _models() -> tuple[str, str, str]:
    """The recognizer's version, its model's hash, and that of what is packaged beside it."""
    pins = engine_pins("pocketsphinx")
    return pins.get("engine_version", ""), pins["model_sha256"], packaged_sha256()


def pinned() -> dict[str, str]:
    """What a voice that is enrolled now depends on, by the names in ``StoredVoice``."""
    return dict(zip(("engine_version", "model_sha256", "packaged_sha256"), _models(), strict=True))


def _read(place: Path) -> tuple[StoredVoice, bytes]:
    path = place / _ABOUT
    content = _bytes(path)
    try:
        return StoredVoice.model_validate_json(content), content
    except ValidationError:
        raise EngineError(f"{path} is no stored voice; delete the folder {place}, and enrol again") from None


def _bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(_MOST_BYTES)
    except OSError as error:
        raise EngineError(f"{path}: {error.strerror}; enrol again, or delete {path.parent}") from None


def sha256_of(text: str) -> str:
    """Of a transform, as it is stored."""
    return _sha256(text.encode("ascii"))


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _remove(path: Path) -> None:
    if path.is_symlink():
        path.unlink()
    elif path.exists():
        shutil.rmtree(path)
