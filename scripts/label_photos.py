"""Draw photos of labels of invented sets, easy and hard, to measure how well they are read.

Written before the reader of labels, and without a look at its lists. The wordings are common practice, from
memory. The fonts are those of the system and of matplotlib; more of them make harder photos. On Debian:
``apt-get install fonts-liberation fonts-freefont-ttf fonts-roboto-unhinted fonts-lato fonts-ocr-b``.

``python scripts/label_photos.py FOLDER --each 5`` writes some to look at.
"""

# ruff: noqa: E501  # lists of what labels say are read more easily as they are

from __future__ import annotations

import argparse
import io
import math
import random
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageFont

WIDE, HIGH = 1600, 1200  # pixels of a photo
INK = 4  # the label is drawn so many times as large as it is photographed

MODEL = (
    "MODEL NO.:", "Model No.", "MODEL:", "Model", "MODEL", "MODEL NUMBER", "Model Code:", "MODEL / MODÈLE",
    "MODEL/MODELO:", "Modell:", "Modell-Nr.:", "Modelo:", "MODÈLE :", "N° DE MODÈLE", "Modello:", "Type No.",
    "TYPE:", "Typ:", "Type/Typ", "Model No./N° de modèle/Nº de modelo", "МОДЕЛЬ:", "Mod.:", "Modelnr.:",
)  # fmt: skip
SERIAL = (
    "S/N:", "SERIAL NO.", "Serial No.:", "SN", "Serien-Nr.:", "N° DE SÉRIE", "Nº de serie:", "Numero di serie",
    "Ser. No.", "SERIAL NUMBER:", "S/NO.", "Serienummer:",
)  # fmt: skip
PRODUCT = (
    "LED TV", "LCD COLOUR TELEVISION", "COLOR TELEVISION RECEIVER", "Smart TV", "FARBFERNSEHER", "TÉLÉVISEUR LED",
    "TELEVISOR EN COLOR", "LED-LCD TV", "TV RECEIVER", "TELEVISORE A COLORI", "UHD LED TV",
)  # fmt: skip
PLACES = ("Poland", "Turkey", "Hungary", "Slovakia", "P.R.C.", "Mexico", "Spain", "the EU", "Malaysia")
COMPANY = (
    "Electronics Ltd.",
    "GmbH",
    "Corporation",
    "S.A.",
    "Europe B.V.",
    "Consumer Products Inc.",
    "Display Co.",
)
STREETS = ("Oak Lane 14, 40213 Lindmark", "PO Box 1180, Eastwick ES4 2QT", "Rue du Moulin 7, 69100 Belvaux",
           "Via Roma 21, 20100 Castelnovo")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo of the label of one set."""

    make: str
    model: str
    jpeg: bytes
    hard: bool
    how: str  #: what was done to it


@cache
def fonts() -> tuple[str, ...]:
    """Files of Latin text fonts of this machine."""
    import matplotlib

    folders = [Path("/usr/share/fonts"), Path("/Library/Fonts"), Path("C:/Windows/Fonts")]
    folders.append(Path(matplotlib.get_data_path()) / "fonts")
    out = []
    for folder in folders:
        for file in sorted([*folder.rglob("*.ttf"), *folder.rglob("*.otf")]):
            name = file.stem.lower()
            if not any(part in name for part in ("math", "stix", "cmex", "cmsy", "cmmi", "symbol", "dingbat",
                                                 "display", "lastresort", "hairline", "thin", "extralight", "emoji")):  # fmt: skip
                out.append(str(file))
    return tuple(out)


class Drawn:
    """A label as it is printed: text on a plate."""

    def __init__(self, draw: random.Random, *, hard: bool) -> None:
        self.draw = draw
        self.hard = hard
        plate = draw.random()
        if plate < (0.45 if hard else 0.2):
            self.paper, self.ink = (draw.randint(15, 55),) * 3, (draw.randint(185, 250),) * 3
        else:
            grey = draw.randint(190, 248)
            self.paper, self.ink = (
                (grey, grey - draw.randint(0, 8), grey - draw.randint(0, 16)),
                (draw.randint(5, 70),) * 3,
            )
        family = draw.choice(fonts())
        self.family = Path(family).stem
        self.face = family
        self.second = draw.choice(fonts()) if draw.random() < 0.4 else family
        self.texts: list[tuple[float, float, str, float, bool]] = []  # x, y, text, height, second face

    def put(self, x: float, y: float, text: str, size: float, *, second: bool = False) -> float:
        """Place text; returns where it ends."""
        self.texts.append((x, y, text, size, second))
        return x + float(self.font(size, second).getlength(text)) / INK

    def font(self, size: float, second: bool = False) -> Any:
        return _font(self.second if second else self.face, round(size * INK))

    def picture(self) -> Image.Image:
        """The label, ``INK`` times as large as it is photographed."""
        right = max(x + self.font(size, two).getlength(text) / INK for x, _, text, size, two in self.texts)
        low = max(y + size * 1.3 for _, y, _, size, _ in self.texts)
        wide, high = round((right + 30) * INK), round((low + 25) * INK)
        plate = Image.new("RGB", (wide, high), self.paper)
        pen = ImageDraw.Draw(plate)
        embossed = self.hard and self.draw.random() < 0.18
        for x, y, text, size, two in self.texts:
            at = (x * INK, y * INK)
            if embossed:  # relief: the ink is the plate's own colour, with light above and shadow below
                step = max(2, round(size * INK / 16))
                light = tuple(min(255, c + 70) for c in self.paper)
                dark = tuple(max(0, c - 70) for c in self.paper)
                pen.text((at[0] - step, at[1] - step), text, font=self.font(size, two), fill=light)
                pen.text((at[0] + step, at[1] + step), text, font=self.font(size, two), fill=dark)
                pen.text(at, text, font=self.font(size, two), fill=self.paper)
            else:
                pen.text(at, text, font=self.font(size, two), fill=self.ink)
        if self.draw.random() < 0.7:
            pen.rectangle((6, 6, wide - 7, high - 7), outline=self.ink, width=self.draw.randint(2, 8))
        if self.draw.random() < 0.5:  # a barcode
            x, top = 40, high - 90
            while x < wide // 2:
                bar = self.draw.randint(2, 9)
                pen.rectangle((x, top, x + bar, high - 30), fill=self.ink)
                x += bar + self.draw.randint(3, 10)
        self.relief = embossed
        return plate


@cache
def _font(file: str, size: int) -> Any:
    return ImageFont.truetype(file, size)


def label(make: str, model: str, year: int, draw: random.Random, *, hard: bool) -> tuple[Image.Image, str]:
    """The label of a set, and how it is made."""
    made = Drawn(draw, hard=hard)
    size = draw.uniform(17, 26) if hard else draw.uniform(26, 40)
    step = size * draw.uniform(1.35, 1.8)
    y = 25.0
    style = draw.choice(("lines", "lines", "table", "grid", "alone", "inline", "company"))
    said = make.upper() if draw.random() < 0.6 else make
    gap = draw.choice((" ", "  ", ""))
    if style not in ("inline", "company") and draw.random() < 0.9:
        made.put(30, y, said, size * draw.uniform(1.2, 2.2), second=True)
        y += size * 2.6
    if style == "inline":
        made.put(30, y, f"{said} {draw.choice(PRODUCT)}", size)
        y += step
    elif draw.random() < 0.6:
        made.put(30, y, draw.choice(PRODUCT), size)
        y += step
    rows = _rows(made.draw, year)
    number = _serial(draw)
    if style in ("lines", "inline", "company"):
        name = draw.choice(MODEL)
        where = draw.randint(0, min(2, len(rows)))
        lines = [f"{k} {v}".strip() for k, v in rows]
        lines.insert(where, f"{name}{gap if name[-1] in ':.' else ' '}{model}")
        lines.insert(draw.randint(0, len(lines)), f"{draw.choice(SERIAL)} {number}")
        for line in lines:
            made.put(30, y, line, size)
            y += step
    elif style == "table":
        named = [(draw.choice(MODEL), model), (draw.choice(SERIAL), number), *((k, v) for k, v in rows)]
        draw.shuffle(named)
        column = 30 + max(made.font(size).getlength(k) / INK for k, _ in named) + draw.uniform(20, 60)
        for key, value in named:
            if key:
                made.put(30, y, key, size)
            made.put(column if key else 30, y, value, size)
            y += step
    elif style == "grid":
        heads = [(draw.choice(MODEL), model), (draw.choice(SERIAL), number)]
        if draw.random() < 0.4:
            heads.reverse()
        x = 30.0
        for key, value in heads:
            end = max(made.put(x, y, key, size * 0.8), made.put(x, y + step * 0.9, value, size))
            x = end + draw.uniform(40, 90)
        y += step * 2.1
        for key, value in rows:
            made.put(30, y, f"{key} {value}".strip(), size)
            y += step
    else:  # the maker's code alone
        made.put(30, y, model, size * draw.uniform(1.1, 1.6))
        y += step * 1.5
        for line in [f"{k} {v}".strip() for k, v in rows] + [f"{draw.choice(SERIAL)} {number}"]:
            made.put(30, y, line, size)
            y += step
    if style == "company":
        made.put(30, y, f"{make} {draw.choice(COMPANY)}", size)
        y += step
    picture = made.picture()
    return picture, f"{style}, {made.family}, {size:.0f} px{', embossed' if made.relief else ''}"


def _serial(draw: random.Random) -> str:
    kind = draw.random()
    if kind < 0.5:
        return "".join(draw.choice("0123456789") for _ in range(draw.randint(8, 13)))
    if kind < 0.8:
        return draw.choice("ABCDEFGHKLMX") + "".join(
            draw.choice("0123456789") for _ in range(draw.randint(7, 10))
        )
    return f"{draw.randint(100, 999)}{draw.choice('ABCDEFGHKLMNPR')}{draw.choice('ABCDEFGHKLMNPR')}{draw.randint(10000, 99999)}"


def _rows(draw: random.Random, year: int) -> list[tuple[str, str]]:
    """Other lines of a label, each as (name, value)."""
    watts = draw.randint(35, 260)
    power = draw.choice((
        ("", f"AC 220-240V~ 50/60Hz {watts}W"), ("Power supply:", "AC 100-240V~, 50/60Hz"),
        ("Rated voltage", "220-240 V ~ 50 Hz"), ("", f"220-240V~ 50Hz, {watts} W"), ("INPUT", "DC 19V 3.42A"),
        ("Netzspannung:", "230 V ~ / 50 Hz"), ("ALIMENTATION", f"AC 110-240V 50/60Hz {watts / 100:.1f}A"),
    ))  # fmt: skip
    chip = f"{draw.randint(15, 19)}MB{draw.randint(60, 140)}"
    more = [
        ("", f"Made in {draw.choice(PLACES)}"), ("Power consumption:", f"{watts} W"),
        (draw.choice(("MFG DATE", "Manufactured:", "Date:", "Production date")), _date(draw, year)),
        (draw.choice(("Chassis", "CHASSIS NO.")), chip), ("P/N:", f"{draw.randint(10_000_000, 99_999_999)}"),
        ("Ver.", f"{draw.randint(1, 4)}.{draw.randint(0, 9)}"), ("", draw.choice(STREETS)),
        ("EAN", "".join(draw.choice("0123456789") for _ in range(13))), ("Energy class", draw.choice("ABCDEFG")),
        ("", "CE  RoHS"), ("", "CAUTION: RISK OF ELECTRIC SHOCK. DO NOT OPEN."), ("FCC ID:", f"A{draw.randint(2, 9)}L{chip}X"),
        ("Remote control", f"RC{draw.randint(1000, 9999)}"), ("Panel:", f"V{draw.randint(320, 650)}B{draw.randint(1, 9)}-LE{draw.randint(1, 9)}"),
        ("", "HDMI  DVB-T2/C/S2"), ("Max.", "USB 5V 0.5A"), ("Weight", f"{draw.randint(4, 30)}.{draw.randint(0, 9)} kg"),
    ]  # fmt: skip
    return [power, *draw.sample(more, draw.randint(2, 6))]


def _date(draw: random.Random, year: int) -> str:
    month, week = draw.randint(1, 12), draw.randint(1, 52)
    return draw.choice((f"{month:02d}/{year}", f"{year}-{month:02d}", f"{year}", f"{week} / {year}",
                        f"{draw.randint(1, 28):02d}.{month:02d}.{year}"))  # fmt: skip


def photographed(
    plate: Image.Image, draw: random.Random, *, hard: bool
) -> tuple[bytes, str, np.ndarray[Any, Any]]:
    """A plate as a phone sees it behind a set, what was done to it, and where each pixel looks at the plate.

    The last is a matrix: a homogeneous pixel of the photo becomes one of the plate.
    """
    noise = np.random.default_rng(draw.getrandbits(32))
    done: list[str] = []
    back = Image.fromarray(_plastic(noise, draw))
    turn = draw.uniform(-30, 30) if hard else draw.uniform(-5, 5)
    done.append(f"turned {turn:.0f}")
    wide, high = plate.width / INK, plate.height / INK
    fit = min(1.0, 0.94 * WIDE / _extent(wide, high, turn)[0], 0.94 * HIGH / _extent(wide, high, turn)[1])
    corners = _corners(wide * fit, high * fit, turn, draw, 0.12 if hard else 0.02)
    coefficients = _perspective(corners, plate.width, plate.height)
    # Reduced first, as each pixel of the photo looks at one of the label.
    near = plate.filter(ImageFilter.GaussianBlur(INK / 2 / fit * 0.8))
    lying = near.transform((WIDE, HIGH), Image.Transform.PERSPECTIVE, coefficients, Image.Resampling.BICUBIC)
    mask = Image.new("L", plate.size, 255).transform(
        (WIDE, HIGH), Image.Transform.PERSPECTIVE, coefficients, Image.Resampling.BILINEAR
    )
    back.paste(lying, (0, 0), mask)
    seen: np.ndarray[Any, Any] = np.asarray(back).astype(np.float32)
    y, x = np.mgrid[0:HIGH, 0:WIDE].astype(np.float32)
    if hard and draw.random() < 0.5:
        angle, at = draw.uniform(0, 2 * math.pi), draw.uniform(-300, 300)
        edge = (x - WIDE / 2) * math.cos(angle) + (y - HIGH / 2) * math.sin(angle) - at
        dark = draw.uniform(0.3, 0.6)
        seen *= (dark + (1 - dark) / (1 + np.exp(-edge / draw.uniform(15, 80))))[..., None]
        done.append("shadow")
    if hard and draw.random() < 0.4:
        cx, cy, wide_ = draw.uniform(300, 1300), draw.uniform(200, 1000), draw.uniform(60, 170)
        spot = np.exp(-(((x - cx) ** 2) + ((y - cy) ** 2) * draw.uniform(0.6, 2)) / (2 * wide_**2))
        seen += (draw.uniform(90, 190) * spot)[..., None]
        done.append("glare")
    if hard and draw.random() < 0.5:
        for _ in range(draw.randint(20, 160)):  # dust
            cx, cy, r = draw.randrange(WIDE), draw.randrange(HIGH), draw.randint(1, 4)
            seen[max(0, cy - r) : cy + r, max(0, cx - r) : cx + r] = draw.randint(120, 220)
        done.append("dust")
    seen *= draw.uniform(0.45, 0.9) if hard else draw.uniform(0.85, 1.05)
    picture = Image.fromarray(np.clip(seen, 0, 255).astype(np.uint8))
    blur = draw.uniform(0.6, 1.9) if hard else draw.uniform(0, 0.8)
    picture = picture.filter(ImageFilter.GaussianBlur(blur))
    done.append(f"blur {blur:.1f}")
    if hard and draw.random() < 0.3:
        size = draw.choice((3, 5))  # the hand moved
        row = [1.0 if line == size // 2 else 0.0 for line in range(size) for _ in range(size)]
        picture = picture.filter(ImageFilter.Kernel((size, size), row))
        done.append(f"moved {size}")
    grain = draw.uniform(5, 16) if hard else draw.uniform(0, 4)
    seen = np.asarray(picture).astype(np.float32) + noise.normal(0, grain, (HIGH, WIDE, 1))
    out = io.BytesIO()
    quality = draw.randint(28, 60) if hard else draw.randint(75, 92)
    Image.fromarray(np.clip(seen, 0, 255).astype(np.uint8)).save(out, "JPEG", quality=quality)
    done.append(f"noise {grain:.0f}, JPEG {quality}")
    return out.getvalue(), ", ".join(done), np.array([*coefficients, 1.0]).reshape(3, 3)


def _plastic(noise: np.random.Generator, draw: random.Random) -> np.ndarray[Any, Any]:
    tone = draw.choice((25, 40, 60, 150, 205)) + noise.normal(0, 6, (HIGH // 4, WIDE // 4, 1))
    grain = np.repeat(np.repeat(tone, 4, axis=0), 4, axis=1)
    return np.clip(np.repeat(grain, 3, axis=2), 0, 255).astype(np.uint8)


def _extent(wide: float, high: float, turn: float) -> tuple[float, float]:
    sin, cos = abs(math.sin(math.radians(turn))), abs(math.cos(math.radians(turn)))
    return wide * cos + high * sin, wide * sin + high * cos


def _corners(
    wide: float, high: float, turn: float, draw: random.Random, tilt: float
) -> list[tuple[float, float]]:
    sin, cos = math.sin(math.radians(turn)), math.cos(math.radians(turn))
    room_x, room_y = (WIDE - _extent(wide, high, turn)[0]) / 2, (HIGH - _extent(wide, high, turn)[1]) / 2
    cx = WIDE / 2 + draw.uniform(-0.5, 0.5) * max(0.0, room_x)
    cy = HIGH / 2 + draw.uniform(-0.5, 0.5) * max(0.0, room_y)
    out = []
    for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        px = x * wide / 2 * (1 - draw.uniform(0, tilt))
        py = y * high / 2 * (1 - draw.uniform(0, tilt))
        out.append((cx + px * cos - py * sin, cy + px * sin + py * cos))
    return out


def _perspective(corners: list[tuple[float, float]], wide: int, high: int) -> list[float]:
    """Coefficients with which Pillow takes each pixel of the photo from the label."""
    rows, values = [], []
    for (x, y), (u, v) in zip(corners, ((0, 0), (wide, 0), (wide, high), (0, high)), strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y])
        values += [u, v]
    return [float(one) for one in np.linalg.solve(np.array(rows), np.array(values))]


def photo(make: str, model: str, year: int, draw: random.Random, *, hard: bool) -> Photo:
    """A photo of the label of one set."""
    plate, style = label(make, model, year, draw, hard=hard)
    jpeg, how, _ = photographed(plate, draw, hard=hard)
    return Photo(make, model, jpeg, hard, f"{style}; {how}")


def main() -> None:
    """Write some photos to look at."""
    from people_queries import invented

    args = argparse.ArgumentParser(description=__doc__)
    args.add_argument("folder", type=Path)
    args.add_argument("--each", type=int, default=5)
    args.add_argument("--seed", type=int, default=1)
    given = args.parse_args()
    draw = random.Random(given.seed)
    given.folder.mkdir(exist_ok=True)
    for number, one in enumerate(invented(2 * given.each, draw)):
        made = photo(one.make, one.model, one.year, draw, hard=number >= given.each)
        (given.folder / f"{number:02d}.jpg").write_bytes(made.jpeg)
        print(f"{number:02d} {one.make} {one.model}: {made.how}")


if __name__ == "__main__":
    main()
