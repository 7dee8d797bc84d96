"""The words of the screen: every sign, bar and color it uses stands beside a word. Pure."""

from __future__ import annotations

from collections.abc import Iterator

from handsfree.procedure import Mode
from handsfree.session._ears import Level
from handsfree.session._shown import Hearing, Judged, Running, Shown

__all__ = [
    "bar",
    "hearing_words",
    "left",
    "outcome_words",
    "over_noise",
    "room_words",
    "state_word",
    "wait_words",
]

_OUTCOMES = {"inside": ("OK", "INSIDE"), "outside": ("XX", "OUTSIDE"), "close": ("??", "TOO CLOSE")}
#: Words for dB over noise, by what this recognizer reaches in noise (README, "What it reaches").
_OVER_NOISE = ((20, "good"), (15, "fair"), (10, "poor"))
_MOST_DB = 40


def state_word(shown: Shown, level: Level | None) -> str:
    """What the tool is doing, in one or two words."""
    match shown.mode:
        case Mode.STOPPED:
            return "WORK STOPPED"
        case Mode.FINISHED:
            return "FINISHED"
        case Mode.HELD:
            return "ON HOLD"
        case Mode.WAITING if not shown.speaking:
            return "WAITING"
        case Mode.IDLE:
            return "STARTING"
    if shown.speaking:
        return "SPEAKING"
    if level is not None and level.in_speech:
        return "HEARING YOU"
    return "TYPE NOW" if shown.typing is not None else "LISTENING"


def outcome_words(judged: Judged) -> str:
    """Sign and word: "OK INSIDE", "XX OUTSIDE", "?? TOO CLOSE"; a warning says that it is one."""
    sign, word = _OUTCOMES.get(judged.outcome, ("--", judged.outcome.upper()))
    if judged.outcome != "inside" and judged.severity != "stop":
        return f"!! WARNING: {word}"
    return f"{sign} {word}"


def left(ms: int) -> str:
    """Time left as minutes and seconds, the second that has begun counted whole: "2:47"."""
    seconds = max(0, ms + 999) // 1000
    return f"{seconds // 60}:{seconds % 60:02d}"


def wait_words(timer: Running, now: int) -> str:
    """ "2:47 left, then at most 1:48 more"; once it is over: "over, go on within 1:48"."""
    if timer.over:
        return "over" if timer.longest_due is None else f"over; go on within {left(timer.longest_due - now)}"
    more = "" if timer.longest_due is None else f", not over {left(timer.longest_due - now)}"
    return f"{left(timer.shortest_due - now)} left{more}"


def over_noise(snr_db: float) -> str:
    return next((word for least, word in _OVER_NOISE if snr_db >= least), "too noisy, come closer")


def bar(share: float, width: int) -> str:
    """A bar of ``width`` cells, filled from the left."""
    full = round(min(max(share, 0.0), 1.0) * width)
    return "█" * full + "░" * (width - full)


def hearing_words(hearing: Hearing, width: int = 10) -> Iterator[str]:
    """The words heard, what they were taken for, and how loud they came."""
    yield f'"{hearing.text}"' if hearing.text else "nothing that could be understood"
    if hearing.understood:
        yield f"understood: {hearing.understood}"
    if hearing.speech_dbfs is not None and hearing.snr_db is not None:
        loud = ", TOO LOUD: clipped" if hearing.clipped else ""
        yield (
            f"{bar(hearing.snr_db / _MOST_DB, width)} {over_noise(hearing.snr_db)}: {hearing.speech_dbfs:.0f} dBFS, "
            f"{hearing.snr_db:.0f} dB over noise{loud}"
        )


def room_words(level: Level, width: int = 10) -> str:
    """The microphone now, while nobody need speak."""
    over = level.now_dbfs - level.noise_dbfs
    return f"{bar(over / _MOST_DB, width)} now {level.now_dbfs:.0f} dBFS, noise {level.noise_dbfs:.0f} dBFS"
