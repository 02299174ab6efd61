"""Books of invented sets for the index."""

from __future__ import annotations

import random
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from kb.index import Index, SetEntry

sys.path.insert(
    0, str(Path(__file__).parents[2] / "scripts")
)  # the scripts hold the damage that tests use too

settings.register_profile(
    "short", max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("short")


def sets(*names: str, **more: object) -> list[SetEntry]:
    """Entries from ``"Make: MODEL"``."""
    out = []
    for name in names:
        make, model = name.split(": ")
        out.append(SetEntry(f"{make}/{model}".lower(), make, model, **more))  # type: ignore[arg-type]
    return out


def noted(name: str, note: str, **more: object) -> SetEntry:
    """One entry with a note."""
    make, model = name.split(": ")
    return SetEntry(f"{make}/{model}".lower(), make, model, text=(("note", note),), **more)  # type: ignore[arg-type]


MAKES = (
    "Norwell",
    "Ostrava",
    "Belmont",
    "Taminga",
    "Vertek",
    "Kulmer",
    "Senda",
    "Blue Ridge",
    "Halvor",
    "Dovrek",
)


def region(count: int, seed: int = 5) -> list[SetEntry]:
    """Many invented sets: letters, size, series, suffix, as numbers of sets are made."""
    draw = random.Random(seed)
    out: dict[str, SetEntry] = {}
    while len(out) < count:
        make = draw.choice(MAKES)
        letters = "".join(draw.choices("ABCDEFHKLMNPRTVX", k=2))
        model = f"{letters}{draw.choice((24, 32, 40, 46, 55, 65))}-{draw.randrange(1000):03d}"
        model += draw.choice(("", "", "B", "XA", "EU"))
        out.setdefault(
            f"{make}/{model}".lower(), SetEntry(f"{make}/{model}".lower(), make, model, findings=len(out) % 5)
        )
    return list(out.values())


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "index"


@pytest.fixture
def book(folder: Path) -> Iterator[Callable[..., Index]]:
    """Makes an index of the given entries; closed at the end."""
    made: list[Index] = []

    def make(entries: list[SetEntry], revision: int = 1) -> Index:
        index = Index.open(folder)
        index.rebuild(entries, revision)
        made.append(index)
        return index

    yield make
    for index in made:
        index.close()
