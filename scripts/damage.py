"""How do model numbers get mangled? Seeded damage, as on worn labels and over the telephone."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable

from model_codes import normal

ALIKE = ("O0QD", "I1L", "S5", "B8", "Z2", "G6")
_SIGNS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"


def swap_within(code: str, groups: Iterable[str], draw: random.Random) -> str:
    """One character for another of its group (the code itself where no group has one)."""
    places = [(at, group) for at, char in enumerate(code) for group in groups if char in group]
    if not places:
        return code
    at, group = draw.choice(places)
    return code[:at] + draw.choice(group.replace(code[at], "")) + code[at + 1 :]


def look_alike(code: str, draw: random.Random) -> str:
    """One character for one that looks like it (the code itself where it has none such)."""
    return swap_within(code, ALIKE, draw)


def insert(code: str, draw: random.Random) -> str:
    """One character too many."""
    at = draw.randint(0, len(code))
    return code[:at] + draw.choice(_SIGNS) + code[at:]


def delete(code: str, draw: random.Random) -> str:
    """One character too few."""
    at = draw.randrange(len(code))
    return code[:at] + code[at + 1 :]


def substitute(code: str, draw: random.Random) -> str:
    """One character for any other."""
    at = draw.randrange(len(code))
    return code[:at] + draw.choice(_SIGNS.replace(code[at], "")) + code[at + 1 :]


def transpose(code: str, draw: random.Random) -> str:
    """Two neighbours swapped (the code itself where all are equal)."""
    places = [at for at in range(len(code) - 1) if code[at] != code[at + 1]]
    if not places:
        return code
    at = draw.choice(places)
    return code[:at] + code[at + 1] + code[at] + code[at + 2 :]


def unreadable(code: str, draw: random.Random) -> str:
    """One character as ``?``."""
    at = draw.randrange(len(code))
    return code[:at] + "?" + code[at + 1 :]


def slip(code: str, draw: random.Random) -> str:
    """One of the four slips."""
    return draw.choice((insert, delete, substitute, transpose))(code, draw)


def suffix_lost(code: str, draw: random.Random) -> str:
    """The last one to three characters gone, at least four left."""
    return code[: -draw.randint(1, max(1, min(3, len(code) - 4)))]


def suffix_added(code: str, draw: random.Random) -> str:
    """One to three letters more."""
    return code + "".join(draw.choices("ABCDEFGHKLNPSTUXZ", k=draw.randint(1, 3)))


def prefix_only(code: str, draw: random.Random) -> str:
    """The first two thirds, at least four characters."""
    return code[: max(4, (2 * len(code) + 2) // 3)]


Damage = Callable[[str, str, random.Random], tuple[str, str]]


def of_model(*steps: Callable[[str, random.Random], str]) -> Damage:
    def damage(make: str, model: str, draw: random.Random) -> tuple[str, str]:
        for step in steps:
            model = step(model, draw)
        return make, model

    return damage


def _make(
    *steps: Callable[[str, random.Random], str], model: tuple[Callable[[str, random.Random], str], ...] = ()
) -> Damage:
    def damage(make: str, code: str, draw: random.Random) -> tuple[str, str]:
        for step in steps:
            make = step(make, draw)
        for step in model:
            code = step(code, draw)
        return make, code

    return damage


ONE: dict[str, Damage] = {
    "as printed": of_model(),
    "look-alike": of_model(look_alike),
    "insert": of_model(insert),
    "delete": of_model(delete),
    "substitute": of_model(substitute),
    "transpose": of_model(transpose),
    "unreadable ?": of_model(unreadable),
    "suffix lost": of_model(suffix_lost),
    "suffix added": of_model(suffix_added),
    "prefix only": of_model(prefix_only),
}
MAKE_ONLY: dict[str, Damage] = {"make misspelt": _make(slip), "make misspelt twice": _make(slip, slip)}
COMPOUND: dict[str, Damage] = {
    "two slips": of_model(slip, slip),
    "look-alike + slip": of_model(look_alike, slip),
    "? + slip": of_model(slip, unreadable),
    "? twice": of_model(unreadable, unreadable),
    "suffix lost + look-alike": of_model(suffix_lost, look_alike),
    "suffix lost + slip": of_model(suffix_lost, slip),
    "suffix added + slip": of_model(slip, suffix_added),
}
MAKE_COMPOUND: dict[str, Damage] = {
    "make misspelt + slip": _make(slip, model=(slip,)),
    "make misspelt + two slips": _make(slip, model=(slip, slip)),
    "make misspelt + look-alike": _make(slip, model=(look_alike,)),
}


def written(make: str, model: str, draw: random.Random) -> str:
    """The query as somebody writes it: order, case, spaces and hyphens at random."""
    if len(model) > 3 and draw.random() < 0.5:
        at = draw.randrange(2, len(model) - 1)
        model = model[:at] + draw.choice("- /") + model[at:]
    if not make:
        text = model
    elif draw.random() < 0.1 and normal(make) == make and not any(char.isdigit() for char in make):
        text = make + model if draw.random() < 0.5 else model + make
    else:
        text = f"{make} {model}" if draw.random() < 0.6 else f"{model} {make}"
    return draw.choice((str.upper, str.lower, str))(text)
