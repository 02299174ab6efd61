"""Describe the ways of laying wire: fixings, tools and cautions.

Routes and cautions are data (``data/routes.toml``), each number with its source beside it; this module
reads the parsed table and computes lengths and lists from it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from kb.base.errors import BadInput
from kb.base.messages import Said, either, one_of
from kb.loop.sentences import Sentence

PIECE, METRE = UNITS = ("piece", "m")  #: what the count of a line is of
_LEAST: Final = 3  #: a word of so many letters can name a route


@dataclass(frozen=True)
class Caution:
    """Something that can hurt someone or spoil the work: the code of its sentence, and its source."""

    code: str
    source: str
    always: bool = False

    @property
    def sentence(self) -> Sentence:
        """Return the caution in words."""
        return Sentence(f"sheet/standing/{self.code}")

    @property
    def text(self) -> str:
        """Return the same in English."""
        return self.sentence.text


@dataclass(frozen=True)
class Supply:
    """Describe a tool or material and its count: fixed, or by metre, corner or doorway."""

    item: str
    source: str
    unit: str = PIECE
    each: float = 0.0
    per_m: float = 0.0
    per_corner: float = 0.0
    per_doorway: float = 0.0
    per_feed_m: float = 0.0


@dataclass(frozen=True)
class Needed:
    """Hold a line of the list to carry: item and a whole count of ``unit``, pieces or metres.

    A ``tool`` does for any number of jobs.
    """

    item: str
    count: int
    tool: bool = False
    unit: str = PIECE


@dataclass(frozen=True)
class Route:
    """Describe one way to lay the wire. Lengths in metres; ``slack`` is a share; ``base`` is ``floor`` or
    ``ceiling``.

    ``sources`` holds the source of each number by its key. Name, how and mind are sentences of the catalogue.
    """

    code: str
    base: str
    height: float
    highest: float | None
    slack: float
    ends: float
    doorway: float
    cautions: tuple[Caution, ...]
    tools: tuple[Supply, ...]
    materials: tuple[Supply, ...]
    sources: Mapping[str, str]
    wire_kind: str = "insulated"

    @property
    def name(self) -> str:
        """Return the name in English, which people may type."""
        return self.says("name").text

    def says(self, part: str) -> Sentence:
        """Return the sentence of ``name``, ``how`` (to lay the wire) or ``mind``."""
        return Sentence(f"loop/route/{self.code}/{part}")

    def wire_height(self, ceiling: float) -> float:
        """Return the wire's height above the floor in metres, for a ceiling that high."""
        return self.height + (ceiling if self.base == "ceiling" else 0.0)

    def rise(self, ceiling: float) -> float:
        """Return the length of feed between the driver near the floor and the wire's plane, metres."""
        return abs(self.wire_height(ceiling))

    def cautions_for(self, ceiling: float) -> tuple[Caution, ...]:
        """Return the route's cautions; ``too-high`` only above the height the route is good for."""
        high = self.highest is not None and self.wire_height(ceiling) > self.highest
        return tuple(each for each in self.cautions if high or each.code != "too-high")

    def length_to_buy(self, laid: float) -> float:
        """Return metres of wire to carry for ``laid`` metres in place: slack and ends on top."""
        return laid * (1 + self.slack) + 2 * self.ends

    def needed(self, *, run: float, corners: int, doorways: int, feed: float) -> tuple[Needed, ...]:
        """Return tools and materials with whole counts, rounded up.

        ``run`` is the way the wire takes, in metres: turns lie together and are fixed together.
        """
        lines = []
        for supply in (*self.tools, *self.materials):
            count = math.fsum((
                supply.each, supply.per_m * run, supply.per_corner * corners,
                supply.per_doorway * doorways, supply.per_feed_m * feed,
            ))  # fmt: skip
            if count > 0:
                lines.append(Needed(supply.item, math.ceil(count - 1e-9), supply in self.tools, supply.unit))
        return tuple(lines)


def routes_from(data: Mapping[str, Any]) -> tuple[Route, ...]:
    """Return the routes of a parsed ``routes.toml``, in its order.

    The file is our own: ``tests/test_data_files.py`` holds it against its rules.
    """
    known = {caution.code: caution for caution in cautions_from(data)}
    return tuple(_route(row, known) for row in data["route"])


def cautions_from(data: Mapping[str, Any]) -> tuple[Caution, ...]:
    """Return the cautions of a parsed ``routes.toml``; those with ``always`` belong to every answer."""
    return tuple(Caution(**row) for row in data["caution"])


def route_named(typed: str, routes: Sequence[Route]) -> Route:
    """Return the route with that code, or the only one whose code and name contain the words.

    Raises BadInput: with the routes that may be meant where there are several, else with all codes.
    """
    words = typed.lower().replace("-", " ").split()
    for route in routes:
        if route.code == "-".join(words):
            return route
    meant = [route for route in routes if words and all(_names(route, word) for word in words)]
    if len(meant) == 1:
        return meant[0]
    several = either(Said("place/with-key", place=route.code, key=route.name) for route in meant)
    raise BadInput("route", typed, several or one_of(route.code for route in routes))


def _names(route: Route, word: str) -> bool:
    """Return whether a word of the route's code or name begins so."""
    own = f"{route.code} {route.name}".lower().replace("-", " ").split()
    return len(word) >= _LEAST and any(each.startswith(word) for each in own)


def _route(row: Mapping[str, Any], known: Mapping[str, Caution]) -> Route:
    sourced = {key: row[key] for key in ("highest", "height", "slack", "ends", "doorway") if key in row}
    numbers: dict[str, Any] = {key: float(one["value"]) for key, one in sourced.items()}
    codes = [*row["cautions"], *(["too-high"] if "highest" in row else [])]
    return Route(
        code=row["code"],
        base=row["height"]["from"],
        cautions=tuple(known[code] for code in codes),
        tools=tuple(map(_supply, row["tools"])),
        materials=tuple(map(_supply, row["materials"])),
        sources={key: one["source"] for key, one in sourced.items()},
        wire_kind=row.get("wire_kind", "insulated"),
        **{"highest": None, **numbers},
    )


def _supply(row: Mapping[str, Any]) -> Supply:
    counts = {
        key: float(row.get(key, 0)) for key in ("each", "per_m", "per_corner", "per_doorway", "per_feed_m")
    }
    counts["each"] += row.get("count", 0)
    return Supply(row["item"], row["source"], row.get("unit", PIECE), **counts)
