"""Learn how often people forget to record a jack that is there, from all visits of a book.

This is the site-occupancy model (MacKenzie et al. 2002) with false positives (Royle & Link 2006), both from
memory. A set is a site, an output is a species, and a visit detects it with a chance below one. Families are
groups of sites.

For each family and output, ``r`` is the share of the family's sets that have the output. In most families
nearly all sets have it, or nearly none. In a share ``mixed`` of the others it is something between. Given
``r``, each set has the output or not. A visit then says

    P(named | there) = 1 - f           P(named | absent) = invented
    P(not named | there) = f           P(not named | absent) = 1 - invented

with the writer's rate of forgetting ``f``. A tried output is there and was not forgotten. A visit tries few
outputs, so a trial of one says something about each other one. These chances are learned by basis and output.
Hearsay, and a list of only tried jacks, say nothing about jacks that they do not name. In a share
``alternating`` of the models each unit differs (a new board, for example). Some families have two boards
with different outputs; their visits are told apart first, as one output is then there if another is not.

EM (Dempster, Laird & Rubin 1977) learns all rates, with the priors below as counts; the answer sums over
``r``. ``f`` has a rate for each basis, and for each person if the visits name the person.

>>> both, one = (Note(frozenset(outputs), frozenset(), False, 1.0, ("seen", "")) for outputs in ("ab", "a"))
>>> sets = {"1": [both] * 9, "2": [both] * 8 + [one]}
>>> learned = Forgetting({"seen": 0.2})
>>> learned.learn({"family": ("group", sets)}, lambda group: {"a": 0.5, "b": 0.5})
>>> round(learned.rates["seen"], 2)  # one jack of 36 was forgotten; the prior counts like 5 of 25
0.1
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import exp, lgamma, log, prod
from operator import mul
from typing import Final, NamedTuple

from kb.evidence.numerics import sampled
from kb.evidence.signature import NO_OUTPUT

SHARES: Final = (0.01, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99)  #: of a family's sets that have an output
#: Before any finding, with the weight in findings (common practice): families of which only some sets have an
#: output, models whose units differ.
FIRST: Final = {"mixed": (0.5, 10.0), "alternating": (0.1, 10.0)}
INVENTED: Final = (0.01, 100.0)  #: share of visits that name an absent output, and weight (common practice)
APART: Final = 3.0  #: least odds ratio of two outputs that visits name instead of each other
MOVES: Final = 2  #: times that visits move to the board that explains them better
BOARDS: Final = 0.1  #: share of families with two boards, of which each set has one
WIDER: Final = 4.0  #: families: weight of the prior rate of an output against the group's families
BASIS_WORTH: Final = 25.0  #: outputs: weight of a basis's prior rate against findings
PERSON_WORTH: Final = 15.0  #: outputs: weight of the basis's rate against a person's findings
LIKELY: Final = 0.03  #: a visit is not suspected of forgetting an output that fewer sets of the group have
OPEN: Final = 6  #: outputs of a visit, at most, that count as uncertain
SURE: Final = 0.002  #: less uncertain outputs count as certain; rarer panels are left out
RANGE: Final = (0.002, 0.6)  #: of a rate of forgetting
RATE: Final = (0.0005, 0.99)  #: of an output in a wider group
NEVER: Final = 1e-4  #: chance that somebody tries an absent output
ROUNDS: Final = 40  #: of EM, at most
SETTLED: Final = 0.001  #: no rate changes by more in the last round
FAMILIES: Final = 300  #: that the rates are learned from; of more, an even sample
THIS, OTHER, NONE = TRIALS = ("this", "other", "none")  #: what a visit tried, as seen from one output
STATES = ("there", "absent")


class Note(NamedTuple):
    """Hold the outputs that one visit recorded, and those that it tried, as symbols.

    ``partial``: it says nothing about jacks that it does not name. ``who``: basis and person.
    """

    outputs: frozenset[str]
    tried: frozenset[str]
    partial: bool
    weight: float
    who: tuple[str, str]


#: An output, what one visit says of it (it was named, what was tried, the visit is partial), its weight, who.
_About = tuple[str, bool, str, bool, float, tuple[str, str]]


class _Kind(NamedTuple):
    who: tuple[str, str]
    trial: str
    named: bool


@dataclass(frozen=True, slots=True, eq=False)
class Said:
    """Hold the chance of what one visit says of an output if it is there, and if it is absent.

    Compared by identity, as rows of it are keys.
    """

    there: float
    absent: float
    kind: _Kind | None  #: None: hearsay, from which no rate is learned


Row = tuple[Said, ...]  #: all visits to one set
Sets = Mapping[str, Sequence[Note]]  #: the visits of each set of a family
Families = Mapping[str, tuple[str, Sets]]  #: by key: the group around the family, and its sets
Rates = Callable[[str], Mapping[str, float]]  #: how often sets of a wider group have each output


class Occupancy(NamedTuple):
    """Hold the answer for one family and output.

    ``shares``: the chance of each possible share of sets with the output. ``score``: the logarithm of the
    chance of all visits. By visits to a set: ``alternates``, the chance that its units differ, and ``has``,
    the chance at each visit that the unit there had the output.
    """

    shares: tuple[float, ...]
    score: float
    alternates: Mapping[Row, float]
    has: Mapping[Row, tuple[float, ...]]


def occupancy(
    rows: Mapping[Row, int], shares: Sequence[tuple[float, float]], alternating: float
) -> Occupancy:
    """Return which sets of a family have an output.

    ``rows``: how often each row of visits occurs. ``shares``: possible shares of sets with the output, each
    with its chance.
    """
    rates = [r for r, _ in shares]
    odds = [log(chance) for _, chance in shares]
    chances: dict[Row, tuple[list[float], list[float], list[list[float]]]] = {}
    for row, times in rows.items():
        there, absent = prod([said.there for said in row]), prod([said.absent for said in row])
        whole = [r * there + (1 - r) * absent for r in rates]
        has = [r * there / one if one else r for r, one in zip(rates, whole, strict=True)]
        differs, visits = [], []
        if len(row) > 1:
            visits = [[r * said.there + (1 - r) * said.absent for r in rates] for said in row]
            differ = [alternating * prod(some) for some in zip(*visits, strict=True)]
            whole = [(1 - alternating) * one + some for one, some in zip(whole, differ, strict=True)]
            differs = [some / one if one else 0.0 for one, some in zip(whole, differ, strict=True)]
        odds = [one + times * log(max(1e-300, some)) for one, some in zip(odds, whole, strict=True)]
        chances[row] = has, differs, visits
    top = max(odds)
    weights = [exp(one - top) for one in odds]
    whole_weight = sum(weights)
    post = tuple(one / whole_weight for one in weights)
    alternates: dict[Row, float] = {}
    found: dict[Row, tuple[float, ...]] = {}
    for row, (has, differs, visits) in chances.items():
        if not differs:
            alternates[row], found[row] = 0.0, (sum(map(mul, post, has)),)
            continue
        alternates[row] = sum(map(mul, post, differs))
        same = sum([p * (1 - differ) * one for p, differ, one in zip(post, differs, has, strict=True)])
        unit = [p * differ * r for p, differ, r in zip(post, differs, rates, strict=True)]
        found[row] = tuple(
            same + sum([one * said.there / some for one, some in zip(unit, visit, strict=True) if one])
            for said, visit in zip(row, visits, strict=True)
        )
    return Occupancy(post, top + log(whole_weight), alternates, found)


class Forgetting:
    """Hold the rates of forgetting a jack by basis and person, and what else explains the visits."""

    def __init__(
        self,
        prior: Mapping[str, float],
        rates: Mapping[str, float] | None = None,
        shares: Mapping[str, float] | None = None,
    ) -> None:
        self._prior = prior
        self.rates: dict[str, float] = dict(rates or {})  #: by basis, and by ``basis|person``
        #: ``mixed``, ``alternating``, ``invented``, and how often visits try outputs
        self.shares: dict[str, float] = dict(shares or {})
        self._said: dict[_About, Said] = {}  #: under the present rates
        self._wider: dict[tuple[str, str], float] = {}  #: how often families of a group have an output

    def rate(self, who: tuple[str, str]) -> float:
        """Return the rate of this person on this basis."""
        basis, person = who
        known = self.rates.get(f"{basis}|{person}") if person else None
        return known or self.rates.get(basis) or self._prior[basis]

    def learn(self, families: Families, first: Rates, *, rates: bool = True) -> None:
        """Learn from all families; ``rates`` False: only how often the wider groups have each output."""
        keys = sorted(families)
        asked = [
            (group, output, Counter(tuple(_about(output, note) for note in notes) for notes in sets.values()))
            for group, sets in (families[key] for key in (sampled(keys, FAMILIES) if rates else keys))
            for output in _outputs(sets, first(group))
        ]
        for _ in range(ROUNDS):
            before, counts = [*self.rates.values(), *self._wider.values()], _Counts()
            for group, output, told in asked:
                shares = self._before(self._wider.get((group, output)) or first(group).get(output, 0.0))
                rows = {tuple(map(self._said_of, row)): times for row, times in told.items()}
                counts.add(group, output, rows, occupancy(rows, shares, self._share("alternating")))
            self._wider = {
                (group, output): _blend((first(group).get(output, 0.0), WIDER), seen)
                for (group, output), seen in counts.wider.items()
            }
            if rates:
                self._update(counts)
            after = [*self.rates.values(), *self._wider.values()]
            if len(before) == len(after) and all(moved < SETTLED for moved in map(_distance, before, after)):
                break

    def boards(self, families: Families, first: Rates) -> dict[str, tuple[str, Sets]]:
        """Return the families, those with two boards as two: what one board has the other may lack."""
        found: dict[str, tuple[str, Sets]] = {}
        for key, (group, sets) in families.items():
            for n, some in enumerate(self._split(group, sets, first), 1):
                found[f"{key} {n}"] = group, some
        return found

    def _split(self, group: str, sets: Sets, first: Rates) -> list[Sets]:
        whole = Counter(note.outputs for notes in sets.values() for note in notes if not note.partial)
        apart = _apart(whole)
        if not apart:
            return [sets]
        before = {
            output: self._before(first(group).get(output, 0.0)) for output in _outputs(sets, first(group))
        }
        best, found = self._score([sets], before), [sets]
        for output in apart:
            two: list[Sets] = [
                {
                    key: some
                    for key, notes in sets.items()
                    if (some := [note for note in notes if (output in note.outputs) is has])
                }
                for has in (True, False)
            ]
            for _ in range(MOVES):
                two = self._sorted(sets, two, before)
            score = self._score(two, before) + log(BOARDS)
            if all(two) and score > best:
                best, found = score, two
        return found

    def _sorted(
        self, sets: Sets, two: Sequence[Sets], before: Mapping[str, Sequence[tuple[float, float]]]
    ) -> list[Sets]:
        """Return the visits of each set with the board that explains them better."""
        rates: list[dict[str, float]] = []
        for board in two:
            rates.append({})
            for output, shares in before.items():
                rows = Counter(self._row(output, notes) for notes in board.values())
                post = occupancy(rows, shares, self._share("alternating")).shares
                rates[-1][output] = sum(p * r for p, (r, _) in zip(post, shares, strict=True))
        moved: list[dict[str, list[Note]]] = [{}, {}]
        for key, notes in sets.items():
            logs = []
            for note in notes:
                said = {output: self.said(output, note) for output in before}
                logs.append(
                    [
                        sum(log(r * said[o].there + (1 - r) * said[o].absent) for o, r in board.items())
                        for board in rates
                    ]
                )
            one = max(range(2), key=lambda n: sum(each[n] for each in logs))
            each_own = [max(range(2), key=lambda n: each[n]) for each in logs]
            differ = sum(map(max, logs)) + log(self._share("alternating"))
            for note, own in zip(notes, each_own, strict=True):
                place = own if differ > sum(each[one] for each in logs) else one
                moved[place].setdefault(key, []).append(note)
        return list(moved)

    def _score(self, boards: Sequence[Sets], before: Mapping[str, Sequence[tuple[float, float]]]) -> float:
        """Return the logarithm of the chance of all visits, with each board's share unknown."""
        score = 0.0
        for sets in boards:
            for output, shares in before.items():
                rows = Counter(self._row(output, notes) for notes in sets.values())
                score += occupancy(rows, shares, self._share("alternating")).score
        if len(boards) == 2:
            both = boards[0].keys() & boards[1].keys()
            score += len(both) * log(self._share("alternating"))
            a, b = (sum(len(notes) if key in both else 1 for key, notes in sets.items()) for sets in boards)
            score += lgamma(a + 1) + lgamma(b + 1) - lgamma(a + b + 2)
        return score

    def panels(self, families: Families, first: Rates) -> dict[str, dict[str, float]]:
        """Return, by set, the counts of panels that its visits showed."""
        found: dict[str, dict[str, float]] = {}
        for group, sets in families.values():
            known = {
                output: self._before(self._wider.get((group, output)) or first(group).get(output, 0.0))
                for output in _outputs(sets, first(group))
            }
            for key, counts in self._panels(sets, known).items():
                into = found.setdefault(key, {})
                for shape, n in counts.items():
                    into[shape] = into.get(shape, 0.0) + n
        return found

    def _panels(
        self, sets: Sets, known: Mapping[str, Sequence[tuple[float, float]]]
    ) -> dict[str, dict[str, float]]:
        has: dict[str, list[dict[str, float]]] = {key: [{} for _ in notes] for key, notes in sets.items()}
        for output, shares in known.items():
            rows = {key: self._row(output, notes) for key, notes in sets.items()}
            answer = occupancy(Counter(rows.values()), shares, self._share("alternating"))
            for key, row in rows.items():
                for chances, p in zip(has[key], answer.has[row], strict=True):
                    chances[output] = p
        found: dict[str, dict[str, float]] = {}
        for key, notes in sets.items():
            counts = found[key] = {}
            for note, chances in zip(notes, has[key], strict=True):
                for shape, p in shapes_of(chances):
                    counts[shape] = counts.get(shape, 0.0) + note.weight * p
        return found

    def _share(self, name: str) -> float:
        return self.shares.get(name, FIRST[name][0])

    def _before(self, wider: float) -> list[tuple[float, float]]:
        """Return the possible shares of a family's sets with an output, each with its chance."""
        q = min(RATE[1], max(RATE[0], wider))
        mixed = self._share("mixed")
        some = [(r, q * mixed / (len(SHARES) - 2)) for r in SHARES[1:-1]]
        return [(SHARES[0], 1 - q), *some, (SHARES[-1], q * (1 - mixed))]

    def _row(self, output: str, notes: Sequence[Note]) -> Row:
        return tuple(self.said(output, note) for note in notes)

    def said(self, output: str, note: Note) -> Said:
        """Return the chance of what a visit says of an output if it is there, and if it is absent."""
        return self._said_of(_about(output, note))

    def _said_of(self, about: _About) -> Said:
        known = self._said.get(about)
        if known is None:
            known = self._said[about] = self._says(*about)
        return known

    def _says(
        self, output: str, named: bool, trial: str, partial: bool, weight: float, who: tuple[str, str]
    ) -> Said:
        basis = who[0]
        there, absent, kind = 1.0, 1.0, None
        invented = self.shares.get(f"invented {basis}", INVENTED[0])
        if not partial:
            kind = _Kind(who, trial, named)
            there, absent = (self.shares.get(f"{basis} {output} {trial} {one}", 1.0) for one in STATES)
            if trial != THIS:
                rate = self.rate(who)
                there *= 1 - rate if named else rate
        if trial == THIS:
            absent = NEVER
        elif named or not partial:
            absent *= invented if named else 1 - invented
        return Said(there**weight, absent**weight, kind)

    def _update(self, counts: _Counts) -> None:
        missed: dict[tuple[str, str], list[float]] = {}
        trials: dict[tuple[str, str], dict[str, float]] = {}
        named: dict[str, list[float]] = {}
        for (output, kind), (there, absent) in counts.said.items():
            for one, n in zip(STATES, (there, absent), strict=True):
                tried = trials.setdefault((f"{kind.who[0]} {output}", one), dict.fromkeys(TRIALS, 0.5))
                tried[kind.trial] += n
            if kind.trial != THIS:
                _add(missed.setdefault(kind.who, [0.0, 0.0]), 0.0 if kind.named else there, there)
                _add(named.setdefault(kind.who[0], [0.0, 0.0]), absent if kind.named else 0.0, absent)
        self.rates, self._said = {}, {}
        for basis in sorted({basis for basis, _ in missed}):
            seen = [sum(some[n] for who, some in missed.items() if who[0] == basis) for n in range(2)]
            self.rates[basis] = _within(RANGE, _blend((self._prior[basis], BASIS_WORTH), seen))
        for (basis, person), seen in missed.items():
            if person:
                rate = _blend((self.rates[basis], PERSON_WORTH), seen)
                self.rates[f"{basis}|{person}"] = _within(RANGE, rate)
        self.shares = {f"invented {basis}": _blend(INVENTED, seen) for basis, seen in named.items()}
        for name, seen in (("mixed", counts.mixed), ("alternating", counts.alternating)):
            self.shares[name] = _blend(FIRST[name], seen)
        for (key, one), tried in trials.items():
            whole = sum(tried.values())
            self.shares |= {f"{key} {trial} {one}": n / whole for trial, n in tried.items()}


class _Counts:
    """Count what the visits of some families say under the present rates."""

    def __init__(self) -> None:
        self.said: dict[tuple[str, _Kind], list[float]] = {}  #: outputs that were there, and absent ones
        self.wider: dict[tuple[str, str], list[float]] = {}
        self.mixed = [0.0, 0.0]
        self.alternating = [0.0, 0.0]

    def add(self, group: str, output: str, rows: Mapping[Row, int], answer: Occupancy) -> None:
        """Count the answer for one family and output."""
        some = 1 - answer.shares[0]
        _add(self.mixed, sum(answer.shares[1:-1]), some)
        _add(self.wider.setdefault((group, output), [0.0, 0.0]), some, 1.0)
        for row, times in rows.items():
            if len(row) > 1:
                _add(self.alternating, times * answer.alternates[row], times)
            for said, p in zip(row, answer.has[row], strict=True):
                if said.kind:
                    both = self.said.setdefault((output, said.kind), [0.0, 0.0])
                    _add(both, times * p, times * (1 - p))


def _apart(visits: Mapping[frozenset[str], int]) -> list[str]:
    """Return the outputs that visits name instead of another one: they may tell two boards apart.

    Where people only forget outputs, the odds ratio of two outputs is about one.
    """
    found: set[str] = set()
    for pair in combinations(sorted(frozenset().union(*visits)), 2):
        one, other = (
            sum(n for named, n in visits.items() if a in named and b not in named) + 0.5
            for a, b in (pair, pair[::-1])
        )
        both = sum(n for named, n in visits.items() if named.issuperset(pair)) + 0.5
        neither = sum(n for named, n in visits.items() if named.isdisjoint(pair)) + 0.5
        if min(one, other) > 2 and one * other > APART * both * neither:
            found.update(pair)
    return sorted(found)


def _about(output: str, note: Note) -> _About:
    trial = THIS if output in note.tried else OTHER if note.tried else NONE
    weight = round(min(1.0, note.weight), 1)  # of few different weights, many visits are alike
    return output, output in note.outputs, trial, note.partial, weight, note.who


def _outputs(sets: Sets, rates: Mapping[str, float]) -> list[str]:
    """Return the outputs that a visit to one of these sets named or may have forgotten."""
    named = {output for notes in sets.values() for note in notes for output in note.outputs}
    return sorted(named | {output for output, p in rates.items() if p >= LIKELY})


def shapes_of(has: Mapping[str, float]) -> list[tuple[str, float]]:
    """Return the panels that follow from the chance of each output, with their chances."""
    by_doubt = sorted(has, key=lambda output: (abs(has[output] - 0.5), output))
    unsure = [output for output in by_doubt if SURE < has[output] < 1 - SURE][:OPEN]
    found = [([output for output, p in has.items() if p >= 0.5 and output not in unsure], 1.0)]
    for output in unsure:
        p = has[output]
        found = [(outputs, chance * (1 - p)) for outputs, chance in found] + [
            ([*outputs, output], chance * p) for outputs, chance in found
        ]
    likely = [(outputs, chance) for outputs, chance in found if chance > SURE]
    whole = sum(chance for _, chance in likely)
    return [(joined(outputs), chance / whole) for outputs, chance in likely]


def joined(outputs: Iterable[str]) -> str:
    """Return the shape that has these outputs, given by their symbols."""
    return " ".join(sorted(outputs)) or NO_OUTPUT


def _blend(prior: tuple[float, float], counts: Sequence[float]) -> float:
    share, weight = prior
    return (share * weight + counts[0]) / (weight + counts[1])


def _within(limits: tuple[float, float], rate: float) -> float:
    return min(limits[1], max(limits[0], rate))


def _distance(one: float, other: float) -> float:
    return abs(one - other)


def _add(into: list[float], some: float, of: float) -> None:
    into[0] += some
    into[1] += of
