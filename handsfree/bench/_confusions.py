"""How often one of two phrases is heard as the other, with exactly these two armed beside the commands."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from handsfree import _wiring as wiring
from handsfree.audio import SAMPLE_RATE
from handsfree.bench._noise import mix, pink
from handsfree.bench._pairs import HALVES, Pair
from handsfree.bench._voices import Speakers
from handsfree.grammar import Armed, Library
from handsfree.hearing import Listener

__all__ = ["LEVELS", "Trial", "jobs", "measure"]

#: Signal-to-noise ratio of pink noise in dB; 40 is a quiet room (digital silence is in none).
LEVELS = (40.0, 20.0, 10.0)
_BEFORE_S, _AFTER_S, _SETTLING_S = 0.9, 1.0, 6.0  # a session has heard the room before the first answer


@dataclass(frozen=True, slots=True)
class Trial:
    """One phrase said once. ``heard``: the sentence of the recognizer, "" for none. ``accepted``: it would have
    been taken for an answer. ``level``: signal-to-noise ratio, dB."""

    one: str
    other: str
    part: str
    said: str
    voice: str
    level: float
    heard: str
    accepted: bool

    @property
    def confused(self) -> bool:
        """Heard as the other one, accepted or not: acceptance can't tell them apart."""
        return self.heard == (self.other if self.said == self.one else self.one)


Job = tuple[Pair, str]  # a pair, and which of the two is said


def jobs(
    pairs: Iterable[Pair], speakers: Mapping[str, Sequence[str]], levels: Sequence[float]
) -> dict[tuple[str, float], list[Job]]:
    """What each voice says at each level. A planted pair is said both ways by every voice of its half at every
    level; a pair of the procedures both ways at each level by one voice, all voices taking turns."""
    turns = [voice for half in HALVES for voice in speakers[half]]
    found: dict[tuple[str, float], list[Job]] = {(voice, at): [] for voice in turns for at in levels}
    for number, pair in enumerate(pairs):
        for n, level in enumerate(levels):
            said_by = speakers[pair.part] if pair.part in HALVES else [turns[(number + n) % len(turns)]]
            for voice in said_by:
                found[voice, level] += [(pair, pair.one), (pair, pair.other)]
    return found


def measure(
    work: Mapping[tuple[str, float], list[Job]], seed: int = 1, tell: Callable[[str], None] = lambda _: None
) -> Iterator[Trial]:
    """Every job once. Each voice and level has a recognizer and a listener of its own, as a session has, so
    that what they learn of voice and room does not carry over. Raises VoiceError, EngineError."""
    library, speakers = Library.load(), Speakers()
    armed: dict[Pair, Armed] = {}
    try:
        for (voice, level), own in work.items():
            if not own:
                continue
            tell(f"{voice} at {level:g} dB: {len(own)} phrases")
            engine = wiring.build_engine(wiring.Setup())
            listener = Listener(engine)
            for number, (pair, said) in enumerate(own):
                if pair not in armed:
                    armed[pair] = _arm(library, pair)
                listener.arm(armed[pair])
                pcm = _in_room(speakers.say(said, voice), _BEFORE_S if number else _SETTLING_S)
                pcm = mix(pcm, pink(len(pcm) // 2, seed + number), level)
                found = [one.hypothesis for one in listener.hear(pcm)]
                best = next(
                    (h for h in found if h.text in (pair.one, pair.other)), found[0] if found else None
                )
                text = best.text if best is not None else ""
                accepted = best is not None and best.accepted and armed[pair].interpret(text) is not None
                yield Trial(pair.one, pair.other, pair.part, said, voice, level, text, accepted)
            engine.close()
    finally:
        speakers.close()


def _arm(library: Library, pair: Pair) -> Armed:
    commands = {"command": "<commands.command>"}
    answers = [p for p in (pair.one, pair.other) if library.arm(commands).interpret(p) is None]
    if answers:
        commands["answer"] = " | ".join(answers)
    return library.arm(commands)


def _in_room(pcm: bytes, before_s: float) -> bytes:
    """Silence around it, to be filled with noise."""
    return bytes(2 * round(before_s * SAMPLE_RATE)) + pcm + bytes(2 * round(_AFTER_S * SAMPLE_RATE))
