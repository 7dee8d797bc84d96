"""A shop's file from the disk: proved before a job begins, and the same one when a job goes on."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from handsfree._checking import pronounce
from handsfree.grammar import Library
from handsfree.hearing import Engine, MissingWord
from handsfree.record import RecordError, read_log
from handsfree.session import Job, People
from handsfree.shop import Shop, ShopError, check_shop, parse_shop

__all__ = ["hears_codes", "read_shop", "same_shop", "shop_faults", "shop_text"]


def read_shop(path: Path | None, resume: Sequence[Path] = ()) -> Shop | None:
    """A shop file, proved: every code word can be heard and told from the others. ``resume``: the jobs that go on
    with it. Raises ShopError, RecordError."""
    if path is None:
        return None
    began = next((name for folder in resume if (name := _shop_of(folder))), "")
    need = f"give that of {began!r}: the job was begun with it and goes on with no other" if began else ""
    shop = parse_shop(shop_text(path, need), str(path))
    faults = shop_faults(shop)
    if faults:
        raise ShopError(f"{path}: {faults[0]} (all of them: handsfree shop {path})")
    return shop


def _shop_of(folder: Path) -> str:
    """The name of the shop file that a job was begun with, "" for none. Raises RecordError."""
    lines = read_log(folder).lines[:1]
    return str(lines[0].body.get("shop", "")) if lines else ""


def shop_text(path: Path, need: str = "") -> str:
    """The text of a shop file. ``need``: what else to do when there is none there, and it can't be left out. Raises
    ShopError."""
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        why = str(error.strerror) if isinstance(error, OSError) else "not UTF-8 text"
        raise ShopError(f"{path}: {why}; {need or 'give a shop file, or leave --shop out'}") from None


def shop_faults(shop: Shop) -> list[str]:
    """What is wrong with a shop's code words for the packaged grammars and dictionary."""
    library = Library.load()
    rules = library.public_rules()
    spoken = library.arm({str(number): f"<{rule}>" for number, rule in enumerate(rules)}).words()
    always = library.arm({"command": "<commands.command>", "bay": "<commands.bay>"}).sentences()
    return check_shop(shop, pronounce, spoken, always)


def same_shop(job: Job, shop: Shop | None) -> None:
    """A job goes on with the shop's file it began with. Raises RecordError."""
    header, name = job.log.lines[0].body, job.log.folder.name
    began = header.get("shop", "")
    if began and (shop is None or shop.name != began):
        raise RecordError(f"{name} was begun with the shop file of {began!r}; give it with --shop")
    if shop is None:
        return
    if not began:
        raise RecordError(f"{name} was begun without a shop file; leave --shop out")
    if header.get("shop_sha256") != shop.sha256:
        text = "the shop file has other people in it than when the job began"
        job.log.append([{"kind": "note", "text": text, "shop_sha256": shop.sha256}])


def hears_codes(engine: Engine, library: Library, shop: Shop | None) -> None:
    """Every code word is in the recognizer's own vocabulary. Raises ShopError, without the word."""
    for badge in shop.supervisors if shop is not None else ():
        try:
            engine.arm(library.arm(dict(People(shop, pronounce).fill((("code", f"<shop.code.{badge}>"),)))))
        except MissingWord:
            raise ShopError(
                f"supervisor {badge}: this recognizer's model lacks the code word; choose another word"
            ) from None
