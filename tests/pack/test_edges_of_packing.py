"""Check where a list of jobs ends, and what a bag still lacks."""

from __future__ import annotations

import pytest

from kb.base.errors import BadInput
from kb.pack.jobs import day_from

JOB = {"make": "Norwell", "inputs": ["line-3.5"]}


def test_two_hundred_jobs_are_a_list_and_one_more_is_not() -> None:
    assert len(day_from({"jobs": [JOB] * 200}).jobs) == 200
    with pytest.raises(BadInput, match="saw 201 jobs, expected at most 200"):
        day_from({"jobs": [JOB] * 201})
