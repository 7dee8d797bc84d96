"""A chain head as a few words that can be spoken, written on a work order and compared.

128 words, 7 bits each: five words are the head's first 35 bits. That tells one record from another and a
changed record from the one that was heard; against somebody who computes for hours a signature is the answer.
The words are in the recognizer's dictionary and at least as far apart in sound as answers armed together.
"""

from __future__ import annotations

import re

from ._errors import RecordError

__all__ = ["WORDS", "check_words", "check_words_of"]

_BITS, _COUNT = 7, 5

_TEXT = """
    apron bamboo biscuit blanket blossom boulder button cabbage candle canvas cargo chimney cinnamon
    compass coral coyote crocus crystal denim desert dolphin dragon drummer elbow elephant emerald
    feather gallery garden garlic gazelle ginger giraffe gravel guitar harbor harvest hickory hostel
    igloo island ivory jacket jigsaw jungle kangaroo kingdom kitchen lagoon linen lobster lumber magpie
    marathon marble melody mineral mirror mosaic mountain mustard nebula nectar nutmeg oasis octopus
    orchard oxygen oyster palace papaya parrot pastry pavilion pelican piano plywood poncho pretzel
    prism pumpkin pyramid quarry quiver radar rainbow rodeo saffron scooter shadow shepherd shovel
    signal sketch slipper sparrow spinach stallion steeple stencil sunset swallow syrup tapestry temple
    theater thimble thunder tomato topaz tornado tractor trolley trumpet tulip twilight umbrella vanilla
    velvet village vinegar violin volcano vulture waffle walnut walrus winter
    """
WORDS = tuple(_TEXT.split())


def check_words(head: str) -> tuple[str, ...]:
    """The five words of a hash (64 hex digits). Raises ValueError for what is no hexadecimal text."""
    bits = int(head[:16], 16) if head else 0
    top = 4 * len(head[:16])
    return tuple(WORDS[bits >> top - _BITS * (n + 1) & 2**_BITS - 1] for n in range(_COUNT))


def check_words_of(text: str) -> tuple[str, ...]:
    """The words that somebody wrote down, whatever stands between them. Raises RecordError for other than five of the
    list."""
    words = tuple(re.findall(r"[a-z]+", text.lower()))
    odd = [f"{word!r} is no check word" for word in words if word not in WORDS]
    if len(words) != _COUNT:
        odd.append(f"{len(words)} check words")
    if odd:
        raise RecordError(f"{odd[0]}; give the five that were written down when the job ended")
    return words
