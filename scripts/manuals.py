"""Make PDF manuals of invented sets, with what they truly say, to measure how well manuals are read.

Wordings are in ``manual_wordings.toml``: six languages; a quarter is held out, and half was
written after the reader. Layouts: a numbered list, prose
under headings, a table of terminals, a table of models, a specification; one or two columns; one to three
languages in a manual. Traps: outputs of other devices, options, "depending on model", terminals that the set
lacks, service jacks, keys of the remote control, other models' columns.

>>> one = made(7)
>>> one.pdf[:5], one.model in one.models
(b'%PDF-', True)
"""

from __future__ import annotations

import random
import sys
import tomllib
from dataclasses import dataclass, field
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

WORDINGS = Path(__file__).with_name("manual_wordings.toml")
LATER = ("manual_wordings_later.toml", "manual_wordings_fresh.toml")
#: Which wordings a manual has: those that the reader was looked at with, held-out ones, two later ones.
PARTS = ("seen", "held-out", "later", "fresh")
MAKES = ("Norwell", "Hallmere", "Pellworth", "Aldvik", "Veldana", "Tarnow")
SOUND = {"en": "Sound", "de": "Ton", "fr": "Son", "es": "Sonido", "it": "Suono", "nl": "Geluid"}
DIGITAL = {
    "en": "Digital output",
    "de": "Digitalausgang",
    "fr": "Sortie numérique",
    "es": "Salida digital",
    "it": "Uscita digitale",
    "nl": "Digitale uitgang",
}
HEADPHONES = {
    "en": "Headphone mode",
    "de": "Kopfhörermodus",
    "fr": "Mode casque",
    "es": "Modo auriculares",
    "it": "Modo cuffie",
    "nl": "Hoofdtelefoonmodus",
}
LEVEL = {
    "en": "Audio out",
    "de": "Audioausgang",
    "fr": "Sortie audio",
    "es": "Salida de audio",
    "it": "Uscita audio",
    "nl": "Audio-uitgang",
}


@dataclass(frozen=True)
class Told:
    """What a manual says of one jack: the forms that fit its text, its mark, its direction and the rest."""

    forms: frozenset[str]
    mark: str
    direction: str
    says: dict[str, str] = field(default_factory=dict)
    """``speakers``, ``level``, ``format``: the word; ``setting``: the menu item that is named."""


@dataclass(frozen=True)
class Manual:
    """A manual, the models it is for, the model that is asked about, and what it says of that."""

    pdf: bytes
    make: str
    models: tuple[str, ...]
    model: str
    languages: tuple[str, ...]
    told: tuple[Told, ...]
    lines: tuple[tuple[str, ...], ...]
    """The lines of each page as they were written."""


@dataclass
class _Jack:
    kind: str
    mark: str
    forms: frozenset[str]
    direction: str
    says: dict[str, str] = field(default_factory=dict)
    more: list[str] = field(default_factory=list)  # concepts that are said of it besides


@cache
def wordings() -> dict[str, Any]:
    """The wordings by language and concept."""
    found: dict[str, Any] = tomllib.loads(WORDINGS.read_text("utf-8"))
    for name in LATER:
        more = tomllib.loads(WORDINGS.with_name(name).read_text("utf-8"))
        for language, said in more.items():
            for concept, some in said.items():
                found[language].setdefault(concept, []).extend(some)
    return found


def made(seed: int, part: str = "seen", languages: tuple[str, ...] = ()) -> Manual:
    """The manual of a seed, with the wordings of one of ``PARTS``; all languages, or these."""
    number = PARTS.index(part)
    return _Maker(random.Random(seed * 3 + number), number, languages).manual()


class _Maker:
    def __init__(self, chance: random.Random, part: int, languages: tuple[str, ...]) -> None:
        self.chance, self.part = chance, part
        self.make = chance.choice(MAKES)
        letters = "".join(chance.choice("ABCDEFGHKLMNPRSTVX") for _ in range(2))
        sizes = chance.sample(range(20, 76), chance.choice([1, 2, 3, 3]))
        series = chance.randint(100, 999)
        self.models = tuple(f"{letters}{size}-{series}" for size in sorted(sizes))
        self.model = chance.choice(self.models)
        chosen = list(languages or wordings())
        chance.shuffle(chosen)
        self.languages = tuple(chosen[: chance.choice([1, 1, 1, 2, 3])])
        self.jacks = self._jacks()
        self.pages: list[list[Any]] = []

    # -- what the set has

    def _jacks(self) -> list[_Jack]:
        chance, words = self.chance, wordings()[self.languages[0]]

        def jack(kind: str, marks: list[str], forms: str, direction: str) -> _Jack:
            return _Jack(kind, chance.choice(marks), frozenset(forms.split()), direction)

        some: list[_Jack] = []
        if chance.random() < 0.75:
            some.append(jack("optical", words["mark_optical"], "toslink", "output"))
        if chance.random() < 0.2:
            some.append(jack("coax", words["mark_coax"], "rca-single", "output"))
        if chance.random() < 0.75:
            hp = jack("headphone", words["mark_headphone"], "jack-3.5", "output")
            effect = chance.choice(["hp_mute", "hp_mute", "hp_on", "hp_menu", ""])
            if effect:
                hp.more.append(effect)
                hp.says["speakers"] = {"hp_mute": "mute", "hp_on": "stay-on"}.get(effect, "mute-unless-set")
                if effect == "hp_menu":
                    hp.says["setting"] = "HEADPHONES"
            some.append(hp)
        if chance.random() < 0.5:
            kind = chance.choice(["line", "line", "line35"])
            form = {"line": "rca-pair", "line35": "jack-3.5"}[kind]
            line = jack(kind, words[f"mark_{kind}"], form, "output")
            level = chance.choice(["fixed", "variable", "selectable", ""])
            if level:
                line.more.append(level)
                line.says["level"] = level
                if level == "selectable":
                    line.says["setting"] = "LEVEL"
            some.append(line)
        arc = chance.choice(["", "ARC", "ARC", "eARC", "eARC/ARC"])
        sockets = chance.randint(1, 4)
        back = chance.randint(1, sockets)
        for number in range(1, sockets + 1):
            if arc and number == back:
                mark = chance.choice([f"HDMI {number} ({arc})", f"HDMI {number} {arc}"])
                some.append(_Jack("arc", mark, frozenset({"hdmi"}), "output"))
            else:
                some.append(_Jack("hdmi", f"HDMI {number}", frozenset({"hdmi"}), "input"))
        if chance.random() < 0.6:
            some.append(jack("av_in", words["mark_av"], "rca-pair rca-single jack-3.5", "input"))
        if chance.random() < 0.3:
            some.append(jack("pc_in", words["mark_pc"], "jack-3.5", "input"))
        if chance.random() < 0.25:
            some.append(
                _Jack("scart", chance.choice(["EXT 1", "SCART", "AV 1"]), frozenset({"scart"}), "output")
            )
        self.menu = any(one.kind in ("optical", "coax") for one in some) and chance.random() < 0.7
        if self.menu:
            for one in some:
                if one.kind in ("optical", "coax"):
                    one.says |= {"format": "selectable", "setting": "DIGITAL"}
        chance.shuffle(some)
        return some

    def _said(self, language: str, concept: str, **values: str) -> str:
        some: list[str] = wordings()[language][concept]
        if len(some) == 2 * len(PARTS):
            some = some[2 * self.part : 2 * self.part + 2]
        return self.chance.choice(some).replace("{m}", values.get("m", ""))

    # -- what is written

    def manual(self) -> Manual:
        chance = self.chance
        layout = chance.choice(["list", "table", "prose"])
        models_table = len(self.models) > 1 and chance.random() < 0.5
        bare = chance.random() < 0.4  # a specification with its own names and no marks
        traps = [name for name in _TRAPS if chance.random() < 0.45]
        self._cover()
        for language in self.languages:
            self._page(language, "safety", 5, language_title=True)
            self._filler(language, chance.randint(0, 2))
            if "remote" in traps:
                self._page(language, "remote", 3)
            {"list": self._list, "table": self._table, "prose": self._prose}[layout](language, traps)
            if self.menu:
                self._menu(language)
            self._filler(language, chance.randint(0, 2))
            self._specification(language, models_table, bare)
        told = tuple(Told(one.forms, one.mark, one.direction, one.says) for one in self.jacks)
        pdf, lines = drawn(self.pages, chance)
        return Manual(pdf, self.make, self.models, self.model, self.languages, told, lines)

    def _cover(self) -> None:
        self.pages.append([("big", self.make), ("line", ""), *(("line", model) for model in self.models)])

    def _page(self, language: str, concept: str, most: int, *, language_title: bool = False) -> None:
        some = wordings()[language][concept]
        page: list[Any] = [("head", wordings()[language]["language"])] if language_title else []
        page += [("line", f"• {one}") for one in self.chance.sample(some, min(most, len(some)))]
        self.pages.append(page)

    def _filler(self, language: str, count: int) -> None:
        for _ in range(count):
            self._page(language, "other", 6)

    def _of_jack(self, language: str, jack: _Jack) -> list[str]:
        said = [self._said(language, jack.kind, m=jack.mark)]
        return [*said, *(self._said(language, more, m=jack.mark) for more in jack.more)]

    def _traps(self, language: str, traps: list[str]) -> list[tuple[str, str]]:
        chosen = [
            name for name in traps if name in ("optional", "depending", "negation", "foreign", "service")
        ]
        kinds = {one.kind for one in self.jacks}
        found = []
        for name in chosen:
            said = [
                one
                for one in wordings()[language].get(f"{name}_{PARTS[self.part]}", wordings()[language][name])
                # What the set has is not said to be missing or to depend on the model.
                if not (name in ("negation", "depending") and _names_of(one) & kinds)
            ]
            if said:
                found.append((name, self.chance.choice(said)))
        return found

    def _list(self, language: str, traps: list[str]) -> None:
        page: list[Any] = [("head", self._said(language, "titles"))]
        for number, jack in enumerate(self.jacks, 1):
            page.append(("bold", f"{number}  {jack.mark}"))
            page += [("line", one) for one in self._of_jack(language, jack)]
        page += [("line", f"* {said}") for _, said in self._traps(language, traps)]
        self.pages.append(page)

    def _prose(self, language: str, traps: list[str]) -> None:
        outputs = [one for one in self.jacks if one.direction == "output" and one.kind != "scart"]
        others = [one for one in self.jacks if one not in outputs]
        for title, some in (("titles", others), ("audio_title", outputs)):
            page: list[Any] = [("head", self._said(language, title))]
            page += [("line", " ".join(self._of_jack(language, jack))) for jack in some]
            if title == "audio_title":
                page += [("line", said) for _, said in self._traps(language, traps)]
            self.pages.append(page)

    def _table(self, language: str, traps: list[str]) -> None:
        head = wordings()[language]["columns"]
        rows = [[jack.mark, " ".join(self._of_jack(language, jack))] for jack in self.jacks]
        page: list[Any] = [("head", self._said(language, "titles")), ("table", [head, *rows], (130, 340))]
        page += [("line", f"* {said}") for _, said in self._traps(language, traps)]
        self.pages.append(page)

    def _menu(self, language: str) -> None:
        page: list[Any] = [("head", self._said(language, "menu_title"))]
        page += [("line", self._said(language, "pcm"))]
        page += [("line", one) for one in self.chance.sample(wordings()[language]["other"], 2)]
        self.pages.append(page)

    def _specification(self, language: str, models_table: bool, bare: bool) -> None:
        words, chance = wordings()[language], self.chance
        page: list[Any] = [("head", self._said(language, "spec_title"))]
        if models_table:
            rows = [[words["model"], *self.models]]
            yes, no = chance.choice(words["yes"]), chance.choice(words["no"])
            for jack in self.jacks:
                others = [yes if one == self.model else chance.choice([yes, no]) for one in self.models]
                rows.append([jack.mark, *others])
            kinds = {one.kind for one in self.jacks}
            for mark, kind in (("LINE OUT", "line35"), ("COAXIAL OUT", "coax"), ("HEADPHONE", "headphone")):
                if kind not in kinds and not (kind == "line35" and "line" in kinds) and chance.random() < 0.6:
                    rows.append([mark, *(no if one == self.model else yes for one in self.models)])
            chance.shuffle(rows[1:])
            page.append(("table", rows, (200, *(80 for _ in self.models))))
        else:
            page += [("line", self._spec_line(words, jack, bare)) for jack in self.jacks]
        page += [("line", "AC 100-240 V, 50/60 Hz"), ("line", f"VESA {chance.choice([100, 200])} mm, M4")]
        self.pages.append(page)

    def _spec_line(self, words: dict[str, Any], jack: _Jack, bare: bool) -> str:
        label = {
            "optical": words["spec_digital"],
            "coax": words["spec_digital"],
            "headphone": words["spec_headphone"],
            "line": words["spec_audio"],
            "line35": words["spec_audio"],
        }.get(jack.kind, words["spec_in"])
        if jack.kind in ("arc", "hdmi", "av_in", "pc_in", "scart") or not bare:
            said = f"{label}: {jack.mark}"
        else:
            said = (
                label
                + {
                    "optical": ": TOSLINK",
                    "coax": ": 75 Ω",
                    "headphone": ": 3.5 mm",
                    "line": ": RCA, 0.5 V",
                    "line35": ": 3.5 mm, 0.5 V",
                }[jack.kind]
            )
        level = {"fixed": words["word_fixed"], "variable": words["word_variable"]}.get(
            jack.says.get("level", ""), ""
        )
        return f"{said}, {level}" if level else said


_TRAPS = ("optional", "depending", "negation", "foreign", "service", "remote")


def _names_of(said: str) -> set[str]:
    """The kinds of jack that the sentence of a trap speaks about."""
    return {"line", "line35"} if "LINE OUT" in said else {"coax"} if "COAXIAL OUT" in said else set()


def setting_named(kind: str, language: str) -> str:
    """The menu item that is meant by the truth's ``HEADPHONES``, ``LEVEL`` or ``DIGITAL``."""
    return {"HEADPHONES": HEADPHONES, "LEVEL": LEVEL, "DIGITAL": DIGITAL}[kind][language]


# -- drawing


def drawn(pages: list[list[Any]], chance: random.Random) -> tuple[bytes, tuple[tuple[str, ...], ...]]:
    """A PDF of pages of titles, lines and tables, in a layout by chance; and the lines of each page."""
    from reportlab.lib.pagesizes import A4, A5
    from reportlab.pdfgen.canvas import Canvas

    out = BytesIO()
    paper = chance.choice([A4, A4, A5])
    canvas = Canvas(out, pagesize=paper, invariant=1, pageCompression=1)
    font = chance.choice(["Helvetica", "Times-Roman", "Vera"])
    size = chance.choice([7, 8, 9, 10])
    columns = chance.choice([1, 1, 2]) if paper is A4 else 1
    if font == "Vera":  # embedded, with a table of its own for what each glyph means
        from reportlab.pdfbase import pdfmetrics
        from reportlab.pdfbase.ttfonts import TTFont

        pdfmetrics.registerFont(TTFont("Vera", "Vera.ttf"))
    lines = []
    for number, page in enumerate(pages, 1):
        lines.append(_draw_page(canvas, page, number, paper, font, size, columns))
        canvas.showPage()
    canvas.save()
    return out.getvalue(), tuple(lines)


def _draw_page(
    canvas: Any, page: list[Any], number: int, paper: Any, font: str, size: int, columns: int
) -> tuple[str, ...]:
    from reportlab.lib.utils import simpleSplit

    wide, high = paper
    margin, gap = 40, 20
    if any(one[0] == "table" for one in page):
        columns = 1
    width = (wide - 2 * margin - gap * (columns - 1)) / columns
    x, y, column = margin, high - margin, 0
    written = []

    def put(said: str, of: str, points: float, at: float) -> None:
        canvas.setFont(of, points)
        canvas.drawString(at, y, said)
        if said:
            written.append(said)

    def down(points: float) -> None:
        nonlocal x, y, column
        y -= points * 1.3
        if y < margin + 20:
            column += 1
            if column >= columns:
                canvas.showPage()
                column = 0
            x, y = margin + column * (width + gap), high - margin

    for kind, said, *rest in page:
        if kind == "table":
            scale = min(1.0, width / sum(rest[0]))
            starts = [margin + scale * sum(rest[0][:at]) for at in range(len(rest[0]))]
            for row in said:
                cells = [
                    simpleSplit(cell, font, size, scale * room - 6)
                    for cell, room in zip(row, rest[0], strict=True)
                ]
                for step in range(max(map(len, cells))):
                    for at, cell in zip(starts, cells, strict=True):
                        if step < len(cell):
                            put(cell[step], font, size, at)
                    down(size)
                down(2)
            continue
        points = {"big": size * 3, "head": size * 1.6, "bold": size * 1.1}.get(kind, size)
        for piece in simpleSplit(said, font, points, width) or [""]:
            put(piece, font, points, x)
            down(points)
        if kind in ("head", "line"):
            down(points / 3)
    y = margin / 2
    put(str(number), font, size, wide / 2)
    return tuple(written)


def main() -> int:
    """Write some manuals into a folder, to look at: ``manuals.py FOLDER [COUNT]``."""
    folder, count = Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 5
    folder.mkdir(parents=True, exist_ok=True)
    for seed in range(count):
        one = made(seed)
        (folder / f"{one.make}-{one.model}.pdf").write_bytes(one.pdf)
    return 0


if __name__ == "__main__":
    sys.exit(main())
