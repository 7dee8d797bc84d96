"""Letters of 5 by 8 dots, two dots a character cell: four rows high, to be read from across a bay.

Drawn as on any dot-matrix display: a byte a column, the top dot in the lowest bit, the eighth for descenders.
"""

from __future__ import annotations

import textwrap

__all__ = ["ROWS", "big", "big_width"]

ROWS = 4  # terminal rows of a line
_STEP = 6  # columns from letter to letter
_CELLS = " ▀▄█"  # by the upper dot and twice the lower one

_FONT = {
    " ": "0000000000", "!": "00005f0000", '"': "0007000700", "%": "2313086462", "&": "3649562050",
    "'": "0000070000", "(": "001c224100", ")": "0041221c00", "*": "140c1f0c14", "+": "08083e0808",
    ",": "0080603000", "-": "0808080808", ".": "0060600000", "/": "2010080402", ":": "0036360000",
    ";": "0080763600", "=": "1414141414", "?": "0201510906", "_": "4040404040", "|": "00007f0000", "~": "0804081008",
    "0": "3e5149453e", "1": "00427f4000", "2": "4261514946", "3": "2141454b31", "4": "1814127f10",
    "5": "2745454539", "6": "3c4a494930", "7": "0171090503", "8": "3649494936", "9": "064949291e",
    "A": "7e1111117e", "B": "7f49494936", "C": "3e41414122", "D": "7f4141221c", "E": "7f49494941",
    "F": "7f09090901", "G": "3e4149497a", "H": "7f0808087f", "I": "00417f4100", "J": "2040413f01",
    "K": "7f08142241", "L": "7f40404040", "M": "7f020c027f", "N": "7f0408107f", "O": "3e4141413e",
    "P": "7f09090906", "Q": "3e4151215e", "R": "7f09192946", "S": "4649494931", "T": "01017f0101",
    "U": "3f4040403f", "V": "1f2040201f", "W": "3f4038403f", "X": "6314081463", "Y": "0708700807",
    "Z": "6151494543",
    "a": "2054545478", "b": "7f48444438", "c": "3844444420", "d": "384444487f", "e": "3854545418",
    "f": "087e090102", "g": "18a4a4a47c", "h": "7f08040478", "i": "00447d4000", "j": "4080847d00",
    "k": "7f10284400", "l": "00417f4000", "m": "7c04180478", "n": "7c08040478", "o": "3844444438",
    "p": "fc24242418", "q": "18242424fc", "r": "7c08040408", "s": "4854545420", "t": "043f444020",
    "u": "3c4040207c", "v": "1c2040201c", "w": "3c4030403c", "x": "4428102844", "y": "1ca0a0a07c",
    "z": "4464544c44",
}  # fmt: skip
_COLUMNS = {letter: bytes.fromhex(columns) for letter, columns in _FONT.items()}


def big_width(text: str) -> int:
    """Columns of one line."""
    return max(0, _STEP * len(text) - 1)


def big(text: str, width: int) -> list[str]:
    """``text`` in big letters, wrapped between words to ``width`` columns: ``ROWS`` rows a line.

    Empty when it can't be shown so: a letter that is not drawn here, or a word that does not fit.
    """
    words = text.split()
    room = (width + 1) // _STEP
    if any(len(word) > room for word in words) or not set(text) - {"\n"} <= _COLUMNS.keys():
        return []
    return [
        row
        for line in textwrap.wrap(" ".join(words), max(room, 1), break_on_hyphens=False)
        for row in _rows(line)
    ]


def _rows(line: str) -> list[str]:
    columns = [byte for letter in line for byte in (*_COLUMNS[letter], 0)][:-1]
    return ["".join(_CELLS[byte >> 2 * row & 3] for byte in columns) for row in range(ROWS)]
