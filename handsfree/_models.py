"""Recognizer models on this machine: where they are, whether they are whole, and what goes without one."""

from __future__ import annotations

import hashlib
import shlex
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Annotated

import typer

from handsfree._data_folder import data_folder
from handsfree._wiring import procedure_text
from handsfree.grammar import Library
from handsfree.hearing import EngineError, MissingWord, VoskEngine
from handsfree.hearing._vosk import checked_model
from handsfree.procedure import read_procedure, vocabulary
from handsfree.record import counted
from handsfree.session import packaged_procedures

__all__ = ["chosen_model", "make_list", "model_folder", "models_found", "register", "told", "verify"]

_WITHOUT = (
    "Without a vosk model PocketSphinx hears alone: everything works, it is heard less well in noise, and no second "
    "recognizer has to agree. Each reading is read back and confirmed all the same."
)


def model_folder() -> Path:
    """Where models are looked for: HANDSFREE_MODELS, else handsfree/models in the user's data folder (XDG)."""
    return data_folder("models")


def models_found() -> list[Path]:
    """The unpacked models there, by name."""
    folder = model_folder()
    return sorted(path.parent.parent for path in folder.glob("*/am/final.mdl"))


def chosen_model() -> Path | None:
    """The one model there; None where there is none or more than one, and --model has to say which."""
    found = models_found()
    return found[0] if len(found) == 1 else None


def make_list(model: Path) -> str:
    """The SHA-256 of every file, in the format of coreutils' sha256sum, names from the folder that holds the model.

    Raises EngineError.
    """
    if not model.is_dir():
        raise EngineError(f"{model}: no such folder; give the folder of an unpacked model")
    lines = []
    for path in sorted(path for path in model.rglob("*") if path.is_file()):
        try:
            with path.open("rb") as file:
                digest = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError as error:
            raise EngineError(f"{path}: {error.strerror}; unpack the model again") from None
        lines.append(f"{digest}  {path.relative_to(model.parent).as_posix()}\n")
    if not lines:
        raise EngineError(f"{model}: an empty folder; unpack the model there")
    return "".join(lines)


def verify(model: Path) -> tuple[bool, list[str]]:
    """Compare a model with the list beside it (MODEL.sha256), which is made where there is none.

    Returns whether the model is good, and what to say. Raises EngineError.
    """
    model = model.resolve()
    kept = model.parent / f"{model.name}.sha256"
    if not kept.exists():
        checked_model(model)  # a list of a folder that is no model would bless it
    now = make_list(model)
    good, said = True, []
    if kept.exists():
        differs = list(_differences(_read(kept), _entries(now)))
        good = not differs
        said += [f"{model}: {line}" for line in differs]
        said += [] if differs else [f"{model}: {counted(len(now.splitlines()), 'file')} as listed in {kept}"]
    else:
        try:
            kept.write_text(now, encoding="utf-8")
        except OSError as error:
            raise EngineError(f"{kept}: {error.strerror}; make its folder writable") from None
        said.append(
            f"{model}: {counted(len(now.splitlines()), 'file')} listed in {kept}; compare the list with another "
            f"copy's, or there: sha256sum --check {kept.name}"
        )
    if good:
        heard, words = told(model)
        said.append(f"{model}: {words}")
        good = heard
    return good, said


def told(model: Path) -> tuple[bool, str]:
    """Whether a model can hear the packaged procedures, and what to say of it."""
    if find_spec("vosk") is None:
        return (
            True,
            "not tried, vosk is not installed (in the project's folder: .venv/bin/pip install '.[vosk]')",
        )
    library = Library.load()
    try:
        engine = VoskEngine(model)
    except EngineError as error:
        return False, str(error).removeprefix(f"{model}: ")
    lacks = []
    for name in packaged_procedures():
        try:
            engine.check(vocabulary(read_procedure(procedure_text(name), name), library))
        except MissingWord as missing:
            few = ", ".join(missing.words[:5]) + (", ..." if len(missing.words) > 5 else "")
            lacks.append(f"{name} ({len(missing.words)}: {few})")
    engine.close()
    if lacks:
        return False, f"lacks words of {'; '.join(lacks)}; use another model, or --engine pocketsphinx"
    return True, "loads, takes a word list, and knows every word of the packaged procedures"


def _differences(listed: dict[str, str], now: dict[str, str]) -> Iterator[str]:
    for name in sorted(listed.keys() | now.keys()):
        if name not in now:
            yield f"{name} is missing; unpack the model again"
        elif name not in listed:
            yield f"{name} is not in the list; unpack the model again, or remove the list to make a new one"
        elif listed[name] != now[name]:
            yield f"{name} was changed; unpack the model again"


def _read(path: Path) -> dict[str, str]:
    try:
        return _entries(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else "no list as sha256sum writes it"
        raise EngineError(f"{path}: {why}; remove it to make a new one") from None


def _entries(text: str) -> dict[str, str]:
    found = {}
    for line in text.splitlines():
        digest, mark, name = line[:64], line[64:66], line[66:]
        if len(digest) != 64 or mark not in ("  ", " *") or not name:
            raise ValueError(line)
        found[name] = digest.lower()
    return found


models_app = typer.Typer(
    invoke_without_command=True,
    rich_markup_mode=None,
    help="Recognizer models on this machine, and what goes without one. See models_readme.",
)


@models_app.callback()
def list_models(context: typer.Context) -> None:
    """Recognizer models on this machine, and what goes without one."""
    if context.invoked_subcommand is not None:
        return
    typer.echo("pocketsphinx: US English, in the package; always there")
    found, folder = models_found(), model_folder()
    usable = []
    for model in found:
        good, what = told(model)
        usable += [model] if good else []
        listed = "listed" if (model.parent / f"{model.name}.sha256").exists() else "not verified"
        typer.echo(f"vosk: {model}; {what}; {listed}")
    if not found:
        typer.echo(f"vosk: no model in {folder}. {_WITHOUT}")
        typer.echo("Which one to get, its licence and size: models_readme/README.md")
    elif not usable:
        typer.echo(
            "None of them can be used: handsfree models verify tells why. Meanwhile: --engine pocketsphinx"
        )
    else:
        one = "" if len(found) == 1 else f" --model {shlex.quote(str(usable[0]))}"
        typer.echo(f"Use it: handsfree run --engine vosk{one}")


@models_app.command("verify", epilog="Example: handsfree models verify ~/models/vosk-model-small-en-us-0.15")
def verify_models(
    path: Annotated[
        Path | None,
        typer.Argument(help="A model's folder. Default: all in the models folder.", metavar="DIR"),
    ] = None,
) -> None:
    """Check a model against its SHA-256 list (MODEL.sha256 beside it), or make that list; then try the model."""
    wanted = [path] if path is not None else models_found()
    if not wanted:
        raise EngineError(f"no model in {model_folder()}; give a model's folder (see models_readme)")
    all_good = True
    for model in wanted:
        good, said = verify(model)
        all_good = all_good and good
        for line in said:
            typer.echo(line)
    if not all_good:
        raise typer.Exit(1)


def register(app: typer.Typer) -> None:
    """Add the commands to the command line."""
    app.add_typer(models_app, name="models", short_help="Recognizer models: what is there, verify one.")
