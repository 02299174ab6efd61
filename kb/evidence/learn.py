"""Learn the evidence from all findings of a book.

>>> from kb.domain.visit import Source, visit_from
>>> visit = visit_from({"date": "2026-03-04",
...   "source": {"make": "Norwell", "model": "NV40-210", "year": 2014},
...   "jacks": [{"form": "toslink", "marking": "OPTICAL OUT"}, {"form": "hdmi", "marking": "HDMI 1"}]})
>>> evidence = Evidence.learn([visit])
>>> evidence.expect(Source("Norwell", "NV46-212")).shapes[0].outputs[0].signal.value
'optical'

How: ``shrinkage.py`` has the rule of backing off, ``groups.py`` the groups. Four things are learned apart:

- *shapes*, the outputs of a panel, jointly. A finding is one visit to one set. A visit that covers only some
  jacks (hearsay, or only jacks that were tried) says nothing about the others. A visit may leave out a jack
  because somebody forgot it (``forgetting.py``, ``missing_jacks.py``).
- *speakers*, the effect of an output on them, by signal. If a visit does not give it, nothing is counted. A
  missing effect says nothing about its value (assumed: people leave it out whatever it is).
- *taken* depends on the home and not on the set. It is learned by the signals of a panel (and by era), not by
  make or model; jointly over the outputs, as a home seldom has two soundbars.
- *works*, the result of trying an output: by signal, make and era, family, set and driver input. A failure
  that a setting put right later does not count either way (``visits.py``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date as Day
from itertools import combinations
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from kb.base import clock
from kb.base.errors import BookTrouble
from kb.base.messages import Said
from kb.base.text import squeezed
from kb.catalogue import standard_chances
from kb.domain.chance import Chance
from kb.domain.panel import PanelJack
from kb.domain.visit import Source, Visit
from kb.domain.words import WORKED, Display, DriverInput, Kind, Signal, Speakers
from kb.evidence import groups as levels
from kb.evidence.counting import FAILS, FREE, WORKS, Counted, Family, signals_key, trial_path
from kb.evidence.groups import ANY, FamilyMix, GroupFacts, Place, chain, family_of, set_of
from kb.evidence.numerics import beta_quantile
from kb.evidence.prior import Prior, standard_prior
from kb.evidence.shrinkage import Tree, settle
from kb.evidence.signature import (
    EFFECTS,
    NO_OUTPUT,
    Output,
    output_of,
    outputs_of,
)
from kb.evidence.visits import valid_visits


class LevelCount(NamedTuple):
    """Describe one group of sets behind an expectation: its counts and its share in the answer."""

    level: str
    key: str
    visits: int
    sets: int
    share: float


class Likely(NamedTuple):
    """Hold a possible shape of the panel with its chance."""

    outputs: tuple[Output, ...]
    p: float


class Expectation(NamedTuple):
    """Hold the expectations of the book for a source.

    ``shapes`` come likeliest first. ``other`` is the chance of an unlisted panel, so all sum to one.
    ``speakers`` and ``works`` have an entry for each output of any shape. ``taken`` gives, for each shape,
    the chance that something else uses each group of its signals. ``dead`` has the outputs of this very set
    that were tried and never gave sound, with the chance that no remedy makes them carry any. ``source``
    includes facts that the book added.
    """

    source: Source
    shapes: tuple[Likely, ...]
    other: float
    speakers: Mapping[Output, Mapping[Speakers, float]]
    works: Mapping[Output, Chance]
    taken: Mapping[tuple[Output, ...], Mapping[frozenset[Signal], float]]
    levels: tuple[LevelCount, ...]
    prior_share: float
    dead: Mapping[Output, float] = MappingProxyType({})

    def has(self, *signals: Signal) -> float:
        """Return the chance that the panel has an output of one of these signals."""
        return sum(one.p for one in self.shapes if any(o.signal in signals for o in one.outputs))


Path = tuple[tuple[str, str], ...]  #: (level, key) from the widest group to the narrowest
FamilyShares = list[tuple[float, Path]]  #: families that a set may be of, with their chances

VERSION: Final = 8  #: of the result of ``to_dict``
LIKELY: Final = 0.998  #: shapes are listed until they hold this much of the known ones
MOST_SHAPES: Final = 200  #: or until there are so many
INTERVAL: Final = 0.90
#: Factor on the trials behind a chance. The strengths are learned from the same findings; taken as known,
#: they make intervals too narrow. With 0.7 they hold the truth nine times in ten in simulated books of six
#: kinds.
LEARNED: Final = 0.7


class Evidence(Counted):
    """Hold all findings of a book, made by ``learn`` or ``from_dict``, and answer from them."""

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
        progress: Callable[[int, int], None] | None = None,
    ) -> Evidence:
        """Count the findings of all valid visits, in any order.

        ``family`` names the family of a set (empty: none). ``strengths`` (from ``strengths()``) are used as
        they are; without them they are learned. Ages are counted back from ``today``. Once all visits are
        counted, ``progress`` gets the rounds done and their number.
        """
        evidence = cls(prior or standard_prior(), family, strengths or {})
        evidence._count(valid_visits(visits), today or clock.today(), learn=strengths is None)
        settle(evidence.shapes, strengths is None, progress, evidence.share_out)  # most of the work
        evidence._notes = {}
        for tree in (evidence.speakers, evidence.works, evidence.in_use, evidence.taken):
            settle(tree, learn=strengths is None)
        return evidence

    def renewed(self, sets: Mapping[str, Sequence[Visit]], *, today: Day | None = None) -> Evidence:
        """Return evidence with these sets replaced by these valid visits, and the rest unchanged.

        Meant for a few changed sets; see ``kb.evidence.counting``.
        """
        from kb.evidence.counting import renewed

        return renewed(self, sets, today or clock.today())

    # -- asking --------------------------------------------------------------------------------

    def path(self, source: Source) -> tuple[tuple[str, str], ...]:
        """Return the groups of ``source``; unknown facts are filled in from its set or family."""
        key, family, place = self._placed(source)
        if not family and key in self._sets:
            family = key
        return chain(place, make=source.make, family=family, key=key if family else "")

    def _placed(self, source: Source) -> tuple[str, str, Place]:
        key = set_of(source)
        known = self._sets.get(key)
        family = known.family if known else self.family(source) if key else ""
        place = levels.place_of(replace(source, kind=known.kind) if known else source)
        for group in (self._families.get(family) if family else None, known):
            # The set's own counts belong to its family, and the family to its usual place.
            if group and group.kind is place.kind:
                place = place._replace(
                    era=group.era if place.era == ANY else place.era,
                    display=group.display if place.display == ANY else place.display,
                )
        return key, family, place

    def knows(self, source: Source) -> bool:
        """Return whether a visit to this very set was counted."""
        return set_of(source) in self._sets

    def filled(self, source: Source) -> Source:
        """Return ``source`` with the kind, year and display that the book knows of this very set."""
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
        """Return the expected panels of ``source``. Blank make or model, or no year: not known."""
        path = self.path(source)
        unseen = {" ".join(sorted(parts)) or NO_OUTPUT for parts in self.shapes.combinations(path)}
        mix = self._family_mix(source, path)
        symbols = self.shapes.symbols(path) | unseen
        for _, family in mix:
            symbols |= self.shapes.symbols(family)
        chances = self._mixed(self.shapes, path, mix, symbols)
        listed: list[Likely] = []
        held, known = 0.0, sum(chances.values())
        for shape, p in sorted(chances.items(), key=lambda one: (-one[1], one[0])):
            listed.append(Likely(outputs_of(shape), p))
            held += p
            if held >= LIKELY * known or len(listed) == MOST_SHAPES:
                break
        outputs = {output for one in listed for output in one.outputs}
        shares = self._shares(path, mix)
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
            dead={output: dead for output in outputs if (dead := self._dead(source, output))},
        )

    def _family_mix(self, source: Source, path: Path) -> FamilyShares:
        """Return the possible families of a set of which only the make is known."""
        if path[-1][0] != "make-era":
            return []
        if self._by_make is None:
            self._by_make = FamilyMix(self._sets, self._families)
        return self._by_make.of(squeezed(source.make), self._placed(source)[2])

    def _mixed(
        self, tree: Tree, path: Path, mix: FamilyShares, symbols: Iterable[str], mark: str = ""
    ) -> dict[str, float]:
        """Mix the chances of symbols over the possible families of a set, and a new one."""
        asked = set(symbols)
        mixed = tree.chances(_marked(path, mark), asked)
        if mix:
            new = 1 - sum(share for share, _ in mix)
            mixed = {symbol: new * p for symbol, p in mixed.items()}
            for share, family in mix:
                for symbol, p in tree.chances(_marked(family, mark), asked).items():
                    mixed[symbol] += share * p
        return mixed

    def _shares(self, path: Path, mix: FamilyShares) -> dict[str, float]:
        """Return the share of each level; the shares of possible families are counted with the make."""
        shares = self.shapes.shares(path)
        if mix:
            new = 1 - sum(share for share, _ in mix)
            shares = {level: new * p for level, p in shares.items()}
            for share, family in mix:
                for level, p in self.shapes.shares(family).items():
                    level = "make-era" if level == "family" else level
                    shares[level] = shares.get(level, 0.0) + share * p
        return shares

    def _dead(self, source: Source, output: Output) -> float:
        """Return the chance that no remedy makes a jack of this very set carry sound; 0 if one trial did.

        Each failed trial counts by its basis, its age and its remedy.
        """
        jack = f"{output.symbol}>{set_of(source)}"
        if jack not in self._tried or self.works.seen["set"].get(jack, {}).get(WORKS):
            return 0.0
        ways = (self.works.seen["way"].get(f"{jack}>{way}", {}) for way in ("", *DriverInput))
        return standard_chances().dead(output.signal, sum(counts.get(FAILS, 0.0) for counts in ways))

    def _tallied(self, level: str, key: str) -> tuple[int, int]:
        """Return the visits and sets of a group."""
        visits, sets = self._tally[level].get(key, (0, 0))
        return visits, sets

    def effects(self, source: Source, output: Output) -> dict[Speakers, float]:
        """Return the chances of each effect of the output on the set's own speakers; they sum to one."""
        path, effects = self.path(source), [effect.value for effect in EFFECTS]
        mix = self._family_mix(source, path)
        # By connector: a line output at a small jack may be a headphone jack that somebody mistook.
        chances = self._mixed(self.speakers, path, mix, effects, f"{output.symbol}>")
        return {effect: chances[effect.value] for effect in EFFECTS}

    def uses(self, source: Source, outputs: Iterable[Output]) -> dict[frozenset[Signal], float]:
        """Return the chances that something else uses each group of signals of a panel with these outputs."""
        signals = sorted({output.signal for output in outputs})
        if not signals:
            return {frozenset(): 1.0}
        key = signals_key(signals)
        era = self._placed(source)[2].era
        path = (("outputs", key), ("era", f"{key}|{era}"))
        # Two in use at once include more, which hardly occurs.
        sets = [frozenset(some) for n in range(min(2, len(signals)) + 1) for some in combinations(signals, n)]
        symbols = {used: signals_key(used) or FREE for used in sets}
        chances = self.taken.chances(path, symbols.values())
        total = sum(chances.values())
        return {used: chances[symbol] / total for used, symbol in symbols.items()}

    def _taken_for(
        self, source: Source, panels: Sequence[tuple[Output, ...]]
    ) -> dict[tuple[Output, ...], dict[frozenset[Signal], float]]:
        """Return the signals in use for many panels: those with the same signals share an answer."""
        by_signals: dict[frozenset[Signal], dict[frozenset[Signal], float]] = {}
        for outputs in panels:
            signals = frozenset(output.signal for output in outputs)
            if signals not in by_signals:
                by_signals[signals] = self.uses(source, outputs)
        return {outputs: by_signals[frozenset(o.signal for o in outputs)] for outputs in panels}

    def chance(self, source: Source, jack: PanelJack | Output, input: DriverInput | None = None) -> Chance:
        """Return the chance that ``jack`` of ``source`` carries sound, to ``input`` if it is known.

        The book's trials of this jack count. If it has none, the outcomes of the panel jack itself count.
        ``findings`` of the answer counts the trials of this very jack of this very set. Raises ValueError for
        a jack that is no usable output.
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
        trial = trial_path(full, output, input)
        levels_known = {level for level, _ in full}
        path = [(level, key) for level, key in trial if level == "signal" or level in levels_known]
        if "set" in levels_known and trial[-1][1] in self.works.seen["way"]:
            path.append(trial[-1])
        p = self.works.p(path, WORKS)
        total = self._worth(tuple(path))
        tried = self._tried.get(trial[-2][1], 0) if "set" in levels_known else 0
        dead = self._dead(source, output)
        if not dead and jack is not None:
            # A panel from outside the book, or one of two such jacks, of which the other one works.
            dead = standard_chances().dead(output.signal, jack.in_vain)
        if not tried and jack is not None:
            # A panel from outside the book brings its own trials.
            trials = [(WORKED[outcome], n) for outcome, n in jack.outcomes if outcome in WORKED]
            tried = sum(n for _, n in trials)
            level, key = path[-1]
            before = sum(self.works.seen[level].get(key, {}).values()) + self.works.strengths[level]
            p = (p * before + sum(share * n for share, n in trials)) / (before + tried)
            total += tried
        good = p * total
        edge = (1 - INTERVAL) / 2
        low, high = (beta_quantile(q, max(good, 1e-6), max(total - good, 1e-6)) for q in (edge, 1 - edge))
        # If failures are almost unknown, the mean is below nearly all of the distribution.
        return Chance(p, min(low, p), max(high, p), tried, dead)

    def _worth(self, path: Path) -> float:
        """Return how many trials the chance of one jack rests on: the a + b of its beta distribution.

        The variances add up from group to group, each as a share of p (1 - p). The findings of a group leave
        1 / (n + s + 1) open. Of the wider group's variance, its share in the expectation here counts, (s / (n
        + s))^2. A set never tried is one of its family's sets, which differ.
        """
        known = dict(path)
        spread = 0.0
        for level in self.works.levels:
            n = sum(self.works.seen[level].get(known.get(level, ""), {}).values())
            strength = self.works.strengths[level]
            spread = 1 / (n + strength + 1) + (strength / (n + strength)) ** 2 * spread * (
                1 - 1 / (n + strength + 1)
            )
        return LEARNED * (1 / spread - 1)

    # -- keeping -------------------------------------------------------------------------------

    def to_dict(self) -> dict[str, Any]:
        """Return all counts as plain values for JSON: the book caches them by revision."""
        return {
            "version": VERSION,
            "sets": {key: [*group] for key, group in self._sets.items()},
            "families": {key: [*group] for key, group in self._families.items()},
            "tally": self._tally,
            "tried": self._tried,
            "forgotten": self.forgetting.rates,
            "noted": self.forgetting.shares,
            **{name: tree.to_dict() for name, tree in self.trees().items()},
        }

    @classmethod
    def from_dict(
        cls, data: Mapping[str, Any], *, prior: Prior | None = None, family: Family = family_of
    ) -> Evidence:
        """Return the evidence from ``to_dict``; of a tree, a function may return the values later.

        Raises BookTrouble if it is damaged or of another version.
        """
        evidence = cls(prior or standard_prior(), family, {})
        try:
            if data["version"] != VERSION:
                raise BookTrouble(Said("error/evidence-of-other-version"))
            evidence._sets = {key: _group_facts(row) for key, row in data["sets"].items()}
            evidence._families = {key: _group_facts(row) for key, row in data["families"].items()}
            evidence._tally = data["tally"]
            evidence._tried = data["tried"]
            evidence.forgetting.rates = {who: float(rate) for who, rate in data["forgotten"].items()}
            evidence.forgetting.shares = {name: float(share) for name, share in data["noted"].items()}
            for name, tree in evidence.trees().items():
                if callable(data[name]):
                    tree.fill_later(data[name])
                else:
                    tree.fill(data[name])
        except (KeyError, TypeError, ValueError, AttributeError) as mistake:
            raise BookTrouble(Said("error/evidence-spoilt")) from mistake
        return evidence


def _marked(path: Path, mark: str) -> Path:
    return tuple((level, mark + key) for level, key in path) if mark else path


def _group_facts(row: Sequence[Any]) -> GroupFacts:
    kind, era, display, year, family = row
    return GroupFacts(Kind(kind), era, display, year, family)
