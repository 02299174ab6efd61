"""Draft from the text of a manual what it says of a set's jacks, each finding with its page and line.

Nothing here is a fact: a person confirms each item of the draft. A mark is read by the panel reader; what the
manual does not say stays open. What is optional, depends on the model or contradicts itself is doubtful.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import takewhile
from typing import Any, Final

from kb.base.text import SETTING, plain_capitals, squeezed
from kb.domain import marking
from kb.domain.words import Direction, Form, Format, Level, Signal, Speakers
from kb.read.manual_words import (
    Mention,
    Sentence,
    Words,
    begins_with,
    in_any,
    is_mark,
    is_only,
    is_socket,
    is_whole,
    language_of,
    mark_alone,
    row_label,
    sentences,
    words_of,
)
from kb.read.pdf import Block, Page, Piece, blocks

LINE_SHOWN: Final = 200  #: characters of a line of the manual that are kept with a finding
_NEAR: Final = 14  #: points that a cell's middle may be off its column


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that a manual says of one jack: that it is there, or what ``says`` has of it besides."""

    form: Form
    marking: str
    page: int
    line: str
    says: Mapping[str, str] = field(default_factory=dict)
    """Fields of a visit file's jack: ``speakers``, ``level``, ``format``, ``setting``, ``direction``,
    ``signal``."""
    doubt: str = ""
    """Why it is not certain: ``optional``, ``depending``, ``models``, ``lacking``, ``passing``, ``form``,
    ``conflict``, ``picture``."""

    @property
    def is_jack(self) -> bool:
        """Does it say that the jack is there?"""
        return not {"speakers", "level", "format"} & self.says.keys()  # direction and signal are of the jack


@dataclass(slots=True)
class _Jack:
    """A jack as the sentences about it are gathered."""

    mark: str
    rank: int
    first: tuple[int, str]
    clues: Counter[Form] = field(default_factory=Counter)
    outward: bool = False
    ways: set[str] = field(default_factory=set)
    """What sentences say of its direction: ``input``, ``output``, ``both``, ``returns``."""


@dataclass(slots=True)
class _Told:
    """A sentence at its place, and the jack that its paragraph is about."""

    page: int
    said: Sentence
    words: Words
    about: Mention | None


class ManualText:
    """The sentences and tables of a manual, read once for all the sets that it is for."""

    def __init__(self, pages: Iterable[Page]) -> None:
        self._told: list[_Told] = []
        self._rows: list[tuple[int, list[list[Piece]]]] = []
        self._pictures: set[int] = set()
        pages = list(pages)
        whole = plain_capitals(" ".join(piece.text for page in pages for piece in page.pieces))
        language = language_of(whole, "en", least=1)
        for page in pages:
            if page.picture:
                self._pictures.add(page.number)
            rows = _rows(page)
            used = _Tables("").read(page.number, rows)
            if used:
                self._rows.append((page.number, rows))
            found = paragraphs(page)
            said = plain_capitals(" ".join(one.text for one in found))
            language = language_of(said, language)
            if words_of(language).has("title_remote", plain_capitals(_title(found))):
                continue
            self._told += _told(page.number, [one for one in found if not _within(one, used)], language)

    def draft(self, model: str) -> list[Item]:
        """Return what the manual says of the jacks of one set, in the order of its pages."""
        tables = _Tables(model)
        for number, rows in self._rows:
            tables.read(number, rows)
        told = [one for one in self._told if not _is_of_others(one.said, model)]
        items = _Draft(told, tables).items()
        return [replace(one, doubt="picture") if self._is_doubtful(one) else one for one in items]

    def _is_doubtful(self, item: Item) -> bool:
        """Was it read from a picture, which somebody has to look at?"""
        return not item.doubt and item.page in self._pictures


def _is_of_others(said: Sentence, model: str) -> bool:
    """Does a sentence about a jack name other models only, or say that ours is an exception?

    A name of a model is one with letters and figures at the same places as in ours.
    """
    if not said.own and not said.doubtful:
        return False
    shape = re.sub(r"[A-Z]", "[A-Z]", re.sub(r"\d", r"\\d", re.escape(model.upper())))
    named = {one.upper() for one in re.findall(rf"(?<![\w-]){shape}(?![\w-])", said.text.upper())}
    if not named or not re.search(r"\d", model):
        return False
    return (model.upper() in named) is in_any("save", said.folded)


def paragraphs(page: Page) -> list[Block]:
    """Return the paragraphs of a page, each mark that is a heading or a cell by itself."""
    marks = [one for one in page.pieces if mark_alone(one.text)]

    def label(cell: Piece) -> Piece | None:
        level = (one for one in marks if one.right < cell.left and abs(one.top - cell.top) < 0.3 * cell.high)
        return max(level, key=lambda one: one.left, default=None)

    def rows(first: Piece, piece: Piece) -> bool:
        above, beside = label(first), label(piece)
        return above is not None and beside is not None and abs(above.left - beside.left) < piece.high

    return blocks(page, _apart, rows)


def _apart(first: str, piece: str) -> bool:
    """Is a mark next to something else? A mark of two lines is one."""
    if piece.startswith("("):
        return False
    if first.endswith((">", "›", "→")):
        return False
    begun, added = mark_alone(first), mark_alone(piece)
    said = marking.words_of(first)
    if begun and piece.isupper() and marking.words_of(piece) == {"DIGITAL"} and "DIGITAL" not in said:
        return False  # "SORTIE AUDIO" over "NUMÉRIQUE"
    goes_on = begun and piece.isupper() and not is_socket(first) and not (added and is_socket(piece))
    if goes_on and (not is_whole(first) or (added and not is_whole(piece) and "(" in piece)):
        return False
    return begun is not None or added is not None


def _title(paragraphs: Sequence[Block]) -> str:
    return max(paragraphs, key=lambda one: one.high, default=Block("", 0, 0, 0, 0, 0)).text


def _told(page: int, paragraphs: Sequence[Block], language: str) -> Iterator[_Told]:
    """The sentences of a page, each with the jack that the heading above it or the cell next to it names."""
    body = Counter(round(one.high) for one in paragraphs).most_common(1)
    usual = body[0][0] if body else 0
    headings: list[tuple[Block, Mention]] = []
    cells = [(one, mark) for one in paragraphs if (mark := mark_alone(one.text))]
    for one in paragraphs:
        title = one.high > 1.25 * usual
        found = list(sentences(one.text, alone=not title))
        beside = _next_to(one, cells, paragraphs) or _beside(one, headings)
        about = beside
        if len(found) == 1 and found[0].alone:
            headings.append((one, found[0].own[0]))
        elif title:
            headings.clear()  # a new chapter
        for sentence in found:
            if sentence.own:
                about = sentence.own[-1]
            yield _Told(page, sentence, words_of(language), about)


def _next_to(one: Block, cells: Sequence[tuple[Block, Mention]], every: Sequence[Block]) -> Mention | None:
    """The mark in the cell to the left of a paragraph, with nothing between them; cells may be centred."""
    for held, mention in cells:
        middle = (held.bottom + held.top) / 2
        between = (
            held.right < other.left and other.right < one.left and other.bottom < middle < other.top
            for other in every
        )
        if held.right < one.left and one.bottom < middle < one.top and not any(between):
            return mention
    return None


def _beside(one: Block, headings: Sequence[tuple[Block, Mention]]) -> Mention | None:
    """The mark to the left of a paragraph, or above it."""
    for held, mention in reversed(headings):
        if held.right < one.left and abs(held.top - one.top) < held.high:
            return mention
        if abs(held.left - one.left) < 3 * one.high and held.bottom > one.bottom:
            return mention
    return None


# -- tables of models --------------------------------------------------------------------------------


def _rows(page: Page) -> list[list[Piece]]:
    """The pieces of a page in rows from the top down, each from left to right."""
    rows: list[list[Piece]] = []
    for piece in sorted(page.pieces, key=lambda one: -one.top):
        if rows and abs(rows[-1][0].top - piece.top) < 0.5 * piece.high:
            rows[-1].append(piece)
        else:
            rows.append([piece])
    whole: list[list[Piece]] = []
    for row in (sorted(row, key=lambda one: one.left) for row in rows):
        above = whole[-1][0] if whole else None
        if (
            above
            and len(row) == 1
            and row[0].text.startswith("(")
            and abs(above.left - row[0].left) < above.high
        ):
            joined = Piece(f"{above.text} {row[0].text}", above.left, row[0].bottom, above.right, above.top)
            whole[-1][0] = joined
        else:
            whole.append(row)
    return whole


class _Tables:
    """What tables of several models say of one of them."""

    def __init__(self, model: str) -> None:
        self.model = model
        self.has: dict[str, tuple[int, str, Mention]] = {}
        self.lacks: dict[str, tuple[int, str, Mention]] = {}
        self.unclear: dict[str, tuple[int, str, Mention]] = {}
        self.hdmi: int | None = None

    def _count(
        self, label: str, cells: Sequence[Piece], columns: Sequence[Piece], ours: Sequence[Piece]
    ) -> None:
        """How many HDMI sockets a row says that the model has."""
        own = [one.text for one in cells if _column(one, columns) in ours]
        if ours and own and own[0].isdecimal() and re.fullmatch(r"HDMI(?: \D+)?", plain_capitals(label)):
            self.hdmi = int(own[0])

    def read(self, page: int, rows: Sequence[Sequence[Piece]]) -> list[Piece]:
        """Read the table of a page; returns its pieces, whose text says nothing outside their columns."""
        used: list[Piece] = []
        columns: list[Piece] = []
        ours: list[Piece] = []
        for row in rows:
            models = list(takewhile(lambda one: _is_model(one.text), reversed(row)))[::-1]
            if len(models) > 1 or models == row[1:] != []:
                columns = models
                ours = [one for one in models if _means(one.text, self.model)]
                used += models
                continue
            before = [one for one in row if columns and one.right < columns[0].left]
            cells = [one for one in row if one not in before and _column(one, columns) is not None]
            if not before or not cells or len(cells) != len(row) - len(before):
                continue
            line = " | ".join(one.text for one in (before[-1], *cells))
            self._count(before[-1].text, cells, columns, ours)
            mention = row_label(before[-1].text)
            if mention is None:
                continue
            used += [before[-1], *cells]
            answers = [_answer(one.text) for one in cells]
            own = [_answer(one.text) for one in cells if _column(one, columns) in ours]
            if not ours or None in own:
                target = self.has if answers and all(answers) else self.unclear
            else:
                target = self.has if own and all(own) else self.lacks
            target.setdefault(mention.key, (page, line, mention))
        return used


_MODEL: Final = re.compile(r"(?=.*\d)(?=.*[A-Za-z*])[\w*./ -]{3,60}\Z")
_NO: Final = frozenset({"", "NO", "NON", "NEIN", "NEE", "0"})


def _is_model(text: str) -> bool:
    return _MODEL.match(text) is not None and not is_mark(text) and text.upper() == text


def _means(names: str, model: str) -> bool:
    """Is the model one of the names of a column's head? ``*`` stands for any signs."""
    for name in re.split(r"[,/;] ?| ", names):
        pattern = re.escape(name.upper()).replace(r"\*", ".*").replace("\\-", "-?")
        if name and re.fullmatch(pattern, model.upper().replace(" ", "-")):
            return True
    return squeezed(names) == squeezed(model)


def _column(cell: Piece, columns: Sequence[Piece]) -> Piece | None:
    middle = (cell.left + cell.right) / 2
    near = [
        one
        for one in columns
        if one.left - _NEAR <= middle <= one.right + _NEAR or abs(cell.left - one.left) < _NEAR
    ]
    return min(
        near,
        key=lambda one: min(abs((one.left + one.right) / 2 - middle), abs(one.left - cell.left)),
        default=None,
    )


def _answer(cell: str) -> bool | None:
    """What a cell says: there or not; None for words that tell neither."""
    plain = plain_capitals(cell)
    if plain in _NO and not re.search(r"[•●✓✔○◯✕xX]", cell):
        return False
    bare = re.sub(r"\s*\([^()]*\)\Z", "", cell.strip())  # "1 (3.5 mm)"
    yes = re.fullmatch(r"[•●✓✔○◯xX]|\d{1,2}( ?[xX×])?", bare) is not None
    return True if yes or plain in ("YES", "JA", "OUI", "SI") else None


def _within(one: Block, pieces: Iterable[Piece]) -> bool:
    """Is one of the pieces part of the paragraph?"""
    return any(
        one.left <= piece.left + 1
        and piece.right <= one.right + 1
        and one.bottom <= piece.bottom + 1
        and piece.top <= one.top + 1
        for piece in pieces
    )


# -- from sentences to items --------------------------------------------------------------------------


class _Draft:
    """Gather the jacks that sentences speak of, and then what they say of them."""

    def __init__(self, told: Sequence[_Told], tables: _Tables) -> None:
        self.told, self.tables = told, tables
        self.jacks: dict[str, _Jack] = {}
        self.same: dict[str, str] = {}
        for one in told:
            for mention in one.said.own:
                self._gather(one, mention)
        for key, (page, line, mention) in tables.has.items():
            if key not in self.jacks:
                self.jacks[key] = _Jack(mention.mark, mention.rank, (page, line))
                self.jacks[key].clues.update(
                    form for name, form in _CLUES if in_any(name, plain_capitals(line))
                )
        self._clues()
        self._ways()
        self._merge()

    def _gather(self, one: _Told, mention: Mention) -> None:
        held = self.jacks.get(mention.key)
        if held is None or mention.rank > held.rank:
            held = self.jacks[mention.key] = _Jack(mention.mark, mention.rank, (one.page, one.said.text))
        if re.match(r"(?:QQ\d+QQ )?(?:\w+ ){0,4}" + f"(?:{one.words.inside('output')})", one.said.folded):
            held.outward |= one.said.folded.startswith("QQ")

    def _clues(self) -> None:
        """What plugs in, by the words of sentences that speak of one jack alone."""
        for one in self.told:
            keys = {mention.key for mention in one.said.own}
            about = one.about.key if one.about and not keys else ""
            if len(keys) > 1 or (not keys and not about) or one.said.skipped or one.said.doubtful:
                continue
            key = next(iter(keys), about)
            for name, form in _CLUES:
                if key in self.jacks and one.words.has(name, one.said.folded):
                    self.jacks[key].clues[form] += 1

    def _ways(self) -> None:
        """What sentences say of directions: each of the jack before it, or of the only one."""
        for one in self.told:
            if one.said.skipped or one.said.doubtful:
                continue
            parts = re.split(r"(QQ\d+QQ)", one.said.folded)
            if len(parts) == 1 and one.about:
                self._way(one.about, parts[0])
            elif len(parts) == 3 and one.said.own:
                self._way(one.said.own[0], f"{parts[0].strip()} QQ {parts[2].strip()}")
            elif len(parts) == 2 * len(one.said.own) + 1:
                for mention, said in zip(one.said.own, parts[2::2], strict=True):
                    self._way(mention, said)

    def _way(self, mention: Mention, said: str) -> None:
        """Phrases of any language: a cell is too short to tell its own."""
        jack, said = self.jacks.get(mention.key), said.strip()
        if jack is None:
            return
        if in_any("in_out", said):
            jack.ways.add("both")
        elif in_any("in_only", said) or is_only("input", said):
            jack.ways.add("input")
        elif in_any("out_only", said):
            jack.ways.add("output")
        elif re.search(_SCART, mention.key) and _is_input(said.rpartition("QQ")[2]):
            jack.ways.add("input")
        if "HDMI" in mention.key and in_any("returns", said) and not in_any("no_return", said):
            jack.ways.add("returns")

    def _said_way(self, key: str) -> tuple[dict[str, str], str]:
        """What the manual says of the direction of a jack, if that is not what its mark says; and a doubt."""
        jack, read = self.jacks[key], self._reading(key)
        ways = jack.ways - {"both"}
        if "returns" in ways:
            arc = read.signal in (Signal.ARC, Signal.EARC)
            return ({} if arc else {"direction": "output", "signal": "arc"}), ""
        if len(ways) > 1 or (ways and "both" in jack.ways):
            return {}, "conflict"
        if ways and read.direction.value not in ways:
            by_word = marking.words_of(jack.mark) & {"OUT", "IN"}
            way = {"direction": next(iter(ways))}
            return ({}, "conflict") if by_word else (way, "")
        if read.direction is Direction.UNCLEAR and jack.outward:
            return {"direction": "output"}, ""
        return {}, ""

    def _merge(self) -> None:
        """One jack has several names: with and without L/R or ARC, and in the words of a specification."""
        for key in sorted(self.jacks, key=len):
            longer = [
                other
                for other in self.jacks
                if other != key and other.startswith(key) and _same_jack(other[len(key) :], key)
            ]
            if longer:
                self._join(key, max(longer, key=len))
        self._merge_spellings()
        for key, jack in list(self.jacks.items()):
            if jack.rank == 3 or key in self.same:
                continue
            better = [
                other
                for other, one in self.jacks.items()
                if other != key
                and other not in self.same
                and (one.rank, other) > (jack.rank, key)
                and self._reading(other).direction is Direction.OUTPUT
                and self._may_be(key, other)
            ]
            if better:
                self._join(key, better[0])

    def _merge_spellings(self) -> None:
        """One jack in several wordings: ``OPTICAL OUT`` is ``DIGITAL AUDIO OUT (OPTICAL)`` elsewhere."""
        kept: list[str] = []
        for key in self._kept():
            said = marking.without_side(self.jacks[key].mark)
            for other in kept if self.jacks[key].rank == 3 else []:
                before = marking.without_side(self.jacks[other].mark)
                if self.form(key) != self.form(other):
                    continue
                if said == before or (self._is_digital(key) and (said <= before or before <= said)):
                    self._join(key, other)
                    break
            else:
                kept.append(key)

    def _may_be(self, label: str, key: str) -> bool:
        """May the label of a specification mean this jack? "Digital audio output" may be of two forms."""
        read, scart = self._reading(label), Form.SCART
        if read.direction is Direction.INPUT or (self.form(label)[0] is scart) != (
            self.form(key)[0] is scart
        ):
            return False
        same = read.signal is self._reading(key).signal
        digital = "DIGITAL" in marking.words_of(self.jacks[label].mark)
        return same or (digital and not self.form(label)[1] and self._is_digital(key))

    def _join(self, key: str, into: str) -> None:
        self.same[key] = into
        self.jacks[into].clues += self.jacks[key].clues
        self.jacks[into].ways |= self.jacks[key].ways

    def _of(self, mention: Mention | None) -> str:
        key = mention.key if mention else ""
        while key in self.same:
            key = self.same[key]
        return key if key in self.jacks else ""

    def form(self, key: str) -> tuple[Form, bool]:
        """What plugs into a jack, and whether that is certain."""
        jack = self.jacks[key]
        words, plain = marking.words_of(jack.mark), plain_capitals(jack.mark)
        if re.search(r"\bHDMI\b", plain):
            return Form.HDMI, True
        if "OPTICAL" in words:
            return Form.TOSLINK, True
        if "COAXIAL" in words:
            return Form.RCA_SINGLE, True
        if "HEADPHONE" in words:
            return (Form.JACK_635 if jack.clues[Form.JACK_635] else Form.JACK_35), True
        if re.search(r"\b(?:SCART|PERITEL|EUROCONECTOR|EXT\b)", plain) or (
            jack.clues[Form.SCART] and not words & {"OUT", "IN"}
        ):
            return Form.SCART, True
        if "SPEAKER" in words:
            return Form.SPEAKER_TERMINALS, True
        if {"LEFT", "RIGHT"} <= words:
            return Form.RCA_PAIR, True
        wanted = [form for form, _ in jack.clues.most_common()]
        if "DIGITAL" in words:
            wanted = [form for form in wanted if form in (Form.TOSLINK, Form.RCA_SINGLE)]
        else:
            wanted = [form for form in wanted if form in (Form.JACK_35, Form.RCA_PAIR)]
        if wanted:
            return wanted[0], True
        if "DIGITAL" in words:
            return Form.TOSLINK, False
        if re.search(r"\bPC\b", plain):
            return Form.JACK_35, True
        return Form.RCA_PAIR, "IN" in words

    def _reading(self, key: str) -> marking.Reading:
        return marking.read(self.form(key)[0], self.jacks[key].mark)

    def _is_line(self, key: str) -> bool:
        reading = self._reading(key)
        analog = reading.signal in (Signal.ANALOG_LINE, Signal.HEADPHONE)
        return analog and reading.direction is Direction.OUTPUT and self.form(key)[0] is not Form.SCART

    def _is_digital(self, key: str) -> bool:
        reading = self._reading(key)
        return reading.direction is not Direction.INPUT and reading.signal in (Signal.OPTICAL, Signal.COAXIAL)

    def items(self) -> Iterator[Item]:
        """Yield what is drafted of each jack: that it is there first."""
        more = self._more()
        passing = self._in_passing()
        order = sorted(
            (key for key in self.jacks if key not in self.same), key=lambda k: self.jacks[k].first[0]
        )
        for key in order:
            jack = self.jacks[key]
            form, sure = self.form(key)
            spellings = {key, *(one for one in self.same if self._of(Mention(one, 0)) == key)}
            page, line = jack.first
            doubt = ""
            if lacking := next(
                (self.tables.lacks[one] for one in spellings if one in self.tables.lacks), None
            ):
                page, line, _ = lacking
                doubt = "lacking"
            if self.tables.hdmi is not None and (number := re.match(r"HDMI(\d)", key)):
                doubt = doubt or ("lacking" if int(number[1]) > self.tables.hdmi else "")
            says, against = self._said_way(key)
            doubt = doubt or ("passing" if key in passing else against) or ("" if sure else "form")
            yield Item(form, jack.mark, page, _line(line), says, doubt)
            for item in more.get(key, ()):
                yield Item(form, jack.mark, item[0], _line(item[1]), item[2], item[3] or doubt)
        yield from self._doubtful()

    def _in_passing(self) -> set[str]:
        """Jacks that one sentence alone names, and not at its beginning: it may speak of another device, or
        say in words that are not known here that the jack is missing.
        """
        named: dict[str, set[str]] = {}
        firm = {self._of(mention) for _, _, mention in self.tables.has.values()}
        for one in self.told:
            firm.update(self._of(mention) for mention in one.said.firm)
            for mention in one.said.own:
                texts = named.setdefault(self._of(mention), set())
                if one.said.weak:
                    continue
                texts.add(one.said.text)
                if one.said.alone or one.said.folded.startswith("QQ") or not one.said.text.endswith("."):
                    firm.add(self._of(mention))
        return {key for key, texts in named.items() if len(texts) < 2} - firm

    def _doubtful(self) -> Iterator[Item]:
        """Jacks that are only spoken of as optional, or of other models."""
        seen = set(self.jacks)
        for one in self.told:
            for mention, why in one.said.doubtful:
                if mention.key not in seen and mention.rank == 3:
                    seen.add(mention.key)
                    yield self._guess(mention, one.page, one.said.text, why)
        for key, (page, line, mention) in self.tables.unclear.items():
            if key not in seen:
                yield self._guess(mention, page, line, "models")

    def _guess(self, mention: Mention, page: int, line: str, why: str) -> Item:
        self.jacks[mention.key] = _Jack(mention.mark, mention.rank, (page, line))
        form, _ = self.form(mention.key)
        del self.jacks[mention.key]
        return Item(form, mention.mark, page, _line(line), {}, why)

    # -- what is said besides

    def _more(self) -> dict[str, list[tuple[int, str, dict[str, str], str]]]:
        found: dict[str, list[tuple[int, str, dict[str, str], str]]] = {}
        for one in self.told:
            if one.said.skipped or one.said.doubtful:
                continue
            for keys, says in self._says(one):
                for key in keys:
                    found.setdefault(key, []).append((one.page, one.said.text, says, ""))
        return {key: _agreed(some) for key, some in found.items()}

    def _says(self, one: _Told) -> Iterator[tuple[list[str], dict[str, str]]]:
        folded, words = one.said.folded, one.words
        own = [key for key in dict.fromkeys(map(self._of, one.said.own)) if key]
        about = self._of(one.about)
        menu = _menu(one.said.text, words)
        heard = [key for key in (*own, about) if key and self._reading(key).signal is Signal.HEADPHONE]
        all_heard = [key for key in self._kept() if self._reading(key).signal is Signal.HEADPHONE]
        speakers = _speakers(folded, words, menu, bool(heard))
        if speakers and (heard or all_heard):
            says = {"speakers": speakers.value}
            yield (heard or all_heard)[:1], says | ({"setting": menu} if menu else {})
        lines = [key for key in own or [about] if key and self._is_line(key)]
        level = _level(folded, words, menu)
        if lines and level and not speakers:
            says = {"level": level.value}
            yield lines, says | ({"setting": menu} if menu and level is Level.SELECTABLE else {})
        sent = _format(folded, words, menu)
        if sent:
            digital = [key for key in self._kept() if self._is_digital(key)]
            says = {"format": sent.value}
            yield digital, says | ({"setting": menu} if menu and sent is Format.SELECTABLE else {})

    def _kept(self) -> list[str]:
        return [key for key in self.jacks if key not in self.same]


_CLUES: Final = (
    ("scart", Form.SCART),
    ("light", Form.TOSLINK),
    ("coax", Form.RCA_SINGLE),
    ("large", Form.JACK_635),
    ("small", Form.JACK_35),
    ("pair", Form.RCA_PAIR),
)


_SCART: Final = r"\A(?:SCART|EXT\d|PERITEL|EUROCONECTOR)"


def _is_input(said: str) -> bool:
    """Does what is said of a socket for both ways begin with its being an input, and name no output?"""
    return begins_with("input", said) and not in_any("output", said)


def _same_jack(rest: str, key: str) -> bool:
    """Is what a longer mark has besides only a side, or the return channel of an HDMI socket?"""
    if key == "HDMI":
        return True
    if re.fullmatch(r"HDMI\d?", key):
        return re.fullmatch(r"(?:E?ARC)+(?:4K|8K)?", rest) is not None
    return rest in ("LR", "RL", "STEREO", "OPTICAL", "COAXIAL")


def _speakers(folded: str, words: Words, menu: str, heard: bool) -> Speakers | None:
    """What the sentence says of the set's own speakers while headphones are used."""
    headphone = heard or words.has("headphone", folded)
    if headphone and menu and words.has("both", folded):
        return Speakers.MUTE_UNLESS_SET
    if not headphone or not (words.has("speaker", folded) or re.search(r"\bTV\b|TELEVIS|FERNSEH", folded)):
        return None
    stays, quiet = words.has("stays", folded), words.has("quiet", folded)
    if (stays or quiet) and menu:
        unless = re.search(words.inside("unless"), folded)
        usually = folded[: unless.start()] if unless else ""
        if unless and words.has("stays", usually):
            return Speakers.STAY_ON  # and off by a setting
        return Speakers.MUTE_UNLESS_SET
    if stays:
        return Speakers.STAY_ON
    return Speakers.MUTE if quiet else None


def _level(folded: str, words: Words, menu: str) -> Level | None:
    """What the sentence says of the level. "Louder and softer has no effect on it" is fixed."""
    fixed, variable = words.has("fixed", folded), words.has("variable", folded)
    near = rf"(?:{words.inside('fixed')})(?: \w+){{0,2}} (?:{words.inside('variable')})"
    if fixed and variable and (menu or re.search(near, folded)):
        return Level.SELECTABLE
    return Level.FIXED if fixed else Level.VARIABLE if variable else None


def _format(folded: str, words: Words, menu: str) -> Format | None:
    """What the sentence says of the digital format that is sent."""
    if not re.search(r"\bPCM\b", folded):
        return None
    if words.has("always", folded) and not menu:
        return Format.PCM
    return Format.SELECTABLE if menu or words.count("option", folded) > 1 else None


_STEP: Final = r"\s*[>›»→▶]\s*"
_ITEM: Final = r"[^.:,;()>›»→▶]{2,60}"
_PATH: Final = re.compile(rf"([^\W\d_][\w'’-]*){_STEP}({_ITEM}(?:{_STEP}{_ITEM})*)")


def _menu(text: str, words: Words) -> str:
    """The menu item that a sentence names, such as ``Sound > Digital output``; "" for none."""
    found = _PATH.search(text.replace("->", ">"))
    if not found:
        return ""
    steps = [found[1]]
    for step in re.split(_STEP, found[2]):
        kept: list[str] = []
        for word in step.split():
            if kept and words.has("menu_end", plain_capitals(word)):
                break
            kept.append(word)
        if kept:
            steps.append(" ".join(kept[:5]))
    return " > ".join(steps)[:SETTING]


_Said = tuple[int, str, dict[str, str], str]
#: Of two values that a manual gives, the one that the other is part of.
_STRONGER: Final = {
    "mute-unless-set": {"mute", "stay-on"},
    "selectable": {"fixed", "variable", "pcm", "bitstream"},
}


def _agreed(some: Sequence[_Said]) -> list[_Said]:
    """One item for each field; two values that exclude each other are doubtful."""
    kept: dict[str, _Said] = {}
    for page, line, says, _ in some:
        name = next(iter(says))
        value = says[name]
        held = kept.get(name)
        if held is None:
            kept[name] = (page, line, says, "")
            continue
        before = held[2][name]
        if before == value:
            if "setting" not in held[2] and "setting" in says:
                kept[name] = (page, line, says, held[3])
        elif before in _STRONGER.get(value, ()):
            kept[name] = (page, line, says, "")
        elif value not in _STRONGER.get(before, ()):
            kept[name] = (held[0], held[1], held[2], "conflict")
    return list(kept.values())


def _line(text: str) -> str:
    return text if len(text) <= LINE_SHOWN else text[: LINE_SHOWN - 1] + "…"


# -- from confirmed items to a visit --------------------------------------------------------------------


def with_their_jacks(items: Sequence[Item]) -> list[Item]:
    """Return confirmed items without those about a jack that is not confirmed itself."""
    jacks = {(one.form, one.marking) for one in items if one.is_jack}
    return [one for one in items if (one.form, one.marking) in jacks]


def jacks_of(items: Iterable[Item]) -> list[dict[str, Any]]:
    """Return what confirmed items make, as the ``jacks`` of a visit file.

    An item about a jack that is not confirmed itself is left out.
    """
    found: dict[tuple[Form, str], dict[str, Any]] = {}
    settings: dict[tuple[Form, str], list[str]] = {}
    for item in sorted(with_their_jacks(list(items)), key=lambda one: not one.is_jack):
        name = (item.form, item.marking)
        if item.is_jack:
            found.setdefault(name, {"form": item.form.value, "marking": item.marking, **item.says})
        else:
            found[name] |= {key: value for key, value in item.says.items() if key != "setting"}
            if item.says.get("setting"):
                settings.setdefault(name, []).append(item.says["setting"])
    for name, some in settings.items():
        found[name]["setting"] = "; ".join(dict.fromkeys(some))[:SETTING]
    return list(found.values())
