"""Share each visit among the panels that explain it, as people forget to record jacks.

A jack that a visit does not mention is weak evidence that the set lacks it. For a panel S the chance that a
visit to a set with that panel names the outputs O is

    P(O | S) = product over outputs of S of (1 - f where O has it, else f)
               x product over outputs of O that S lacks of e

with the writer's rate of forgetting ``f``, and the rate ``e`` at which people record an input as an output.
A jack that was tried was not forgotten, so it counts neither way. Hearsay, and a list of only tried jacks,
say nothing about the other jacks. By Bayes' rule a visit then counts for each panel in proportion to P(O |
S) times the chance of S by the other visits and the wider groups (EM: Dempster, Laird & Rubin 1977). Panels
that really differ within a model show outputs that the usual panel lacks, and whole panels at once.
Forgetting does not explain that: the strength of the level of sets tells them apart.

``f`` is learned from sets with several visits: by basis, and by person if the visits name the person.

>>> notes = [Note(frozenset({"toslink:optical"}), frozenset(), False, 1.0, ("seen", ""))] * 8
>>> notes += [Note(frozenset(), frozenset(), False, 1.0, ("seen", ""))]
>>> found = shared_out(notes, (), lambda shapes: dict.fromkeys(shapes, 0.1), 0.5, Forgetting({"seen": 0.05}))
>>> {shape: round(n, 1) for shape, n in found.items()}
{'toslink:optical': 8.9, 'none': 0.1}
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from itertools import combinations
from typing import Final, NamedTuple

from kb.evidence.signature import NO_OUTPUT

INVENTED: Final = 0.01  #: share of recorded outputs that are not outputs (common practice)
ADDED: Final = 4  #: outputs, at most, that a visit may have forgotten
LIKELY: Final = 0.03  #: a visit is not suspected of forgetting an output that fewer sets of the group have
PASSES: Final = 4  #: over the visits of one set; shares settle to two digits
BASIS_WORTH: Final = 25.0  #: outputs: weight of a basis's prior rate against findings
PERSON_WORTH: Final = 15.0  #: outputs: weight of the basis's rate against a person's findings
RANGE: Final = (0.005, 0.6)  #: of a rate of forgetting


class Note(NamedTuple):
    """Hold the outputs that one visit recorded, and those that it tried, as symbols.

    ``partial``: it says nothing about jacks that it does not name. ``who``: basis and person.
    """

    outputs: frozenset[str]
    tried: frozenset[str]
    partial: bool
    weight: float
    who: tuple[str, str]


class Forgetting:
    """Hold the rates of forgetting a jack by basis and person."""

    def __init__(self, prior: Mapping[str, float], rates: Mapping[str, float] | None = None) -> None:
        self._prior = prior
        self.rates: dict[str, float] = dict(rates or {})  #: by basis, and by ``basis|person``
        self._seen: dict[tuple[str, str], list[float]] = {}

    def rate(self, who: tuple[str, str]) -> float:
        """Return the rate of this person on this basis."""
        basis, person = who
        known = self.rates.get(f"{basis}|{person}") if person else None
        return known or self.rates.get(basis) or self._prior[basis]

    def saw(self, who: tuple[str, str], missing: float, there: float) -> None:
        """Count how many of the existing outputs were not recorded."""
        seen = self._seen.setdefault(who, [0.0, 0.0])
        seen[0] += missing
        seen[1] += there

    def learn(self) -> None:
        """Update the rates from the counts since the last time."""
        low, high = RANGE
        by_basis: dict[str, list[float]] = {}
        for (basis, _), (missing, there) in self._seen.items():
            total = by_basis.setdefault(basis, [0.0, 0.0])
            total[0] += missing
            total[1] += there
        self.rates = {}
        for basis, (missing, there) in by_basis.items():
            rate = (BASIS_WORTH * self._prior[basis] + missing) / (BASIS_WORTH + there)
            self.rates[basis] = min(high, max(low, rate))
        for (basis, person), (missing, there) in self._seen.items():
            if person:
                rate = (PERSON_WORTH * self.rates[basis] + missing) / (PERSON_WORTH + there)
                self.rates[f"{basis}|{person}"] = min(high, max(low, rate))
        self._seen = {}


class _Panel(NamedTuple):
    shape: str
    likelihood: float  #: of the recorded outputs
    missing: int
    there: int


def shared_out(
    notes: Sequence[Note],
    likely: Iterable[str],
    wider: Callable[[Collection[str]], Mapping[str, float]],
    strength: float,
    forgetting: Forgetting,
) -> dict[str, float]:
    """Return the counts of shapes that follow from the visits to one set.

    ``likely``: outputs that such sets have, the likeliest first. ``wider(shapes)``: the chances of shapes in
    the wider groups, worth ``strength`` visits. If there are several visits, ``forgetting`` gets the missed
    outputs.
    """
    alike: dict[Note, int] = {}
    for note in notes:
        alike[note] = alike.get(note, 0) + 1
    others = list(dict.fromkeys(output for note in alike for output in sorted(note.outputs)))
    adds = list(dict.fromkeys((*others, *likely)))
    panels = {note: _panels(note, adds, forgetting.rate(note.who)) for note in alike}
    expected = wider({one.shape for some in panels.values() for one in some})
    shares: dict[Note, dict[str, float]] = {}
    counts: dict[str, float] = {}
    for note, times in alike.items():
        shares[note] = {} if note.partial else {joined(note.outputs): 1.0}
        _add(counts, shares[note], times * note.weight)
    for _ in range(PASSES if len(notes) > 1 else 1):
        for note, times in alike.items():
            _add(counts, shares[note], -note.weight)  # the other visits judge each visit
            odds = {
                one.shape: one.likelihood
                * (max(0.0, counts.get(one.shape, 0.0)) + strength * expected[one.shape])
                for one in panels[note]
            }
            total = sum(odds.values())
            _add(counts, shares[note], note.weight - times * note.weight)
            if total > 0:
                shares[note] = {shape: p / total for shape, p in odds.items()}
            _add(counts, shares[note], times * note.weight)
    if sum(times for note, times in alike.items() if not note.partial) > 1:
        for note, times in alike.items():
            if not note.partial:
                some = [(times * shares[note].get(one.shape, 0.0), one) for one in panels[note]]
                forgetting.saw(
                    note.who, sum(p * one.missing for p, one in some), sum(p * one.there for p, one in some)
                )
    return {shape: n for shape, n in counts.items() if n > 1e-6 * len(notes)}


def _panels(note: Note, adds: Sequence[str], rate: float) -> list[_Panel]:
    """Return the panels that may explain a note."""
    missing = [output for output in adds if output not in note.outputs][:ADDED]
    untried = len(note.outputs - note.tried)
    found: list[_Panel] = []
    for n in range(len(missing) + 1):
        likelihood = 1.0 if note.partial else rate**n * (1 - rate) ** untried
        found += [
            _Panel(joined(note.outputs.union(some)), likelihood, n, n + untried)
            for some in combinations(missing, n)
        ]
    if not note.partial:
        for output in note.outputs - note.tried:
            p = INVENTED * (1 - rate) ** (untried - 1)
            found.append(_Panel(joined(note.outputs - {output}), p, 0, untried - 1))
    return found


def likely_first(rates: Mapping[str, float]) -> list[str]:
    """Return the outputs that a visit may have forgotten, by how often sets have them."""
    return sorted(
        (output for output, p in rates.items() if p >= LIKELY), key=lambda output: (-rates[output], output)
    )


def joined(outputs: Iterable[str]) -> str:
    """Return the shape that has these outputs, given by their symbols."""
    return " ".join(sorted(outputs)) or NO_OUTPUT


def _add(into: dict[str, float], shares: Mapping[str, float], weight: float) -> None:
    for shape, p in shares.items():
        into[shape] = into.get(shape, 0.0) + weight * p
