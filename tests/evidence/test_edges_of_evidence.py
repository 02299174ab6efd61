"""Check the numbers that evidence begins with, and the mistakes in a prior file, against values by hand."""

from __future__ import annotations

import math
from datetime import date

import pytest

from kb.domain.visit import Source
from kb.evidence import Evidence, prior_from
from kb.evidence.forgetting import Forgetting, Note
from kb.evidence.groups import family_of
from kb.evidence.numerics import beta_cdf, beta_quantile

CHANCES = {"tested": 0.1, "seen": 0.1, "manual": 0.1, "told": 0.1}
PRIOR = {
    "worth": {"sets": 1, "other": 0.02},
    "forgotten": CHANCES,
    "weights": {"tested": 1, "seen": 1, "manual": 1, "told": 1, "half_life_years": 10},
    "place": [],
    "speakers": {},
    "taken": {},
}


@pytest.mark.parametrize(("inches", "family"), [("13", "#2"), ("98", "#2"), ("12", "1"), ("99", "9")])
def test_a_picture_of_13_to_98_inches_is_a_size_and_anything_else_a_series(inches: str, family: str) -> None:
    """The code begins with a picture size in common practice; 12 and 99 inches are not sold as sets."""
    assert family_of(Source("Norwell", f"NV{inches}-210")) == f"NORWELL/NV{family}"


def test_sets_of_one_model_are_thought_alike_before_any_was_seen_twice() -> None:
    empty = Evidence.learn([], today=date(2026, 3, 4))
    assert empty.strengths()["shapes"]["set"] == pytest.approx(0.3), "visits; common practice"


def alike(sets: int, **visits: list[str]) -> dict[str, tuple[str, dict[str, list[Note]]]]:
    """Sets of one family, each visited by these people, who name these outputs."""
    notes = [
        Note(frozenset(named.split()), frozenset(), False, 1.0, ("seen", who.strip("_")))
        for who, some in visits.items()
        for named in some
    ]
    return {"F": ("group", {str(n): notes for n in range(sets)})}


def rates(group: str) -> dict[str, float]:
    return {"a": 0.5, "b": 0.5}


def test_a_rate_of_forgetting_begins_at_its_prior_and_a_persons_at_that_of_all() -> None:
    """Of 75 outputs that were there, seen by two people, one of them missed 10 of 60."""
    learned = Forgetting({"seen": 0.1, "told": 0.4})
    learned.learn(alike(5, LS=["a b"] * 4 + ["a"] * 2, _=["a b", "b"]), rates)
    # The prior is worth 25 outputs, and what all do 15 of the person's own. In each of five sets LS misses 2
    # of 12 outputs, and others miss 1 of 4: (2.5 + 15) / (25 + 80), and (15 x that + 10) / (15 + 60).
    assert learned.rate(("seen", "AM")) == pytest.approx(17.5 / 105, abs=0.002)
    assert learned.rate(("seen", "LS")) == pytest.approx((15 * 17.5 / 105 + 10) / 75, abs=0.002)
    assert learned.rate(("told", "LS")) == 0.4, "nothing was learned of it"


@pytest.mark.parametrize(("named", "rate"), [(["a b"] * 3, 0.002), (["a", "b", "", "", "", ""], 0.6)])
def test_nobody_is_believed_to_forget_nothing_or_nearly_all(named: list[str], rate: float) -> None:
    learned = Forgetting({"seen": 0.01})
    learned.learn(alike(100, LS=named, AM=["a b"] * 3), rates)
    assert learned.rate(("seen", "LS")) == pytest.approx(rate, abs=0.001)


def test_outputs_that_nobody_has_are_named_as_often_as_the_visits_show() -> None:
    """In ten sets one of ten visits names an output that the others do not see: 10 of 100.

    The prior, one in a hundred, counts like 100 of them: (1 + 10) / (100 + 100).
    """
    learned = Forgetting({"seen": 0.1})
    learned.learn(alike(10, LS=["a"] * 9 + ["a b"]), lambda group: {"a": 0.999, "b": 0.001})
    assert learned.shares["invented seen"] == pytest.approx(11 / 200, abs=0.001)


@pytest.mark.parametrize("wider", [0.2, 0.4])
def test_before_any_finding_half_of_the_families_with_an_output_have_it_in_all_sets_but_one_in_a_hundred(
    wider: float,
) -> None:
    shares = dict(Forgetting({"seen": 0.1})._before(wider))
    some = dict.fromkeys((0.1, 0.3, 0.5, 0.7, 0.9), wider * 0.5 / 5)
    assert shares == pytest.approx({0.01: 1 - wider, **some, 0.99: wider * 0.5})


@pytest.mark.parametrize(("wider", "bound"), [(0.0, 0.0005), (1.0, 0.99)])
def test_no_output_is_certain_in_a_family_because_the_wider_group_has_it_always_or_never(
    wider: float, bound: float
) -> None:
    shares = Forgetting({"seen": 0.1})._before(wider)
    assert sum(p for _, p in shares) == pytest.approx(1)
    assert shares[0][1] == pytest.approx(1 - bound)


def test_asking_a_prior_changes_nothing_that_anybody_compares_or_prints() -> None:
    fresh, asked = prior_from(PRIOR), prior_from(PRIOR)
    asked.any_shape("all", "toslink:optical")
    asked.shapes("all", "")
    assert asked == fresh
    assert repr(asked) == repr(fresh)


def test_a_beta_chance_is_certain_at_both_ends() -> None:
    assert (beta_cdf(0.0, 2, 3), beta_cdf(1.0, 2, 3), beta_cdf(-1, 2, 3), beta_cdf(2, 2, 3)) == (0, 1, 0, 1)


def test_half_of_a_uniform_and_of_a_symmetric_chance_lies_below_one_half() -> None:
    assert beta_quantile(0.5, 1, 1) == pytest.approx(0.5, abs=1e-9)
    assert beta_quantile(0.05, 1, 9) == pytest.approx(1 - 0.95 ** (1 / 9), abs=1e-8)  # 1 - (1 - x)^9 = p
    assert math.isclose(beta_quantile(0.5, 0.02, 0.02), 0.5, abs_tol=1e-6)
