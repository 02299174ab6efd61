"""Describe the ways of laying wire: fixings, tools and cautions.

Routes and cautions are data (``data/routes.toml``), each number with its source beside it; this module
reads the parsed table and computes lengths and lists from it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from kb.base.errors import BadInput
from kb.base.validation import bounded

_LEAST: Final = 3  #: letters of a word by which a route is known


@dataclass(frozen=True)
class Caution:
    """Something that can hurt someone or spoil the work: a code, a sentence for people, and its source."""

    code: str
    text: str
    source: str
    always: bool = False


@dataclass(frozen=True)
class Supply:
    """A tool or material and how its count grows: a fixed count, or by metre, corner or doorway."""

    item: str
    source: str
    each: float = 0.0
    per_m: float = 0.0
    per_corner: float = 0.0
    per_doorway: float = 0.0
    per_feed_m: float = 0.0


@dataclass(frozen=True)
class Needed:
    """A line of the list to carry: item and a whole count. A ``tool`` does for any number of jobs."""

    item: str
    count: int
    tool: bool = False


@dataclass(frozen=True)
class Route:
    """One way to lay the wire. Lengths in metres; ``slack`` is a share; ``base`` is ``floor`` or ``ceiling``.

    ``sources`` holds the source of each number by its key.
    """

    code: str
    name: str
    how: str
    mind: str
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
                lines.append(Needed(supply.item, math.ceil(count - 1e-9), supply in self.tools))
        return tuple(lines)


def routes_from(data: Mapping[str, object]) -> tuple[Route, ...]:
    """Return the routes of a parsed ``routes.toml``, in its order.

    Raises BadInput naming the route and key where something is missing, out of range, without a source,
    or a caution is not known.
    """
    known = {caution.code: caution for caution in cautions_from(data)}
    return tuple(_route(row, f"route {number}", known) for number, row in _rows(data, "route"))


def cautions_from(data: Mapping[str, object]) -> tuple[Caution, ...]:
    """Return the cautions of a parsed ``routes.toml``; those with ``always`` belong to every answer."""
    found = []
    for number, row in _rows(data, "caution"):
        at = f"caution {number}"
        found.append(
            Caution(
                _text(row, "code", at),
                _text(row, "text", at),
                _text(row, "source", at),
                row.get("always") is True,
            )
        )
    return tuple(found)


def route_named(typed: str, routes: Sequence[Route]) -> Route:
    """Return the route with that code, or the only one in whose code and name the words stand.

    Raises BadInput: with the routes that may be meant where there are several, else with all codes.
    """
    words = typed.lower().replace("-", " ").split()
    for route in routes:
        if route.code == "-".join(words):
            return route
    meant = [route for route in routes if words and all(_names(route, word) for word in words)]
    if len(meant) == 1:
        return meant[0]
    several = " or ".join(f"{route.code} ({route.name})" for route in meant)
    raise BadInput("route", typed, several or f"one of {', '.join(route.code for route in routes)}")


def _names(route: Route, word: str) -> bool:
    """Does a word of the route's code or name begin so?"""
    own = f"{route.code} {route.name}".lower().replace("-", " ").split()
    return len(word) >= _LEAST and any(each.startswith(word) for each in own)


def _route(row: Mapping[str, object], at: str, known: Mapping[str, Caution]) -> Route:
    code = _text(row, "code", at)
    at = f"route {code}"
    sources: dict[str, str] = {}

    def number(key: str, low: float, high: float) -> float:
        table = row.get(key)
        if not isinstance(table, Mapping):
            raise BadInput(f"{at}, {key}", table, "a table with value and source")
        sources[key] = _text(table, "source", f"{at}, {key}")
        return bounded(table.get("value"), f"{at}, {key}", low=low, high=high)

    height = row.get("height")
    base = height.get("from") if isinstance(height, Mapping) else None
    if base not in ("floor", "ceiling"):
        raise BadInput(f"{at}, height, from", base, "floor or ceiling")
    codes = row.get("cautions")
    if not isinstance(codes, Sequence) or isinstance(codes, str) or not codes:
        raise BadInput(f"{at}, cautions", codes, "a list of caution codes")
    for each in codes:
        if each not in known:
            raise BadInput(f"{at}, cautions", each, f"one of {', '.join(known)}")
    highest = number("highest", 0, 20) if "highest" in row else None
    named = [known[each] for each in codes]
    if highest is not None and "too-high" in known:
        named.append(known["too-high"])
    return Route(
        code=code,
        name=_text(row, "name", at),
        how=_text(row, "how", at),
        mind=_text(row, "mind", at),
        base=str(base),
        height=number("height", -10, 10),
        highest=highest,
        slack=number("slack", 0, 1),
        ends=number("ends", 0, 20),
        doorway=number("doorway", 0, 10),
        cautions=tuple(named),
        tools=_supplies(row, "tools", at),
        materials=_supplies(row, "materials", at),
        sources=sources,
        wire_kind=_text(row, "wire_kind", at) if "wire_kind" in row else "insulated",
    )


def _supplies(row: Mapping[str, object], key: str, at: str) -> tuple[Supply, ...]:
    lines = row.get(key)
    if not isinstance(lines, Sequence) or isinstance(lines, str):
        raise BadInput(f"{at}, {key}", lines, "a list of items")
    found = []
    for line in lines:
        if not isinstance(line, Mapping):
            raise BadInput(f"{at}, {key}", line, "a table with item, a count and source")
        counts = {
            name: bounded(line.get(name, 0), f"{at}, {key}, {name}", low=0, high=1000)
            for name in ("count", "each", "per_m", "per_corner", "per_doorway", "per_feed_m")
        }
        if not any(counts.values()):
            raise BadInput(
                f"{at}, {key}, {line.get('item')}",
                "no count",
                "count, each, per_m, per_corner or per_doorway",
            )
        counts["each"] += counts.pop("count")
        found.append(
            Supply(_text(line, "item", f"{at}, {key}"), _text(line, "source", f"{at}, {key}"), **counts)
        )
    return tuple(found)


def _rows(data: Mapping[str, object], key: str) -> list[tuple[int, Mapping[str, object]]]:
    rows = data.get(key)
    if not isinstance(rows, Sequence) or isinstance(rows, str) or not rows:
        raise BadInput("routes", rows, f"[[{key}]] tables")
    for number, row in enumerate(rows, 1):
        if not isinstance(row, Mapping):
            raise BadInput(f"{key} {number}", row, "a table")
    return list(enumerate(rows, 1))


def _text(row: Mapping[str, object], key: str, at: str) -> str:
    value = row.get(key)
    if not isinstance(value, str) or not value.strip():
        raise BadInput(f"{at}, {key}", "nothing" if value is None else value, "some text")
    return value.strip()
