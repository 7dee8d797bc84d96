"""Gates 1 to 3, from what was heard to an event: accepted by sound, a whole armed sentence, one meaning."""

from __future__ import annotations

from typing import Final

from handsfree.audio import snr_db
from handsfree.grammar import Armed, Interpretation
from handsfree.hearing import DROWNED, LEAST_SNR_DB, UNLIKE, Hypothesis, is_short, probability_of
from handsfree.procedure import NO_ANSWER, NOT_HELD, TYPED, UNSURE, Answer, Command, NoMatch
from handsfree.session._bay import BAY, NEEDLESS
from handsfree.session._ears import GAP, Heard
from handsfree.session._people import CODE, WITHHELD_WORDS, People

__all__ = ["NO_ANSWER", "STOPS_FROM", "TOO_NOISY", "event_of", "evidence", "meaning_of", "room_level"]

TOO_NOISY: Final = "too noisy"
#: How likely "stop work" must be right that is obeyed though it was not heard surely. Of 31 that were said, in noise
#: down to 5 dB, all were likelier (the least 0.80); in 4.2 hours of talk it was heard 9 times, at most at 0.776. Amid
#: talk it must be so likely with what was heard before, too: the second time it nearly always is.
STOPS_FROM: Final = 0.78
#: What talk is taken for most: a third of all that is heard in it. It is armed so that it is heard as what it is, and
#: counts only from the keyboard; to say it takes two words.
_TALK: Final = frozenset({"hold"})


def meaning_of(heard: Heard, armed: Armed) -> Interpretation | None:
    """The one meaning of what was heard, None when it has none or was not accepted."""
    hypothesis = heard.hypothesis
    return armed.interpret(hypothesis.text) if hypothesis.text and hypothesis.accepted else None


def event_of(heard: Heard, armed: Armed, people: People, now: int) -> Answer | Command | NoMatch:
    """What the machine is told. ``armed`` is what was listened for."""
    hypothesis, meaning = heard.hypothesis, meaning_of(heard, armed)
    typed = hypothesis.engine == TYPED
    if _stops(hypothesis, armed):
        return Command(now, "stop_work", hypothesis.text)
    level = _too_low(heard)
    if level:
        return NoMatch(now, hypothesis.text, TOO_NOISY, level)
    if not hypothesis.text:
        return NoMatch(now, "", hypothesis.reason or "nothing understood", typed=typed)
    if not hypothesis.accepted:
        return NoMatch(now, hypothesis.text, hypothesis.reason or "not accepted", typed=typed)
    if meaning is None and CODE in armed.labels:  # typed: a word that is not among the decoys is wrong too
        return Answer(now, WITHHELD_WORDS, CODE, ((CODE, "wrong"),), typed=typed)
    if meaning is None:
        return NoMatch(now, hypothesis.text, NO_ANSWER, typed=typed)
    if meaning.label == "command":
        name = meaning.slot("command") or ""
        doubtful = hypothesis.unsure or (heard.utterance is not None and meaning.text in _TALK)
        return NoMatch(now, meaning.text, UNSURE) if doubtful else Command(now, name, meaning.text)
    if meaning.label == BAY and hypothesis.unsure:  # to turn to another tire is a command, too
        return NoMatch(now, meaning.text, UNSURE)
    if meaning.label in dict(NEEDLESS):
        return NoMatch(now, meaning.text, UNSURE if hypothesis.unsure else NOT_HELD, typed=typed)
    slots = people.named(meaning.slots)
    return Answer(now, meaning.text, meaning.label, slots, meaning.number, hypothesis.unsure, typed)


def _stops(hypothesis: Hypothesis, armed: Armed) -> bool:
    """Whether work is to stop: also when it was heard a little unsurely, in too much noise, with a gap, or by one of
    two recognizers, since stopping for nothing hurts nobody. A bare "stop" must be heard surely: any noise has one
    syllable."""
    doubtful = hypothesis.unsure or hypothesis.reason in (DROWNED, GAP, UNLIKE)
    scores = dict(hypothesis.scores)
    if doubtful and "probability" in scores and probability_of(scores) < STOPS_FROM:
        return False
    if not (hypothesis.accepted or doubtful) or (doubtful and is_short(hypothesis.text)):
        return False
    meaning = armed.interpret(hypothesis.text)
    return meaning is not None and meaning.label == "command" and meaning.slot("command") == "stop_work"


def _too_low(heard: Heard) -> str:
    return "" if heard.utterance is None else _level(heard.utterance.least_snr_db)


def _level(snr: float) -> str:
    return "" if snr >= LEAST_SNR_DB else str(max(0, int(snr)))


def room_level(speech_dbfs: float | None, noise_dbfs: float | None) -> str:
    """How far speech as it was last understood stands over the room now, whole dB; "" where that is enough."""
    if speech_dbfs is None or noise_dbfs is None:
        return ""
    return _level(snr_db(speech_dbfs, noise_dbfs))


def evidence(heard: Heard, audio: str) -> dict[str, object]:
    """What the record keeps of an utterance, also of a refused one. ``audio``: the path of its sound."""
    hypothesis, utterance = heard.hypothesis, heard.utterance
    body: dict[str, object] = {
        "hypothesis": hypothesis.text,
        "engine": hypothesis.engine,
        "accepted": "true" if hypothesis.accepted else "false",
        **({"unsure": "true"} if hypothesis.unsure else {}),
        "scores": {name: f"{score:.3f}" for name, score in hypothesis.scores},
        "words": [
            {"text": w.text, "start_s": f"{w.start_s:.2f}", "end_s": f"{w.end_s:.2f}"}
            for w in hypothesis.words
        ],
    }
    if utterance is not None:
        body["audio"] = audio
        body["level"] = {
            "speech_dbfs": f"{utterance.speech_dbfs:.1f}",
            "noise_dbfs": f"{utterance.noise_dbfs:.1f}",
            "snr_db": f"{utterance.snr_db:.1f}",
            "clipped": str(utterance.clipped),
        }
    return body
