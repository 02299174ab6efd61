"""Define faults, how common each is, and the results of each test for each fault.

The model is data (``data/faults.toml``, read by ``model_file.model_from``): prior odds of faults per
complaint, and for each test the chance of each answer under each fault.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Final

from kb.base.messages import Said, Wording
from kb.base.text import squeezed
from kb.domain.words import Outcome, Speakers, Word
from kb.isolate.path_used import PathUsed
from kb.isolate.readers import known

SOMETHING_ELSE: Final = "something-else"
#: No answer is ever impossible: people mishear, and lamps fail. Each answer keeps this much.
FLOOR: Final = 0.001
#: Words for what the book says of the jack in use; a fault names those that make it likelier or not.
FACTS: Final = (
    *(f"level-{level}" for level in ("fixed", "variable")),
    *(f"format-{kind}" for kind in ("pcm", "bitstream", "selectable")),
    *(f"speakers-{what}" for what in ("stay-on", "mute", "mute-unless-set")),
    "input-alike",  # the panel also has an input that looks the same
    "no-input-alike",
    "menu-noted",  # a menu setting was needed here before
    "silent-here",  # this jack was silent at an earlier visit
)


class Side(Word):
    """Name the part of the chain that has a fault."""

    SOURCE = "source", "source and its cable"
    CONVERTER = "converter"
    DRIVER = "driver", "loop driver"
    LOOP = "loop", "loop wire"
    WEARER = "wearer", "hearing aid and wearer"
    ROOM = "room", "room and its wiring"
    ELSEWHERE = "elsewhere"


@dataclass(frozen=True, slots=True)
class Complaint:
    """Describe an audible complaint, or silence. ``elsewhere`` is the chance of a fault outside the list.

    ``names``: what people call it, in any language.
    """

    id: str
    says: str
    elsewhere: float
    outcome: Outcome | None = None
    speakers: Speakers | None = None
    names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Fault:
    """Describe one possible fault. ``priors``: odds per complaint, only for comparison with each other.

    ``of_the_set``: it is a property of this set, which every visit to the model meets again.
    """

    id: str
    side: Side
    says: str
    mend: str
    priors: Mapping[str, float]
    needs: tuple[str, ...]
    caution: str
    of_the_set: bool
    told: Mapping[str, float]
    """Fact of the book (``FACTS``) -> how many times likelier it makes this fault."""


Columns = tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True)
class Test:
    """Describe one thing to do and look or listen for.

    ``answers``: word -> its description. ``minutes``: of work, for a person on the spot. ``healthy``: the
    answer of a sound chain, if it stays true after another fault is repaired. ``ends``: answers that show the
    complaint gone. ``loud``: it can suddenly be loud in a telecoil. ``plain``: an answer other than the usual
    one is hardly ever seen without its fault. ``first``: tests that are asked before this one. ``shows``:
    answer -> the fault that is seen with it and is repaired at once. ``proves``: answer -> sides shown good.
    """

    __test__ = False  # pytest: this is not a test case

    id: str
    asks: str
    how: str
    minutes: float
    answers: Mapping[str, str]
    tools: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    healthy: str = ""
    caution: str = ""
    ends: tuple[str, ...] = ()
    loud: bool = False
    plain: bool = False
    first: tuple[str, ...] = ()
    shows: Mapping[str, str] = field(default_factory=dict)
    proves: Mapping[str, tuple[Side, ...]] = field(default_factory=dict)
    rows: Mapping[tuple[str, str], tuple[float, ...]] = field(default_factory=dict, repr=False)
    """(complaint, fault) -> chance of each answer, in the order of ``answers``."""
    _columns: dict[tuple[str, tuple[str, ...]], Columns] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def columns(self, complaint: str, faults: tuple[str, ...]) -> Columns:
        """Return, for each answer in order, its chance under each of ``faults``."""
        known = self._columns.get((complaint, faults))
        if known is None:
            known = tuple(zip(*(self.rows[complaint, fault] for fault in faults), strict=True))
            self._columns[complaint, faults] = known
        return known

    def chance(self, complaint: str, fault: str, answer: str) -> float:
        """Return P(answer | fault), never 0."""
        return self.rows[complaint, fault][self.place(answer)]

    def place(self, answer: str) -> int:
        """Return the position of this answer in the rows."""
        return list(self.answers).index(answer)


@dataclass(frozen=True)
class Model:
    """Hold all complaints, faults and tests, by id and in the order of the file."""

    complaints: Mapping[str, Complaint]
    faults: Mapping[str, Fault]
    tests: Mapping[str, Test]
    tools: Mapping[str, str]

    @cached_property
    def _weights(self) -> dict[str, dict[str, float]]:
        """Return, per complaint, the chance of each fault on a path that allows all of them; sums to 1."""
        weights = {}
        for complaint in self.complaints.values():
            odds = {f.id: f.priors[complaint.id] for f in self.faults.values() if complaint.id in f.priors}
            scale = (1.0 - complaint.elsewhere) / sum(odds.values())
            weights[complaint.id] = {fault: scale * one for fault, one in odds.items()}
            weights[complaint.id][SOMETHING_ELSE] = complaint.elsewhere
        return weights

    def complaint_named(self, typed: str) -> str:
        """Return the id of the complaint that somebody calls so; what was typed if nobody does."""
        said = squeezed(typed)
        every = ((one.id, (one.id, one.says, *one.names)) for one in self.complaints.values())
        return next((id_ for id_, names in every if said and said in map(squeezed, names)), typed)

    def weights(self, complaint: str) -> Mapping[str, float]:
        """Return the chance of each fault, something else included, for an unknown path; sums to 1."""
        return self._weights[complaint]

    def priors(
        self, complaint: str, path: PathUsed | None = None, mended: tuple[str, ...] = ()
    ) -> dict[str, float]:
        """Return the chance of each fault that can be on this path and is not repaired yet; sums to 1.

        Something else always stays possible. Odds of the remaining faults keep their proportions. Faults that
        need unknown traits of the path count less (``path_used.UNTOLD``).
        """
        left = {
            fault: weight * self.share(fault, path or PathUsed())
            for fault, weight in self._weights[complaint].items()
            if fault == SOMETHING_ELSE or fault not in mended
        }
        total = sum(left.values())
        return {fault: weight / total for fault, weight in left.items() if weight}

    def share(self, fault: str, path: PathUsed) -> float:
        """Return how sure this fault can be on this path; 0 if it cannot."""
        return 1.0 if fault == SOMETHING_ELSE else path.share(self.faults[fault].needs)

    def fault_of(self, complaint: str) -> Callable[[object, Wording], str]:
        """Return a reader of faults that explain this complaint, without something else."""
        return known(
            {one.id: one for one in self.faults.values() if complaint in one.priors},
            Said("kind/a-fault-of-complaint"),
        )

    def tests_for(self, complaint: str, path: PathUsed | None = None) -> tuple[Test, ...]:
        """Return the tests that give evidence on this complaint and can be done on this path."""
        used = path or PathUsed()
        return tuple(
            test
            for test in self.tests.values()
            if (complaint, SOMETHING_ELSE) in test.rows and used.share(test.needs)
        )

    def with_facts(self, facts: Collection[str]) -> Model:
        """Return the same model with the odds moved by what the book says of the jack in use (``FACTS``)."""
        factors = {
            fault.id: math.prod(factor for fact, factor in fault.told.items() if fact in facts)
            for fault in self.faults.values()
        }
        return self.with_weights(
            {
                complaint: {fault: weight * factors.get(fault, 1.0) for fault, weight in odds.items()}
                for complaint, odds in self._weights.items()
                if any(factors.get(fault, 1.0) != 1.0 for fault in odds)
            }
        )

    def with_weights(self, weights: Mapping[str, Mapping[str, float]]) -> Model:
        """Return the same model with other odds (of any scale) for the complaints named."""
        complaints, faults = dict(self.complaints), dict(self.faults)
        for complaint, odds in weights.items():
            total = sum(odds.values())
            complaints[complaint] = replace(complaints[complaint], elsewhere=odds[SOMETHING_ELSE] / total)
            for fault, one in odds.items():
                if fault != SOMETHING_ELSE:
                    old = faults[fault]
                    faults[fault] = replace(old, priors={**old.priors, complaint: one})
        return replace(self, complaints=complaints, faults=faults)
