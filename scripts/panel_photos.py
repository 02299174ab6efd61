"""Draw photos of panels of jacks, easy and hard, with what is on them, to measure how well they are read.

Written before the reader of panels, and without a look at its rules. Wordings and arrangements are common
practice, from memory. How a plate is photographed is in ``label_photos.py``.

``python scripts/panel_photos.py FOLDER --each 5`` writes some to look at.
"""

# ruff: noqa: E501  # lists of marks are read more easily as they are

from __future__ import annotations

import argparse
import random
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from label_photos import HIGH, INK, WIDE, _font, fonts, photographed
from PIL import Image, ImageDraw

#: Single jacks by form: marks of one or two lines, each with the way of its sound (out, in, none for neither).
TOSLINK = (
    ("OPTICAL OUT",), ("DIGITAL AUDIO OUT", "(OPTICAL)"), ("DIGITAL AUDIO OUT",), ("OPTICAL",), ("OPTICAL DIGITAL", "AUDIO OUT"),
    ("DIGITAL OUT", "OPTICAL"), ("AUDIO OUT", "(OPTICAL)"), ("SPDIF OUT",), ("SPDIF",), ("OPTISCHER AUSGANG",),
    ("DIGITAL AUDIO", "OUTPUT (OPTICAL)"), ("DIGITALER", "AUDIOAUSGANG"), ("SORTIE OPTIQUE",), ("SALIDA ÓPTICA",), ("USCITA OTTICA",),
)  # fmt: skip
HEADPHONE = (
    ("HEADPHONE",), ("HEADPHONES",), ("PHONES",), ("H/P OUT",), ("HEADPHONE OUT",), ("AUDIO OUT / H/P",), ("KOPFHÖRER",),
    ("CASQUE",), ("AURICULARES",), ("CUFFIE",), ("EARPHONE",), ("HEADPHONE/", "AUDIO OUT"), ("Headphone",),
)  # fmt: skip
LINE = (("AUDIO OUT",), ("LINE OUT",), ("SUBWOOFER OUT",), ("VARIABLE", "AUDIO OUT"))
SMALL_IN = (("PC AUDIO IN",), ("AV IN",), ("AUDIO IN", "(PC/DVI)"), ("PC/DVI AUDIO IN",), ("AUDIO IN",))
COAX = (
    ("COAXIAL OUT",),
    ("DIGITAL AUDIO OUT", "(COAXIAL)"),
    ("COAX OUT",),
    ("DIGITAL OUT", "COAXIAL"),
    ("SPDIF OUT", "(COAX)"),
)
SCART = (("EXT 1",), ("EXT 1 (RGB)",), ("SCART",), ("AV1",), ("EXT/RGB",), ("SCART (RGB)",))
USB = (("USB",), ("USB 1",), ("USB", "5V 0.5A"), ("USB (HDD)",), ("USB 2.0",))
LAN = (("LAN",), ("ETHERNET",), ("NETWORK",))
ANTENNA = (("ANT IN",), ("ANTENNA",), ("ANTENNA IN",), ("RF IN",), ("CABLE/ANTENNA IN",), ("ANT 1 IN",))
VGA = (("PC IN",), ("VGA",), ("PC (RGB) IN",), ("PC INPUT",))
OTHER = (("SERVICE",), ("RS-232C",), ("EXT. SPEAKER",))
PAIR_OUT = (
    "AUDIO OUT",
    "AUDIO OUTPUT",
    "LINE OUT",
    "AUDIO-AUSGANG",
    "SORTIE AUDIO",
    "SALIDA AUDIO",
    "AUDIO OUT (FIXED)",
    "USCITA AUDIO",
    "VAR. AUDIO OUT",
)
PAIR_IN = ("AUDIO IN", "AUDIO", "COMPONENT AUDIO IN", "ENTRÉE AUDIO", "AUDIO-EINGANG", "DVI AUDIO IN")
AV_IN = ("AV IN", "AV 1", "AV IN 2", "VIDEO IN", "AV INPUT", "AV 2 IN", "ENTRADA AV")
TEXTS = (
    "CAUTION: RISK OF ELECTRIC SHOCK", "DO NOT OPEN", "100-240V~ 50/60Hz", "MADE IN POLAND", "DC 19V 3.42A", "WARNING", "AC IN",
    "Model: NV40-210", "Do not block the vents", "CLASS 1 LASER PRODUCT", "M6 x 12", "SERIAL NO. 40812334455", "SET UP 40-210",
    "This product complies with Part 15", "0.5A MAX", "QA 14", "PUSH",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Jack:
    """A jack as it is on the panel. ``marks``: all words printed for it; none for a sign alone."""

    form: str
    marks: str
    way: str  #: out, in, or "" for a jack without sound or of unsaid direction
    x: float  #: of the jack, as a share of the photo
    y: float


@dataclass(frozen=True, slots=True)
class Panel:
    """A photo of one panel."""

    jacks: tuple[Jack, ...]
    texts: tuple[tuple[str, tuple[tuple[float, float], ...]], ...]  #: all that is printed, with its corners
    jpeg: bytes
    hard: bool
    how: str  #: what was done to it


@dataclass
class Plate:
    """A panel as it is moulded and printed; lengths in pixels of the photo."""

    draw: random.Random
    hard: bool
    texts: list[tuple[float, float, str, float]] = field(default_factory=list)
    shapes: list[tuple[str, float, float, float, float]] = field(default_factory=list)
    jacks: list[tuple[str, str, str, float, float]] = field(default_factory=list)

    def __post_init__(self) -> None:
        dark = self.draw.random() < (0.75 if self.hard else 0.6)
        if dark:
            grey = self.draw.randint(15, 60)
            self.paper, self.ink = (grey,) * 3, (self.draw.randint(180, 250),) * 3
        else:
            grey = self.draw.randint(170, 240)
            self.paper, self.ink = (grey,) * 3, (self.draw.randint(5, 70),) * 3
        self.file = self.draw.choice(
            [one for one in fonts() if not Path(one).stem.startswith("cm")]
        )  # no accents
        self.size = self.draw.uniform(17, 25) if self.hard else self.draw.uniform(26, 36)
        self.relief = self.hard and self.draw.random() < 0.15

    def wide(self, text: str, size: float) -> float:
        """How wide a text is."""
        return float(_font(self.file, round(size * INK)).getlength(text)) / INK

    def text(self, x: float, y: float, text: str, size: float = 0.0) -> None:
        """Put a text with its middle at x, its top at y."""
        size = size or self.size
        self.texts.append((x - self.wide(text, size) / 2, y, text, size))

    def left(self, x: float, y: float, text: str) -> None:
        """Put a text that begins at x."""
        self.texts.append((x, y, text, self.size))

    # -- jacks ------------------------------------------------------------------------------------------

    def size_of(self, form: str) -> tuple[float, float]:
        """Width and height of a socket; in millimetres by a mark of 2.2 mm (common practice)."""
        wide, high = {
            "toslink": (10, 9), "jack-3.5": (8, 8), "rca-single": (10, 10), "hdmi": (16, 6.5), "usb": (14, 7),
            "rj45": (15, 13), "antenna": (12, 12), "d-sub": (34, 11), "scart": (46, 14), "other": (9, 9),
        }[form]  # fmt: skip
        return wide * self.size / 3.1, high * self.size / 3.1

    def shape(self, form: str, x: float, y: float) -> None:
        """Draw a socket with its middle there."""
        wide, high = self.size_of(form)
        self.shapes.append((form, x, y, wide, high))

    def jack(self, form: str, words: str, way: str, x: float, y: float) -> None:
        """Note a jack for the truth."""
        self.jacks.append((form, words, way, x, y))

    def picture(self) -> Image.Image:
        """The plate, ``INK`` times as large as it is photographed."""
        right = max(
            [x + self.wide(t, s) for x, _, t, s in self.texts] + [x + w / 2 for _, x, _, w, _ in self.shapes]
        )
        low = max([y + 1.3 * s for _, y, _, s in self.texts] + [y + h / 2 for _, _, y, _, h in self.shapes])
        self.box = round((right + 40) * INK), round((low + 35) * INK)
        plate = Image.new("RGB", self.box, self.paper)
        pen = ImageDraw.Draw(plate)
        edge = tuple(min(255, c + 45) for c in self.paper)
        for form, x, y, wide, high in self.shapes:
            _socket(pen, form, x * INK, y * INK, wide * INK, high * INK, edge)
        for x, y, text, size in self.texts:
            font, at = _font(self.file, round(size * INK)), (x * INK, y * INK)
            if self.relief:
                step = max(2, round(size * INK / 16))
                light, dark = (tuple(max(0, min(255, c + d)) for c in self.paper) for d in (70, -70))
                pen.text((at[0] - step, at[1] - step), text, font=font, fill=light)
                pen.text((at[0] + step, at[1] + step), text, font=font, fill=dark)
                pen.text(at, text, font=font, fill=self.paper)
            else:
                pen.text(at, text, font=font, fill=self.ink)
        return plate


def _socket(pen: Any, form: str, x: float, y: float, wide: float, high: float, edge: Any) -> None:
    box = (x - wide / 2, y - high / 2, x + wide / 2, y + high / 2)
    hole = (8, 8, 10)
    if form in ("rca-single", "jack-3.5", "antenna", "other"):
        ring = {"rca-single": (200, 200, 190), "jack-3.5": (70, 70, 72), "antenna": (190, 180, 150)}.get(
            form, edge
        )
        pen.ellipse(box, fill=ring, outline=(20, 20, 20), width=6)
        inner = 0.25 if form != "jack-3.5" else 0.3
        pen.ellipse((x - wide * inner, y - high * inner, x + wide * inner, y + high * inner), fill=hole)
    elif form == "hdmi":
        cut = high * 0.4
        pen.polygon(
            [(box[0], box[1]), (box[2], box[1]), (box[2], box[3] - cut), (box[2] - cut, box[3]),
             (box[0] + cut, box[3]), (box[0], box[3] - cut)], fill=(150, 150, 150)
        )  # fmt: skip
        pen.rectangle((box[0] + 14, box[1] + 14, box[2] - 14, box[3] - 20), fill=hole)
        pen.rectangle((box[0] + 30, y - 8, box[2] - 30, y + 8), fill=(60, 60, 60))
    else:
        pen.rectangle(
            box,
            fill=(130, 130, 132) if form in ("usb", "d-sub", "rj45") else (35, 35, 38),
            outline=edge,
            width=6,
        )
        pen.rectangle((box[0] + 16, box[1] + 16, box[2] - 16, box[3] - 16), fill=hole)
        if form == "toslink":
            pen.rectangle(
                (x - wide * 0.2, y - high * 0.2, x + wide * 0.2, y + high * 0.2), fill=(140, 30, 20)
            )


def _single(draw: random.Random) -> tuple[str, tuple[str, ...], str]:
    """A jack with a mark of its own: form, lines, way."""
    form, marks, way = draw.choices(
        (("toslink", TOSLINK, "out"), ("jack-3.5", HEADPHONE, "out"), ("jack-3.5", LINE, "out"), ("jack-3.5", SMALL_IN, "in"),
         ("rca-single", COAX, "out"), ("scart", SCART, ""), ("usb", USB, ""), ("rj45", LAN, ""), ("antenna", ANTENNA, ""),
         ("d-sub", VGA, ""), ("other", OTHER, "")),
        (6, 6, 2, 3, 2, 1, 3, 2, 3, 2, 1),
    )[0]  # fmt: skip
    return form, draw.choice(marks), way


def _row(plate: Plate, x: float, y: float, room: float) -> float:
    """A row of groups from x on; returns how low it reaches."""
    draw, size = plate.draw, plate.size
    above = draw.random() < 0.5
    line = 1.22 * size
    top, jack, under = y + 3 * line, y + 3 * line + 2.1 * size, y + 3 * line + 4.1 * size
    end = x + room
    while x < end:
        what = draw.choices(("single", "hdmi", "pair", "av", "heading"), (6, 3, 3, 2, 2))[0]
        if what == "single":
            form, lines, way = _single(draw)
            wide = max(plate.size_of(form)[0], *(plate.wide(one, size) for one in lines)) + size * 1.1
            if x + wide > end:
                break
            at = x + wide / 2
            plate.shape(form, at, jack)
            first = top - line * len(lines) if above else under
            for number, one in enumerate(lines):
                plate.text(at, first + line * number, one)
            plate.jack(form, " ".join(lines), way, at, jack)
        elif what == "hdmi":
            count = draw.randint(1, 4)
            headed = count > 1 and draw.random() < 0.35
            back = draw.randint(1, count) if draw.random() < 0.6 else 0
            pitch = plate.size_of("hdmi")[0] + size * draw.uniform(1.0, 2.0)
            wide = pitch * count
            if x + wide > end:
                break
            title = draw.choice(("HDMI IN", "HDMI", "HDMI INPUTS"))
            style = (
                draw.choice(("HDMI {n}", "HDMI{n}", "HDMI IN {n}", "HDMI {n} IN")) if not headed else "{n}"
            )
            arc = draw.choice(("ARC", "ARC", "eARC"))
            for number in range(1, count + 1):
                at = x + pitch * (number - 0.5)
                plate.shape("hdmi", at, jack)
                lines_ = [style.format(n=number)]
                if number == back:
                    if draw.random() < 0.5:
                        lines_.append(f"({arc})")
                    else:
                        lines_[0] += f" ({arc})" if not headed else f" {arc}"
                first = top - line * len(lines_) if above else under
                for row, one in enumerate(lines_):
                    plate.text(at, first + line * row, one)
                words = f"{title} {' '.join(lines_)}" if headed else " ".join(lines_)
                plate.jack("hdmi", words, "out" if number == back else "in", at, jack)
            if headed:
                plate.text(x + wide / 2, top - line * 3 if above else top - line, title)
        elif what == "pair":
            pitch = plate.size_of("rca-single")[0] + size * draw.uniform(0.7, 1.6)
            out = draw.random() < 0.6
            name = draw.choice(PAIR_OUT if out else PAIR_IN)
            wide = max(2 * pitch, plate.wide(name, size) + size)
            if x + wide > end:
                break
            _pair(plate, x + wide / 2, jack, pitch, name, "out" if out else "in", above, top, under, line)
        elif what == "av":
            pitch = plate.size_of("rca-single")[0] + size * draw.uniform(0.8, 1.6)
            name, wide = draw.choice(AV_IN), 3 * pitch + size
            if x + wide > end:
                break
            at = x + size * 0.5 + pitch / 2
            for number in range(3):
                plate.shape("rca-single", at + pitch * number, jack)
            small = top - line if above else under
            style = draw.choice(("apart", "joined"))
            if style == "apart":
                for number, one in enumerate(("VIDEO", "L", "R")):
                    plate.text(at + pitch * number, small, one)
                words = name
            else:
                plate.text(at, small, "VIDEO")
                plate.text(at + 1.5 * pitch, small, draw.choice(("L-AUDIO-R", "L - AUDIO - R", "L AUDIO R")))
                words = f"{name} AUDIO"
            plate.text(at + pitch, small - line if above else small + line, name)
            plate.jack("rca-single", f"{name} VIDEO", "", at, jack)
            plate.jack("rca-pair", words, "in", at + 1.5 * pitch, jack)
        else:  # AUDIO OUT over an optical jack and a pair, or an optical and a coaxial one
            pitch = plate.size_of("rca-single")[0] + size * draw.uniform(0.8, 1.5)
            name = draw.choice(("AUDIO OUT", "AUDIO OUTPUT", "DIGITAL AUDIO OUT", "OUTPUT"))
            if name.startswith("DIGITAL"):
                inner: tuple[tuple[str, str], ...] = (("toslink", "OPTICAL"), ("rca-single", "COAXIAL"))
            else:
                inner = (("toslink", "OPTICAL"), ("rca-single", "L"), ("rca-single", "R"))
                if draw.random() < 0.5:
                    inner = inner[1:] + inner[:1]
            pitch = max(pitch, plate.wide("COAXIAL", size) + size)
            wide = pitch * len(inner)
            if x + wide > end:
                break
            small = top - line if above else under
            sides = []
            for number, (form, one) in enumerate(inner):
                at = x + pitch * (number + 0.5)
                plate.shape(form, at, jack)
                plate.text(at, small, one)
                if one in ("L", "R"):
                    sides.append(at)
                else:
                    plate.jack(form, f"{name} {one}", "out", at, jack)
            if sides:
                plate.jack("rca-pair", name, "out", sum(sides) / 2, jack)
            plate.text(x + wide / 2, small - line if above else small + line, name)
        x += wide + size * draw.uniform(0.6, 2.2)
    return under + 2.2 * line


def _pair(
    plate: Plate,
    at: float,
    jack: float,
    pitch: float,
    name: str,
    way: str,
    above: bool,
    top: float,
    under: float,
    line: float,
) -> None:
    draw, size = plate.draw, plate.size
    left, right = at - pitch / 2, at + pitch / 2
    plate.shape("rca-single", left, jack)
    plate.shape("rca-single", right, jack)
    style = draw.choice(("letters with name", "letters opposite", "one line", "no letters"))
    first, second = draw.choice((("L", "R"), ("R", "L")))
    if style == "one line" and "(" not in name and plate.wide(f"{first} {name} {second}", size) < 2.4 * pitch:
        plate.text(at, top - line if above else under, f"{first}  {name}  {second}")
    else:
        if style == "letters with name":
            plate.text(left, top - line if above else under, first)
            plate.text(right, top - line if above else under, second)
            plate.text(at, top - 2 * line if above else under + line, name)
        elif style == "letters opposite":
            plate.text(left, under if above else top - line, first)
            plate.text(right, under if above else top - line, second)
            plate.text(at, top - line if above else under, name)
        else:
            plate.text(at, top - line if above else under, name)
    plate.jack("rca-pair", name, way, at, jack)


def _column(plate: Plate, x: float, y: float, count: int) -> float:
    """A side panel: jacks below each other, marks on one side; returns how low it reaches."""
    draw, size = plate.draw, plate.size
    left = draw.random() < 0.5
    hdmi = 0
    for _ in range(count):
        form, lines, way = _single(draw)
        while form in ("scart", "d-sub"):
            form, lines, way = _single(draw)
        if draw.random() < 0.35:
            hdmi += 1
            form, way, lines = "hdmi", "in", (f"HDMI {hdmi}",)
            if draw.random() < 0.3:
                way, lines = "out", (f"HDMI {hdmi} (ARC)",)
        wide, high = plate.size_of(form)
        middle = y + max(high, len(lines) * 1.22 * size) / 2
        plate.shape(form, x, middle)
        first = middle - 0.61 * size * len(lines)
        for number, one in enumerate(lines):
            begin = x - wide / 2 - size * 0.7 - plate.wide(one, size) if left else x + wide / 2 + size * 0.7
            plate.left(begin, first + 1.22 * size * number, one)
        plate.jack(form, " ".join(lines), way, x, middle)
        y = middle + max(high, len(lines) * 1.22 * size) / 2 + size * draw.uniform(0.8, 1.8)
    return y


def panel(draw: random.Random, *, hard: bool) -> Panel:
    """A photo of an invented panel."""
    while True:
        plate = Plate(draw, hard)
        kind = draw.choices(("rows", "side"), (4, 1))[0]
        y = 40.0
        if kind == "rows":
            for _ in range(draw.randint(1, 3)):
                y = _row(plate, 45, y, draw.uniform(900, 1350))
        else:
            y = _column(plate, 420, y, draw.randint(3, 7))
        if len(plate.jacks) >= 2:
            break
    for _ in range(draw.randint(0, 4)):
        plate.left(draw.uniform(50, 500), y, draw.choice(TEXTS))
        y += 1.6 * plate.size
    whole = plate.picture()
    jpeg, how, to_plate = photographed(whole, draw, hard=hard)
    back = np.linalg.inv(to_plate)

    def seen(x: float, y: float) -> tuple[float, float]:
        px, py, w = back @ np.array([x * INK, y * INK, 1.0])
        return float(px / w), float(py / w)

    jacks = []
    for form, words, way, *at in plate.jacks:
        px, py = seen(*at)
        jacks.append(Jack(form, words, way, px / WIDE, py / HIGH))
    texts = []
    for x, top, text, size in plate.texts:
        right = x + plate.wide(text, size)
        box = ((x, top), (right, top), (right, top + 1.2 * size), (x, top + 1.2 * size))
        texts.append((text, tuple(seen(*corner) for corner in box)))
    said = f"{kind}, {Path(plate.file).stem}, {plate.size:.0f} px{', embossed' if plate.relief else ''}"
    return Panel(tuple(jacks), tuple(texts), jpeg, hard, f"{said}; {how}")


def main() -> None:
    """Write some photos to look at."""
    args = argparse.ArgumentParser(description=__doc__)
    args.add_argument("folder", type=Path)
    args.add_argument("--each", type=int, default=5)
    args.add_argument("--seed", type=int, default=1)
    given = args.parse_args()
    draw = random.Random(given.seed)
    given.folder.mkdir(exist_ok=True)
    for number in range(2 * given.each):
        made = panel(draw, hard=number >= given.each)
        (given.folder / f"{number:02d}.jpg").write_bytes(made.jpeg)
        print(f"{number:02d} {made.how}")
        for one in made.jacks:
            print(f"     {one.form:10} {one.marks:40} {one.way:3} {one.x:.2f} {one.y:.2f}")


if __name__ == "__main__":
    main()
