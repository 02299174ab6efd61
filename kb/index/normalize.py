"""Normalise spellings: case, separators, look-alike letters, shapes of model numbers.

>>> normalise("nv40-21O/b"), fold("NV4021OB")
('NV4021OB', 'NV402108')
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache

LOOK_ALIKES = ("O0QD", "I1L", "S5", "B8", "Z2", "G6")
"""Characters that people confuse on a worn label; the digit of each class replaces it when folded."""

_STANDS_FOR = {"O0QD": "0", "I1L": "1", "S5": "5", "B8": "8", "Z2": "2", "G6": "6"}
_FOLD = str.maketrans({char: _STANDS_FOR[group] for group in LOOK_ALIKES for char in group})
_CLASS_OF = {char: group for group in LOOK_ALIKES for char in group}
FOLDED_ALPHABET = "0123456789ACEFHJKMNPRTUVWXY"
"""The characters that Latin letters and digits fold to."""

_LATIN = str.maketrans(
    dict(
        zip(
            "\u0410\u0412\u0415\u041a\u041c\u041d\u041e\u0420\u0421\u0422\u0423\u0425\u0417\u0406\u0408\u0405\u051a\u051c"
            "\u0391\u0392\u0395\u0396\u0397\u0399\u039a\u039c\u039d\u039f\u03a1\u03a4\u03a5\u03a7",
            "ABEKMHOPCTYX3IJSQWABEZHIKMNOPTYX",
            strict=True,
        )
    )
)
"""Cyrillic and Greek capitals that look like Latin ones (Unicode TR39, confusables)."""

MAX_CODE = 40
"""Characters of a normalised make or model that matching compares; the rest is cut off."""


def normalise(text: str, *, keep_unknown: bool = False) -> str:
    """Return the letters and digits of ``text``, upper case, without accents and signs, at most ``MAX_CODE``.

    With ``keep_unknown`` a ``?`` stays: in a query it means an unreadable character.
    """
    upper = text.upper() if text.isascii() else unicodedata.normalize("NFKD", text).upper().translate(_LATIN)
    kept = [char for char in upper if char.isalnum() or (keep_unknown and char == "?")]
    return "".join(kept)[:MAX_CODE]


def fold(code: str) -> str:
    """Replace every look-alike of a normalised code by the digit of its class."""
    return code.translate(_FOLD)


def alike(one: str, other: str) -> bool:
    """Return whether two characters belong to one look-alike class."""
    group = _CLASS_OF.get(one)
    return group is not None and other in group


_KEYS = ("1234567890", "QWERTYUIOP", "ASDFGHJKL", "ZXCVBNM")
"""Rows of a US keyboard, each half a key to the right of the one above."""
_SOUNDS = ("BCDEGPTVZ3", "AHJK8", "FSX", "MN", "IY", "59")
"""Names of letters and digits that sound alike in English (common practice)."""


def confused(one: str, other: str) -> bool:
    """Return whether two characters are next to each other on a keyboard, or sound alike when spoken.

    >>> confused("G", "H"), confused("B", "D"), confused("B", "X")
    (True, True, False)
    """
    if any(one in group and other in group for group in _SOUNDS):
        return True
    places = [(at, row.index(char)) for char in (one, other) for at, row in enumerate(_KEYS) if char in row]
    if len(places) < 2:
        return False
    (row, column), (below, next_column) = sorted(places)
    return (row == below and abs(column - next_column) == 1) or (
        below == row + 1 and column - next_column in (0, 1)
    )


def spellings(make: str, model: str) -> tuple[str, ...]:
    """Return the normalised models under which a set is found: the model, and it without a leading make.

    Labels often print the make inside the model ("Norwell NV40" by Norwell).
    """
    code = normalise(model)
    maker = normalise(make)
    if maker and code.startswith(maker) and len(code) - len(maker) >= 3:
        return code, code[len(maker) :]
    return (code,)


@lru_cache(maxsize=4096)
def shape(code: str) -> str:
    """Return the skeleton of a model number: letters kept, each digit ``#``, letters after the last digit
    cut.

    Letters after the last digit are the region, colour or edition ("suffix"); digits are size and number.
    A look-alike letter between two digits counts as a digit. "" if there is no digit.

    >>> shape("NV40210XA"), shape("NV4O210")
    ('NV#####', 'NV#####')
    """
    chars = ["#" if char.isdigit() else char for char in code]
    for at in range(1, len(chars) - 1):
        between = chars[at - 1] == "#" and code[at + 1].isdigit()
        if between and chars[at] != "#" and (chars[at] in _CLASS_OF or chars[at] == "?"):
            chars[at] = "#"
    while chars and chars[-1] != "#":
        chars.pop()
    return "".join(chars)


def stem(code: str) -> str:
    """Return the code without the letters after its last digit (all of it if it has no digit)."""
    end = len(code)
    while end and not code[end - 1].isdigit():
        end -= 1
    return code[:end] or code
