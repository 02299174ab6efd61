"""Measure how well a set is found from queries as labels and people give them.

``python scripts/people_queries.py`` asks in two books: an invented one of television-like codes (6,000 sets,
made here) and the open list of ``model_codes.py`` (12,000 sets). It prints, by kind, how often the right set
comes first and among the first five, beside a plain edit distance to every row, and how often a set that the
book does not have is stated with confidence. The kinds and word lists were written before the code of the
lookup was read, and are not taken from ``kb``. Sources: radio alphabet of ICAO Annex 10; the pairs of signs of
Unicode TR39 (confusables); keys of a US keyboard; all other lists are common practice, from memory.
"""

# ruff: noqa: E501  # lists of what people say are read more easily as they are

from __future__ import annotations

import argparse
import random
import re
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from statistics import median

from damage import swap_within
from model_codes import codes, normal

from kb.base.errors import JackfieldError
from kb.index import Index, Reader, SetEntry

SEED = 77

MAKES = """Norwell|Kestering|Veldana|Hallmere|Pellworth|Sorrelund|Aldvik|Brennauer|Castelvira|Dunmarrow|Hadlow
Ostravane|Tamberley|Quillon|Ravensdorf|Imberg|Luxoria|Wendover Vale|North Star Vision|Grand Marlow|Casa Verano
Bel Monte|Hoch & Welder|Royal Fenwick Electric|Blue Heron|El Faro|Van der Holt|Old Mill Audio|Sunmark|Fairbourne
Zentrix|Orlando Rey|Tres Robles|Lindqvist|Marquand|Sable Point|Corvane|Dellamore|Euphrane|Gildenhaus""".replace(
    "\n", "|"
).split("|")
SIZES = (19, 22, 24, 26, 28, 32, 37, 39, 40, 42, 43, 46, 48, 49, 50, 55, 58, 60, 65, 75)
ENDS = ("", "", "", "", "A", "B", "D", "EU", "XA", "H", "S", "W", "UK", "LX", "T2")


@dataclass(slots=True)
class Set:
    """One set of a book: what is on its label, and what the book knows besides."""

    make: str
    model: str
    year: int
    size: int | None

    @property
    def code(self) -> str:
        return normal(self.model)


@dataclass(slots=True)
class Asked:
    """A query; ``rows``: the sets that are right, empty where the book has none."""

    kind: str
    text: str
    rows: frozenset[int]
    plain: str = ""  # what a plain distance compares


@dataclass(slots=True)
class Book:
    """Sets that the book has, and others that it has not."""

    name: str
    known: list[Set]
    unknown: list[Set]
    codes: dict[str, list[int]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for at, one in enumerate(self.known):
            self.codes.setdefault(one.code, []).append(at)


def invented(count: int, draw: random.Random) -> list[Set]:
    """Sets with codes like those on televisions: series, size, number, ending; each make has its way."""
    ways: dict[str, tuple[int, list[str]]] = {}
    for make in MAKES:
        letters = normal(make)
        series = [letters[0] + draw.choice("ABCDEFGHKLMNPRSTVWXZ") for _ in range(3)]
        series += [letters[0] + letters[1] + draw.choice("LRTX"), draw.choice("EFHKLPQTUX")]
        ways[make] = (draw.randrange(4), series)
    out: dict[tuple[str, str], Set] = {}
    while len(out) < count:
        make = draw.choice(MAKES)
        way, series = ways[make]
        size, end, start = draw.choice(SIZES), draw.choice(ENDS), draw.choice(series)
        number = draw.randint(1, 9) * 10 ** draw.randint(1, 2) + draw.choice((0, 0, 5, draw.randint(0, 9)))
        if way == 0:
            model = f"{start}{size}-{number}{end}"
        elif way == 1:
            model = f"{size}{start}{number}{end}"
        elif way == 2:
            model = f"{start} {size} {draw.choice('DFHSU')} {number}{'-' if end else ''}{end}"
        else:
            model = f"{start}-{size}{draw.choice('EFKLQ')}{number}{'/' if end else ''}{end}"
        out.setdefault((normal(make), normal(model)), Set(make, model, draw.randint(2004, 2023), size))
    return list(out.values())


def books(draw: random.Random) -> Iterator[Book]:
    """The two books; of each list two in three are known, and one in three are not."""
    sets = invented(9000, draw)
    yield Book("invented", sets[:6000], sets[6000:])
    rows, source = codes(18_000)
    listed = [Set(make, model, draw.randint(2004, 2023), None) for make, model in rows]
    yield Book(source, listed[:12_000], listed[12_000:])


# how people and machines write

HEARD = {
    "A": ["ay", "a"], "B": ["bee", "be"], "C": ["see", "cee"], "D": ["dee"], "E": ["ee", "e"], "F": ["eff", "ef"],
    "G": ["gee", "jee"], "H": ["aitch", "haitch"], "I": ["eye", "i"], "J": ["jay"], "K": ["kay"],
    "L": ["el", "ell"], "M": ["em"], "N": ["en"], "O": ["oh"], "P": ["pee"], "Q": ["cue", "queue"],
    "R": ["are", "ar"], "S": ["ess", "es"], "T": ["tee", "tea"], "U": ["you", "u"], "V": ["vee"],
    "W": ["double u", "double you"], "X": ["ex", "x"], "Y": ["why", "wye"], "Z": ["zed", "zee"],
}  # fmt: skip
RADIO = dict(
    zip(
        "ABCDEFGHIJKLMNOPQRSTUVWXYZ",
        "alfa bravo charlie delta echo foxtrot golf hotel india juliett kilo lima mike november oscar papa"
        " quebec romeo sierra tango uniform victor whiskey x-ray yankee zulu".split(),
        strict=True,
    )
)
POLICE = dict(  # the older alphabet of the telephone in English
    zip(
        "ABCDEFGHIJKLMNOPQRSTUVWXYZ",
        "apple baker charlie david edward freddie george harry isaac jack king lucy mother nellie orange peter"
        " queen robert sugar tommy uncle victor william xray yellow zebra".split(),
        strict=True,
    )
)
LETRAS = {
    "A": "a", "B": "be", "C": "ce", "D": "de", "E": "e", "F": "efe", "G": "ge", "H": "hache", "I": "i",
    "J": "jota", "K": "ka", "L": "ele", "M": "eme", "N": "ene", "O": "o", "P": "pe", "Q": "cu", "R": "erre",
    "S": "ese", "T": "te", "U": "u", "V": "uve", "W": "uve doble", "X": "equis", "Y": "ye", "Z": "zeta",
}  # fmt: skip
CIFRAS = "cero uno dos tres cuatro cinco seis siete ocho nueve".split()
DECENAS = "treinta cuarenta cincuenta sesenta setenta ochenta noventa".split()
DIGITS = "zero one two three four five six seven eight nine".split()
TEENS = "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split()
TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()
SOUNDS = ("BCDEGPTVZ", "AJK8", "FSX", "MN", "IY", "QU", "59", "LN")
KEYS = ("1234567890", "QWERTYUIOP", "ASDFGHJKL", "ZXCVBNM")
CYRILLIC = dict(zip("ABCEHIJKMOPSTXY", "АВСЕНІЈКМОРЅТХУ", strict=True))
GREEK = dict(zip("ABEZHIKMNOPTYX", "ΑΒΕΖΗΙΚΜΝΟΡΤΥΧ", strict=True))
OCR = {
    "0": "OQD", "O": "0QD", "1": "Il|", "I": "1l|", "L": "I1", "5": "S", "S": "5", "8": "B", "B": "8", "2": "Z",
    "Z": "2", "6": "G", "G": "6", "D": "0O", "Q": "O0", "4": "A", "7": "1T", "9": "g", "U": "V", "V": "U",
    "E": "F", "C": "G", "N": "H", "M": "N",
}  # fmt: skip


def said_number(digits: str, draw: random.Random) -> str:
    """Digits as they are said: one by one, in pairs, or doubled."""
    if draw.random() < 0.4 and len(digits) in (2, 4):
        pairs = [digits[at : at + 2] for at in range(0, len(digits), 2)]
        if all(pair[0] != "0" for pair in pairs):
            return " ".join(map(_pair, pairs))
    out: list[str] = []
    at = 0
    zero = draw.choice(("zero", "oh", "nought", "zero"))
    while at < len(digits):
        char = digits[at]
        word = zero if char == "0" else DIGITS[int(char)]
        if digits[at : at + 2] == char * 2 and draw.random() < 0.5:
            out.append(f"double {word}")
            at += 2
        else:
            out.append(word)
            at += 1
    return " ".join(out)


def _pair(two: str) -> str:
    first, last = int(two[0]), int(two[1])
    if first == 1:
        return TEENS[last]
    return TENS[first - 2] + (f" {DIGITS[last]}" if last else "")


def said_numero(digits: str, draw: random.Random) -> str:
    """Digits as they are said in Spanish."""
    if draw.random() < 0.3 and len(digits) == 2 and digits[0] in "3456789":
        tens = DECENAS[int(digits[0]) - 3]
        return tens + (f" y {CIFRAS[int(digits[1])]}" if digits[1] != "0" else "")
    return " ".join(CIFRAS[int(char)] for char in digits)


def spoken(
    model: str, draw: random.Random, letter: Callable[[str], str], number: Callable[[str, random.Random], str],
    hyphen: tuple[str, ...],
) -> str:  # fmt: skip
    """The model sign by sign; what stands between is said or not."""
    out = []
    for part in re.findall(r"\d+|[A-Za-z]|[-/]", model):
        if part.isdigit():
            out.append(number(part, draw))
        elif part in "-/":
            if draw.random() < 0.5:
                out.append(draw.choice(hyphen) if part == "-" else draw.choice(("slash", "stroke", "")))
        elif part.isascii():
            out.append(letter(part.upper()))
    return " ".join(" ".join(out).split())


def named(letter: str, draw: random.Random) -> str:
    """ "en for november", "n as in nellie"."""
    way = draw.choice((RADIO, POLICE))
    how = draw.choice(("for", "as in", "like"))
    return f"{draw.choice([letter, *HEARD[letter]])} {how} {way[letter]}"


def misheard(code: str, draw: random.Random) -> str:
    """One sign for one that sounds like it."""
    return swap_within(code, SOUNDS, draw)


def mishit(code: str, draw: random.Random) -> str:
    """One sign for its neighbour on the keyboard."""
    at = draw.randrange(len(code))
    for n, row in enumerate(KEYS):
        place = row.find(code[at])
        if place >= 0:
            near = list(row[max(0, place - 1) : place] + row[place + 1 : place + 2])
            near += [KEYS[m][place] for m in (n - 1, n + 1) if 0 <= m < len(KEYS) and place < len(KEYS[m])]
            return code[:at] + draw.choice(near) + code[at + 1 :]
    return code


def misread(code: str, draw: random.Random) -> str:
    """One sign for one that a camera takes it for."""
    places = [at for at, char in enumerate(code) if char in OCR]
    if not places:
        return code
    at = draw.choice(places)
    return code[:at] + draw.choice(OCR[code[at]]) + code[at + 1 :]


def noise(code: str, draw: random.Random) -> str:
    """One damage of a camera: a sign misread, lost, split by a blank, or a speck."""
    roll = draw.random()
    at = draw.randrange(1, len(code))
    if roll < 0.6:
        return misread(code, draw)
    if roll < 0.75 and len(code) > 5:
        return code[:at] + code[at + 1 :]
    return code[:at] + draw.choice((" ", ".", "'", ",", "~")) + code[at:]


def typed(one: Set, draw: random.Random, make: float = 0.7) -> str:
    """Make and model, in any case, the make left out at times."""
    text = f"{one.make} {one.model}" if draw.random() < make else one.model
    return draw.choice((str, str.lower, str.upper))(text)


def swapped_in(one: Set, code: str, draw: random.Random, make: float = 0.7) -> str:
    """The same with another code."""
    return typed(Set(one.make, code, one.year, one.size), draw, make)


# labels

MODEL = (
    "MODEL NO.", "MODEL NO:", "Model:", "MODEL", "Model No.", "Modell", "Modèle", "Modello", "Modelo", "Type No.",
    "TYPE", "Model/Modèle", "Modell-Nr.:", "MODELO/MODEL", "MODEL CODE", "Product Model:", "Art.-Nr.", "Модель",
)  # fmt: skip
RATING = (
    "AC 220-240V~ 50/60Hz 120W", "220-240V ~ 50Hz 95 W", "AC100-240V 50/60Hz 1.5A", "POWER: 110-120V~ 60Hz 2.0A",
    "Power consumption 85W", "Rated: AC 230V 50Hz", "DC 19V 3.42A", "Leistungsaufnahme 110 W", "INPUT AC 220V-240V",
    "~220-240 V, 50/60 Hz, 65W", "Consommation 75 W", "12 V === 4 A", "Consumo: 90W", "0.8A MAX",
)  # fmt: skip
APPROVAL = (
    "CE", "CE 0197", "RoHS", "CLASS 1 LED PRODUCT", "UL LISTED E123456", "FCC ID: QXA-LT7", "IC: 5799A-TV1",
    "EN 60065", "IEC 62368-1", "GS", "Energy class A+", "DVB-T2/C/S2", "HDMI", "IP20", "Class II", "VCCI-B",
    "Risk of electric shock do not open", "Ne pas ouvrir", "Vor Öffnen Netzstecker ziehen",
)  # fmt: skip
MADE = (
    "MADE IN POLAND", "Made in Hungary", "Fabriqué en Turquie", "Hergestellt in der Slowakei", "Hecho en México",
    "Assembled in Spain", "Made in China",
)  # fmt: skip


def serial(draw: random.Random) -> str:
    """A serial number as labels have it."""
    kind = draw.randrange(3)
    if kind == 0:
        number = "".join(draw.choices("0123456789", k=draw.randint(8, 14)))
    elif kind == 1:
        number = draw.choice("ABDEHKZ0") + "".join(draw.choices("0123456789BCDHKNPRTX", k=11))
    else:
        number = (
            f"{draw.randint(100, 999)}{draw.choice('KMRT')}{draw.choice('AXZ')}{draw.randint(10000, 99999)}"
        )
    return (
        draw.choice(
            ("S/N ", "S/N: ", "SERIAL NO. ", "Serial: ", "SN:", "Serien-Nr. ", "N° de série ", "Nº serie ")
        )
        + number
    )


def day(draw: random.Random) -> str:
    """A date of manufacture."""
    year, month = draw.randint(2005, 2022), draw.randint(1, 12)
    return draw.choice(
        (f"MFG {month:02d}/{year}", f"{year}.{month:02d}", f"Date: {year}-{month:02d}-{draw.randint(1, 28):02d}",
         f"MANUFACTURED: MARCH {year}", f"Datum {month:02d}.{year}", f"WEEK {draw.randint(1, 52)}/{year % 100:02d}")
    )  # fmt: skip


def label(one: Set, draw: random.Random, parts: tuple[str, ...], code: str = "") -> str:
    """A label's line with some parts; the model keeps its name for it, and its place is any."""
    say = {
        "rating": lambda: draw.choice(RATING),
        "serial": lambda: serial(draw),
        "date": lambda: day(draw),
        "approval": lambda: draw.choice(APPROVAL),
        "made": lambda: draw.choice(MADE),
        "make": lambda: draw.choice(
            (one.make, one.make.upper(), f"{one.make} LED TV", f"{one.make} Colour TV")
        ),
    }
    pieces = [say[part]() for part in parts if part != "make"]
    draw.shuffle(pieces)
    name = f"{draw.choice(MODEL)} {code or one.model}"
    pieces.insert(draw.choice((0, 0, draw.randint(0, len(pieces)))), name)
    if "make" in parts:
        pieces.insert(0, say["make"]())
    return draw.choice((" ", "  ", ", ", "\n", " | ")).join(pieces)


PLATE = ("make", "rating", "serial", "date", "approval", "made")


# kinds: each gives a text for a set, or None where the set has nothing to damage

Kind = Callable[[Set, random.Random], str | None]


def several(make: Callable[[list[str], random.Random], str]) -> Kind:
    def kind(one: Set, draw: random.Random) -> str | None:
        words = one.make.split()
        if len(words) < 2 or any(len(normal(word)) < 1 for word in words):
            return None
        text = make(words, draw)
        return draw.choice((f"{text} {one.model}", f"{one.model} {text}", f"{text} {one.model}".lower()))

    return kind


def _slip(word: str, draw: random.Random) -> str:
    if len(word) < 3:
        return word
    at = draw.randrange(1, len(word) - 1)
    return draw.choice(
        (word[:at] + word[at + 1 :], word[:at] + draw.choice("aeionrst") + word[at:],
         word[:at] + word[at + 1] + word[at] + word[at + 2 :], word[:at] + draw.choice("aeionrst") + word[at + 1 :])
    )  # fmt: skip


def _slipped(words: list[str], draw: random.Random) -> str:
    at = draw.choice([n for n, word in enumerate(words) if len(word) == max(map(len, words))])
    return " ".join([*words[:at], _slip(words[at], draw), *words[at + 1 :]])


def changed(how: Callable[[str, random.Random], str], times: int = 1) -> Kind:
    def kind(one: Set, draw: random.Random) -> str | None:
        code = one.code
        for _ in range(times):
            code = how(code, draw)
        return None if normal(code) == one.code and code == one.code else swapped_in(one, code, draw)

    return kind


def script(signs: dict[str, str], share: float) -> Kind:
    def kind(one: Set, draw: random.Random) -> str | None:
        text = one.model.upper()
        out = "".join(signs[c] if c in signs and draw.random() < share else c for c in text)
        if out == text:
            return None
        make = "".join(signs.get(c, c) if draw.random() < share else c for c in one.make.upper())
        return f"{make} {out}" if draw.random() < 0.5 else out

    return kind


def full_width(one: Set, draw: random.Random) -> str:
    text = typed(one, draw)
    return "".join(chr(ord(c) + 0xFEE0) if "!" <= c <= "~" else c for c in text)


def joined_signs(one: Set, draw: random.Random) -> str | None:
    text = f"{one.make} {one.model}".lower()
    pairs = [("m", "rn"), ("w", "vv"), ("d", "cl"), ("rn", "m"), ("cl", "d")]
    there = [pair for pair in pairs if pair[0] in text]
    if not there:
        return None
    old, new = draw.choice(there)
    return text.replace(old, new, 1) if draw.random() < 0.5 else text.replace(old, new)


def heard(one: Set, draw: random.Random) -> str | None:
    return _with_make(
        one, spoken(one.model, draw, lambda c: draw.choice(HEARD[c]), said_number, ("dash", "hyphen")), draw
    )


def radio(one: Set, draw: random.Random) -> str | None:
    way = draw.choice((RADIO, RADIO, POLICE))
    return _with_make(one, spoken(one.model, draw, way.__getitem__, said_number, ("dash", "hyphen")), draw)


def for_names(one: Set, draw: random.Random) -> str | None:
    return _with_make(one, spoken(one.model, draw, lambda c: named(c, draw), said_number, ("dash",)), draw)


def spanish(one: Set, draw: random.Random) -> str | None:
    return _with_make(one, spoken(one.model, draw, LETRAS.__getitem__, said_numero, ("guion", "guión")), draw)


def half_spoken(one: Set, draw: random.Random) -> str | None:
    """Letters as they are, numbers said."""
    text = re.sub(r"\d+", lambda run: f" {said_number(run[0], draw)} ", one.model).replace("-", " dash ")
    return _with_make(one, " ".join(text.split()), draw)


def _with_make(one: Set, text: str, draw: random.Random) -> str:
    return f"{one.make.lower()} {text}" if draw.random() < 0.7 else text


def teen(one: Set, draw: random.Random) -> str | None:
    """Thirteen for thirty, and the other way."""
    found = list(re.finditer(r"(?<!\d)(1[3-9]|[3-9]0)(?!\d)", one.model))
    if not found:
        return None
    at = draw.choice(found)
    two = at[0]
    other = f"{two[1]}0" if two[0] == "1" else f"1{two[0]}"
    return swapped_in(one, one.model[: at.start()] + other + one.model[at.end() :], draw)


def size_and_year(one: Set, draw: random.Random) -> str | None:
    if one.size is None:
        return None
    size = draw.choice((f"{one.size} inch", f'{one.size}"', f"{one.size}in", f"{one.size}-inch", f"{one.size} Zoll",
                        f"{one.size} pulgadas"))  # fmt: skip
    parts = [size, one.make.lower(), draw.choice((str(one.year), f"from {one.year}"))]
    if draw.random() < 0.4:
        draw.shuffle(parts)
    return draw.choice(("", "", "my ", "tv ")) + " ".join(parts)


def size_alone(one: Set, draw: random.Random) -> str | None:
    return (
        None if one.size is None else draw.choice((f"{one.size} inch {one.make}", f'{one.make} {one.size}"'))
    )


def year_beside(one: Set, draw: random.Random) -> str:
    return draw.choice((f"{one.make} {one.model} {one.year}", f"{one.year} {one.make} {one.model}",
                        f"{one.model} from {one.year}"))  # fmt: skip


def size_beside(one: Set, draw: random.Random) -> str | None:
    return None if one.size is None else f"{one.size} inch {one.make} {one.model}"


def suffix_apart(one: Set, draw: random.Random) -> str | None:
    end = re.search(r"(?<=\d)[-/]?([A-Z]{1,3}\d?)$", one.model)
    if not end or len(one.model) - len(end[0]) < 4:
        return None
    return swapped_in(one, f"{one.model[: end.start()]} {end[1]}", draw)


def chatty(one: Set, draw: random.Random) -> str:
    return draw.choice((
        "the client has a {} {}", "have we been to a {} {} before", "it is a {} {} i think", "{} tv model {}",
        "tengo un {} {}", "what do we know of the {} {}", "{} television, number on the back {}", "{} {} please",
    )).format(one.make, one.model)  # fmt: skip


def shouted_make(one: Set, draw: random.Random) -> str:
    """A slip in the make, and one neighbour swapped in the code."""
    code = one.code
    at = draw.randrange(len(code) - 1)
    return f"{_slip(one.make.lower(), draw)} {code[:at]}{code[at + 1]}{code[at]}{code[at + 2 :]}".lower()


KINDS: dict[str, Kind] = {
    "as printed": typed,
    "make: words joined": several(lambda words, _: "".join(words)),
    "make: first word": several(lambda words, _: words[0]),
    "make: a later word": several(lambda words, draw: draw.choice(words[1:])),
    "make: words swapped": several(lambda words, _: " ".join(words[::-1])),
    "make: slip in a word": several(_slipped),
    "make slip and swap": shouted_make,
    "label: rating": lambda one, draw: label(one, draw, ("rating",)),
    "label: serial": lambda one, draw: label(one, draw, ("serial",)),
    "label: make, date, made": lambda one, draw: label(one, draw, ("make", "date", "made")),
    "label: approvals": lambda one, draw: label(one, draw, ("make", "approval", "rating")),
    "label: whole plate": lambda one, draw: label(one, draw, PLATE),
    "label: plate, misread": lambda one, draw: label(one, draw, PLATE, misread(one.code, draw)),
    "heard letters": heard,
    "radio alphabet": radio,
    "n for november": for_names,
    "Spanish letters": spanish,
    "numbers as words": half_spoken,
    "misheard sign": changed(misheard),
    "thirteen, thirty": teen,
    "Cyrillic": script(CYRILLIC, 0.7),
    "Greek": script(GREEK, 0.7),
    "full width": full_width,
    "rn for m": joined_signs,
    "one key beside": changed(mishit),
    "two keys beside": changed(mishit, 2),
    "camera: one": changed(noise),
    "camera: three": changed(noise, 3),
    "size and year": size_and_year,
    "size and make": size_alone,
    "year beside": year_beside,
    "size beside": size_beside,
    "suffix apart": suffix_apart,
    "in a sentence": chatty,
}
MEMORY = ("size and year", "size and make")
SORTS = {
    "make and model typed": ("as printed", "make"), "labels": ("label",),
    "read out": ("heard", "radio", "n for", "Spanish", "numbers", "misheard", "thirteen"),
    "scripts and keys": ("Cyrillic", "Greek", "full width", "rn for", "one key", "two keys"),
    "camera": ("camera",), "words beside": ("year beside", "size beside", "suffix", "in a"),
}  # fmt: skip
"""Kinds of query by how they begin, for the table of scores."""
BANDS = (0.0, 0.2, 0.5, 0.8, 1.01)
FEWEST = 10  # answers of which a share is printed
UNKNOWN = 2 / 3
"""Of the queries, assumed to be about sets that the book does not have (as ``kb.index.scoring`` does)."""
HARD = ("camera: three", "two keys beside", "label: plate, misread", "misheard sign", "thirteen, thirty",
        "one key beside", "camera: one", "make slip and swap")  # fmt: skip


def questions(book: Book, each: int, draw: random.Random) -> Iterator[Asked]:
    """Decidable queries of every kind; a damaged code must be nearest to one set only."""
    from rapidfuzz import process
    from rapidfuzz.distance import OSA

    joined = [normal(one.make) + one.code for one in book.known]
    models = [one.code for one in book.known]
    makes = {normal(one.make) for one in book.known}
    for kind, way in KINDS.items():
        found = tries = 0
        while found < each and tries < each * 40:
            tries += 1
            at = draw.randrange(len(book.known))
            one = book.known[at]
            text = way(one, draw)
            if text is None or len(one.code) < 4:
                continue
            if kind in MEMORY:
                rows = frozenset(
                    n for n, other in enumerate(book.known)
                    if other.make == one.make and other.size == one.size
                    and (kind != "size and year" or other.year == one.year)
                )  # fmt: skip
            else:
                rows = frozenset(book.codes[one.code])
                if len(rows) > 1:
                    if normal(one.make) not in normal(text):
                        continue
                    rows = frozenset({at})
            if kind in HARD and not kind.startswith("label"):
                with_make = (
                    normal(text).startswith(normal(one.make)) or normal(text)[:2] == normal(one.make)[:2]
                )
                pool = joined if with_make else models
                read = normal(text)
                own = OSA.distance(read, pool[at])
                nearest = process.extract(read, pool, scorer=OSA.distance, score_cutoff=own, limit=2)
                if [n for _, _, n in nearest] != [at]:
                    continue
            found += 1
            yield Asked(kind, text, rows, normal(text))
    assert makes


def strangers(book: Book, each: int, draw: random.Random) -> Iterator[Asked]:
    """Queries about sets that the book does not have, of the same kinds."""
    have = {(normal(one.make), one.code) for one in book.known}
    for kind, way in KINDS.items():
        if kind in MEMORY:
            continue
        found = tries = 0
        while found < each and tries < each * 40:
            tries += 1
            one = draw.choice(book.unknown)
            text = way(one, draw)
            if text is None or one.code in book.codes or (normal(one.make), one.code) in have:
                continue
            found += 1
            yield Asked(kind, text, frozenset())


@dataclass(slots=True)
class Figures:
    """What came of the queries of one kind."""

    asked: int = 0
    first: int = 0
    five: int = 0
    said: float = 0.0
    plain: int = 0
    plain_five: int = 0
    stated: list[tuple[float, bool]] = field(default_factory=list)  # score of the first match, and if right
    times: list[float] = field(default_factory=list)


def answer(reader: Reader, text: str) -> tuple[list[tuple[int, float, str]], float]:
    """Row, score and how of the first five matches, and the processor time in seconds."""
    begun = time.process_time()
    try:
        matches = reader.find(text).matches[:5]
    except JackfieldError:  # counts as no answer
        matches = ()
    took = time.process_time() - begun
    return [(int(m.key[1:]), m.score, m.how) for m in matches], took


def entries(book: Book) -> Iterator[SetEntry]:
    """The book's sets, with their years and, where the index takes them, sizes."""
    for at, one in enumerate(book.known):
        sizes = (float(one.size),) if one.size else ()
        years = (one.year, one.year)
        yield SetEntry(f"s{at}", one.make, one.model, findings=at % 7, years=years, sizes=sizes)


def measure(book: Book, each: int, draw: random.Random, wrong: str | None) -> dict[str, Figures]:
    """Figures by kind; "unknown" kinds hold how many of them were stated with 0.8 and 0.5."""
    from rapidfuzz import process
    from rapidfuzz.distance import OSA

    joined = [normal(one.make) + one.code for one in book.known]
    out: dict[str, Figures] = {}
    home = Path(tempfile.mkdtemp(prefix="jackfield-people-"))
    try:
        with Index.open(home / "index") as index:
            index.rebuild(entries(book), 1)
            with index.reader() as reader:
                for one in questions(book, each, draw):
                    got, took = answer(reader, one.text)
                    cell = out.setdefault(one.kind, Figures())
                    cell.asked += 1
                    good = bool(got) and got[0][0] in one.rows
                    cell.first += good
                    cell.five += any(row in one.rows for row, _, _ in got)
                    cell.said += got[0][1] if got else 0.0
                    if got and got[0][2] != "text":
                        cell.stated.append((got[0][1], good))
                    cell.times.append(took)
                    nearest = process.extract(one.plain, joined, scorer=OSA.distance, limit=5)
                    cell.plain += nearest[0][2] in one.rows
                    cell.plain_five += any(row in one.rows for _, _, row in nearest)
                    if wrong is not None and not good and one.kind.startswith(wrong):
                        meant = [
                            (book.known[row].make, book.known[row].model) for row in sorted(one.rows)[:2]
                        ]
                        saw = [(book.known[row].make, book.known[row].model, s, h) for row, s, h in got[:3]]
                        print("  wrong:", one.kind, "|", repr(one.text), "|", meant, "|", saw)
                for one in strangers(book, max(each // 2, 10), draw):
                    got, took = answer(reader, one.text)
                    cell = out.setdefault(f"unknown {one.kind}", Figures())
                    cell.asked += 1
                    score = got[0][1] if got and got[0][2] != "text" else 0.0
                    if score:
                        cell.stated.append((score, False))
                    cell.first += score >= 0.8
                    cell.five += score >= 0.5
                    cell.times.append(took)
                    if wrong is not None and score >= 0.5 and f"unknown {one.kind}".startswith(wrong):
                        row = book.known[got[0][0]]
                        print(
                            "  stated:", one.kind, "|", repr(one.text), "|", row.make, row.model, got[0][1:]
                        )
    finally:
        shutil.rmtree(home, ignore_errors=True)
    return out


def show(name: str, figures: dict[str, Figures]) -> None:
    """One table a book."""
    print(f"\n{name}: right first, in five; stated (mean); plain distance first, in five; asked; p95 ms")
    known = {kind: cell for kind, cell in figures.items() if not kind.startswith("unknown")}
    for kind, c in known.items():
        print(
            f"  {kind:26}{c.first / c.asked:7.1%}{c.five / c.asked:7.1%}{c.said / c.asked:7.2f}"
            f"{c.plain / c.asked:9.1%}{c.plain_five / c.asked:7.1%}{c.asked:6}"
            f"{1e3 * sorted(c.times)[int(len(c.times) * 0.95)]:8.1f}"
        )
    total = sum(c.asked for c in known.values()) or 1
    first, five = sum(c.first for c in known.values()), sum(c.five for c in known.values())
    plain, plain_five = sum(c.plain for c in known.values()), sum(c.plain_five for c in known.values())
    times = sorted(took for c in known.values() for took in c.times)
    print(
        f"  {'ALL':26}{first / total:7.1%}{five / total:7.1%}{'':7}{plain / total:9.1%}{plain_five / total:7.1%}"
        f"{total:6}  median {1e3 * median(times):.2f} ms, p95 {1e3 * times[int(len(times) * 0.95)]:.1f},"
        f" most {1e3 * times[-1]:.1f}"
    )
    even = sum(c.first / c.asked for c in known.values()) / len(known)
    print(
        f"  {'mean of the kinds':26}{even:7.1%}{sum(c.five / c.asked for c in known.values()) / len(known):7.1%}"
    )
    strange = {kind: cell for kind, cell in figures.items() if kind.startswith("unknown")}
    asked = sum(c.asked for c in strange.values()) or 1
    print(
        f"  sets not in the book, {asked} asked: stated 0.8 or more {sum(c.first for c in strange.values()) / asked:.1%},"
        f" 0.5 or more {sum(c.five for c in strange.values()) / asked:.1%}"
    )
    for kind, c in strange.items():
        if c.five:
            print(f"    {kind:34}{c.first:4}{c.five:4} of {c.asked}")


def calibration(all_of: list[dict[str, Figures]]) -> None:
    """By sort of query and band of the score: the mean score, how often it came true, and the answers.

    Queries about unknown sets are weighed so that they are ``UNKNOWN`` of all.
    """
    print(f"\nscores: stated, came true, answers, if {UNKNOWN:.0%} of the queries are about unknown sets")
    print(f"  {'':22}" + "".join(f"{f'{low:g} to {min(high, 1):g}':>20}" for low, high in pairwise(BANDS)))
    for sort, begins in {**SORTS, "all": ("",)}.items():
        kinds = {kind for figures in all_of for kind in figures if kind.startswith(begins)}
        kinds = {kind for kind in kinds if not kind.startswith("unknown") and kind not in MEMORY}
        told: list[tuple[float, bool, float]] = []
        for front, share in (("", 1 - UNKNOWN), ("unknown ", UNKNOWN)):
            cells = [figures[front + kind] for figures in all_of for kind in kinds if front + kind in figures]
            weight = share / max(sum(cell.asked for cell in cells), 1)
            told += [(score, good, weight) for cell in cells for score, good in cell.stated]
        line = f"  {sort:22}"
        for low, high in pairwise(BANDS):
            here = [one for one in told if low <= one[0] < high]
            total = sum(weight for _, _, weight in here) or 1.0
            stated = sum(score * weight for score, _, weight in here) / total
            true = sum(good * weight for _, good, weight in here) / total
            line += (
                f"{stated:9.2f}{true:6.2f}{len(here):5}" if len(here) >= FEWEST else f"{'-':>15}{len(here):5}"
            )
        print(line)


def main() -> None:
    """Parse and run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--each", type=int, default=40, help="queries of each kind and book")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--wrong", help="show what was wrong of kinds that begin so ('' for all)")
    parser.add_argument("--book", type=int, choices=(0, 1), help="only the invented book, or the open list")
    told = parser.parse_args()
    draw = random.Random(told.seed)
    measured = []
    for at, book in enumerate(books(draw)):
        if told.book is None or told.book == at:
            measured.append(measure(book, told.each, draw, told.wrong))
            show(f"{len(book.known)} sets, {book.name}", measured[-1])
    calibration(measured)


if __name__ == "__main__":
    main()
