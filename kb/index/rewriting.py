"""Rewrite a query that was spoken, or copied from a label, into the make and model that it gives.

Each ``Rewriting`` is one way to read the query; the one that finds the closest set counts. The names of
letters, and the other words on labels, are data: ``data/spoken.json``, ``data/labels.json``.

>>> spoken(tuple("norwell november victor four zero dash two one zero".split()))
('norwell', 'NV40-210')
>>> said = label("NORWELL LED TV MODEL NO.: NV40-210 AC 220-240V 50Hz S/N 4081233".split())
>>> said.code, said.beside
(('NV40-210',), ('NORWELL',))
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import Any, Final, NamedTuple

from kb.base.datafiles import data_object
from kb.base.text import without_accents

Kind = str  # kind of a spoken word: "letter", "digit", "number", "times", "separator", "and", "naming"


def plain(word: str) -> str:
    """Return a word in lower case, without accents and without signs at its ends."""
    lower = word.lower()
    return (lower if lower.isascii() else without_accents(lower)).strip(".,;:()[]|~!?*#'`\"=-_/")


# spoken


@lru_cache(maxsize=1)
def _lexicon() -> dict[tuple[str, ...], tuple[Kind, str]]:
    """Return the meanings of spoken words, and of up to three words in a row."""
    data: dict[str, dict[str, Any]] = data_object("spoken.json")
    out: dict[tuple[str, ...], tuple[Kind, str]] = {}
    for alphabet in data["alphabets"].values():
        for word in alphabet["words"]:
            out[tuple(word.split())] = ("letter", word[0].upper())
    for kind, table in (
        ("letter", "letters"),
        ("digit", "digits"),
        ("number", "numbers"),
        ("times", "times"),
    ):
        for sign, words in data[table].items():
            for word in words if sign != "source" else ():
                out[tuple(word.split())] = (kind, sign)
    for kind in ("separators", "and", "naming"):
        for word in data[kind]["words"]:
            out.setdefault(tuple(word.split()), (kind, word))
    return out


_MOST_WORDS = 3  # of one sign: "y griega", "como en"
_TELLING = 2  # a run with so many spoken signs is a code


class _Said(NamedTuple):
    kind: Kind
    sign: str
    size: int  # tokens


def _signs(words: Sequence[str], at: int) -> _Said | None:
    """Return the meaning of the words from ``at`` on: the longest entry of the lexicon."""
    lexicon = _lexicon()
    for size in range(min(_MOST_WORDS, len(words) - at), 0, -1):
        found = lexicon.get(tuple(words[at : at + size]))
        if found:
            return _Said(*found, size)
    word = words[at]
    if len(word) == 1 and word.isalnum() and word.isascii():
        return _Said("letter" if word.isalpha() else "digit", word.upper(), 1)
    return None


def _named(words: Sequence[str], at: int) -> tuple[str, int] | None:
    """Return the letter that a word names, as in "n for november", and the number of words used."""
    first = _signs(words, at)
    if first is None or first.kind != "letter":
        return None
    how = at + first.size
    lexicon = _lexicon()
    for size in (2, 1):
        if how + size >= len(words):
            continue
        said = tuple(words[how : how + size])
        naming = lexicon.get(said, ("", ""))[0] == "naming" or said == ("de",)
        word = words[how + size]
        number = lexicon.get((word,), ("", ""))[0] in ("digit", "number", "times")
        if naming and word.isalpha() and len(word) > 1 and not number:
            if said == ("de",) and word[0].upper() != first.sign:
                continue
            two = _lexicon().get(tuple(words[how + size : how + size + 2]))
            more = 2 if two and two[0] == "letter" else 1
            return word[0].upper(), first.size + size + more
    return None


def spoken(tokens: tuple[str, ...], *, tens: bool = False) -> tuple[str, ...] | None:
    """Join the signs of each spoken code in the tokens; None if there is no spoken code.

    "forty two ten" is 42-10, or 40-210 with ``tens``.
    """
    if len(tokens) < 2 or sum(token.isalpha() for token in tokens) < 2:
        return None
    words, whole = _split(tokens)
    out: list[str] = []
    changed = False
    at = 0
    while at < len(words):
        end, code, said = _run(words, whole, at, tens)
        if said >= _TELLING and len(code) > 1 and any(char.isdigit() for char in code):
            out.append(code)
            changed = True
            at = end
        else:
            out.append(whole[at])
            at += 1
    return tuple(out) if changed else None


def _split(tokens: tuple[str, ...]) -> tuple[list[str], list[str]]:
    """Return the plain words (hyphenated ones split if a part is a spoken sign), and the words as typed."""
    lexicon = _lexicon()
    words, whole = [], []
    for token in tokens:
        word = plain(token)
        pieces = word.split("-")
        if (word,) not in lexicon and len(pieces) > 1 and all((piece,) in lexicon for piece in pieces):
            words += pieces
            whole += pieces
        elif word:
            words.append(word)
            whole.append(token)
    return words, whole


def _run(words: list[str], whole: list[str], start: int, tens: bool) -> tuple[int, str, int]:
    """Return the end of the code that begins at ``start``, the code, and its number of spoken signs.

    With ``tens``, a digit belongs to the number after it, not to the tens before it.
    """
    out: list[str] = []
    said = 0
    at = start
    times = 1
    number = 0  # a following number is added to this: 40 of "forty two", 200 of "two hundred"
    while at < len(words):
        named = _named(words, at)
        if named is not None:
            out += named[0] * times
            at += named[1]
            said, times, number = said + 2, 1, 0
            continue
        one = _signs(words, at)
        if one is None:
            if not _bit(whole[at]) or times > 1:
                break
            out.append(whole[at].strip(".,;:"))
            at, number = at + 1, 0
            continue
        if one.kind == "times":
            if at + 1 >= len(words) or _signs(words, at + 1) is None:
                break
            times = int(one.sign)
        elif one.kind == "separators":
            if not out or at + one.size >= len(words):
                break
            out.append("-")
            said, number = said + 1, 0
        elif one.kind in ("and", "naming"):
            if not number:
                break
        elif one.kind == "number" and one.sign == "100" and out and out[-1] in "123456789":
            number = 100 * int(out.pop())
            out.append(str(number))
            said += 1
        else:
            value = int(one.sign) if one.kind != "letter" else 0
            step = 10 if number % 100 == 0 else 1
            room = 100 if step == 10 else 10
            adds = number and 0 < value < room and number % room == 0 and times == 1
            after = _signs(words, at + one.size) if tens and adds and at + one.size < len(words) else None
            if adds and one.kind != "letter" and not (after and after.kind == "number"):
                number += value
                out[-1] = str(number)
            else:
                out += [one.sign] * times
                number = value if one.kind == "number" and value % 10 == 0 and value > 10 else 0
            said += len(words[at]) > 1 or one.size > 1
            times = 1
        at += one.size
    while out and out[-1] == "-":
        out.pop()
    return at, "".join(out), said


def _bit(token: str) -> bool:
    """Return whether a token may be part of a code: it has a digit, or is short and in capitals."""
    if any(char.isdigit() or char == "?" for char in token):
        return True
    return len(token) <= 3 and token.isupper() and token.isascii()


# signs that run into each other

_PAIRS: Final = (("rn", "m"), ("vv", "w"), ("cl", "d"))
"""Two letters that look like one in small print or to a camera (common practice)."""


def run_together(tokens: tuple[str, ...]) -> tuple[str, ...] | None:
    """Replace each pair of letters that looks like one letter; None if there is no such pair."""
    out = []
    for token in tokens:
        said = token.lower()
        for pair, one in _PAIRS:
            said = said.replace(pair, one)
        out.append(said if said != token.lower() else token)
    return tuple(out) if tuple(out) != tokens else None


# labels


class Label(NamedTuple):
    """Hold the content of a label's line.

    ``code`` is the value of the model's field, or all that remains if no field names the model. ``beside``
    are the other words, in order; the make may be among them.
    """

    code: tuple[str, ...]
    beside: tuple[str, ...]
    named: bool


@lru_cache(maxsize=1)
def _stuff() -> dict[tuple[str, ...], str]:
    """Return words of labels by kind: a field's name, "mark", "origin", "unit"."""
    data: dict[str, Any] = data_object("labels.json")
    out: dict[tuple[str, ...], str] = {}
    for kind, words in data["fields"].items():
        for word in words if kind != "source" else ():
            out[tuple(plain(part) or part for part in word.split())] = kind
    for kind, table in (("origin", "origin"), ("mark", "marks")):
        for word in data[table]["words"]:
            out.setdefault(tuple(word.split()), kind)
    return out


_NUMBER: Final = r"\d+(?:[.,]\d+)?"
_TO: Final = r"[-/\u2013]"
_VOLTS: Final = "(?:100|110|115|120|127|200|220|230|240)"
"""Mains voltages in use (IEC 60038 and older ones): a range of them is no model even without a unit."""


@lru_cache(maxsize=1)
def _patterns() -> dict[str, re.Pattern[str]]:
    """Compile patterns of ratings, dates and the like, only when a query may be a label's: it takes long."""
    return {
        "rating": re.compile(
            rf"[~=]*(?:ac|dc)?{_NUMBER}(?:v|hz|w|a)?(?:{_TO}{_NUMBER})?"
            r"(?:v|vac|vdc|hz|w|watts?|a|ma|va|kwh?|kg|mm|cm)[~=]*\Z"
            rf"|[~=]*(?:ac)?{_VOLTS}{_TO}{_VOLTS}[~=]*\Z"
        ),
        "range": re.compile(rf"[~=]*(?:ac|dc)?{_NUMBER}(?:{_TO}{_NUMBER})?[~=]*\Z"),
        "date": re.compile(
            r"(?:\d{1,2}[./-](?:19|20)\d\d|(?:19|20)\d\d[./-]\d{1,2}(?:[./-]\d{1,2})?"
            r"|\d{1,2}[./-]\d{1,2}[./-]\d{2,4})\Z"
        ),
        "between": re.compile(r"(?<=[A-Za-z\u00b0\u00ba\u00aa/]):(?=\S)"),  # "Model:NV40-210", "SN:4081233"
    }


_UNIT: Final = re.compile(r"[^\W\d_]*(?=[~=]*\Z)")  # a range of mains voltages may have none
_SAME: Final = {"": "v", "vac": "v", "vdc": "v", "ma": "a", "watt": "w", "watts": "w", "cm": "mm"}
"""Units of one quantity."""

_LINE: Final = 4  # so many tokens may be a label's line even if it does not name the model
_RATED: Final = 3  # so many, if one of them may be a rating: "nv40-210 230v 60w"
_NAMED: Final = ("mod", "typ", "tip", "art", "\u043c\u043e\u0434", "\u0442\u0438\u043f")
_VALUE: Final = 5  # at most so many tokens form a model
_SERIAL_FROM: Final = 8  # a code of so many characters with six digits in a row is no model
_KINDS: Final = 2  # a line with so many kinds of such things is a label's, even without a model's field


def is_field(name: str) -> bool:
    """Return whether a label may have a field of this name: "serial"."""
    return _stuff().get((plain(name),)) not in (None, "mark")


def may_be_label(tokens: Sequence[str]) -> bool:
    """Return whether calling ``label`` may pay: cheap, and reads no data."""
    if len(tokens) >= _LINE or any(":" in token or token[:3].lower() in _NAMED for token in tokens):
        return True
    return len(tokens) >= _RATED and any(token[:1].isdigit() and token[-1:].isalpha() for token in tokens)


def label(tokens: Sequence[str]) -> Label | None:
    """Read a line that was copied from a label; None if the tokens are no such line."""
    code, left, seen, explicit = _taken_apart(tokens)
    if code and (seen or explicit) and (seen or any(map(_coded, code))) and len("".join(code)) > 1:
        return Label(tuple(code), tuple(word for word in left if not _coded(plain(word))), True)
    if len(seen) < _KINDS or not left:
        return None
    return Label(tuple(left), (), False)


def printed(text: str) -> Label:
    """Read a line that a camera saw on a label: ``code`` has a digit, and is empty if no field names a model.

    ``beside`` are the words that are neither in a field nor a mark of conformity.

    >>> printed("MODELNO.NV40-210 S/N 4081233"), printed("NORWELL LED TV").beside
    (Label(code=('NV40-210',), beside=(), named=True), ('NORWELL',))
    """
    text = _NUMBER_OF.sub("N\u00b0", text)
    code, left, _, _ = _taken_apart(_names_apart(text.split()))
    if not any(map(_coded, code)) or _NUMBERED.match(code[0]):
        apart = _apart(text)
        code, left, _, _ = (
            _taken_apart(_names_apart(apart.split())) if apart != text else (code, left, {}, False)
        )
    if any(map(_coded, code)) and len("".join(code)) > 1:
        return Label(tuple(code), tuple(left), True)
    return Label((), tuple(left), False)


_NUMBER_OF: Final = re.compile(r"\bN[\d?](?=\s?(?:de|di|du|do)\b)", re.IGNORECASE)  # "N9 de modelo": N° de
_NUMBERED: Final = re.compile(
    r"n[or\u00b0\u00ba]{1,2}[.:]", re.IGNORECASE
)  # "NO.NV40-210": a name and its value


def names_fields(text: str) -> bool:
    """Return whether a text is the name of a field without its value: "MODEL NO.:"; or several names."""
    tokens = _names_apart(text.split())
    words = [plain(token) for token in tokens]
    at = fields = 0
    while at < len(words):
        kind, size = _kind(words, tokens, at)
        if not kind or kind in ("unit", "origin") or (kind == "mark" and words[at]):
            return False
        if any(map(_coded, words[at : at + size])):
            return False
        fields += kind != "mark"
        at += size
    return fields > 0


def dates(text: str) -> list[int]:
    """Return the years in the dates of a label's line.

    >>> dates("MFG DATE 03/2014 S/N 20151234"), dates("Baujahr: 2009"), dates("AC 2010")
    ([2014], [2009], [])
    """
    tokens = text.split()
    words = [plain(token) for token in tokens]
    years = []
    dated = 0  # so many tokens after the name of a date may be one
    for at, word in enumerate(words):
        if _kind(words, tokens, at)[0] == "date":
            dated = 4
        if dated and (found := re.search(r"(?<!\d)(?:19[5-9]|20[0-4])\d(?!\d)", word)):
            years.append(int(found[0]))
        dated = max(0, dated - 1)
    return years


_BLANK: Final = r"[\s.:/_-]*"  # what may be between the letters of a name on a photo, or be lost there
_ALIKE: Final = {"o": "[o0]", "i": "[il1|!]", "l": "[il1|!]"}
_GLUED_FROM: Final = 5  # so many letters are a name even if a code follows without a blank


@lru_cache(maxsize=1)
def _glued() -> list[tuple[str, re.Pattern[str]]]:
    """Return names of fields, longest first, with the pattern of a line that begins with one."""
    fields: dict[str, Any] = data_object("labels.json")["fields"]
    names = {
        "".join(filter(str.isalpha, name)): name for kind in ("model", "serial") for name in fields[kind]
    }
    return [
        (name, re.compile(_BLANK.join(_ALIKE.get(c, re.escape(c)) for c in letters) + _BLANK + r"(?=\S*\d)"))
        for letters, name in sorted(names.items(), key=lambda one: -len(one[0]))
        if len(letters) >= _GLUED_FROM
    ]


def _apart(text: str) -> str:
    """Return a line with the blanks that a camera lost between the name of a field and its value."""
    bare = "".join(unicodedata.normalize("NFKD", char)[0] for char in text.lower())
    for name, pattern in _glued():
        found = pattern.match(bare) if len(bare) == len(text) else None
        if found:
            return f"{name}: {text[found.end() :]}"
    return text


def _names_apart(tokens: Sequence[str]) -> list[str]:
    """Split names of one field in several languages, "Modell/Modelo"; a code with a stroke stays."""
    out: list[str] = []
    for token in tokens:
        parts = token.split("/")
        names = {plain(part) for part in parts} & {name[0] for name in _stuff()}
        known = (plain(token),) in _stuff() or any(map(str.isdigit, token))
        out += filter(None, [token] if known or not names else parts)
    return out


def _taken_apart(tokens: Sequence[str]) -> tuple[list[str], list[str], set[str], bool]:
    """Return the value of a model's field, the words in no field, the kinds of other fields, and if the
    model's field cannot be a caller's word: "model no." and "model:" are from a label.
    """
    tokens = [part for token in tokens for part in _patterns()["between"].sub(": ", token).split()]
    words = [plain(token) for token in tokens]
    code: list[str] = []
    left: list[str] = []
    seen: set[str] = set()
    explicit = False
    at = 0
    while at < len(tokens):
        kind, size = _kind(words, tokens, at)
        if not kind:
            left.append(tokens[at])
            at += 1
            continue
        at += size
        if kind == "rating":  # volts and watts are two kinds, volts in two ways are one
            unit = _UNIT.findall("".join(words[at - size : at]))[0]
            seen.add(_SAME.get(unit, unit))
        elif kind != "mark":
            seen.add(kind)
        if kind == "model":
            explicit = explicit or size > 1 or ":" in tokens[at - 1]
            value = list(_value(words, tokens, at))
            if not any(map(_coded, value)):  # a name, or a number without a readable digit
                value = value[:1]
            if value and (not code or (not any(map(_coded, code)) and any(map(_coded, value)))):
                code = value
            at += len(value)
        elif kind == "serial":
            at += at < len(tokens) and _coded(words[at])
        elif kind == "origin":
            at += at < len(tokens) and words[at] in _articles()
            at += at < len(tokens)
        elif kind == "number":
            while at < len(tokens) and _coded(words[at]) and not _kind(words, tokens, at)[0]:
                at += 1
        elif kind == "date":
            at += at + 1 < len(tokens) and words[at].isalpha() and words[at + 1].isdigit()
            at += at < len(tokens) and any(map(str.isdigit, words[at]))
    seen.discard("model")
    return code, left, seen, explicit


@lru_cache(maxsize=1)
def _articles() -> frozenset[str]:
    return frozenset(data_object("labels.json")["origin"]["articles"])


@lru_cache(maxsize=1)
def _units() -> frozenset[str]:
    return frozenset(data_object("labels.json")["units"]["words"])


def _coded(word: str) -> bool:
    return any(map(str.isdigit, word))


def _kind(words: Sequence[str], tokens: Sequence[str], at: int) -> tuple[str, int]:
    """Return the kind and the number of tokens of a non-model thing at ``at``; "" if it may be a model."""
    stuff = _stuff()
    for size in range(min(4, len(words) - at), 0, -1):
        kind = stuff.get(tuple(words[at : at + size]))
        if kind:
            return kind, size
    word = words[at]
    if not word:
        return "mark", 1
    patterns = _patterns()
    if patterns["date"].match(word):
        return "date", 1
    if patterns["rating"].match(word):
        return "rating", 1
    if patterns["range"].match(word) and at + 1 < len(words) and words[at + 1] in _units():
        return "rating", 2
    if (
        patterns["range"].match(word)
        and at + 2 < len(words)
        and not words[at + 1]
        and words[at + 2] in _units()
    ):
        return "rating", 3  # "220-240 ~ V", "12 === V"
    return "", 0


def _value(words: Sequence[str], tokens: Sequence[str], at: int) -> Iterator[str]:
    """Yield the tokens of a model's field from ``at`` on, up to another kind of thing or a long word."""
    coded = False
    for place in range(at, min(at + _VALUE, len(tokens))):
        word = words[place]
        kind, _ = _kind(words, tokens, place)
        if kind and (kind != "rating" or coded):
            return
        if coded and not _coded(word) and len(word) > 2:  # words after the number are not part of it
            return
        if coded and len(word) >= _SERIAL_FROM and re.search(r"\d{6}", word):
            return
        yield tokens[place]
        coded = coded or _coded(word)
        if tokens[place][-1:] in ",;|" and coded:
            return
