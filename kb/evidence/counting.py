"""Count visits for the groups that a set belongs to, with their weights.

A finding is one visit to one set. :mod:`kb.evidence.learn` says what is counted.

``renewed`` updates the evidence when a few sets have changed. It takes their old findings out and puts the
new ones in, with the strengths as learned. Counts that they pass up to wider groups change by the difference.
Outputs in use depend on homes, not on sets, and wait until everything is learned again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from copy import copy
from datetime import date as Day
from functools import lru_cache, partial
from itertools import pairwise, product, starmap
from typing import Any, Final, TypeVar

from kb.base.text import squeezed
from kb.domain.visit import Finding, Source, Visit
from kb.domain.words import REMEDY, WORKED, DriverInput, Form, Outcome, Signal, Speakers
from kb.evidence import groups as levels
from kb.evidence.forgetting import Forgetting, Note
from kb.evidence.groups import LEVELS, FamilyMix, GroupFacts, Place, chain, set_of
from kb.evidence.missing_jacks import likely_first, shared_out
from kb.evidence.numerics import expected_tables
from kb.evidence.prior import Prior
from kb.evidence.shrinkage import Chances, Counts, Groups, Tree
from kb.evidence.signature import (
    EFFECTS,
    NO_OUTPUT,
    Output,
    findings_by_output,
    is_partial,
    taken_of,
)
from kb.evidence.visits import Remedies, merged, usual, valid_visits

Family = Callable[[Source], str]
Path = Sequence[tuple[str, str]]  #: (level, key) from the widest group to the narrowest

YEAR: Final = 365.25  #: days
ALIKE: Final = 0.3  #: visits: sets of one model hardly differ (common practice)
FREE: Final = "free"  #: nothing is in use by anything else
WORKS, FAILS = "works", "fails"


class Counted:
    """Hold all findings of a book, counted by groups of sets, for ``Evidence``."""

    def __init__(self, prior: Prior, family: Family, strengths: Mapping[str, Mapping[str, float]]) -> None:
        self.prior, self.family = prior, family
        self._sets: dict[str, GroupFacts] = {}
        self._families: dict[str, GroupFacts] = {}
        self._tally: dict[str, dict[str, list[int]]] = {level: {} for level in LEVELS}
        self._tried: dict[str, int] = {}
        self._rates_in_use: dict[str, float] = {}
        self._outputs: dict[str, dict[str, float]] = {}
        self._by_make: FamilyMix | None = None  #: made on first use
        forgotten = {basis.value: rate for basis, rate in prior.forgotten.items()}
        self.forgetting = Forgetting(forgotten, strengths.get("forgotten"), strengths.get("noted"))
        self._notes: dict[str, list[Note]] = {}  #: by set, while learning
        self.shapes = Tree(
            LEVELS,
            prior.any_shape,
            prior=prior.shapes,
            worth=prior.worth,
            room=prior.other,
            centres={"set": ALIKE},
            widened=levels.widened,
            parts=_parts,
            strengths=strengths.get("shapes"),
        )
        # The prior gives the start of their widest groups: nothing else is mixed in.
        self.speakers = Tree(
            LEVELS, self._first_effect, centre=prior.worth, strengths=strengths.get("speakers")
        )
        self.works = Tree(
            ("signal", "make-era", "family", "set", "way"),
            lambda signal, symbol: _either(prior.works.get(Signal(signal), 0.5), symbol),
            centre=prior.worth,
            strengths=strengths.get("works"),
        )
        self.in_use = Tree(
            ("signal",),
            lambda signal, symbol: _either(prior.taken.get(Signal(signal), 0.5), symbol),
            centre=prior.worth,
            strengths=strengths.get("in_use"),
        )
        self.taken = Tree(("outputs", "era"), self._any_taken, centre=8.0, strengths=strengths.get("taken"))

    # -- counting ------------------------------------------------------------------------------

    def strengths(self) -> dict[str, dict[str, float]]:
        """Return, for each thing learned, how many findings a group of each level needs to outweigh wider
        ones.

        ``forgotten`` has the rates at which people leave out jacks, ``noted`` what else explains visits.
        """
        found = {name: dict(tree.strengths) for name, tree in self.trees().items()}
        return {**found, "forgotten": dict(self.forgetting.rates), "noted": dict(self.forgetting.shares)}

    def trees(self) -> dict[str, Tree]:
        return {
            "shapes": self.shapes,
            "speakers": self.speakers,
            "works": self.works,
            "in_use": self.in_use,
            "taken": self.taken,
        }

    @property
    def visits(self) -> int:
        """Return the number of visits with at least one finding: the basis of all counts."""
        return sum(visits for visits, _ in self._tally["set"].values())

    def _count(self, visits: Sequence[Visit], today: Day, *, learn: bool) -> None:
        by_set: dict[str, list[Visit]] = {}
        for visit in visits:
            by_set.setdefault(set_of(visit.source), []).append(visit)
        sources = {key: merged(seen) for key, seen in by_set.items()}
        members: dict[str, list[Place]] = {}
        for key, source in sources.items():
            place, family = levels.place_of(source), self.family(source)
            self._sets[key] = GroupFacts(*place, source.year, family)
            members.setdefault(family, []).append(place)
        for family, places in members.items():
            self._families[family] = GroupFacts(*usual(places))
        paths: dict[str, Path] = {}
        noted: dict[str, tuple[str, dict[str, list[Note]]]] = {}  #: by family
        for key, seen in by_set.items():
            paths[key], notes = self._count_set(key, sources[key], seen, today)
            if notes:
                self._notes[key] = notes
                around = dict(paths[key])
                noted.setdefault(around["family"], (around["era-display"], {}))[1][key] = notes
        boards = self.forgetting.boards(noted, self._first_rates)
        self.forgetting.learn(boards, self._first_rates, rates=learn)
        for key, shapes in self.forgetting.panels(boards, self._first_rates).items():
            self.shapes.count(paths[key], shapes)

    def _first_rates(self, group: str) -> Mapping[str, float]:
        """Return how often sets of an era and display have each output, before any finding."""
        if group not in self._outputs:
            rates = self._outputs[group] = {}
            for shape, p in self.prior.shapes("era-display", group).items():
                for output in _parts(shape):
                    rates[output] = rates.get(output, 0.0) + p
        return self._outputs[group]

    def share_out(self, chances: Chances, tables: Groups) -> None:
        """Share the visits to each set among the panels that explain them, by present expectations."""
        strength = self.shapes.strengths["set"]
        for key, notes in self._notes.items():
            above = self.shapes._over["set"][key]
            expected = chances.without("family", above, tables["set"].get(key, {}))
            rates, _ = chances.rates_of("family", above)
            self.shapes.recount(
                key,
                shared_out(
                    notes,
                    likely_first(rates),
                    partial(_each, expected),
                    strength,
                    self.forgetting,
                ),
            )

    def _count_set(
        self, key: str, source: Source, visits: Sequence[Visit], today: Day
    ) -> tuple[Path, list[Note]]:
        """Count all of a set but its shapes; return its groups, and the content of its visits."""
        family = self._sets[key].family or key
        usual_place = self._families[self._sets[key].family] if self._sets[key].family else self._sets[key]
        place = Place(usual_place.kind, usual_place.era, usual_place.display)
        path = chain(place, make=source.make, family=family, key=key)
        notes: list[Note] = []
        counted = 0
        remedies = Remedies(visits)
        for visit in visits:
            if not visit.findings:
                continue
            counted += 1
            weight = self._weight(visit, today)
            found = findings_by_output(visit)
            partial_visit = is_partial(visit)
            if found or not partial_visit:
                notes.append(
                    Note(
                        frozenset(output.symbol for output in found),
                        frozenset(output.symbol for output, some in found.items() if _tried(some)),
                        partial_visit,
                        weight,
                        (visit.basis.value, squeezed(visit.by)),
                    )
                )
            for output, findings in found.items():
                marked = [(level, f"{output.symbol}>{group}") for level, group in path]
                effects = {f.speakers for f in findings} - {Speakers.UNKNOWN}
                for effect in effects:
                    self.speakers.add(marked, effect.value, weight / len(effects))
                for finding in findings:
                    if finding.outcome is not Outcome.NOT_TRIED:
                        counts = not remedies.put_right(visit, finding)
                        self._count_trial(path, output, finding, weight if counts else 0.0)
            self._count_taken(found, place.era, weight, joint=not partial_visit)
        for level, group in path:
            for one in (group, *levels.widened(level, group)):
                tally = self._tally[level].setdefault(one, [0, 0])
                tally[0] += counted
                tally[1] += bool(counted)
        return path, notes

    def _count_trial(self, path: Path, output: Output, finding: Finding, weight: float) -> None:
        """Count one trial. With ``weight`` 0 it adds nothing, but the jack was tried."""
        trial = trial_path(path, output, finding.input)
        good = WORKED[finding.outcome]
        if good and weight:
            self.works.add(trial, WORKS, weight * good)
        if good < 1 and weight:
            # A failure despite a remedy says more.
            again = REMEDY if finding.remedied else 1.0
            self.works.add(trial, FAILS, weight * again * (1 - good))
        jack = trial[-2][1]
        self._tried[jack] = self._tried.get(jack, 0) + 1

    def _count_taken(
        self, found: Mapping[Output, Sequence[Any]], era: str, weight: float, *, joint: bool
    ) -> None:
        used: dict[Signal, bool | None] = {}
        for output, findings in found.items():
            said = taken_of(findings)
            before = used.get(output.signal)
            used[output.signal] = said if before is None else before or bool(said)
        for signal, said in used.items():
            if said is not None:
                self.in_use.add((("signal", signal.value),), WORKS if said else FAILS, weight)
        if joint and used and None not in used.values():
            outputs = signals_key(used)
            symbol = signals_key(s for s, said in used.items() if said) or FREE
            self.taken.add((("outputs", outputs), ("era", f"{outputs}|{era}")), symbol, weight)

    def _weight(self, visit: Visit, today: Day) -> float:
        years = max(0.0, (today - visit.date).days / YEAR)
        return float(self.prior.weights[visit.basis] * 0.5 ** (years / self.prior.half_life_years))

    # -- first guesses -------------------------------------------------------------------------

    def _first_effect(self, key: str, symbol: str) -> float:
        known = self.prior.speakers.get(Signal(key.split(">", 1)[0].split(":")[1]))
        return known[Speakers(symbol)] if known else 1 / len(EFFECTS)

    def _any_taken(self, key: str, symbol: str) -> float:
        """Return the rate of outputs in use, each by itself: the joint counts start from it."""
        used = set() if symbol == FREE else set(symbol.split(" "))
        p = 1.0
        for signal in key.split(" "):
            rate = self._rates_in_use.get(signal)
            if rate is None:  # needed only once ``in_use`` has settled
                rate = self._rates_in_use[signal] = self.in_use.p((("signal", signal),), WORKS)
            p *= rate if signal in used else 1 - rate
        return p


@lru_cache(maxsize=4096)
def _parts(shape: str) -> tuple[str, ...]:
    return () if shape == NO_OUTPUT else tuple(shape.split(" "))


def _each(chance: Callable[[str], float], shapes: Iterable[str]) -> dict[str, float]:
    return {shape: chance(shape) for shape in shapes}


def _tried(findings: Iterable[Finding]) -> bool:
    return any(finding.outcome is not Outcome.NOT_TRIED for finding in findings)


def _either(p: float, symbol: str) -> float:
    return p if symbol == WORKS else 1 - p


def trial_path(path: Path, output: Output, way: DriverInput | None) -> tuple[tuple[str, str], ...]:
    """Return the groups of one trial: signal, make and era, family, this jack of this set, driver input."""
    keys = dict(path)
    signal = output.signal.value
    jack = f"{output.symbol}>{keys.get('set', '')}"
    return (
        ("signal", signal),
        ("make-era", f"{signal}>{keys.get('make-era', '')}"),
        ("family", f"{signal}>{keys.get('family', '')}"),
        ("set", jack),
        ("way", f"{jack}>{way.value if way else ''}"),
    )


def signals_key(signals: Iterable[Signal]) -> str:
    return " ".join(sorted(signal.value for signal in signals))


E = TypeVar("E", bound=Counted)
GONE: Final = 1e-9  #: of a finding: rounding error that remains when it is taken out


def renewed(evidence: E, sets: Mapping[str, Sequence[Visit]], today: Day) -> E:
    """Return evidence with the findings of these sets replaced by these visits; none: remove the set.

    ``evidence`` stays unchanged. To add more findings to the result, call this again.
    """
    new = copy(evidence)
    new._sets, new._families, new._tried = dict(new._sets), dict(new._families), dict(new._tried)
    new._tally = {level: {key: list(n) for key, n in new._tally[level].items()} for level in LEVELS}
    new.shapes, new.speakers, new.works = (_own(tree) for tree in (new.shapes, new.speakers, new.works))
    new.in_use, new.taken = copy(new.in_use), copy(new.taken)
    for tree in (new.in_use, new.taken):  # counted below like the rest, without further steps
        tree._own, tree._over = {}, {level: {} for level in tree.levels}
    new._by_make = None
    _take_out(new, sets.keys())
    for key, visits in sets.items():
        if valid := valid_visits(visits):
            _put_in(new, key, valid, today)
    for tree in (new.shapes, new.speakers, new.works):
        for key, counts in tree._own.items():
            _put(tree, _path_of(tree, key), counts)
        tree._own = {}
        tree._saw(tree.seen)
    return new


def _own(tree: Tree) -> Tree:
    """Return a tree with groups that can be changed; the shared counts inside are never changed."""
    seen = {level: dict(groups) for level, groups in tree.seen.items()}  # loads a tree that was not asked yet
    new = copy(tree)
    new.seen = seen
    new._own, new._over, new._parted = {}, {level: {} for level in tree.levels}, {}
    return new


def _take_out(evidence: Counted, keys: Iterable[str]) -> None:
    known: dict[str, Path] = {}
    for key in keys:
        group = evidence._sets.pop(key, None)
        if group is None:
            continue
        usual_place = evidence._families[group.family] if group.family else group
        place = Place(usual_place.kind, usual_place.era, usual_place.display)
        known[key] = chain(place, make=key.split("/", 1)[0], family=group.family or key, key=key)
        visits = evidence._tally["set"].get(key, [0, 0])[0]
        for level, one in known[key]:
            for wide in (one, *levels.widened(level, one)):
                tally = evidence._tally[level].get(wide, [0, 0])
                evidence._tally[level][wide] = [tally[0] - visits, tally[1] - bool(visits)]
    for jack in [jack for jack in evidence._tried if jack.split(">", 1)[1] in known]:
        del evidence._tried[jack]
    for path in known.values():
        _put(evidence.shapes, path, {})
        for output in starmap(Output, product(Form, Signal)):
            marked = [(level, f"{output.symbol}>{group}") for level, group in path]
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
    evidence._sets[key] = GroupFacts(*place, source.year, family)
    if family:
        evidence._families.setdefault(family, GroupFacts(*place))
    path, notes = evidence._count_set(key, source, visits, today)
    if notes:
        tree, around = evidence.shapes, path[:-1]
        evidence.shapes.count(
            path,
            shared_out(
                notes,
                likely_first(tree.rates(around)),
                lambda shapes: tree.chances(around, shapes),
                tree.strengths["set"],
                evidence.forgetting,
            ),
        )


def _path_of(tree: Tree, key: str) -> Path:
    """Return the groups around a narrowest one that was just counted."""
    path = [(tree.levels[-1], key)]
    for outer, level in reversed(list(pairwise(tree.levels))):
        path.append((outer, tree._over[level][path[-1][1]]))
    return path[::-1]


def _put(tree: Tree, path: Path, counts: Counts) -> None:
    """Replace the counts of the narrowest group of ``path``; wider ones follow."""
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
