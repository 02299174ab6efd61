"""Define faults, how common each is, and what each test shows for each fault.

The model is data (``data/faults.toml``, read by ``modelfile.model_from``): prior odds of faults per
complaint, and for each test the chance of each answer where this or that is at fault.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Final

from kb.domain.words import Outcome, Speakers, Word
from kb.isolate.path_used import PathUsed
from kb.isolate.readers import known

SOMETHING_ELSE: Final = "something-else"
#: No answer is ever impossible: people mishear, and lamps are dead. This much is kept for each answer.
FLOOR: Final = 0.001


class Side(Word):
    """Where along the chain a fault sits."""

    SOURCE = "source", "source and its cable"
    CONVERTER = "converter"
    DRIVER = "driver", "loop driver"
    LOOP = "loop", "loop wire"
    WEARER = "wearer", "hearing aid and wearer"
    ROOM = "room", "room and its wiring"
    ELSEWHERE = "elsewhere"


@dataclass(frozen=True, slots=True)
class Complaint:
    """What is heard, or not. ``elsewhere`` is the chance that the fault is none of those listed."""

    id: str
    says: str
    elsewhere: float
    outcome: Outcome | None = None
    speakers: Speakers | None = None


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that can be wrong. ``priors``: odds per complaint, to be compared with each other only.

    ``of_the_set``: it is a way of this set, which every visit to the model meets again.
    """

    id: str
    side: Side
    says: str
    mend: str
    priors: Mapping[str, float]
    needs: tuple[str, ...] = ()
    caution: str = ""
    of_the_set: bool = False


@dataclass(frozen=True, slots=True)
class Test:
    """One thing to do and look or listen for.

    ``answers``: word -> what it looks like. ``minutes``: of work, for somebody who stands there.
    ``healthy``: the answer of a sound chain, if one stays true after another fault is mended. ``ends``:
    answers that show the complaint gone. ``loud``: it can suddenly be loud in a telecoil.
    """

    __test__ = False  # pytest: this is no test case

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
    rows: Mapping[tuple[str, str], tuple[float, ...]] = field(default_factory=dict, repr=False)
    """(complaint, fault) -> chance of each answer, in the order of ``answers``."""

    def chance(self, complaint: str, fault: str, answer: str) -> float:
        """P(answer | fault is the one at fault), never 0."""
        return self.rows[complaint, fault][self.place(answer)]

    def place(self, answer: str) -> int:
        """Where in the rows this answer stands."""
        return list(self.answers).index(answer)


@dataclass(frozen=True)
class Model:
    """All complaints, faults and tests, by id and in the order of the file."""

    complaints: Mapping[str, Complaint]
    faults: Mapping[str, Fault]
    tests: Mapping[str, Test]
    tools: Mapping[str, str]

    @cached_property
    def _weights(self) -> dict[str, dict[str, float]]:
        """Per complaint, the chance of each fault on a path on which all are possible; sums to 1."""
        weights = {}
        for complaint in self.complaints.values():
            odds = {f.id: f.priors[complaint.id] for f in self.faults.values() if complaint.id in f.priors}
            scale = (1.0 - complaint.elsewhere) / sum(odds.values())
            weights[complaint.id] = {fault: scale * one for fault, one in odds.items()}
            weights[complaint.id][SOMETHING_ELSE] = complaint.elsewhere
        return weights

    def weights(self, complaint: str) -> Mapping[str, float]:
        """Chance of each fault, something else included, where nothing is known of the path; sums to 1."""
        return self._weights[complaint]

    def priors(
        self, complaint: str, path: PathUsed | None = None, mended: tuple[str, ...] = ()
    ) -> dict[str, float]:
        """Chance of each fault that can be on this path and is not mended yet; sums to 1.

        Something else always stays possible. Odds of the faults that are left keep their proportions, but
        those that need what the path does not tell of count less (``used.UNTOLD``).
        """
        left = {
            fault: weight * self.share(fault, path or PathUsed())
            for fault, weight in self._weights[complaint].items()
            if fault == SOMETHING_ELSE or fault not in mended
        }
        total = sum(left.values())
        return {fault: weight / total for fault, weight in left.items() if weight}

    def share(self, fault: str, path: PathUsed) -> float:
        """How sure is it that this fault can be on this path? 0 where it cannot."""
        return 1.0 if fault == SOMETHING_ELSE else path.share(self.faults[fault].needs)

    def fault_of(self, complaint: str) -> Callable[[object, str], str]:
        """A reader of faults that explain this complaint, something else not among them."""
        return known(
            {one.id: one for one in self.faults.values() if complaint in one.priors},
            "a fault of this complaint",
        )

    def tests_for(self, complaint: str, path: PathUsed | None = None) -> tuple[Test, ...]:
        """The tests that tell something of this complaint and can be done on this path."""
        used = path or PathUsed()
        return tuple(
            test
            for test in self.tests.values()
            if (complaint, SOMETHING_ELSE) in test.rows and used.share(test.needs)
        )

    def with_weights(self, weights: Mapping[str, Mapping[str, float]]) -> Model:
        """The same model with other odds (of any scale) for the complaints named."""
        complaints, faults = dict(self.complaints), dict(self.faults)
        for complaint, odds in weights.items():
            total = sum(odds.values())
            complaints[complaint] = replace(complaints[complaint], elsewhere=odds[SOMETHING_ELSE] / total)
            for fault, one in odds.items():
                if fault != SOMETHING_ELSE:
                    old = faults[fault]
                    faults[fault] = replace(old, priors={**old.priors, complaint: one})
        return replace(self, complaints=complaints, faults=faults)
