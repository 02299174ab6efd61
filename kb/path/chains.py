"""Search the chain of items from a jack to a driver input with the least bother.

This is a shortest path (Dijkstra) over typed ends. A state is an end in the installer's hand, with the metres
still to cover, the metres of the present stretch of cable, and if it is over the usual length. It also has
the powered boxes so far, and the required things (a splitter, an isolator) that are not in the chain yet.
Items are the edges. Costs are whole numbers above zero, so no state comes twice. Only a powered box begins a
new stretch: a passive thing passes its signal on, weaker.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from functools import lru_cache
from heapq import heappop, heappush
from itertools import count
from typing import Final, NamedTuple

from kb.catalogue import Carried, Catalogue, End, Input, Item, Role
from kb.domain.words import DriverInput, Form

LONG_STRETCH: Final = 20
"""The cost of a stretch of cable over its usual length (common practice): that of a whole cable."""

MOST_BOXES: Final = 3
"""Powered boxes in a row, at most (common practice: each needs an outlet and can be unplugged)."""
BOXES_SHARED: Final = 1
"""The same behind a splitter: format converters in a row do not restore the lost light."""
MIDWAY: Final = 60
"""The cost of a powered box more than two metres from both the set and the driver (common practice)."""
PAIRED: Final = 20
"""The bother of pairing the source with a driver that takes Bluetooth (common practice)."""
BESIDE_M: Final = 2.0  #: metres that still count as next to the set or the driver
_AT_JACK: Final = frozenset({Role.ADAPTER, Role.SPLITTER})
_ONLY_IF_NEEDED: Final = frozenset({Role.MIXER, Role.AMPLIFIER})


class Long(NamedTuple):
    """A stretch of cable over its usual length: signal at its level, metres, and what they count as where
    ``item`` (a splitter) takes as much as some metres more."""

    carries: Carried
    metres: float
    counts_as_m: float
    item: str


class Chain(NamedTuple):
    """Items in order from the jack, what is held after each, and the bother of it all.

    ``ends`` begins with the jack itself, so ``len(ends) == len(items) + 1``. ``long`` are the stretches
    over their usual length. Without items the source sends by Bluetooth straight to the driver.
    """

    input: DriverInput
    items: tuple[Item, ...]
    ends: tuple[End, ...]
    cost: int
    long: tuple[Long, ...] = ()

    @property
    def turned(self) -> Iterator[tuple[Item, Carried, Carried]]:
        """Yield the items that turn one kind of signal into another, with both kinds."""
        for item, before, after in zip(self.items, self.ends, self.ends[1:], strict=False):
            if before.carries is not after.carries:
                yield item, before.carries, after.carries

    @property
    def has_dac(self) -> bool:
        """Return whether an item in it turns digital sound into analog."""
        return any(before.digital and after.analog for _, before, after in self.turned)

    @property
    def has_adc(self) -> bool:
        """Return whether an item in it turns analog sound into digital."""
        return any(before.analog and after.digital for _, before, after in self.turned)

    @property
    def detour(self) -> bool:
        """Return whether an item in it makes analog sound digital, or sends it by Bluetooth."""
        sent = any(after is Carried.WIRELESS for _, _, after in self.turned)
        return sent or self.has_adc

    @property
    def length_m(self) -> float:
        """Return the metres that its cables cover."""
        return sum(item.length_m for item in self.items)


class _Held(NamedTuple):
    """Hold a state. Metres are counted in centimetres: whole numbers compare exactly."""

    end: End
    to_cover: int
    stretch: int
    boxes: int
    todo: frozenset[Role]
    long: bool
    """The stretch is over its usual length already, and has been paid for."""


def cost_of(item: Item, have: Collection[str]) -> int:
    """Return the cost of one item: a quarter if it is at hand, 1 at least."""
    return max(1, item.cost // 4) if item.name in have else item.cost


@lru_cache(maxsize=1024)
def chains(
    catalogue: Catalogue,
    start: End,
    inputs: frozenset[DriverInput],
    run_m: float,
    have: frozenset[str] = frozenset(),
    need: frozenset[Role] = frozenset(),
) -> Mapping[DriverInput, Chain]:
    """The chain of least cost from ``start`` to each of ``inputs`` that can be reached.

    The cables of a chain cover ``run_m`` metres at least; no stretch without a powered box is longer than
    the reach of its signal; no more than three boxes need power, behind a splitter one; every role of
    ``need`` is in the chain, a splitter right at the jack (behind an adapter at most). The result is shared:
    read only.
    """
    goals = {name: catalogue.inputs[name] for name in sorted(inputs) if name in catalogue.inputs}
    first = _Held(start, _cm(run_m), 0, 0, need, long=False)
    boxes = BOXES_SHARED if Role.SPLITTER in need else MOST_BOXES
    best: dict[_Held, int] = {first: 0}
    done: dict[tuple[object, ...], list[_Held]] = {}
    came: dict[_Held, tuple[_Held, Item]] = {}
    # The second number breaks ties by age, so that the same question gets the same answer.
    born = count()
    queue: list[tuple[int, int, _Held]] = [(0, next(born), first)]
    found: dict[DriverInput, Chain] = {}
    if start.form is Form.BLUETOOTH and DriverInput.BLUETOOTH in goals and not need:
        found[DriverInput.BLUETOOTH] = Chain(DriverInput.BLUETOOTH, (), (start,), PAIRED)
    open_goals = _reachable(catalogue, start, goals) - found.keys()
    while queue and open_goals:
        cost, _, held = heappop(queue)
        if _no_better(held, done):
            continue  # what it leads to is found without it
        if not held.to_cover and not held.todo and held != first:
            for name in [name for name in open_goals if _plugs_in(held.end, goals[name])]:
                found[name] = _chain(catalogue, name, held, came, cost)
                open_goals.discard(name)
        for item, after, more in _steps(catalogue, held, have, first.to_cover, boxes, start.carries.digital):
            if cost + more < best.get(after, 1 << 60):
                best[after] = cost + more
                came[after] = (held, item)
                heappush(queue, (cost + more, next(born), after))
    return {name: found[name] for name in goals if name in found}


def _no_better(held: _Held, done: dict[tuple[object, ...], list[_Held]]) -> bool:
    """Is there a state with as much to cover that cost no more, with no longer a stretch and no more boxes?
    Else ``held`` is noted as done.

    Whatever can be put on this state can be put on that one, for the same cost: as both have paid, or
    both have not, for a stretch over the usual length.
    """
    others = done.setdefault((held.end, held.todo, held.to_cover, held.long), [])
    for other in others:
        if other.stretch <= held.stretch and other.boxes <= held.boxes:
            return True
    others.append(held)
    return False


def _cm(metres: float) -> int:
    return round(metres * 100)


def _plugs_in(end: End, goal: Input) -> bool:
    return (end.form, end.fits) == (goal.form, goal.part) and end.carries in goal.takes


class _Edge(NamedTuple):
    """Describe an item on an end: the end after it, and its length in centimetres."""

    item: Item
    after: End
    length: int
    counts: int
    powered: bool
    boxes: int
    usual: int
    longest: int


_NO_REACH: Final = 1 << 60


@lru_cache(maxsize=512)
def _edges(catalogue: Catalogue, end: End) -> tuple[_Edge, ...]:
    edges = []
    for item in catalogue.by_end.get((end.form, end.part, end.carries), ()):
        for far in item.far:
            carries = far.gives or end.carries
            reach = catalogue.reaches.get(carries.signal)
            edges.append(
                _Edge(
                    item,
                    End(far.form, far.part, carries),
                    _cm(item.length_m),
                    _cm(_own_stretch(item) + item.counts_as_m) if reach else 0,
                    item.powered,
                    _boxes(item),
                    usual=_cm(reach.usual_m) if reach else _NO_REACH,
                    longest=_cm(reach.longest_m) if reach else _NO_REACH,
                )
            )
    return tuple(edges)


def _boxes(item: Item) -> int:
    """Return how many powered boxes an item is; a splitter that sends afresh is no converter."""
    return max(1, item.sockets) if item.powered and item.role is not Role.SPLITTER else 0


def _own_stretch(item: Item) -> float:
    """Return the metres that the signal goes unaided in it: a powered link sends it afresh at its far end."""
    return 0.0 if item.powered else item.length_m


def _steps(
    catalogue: Catalogue, held: _Held, have: frozenset[str], run: int, most: int, digital: bool
) -> Iterator[tuple[Item, _Held, int]]:
    """Return the possible next items, each with the end after it and its cost."""
    midway = min(held.to_cover, run - held.to_cover) > _cm(BESIDE_M)
    at_jack = Role.SPLITTER in held.todo  # where what is plugged in now goes on being fed
    for item, after, length, counts, powered, own_boxes, usual, longest in _edges(catalogue, held.end):
        stretch = counts if powered else held.stretch + counts
        boxes = held.boxes + own_boxes
        if stretch > longest or boxes > most or (at_jack and item.role not in _AT_JACK):
            continue
        if item.role in _ONLY_IF_NEEDED and item.role not in held.todo:
            continue
        if digital and held.end.carries.analog and after.carries.digital:
            continue  # digital sound is never made analog and digital again
        was_long = held.long and not powered
        long = was_long or stretch > usual
        cost = cost_of(item, have) + (LONG_STRETCH if long and not was_long else 0)
        if midway and powered:
            cost += MIDWAY
        todo = held.todo - {item.role} if held.todo else held.todo
        yield item, _Held(after, max(0, held.to_cover - length), stretch, boxes, todo, long), cost


def _reachable(catalogue: Catalogue, start: End, goals: dict[DriverInput, Input]) -> set[DriverInput]:
    """Return the goals that some chain reaches if lengths are ignored: others need no search."""
    seen = {start}
    waiting = [start]
    while waiting:
        end = waiting.pop()
        for edge in _edges(catalogue, end):
            if edge.after not in seen:
                seen.add(edge.after)
                waiting.append(edge.after)
    return {name for name, goal in goals.items() if any(_plugs_in(end, goal) for end in seen)}


def _chain(
    catalogue: Catalogue,
    name: DriverInput,
    last: _Held,
    came: dict[_Held, tuple[_Held, Item]],
    cost: int,
) -> Chain:
    steps = []
    held = last
    while held in came:
        before, item = came[held]
        steps.append((item, held))
        held = before
    steps.reverse()
    ends = (held.end, *(after.end for _, after in steps))
    items = tuple(item for item, _ in steps)
    return Chain(name, items, ends, cost, tuple(_long(catalogue, items, ends)))


def _long(catalogue: Catalogue, items: tuple[Item, ...], ends: tuple[End, ...]) -> Iterator[Long]:
    """Yield stretches of cable over the usual length of their signal."""
    metres = counts = 0.0
    by, found = "", None
    for item, end in zip(items, ends[1:], strict=True):
        if item.powered:
            if found:
                yield found
            metres = counts = 0.0
            by, found = "", None
        reach = catalogue.reaches.get(end.carries.signal)
        if reach is None:
            continue
        metres += _own_stretch(item)
        counts += _own_stretch(item) + item.counts_as_m
        by = item.name if item.counts_as_m else by
        if _cm(counts) > _cm(reach.usual_m):
            found = Long(end.carries, metres, counts, by)
    if found:
        yield found
