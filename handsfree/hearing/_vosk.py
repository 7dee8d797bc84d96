"""The vosk engine, for a machine that has a model of its own (no model is ever downloaded here)."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from handsfree.hearing._types import EngineError, Hypothesis, MissingWord, Word

if TYPE_CHECKING:
    from handsfree.grammar import Armed

__all__ = ["VoskEngine"]

_RATE: Final = 16000
_UNKNOWN: Final = "[unk]"
_SILENT: Final = -1  # vosk's log level that prints nothing but fatal errors


class VoskEngine:
    """A vosk model, restricted to the armed grammar's words.

    vosk makes a word-pair model of the list, so any order of the words can come out: parse strictly. Its
    word confidence is near 1 for whatever survives and is passed on only for the record. The words'
    presence in the model is checked here, because vosk drops unknown ones with no more than a log line.
    The same sound gives the same words; scores and times differ in the last digits, since vosk dithers.

    ``model_dir`` holds ``am``, ``graph`` and ``conf``; the graph must be a dynamic one (``Gr.fst`` and
    ``HCLr.fst``), since vosk ignores a word list on a static graph. Raises EngineError.
    """

    name = "vosk"

    def __init__(self, model_dir: Path | str) -> None:
        vosk = _import_vosk()
        vosk.SetLogLevel(_SILENT)
        folder = _checked(Path(model_dir))
        try:
            self._model: Any = vosk.Model(model_path=str(folder))
        except Exception:
            raise EngineError(f"{folder}: vosk can't load this model; unpack it again") from None
        self._recognizer_type: Any = vosk.KaldiRecognizer
        self._has_unknown = self._knows(_UNKNOWN)
        self._recognizer: Any = None
        self._words: tuple[str, ...] = ()
        self._list = ""  # the words as vosk wants them
        self._parts: list[dict[str, Any]] = []

    def arm(self, armed: Armed) -> None:
        words = tuple(sorted(set(armed.words())))
        missing = tuple(word for word in words if not self._knows(word))
        if missing:
            raise MissingWord(self.name, missing)
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
        # A new one each time: after Reset() vosk goes on counting the word times from the first utterance.
        self._recognizer = self._recognizer_type(self._model, _RATE, self._list)
        self._recognizer.SetWords(True)
        self._parts = []

    def feed(self, pcm: bytes) -> None:
        # True means vosk's own endpointer cut here: keep its part, the utterance is ours to end.
        if self._recognizer.AcceptWaveform(pcm):
            self._parts.append(json.loads(self._recognizer.Result()))

    def partial(self) -> str:
        heard = [part.get("text", "") for part in self._parts]
        heard.append(json.loads(self._recognizer.PartialResult()).get("partial", ""))
        return " ".join(" ".join(heard).split())

    def end(self) -> Hypothesis:
        self._parts.append(json.loads(self._recognizer.FinalResult()))
        entries = [entry for part in self._parts for entry in part.get("result", ())]
        words = tuple(_word(entry) for entry in entries)
        text = " ".join(word.text for word in words)
        confidence = min((float(entry["conf"]) for entry in entries), default=0.0)
        if any(word.text == _UNKNOWN for word in words):
            return Hypothesis(
                text, words, self.name, (("confidence", confidence),), False, "a word not listed"
            )
        if not words:
            return Hypothesis("", (), self.name, (), False, "no words heard")
        return Hypothesis(text, words, self.name, (("confidence", confidence),))

    def close(self) -> None:
        self._recognizer = None
        self._model = None

    def _knows(self, word: str) -> bool:
        return int(self._model.vosk_model_find_word(word)) >= 0


def _word(entry: dict[str, Any]) -> Word:
    return Word(entry["word"], float(entry["start"]), float(entry["end"]), float(entry["conf"]))


def _import_vosk() -> Any:
    try:
        import vosk
    except ImportError:
        raise EngineError("vosk is not installed; run pip install 'handsfree[vosk]'") from None
    except OSError as error:
        raise EngineError(
            f"vosk's library can't be loaded ({error}); run pip install 'handsfree[vosk]'"
        ) from None
    return vosk


def _checked(folder: Path) -> Path:
    """vosk ends the process on some broken models, so look before it does."""
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
