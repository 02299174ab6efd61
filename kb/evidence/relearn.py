"""Update the evidence when a few sets have changed, without learning everything again.

What the changed sets say is taken out and put in again, with the strengths as they were learned; what they
pass up to wider circles changes by the difference. Whether outputs are in use belongs to homes, not to sets,
and waits until all is learned anew.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from datetime import date as Day
from itertools import pairwise
from typing import Final, TypeVar

from kb.domain.visit import Visit
from kb.domain.words import DriverInput, Form, Signal
from kb.evidence import groups as levels
from kb.evidence.counting import Counted, Path, trial_path
from kb.evidence.groups import LEVELS, Place, chain
from kb.evidence.numerics import expected_tables
from kb.evidence.shrinkage import Counts, Tree
from kb.evidence.signature import Output
from kb.evidence.valid_visits import Circle, merged, standing

E = TypeVar("E", bound=Counted)
GONE: Final = 1e-9  #: of a finding: what is left by rounding when it is taken out


def renewed(evidence: E, sets: Mapping[str, Sequence[Visit]], today: Day) -> E:
    """Evidence in which the sets of these keys are what these visits say; none: the set is gone.

    ``evidence`` stays as it was. The answer takes no further findings but by another call.
    """
    new = copy(evidence)
    new._sets, new._families, new._tried = dict(new._sets), dict(new._families), dict(new._tried)
    new._tally = {level: {key: list(n) for key, n in new._tally[level].items()} for level in LEVELS}
    new.shapes, new.speakers, new.works = (_own(tree) for tree in (new.shapes, new.speakers, new.works))
    new.in_use, new.taken = copy(new.in_use), copy(new.taken)
    for tree in (new.in_use, new.taken):  # counted below like the rest, and left at that
        tree._own, tree._over = {}, {level: {} for level in tree.levels}
    new._by_make = None
    _take_out(new, sets.keys())
    for key, visits in sets.items():
        if told := standing(visits):
            _put_in(new, key, told, today)
    for tree in (new.shapes, new.speakers, new.works):
        for key, counts in tree._own.items():
            _put(tree, _path_of(tree, key), counts)
        tree._own = {}
        tree._saw(tree.seen)
    return new


def _own(tree: Tree) -> Tree:
    """A tree of which circles can be changed; their counts are shared until then, and never changed."""
    new = copy(tree)
    new.seen = {level: dict(circles) for level, circles in tree.seen.items()}
    new._own, new._over, new._parted = {}, {level: {} for level in tree.levels}, {}
    return new


def _take_out(evidence: Counted, keys: Iterable[str]) -> None:
    known: dict[str, Path] = {}
    for key in keys:
        circle = evidence._sets.pop(key, None)
        if circle is None:
            continue
        home = evidence._families[circle.family] if circle.family else circle
        place = Place(home.kind, home.era, home.display)
        known[key] = chain(place, make=key.split("/", 1)[0], family=circle.family or key, key=key)
        told = evidence._tally["set"].get(key, [0, 0])[0]
        for level, one in known[key]:
            for wide in (one, *levels.widened(level, one)):
                tally = evidence._tally[level].get(wide, [0, 0])
                evidence._tally[level][wide] = [tally[0] - told, tally[1] - bool(told)]
    for jack in [jack for jack in evidence._tried if jack.split(">", 1)[1] in known]:
        del evidence._tried[jack]
    for path in known.values():
        _put(evidence.shapes, path, {})
        for signal in Signal:
            marked = [(level, f"{signal.value}>{circle}") for level, circle in path]
            if marked[-1][1] in evidence.speakers.seen["set"]:
                _put(evidence.speakers, marked, {})
    for way in list(evidence.works.seen["way"]):
        symbol, key, driver_input = way.split(">")
        if key in known:
            form, carried = symbol.split(":")
            output = Output(Form(form), Signal(carried))
            used = DriverInput(driver_input) if driver_input else None
            _put(evidence.works, trial_path(known[key], output, used), {})


def _put_in(evidence: Counted, key: str, visits: Sequence[Visit], today: Day) -> None:
    source = merged(visits)
    place, family = levels.place_of(source), evidence.family(source)
    evidence._sets[key] = Circle(*place, source.year, family)
    if family:
        evidence._families.setdefault(family, Circle(*place))
    evidence._count_set(key, source, visits, today)


def _path_of(tree: Tree, key: str) -> Path:
    """The circles around a narrowest one that was just counted."""
    path = [(tree.levels[-1], key)]
    for outer, level in reversed(list(pairwise(tree.levels))):
        path.append((outer, tree._over[level][path[-1][1]]))
    return path[::-1]


def _put(tree: Tree, path: Path, counts: Counts) -> None:
    """What the narrowest circle of ``path`` has seen, in place of what it had; wider ones follow."""
    change: Counts = dict(counts)
    for symbol, n in tree.seen[path[-1][0]].get(path[-1][1], {}).items():
        change[symbol] = change.get(symbol, 0.0) - n
    wider_path = list(path)
    while wider_path:
        level, key = wider_path.pop()
        before = tree.seen[level].get(key, {})
        after = _changed(before, change)
        symbols = before.keys() | after.keys()
        for one in (key, *tree._widened(level, key)):
            seen = _changed(tree.seen[level].pop(one, {}), change)
            if seen:
                tree.seen[level][one] = seen
            tree._parted.pop((level, one), None)
        if wider_path:
            wider, strength = tree.chances(wider_path, symbols), tree.strengths[level]
            change = {
                symbol: expected_tables(strength * wider[symbol], after.get(symbol, 0.0))
                - expected_tables(strength * wider[symbol], before.get(symbol, 0.0))
                for symbol in symbols
            }


def _changed(counts: Mapping[str, float], change: Mapping[str, float]) -> Counts:
    found = dict(counts)
    for symbol, n in change.items():
        found[symbol] = found.get(symbol, 0.0) + n
    return {symbol: n for symbol, n in found.items() if n > GONE}
