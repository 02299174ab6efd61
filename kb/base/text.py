"""Check the text that people enter, and show it so that it has no effect.

>>> line("  NV40-210 ", "model")
'NV40-210'
>>> note("first\\x1b[31m line", "note")
'first␛[31m line'
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from typing import Final

from kb.base.errors import BadInput
from kb.base.messages import Said, Wording

LINE: Final = 80  #: characters of a make, model, marking, item
SETTING: Final = 300  #: characters of a menu setting
NOTE: Final = 4000  #: characters of a note

_KEEP = frozenset("\n\t")
_DEL = 0x7F


def line(value: object, place: Wording, limit: int = LINE, *, empty: bool = True) -> str:
    """One line of text, NFC, without blanks at the ends.

    Raises BadInput if it is no text, is longer than ``limit``, has control characters (they would
    steer a terminal or hide what is there), or is empty though ``empty`` is false.
    """
    if not isinstance(value, str):
        raise BadInput(place, value, Said("expected/text"))
    if len(value) > 4 * limit:
        raise BadInput(place, Said("seen/characters", count=len(value)), Said("expected/at-most", most=limit))
    text = unicodedata.normalize("NFC", value).strip()
    if len(text) > limit:
        raise BadInput(place, Said("seen/characters", count=len(text)), Said("expected/at-most", most=limit))
    if not text.isprintable() and not all(_harmless(c) for c in text):
        raise BadInput(place, text, Said("expected/text-without-controls"))
    if not (text or empty):
        raise BadInput(place, value, Said("expected/some-text"))
    return text


def note(value: object, place: Wording, limit: int = NOTE) -> str:
    """Free text of several lines; control characters are kept as their visible signs.

    Raises BadInput if it is no text or longer than ``limit``.
    """
    if not isinstance(value, str):
        raise BadInput(place, value, Said("expected/text"))
    if len(value) > limit:
        raise BadInput(place, Said("seen/characters", count=len(value)), Said("expected/at-most", most=limit))
    text = unicodedata.normalize("NFC", value.replace("\r\n", "\n").replace("\r", "\n"))
    return visible(text, keep=_KEEP).strip()


def visible(text: str, keep: frozenset[str] = frozenset()) -> str:
    """The text with every steering character made visible; what it says stays readable.

    >>> visible("a\\x07b")
    'a␇b'
    """
    if text.isprintable():
        return text
    return "".join(c if c in keep or _harmless(c) else _sign(c) for c in text)


def without_accents(text: str) -> str:
    """The text without accents and other marks on letters; compatible signs as the usual ones (NFKD)."""
    return "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))


def folded(text: str) -> str:
    """Capitals, digits and single blanks only: the form in which markings and names are compared.

    >>> folded("Kopfhörer-Ausgang (L/R)")
    'KOPFHORER AUSGANG L R'
    """
    return re.sub(r"[^A-Z0-9]+", " ", without_accents(text.replace("ß", "ss")).upper()).strip()


#: Letters that Unicode does not decompose, as people write them without the stroke.
_UNDECOMPOSED: Final = str.maketrans({"Ł": "L", "Ø": "O", "Æ": "A", "Œ": "OE", "Đ": "D"})


def plain_capitals(text: str) -> str:
    """Capitals and digits of any script without accents, one blank between words: how marks are compared.

    >>> plain_capitals("Słuchawki"), plain_capitals("Çıkış: АУДИО")
    ('SLUCHAWKI', 'CIKIS АУДИО')
    """
    if text.isascii() and text.isalnum():  # most words: nothing to fold
        return text.upper()
    flat = unicodedata.normalize("NFKC", text).replace("ß", "ss").upper().translate(_UNDECOMPOSED)
    return " ".join("".join(c if c.isalnum() else " " for c in without_accents(flat)).split())


def squeezed(text: str) -> str:
    """Letters and digits of any script, folded, with nothing between: the identity of a name.

    >>> squeezed("nv 40/210") == squeezed("NV40-210") == "NV40210"
    True
    """
    if text.isascii():  # most names: nothing to fold
        return "".join(filter(str.isalnum, text.upper()))
    flat = unicodedata.normalize("NFKD", text.casefold()).upper()
    return "".join(c for c in flat if c.isalnum() and not unicodedata.combining(c))


def joined(names: Iterable[str], sign: str) -> str:
    r"""Names as one text, parted by ``sign`` (one character); a sign or backslash in a name gets a backslash.

    >>> joined(["a, b", "c"], ","), parted(joined(["a, b", "c"], ","), ",")
    ('a\\, b, c', ['a, b', 'c'])
    """
    return f"{sign} ".join(re.sub(rf"([\\{re.escape(sign)}])", r"\\\1", one) for one in names)


def parted(said: str, sign: str) -> list[str]:
    """The names that ``joined`` put together, or that a person typed so; empty ones are left out."""
    inside = re.escape(sign)
    parts = re.findall(rf"(?:[^{inside}\\]|\\.?)+", said, re.DOTALL)
    names = (re.sub(rf"\\([\\{inside}])", r"\1", one).strip() for one in parts)
    return [one for one in names if one]


def cells(text: str) -> int:
    """Columns that the text takes on a terminal: Chinese, Japanese and Korean signs and pictures take two.

    >>> cells("AUDIO"), cells("音声"), cells("a\N{COMBINING ACUTE ACCENT}")
    (5, 4, 1)
    """
    if text.isascii():
        return len(text)
    return len(text) + sum(_cells(c) - 1 for c in text if not c.isascii())


def wrapped(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    """The text in lines of at most ``width`` cells, broken at blanks; a word that fills a line is cut.

    >>> wrapped("optical cable 2 m, mini-TOSLINK adapter", 22, "  ", "    ")
    ['  optical cable 2 m,', '    mini-TOSLINK', '    adapter']
    """
    lines = []
    line, bare = first, True
    taken = cells(line)
    for word in text.split():
        long = cells(word)
        if not bare and taken + 1 + long > width:
            lines.append(line)
            line, taken, bare = rest, cells(rest), True
        while bare and long > (room := max(width - taken, _LEAST_CELLS)):
            cut = _fitting(word, room)
            lines.append(line + word[:cut])
            line, taken, word = rest, cells(rest), word[cut:]
            long = cells(word)
        line, taken = (f"{line}{word}", taken + long) if bare else (f"{line} {word}", taken + 1 + long)
        bare = False
    return lines if bare else [*lines, line]


_LEAST_CELLS: Final = 8  #: what a line holds at least, however deep it is set in


def _fitting(word: str, room: int) -> int:
    """How many signs of a word that is too long fit."""
    taken = 0
    for count, char in enumerate(word):
        taken += _cells(char)
        if taken > room:
            return max(1, count)
    return len(word)


def _cells(char: str) -> int:
    if unicodedata.category(char) in ("Mn", "Me"):
        return 0
    return 2 if unicodedata.east_asian_width(char) in "WF" else 1


def _harmless(char: str) -> bool:
    # Categories C* (control, format, surrogate, private, unassigned) and line separators steer or hide.
    return char.isprintable() or unicodedata.category(char) == "Zs"


def _sign(char: str) -> str:
    code = ord(char)
    if code < ord(" "):
        return chr(0x2400 + code)  # Unicode control pictures
    return "␡" if code == _DEL else "�"


#: What parts the words of a list, wherever people type one.
SEPARATORS: Final = ",;/|"
_PARTED: Final = re.compile(rf"[{re.escape(SEPARATORS)}\s]+")
_PARTED_NAMES: Final = re.compile(rf"[{re.escape(SEPARATORS.replace('/', ''))}]+")


def words_of_list(said: str, *, names: bool = False) -> list[str]:
    """Return the words of a list as typed; ``names``: a space or a slash belongs to one.

    >>> words_of_list("line-3.5, optical/coaxial"), words_of_list("cable 2 m; DAC", names=True)
    (['line-3.5', 'optical', 'coaxial'], ['cable 2 m', 'DAC'])
    """
    words = (_PARTED_NAMES if names else _PARTED).split(said)
    return [word.strip() for word in words if word.strip()]
