"""Find jacks in the sentences of a manual, and whose jacks they are.

Words and phrases are data (``data/manual_words.toml``). The panel reader knows what is printed at jacks.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Final

from kb.base.datafiles import data_tables
from kb.base.text import LINE, plain_capitals
from kb.domain import marking

LANGUAGES: Final = ("en", "de", "fr", "es", "it", "nl")

_UP: Final = "A-ZÀ-ÖØ-ÞŒ"
_WORD: Final = rf"(?:e-?ARC(?:/ARC)?|[LR]/[LR]|[{_UP}][{_UP}0-9&+.'’/-]*[{_UP}0-9])(?![\w]|[-‐]\w)"
_INSIDE: Final = rf"\((?:{_WORD}|[LR])(?:[ ,/]+(?:{_WORD}|[LR]|\d))*\)"
_COUNT: Final = r"\d{1,2}(?![\w]|[.,:]\d|[ ]?mm)"
#: A run of words in capitals, with numbers, and brackets at its end: how a manual writes what is printed.
_RUN: Final = re.compile(rf"(?<![\w-]){_WORD}(?:[ ](?:{_WORD}|{_COUNT}))*(?:[ ]?{_INSIDE}(?:[ ]{_COUNT})?)*")
#: A bracket at its end that tells what plugs in, and is not printed.
_CONNECTOR: Final = re.compile(r"\s?\((?:SCART|P[ÉE]RITEL|RCA|CINCH|TOSLINK|HDMI)\)\Z")
_QUOTED: Final = re.compile(r"[„“\"«‹\[]\s?([^„“”\"«»‹›\[\]]{2,40}?)\s?[”“\"»›\]]")
_LEAD: Final = re.compile(r"([^:.;!?]{3,50}?)\s?:\s+(?=\S)")
#: What counts the lines of a list: a bullet, "1.", "(2)", "a)", "B.", or a number in a circle.
ITEM: Final = r"(?:[•●▪■*–-]|\(?\d{1,2}[.)]?|\(?[A-Za-z][.)]|[①-⑳❶-❿])"
_NUMBER: Final = re.compile(rf"\A(?:{ITEM}\s+|[①-⑳❶-❿])")
#: A bracket with small letters: a remark next to a mark, such as "(3.5 mm)".
_REMARK: Final = re.compile(r"\s*\((?!e-?ARC)(?=[^()]*[a-zß-ÿ])[^()]{2,40}\)")
_SENTENCE: Final = re.compile(r"(?<=[.!?])\s+(?=\W?[\w(])")
#: A title is one of several jacks: it is no mark.
_SEVERAL: Final = frozenset("OUTPUTS INPUTS AUSGANGE EINGANGE SORTIES ENTREES SALIDAS ENTRADAS".split()) | {
    *"USCITE INGRESSI PRESE PRISES TOMAS UITGANGEN INGANGEN SOCKETS JACKS TERMINALS".split()
}
_HDMI: Final = re.compile(r"\bHDMI\b")
_NUMBERED: Final = re.compile(r"(?:EXT|AV|SCART|HDMI|PERITEL|EUROCONECTOR)\W?\d")
_SCART: Final = re.compile(r"\b(?:SCART|EXT(?= ?\d)|PERITEL|EUROCONECTOR)")
#: German and Dutch write what a socket is for and the socket in one word.
_COMPOUND: Final = re.compile(r"\b(\w{4,})(BUCHSEN?|ANSCHLUSS|AANSLUITING|UITGANG|AUSGANG|INGANG|EINGANG)\b")


class Words:
    """The words of one language, each list as one pattern over a text in plain capitals."""

    def __init__(self, lists: Mapping[str, list[str]]) -> None:
        self._patterns = {name: _pattern(words) for name, words in lists.items() if name != "source"}

    def has(self, name: str, said: str) -> bool:
        """Is one of the words of this list in the text?"""
        return self._patterns[name].search(said) is not None

    def inside(self, name: str) -> str:
        """The list as part of a larger pattern."""
        return self._patterns[name].pattern

    def count(self, name: str, said: str) -> int:
        """How often words of this list are in the text."""
        return len(self._patterns[name].findall(said))


def _pattern(words: list[str]) -> re.Pattern[str]:
    return re.compile("|".join(rf"\b{_spelled(word)}\b" for word in words) or r"(?!)")


def _spelled(word: str) -> str:
    parts = (re.escape(part).replace(r"\*", r"\w*") for part in word.split(" .. "))
    return r"(?: \w+){0,5} ".join(parts).replace("MARK", r"QQ\d+QQ").replace(r"\ ", " ")


@cache
def words_of(language: str) -> Words:
    """The words of a language, with those of any."""
    tables = data_tables("manual_words.toml")
    return Words({**tables["any"], **tables[language]})


def language_of(said: str, fallback: str, least: int = 3) -> str:
    """The language of a text in plain capitals; ``fallback`` with fewer than ``least`` common words."""
    counts = {code: words_of(code).count("common", said) for code in LANGUAGES}
    best = max(counts, key=lambda code: counts[code])
    return best if counts[best] >= least and counts[best] > 1.3 * counts[fallback] else fallback


@dataclass(frozen=True, slots=True)
class Mention:
    """A jack that is spoken of. ``rank``: 3 printed in capitals or quotes, 2 a name in a list, 1 a label."""

    mark: str
    rank: int

    @property
    def key(self) -> str:
        """The same for two spellings of one mark."""
        return plain_capitals(self.mark).replace(" ", "")


@dataclass(frozen=True, slots=True)
class Sentence:
    """A sentence with its jacks taken out: ``folded`` is in plain capitals, jack n being ``QQnQQ``."""

    text: str
    folded: str
    own: tuple[Mention, ...]
    """The jacks of the set."""
    doubtful: tuple[tuple[Mention, str], ...]
    """Jacks that it may have, and why that is not certain: ``optional`` or ``depending``."""
    skipped: bool = False
    """It speaks of a key, of service, or of what the set lacks."""
    alone: bool = False
    """It is a mark by itself, perhaps with a remark."""
    firm: tuple[Mention, ...] = ()
    """Jacks that it says are at the television."""
    weak: bool = False
    """It says that something is missing, in words that need not be about its jack: no witness for a jack."""


def sentences(text: str, *, alone: bool = False) -> Iterator[Sentence]:
    """Yield the sentences of a paragraph; ``alone``: it may be a mark by itself."""
    text = _NUMBER.sub("", text)
    if alone and (only := mark_alone(text)):
        remark = plain_capitals(" ".join([*_REMARK.findall(text), *_CONNECTOR.findall(text)]))
        yield Sentence(text, f"QQ0QQ {remark}".strip(), (only,), (), alone=True)
        return
    for one in _SENTENCE.split(text):
        yield _sentence(_NUMBER.sub("", one))


def _sentence(text: str) -> Sentence:
    found: list[Mention] = []

    def put(mark: str, rank: int) -> str:
        half = len(mark) // 2
        mark = mark[:half] if mark[:half] == mark[half + 1 :] else mark  # a cell next to its description
        found.append(Mention(mark[:LINE], rank))
        return f" QQ{len(found) - 1}QQ "

    def run(match: re.Match[str]) -> str:
        mark = _CONNECTOR.sub("", match[0])
        remark = _REMARK.match(match.string, match.end())
        told = is_mark(mark) or (remark and is_mark(mark + remark[0]) and is_mark(mark, sure=True))
        return put(mark, 3) + match[0][len(mark) :] if told else match[0]

    def quoted(match: re.Match[str]) -> str:
        return put(match[1], 3) if match[1].isupper() and is_mark(match[1]) else match[0]

    said = _QUOTED.sub(quoted, text)
    lead = _LEAD.match(said)
    if lead and lead[1].count("(") != lead[1].count(")"):
        lead = None
    if lead and "QQ" not in said and is_mark(lead[1], sure=True) and lead[1].isupper():
        said = put(lead[1], 3) + said[lead.end(1) :]
    said = _RUN.sub(run, said)
    if lead and not found:
        only = mark_alone(said[lead.end() :].rstrip(".;"))
        if only and is_whole(only.mark):
            said = put(only.mark, only.rank)
        elif (named := _named(_bare(lead[1]))) and not _is_choice(said[lead.end() :]):
            said = put(named, 1) + said[len(lead[1]) if "(" not in lead[1] else lead[1].index("(") :]
    for begin in (0, lead.end()) if lead else (0,):
        if not found:
            said = _at_start(said, begin, put)
    if not found or found[0].rank == 1:
        said = _in_sentence(said, put)
    folded = plain_capitals(said)
    if in_any("service", folded) or in_any("key", " ".join(folded.split()[:3])):
        return Sentence(text, folded, (), (), skipped=True)
    own: list[Mention] = []
    doubtful: list[tuple[Mention, str]] = []
    firm: list[Mention] = []
    weak = False
    optional = any(_is_option(folded, words_of(code)) for code in LANGUAGES)
    depending = in_any("depending", folded) or (in_any("picture", folded) and in_any("perhaps", folded))
    why = "optional" if optional else "depending" if depending else ""
    without = _no_input().sub(" ", folded) if any(_leads_out(one.mark) for one in found) else folded
    if in_any("absent", without):
        return Sentence(text, folded, (), (), skipped=True)
    for number, mention in enumerate(found):
        if any(_is_foreign(f"QQ{number}QQ", without, words_of(code)) for code in LANGUAGES):
            continue
        if why:
            doubtful.append((mention, why))
        else:
            own.append(mention)
            mark = f"QQ{number}QQ"
            if _is_negated(mark, without):
                weak = True
            elif any(_is_of_television(mark, folded, words_of(code)) for code in LANGUAGES):
                firm.append(mention)
    return Sentence(text, folded, tuple(own), tuple(doubtful), firm=tuple(firm), weak=weak)


def _leads_out(mark: str) -> bool:
    return not marking.words_of(mark) & {"IN", "VIDEO"}


@cache
def _no_input() -> re.Pattern[str]:
    """What is missing and says nothing of an output: an input, or a cable in the box."""
    every = [words_of(code) for code in LANGUAGES]
    have, negation, found, supplied = (
        "|".join(one.inside(name) for one in every) for name in ("have", "negation", "input", "supplied")
    )
    return re.compile(
        rf"(?:(?:{have}) )?(?:{negation})(?: (?!QQ)\w+){{0,3}}? (?:{found}|\w+EINGANG|\w+INGANG|{supplied})"
    )


def _is_negated(mark: str, folded: str) -> bool:
    """Is a word such as "no" among the five before the mark?"""
    return in_any("negation", " ".join(folded.partition(mark)[0].split()[-5:]))


def _is_of_television(mark: str, folded: str, words: Words) -> bool:
    """Does the sentence say that the jack is of the television, or at its back?"""
    of, tv, article = words.inside("of"), words.inside("tv"), words.inside("article")
    device = words.inside("device")
    place = rf"(?: (?!QQ|(?:{device}|{words.inside('input')}|{words.inside('tv')})\b)\w+){{0,4}}?"
    after = rf"{mark}{place} (?:{of})(?: (?:{article}))* (?:{tv})\b"
    owner = rf"(?:{tv}) (?:{words.inside('owner')})(?: \w+){{0,2}} {mark}"
    return re.search(after, folded) is not None or (
        words.inside("owner") != r"(?!)" and re.search(owner, folded) is not None
    )


def is_mark(mark: str, *, sure: bool = False) -> bool:
    """Is it what is printed at a jack? ``sure``: it stands where marks stand, so one word is enough."""
    meant = marking.words_of(mark)
    plain = plain_capitals(mark)
    if _MODEL.search(mark) or plain in _TECHNOLOGY:
        return False
    way = meant & {"OUT", "IN"}
    several = len(plain.split()) > 1
    if "CONTROL" in meant and not meant & {"HEADPHONE", "AUDIO", "OPTICAL", "DIGITAL"}:
        return False
    if "HEADPHONE" in meant or _NUMBERED.search(plain):
        return True
    if _HDMI.search(plain):
        return sure or bool(meant & {"ARC", "EARC"} or way)
    sound = meant & {"AUDIO", "LINE", "OPTICAL", "COAXIAL", "DIGITAL", "SPEAKER", "VIDEO", "DEVICE"}
    if way and sound and several:
        return True
    return sure and bool(sound - {"VIDEO"} or _SCART.search(plain)) and plain not in ("PC", "DVD", "TV")


_SMALL_WORDS: Final = frozenset(
    "DE D DU DES L LA LE POUR PARA PER FOR FUR VOOR VAN DI DA A AU THE OF TO AND ET EN UND Y E O OU OR "
    "ODER WITH MIT AVEC CON MET IN AN SU SUR OP".split()
)


def _named(said: str) -> str:
    """A name in small letters that can only be a jack, such as ``Prise casque``; "" if it is none."""
    plain = plain_capitals(said).split()
    if not 1 <= len(plain) <= 5 or not said[:1].isupper() or set(plain) & _SEVERAL:
        return ""
    meant = marking.words_of(said)
    plain = _COMPOUND.sub(r"\1 \2", " ".join(plain)).split()
    sockets = {word for word in plain if any(words_of(code).has("socket", word) for code in LANGUAGES)}
    rest = [word for word in plain if word not in sockets and word not in _SMALL_WORDS and not word.isdigit()]
    if not all(marking.words_of(word) for word in rest):
        return ""
    heard = "HEADPHONE" in meant and (sockets or "OUT" in meant)
    led = "OUT" in meant and meant & {"AUDIO", "DIGITAL", "OPTICAL", "COAXIAL", "LINE"}
    taken = sockets and (_SCART.search(" ".join(rest)) or ("IN" in meant and "AV" in " ".join(rest)))
    return " ".join(said.split()) if heard or led or taken else ""


def _is_choice(said: str) -> bool:
    """Does it list digital formats to choose from? What stands before it is then a menu, and no jack."""
    said = plain_capitals(said)
    words = words_of("en")
    return words.count("option", said) > 1 and not words.has("light", said) and not words.has("coax", said)


_SIZE: Final = re.compile(r"\s*(?:[(–—-]\s*)?(?:\w+ ){0,2}[36][.,](?:5|3|35) ?mm")
_AFTER_NAME: Final = re.compile(r"\s*(?:[.,;:(–—-]|\Z|(?:for|für|pour|para|per|voor) )")


def _at_start(said: str, begin: int, put: Callable[[str, int], str]) -> str:
    """Take out a name that a sentence, or what follows its colon, begins with: ``Prise casque (3,5 mm)``."""
    pieces = list(re.finditer(r"[^\W\d_][\w'’-]*|\d(?![\d.,])", said[begin:]))[:5]
    for last in reversed(pieces):
        name, rest = said[begin : begin + last.end()], said[begin + last.end() :]
        size = _SIZE.match(rest)
        unnamed = plain_capitals(last[0]) in {*_SMALL_WORDS, "STEREO", "MINI", "JACK"}
        if unnamed or re.search(r"[^\w '’/-]", name) or not (size or _AFTER_NAME.match(rest)):
            continue
        bare = size and name[:1].isupper() and len(name.split()) == 1 and is_mark(name, sure=True)
        plug = name.isupper() and _SCART.match(plain_capitals(name)) and is_mark(name, sure=True)
        if plug or bare or (_named(name) and not _is_choice(rest)):
            return f"{said[:begin]}{put(name, 3 if plug else 2)}{rest}"
    return said


_CAPITAL: Final = re.compile(rf"(?<=[\w,)] )[{_UP}][\wà-ÿ-]+(?:[ ][\wà-ÿ-]+){{0,2}}")


def _in_sentence(said: str, put: Callable[[str, int], str]) -> str:
    """Take out a name with a capital in the middle of a sentence, as ``an Kopfhörerausgang an``."""
    for match in _CAPITAL.finditer(said):
        pieces = match[0].split()
        for count in range(len(pieces), 0, -1):
            name = " ".join(pieces[:count])
            ends = plain_capitals(pieces[count - 1]) not in _SMALL_WORDS
            if (named := _named(name)) and ends and "HEADPHONE" in marking.words_of(name):
                return f"{said[: match.start()]}{put(named, 2)}{said[match.start() + len(name) :]}"
    return said


_MODEL: Final = re.compile(r"\b(?=[A-Z]*\d)(?=\d*[A-Z])[A-Z\d]{4,}")  # letters and digits in one: a model
_TECHNOLOGY: Final = frozenset({"TOSLINK", "RCA", "CINCH", "SPDIF", "S PDIF", "PCM", "DIGITAL", "STEREO"})


def is_whole(mark: str) -> bool:
    """Does a mark say all that marks say: a direction, headphones, the number of a socket?"""
    return bool(marking.words_of(mark) & {"OUT", "IN", "HEADPHONE"}) or is_socket(mark)


def is_socket(mark: str) -> bool:
    """Is it one of several sockets of a form, as HDMI 2 or SCART?"""
    return bool(re.search(r"\b(?:HDMI|SCART|PERITEL|EXT|AV) ?\d?", plain_capitals(mark)))


def _bare(text: str) -> str:
    """A text without the brackets that tell what plugs in."""
    return _CONNECTOR.sub("", _REMARK.sub("", text)).strip()


def mark_alone(text: str) -> Mention | None:
    """The mark that a heading, or a cell of a table, is; None if it is something else."""
    bare = _bare(_NUMBER.sub("", text))
    told = _NUMBER.sub("", text).strip()
    if len(bare) > 60 or bare.startswith("(") or ":" in bare or bare.endswith((".", ",")):
        return None
    run = _RUN.fullmatch(bare)
    if (run or (bare.isupper() and "," not in bare)) and (
        is_mark(bare, sure=True) or (bare != told and is_mark(told, sure=True))
    ):
        return Mention(bare, 3)
    named = _named(bare)
    return Mention(named, 2) if named else None


def row_label(text: str) -> Mention | None:
    """The jack that a row of a table of models is about; there a word such as ``Headphones`` is enough."""
    bare = _bare(text)
    heard = len(bare.split()) == 1 and marking.words_of(bare) == {"HEADPHONE"}
    return mark_alone(text) or (Mention(bare, 2) if heard else None)


def in_any(name: str, folded: str) -> bool:
    """Is a word of this list of any language in the text? What is told too short is not told by language."""
    return any(words_of(code).has(name, folded) for code in LANGUAGES)


def begins_with(name: str, folded: str) -> bool:
    """Is a word of this list, in any language, among the first three words of the text?"""
    return in_any(name, " ".join(folded.split()[:3]))


def is_only(name: str, folded: str) -> bool:
    """Is the text a word of this list, in any language, and nothing more?"""
    return any(re.fullmatch(words_of(code).inside(name), folded) for code in LANGUAGES)


def _is_option(folded: str, words: Words) -> bool:
    """Is something optional that is not only a cable?"""
    if not words.has("optional", folded):
        return False
    optional, cable = words.inside("optional"), words.inside("cable")
    cabled = rf"(?:{optional})(?: \w+){{0,2}} (?:{cable})|(?:{cable})(?: \w+){{0,3}} (?:{optional})"
    return re.search(cabled, folded) is None


def _is_foreign(mark: str, folded: str, words: Words) -> bool:
    """Is it of another device (of your player, the console's, one that a receiver must have), a key, or named
    only as an example?
    """
    if any(found[0].endswith(mark) for found in re.finditer(words.inside("example"), folded)):
        return True
    device, of, article = words.inside("device"), words.inside("of"), words.inside("article")
    socket = words.inside("socket")
    # A name may stand before the kind of device, as in "of your Blu-ray player", but no words of grammar.
    kind = rf"(?: (?!(?:{words.inside('common')}|{words.inside('tv')}|{socket})\b|QQ)\w+){{0,2}}?"
    after = rf"{mark}(?: (?:{socket}))? (?:{of})(?: (?:{article}))*{kind} (?:{device})"
    first = rf"\A(?:{of})(?: (?:{article}))*{kind} (?:{device})(?:{kind} (?:{article}|{socket}))* {mark}"
    if re.search(after, folded) or re.search(first, folded):
        return True
    key = words.inside("key")
    if re.search(rf"(?:{key}) {mark}|{mark} (?:{key})", folded):
        return True
    if re.search(rf"(?:{words.inside('its')})(?: (?:{socket}))? {mark}", folded):
        return True
    owner = words.inside("owner")
    if re.search(rf"(?:{device}) (?:{owner})(?: \w+){{0,2}} {mark}", folded):
        return True
    have = words.inside("have")
    near = rf"(?:{device})(?: \w+){{0,3}} (?:{have})|(?:{have})(?: \w+){{0,1}} (?:{device})"
    before = folded.partition(mark)[0]
    if re.search(near, before):
        return True
    return bool(re.search(rf"(?:{device})", before)) and bool(
        re.match(rf"(?: \w+){{0,2}} (?:{have})\b", folded.partition(mark)[2])
    )
