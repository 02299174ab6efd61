"""Check where a list of jobs ends, and what a bag still lacks."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from kb.base.errors import BadInput
from kb.pack.jobs import day_from
from kb.pack.packing import Packing

JOB = {"make": "Norwell", "inputs": ["line-3.5"]}


def test_two_hundred_jobs_are_a_list_and_one_more_is_not() -> None:
    assert len(day_from({"jobs": [JOB] * 200}).jobs) == 200
    with pytest.raises(BadInput, match="saw 201 jobs, expected at most 200"):
        day_from({"jobs": [JOB] * 201})


@pytest.mark.parametrize(
    ("couplers", "lacking"),
    [(0, ("cable", "coupler", "coupler")), (1, ("cable", "coupler")), (2, ("cable",)), (3, ("cable",))],
)
def test_of_two_couplers_that_a_way_needs_those_that_are_not_in_the_bag_are_lacking(
    couplers: int, lacking: tuple[str, ...]
) -> None:
    bag = SimpleNamespace(items=("coupler", "cable"))
    assert Packing.missing(bag, ("cable", "coupler", "coupler"), (couplers, 0)) == lacking  # type: ignore[arg-type]
