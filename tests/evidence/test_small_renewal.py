"""A small book in which a set changes is counted as if it had been learned so."""

from __future__ import annotations

import json
from datetime import date
from functools import cache
from typing import Any

import pytest

from kb.domain.visit import Source, Visit, visit_from
from kb.domain.words import Signal
from kb.evidence import Evidence, Output
from kb.evidence.groups import set_of
from tests.evidence.test_evidence import ARC, LINE, OPTICAL

TODAY = date(2026, 3, 4)


def visit(make: str, model: str, *jacks: dict[str, Any], day: str = "2026-01-02", **facts: Any) -> Visit:
    source = {"make": make, "model": model, "year": 2014, **facts}
    whole = [*jacks, {"form": "hdmi", "marking": "HDMI 1"}]
    return visit_from({"date": day, "source": source, "jacks": whole})


def optical(outcome: str = "carried", **more: Any) -> dict[str, Any]:
    return {"form": "toslink", "marking": "OPTICAL OUT", "outcome": outcome, "speakers": "stay-on", **more}


LINE_OUT = {"form": "rca-pair", "marking": "AUDIO OUT", "taken": True, "speakers": "mute"}
FIRST = visit("Norwell", "NV40-210", optical(input="optical"))
SISTER = visit("Norwell", "NV46-212", optical("silent"), LINE_OUT)
OTHER = visit("Hallmere", "HM32-5", LINE_OUT, year=2004)
AGAIN = visit("Norwell", "NV46-212", optical(), LINE_OUT, day="2026-02-03")
BOOK = [FIRST, SISTER, OTHER]
ASKED = [one.source for one in BOOK] + [Source("Norwell", "", year=2014), Source("Norwell", "NV55-219")]


@cache
def fixed() -> dict[str, Any]:
    """The strengths before any visit; not learned as the module is loaded, which makes each mutant slow."""
    return Evidence.learn([], today=TODAY).strengths()


def learned(*visits: Visit) -> Evidence:
    return Evidence.learn(visits, today=TODAY, strengths=fixed())


def counts(evidence: Evidence) -> dict[str, Any]:
    """All that is counted one by one: sets, visits by group, trials."""
    told: dict[str, Any] = json.loads(json.dumps(evidence.to_dict()))
    tally = {level: {key: n for key, n in some.items() if any(n)} for level, some in told["tally"].items()}
    return {"sets": told["sets"], "tally": tally, "tried": told["tried"]}


CHANGES = [
    (BOOK[:2], {OTHER: [OTHER]}, BOOK),  # a set never met before
    (BOOK, {SISTER: [SISTER, AGAIN]}, [*BOOK, AGAIN]),  # another visit
    ([*BOOK, AGAIN], {SISTER: [AGAIN]}, [FIRST, OTHER, AGAIN]),  # a visit withdrawn
    (BOOK, {OTHER: []}, BOOK[:2]),  # all visits of a set withdrawn
    (BOOK, {FIRST: [], SISTER: []}, [OTHER]),  # all of a make
    (BOOK, {AGAIN: [SISTER], OTHER: [OTHER]}, BOOK),  # nothing new
]


@pytest.mark.parametrize(("before", "change", "after"), CHANGES)
def test_what_is_counted_after_a_change_is_what_is_counted_from_the_start(
    before: list[Visit], change: dict[Visit, list[Visit]], after: list[Visit]
) -> None:
    old = learned(*before)
    kept = counts(old)
    new = old.renewed({set_of(one.source): visits for one, visits in change.items()}, today=TODAY)
    whole = learned(*after)
    assert counts(new) == counts(whole)
    assert counts(old) == kept, "the evidence that it began from stays as it was"
    # Wider groups change by the difference only: near in a large book, roughly in one of three sets.
    for source in ASKED:
        mine, other = new.expect(source), whole.expect(source)
        assert new.knows(source) == whole.knows(source)
        for signal in Signal:
            assert mine.has(signal) == pytest.approx(other.has(signal), abs=0.3)
        for output in (OPTICAL, LINE, ARC):
            one, two = new.chance(source, output), whole.chance(source, output)
            assert (one.p, one.dead) == pytest.approx((two.p, two.dead), abs=0.05)
            assert one.findings == two.findings
            assert new.effects(source, output) == pytest.approx(whole.effects(source, output), abs=0.05)


@pytest.mark.parametrize(("before", "change", "after"), CHANGES)
def test_what_evidence_was_asked_before_a_change_is_no_part_of_the_answer_after_it(
    before: list[Visit], change: dict[Visit, list[Visit]], after: list[Visit]
) -> None:
    silent, asked = learned(*before), learned(*before)
    for source in ASKED:
        asked.expect(source)
    sets = {set_of(one.source): visits for one, visits in change.items()}
    fresh, again = (old.renewed(sets, today=TODAY) for old in (silent, asked))
    for source in [*ASKED, *(one.source for one in after)]:
        assert again.expect(source) == fresh.expect(source)


def test_after_taking_everything_out_nothing_is_left_but_the_first_guess() -> None:
    empty = learned(*BOOK).renewed({set_of(one.source): [] for one in BOOK}, today=TODAY)
    assert (empty.visits, counts(empty)["tried"]) == (0, {})
    for source in ASKED:
        for output in (OPTICAL, LINE):
            assert empty.chance(source, output).p == pytest.approx(
                learned().chance(source, output).p, abs=1e-6
            )
        assert empty.expect(source).prior_share == pytest.approx(1)


def test_findings_of_a_jack_are_those_of_the_very_set_and_form() -> None:
    book = learned(*BOOK)
    assert [book.chance(one.source, OPTICAL).findings for one in BOOK] == [1, 1, 0]
    assert book.chance(FIRST.source, Output(OPTICAL.form, Signal.COAXIAL)).findings == 0
    assert book.chance(ASKED[-1], OPTICAL).findings == 0


def test_a_jack_that_was_silent_may_be_dead_and_one_that_sounded_is_not() -> None:
    book = learned(*BOOK)
    assert book.chance(SISTER.source, OPTICAL).dead > 0
    assert book.chance(FIRST.source, OPTICAL).dead == 0
    assert learned(*BOOK, AGAIN).chance(SISTER.source, OPTICAL).dead == 0


def test_a_set_that_the_book_knows_is_asked_with_its_year_and_kind() -> None:
    book = learned(visit("Norwell", "NV40-210", optical(), kind="receiver", display=None), OTHER)
    filled = book.filled(Source("norwell", "nv 40/210"))
    assert (filled.kind.value, filled.year, filled.display) == ("receiver", 2014, None)
    assert book.filled(Source("Norwell", "NV40-210", year=2015)).year == 2015
    assert book.filled(Source("Ostrel", "O1")) == Source("Ostrel", "O1")


def test_the_uses_of_the_outputs_of_a_panel_sum_to_one_and_two_at_once_are_the_rarest() -> None:
    uses = learned(*BOOK).uses(OTHER.source, (LINE, OPTICAL))
    assert sum(uses.values()) == pytest.approx(1)
    assert len(uses) == 4
    assert min(uses, key=lambda one: uses[one]) == {Signal.ANALOG_LINE, Signal.OPTICAL}
    assert learned(*BOOK).uses(OTHER.source, ()) == {frozenset(): 1.0}
