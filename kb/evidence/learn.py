"""What do all findings together say, and how sure is it?

>>> from kb.visit import Source, visit_from
>>> visit = visit_from({"date": "2026-03-04",
...   "source": {"make": "Norwell", "model": "NV40-210", "year": 2014},
...   "jacks": [{"form": "toslink", "marking": "OPTICAL OUT"}, {"form": "hdmi", "marking": "HDMI 1"}]})
>>> evidence = Evidence.learn([visit])
>>> evidence.expect(Source("Norwell", "NV46-212")).shapes[0].outputs[0].signal.value
'optical'

How: ``tree.py`` has the rule of backing off, ``levels.py`` the circles. Four things are learned apart:

- *shapes*, which outputs there are, jointly. A finding is one visit to one set. A visit that tells of some
  jacks only (told, or nothing but jacks that were tried) stands for the fullest panel that others saw there.
- *speakers*, what an output does to them, by signal. Where a visit does not say, nothing is counted: the
  effect is missing, which tells nothing of its value (assumed: people leave it out whatever it is).
- *taken* belongs to the home and not to the set: it is learned by the signals that a panel has (and by era),
  not by make or model; jointly over the outputs, as a home seldom has two soundbars.
- *works*, what came of trying an output: by signal, make and era, family, set and driver input.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date as Day
from functools import lru_cache, partial
from itertools import combinations
from typing import Any, Final

from kb import clock
from kb.errors import BookTrouble
from kb.evidence import levels
from kb.evidence.expectation import Chance, Expectation, LevelCount, Likely
from kb.evidence.levels import ANY, LEVELS, Place, chain, family_of, set_of
from kb.evidence.numbers import beta_quantile
from kb.evidence.prior import Prior, standard_prior
from kb.evidence.signature import (
    EFFECTS,
    NO_OUTPUT,
    WORKED,
    Output,
    is_partial,
    output_of,
    outputs_of,
    shape_of,
    taken_of,
    told_apart,
)
from kb.evidence.tree import Tree
from kb.panel import PanelJack
from kb.visit import Source, Visit
from kb.words import Display, DriverInput, Kind, Outcome, Signal, Speakers

Family = Callable[[Source], str]

VERSION: Final = 1  #: of what ``to_dict`` gives
YEAR: Final = 365.25  #: days
LIKELY: Final = 0.998  #: shapes are listed until they hold this much of the known ones
MOST_SHAPES: Final = 120  #: or until there are so many
INTERVAL: Final = 0.90
FREE: Final = "free"  #: nothing is in use by anything else
_WORKS, _FAILS = "works", "fails"


@dataclass(frozen=True, slots=True)
class Circle:
    """What the book knows of a set, or of a family, beyond its findings."""

    kind: Kind
    era: str
    display: str
    year: int | None = None
    family: str = ""


class Evidence:
    """All findings of a book, counted by circles of sets; made by ``learn`` or ``from_dict``."""

    def __init__(self, prior: Prior, family: Family, strengths: Mapping[str, Mapping[str, float]]) -> None:
        self.prior, self.family = prior, family
        self.visits = 0
        self._sets: dict[str, Circle] = {}
        self._families: dict[str, Circle] = {}
        self._tally: dict[str, dict[str, list[int]]] = {level: {} for level in LEVELS}
        self._tried: dict[str, int] = {}
        made = partial(Tree, worth=prior.worth)
        self.shapes = made(
            LEVELS,
            prior.any_shape,
            prior=prior.shapes,
            widened=levels.widened,
            parts=_parts,
            strengths=strengths.get("shapes"),
        )
        self.speakers = made(
            LEVELS, self._any_effect, prior=self._first_effects, strengths=strengths.get("speakers")
        )
        self.works = made(
            ("all", "signal", "make-era", "family", "set", "way"),
            lambda _, symbol: 0.9 if symbol == _WORKS else 0.1,
            prior=self._first_works,
            centre=4.0,
            strengths=strengths.get("works"),
        )
        self.in_use = made(
            ("all", "signal"),
            lambda _, symbol: 0.1 if symbol == _WORKS else 0.9,
            prior=self._first_in_use,
            strengths=strengths.get("in_use"),
        )
        self.taken = made(("outputs", "era"), self._any_taken, centre=8.0, strengths=strengths.get("taken"))

    # -- learning ------------------------------------------------------------------------------

    @classmethod
    def learn(
        cls,
        visits: Iterable[Visit],
        *,
        prior: Prior | None = None,
        family: Family = family_of,
        today: Day | None = None,
        strengths: Mapping[str, Mapping[str, float]] | None = None,
    ) -> Evidence:
        """Count the findings of all standing visits, in any order.

        ``family`` names the family of a set (empty: none). ``strengths`` as ``strengths()`` gives them are
        taken as they are; without them they are learned. Ages are counted back from ``today``.
        """
        evidence = cls(prior or standard_prior(), family, strengths or {})
        evidence._count(_standing(visits), today or clock.today())
        for tree in (evidence.shapes, evidence.speakers, evidence.works, evidence.in_use, evidence.taken):
            tree.settle(learn=strengths is None)
        return evidence

    def strengths(self) -> dict[str, dict[str, float]]:
        """For each thing learned, how many findings a circle of each level needs to stand by itself."""
        return {name: dict(tree.strengths) for name, tree in self._trees().items()}

    def _trees(self) -> dict[str, Tree]:
        return {
            "shapes": self.shapes,
            "speakers": self.speakers,
            "works": self.works,
            "in_use": self.in_use,
            "taken": self.taken,
        }

    def _count(self, visits: Sequence[Visit], today: Day) -> None:
        self.visits = len(visits)
        by_set: dict[str, list[Visit]] = {}
        for visit in visits:
            by_set.setdefault(set_of(visit.source), []).append(visit)
        sources = {key: _merged(seen) for key, seen in by_set.items()}
        members: dict[str, list[Place]] = {}
        for key, source in sources.items():
            place, family = levels.place_of(source), self.family(source)
            self._sets[key] = Circle(*place, source.year, family)
            members.setdefault(family, []).append(place)
        for family, places in members.items():
            self._families[family] = Circle(*_usual(places))
        for key, seen in by_set.items():
            self._count_set(key, sources[key], seen, today)

    def _count_set(self, key: str, source: Source, visits: Sequence[Visit], today: Day) -> None:
        family = self._sets[key].family or key
        home = self._families[self._sets[key].family] if self._sets[key].family else self._sets[key]
        place = Place(home.kind, home.era, home.display)
        path = chain(place, make=source.make, family=family, key=key)
        whole = {shape_of(told_apart(v)) for v in visits if not is_partial(v) and v.findings}
        told = 0
        for visit in visits:
            if not visit.findings:
                continue
            told += 1
            weight = self._weight(visit, today)
            found = told_apart(visit)
            shape = shape_of(found)
            partial_visit = is_partial(visit)
            if partial_visit:
                shape = _completed(shape, whole)
            self.shapes.add(path, shape, weight)
            for output, findings in found.items():
                signal = output.signal.value
                marked = [(level, f"{signal}>{circle}") for level, circle in path]
                effects = {f.speakers for f in findings} - {Speakers.UNKNOWN}
                for effect in effects:
                    self.speakers.add(marked, effect.value, weight / len(effects))
                for finding in findings:
                    if finding.outcome is not Outcome.NOT_TRIED:
                        self._count_trial(path, output, finding.outcome, finding.input, weight)
            self._count_taken(found, place.era, weight, joint=not partial_visit)
        for level, circle in path:
            for one in (circle, *levels.widened(level, circle)):
                tally = self._tally[level].setdefault(one, [0, 0])
                tally[0] += told
                tally[1] += bool(told)

    def _count_trial(
        self, path: levels_path, output: Output, outcome: Outcome, way: DriverInput | None, weight: float
    ) -> None:
        trial = _trial_path(path, output, way)
        good = WORKED[outcome]
        if good:
            self.works.add(trial, _WORKS, weight * good)
        if good < 1:
            self.works.add(trial, _FAILS, weight * (1 - good))
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
                self.in_use.add((("all", ""), ("signal", signal.value)), _WORKS if said else _FAILS, weight)
        if joint and used and None not in used.values():
            outputs = _signals_key(used)
            symbol = _signals_key(s for s, said in used.items() if said) or FREE
            self.taken.add((("outputs", outputs), ("era", f"{outputs}|{era}")), symbol, weight)

    def _weight(self, visit: Visit, today: Day) -> float:
        years = max(0.0, (today - visit.date).days / YEAR)
        return float(self.prior.weights[visit.basis] * 0.5 ** (years / self.prior.half_life_years))

    # -- first guesses -------------------------------------------------------------------------

    def _any_effect(self, key: str, symbol: str) -> float:
        return 1 / len(EFFECTS)

    def _first_effects(self, level: str, key: str) -> Mapping[str, float]:
        if level != "all":
            return {}
        signal = Signal(key.split(">", 1)[0])
        return {effect.value: p for effect, p in self.prior.speakers.get(signal, {}).items()}

    def _first_works(self, level: str, key: str) -> Mapping[str, float]:
        p = self.prior.works.get(Signal(key)) if level == "signal" else None
        return {} if p is None else {_WORKS: p, _FAILS: 1 - p}

    def _first_in_use(self, level: str, key: str) -> Mapping[str, float]:
        p = self.prior.taken.get(Signal(key)) if level == "signal" else None
        return {} if p is None else {_WORKS: p, _FAILS: 1 - p}

    def _any_taken(self, key: str, symbol: str) -> float:
        """Outputs in use, each by itself: what the joint counts begin from."""
        used = set() if symbol == FREE else set(symbol.split(" "))
        p = 1.0
        for signal in key.split(" "):
            rate = self.in_use.p((("all", ""), ("signal", signal)), _WORKS)
            p *= rate if signal in used else 1 - rate
        return p

    # -- asking --------------------------------------------------------------------------------

    def path(self, source: Source) -> tuple[tuple[str, str], ...]:
        """The circles that ``source`` stands in, what is not known filled in from its set or family."""
        key, family, place = self._placed(source)
        if not family and key in self._sets:
            family = key
        return chain(place, make=source.make, family=family, key=key if family else "")

    def _placed(self, source: Source) -> tuple[str, str, Place]:
        key = set_of(source)
        known = self._sets.get(key)
        family = known.family if known else self.family(source) if key else ""
        place = levels.place_of(replace(source, kind=known.kind) if known else source)
        for circle in (self._families.get(family) if family else None, known):
            # The set's own counts hang under its family, and the family under the place it is usual in.
            if circle and circle.kind is place.kind:
                place = place._replace(
                    era=circle.era if place.era == ANY else place.era,
                    display=circle.display if place.display == ANY else place.display,
                )
        return key, family, place

    def filled(self, source: Source) -> Source:
        """``source`` with the kind, year and display that the book knows of this very set."""
        known = self._sets.get(set_of(source))
        if known is None:
            return source
        return replace(
            source,
            kind=known.kind,
            year=source.year or known.year,
            display=source.display or (Display(known.display) if known.display != ANY else None),
        )

    def expect(self, source: Source) -> Expectation:
        """What the panel of ``source`` may be. Blank make or model, or no year: not known."""
        path = self.path(source)
        unseen = {" ".join(sorted(parts)) or NO_OUTPUT for parts in self.shapes.combinations(path)}
        chances = self.shapes.chances(path, self.shapes.symbols(path) | unseen)
        listed: list[Likely] = []
        held, known = 0.0, sum(chances.values())
        for shape, p in sorted(chances.items(), key=lambda one: (-one[1], one[0])):
            listed.append(Likely(outputs_of(shape), p))
            held += p
            if held >= LIKELY * known or len(listed) == MOST_SHAPES:
                break
        outputs = {output for one in listed for output in one.outputs}
        shares = self.shapes.shares(path)
        return Expectation(
            source=self.filled(source),
            shapes=tuple(listed),
            other=max(0.0, 1 - held),
            speakers={output: self.effects(source, output) for output in outputs},
            works={output: self._chance(source, output, None, None) for output in outputs},
            taken=self._taken_for(source, [one.outputs for one in listed]),
            levels=tuple(
                LevelCount(level, key, *self._tallied(level, key), share=shares[level])
                for level, key in reversed(path)
            ),
            prior_share=shares["prior"],
        )

    def _tallied(self, level: str, key: str) -> tuple[int, int]:
        """Visits and sets of a circle."""
        visits, sets = self._tally[level].get(key, (0, 0))
        return visits, sets

    def p_shape(self, source: Source, outputs: Iterable[Output]) -> float:
        """The chance that the panel has exactly these usable outputs."""
        return self.shapes.p(self.path(source), shape_of(outputs))

    def effects(self, source: Source, output: Output) -> dict[Speakers, float]:
        """The chances of what the output does to the set's own speakers; they sum to one."""
        marked = [(level, f"{output.signal.value}>{key}") for level, key in self.path(source)]
        return {effect: self.speakers.p(marked, effect.value) for effect in EFFECTS}

    def uses(self, source: Source, outputs: Iterable[Output]) -> dict[frozenset[Signal], float]:
        """The chances of which signals of a panel with these outputs are in use by something else."""
        signals = sorted({output.signal for output in outputs})
        if not signals:
            return {frozenset(): 1.0}
        key = _signals_key(signals)
        era = self._placed(source)[2].era
        path = (("outputs", key), ("era", f"{key}|{era}"))
        # Two in use at once stand for more, which hardly occurs.
        sets = [frozenset(some) for n in range(min(2, len(signals)) + 1) for some in combinations(signals, n)]
        chances = {used: self.taken.p(path, _signals_key(used) or FREE) for used in sets}
        total = sum(chances.values())
        return {used: p / total for used, p in chances.items()}

    def _taken_for(
        self, source: Source, panels: Sequence[tuple[Output, ...]]
    ) -> dict[tuple[Output, ...], dict[frozenset[Signal], float]]:
        """What is in use, for many panels: those with the same signals share an answer."""
        by_signals: dict[frozenset[Signal], dict[frozenset[Signal], float]] = {}
        for outputs in panels:
            signals = frozenset(output.signal for output in outputs)
            if signals not in by_signals:
                by_signals[signals] = self.uses(source, outputs)
        return {outputs: by_signals[frozenset(o.signal for o in outputs)] for outputs in panels}

    def chance(self, source: Source, jack: PanelJack | Output, input: DriverInput | None = None) -> Chance:
        """The chance that ``jack`` of ``source`` carries sound, to ``input`` where it is known.

        What the book has of this jack counts; where it has nothing, the outcomes that the panel jack
        itself brings. Raises ValueError for a jack that is no usable output.
        """
        if isinstance(jack, Output):
            return self._chance(source, jack, input, None)
        output = output_of(jack.jack)
        if output is None:
            raise ValueError("only a usable output can carry sound")
        return self._chance(source, output, input, jack)

    def _chance(
        self, source: Source, output: Output, input: DriverInput | None, jack: PanelJack | None
    ) -> Chance:
        full = self.path(source)
        trial = _trial_path(full, output, input)
        levels_known = {level for level, _ in full}
        path = [(level, key) for level, key in trial if level in ("all", "signal") or level in levels_known]
        if "set" in levels_known and trial[-1][1] in self.works.seen["way"]:
            path.append(trial[-1])
        p = self.works.p(path, _WORKS)
        level, key = path[-1]
        counts = self.works.seen[level].get(key, {})
        worth = self.works.strengths[level]
        total = sum(counts.values()) + worth
        if level == "signal":
            total += self.works.worth if self.works.prior(level, key) else 0.0
        good = p * total
        tried = self._tried.get(trial[-2][1], 0) if "set" in levels_known else 0
        if not tried and jack is not None:
            # A panel that is not in the book brings its own trials.
            trials = [(WORKED[outcome], n) for outcome, n in jack.outcomes if outcome in WORKED]
            tried = sum(n for _, n in trials)
            good += sum(share * n for share, n in trials)
            total += tried
            p = good / total
        edge = (1 - INTERVAL) / 2
        low, high = (beta_quantile(q, max(good, 1e-6), max(total - good, 1e-6)) for q in (edge, 1 - edge))
        return Chance(p, low, high, tried)

    # -- keeping -------------------------------------------------------------------------------

    def to_dict(self) -> dict[str, Any]:
        """Everything counted, as plain values for JSON: the book caches it by revision."""
        return {
            "version": VERSION,
            "visits": self.visits,
            "sets": {key: _plain(circle) for key, circle in self._sets.items()},
            "families": {key: _plain(circle) for key, circle in self._families.items()},
            "tally": self._tally,
            "tried": self._tried,
            **{name: tree.to_dict() for name, tree in self._trees().items()},
        }

    @classmethod
    def from_dict(
        cls, data: Mapping[str, Any], *, prior: Prior | None = None, family: Family = family_of
    ) -> Evidence:
        """The evidence that ``to_dict`` gave. Raises BookTrouble where it is of another version or spoilt."""
        evidence = cls(prior or standard_prior(), family, {})
        try:
            if data["version"] != VERSION:
                raise BookTrouble("evidence of another version: it has to be learned again")
            evidence.visits = data["visits"]
            evidence._sets = {key: _circle(row) for key, row in data["sets"].items()}
            evidence._families = {key: _circle(row) for key, row in data["families"].items()}
            evidence._tally = data["tally"]
            evidence._tried = data["tried"]
            for name, tree in evidence._trees().items():
                tree.fill(data[name])
        except (KeyError, TypeError, ValueError, AttributeError) as mistake:
            raise BookTrouble("spoilt evidence: it has to be learned again") from mistake
        return evidence


levels_path = Sequence[tuple[str, str]]


def _standing(visits: Iterable[Visit]) -> list[Visit]:
    """Each visit once, without those that another supersedes, in an order of its own."""
    known = list({visit.id or id(visit): visit for visit in visits}.values())
    gone = {old for visit in known for old in visit.supersedes}
    standing = [v for v in known if v.id not in gone or not v.id]
    named = (v for v in standing if set_of(v.source))
    return sorted(named, key=lambda v: (set_of(v.source), v.date, v.id or repr(v)))


def _merged(visits: Sequence[Visit]) -> Source:
    """The source as most visits describe it."""
    first = visits[-1].source
    return replace(
        first,
        kind=_most(v.source.kind for v in visits) or first.kind,
        display=_most(v.source.display for v in visits),
        year=_most(v.source.year for v in visits),
        size_in=_most(v.source.size_in for v in visits),
    )


def _most(values: Iterable[Any]) -> Any:
    counts = Counter(value for value in values if value is not None)
    return min(counts, key=lambda value: (-counts[value], str(value))) if counts else None


def _usual(places: Sequence[Place]) -> Place:
    """The kind, era and display that most of a family's sets have, as far as known."""
    return Place(
        _most(p.kind for p in places),
        _most(p.era for p in places if p.era != ANY) or ANY,
        _most(p.display for p in places if p.display != ANY) or ANY,
    )


@lru_cache(maxsize=4096)
def _parts(shape: str) -> tuple[str, ...]:
    return () if shape == NO_OUTPUT else tuple(shape.split(" "))


def _completed(shape: str, whole: Iterable[str]) -> str:
    """The smallest whole panel of the same set that has all of these outputs, or the shape as told."""
    told = set(outputs_of(shape))
    fits = [other for other in whole if told <= set(outputs_of(other))]
    return min(fits, key=lambda other: (len(outputs_of(other)), other)) if fits else shape


def _trial_path(path: levels_path, output: Output, way: DriverInput | None) -> tuple[tuple[str, str], ...]:
    """The circles of one trial: signal, make and era, family, this jack of this set, this driver input."""
    keys = dict(path)
    signal = output.signal.value
    jack = f"{output.symbol}>{keys.get('set', '')}"
    return (
        ("all", ""),
        ("signal", signal),
        ("make-era", f"{signal}>{keys.get('make-era', '')}"),
        ("family", f"{signal}>{keys.get('family', '')}"),
        ("set", jack),
        ("way", f"{jack}>{way.value if way else ''}"),
    )


def _signals_key(signals: Iterable[Signal]) -> str:
    return " ".join(sorted(signal.value for signal in signals))


def _plain(circle: Circle) -> list[Any]:
    return [circle.kind.value, circle.era, circle.display, circle.year, circle.family]


def _circle(row: Sequence[Any]) -> Circle:
    kind, era, display, year, family = row
    return Circle(Kind(kind), era, display, year, family)
