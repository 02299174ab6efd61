"""Describe the ways of laying wire: fixings, tools and cautions.

Routes and cautions are data (``data/routes.toml``), each number with its source beside it; this module
reads the parsed table and computes lengths and lists from it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeVar

from kb.base.errors import NOTHING, BadInput, inside
from kb.base.messages import Said, Wording, either, one_of
from kb.base.validation import Fields, listed, number, sentence, truth
from kb.domain.language import ENGLISH
from kb.loop.sentences import Sentence

T = TypeVar("T")

MOST: Final = 200  #: entries of one list in the file
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


def routes_from(data: object) -> tuple[Route, ...]:
    """Return the routes of a parsed ``routes.toml``, in its order.

    Raises BadInput naming the route and key where something is missing, out of range, without a source,
    or a caution is not known.
    """
    return _tables(data)[0]


def cautions_from(data: object) -> tuple[Caution, ...]:
    """Return the cautions of a parsed ``routes.toml``; those with ``always`` belong to every answer."""
    return _tables(data)[1]


def _tables(data: object) -> tuple[tuple[Route, ...], tuple[Caution, ...]]:
    fields = Fields(data, "routes", Said("expected/two-tables-of", kind="route", other="caution"))
    cautions = fields.need("caution", _rows(_caution, "caution"))
    known = {caution.code: caution for caution in cautions}
    routes = fields.need("route", _rows(lambda row, place: _route(row, place, known), "route"))
    fields.end()
    return routes, cautions


def _rows(read: Callable[[object, Wording], T], kind: str) -> Callable[[object, Wording], tuple[T, ...]]:
    return listed(read, MOST, 1, expected=Said("expected/tables-of", kind=kind), each=f"place/{kind}")


def _code(key: str) -> Callable[[object, Wording], str]:
    """Return a reader of codes that have a sentence in the catalogue, by its key."""

    def read(value: object, place: Wording) -> str:
        code = sentence(value, place)
        if not ENGLISH.has(key.format(code=code)):
            raise BadInput(place, code, Said("expected/code-with-sentence", key=key))
        return code

    return read


def _caution(data: object, place: Wording) -> Caution:
    fields = Fields(data, place, Said("expected/table"))
    caution = Caution(
        fields.need("code", _code("sheet/standing/{code}")),
        fields.need("source", sentence),
        fields.take("always", truth, False),
    )
    fields.end()
    return caution


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


def _route(data: object, place: Wording, known: Mapping[str, Caution]) -> Route:
    code = Fields(data, place, Said("expected/table")).need("code", _code("loop/route/{code}/name"))
    at = f"route {code}"
    fields = Fields(data, at, Said("expected/table"))
    fields.need("code", sentence)
    sources: dict[str, str] = {}

    def value(inner: Fields, key: str, low: float, high: float) -> float:
        sources[key] = inner.need("source", sentence)
        found = inner.need("value", number(low, high))
        inner.end()
        return found

    def sourced(key: str, low: float, high: float) -> Callable[[object, Wording], float]:
        return lambda data, place: value(Fields(data, place, _SOURCED), key, low, high)

    def height(data: object, place: Wording) -> tuple[str, float]:
        inner = Fields(data, place, _SOURCED)
        return inner.need("from", _base), value(inner, "height", -10, 10)

    highest = fields.take("highest", sourced("highest", 0, 20), None)
    base, wire_height = fields.need("height", height, _SOURCED)
    cautions = fields.need(
        "cautions", listed(_known(known), MOST, 1, expected=Said("expected/list-of-cautions"))
    )
    if highest is not None and "too-high" in known:
        cautions += (known["too-high"],)
    route = Route(
        code=code,
        base=base,
        height=wire_height,
        highest=highest,
        slack=fields.need("slack", sourced("slack", 0, 1), _SOURCED),
        ends=fields.need("ends", sourced("ends", 0, 20), _SOURCED),
        doorway=fields.need("doorway", sourced("doorway", 0, 10), _SOURCED),
        cautions=cautions,
        tools=fields.need("tools", _supplies, Said("expected/list-of-items")),
        materials=fields.need("materials", _supplies, Said("expected/list-of-items")),
        sources=sources,
        wire_kind=fields.take("wire_kind", sentence, "insulated"),
    )
    fields.end()
    return route


_SOURCED: Final = Said("expected/table-with", fields="value", last="source")


def _base(value: object, place: Wording) -> str:
    if value not in ("floor", "ceiling"):
        raise BadInput(place, value, Said("expected/floor-or-ceiling"))
    return str(value)


def _known(cautions: Mapping[str, Caution]) -> Callable[[object, Wording], Caution]:
    def read(value: object, place: Wording) -> Caution:
        code = sentence(value, place)
        if code not in cautions:
            raise BadInput(place, code, one_of(cautions))
        return cautions[code]

    return read


_COUNTS: Final = ("count", "each", "per_m", "per_corner", "per_doorway", "per_feed_m")


def _supply(data: object, place: Wording) -> Supply:
    fields = Fields(data, place, Said("expected/supply"))
    item = fields.need("item", sentence)
    counts = {name: fields.take(name, number(0, 1000), 0.0) for name in _COUNTS}
    if not any(counts.values()):
        raise BadInput(inside(place, item), NOTHING, one_of(_COUNTS))
    counts["each"] += counts.pop("count")
    supply = Supply(item, fields.need("source", sentence), fields.take("unit", _unit, PIECE), **counts)
    fields.end()
    return supply


def _unit(value: object, place: Wording) -> str:
    if value not in UNITS:
        raise BadInput(place, value, one_of(UNITS))
    return str(value)


_supplies: Final = listed(_supply, MOST, expected=Said("expected/list-of-items"))
