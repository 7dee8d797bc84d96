"""What a hypothesis depends on besides the sound: the engine's version and its model, for a record to pin."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from pocketsphinx import get_model_path

from handsfree.hearing._types import EngineError

__all__ = ["engine_pins"]

#: What PocketSphinx decodes with: acoustic model, dictionary, phone loop.
_POCKETSPHINX = ("en-us/en-us", "en-us/cmudict-en-us.dict", "en-us/en-us-phone.lm.bin")


def engine_pins(name: str, model_dir: Path | None = None) -> dict[str, str]:
    """``engine_version`` and ``model_sha256`` of an engine; nothing for the keyboard. Raises EngineError.

    With vosk PocketSphinx hears too: the same of that as ``second_engine_version`` and ``second_model_sha256``.
    """
    if name == "typed":
        return {}
    second = (
        {f"second_{key}": value for key, value in engine_pins("pocketsphinx").items()}
        if name == "vosk"
        else {}
    )
    paths = [Path(get_model_path(part)) for part in _POCKETSPHINX] if name == "pocketsphinx" else [model_dir]
    try:
        digest = _hash([path for path in paths if path is not None])
    except OSError as error:
        raise EngineError(f"the model can't be read: {error}; install it again") from None
    try:
        return {"engine_version": version(name), "model_sha256": digest, **second}
    except PackageNotFoundError:
        return {"model_sha256": digest, **second}


def _hash(paths: list[Path]) -> str:
    """SHA-256 over the names and the SHA-256 of all files, in order of their names."""
    whole = hashlib.sha256()
    for root in paths:
        for path in sorted(_files(root)):
            with path.open("rb") as file:
                digest = hashlib.file_digest(file, "sha256").hexdigest()
            whole.update(f"{path.relative_to(root.parent).as_posix()} {digest}\n".encode())
    return whole.hexdigest()


def _files(root: Path) -> Iterator[Path]:
    return iter([root]) if root.is_file() else (path for path in root.rglob("*") if path.is_file())
