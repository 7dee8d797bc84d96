"""The recorded numbers among Debian's voice prompts, by the number; the rest is the bench's."""

from __future__ import annotations

from handsfree.bench._prompts import missing, prompts, sentence_prompts, tuned_on

__all__ = ["NUMBER_NAMES", "missing", "prompts", "sentence_prompts", "tuned_on"]

_TO_19 = """zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen
sixteen seventeen eighteen nineteen"""
_TENS = "twenty thirty forty fifty sixty seventy eighty ninety"
NUMBER_NAMES = {
    **dict(enumerate(_TO_19.split())),
    **{10 * n: name for n, name in enumerate(_TENS.split(), 2)},
}
