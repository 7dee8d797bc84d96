"""The commands about enrolled voices: enrol, enrolled, forget-voice. Thin, as the command line is."""

from __future__ import annotations

import contextlib
import shlex
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from handsfree import _wiring as wiring
from handsfree._checking import pronounce
from handsfree._shop_file import read_shop
from handsfree.audio import Microphone, choose_device, list_devices, native_messages_hidden
from handsfree.enrolment import (
    Phrase,
    Result,
    Takes,
    VoiceStore,
    from_file,
    from_folder,
    from_source,
    make_voice,
    packaged_phrases,
    read_phrases,
)
from handsfree.hearing import EngineError, PocketSphinxEngine
from handsfree.speaking import CardPlayer, Pyttsx3Voice, Speaker, SpeakingError

__all__ = ["register"]

_IN_WORDS = {"quiet": "little noise, 20 dB", "noise-10db": "noise, 15 and 10 dB"}

_WHY_LOWER = (
    "Acceptance is the mean over the phrases heard right. It falls where hard ones are among them for the first "
    "time, or where it is made stricter: what decides is how many are right, and how many are taken for another."
)

Name = Annotated[
    str,
    typer.Argument(
        help="Whose voice: the name as in the shop file or in run --technician, or the badge number.",
        metavar="NAME",
    ),
]


def register(app: typer.Typer) -> None:
    """Add the commands to the command line."""
    app.command(
        short_help="Read twenty phrases, so that a voice is heard better.",
        epilog='Example: handsfree enrol "Mara Lindqvist"',
    )(enrol)
    app.command(short_help="Whose voices are enrolled.", epilog="Example: handsfree enrolled")(enrolled)
    app.command(
        name="forget-voice",
        short_help="Delete an enrolled voice.",
        epilog='Example: handsfree forget-voice "Mara Lindqvist"',
    )(forget_voice)


def enrol(
    name: Annotated[str | None, typer.Argument(help="Whose voice it is.", metavar="NAME")] = None,
    wav: Annotated[
        Path | None,
        typer.Option(
            "--wav",
            help="Instead of the microphone: a folder of twenty sound files, by name, or one with all phrases.",
            metavar="PATH",
        ),
    ] = None,
    device: Annotated[
        str | None, typer.Option("--device", help="Microphone, by a part of its name.", metavar="NAME")
    ] = None,
    loudspeaker: Annotated[
        str | None, typer.Option("--loudspeaker", help="Loudspeaker, by a part of its name.", metavar="NAME")
    ] = None,
    silent: Annotated[bool, typer.Option("--silent", help="Show the phrases only, do not say them.")] = False,
    shop: Annotated[
        Path | None,
        typer.Option("--shop", help="The shop file: NAME is a name or a badge of it.", metavar="FILE"),
    ] = None,
    phrases: Annotated[bool, typer.Option("--phrases", help="List the phrases, and nothing else.")] = False,
) -> None:
    """Read twenty phrases (two minutes, in quiet). From them transforms of the recognizer's models are made for this
    voice, measured on phrases that were held out, and stored only where they win.

    They are used whenever that name is signed in. No sound is kept. handsfree forget-voice NAME deletes everything.
    """
    if phrases:
        for phrase in packaged_phrases():
            typer.echo(phrase.say)
        return
    if name is None:
        raise typer.BadParameter("say whose voice it is", param_hint="NAME")
    people = read_shop(shop)
    whose = VoiceStore.checked(people.find(name) if people is not None else name)
    engine = wiring.build_engine(wiring.Setup())
    assert isinstance(engine, PocketSphinxEngine)  # that is the default
    try:
        takes = _from_sound(wav, engine) if wav is not None else _live(engine, device, loudspeaker, silent)
        for left_out in takes.skipped:
            typer.echo(f"Left out: {left_out}")
        result = make_voice(takes.said, engine, pronounce, typer.echo)
    finally:
        engine.close()
    _show(result)
    _keep(result, whose)


def _keep(result: Result, name: str) -> None:
    if not result.helps:
        typer.echo("Kept out: it did not help on the phrases that were held out. Nothing was stored.")
        return
    made = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    place = VoiceStore().write(result.stored(name, made), result.transforms)
    for condition, bias in result.biases.items():
        how = "less" if bias > 0 else "more"
        typer.echo(
            f"Acceptance in {_IN_WORDS[condition]}: {how} strict by {abs(bias):.2f} (logarithm of the odds)"
        )
    if not result.biases:
        typer.echo("Acceptance: as packaged, another one would gain nothing")
    typer.echo(f"Stored: {place} (no sound). Used when {name} signs in.")
    typer.echo(f"Delete it: handsfree forget-voice {shlex.quote(name)}")


def _from_sound(wav: Path, engine: PocketSphinxEngine) -> Takes:
    asked = packaged_phrases()
    sound = from_folder(wav, asked) if wav.is_dir() else from_file(wav)
    return read_phrases(asked, sound, engine, _shown, _told, tries=1)


def _shown(number: int, phrase: Phrase) -> None:
    typer.echo(f"{number:>2} of {len(packaged_phrases())}  {phrase.say}")


def _told(text: str) -> None:
    typer.echo(f"          {text}")


def _live(engine: PocketSphinxEngine, device: str | None, loudspeaker: str | None, silent: bool) -> Takes:
    with native_messages_hidden(), _said(loudspeaker, silent) as say:
        source = Microphone(device)
        try:
            typer.echo(f"Microphone: {source.device.name}")
            typer.echo("Keep quiet: the room is heard. Then read each phrase as it is shown.")

            def ask(number: int, phrase: Phrase) -> None:
                _shown(number, phrase)
                say(f"Say: {phrase.say}")

            return read_phrases(
                packaged_phrases(), from_source(source), engine, ask, _told, lost=lambda: source.lost
            )
        finally:
            source.close()


@contextlib.contextmanager
def _said(loudspeaker: str | None, silent: bool) -> Iterator[Callable[[str], None]]:
    """What says a prompt. Where there is no loudspeaker the phrases are only shown."""
    if silent:
        yield lambda _: None
        return
    if (
        loudspeaker is not None
    ):  # a part of a name may fit several, and PortAudio's word for that is no advice
        loudspeaker = choose_device(list_devices(), loudspeaker, kind="loudspeaker").name
    speaker = Speaker(Pyttsx3Voice(), CardPlayer(loudspeaker))

    def say(text: str) -> None:
        try:
            speaker.say(text)
        except SpeakingError as error:
            typer.echo(f"          not said: {error}", err=True)

    try:
        yield say
    finally:
        speaker.close()


def _show(result: Result) -> None:
    table = Table(title=f"Held-out phrases, {result.phrases} read: without, and with what was learned")
    table.add_column("room")
    for heading in ("right", "taken for another", "taken though no answer", "acceptance"):
        table.add_column(heading, justify="right")
    table.add_column("")
    for gain in result.gains:
        a, b = gain.before, gain.after
        table.add_row(
            _IN_WORDS[gain.condition],
            f"{a.right} -> {b.right} of {a.said}",
            f"{a.wrong} -> {b.wrong}",
            f"{a.outside} -> {b.outside} of {a.tried}",
            f"{a.acceptance:.2f} -> {b.acceptance:.2f}",
            "kept" if gain.kept is not None else "kept out",
        )
    Console(width=110).print(table)
    if any(g.kept is not None and g.after.acceptance < g.before.acceptance for g in result.gains):
        typer.echo(_WHY_LOWER)


def enrolled() -> None:
    """Whose voices are enrolled, when, what was measured, and whether they can be used."""
    store, bad = VoiceStore(), False
    found = list(store.all())
    if not found:
        typer.echo(f"No voice is enrolled in {store.folder}. Enrol one: handsfree enrol NAME")
        return
    table = Table()
    for heading in ("name", "enrolled", "phrases", "right, 20 dB", "right, 15 and 10 dB", "state"):
        table.add_column(heading)
    for voice, trouble in found:
        bad = bad or bool(trouble)
        if voice is None:
            table.add_row("", "", "", "", "", Text(trouble))
            continue
        rights = [
            f"{m.right[0]} -> {m.right[1]} of {m.said}" if key in voice.transforms else "as packaged"
            for key in ("quiet", "noise-10db")
            for m in [voice.measured[key]]
        ]
        # A name is anybody's text: as Text it is no markup.
        table.add_row(Text(voice.name), voice.made[:10], str(voice.phrases), *rights, Text(trouble or "good"))
    Console(width=140).print(table)
    if bad:
        raise EngineError("a voice can't be used and is left out; the table says what to do")


def forget_voice(name: Name) -> None:
    """Delete everything that was stored of a voice. What records say of it is a hash, which then leads nowhere."""
    store = VoiceStore()
    stored = [voice.name for voice, _ in store.all() if voice is not None]
    if store.forget(name):
        # As it was stored: capitals and spaces may have been typed otherwise.
        whose = next((one for one in stored if store.key(one) == store.key(name)), name)
        typer.echo(f"Deleted: the voice of {whose}")
        return
    # Silence here would let somebody believe that a voice is gone whose name was misspelled.
    names = f"stored are: {', '.join(stored)}" if stored else "none are stored"
    raise EngineError(f"no voice of {name} is stored in {store.folder}, nothing was deleted; {names}")
