"""Group the text on a photo of a panel into jacks, as a draft that a person confirms.

A mark is next to its jack, above or below it: only marks are seen here, no sockets. Lines of one mark are
joined; L and R become one pair; a heading such as AUDIO OUT goes to each jack under it. What plugs in and
which way the sound goes is the panel reader's word (``kb.domain.marking``).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import pairwise
from typing import Final, NamedTuple

from kb.base.messages import Wording
from kb.base.text import LINE, plain_capitals
from kb.domain import marking
from kb.domain.jack import Jack
from kb.domain.language import Language
from kb.domain.mark_words import ROWS
from kb.domain.visit import JACKS, finding_from, read_together
from kb.domain.words import Direction, Form, Kind, Signal
from kb.read.picture import PictureReader, Piece, Reading, cleaned
from kb.read.printed_lines import Line, level, look_alikes, slope

#: Why a jack of the draft is not certain: its text was hard to read, a letter was misread, a word is none of
#: panels, only one of L and R was seen, a heading over several was given to it, its mark does not settle what
#: plugs in.
DOUBTS: Final = ("faint", "mended", "unknown", "side", "heading", "form")
FAINT: Final = 0.85  #: a reader that is less sure than this is often wrong
_MET: Final = 0.5  # of a mark's letters, so many belong to words that panels have
_LONGEST: Final = 44  # signs of a mark
_SENTENCE: Final = 5  # words; a panel has some warnings, too
_SENTENCES: Final = 4
_MOST: Final = 200  # texts that are looked at; a panel has some dozens (common practice)
_KEPT: Final = 1024  # texts whose reading is kept
_MEND: Final = 4  # letters of a word of which one may be misread


@dataclass(frozen=True, slots=True)
class SeenJack:
    """Hold a jack of the draft: what was read at it, and what the panel reader makes of that.

    ``x`` and ``y`` are the place of its mark as shares of the photo's width and height. ``sure`` is from 0 to
    1, the lowest of its pieces. ``doubts`` says why it is not certain (``DOUBTS``).
    """

    marking: str
    form: Form
    direction: Direction
    signal: Signal | None
    x: float
    y: float
    sure: float
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PanelDraft:
    """Hold what a photo of a panel shows; ``picture`` is the photo as a JPEG of our own."""

    jacks: tuple[SeenJack, ...]
    reading: Reading
    picture: bytes = b""

    @property
    def flaws(self) -> tuple[str, ...]:
        """What is wrong with the photo (``quality.FLAWS``); ``page`` if it shows a page of sentences."""
        sentences = sum(len(one.text.split()) >= _SENTENCE for one in self.reading.pieces)
        page = sentences >= _SENTENCES and 2 * sentences > len(self.reading.pieces)
        return (("page",) if page else ()) + self.reading.flaws


def look(sent: bytes, place: Wording, kind: Kind = Kind.TELEVISION) -> PanelDraft:
    """Read the panel on a photo from anywhere, of a source of this kind.

    Raises as ``PictureReader`` and ``cleaned`` do.
    """
    with PictureReader(place) as reader:
        picture = cleaned(sent, place)
        reading = joined(*looks(reader, picture, place))
    return PanelDraft(jacks_in(reading, kind), reading, picture)


def looks(reader: PictureReader, picture: bytes, place: Wording = "photo") -> Iterator[Reading]:
    """Yield the readings of a photo of a panel that are to be ``joined``: grain hides other marks in each."""
    yield reader.read(picture, place)
    yield reader.read(picture, place, closer=True)


class Difference(NamedTuple):
    """Hold where a photo and the book differ: exactly one of ``known`` and ``seen``, or both of one jack.

    Only ``known``: the photo shows no mark of a jack that the book has. Only ``seen``: the book does not have
    this jack. Both: their directions contradict each other.
    """

    known: Jack | None
    seen: SeenJack | None

    def said(self, language: Language) -> str:
        """The difference in words."""
        if self.known is None:
            assert self.seen is not None
            return language("read/differs/new", jack=self.seen.marking or language.word(self.seen.form))
        if self.seen is None:
            return language("read/differs/not-seen", jack=named_jack(self.known, language))
        return language(
            "read/differs/way",
            jack=self.seen.marking or language.word(self.seen.form),
            known=language.word(self.known.direction),
            seen=language.word(self.seen.direction),
        )


def named_jack(jack: Jack, language: Language) -> str:
    """Return what plugs into a jack, its mark, and which way its sound goes."""
    words = [language.word(jack.direction)] if jack.direction is not Direction.UNCLEAR else []
    return ", ".join([f"{language.word(jack.form)} {jack.marking}".strip(), *words])


def differences(seen: Sequence[SeenJack], known: Sequence[Jack]) -> list[Difference]:
    """Return where a photo differs from what the book knows of the set; jacks without sound say nothing."""
    left = [one for one in seen if one.signal is not Signal.NOT_AUDIO]
    found: list[Difference] = []
    for jack in known:
        if jack.signal is Signal.NOT_AUDIO:
            continue
        one = _same_jack(jack, left)
        if one is None:
            found.append(Difference(jack, None))
            continue
        left.remove(one)
        if {jack.direction, one.direction} == {Direction.INPUT, Direction.OUTPUT}:
            found.append(Difference(jack, one))
    return found + [Difference(None, one) for one in left]


def _same_jack(jack: Jack, seen: Sequence[SeenJack]) -> SeenJack | None:
    """Return the jack of the photo with the same mark; else the only one of its form that reads alike."""
    said = marking.without_side(jack.marking)
    for one in seen:
        if one.form is jack.form and marking.without_side(one.marking) == said:
            return one
    for one in seen:  # what plugs in is a guess where only a mark was seen
        if "form" in one.doubts and said and marking.without_side(one.marking) == said:
            return one
    alike = [one for one in seen if one.form is jack.form and one.signal is jack.signal]
    alike = [one for one in alike if one.direction in (jack.direction, Direction.UNCLEAR) or not jack.marking]
    return alike[0] if len(alike) == 1 else None


# -- several readings of one photo -----------------------------------------------------------------------


def joined(whole: Reading, *nearer: Reading) -> Reading:
    """Return what readings of one photo show together; of several texts at one place the likeliest mark."""
    kept = _likeliest(whole)
    for near in nearer:
        for theirs, mine in _clusters(kept, _likeliest(near)):
            more = len(theirs) - len(mine) if mine else 0  # two marks are often taken for one
            if _worth(theirs) * _PARTED**more > _worth(mine):
                kept = [piece for piece in kept if piece not in mine] + theirs
    return replace(whole, pieces=tuple(kept))


_PARTED: Final = 1.15  # how much likelier a place of two texts is, than of one with the same letters


def _likeliest(reading: Reading) -> list[Piece]:
    """Return the texts that are likeliest marks; whatever a photo shows, its reading ends."""
    return sorted(reading.pieces, key=lambda one: -_worth([one]))[:_MOST]


def _clusters(first: list[Piece], second: list[Piece]) -> Iterator[tuple[list[Piece], list[Piece]]]:
    """Yield the pieces of the second reading with those of the first that are at their place."""
    left = [(one, [other for other in first if _over(one, other)]) for one in second]
    while left:
        one, mine = left.pop()
        theirs = [one]
        while near := [pair for pair in left if any(other in mine for other in pair[1])]:
            left = [pair for pair in left if pair not in near]
            theirs += [other for other, _ in near]
            mine += [other for _, others in near for other in others if other not in mine]
        yield theirs, mine


def _over(one: Piece, other: Piece) -> bool:
    """Is the middle of one piece in the other?"""
    if math.dist(one.corners[0], other.corners[0]) > 2 * (_reach_of(one) + _reach_of(other)):
        return False
    return _holds(one, _middle(other)) or _holds(other, _middle(one))


def _reach_of(piece: Piece) -> float:
    return math.dist(piece.corners[0], piece.corners[2])


def _middle(piece: Piece) -> tuple[float, float]:
    return sum(x for x, _ in piece.corners) / 4, sum(y for _, y in piece.corners) / 4


def _holds(piece: Piece, point: tuple[float, float]) -> bool:
    (x0, y0), (x1, y1), _, (x3, y3) = piece.corners
    wide, high = math.hypot(x1 - x0, y1 - y0) or 1.0, math.hypot(x3 - x0, y3 - y0) or 1.0
    dx, dy = point[0] - x0, point[1] - y0
    along = (dx * (x1 - x0) + dy * (y1 - y0)) / wide
    down = (dx * (x3 - x0) + dy * (y3 - y0)) / high
    return 0 <= along <= wide and 0 <= down <= high


def _worth(pieces: Iterable[Piece]) -> float:
    """Return how much of a text panels have, weighted by how sure it was read."""
    return sum(one.sure**2 * (_met(one.text) + 0.2) * len(plain_capitals(one.text)) for one in pieces)


@lru_cache(maxsize=_KEPT)
def _met(text: str) -> float:
    """Return the share of a text's letters that belong to words of panels; digits count half."""
    words = plain_capitals(text).split()
    unread = marking.unread_words(text)
    all_of = sum(map(len, words))
    outside = set(plain_capitals(re.sub(r"\(.*?\)", " ", text)).split())
    if outside & set(words) and not outside & unread:
        return 1.0  # what a bracket says of a socket may be anything
    strange = sum(len(word) for word in unread)
    return max(0.0, 1 - strange / all_of) if all_of else 0.0


# -- texts -----------------------------------------------------------------------------------------------


@dataclass(slots=True, eq=False)
class _Part:
    """A text in the frame of the panel, whose lines are level: a mark, or a part of one."""

    text: str
    left: float
    right: float
    top: float
    bottom: float
    sure: float
    at: tuple[float, float]  #: its middle on the photo
    doubts: set[str] = field(default_factory=set)
    pair: bool = False
    side: str = ""  #: the only one of L and R that was seen
    own: str = ""  #: its own words, without those of a heading
    headed: bool = False

    @property
    def x(self) -> float:
        return (self.left + self.right) / 2

    @property
    def y(self) -> float:
        return (self.top + self.bottom) / 2

    @property
    def high(self) -> float:
        return self.bottom - self.top

    @property
    def words(self) -> frozenset[str]:
        return marking.words_of(self.text)


#: G and D, as in French, count in brackets alone: else they may be anything.
_SIDE: Final = re.compile(r"(?:[([]?([LR])[)\]]?|[([]([GD])[)\]]?|(L)EFT|(R)IGHT)\Z")
_BOTH: Final = re.compile(r"(?:L|R)\s*[-/\s]\s*(?:L|R)\Z")
_AROUND: Final = re.compile(r"([LR])\W+(\w.*\w)\W+([LR])\Z")
_GLUED: Final = re.compile(r"([LR])(\w{3,})([LR])\Z")
#: Two sockets read as one text: before such a word another mark begins.
_SOCKET: Final = re.compile(
    r"(?<=[\w)])\s*(?<![/-])(?=HDMI|\b(?:USB|LAN|SCART|VGA|ANT IN|ANTENNA)\b|\bUSB ?\d)"
    r"|(?<=OPTICAL)\s+(?=COAX)|(?<=COAXIAL)\s+(?=OPTICAL)"
    r"|(?:(?<=\bOUT)|(?<=\bIN))\s+(?=[^\s(].*\b(?:OUT|IN)\b)"
)
_NUMERAL: Final = re.compile(r"\(?(\d)\)?(?:\W*\(?(e?ARC|DVI|STB|MHL|HDCP ?[\d.]+)\)?)?\Z", re.IGNORECASE)
_QUALIFIER: Final = re.compile(r"[(\[].{1,18}[)\]]?\Z")
_POWER: Final = re.compile(r"[\d.,]+ ?V\b.{0,12}\Z|[\d.,]+ ?(?:A|MA)\Z", re.IGNORECASE)
#: Meanings of words that are printed at a jack, though they may say nothing of it alone.
_NO_MARK: Final = frozenset(
    "IN OUT LEFT RIGHT STEREO MONO CHANNEL ZONE FIXED VARIABLE TO FROM TV FRONT OF SHARE LINK".split()
)
_SOUND: Final = frozenset("AUDIO LINE VIDEO DIGITAL".split())


def _side_of(text: str) -> str:
    """Return L or R if that is all that a text says, whatever its language and brackets; else ""."""
    found = _SIDE.match(text.upper())
    said = found[found.lastindex] if found and found.lastindex else ""
    return {"G": "L", "D": "R"}.get(said, said)


def _parts(reading: Reading) -> list[_Part]:
    """Return the texts of a photo, level, one for each mark as far as a text alone tells."""
    angle = slope(reading.pieces)
    found: list[_Part] = []
    for piece in _likeliest(reading):
        line = level(piece, angle)
        if not line.text:
            continue
        found += _cut(line)
    return found


def _cut(line: Line) -> Iterator[_Part]:
    """Yield the marks of a piece of text; each has its share of the piece's width."""
    whole = _mended(line.text)  # first: HDMI that was misread begins another mark, too
    starts = [0, *(match.end() for match in _SOCKET.finditer(whole)), len(whole)]
    video = re.match(r"VIDEO\W+(?=[LR]\b)", whole)
    if video:
        starts = [0, video.end(), len(whole)]
    printed = _letters(line.text)
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = line.piece.corners
    wide = line.right - line.left
    for begin, end in pairwise(starts):
        text = whole[begin:end].strip()
        if not text:
            continue
        first, last = begin / len(whole), end / len(whole)
        share = (first + last) / 2
        at = (
            (x0 + x3) / 2 + ((x1 + x2) / 2 - (x0 + x3) / 2) * share,
            (y0 + y3) / 2 + ((y1 + y2) / 2 - (y0 + y3) / 2) * share,
        )
        part = _Part(
            text,
            line.left + wide * first,
            line.left + wide * last,
            line.y - line.high / 2,
            line.y + line.high / 2,
            line.piece.sure,
            at,
        )
        if _letters(text) not in printed:
            part.doubts.add("mended")
        yield part


def _letters(text: str) -> str:
    return plain_capitals(text).replace(" ", "")


_SHAPES: Final = str.maketrans("015828QL|", "OISBZBOII")


def _shape(word: str) -> str:
    """Return a word with letters and digits of one shape alike: ``0PT1CAL`` and ``OPTICAL``."""
    return word.translate(_SHAPES)


_KNOWN: Final = {word for word, rows in ROWS.items() if word.isascii() and not all(row.needs for row in rows)}
#: Words that a misread one may be; those of service and of what plugs in are too like the words of labels.
_LIKELY: Final = {
    word
    for word in _KNOWN
    if word == "HDMI"
    or not {row.meaning for row in ROWS[word]} & {"CONTROL", "DEVICE", "LINK", "OF", "SHARE", "ZONE"}
}
#: The words of each shape, and the shapes of words that a misread one may be.
_OF_SHAPE: Final[dict[str, list[str]]] = {}
for _one in sorted(_KNOWN):
    _OF_SHAPE.setdefault(_shape(_one), []).append(_one)
_LIKELY_SHAPES: Final = {word: _shape(word) for word in sorted(_LIKELY) if len(word) >= _MEND}


_BRACKET: Final = re.compile(r"(?<![\w(])[CcIl](\w{3,})\)")  #: the first of two, read as a letter


def _mended(text: str) -> str:
    """Return a text with words of panels that were misread by a letter, and blanks between words that ran on.

    >>> _mended("0PTICAL 0UT"), _mended("AUDIOOUT"), _mended("HDM1 2 (ARC)"), _mended("OPTIGAL")
    ('OPTICAL OUT', 'AUDIO OUT', 'HDMI 2 (ARC)', 'OPTICAL')
    >>> _mended("H0M13"), _mended("HDMII"), _mended("CARC)"), _mended("Auclio Out")
    ('HDMI3', 'HDMI1', '(ARC)', 'AUDIO Out')
    """
    said = _SIDES.sub("L-AUDIO-R", _VIDEO.sub("VIDEO L-AUDIO-R", _BRACKET.sub(_opened, text)))
    said = _RETURN.sub(lambda found: f"({'e' if found[1] else ''}ARC)", said)
    said = re.sub(r"[^\W_]+", lambda found: _word(found[0]), said)
    said = _NUMBER.sub(lambda found: found[1] + _NUMBERS[found[2]], said)
    return said if _met(said) > _MET else text


_RETURN: Final = re.compile(r"[(\[]([eE@])?AR[CGO0](?:[)\]]|J?(?![\w)\]]))")  #: ARC in brackets
#: A number after the name of a socket; L is the left one.
_NUMBER: Final = re.compile(r"\b((?:HDMI|AV|USB|EXT|ANT)(?: IN)? ?)([ZI]|\|(?=\s*\Z))(?![\w/])")
_NUMBERS: Final = {"Z": "2", "I": "1", "|": "1"}
_SIDES: Final = re.compile(r"\bL[\W_]*AUDIO[\W_]*[R8]\Z")
#: The marks of three sockets, read as one text that lost a sign: ``VIDEOL-AUDIO-R``, ``VIDEO . AUDIO``.
_VIDEO: Final = re.compile(r"VIDEO(?=\W*(?:[LI1|]|[^\w\s]|AUDIO\W*[R8]))\W*[LI1|]?\W*AUDIO(?:\W*[R8])?\Z")


def _opened(found: re.Match[str]) -> str:
    return f"({found[1]})" if found[1].upper() in _KNOWN else found[0]


_ONE: Final = {"I": "1", "L": "1"}  #: letters at the end of a mark that are a number


@lru_cache(maxsize=_KEPT)
def _word(printed: str) -> str:
    word = printed.upper()
    if not word.isascii() or word in _KNOWN or word.isdigit() or len(word) == 1:
        return printed
    for other in look_alikes(printed):
        if other.upper() in _KNOWN:
            return other.upper()
    body = word.rstrip("0123456789")
    if body in _KNOWN or not marking.unread_words(printed):
        apart = _apart(word) if word.isalpha() else []
        return " ".join(apart) if len(apart) > 1 else printed
    for part in dict.fromkeys((word, body, word[:-1])):
        alike = _OF_SHAPE.get(_shape(part), [])
        if len(alike) == 1:
            return alike[0] + _ONE.get(word[len(part) :], word[len(part) :])
    if _one_off(_shape(word[:-1]), "HDMI") and word[-1] in "123456IL":
        return "HDMI" + _ONE.get(word[-1], word[-1])
    apart = _apart(_shape(body))
    if len(apart) > 1:
        return " ".join(apart) + word[len(body) :]
    if len(body) >= _MEND and sum(map(str.isalpha, body)) > len(body) / 2:
        near = [known for known, shape in _LIKELY_SHAPES.items() if _one_off(_shape(body), shape)]
        if len({row.meaning for known in near for row in ROWS[known]}) == 1:
            return min(near) + word[len(body) :]
    return printed


def _apart(word: str) -> list[str]:
    """Return the words that run on in one, as AUDIO and OUT in ``AUDIOOUT``; [] if that is not all."""
    best: dict[int, list[str]] = {0: []}
    for end in range(2, len(word) + 1):
        for start in range(max(0, end - 12), end - 1):
            part = _RUN_ON.get(_shape(word[start:end]), "")
            if start in best and part and (end not in best or len(best[start]) + 1 < len(best[end])):
                best[end] = [*best[start], part]
    return best.get(len(word), [])


_RUN_ON: Final = {
    _shape(word): word
    for word in "AUDIO OUT OUTPUT IN INPUT DIGITAL OPTICAL COAXIAL COAX LINE VIDEO HEADPHONE HEADPHONES HDMI "
    "USB ARC EARC PC SORTIE SALIDA USCITA ENTRADA SPDIF SUBWOOFER COMPONENT ANTENNA CABLE EXT SPEAKER "
    "SERVICE".split()
}


def _one_off(one: str, other: str) -> bool:
    """Is one letter another, missing or too many?"""
    if abs(len(one) - len(other)) > 1 or one == other:
        return one == other
    at = next(
        (n for n, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other))
    )
    return one[at + 1 :] == other[at + 1 :] or one[at + 1 :] == other[at:] or one[at:] == other[at + 1 :]


# -- from texts to jacks ---------------------------------------------------------------------------------


def jacks_in(reading: Reading, kind: Kind = Kind.TELEVISION) -> tuple[SeenJack, ...]:
    """Return the jacks whose marks were read, row by row; at most as many as a panel has."""
    parts = _parts(reading)
    sides = [one for one in parts if _side_of(one.text) or _BOTH.match(one.text.upper())]
    numerals = [one for one in parts if one not in sides and _NUMERAL.match(one.text)]
    marks = [one for one in parts if one not in sides and one not in numerals and _may_be_mark(one.text)]
    marks = _beside(_around(marks, sides))
    stacked = _stacked([*marks, *numerals], sides)
    numerals = [one for one in stacked if one in numerals]
    units = _headed(_paired([one for one in stacked if one not in numerals], sides), numerals)
    told = [one for one in units if _is_mark(one)]
    rows = sorted(told, key=lambda one: (round(one.y / max(1.0, 3 * one.high)), one.x))
    return tuple(_read(rows[:JACKS], reading, kind))


def _may_be_mark(text: str) -> bool:
    """Is it short, and mostly of words that panels have; or a bracket that belongs to a mark?"""
    if len(text) > _LONGEST or len(text.split()) > 7:
        return False
    return bool(_QUALIFIER.match(text) or _POWER.match(text)) or (
        _met(text) > _MET and bool(marking.words_of(text) - {"OF"})
    )


def _is_mark(part: _Part) -> bool:
    """Does it say enough for a jack of its own?"""
    words = part.words
    if part.pair:
        return True
    if _QUALIFIER.match(part.text) and not words & {"ARC", "EARC", "OPTICAL", "COAXIAL"}:
        return False
    return _met(part.text) > _MET and bool(words - _NO_MARK)


def _around(marks: list[_Part], sides: list[_Part]) -> list[_Part]:
    """Make ``L AUDIO R`` in one text a pair whose name is AUDIO; also if one of the two letters is apart."""
    for one in marks:
        found = _AROUND.match(one.text) or _GLUED.match(one.text)
        if found and found[1] != found[3] and marking.words_of(found[2]):
            one.text, one.pair = found[2], True
        elif (found := _ONE_SIDE.match(one.text)) and marking.words_of(found["name"]) & _SOUND:
            before = found["before"]
            others = [
                side
                for side in sides
                if _side_of(side.text) == ("R" if (before or found["behind"]) == "L" else "L")
                and (_next_to(one, side, _AFAR) if before else _next_to(side, one, _AFAR))
            ]
            if others:
                sides.remove(others[0])
                _grow(one, others[0], found["name"])
                one.pair = True
    return marks


#: A name with the letter of one socket before or behind it, and how many heights the other letter may be off.
_ONE_SIDE: Final = re.compile(
    r"(?:(?P<before>[LR])\W+)?(?P<name>\w{2,}.*?)(?(before)|\W+(?P<behind>[LR]))\W*\Z"
)
_AFAR: Final = 3.0


def _next_to(left: _Part, right: _Part, most: float) -> bool:
    """Do they follow each other on one line, with no more than ``most`` heights between them?"""
    high = min(left.high, right.high)
    return abs(left.y - right.y) < 0.5 * high and -0.5 * high < right.left - left.right < most * high


def _beside(marks: list[_Part]) -> list[_Part]:
    """Join texts that follow each other closely on one line and are no mark each."""
    out: list[_Part] = []
    for one in sorted(marks, key=lambda part: part.left):
        for before in out:
            bracket = _QUALIFIER.match(one.text) is not None
            if _next_to(before, one, 1.2 if bracket else 0.55) and (
                bracket or not ((_whole(before) and _whole(one)) or _two_sockets(before, one))
            ):
                _grow(before, one, f"{before.text} {one.text}")
                break
        else:
            out.append(one)
    return out


def _two_sockets(one: _Part, other: _Part) -> bool:
    """Does each name what plugs in, and not the same?"""
    forms = [Form.RCA_PAIR if part.pair else marking.form_of(part.text) for part in (one, other)]
    return None not in forms and forms[0] is not forms[1]


def _whole(part: _Part) -> bool:
    """Does it say all that marks say: a direction, or a socket that needs none?"""
    form = marking.form_of(part.text)
    return bool(part.words & {"IN", "OUT", "HEADPHONE"}) or form in (
        Form.HDMI,
        Form.USB,
        Form.RJ45,
        Form.SCART,
    )


def _grow(part: _Part, other: _Part, text: str) -> None:
    part.text = text
    part.left, part.right = min(part.left, other.left), max(part.right, other.right)
    part.top, part.bottom = min(part.top, other.top), max(part.bottom, other.bottom)
    part.sure = min(part.sure, other.sure)
    part.at = (part.at[0] + other.at[0]) / 2, (part.at[1] + other.at[1]) / 2
    part.doubts |= other.doubts
    part.pair |= other.pair


def _stacked(marks: list[_Part], others: Sequence[_Part]) -> list[_Part]:
    """Join the lines of one mark; a line over or under several things is a heading and stays alone."""
    every = [*marks, *others]
    gone: set[int] = set()
    for one in sorted(marks, key=lambda part: part.top):
        if id(one) in gone:
            continue
        while True:
            below = [
                other for other in every if id(other) not in gone and other is not one and _under(one, other)
            ]
            fit = [other for other in below if any(other is mark for mark in marks) and _aligned(one, other)]
            if len(fit) != 1 or not _one_mark(one, fit[0], every, gone):
                break
            _grow(one, fit[0], f"{one.text} {fit[0].text}")
            gone.add(id(fit[0]))
    return [one for one in marks if id(one) not in gone]


def _line_of(part: _Part, other: _Part) -> float:
    """Return the height of a line of text; a joined part has several."""
    return min(part.high, other.high)


def _under(one: _Part, other: _Part) -> bool:
    """Is the other right below, as the next line is, anywhere along it or just past its ends?"""
    high = _line_of(one, other)
    gap = other.top - one.bottom
    reach = min(other.right, one.right) - max(other.left, one.left)
    return -0.6 * high < gap < 0.5 * high and other.y > one.y and reach > -3.0 * high


def _aligned(one: _Part, other: _Part) -> bool:
    high = _line_of(one, other)
    near = 0.8 * high
    reach = min(other.right, one.right) - max(other.left, one.left)
    starts, ends = abs(one.left - other.left), abs(one.right - other.right)
    return reach > 0 and (
        min(starts, ends) < near or abs(one.x - other.x) < near + 0.08 * (one.right - one.left)
    )


def _one_mark(one: _Part, other: _Part, every: Sequence[_Part], gone: set[int]) -> bool:
    """Are they two lines of one mark, not a heading over one of several, nor two sockets?"""
    if len(one.text) + len(other.text) > _LONGEST:
        return False
    if _QUALIFIER.match(other.text) or _POWER.match(other.text):
        return True
    if one.pair or other.pair or _NUMERAL.match(one.text) or _NUMERAL.match(other.text):
        return False
    if _whole(one) and _whole(other) and not one.text.endswith(("/", "-")):
        return False
    for head, child in ((one, other), (other, one)):
        if not (_heads(head) and _wants(child)):
            continue
        for part in every:
            level_ = abs(part.y - child.y) < 0.5 * _line_of(part, child)
            if not level_ or part in (one, other) or _gap(part, head) >= 2.5 * head.high:
                continue
            if id(part) not in gone and (_side_of(part.text) or _wants(part)):
                return False
    return True


def _gap(one: _Part, other: _Part) -> float:
    """Return the distance of two texts along the line; negative if they overlap."""
    return max(one.left, other.left) - min(one.right, other.right)


# -- pairs and headings ----------------------------------------------------------------------------------


def _paired(marks: list[_Part], sides: list[_Part]) -> list[_Part]:
    """Make a jack of an L and an R that are near each other; a mark between them is its name."""
    left = [one for one in sides if not _BOTH.match(one.text.upper())]
    out = list(marks)
    out += [replace(one, text="", pair=True) for one in sides if _BOTH.match(one.text.upper())]
    near = sorted(
        (
            (math.hypot(one.x - other.x, one.y - other.y), number, one, other)
            for number, one in enumerate(left)
            for other in left[number + 1 :]
            if _side_of(one.text) != _side_of(other.text) and _makes_pair(one, other)
        ),
        key=lambda found: found[:2],
    )
    for _, _, one, partner in near:
        if one not in left or partner not in left:
            continue
        left.remove(one)
        left.remove(partner)
        pair = replace(one, text="", pair=True)
        _grow(pair, partner, "")
        between = [
            mark
            for mark in out
            if mark.text
            and abs(mark.y - pair.y) < 0.5 * pair.high
            and pair.left < mark.x < pair.right
            and not mark.pair
        ]
        for mark in between:
            _grow(pair, mark, f"{pair.text} {mark.text}".strip())
            out.remove(mark)
        out.append(pair)
    out += [replace(one, side=_side_of(one.text), text="", pair=True, doubts={"side"}) for one in left]
    return out


def _makes_pair(one: _Part, other: _Part) -> bool:
    high = min(one.high, other.high)
    level_ = abs(one.y - other.y) < 0.6 * high and abs(one.x - other.x) < 14 * high
    below = abs(one.x - other.x) < 0.6 * high and abs(one.y - other.y) < 7 * high
    return level_ or below


def _headed(units: list[_Part], numerals: list[_Part]) -> list[_Part]:
    """Give each heading to the jacks that it is over or under; a heading is then no jack of its own."""
    used: list[_Part] = []
    wanting = [one for one in units if _wants(one)] + numerals

    def free(head: _Part) -> list[_Part]:
        gone = [one for one in wanting if one.headed or one is head or one in used]
        return [one for one in wanting if one not in gone]

    offers = [(*_children(head, free(head)), head) for head in units if _heads(head)]
    while offers:
        cost, best, head = min(offers, key=lambda offer: offer[0])
        if not best:
            break
        offers.remove((cost, best, head))
        if head.headed:
            continue
        if any(child.headed or child in used for child in best):
            offers.append((*_children(head, free(head)), head))
            continue
        best = _with_numbers_beside(best, free(head))
        for child in best:
            child.own, child.text, child.headed = child.text, f"{head.text} {child.text}".strip(), True
            child.sure = min(child.sure, head.sure)
            child.doubts = child.doubts | head.doubts | ({"heading"} if len(best) > 1 else set())
        used.append(head)
    kept = [one for one in units if one not in used]
    _lend(kept)
    lone = [one for one in kept if not (one.pair and not one.text and not one.headed and one.side)]
    return [*lone, *(one for one in numerals if one.headed)]


def _with_numbers_beside(best: list[_Part], free: Sequence[_Part]) -> list[_Part]:
    """Return sockets under a heading with those that count on: one whose number was not read puts it off."""
    row = [one for one in free if abs(one.y - best[0].y) < 0.7 * best[0].high]
    for step in (1, -1):
        for one in sorted(row, key=lambda part: step * part.x):
            last = best[-1] if step == 1 else best[0]
            numbers = _NUMERAL.match(last.text), _NUMERAL.match(one.text)
            if one in best or step * (one.x - last.x) < 0 or None in numbers:
                continue
            first, second = (int(found[1]) for found in numbers if found)
            if _gap(last, one) > _APART_AT_MOST * one.high or step * (second - first) <= 0:
                break
            best = [*best, one] if step == 1 else [one, *best]
    return best


_APART_AT_MOST: Final = 9.0  # heights between two sockets of one heading


def _lend(units: Sequence[_Part]) -> None:
    """Let a heading over one jack whose neighbours were not read be said of it, too."""
    for head in units:
        if not _heads(head) or head.headed or marking.form_of(head.text) is not None:
            continue
        for child in units:
            high = head.high
            near = 0.5 * high < abs(child.y - head.y) < 1.6 * high and _gap(head, child) < 2.5 * high
            if near and not child.pair and not child.headed and _wants(child) and _fits(head, child):
                child.own, child.text, child.headed = child.text, f"{head.text} {child.text}", True
                child.doubts.add("heading")


def _heads(part: _Part) -> bool:
    """May it be over several jacks, or over a pair?"""
    words, form = part.words, marking.form_of(part.text)
    if part.pair or words & {"HEADPHONE", "HP", "ARC", "EARC"}:
        return False
    if form is Form.HDMI:
        return not any(map(str.isdigit, part.text))
    video = form is Form.RCA_SINGLE and "VIDEO" in words
    return (form in (None, Form.JACK_35) or video) and bool(words & (_SOUND | {"IN", "OUT"}))


def _wants(part: _Part) -> bool:
    """Is it without a direction, so that a heading may say more of it?"""
    words = part.words
    if part.pair:
        return not words & {"IN", "OUT"}
    if words & {"IN", "OUT", "HEADPHONE", "SPEAKER", "CONTROL"} or "HDMI" in part.text.upper():
        return False
    said = words & {"OPTICAL", "COAXIAL", "VIDEO", "AUDIO", "DIGITAL", "LINE"}
    return bool(said) and marking.form_of(part.text) is not Form.D_SUB and not _QUALIFIER.match(part.text)


def _children(head: _Part, wanting: Sequence[_Part]) -> tuple[float, list[_Part]]:
    """Return the neighbours above or below a heading in whose middle it is, and how ill they fit."""
    best: tuple[float, list[_Part]] = (math.inf, [])
    high = head.high
    for sign in (1, -1):
        near = [
            one
            for one in wanting
            if 0.5 * high < sign * (one.y - head.y) < _reach(one) * high and _fits(head, one)
        ]
        if not near:
            continue
        first = min(abs(one.y - head.y) for one in near)
        row = sorted((one for one in near if abs(one.y - head.y) < first + 0.7 * high), key=lambda one: one.x)
        for begin in range(len(row)):
            for end in range(begin + 1, len(row) + 1):
                some = row[begin:end]
                if sum(one.pair for one in some) > 1 or any(
                    after.left - before.right > _APART_AT_MOST * high for before, after in pairwise(some)
                ):
                    continue
                off = abs((some[0].left + some[-1].right) / 2 - head.x) / high
                alone = len(some) == 1
                if alone and not some[0].pair and off > 1:
                    continue
                cost = off + 0.3 * first / high - 0.5 * len(some)
                if off < 1.6 + 0.03 * (some[-1].right - some[0].left) / high and cost < best[0]:
                    best = (cost, some)
    return best


def _reach(child: _Part) -> float:
    """Return how far a heading may be, in heights; a pair's letters may be beyond its sockets."""
    return 6.5 if child.pair or _NUMERAL.match(child.text) else 2.2


def _fits(head: _Part, child: _Part) -> bool:
    """Can the heading say something of this jack?"""
    hdmi = "HDMI" in head.text.upper()
    if (_NUMERAL.match(child.text) and not child.pair) or hdmi:
        return hdmi and _NUMERAL.match(child.text) is not None
    over, words = head.words, child.words
    if words & {"OPTICAL", "COAXIAL"}:
        return "IN" not in over and "AV" not in head.text.upper()
    if "VIDEO" in words:
        return "OUT" not in over or "AV" in head.text.upper()
    return True


# -- jacks of the draft ----------------------------------------------------------------------------------


def _read(parts: Sequence[_Part], reading: Reading, kind: Kind) -> Iterator[SeenJack]:
    forms = [_form(one) for one in parts]
    marks = [_tidy(one.text) for one in parts]
    findings = [
        finding_from({"form": form.value, "marking": mark}, "jack")
        for (form, _), mark in zip(forms, marks, strict=True)
    ]
    for part, (_, certain), finding in zip(parts, forms, read_together(findings, kind), strict=True):
        doubts = set(part.doubts)
        if not certain:
            doubts.add("form")
        if part.sure < FAINT:
            doubts.add("faint")
        if marking.unread_words(finding.jack.marking):
            doubts.add("unknown")
        if finding.jack.form is Form.HDMI and part.words & {"IN"} and not re.search(r"\d", part.text):
            doubts.add("heading")  # of sockets whose numbers were not read
        jack = finding.jack
        x, y = (
            min(1.0, max(0.0, at / size))
            for at, size in zip(part.at, (reading.width, reading.height), strict=True)
        )
        yield SeenJack(
            jack.marking,
            jack.form,
            jack.direction,
            jack.signal,
            round(x, 4),
            round(y, 4),
            round(part.sure, 2),
            tuple(one for one in DOUBTS if one in doubts),
        )


def _form(part: _Part) -> tuple[Form, bool]:
    """Return what plugs in, and whether that is certain."""
    if part.pair:
        return Form.RCA_PAIR, True
    form = marking.form_of(part.own) or marking.form_of(part.text)
    if form is not None:
        return form, True
    words = part.words
    if "DIGITAL" in words:
        return Form.TOSLINK, False
    if "DEVICE" in words and "AUDIO" not in words:
        return Form.D_SUB, False
    if "CONTROL" in words:
        return Form.OTHER, False
    if "AUDIO" in words and "IN" in words and "AV" in part.text.upper():
        return Form.JACK_35, False
    return Form.RCA_PAIR, False


def _tidy(text: str) -> str:
    return " ".join(re.sub(r"\s+([)\]])", r"\1", text).split())[:LINE].strip(" -/,")
