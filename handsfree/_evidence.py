"""The commands about records that exist: audit, sign, export, forgetting sound. Thin, as the command line is."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from handsfree import _wiring as wiring
from handsfree.enrolment import VoiceStore
from handsfree.hearing import Engine, engine_pins
from handsfree.record import (
    FORMATS,
    NO_RECORD,
    SIGNED_LIST,
    STRANGER,
    Finding,
    JobLog,
    LogRead,
    RecordError,
    check_words_of,
    counted,
    export,
    find_job,
    first_hash,
    forget_audio,
    how_to_do_again,
    is_job,
    jobs_in,
    noted,
    older_pages,
    place_of,
    read_log,
    remains_in,
    what_is_damaged,
    write_out,
)
from handsfree.session import check_job

if TYPE_CHECKING:  # its rooms take time to load
    from handsfree.audit import FolderReport, Report

__all__ = ["ShopKeys", "must_not_be_signed", "register", "shop_keys", "signatures_by"]

PASSPHRASE = "HANDSFREE_PASSPHRASE"

Jobs = Annotated[Path, typer.Option("--jobs", help="Folder that holds the jobs.", metavar="DIR")]
Job = Annotated[str, typer.Argument(help="The job's folder, its record, or its name in the jobs folder.")]
KeyFolder = Annotated[Path, typer.Option("--keys", help="The shop's folder of public keys.", metavar="DIR")]
ShopKeys = Annotated[
    Path | None,
    typer.Option(
        "--keys",
        help="The shop's folder of public keys. Default: keys, where there is one; else signatures are shown as "
        "not verified.",
        metavar="DIR",
    ),
]
PassphraseFile = Annotated[
    Path | None,
    typer.Option(
        "--passphrase-file",
        help=f"Read the passphrase from a file's first line. Else from {PASSPHRASE}, else it is asked for.",
        metavar="FILE",
    ),
]

keys_app = typer.Typer(no_args_is_help=True, rich_markup_mode=None, help="Keys to sign records with.")


def shop_keys(keys: Path | None) -> Path | None:
    """The folder to verify signatures against, None where there is none. Raises RecordError."""
    if keys is None:
        return Path("keys") if Path("keys").is_dir() else None
    if not keys.is_dir():
        raise RecordError(f"{keys}: no folder of public keys; leave --keys out, or give the shop's")
    _must_hold_keys(keys)
    return keys


def _must_hold_keys(keys: Path) -> None:
    """A mistyped folder must not look like a job that nobody known has signed. Raises RecordError."""
    if not any(keys.glob("*.pub")):
        raise RecordError(
            f"{keys}: {'no public key in it' if keys.is_dir() else 'no such folder'}; give the shop's folder of "
            "public keys with --keys"
        )


def signatures_by(known: Path | None) -> Callable[[LogRead], tuple[list[Finding], str]]:
    """For an audit: what checks a record's signatures by the keys of ``shop_keys``, and says when it can't."""
    from handsfree.record.signing import check_signatures

    def signatures(read: LogRead) -> tuple[list[Finding], str]:
        found, last = check_signatures(read, known)
        if known is not None:
            return found, last
        # Good for the key it names, but whose key is that?
        unknown = "whose signature it is was not checked: give the shop's public keys (--keys)"
        return found + [Finding("signed", 0, unknown, "warn")] * bool(last), last

    return signatures


def must_not_be_signed(folders: Sequence[Path], keys: Path | None) -> None:
    """Before a job is opened again: what the shop's list knows as signed, and the record does not hold, must not get
    another end than the one that was signed. Raises RecordError."""
    for folder in folders if keys is not None else ():
        assert keys is not None
        here = {line.hash for line in read_log(folder).lines}
        first = first_hash(folder)
        row = next((row for row in noted(keys)[0] if row.job == first and row.line not in here), None)
        if row is not None:
            raise RecordError(
                f"{folder.name} is known as signed ({row.decision} on {row.day}, {keys / SIGNED_LIST}, line "
                f"{row.number}), and this record does not hold that: put it back from a copy; nothing was written"
            )


def register(app: typer.Typer) -> None:
    """Add the commands to the command line."""
    app.command(
        short_help="Check jobs: chain, replay, limits, waits, cautions, signatures.",
        epilog="Example: handsfree audit jobs --keys keys. Exit code 1 when anything is an error.",
    )(audit)
    app.command(
        short_help="Accept or reject a job, signed with a key.",
        epilog='Example: handsfree sign JOB --key ortega.pem --concession "measured again by hand"',
    )(sign)
    app.add_typer(keys_app, name="keys", short_help="Make a key to sign with.")
    keys_app.command(
        name="new", short_help="Make a key pair.", epilog="Example: handsfree keys new ortega.pem"
    )(new_key)
    app.command(
        name="export",
        short_help="A job as one JSON, its readings as CSV, its utterances as EMMA.",
        epilog="Example: handsfree export JOB --format csv --to readings.csv",
    )(export_job)
    app.command(
        name="forget-audio",
        short_help="Delete old sound; the records stay whole.",
        epilog="Example: handsfree forget-audio --older-than 90",
    )(forget)


def audit(
    job: Annotated[
        str, typer.Argument(help="A job's folder, record or name, or a folder of jobs.", metavar="JOB|FOLDER")
    ],
    as_json: Annotated[bool, typer.Option("--json", help="For a program.")] = False,
    listen: Annotated[
        bool, typer.Option("--listen", help="Hear the kept sound again and compare; takes some minutes.")
    ] = False,
    model: Annotated[
        Path | None, typer.Option("--model", help="Model folder for vosk.", metavar="DIR")
    ] = None,
    words: Annotated[
        str | None,
        typer.Option("--words", help="The check words that were written down, to compare.", metavar="TEXT"),
    ] = None,
    keys: ShopKeys = None,
    also: Annotated[
        list[Path] | None,
        typer.Option(
            "--also",
            help="With a folder of jobs: another folder where signed jobs may be, as of another bay (repeat it). "
            "They are looked for there, not audited.",
            metavar="FOLDER",
        ),
    ] = None,
    elsewhere: Annotated[
        bool,
        typer.Option(
            "--elsewhere",
            help="With a folder of jobs: signed jobs may be where nobody looked; a missing one is a warning.",
        ),
    ] = False,
    jobs: Jobs = Path("jobs"),
) -> None:
    """Check jobs: the chain, a replay, every judgement, clocks and waits, cautions, passes, sound, signatures."""
    from handsfree.audit import as_json as to_json
    from handsfree.audit import as_text, folder_text, without_record
    from handsfree.audit import audit as check

    def listener(name: str) -> tuple[Engine, Mapping[str, str]]:
        return wiring.build_engine(wiring.Setup(engine=name, model=model)), engine_pins(name, model)

    known = shop_keys(keys)
    signatures = signatures_by(known)
    written = check_words_of(words) if words is not None else ()
    place = place_of(job, jobs)
    if is_job(place) and (also or elsewhere):
        raise typer.BadParameter("--also and --elsewhere go with a folder of jobs")
    gone = [without_record(left) for left in remains_in(place)]
    reports: list[Report] = []

    def add(report: Report) -> None:
        reports.append(report)
        if not as_json:
            typer.echo(("\n" if len(reports) > 1 else "") + as_text(report))

    for one in jobs_in(place, none=bool(gone)):
        add(
            check(
                one,
                signatures=signatures,
                listener=listener if listen else None,
                voice=VoiceStore().by_hash,
                words=written,
            )
        )
    for report in gone:
        add(report)
    whole = None if is_job(place) else _held_against_list(place, known, reports, also or [], elsewhere)
    failed = sum(not report.passed for report in reports)
    if as_json:
        typer.echo(to_json(reports, whole), nl=False)
    else:
        if whole is not None:
            typer.echo(f"\n{folder_text(whole)}")
        if len(reports) > 1:
            typer.echo(f"\n{counted(len(reports), 'job')}, {failed} failed")
    if failed or (whole is not None and not whole.passed):
        raise typer.Exit(1)


def _held_against_list(
    folder: Path, keys: Path | None, reports: Sequence[Report], also: Sequence[Path], elsewhere: bool
) -> FolderReport:
    """Whether every job that the shop's list of signatures knows is in the folder, or in one of ``also``."""
    from handsfree.audit import FolderReport, doubled, missing_jobs
    from handsfree.record.signing import public_keys

    others = {first_hash(one) for other in also for one in jobs_in(other, none=True)}
    if keys is None:
        return FolderReport(folder, doubled(reports))
    here = {report.first for report in reports}
    whole = missing_jobs(folder, keys, noted(keys)[0], public_keys(keys), here, others, elsewhere=elsewhere)
    return replace(whole, findings=(*whole.findings, *doubled(reports)))


def sign(
    job: Job,
    key: Annotated[Path, typer.Option("--key", help="Your private key.", metavar="FILE")],
    accept: Annotated[bool, typer.Option("--accept", help="The job is good as it is.")] = False,
    concession: Annotated[
        str | None, typer.Option("--concession", help="Accept it nevertheless, and why.", metavar="REASON")
    ] = None,
    reject: Annotated[
        str | None, typer.Option("--reject", help="Reject it, and why.", metavar="REASON")
    ] = None,
    reason: Annotated[
        str,
        typer.Option(
            "--reason", help="With --accept: why. Needed when the job was rejected before.", metavar="TEXT"
        ),
    ] = "",
    redo: Annotated[
        list[str] | None,
        typer.Option("--redo", help="With --reject: what to do again (repeat it).", metavar="TEXT"),
    ] = None,
    passphrase_file: PassphraseFile = None,
    keys: KeyFolder = Path("keys"),
    jobs: Jobs = Path("jobs"),
) -> None:
    """Sign a finished job whose audit finds no error: accept, accept with a concession, or reject."""
    from handsfree.record.signing import Decision, check_overturned, load_key, private_pem, public_keys
    from handsfree.record.signing import sign as append_signature

    chosen = (("accept", reason if accept else None), ("concession", concession), ("reject", reject))
    wanted = [(what, why) for what, why in chosen if why is not None]  # "" is a reason that must be refused
    if len(wanted) != 1:
        raise typer.BadParameter("give one of --accept, --concession REASON and --reject REASON")
    if reason and not accept:
        raise typer.BadParameter("--reason goes with --accept; --concession and --reject hold their own")
    decision = Decision(*wanted[0], tuple(text for text in redo or () if text.strip()))
    decision.check()
    private_pem(key)
    folder = find_job(job, jobs)
    _must_hold_keys(keys)
    _must_be_good(folder, keys)
    read = read_log(folder)
    check_overturned(read.lines, decision)
    opened = load_key(key, _passphrase(passphrase_file, f"Passphrase of {key}"))
    name = public_keys(keys).get(opened.public)
    if name is None:
        raise RecordError(f"{key}: its public key is not in {keys}; put its .pub file there, or give --keys")
    with JobLog.open(folder) as log:
        if log.head != read.head:
            raise RecordError(f"{folder} changed while it was looked at; try again")
        line = append_signature(log, opened, name, decision, keys)
        rows = [one.entry for one in log.lines]
    done = "Signed" if line.seq >= len(read.lines) else f"Signed before, noted in {keys / SIGNED_LIST} now"
    typer.echo(f"{done}: {decision.decision} by {name}, line {line.seq + 1}, {line.hash[:16]}")
    again = how_to_do_again(rows)
    if again:
        typer.echo(f"Go on: {again}")
    for page in older_pages(folder, log.lines):
        typer.echo(str(page))


def _must_be_good(folder: Path, keys: Path) -> None:
    from handsfree.audit import audit as check
    from handsfree.record.signing import check_signatures

    report = check(folder, signatures=lambda read: check_signatures(read, keys))
    errors = [finding for finding in report.findings if finding.severity == "error"]
    if errors and all(finding.sort == STRANGER for finding in errors):
        raise RecordError(
            f"{keys} does not hold the key that signed {folder.name} before ({report.signed}): give the shop's "
            "folder with --keys, or put the .pub file there; the record itself is whole, and nothing was signed"
        )
    if report.errors:
        raise RecordError(
            f"{folder.name} is not signed: its audit finds {counted(report.errors, 'error')}; see handsfree audit"
        )
    if not report.finished:
        raise RecordError(
            f"{folder.name} is not finished, so it can't be signed; go on with handsfree resume"
        )


def new_key(
    file: Annotated[
        Path, typer.Argument(help="Where to put the private key. Its name is who it belongs to.")
    ],
    passphrase_file: PassphraseFile = None,
    keys: KeyFolder = Path("keys"),
) -> None:
    """Make a key pair: the private key with a passphrase, the public one into the shop's folder of keys."""
    from handsfree.record.signing import new_key as make

    public = make(file, keys, _passphrase(passphrase_file, f"New passphrase for {file}", twice=True))
    typer.echo(f"Private key: {file} (keep it, and the passphrase, to yourself)")
    typer.echo(f"Public key: {public} (whose is in this folder may sign)")


def _passphrase(file: Path | None, prompt: str, *, twice: bool = False) -> str:
    if file is not None:
        try:
            lines = file.read_text(encoding="utf-8").splitlines()
        except (OSError, UnicodeDecodeError):
            raise RecordError(
                f"{file} can't be read; give a file with the passphrase in its first line"
            ) from None
        return lines[0] if lines else ""
    if PASSPHRASE in os.environ:
        return os.environ[PASSPHRASE]
    try:
        if not sys.stdin.isatty():
            raise EOFError
        return str(typer.prompt(prompt, hide_input=True, confirmation_prompt=twice))
    except (typer.Abort, EOFError):
        raise RecordError(f"no passphrase; type it, or give --passphrase-file or {PASSPHRASE}") from None


def export_job(
    job: Job,
    form: Annotated[str, typer.Option("--format", help=f"One of {', '.join(FORMATS)}.")] = "json",
    pseudonyms: Annotated[
        bool, typer.Option("--pseudonyms", help="Names, badges and keys become person 1, person 2, ...")
    ] = False,
    to: Annotated[
        Path | None,
        typer.Option("--to", help="A new file; default: standard output, for a pipe.", metavar="FILE"),
    ] = None,
    jobs: Jobs = Path("jobs"),
) -> None:
    """Write a job in another form. The record stays the original. A damaged one is written too, with exit code 1."""
    if form not in FORMATS:
        raise typer.BadParameter(f"choose one of {', '.join(FORMATS)}", param_hint="--format")
    folder = find_job(job, jobs)
    if to is None and sys.stdout.isatty():  # thousands of characters, with names in them, and nothing to read
        raise RecordError(
            f"{form} is for a program, not for a screen: give --to FILE, or lead the output into a pipe; to read the "
            "job: handsfree show"
        )
    found = check_job(folder)
    wrong = [finding for finding in found if finding.severity == "error"]
    text = export(folder, form, pseudonyms=pseudonyms, damage=wrong)
    # Said first: the numbers of a table look sound whatever the record is.
    damage = what_is_damaged(found)
    if damage:
        typer.echo(f"handsfree: {damage}; do not rely on this export, see handsfree audit", err=True)
    if to is None:
        typer.echo(text, nl=False)
    else:
        write_out(to, text.encode())
        typer.echo(f"Written: {to}")
    if damage:
        raise typer.Exit(1)


def _whole_damage(folder: Path, keys: Path | None) -> str:
    """What makes a job's record untrustworthy, its signatures by the shop's keys too; "" for nothing. A key that is
    not in the folder of keys harms no record, nor does a last line that the power cut off."""
    from handsfree.record.signing import check_signatures

    signatures = check_signatures(read_log(folder), keys)[0]
    found = [one for one in check_job(folder) if one.check != "torn"]
    wrong = [one for one in signatures if one.severity == "error" and one.sort != STRANGER]
    return "; ".join([what_is_damaged(found), *(one.message for one in wrong)]).removeprefix("; ")


def forget(
    older_than: Annotated[int, typer.Option("--older-than", help="Days since a job's last event.", min=0)],
    keys: ShopKeys = None,
    jobs: Jobs = Path("jobs"),
) -> None:
    """Delete the sound of old jobs. Each record says so in a line of its own, and its chain stays whole.

    Their review pages hold the same sound and are deleted too: handsfree review makes them again, without it. A
    damaged job keeps its sound: one with a changed line or file, without its end, or (by the keys) a signature.
    """
    if not jobs.exists():
        # A misspelled folder must not look like sound that is gone.
        raise RecordError(
            f"{jobs}: no folder there, nothing was deleted; give the folder of jobs with --jobs"
        )
    from handsfree.review import forget_pages

    known = shop_keys(keys)

    def damage_of(folder: Path) -> str:
        return _whole_damage(folder, known)

    deleted, touched, pages = 0, 0, 0
    # Without its record nothing says how old the sound is, nor that it was dropped by policy.
    left = [f"{one.folder}: {NO_RECORD}; its sound is kept" for one in remains_in(jobs) if one.had_one]
    for folder in jobs_in(jobs, none=True):
        try:
            count = forget_audio(folder, older_than, damage=damage_of)
            if count:
                pages += forget_pages(folder)
        except RecordError as error:
            left.append(str(error))
            continue
        deleted += count
        touched += bool(count)
    typer.echo(f"{counted(deleted, 'utterance')} of {counted(touched, 'job')} deleted")
    if pages:
        typer.echo(f"Review pages with that sound deleted too: {pages}; handsfree review makes them again")
    for why in left:
        typer.echo(f"handsfree: {why}", err=True)
    if left:
        raise typer.Exit(1)
