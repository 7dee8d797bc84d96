"""The vosk engine, for a machine that has a model of its own (no model is ever downloaded here)."""

from __future__ import annotations

import json
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from handsfree.hearing._types import EngineError, Hypothesis, MissingWord, Word

if TYPE_CHECKING:
    from handsfree.grammar import Armed

__all__ = ["FREE_FIT", "VoskEngine", "checked_model"]

_RATE: Final = 16000
_UNKNOWN: Final = "[unk]"
_SILENT: Final = -1  # vosk's log level that prints nothing but fatal errors

FREE_FIT: Final = -0.15
"""Least (listed words - any words) of the log-likelihood per 10 ms frame.

Any words of the model's own language explain speech outside the list better. Measured on the Korean model with
espeak's Korean voice, ten words listed: of 37 of them that were heard right 1 lies under it; of 80 other phrases 78
gave listed words, 28 of these lie under it, and of the 23 that were one listed word alone, which the strict parse
takes, 3. Few, but a synthetic voice that the model hardly understands is its hardest case. For English to be measured
again: python -m handsfree.bench hearing --engine vosk --model DIR prints what is refused and what is taken.
"""


class VoskEngine:
    """A vosk model, restricted to the armed grammar's words.

    vosk makes a word-pair model of the list, so any order of the words can come out: parse strictly. Its
    word confidence is near 1 for whatever survives, so it is not asked for. Instead a second recognizer, which may
    hear any words, runs over the same sound: where that explains it much better (``FREE_FIT``), something outside the
    list was said. The words' presence in the model is checked by ``check`` and ``arm``, because vosk drops unknown
    ones with no more than a log line.
    The same sound gives the same words; scores and times differ in the last digits, since vosk dithers.

    ``model_dir`` holds ``am``, ``graph`` and ``conf``; the graph must be a dynamic one (``Gr.fst`` and
    ``HCLr.fst``), since vosk ignores a word list on a static graph. Raises EngineError.
    """

    name = "vosk"

    def __init__(self, model_dir: Path | str, *, free_check: bool = True) -> None:
        vosk = _import_vosk()
        vosk.SetLogLevel(_SILENT)
        folder = checked_model(Path(model_dir))
        try:
            self._model: Any = vosk.Model(model_path=str(folder))
        except Exception:
            raise EngineError(f"{folder}: vosk can't load this model; unpack it again") from None
        self._recognizer_type: Any = vosk.KaldiRecognizer
        self._has_unknown = self._knows(_UNKNOWN)
        # Any words take several times the computing time of a short list: a second core does them beside.
        self._beside = ThreadPoolExecutor(1, "any words") if free_check else None
        self._listed: _Decoder | None = None
        self._free: _Decoder | None = None
        self._frames = 0.0  # of 10 ms
        self._words: tuple[str, ...] = ()
        self._list = ""  # the words as vosk wants them

    def check(self, words: Iterable[str]) -> None:
        """Whether the model knows all of these. Raises MissingWord that names the others."""
        missing = tuple(word for word in sorted(set(words)) if not self._knows(word))
        if missing:
            raise MissingWord(self.name, missing)

    def arm(self, armed: Armed) -> None:
        words = tuple(sorted(set(armed.words())))
        self.check(words)
        if words == self._words:
            return
        self._words = words
        # The list ranks all orders alike; [unk] takes up speech outside it where the model has that word.
        listed = [*words, _UNKNOWN] if self._has_unknown else [*words]
        # Plain UTF-8: vosk's JSON reader takes "\\uXXXX" for six letters, and then drops the word.
        self._list = json.dumps([" ".join(listed), *listed], ensure_ascii=False)

    def begin(self) -> None:
        if not self._list:
            raise EngineError("nothing is armed; arm a grammar before an utterance begins")
        # New ones each time: after Reset() vosk goes on counting the word times from the first utterance.
        self._listed = _Decoder(self._recognizer_type(self._model, _RATE, self._list))
        self._free = _Decoder(self._recognizer_type(self._model, _RATE)) if self._beside is not None else None
        self._frames = 0.0

    def feed(self, pcm: bytes) -> None:
        self._frames += len(pcm) / 320
        if self._beside is not None and self._free is not None:
            self._beside.submit(self._free.feed, pcm)
        if self._listed is not None:
            self._listed.feed(pcm)

    def partial(self) -> str:
        return self._listed.partial() if self._listed is not None else ""

    def end(self) -> Hypothesis:
        assert self._listed is not None  # begin comes before
        words, score = self._listed.end()
        text = " ".join(word.text for word in words)
        scores: tuple[tuple[str, float], ...] = ()
        fits = True
        if self._beside is not None and self._free is not None and self._frames:
            free = self._beside.submit(self._free.end).result()[1] / self._frames
            ratio = score / self._frames - free
            scores = (("listed", score / self._frames), ("free", free), ("free_ratio", ratio))
            fits = ratio >= FREE_FIT
        reason = ""
        if not words:
            reason = "no words heard"
        elif any(word.text == _UNKNOWN for word in words):
            reason = "a word not listed"
        elif not fits:
            reason = "other words fit the sound better"
        return Hypothesis(text, words, self.name, scores, not reason, reason)

    def close(self) -> None:
        if self._beside is not None:
            self._beside.shutdown()
        self._listed = self._free = None
        self._model = None

    def _knows(self, word: str) -> bool:
        return int(self._model.vosk_model_find_word(word)) >= 0


class _Decoder:
    """One of vosk's recognizers over one utterance: words with their times, and the log-likelihood of it all."""

    def __init__(self, recognizer: Any) -> None:
        self._recognizer = recognizer
        recognizer.SetWords(True)
        recognizer.SetMaxAlternatives(1)  # its "confidence" is then the path's log-likelihood
        self._parts: list[dict[str, Any]] = []

    def feed(self, pcm: bytes) -> None:
        # True means vosk's own endpointer cut here: keep its part, the utterance is ours to end.
        if self._recognizer.AcceptWaveform(pcm):
            self._take(self._recognizer.Result())

    def partial(self) -> str:
        heard = [str(part.get("text", "")) for part in self._parts]
        heard.append(json.loads(self._recognizer.PartialResult()).get("partial", ""))
        return " ".join(" ".join(heard).split())

    def end(self) -> tuple[tuple[Word, ...], float]:
        self._take(self._recognizer.FinalResult())
        words = tuple(
            Word(str(entry["word"]), float(entry["start"]), float(entry["end"]))
            for part in self._parts
            for entry in part.get("result", ())
        )
        return words, sum(float(part.get("confidence", 0.0)) for part in self._parts)

    def _take(self, result: str) -> None:
        self._parts += json.loads(result).get("alternatives", ())[:1]


def _import_vosk() -> Any:
    try:
        import vosk
    except ImportError:
        raise EngineError("vosk is not installed; run .venv/bin/pip install '.[vosk]'") from None
    except OSError as error:
        raise EngineError(
            f"vosk's library can't be loaded ({error}); run .venv/bin/pip install '.[vosk]'"
        ) from None
    return vosk


def checked_model(folder: Path) -> Path:
    """The folder, if it is a model that takes a word list. Raises EngineError: vosk ends the process on some broken
    models, so look before it does."""
    if not folder.is_dir():
        raise EngineError(f"{folder}: no such folder; give the folder of an unpacked vosk model with --model")
    missing = [part for part in ("am/final.mdl", "conf/model.conf") if not (folder / part).is_file()]
    if missing:
        raise EngineError(
            f"{folder}: not a vosk model ({', '.join(missing)} missing); give the unpacked folder"
        )
    dynamic = [part for part in ("graph/Gr.fst", "graph/HCLr.fst") if not (folder / part).is_file()]
    if dynamic:
        raise EngineError(
            f"{folder}: this model takes no word list ({', '.join(dynamic)} missing); use a small one"
        )
    return folder
