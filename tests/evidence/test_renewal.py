"""Evidence in which a few sets have changed; and failures that a setting put right."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import pytest

from kb.domain.visit import visit_from
from kb.domain.words import Signal
from kb.evidence import Evidence
from kb.evidence.groups import set_of
from tests.evidence.test_evidence import OPTICAL, TODAY

DEMO = Path(__file__).parents[2] / "data" / "demo" / "visits.jsonl"
VISITS = [visit_from(json.loads(line)) for line in DEMO.read_text("utf-8").splitlines()]


@cache
def whole_book():
    """Evidence of the demo book; nothing changes it."""
    return Evidence.learn(VISITS, today=TODAY)


def renewed(left_out):
    """Evidence of the demo book without some visits, and again with them, counted in afterwards."""
    strengths = whole_book().strengths()
    old = Evidence.learn([v for v in VISITS if v not in left_out], today=TODAY, strengths=strengths)
    kept = Evidence.from_dict(json.loads(json.dumps(old.to_dict())))
    keys = {set_of(v.source) for v in left_out}
    sets = {key: [v for v in VISITS if set_of(v.source) == key] for key in keys}
    return old, kept, kept.renewed(sets, today=TODAY)


@pytest.mark.parametrize("start", [0, 40, 100])
def test_a_few_changed_sets_counted_in_come_near_to_learning_all_anew(start):
    left_out = VISITS[::-1][start : start + 5]
    _, _, new = renewed(left_out)
    again = whole_book()
    for visit in left_out:
        mine, whole = new.expect(visit.source), again.expect(visit.source)
        for signal in Signal:
            assert mine.has(signal) == pytest.approx(whole.has(signal), abs=0.03)
        for output, chance in whole.works.items():
            if output in mine.works:
                assert mine.works[output].findings == chance.findings
                assert mine.works[output].p == pytest.approx(chance.p, abs=0.02)
        assert mine.dead.keys() == whole.dead.keys()
        assert [level.visits for level in mine.levels] == [level.visits for level in whole.levels]


def test_counting_a_set_in_leaves_the_evidence_it_began_from_as_it_was():
    left_out = VISITS[-3:]
    _, kept, _ = renewed(left_out)
    before = json.dumps(kept.to_dict(), sort_keys=True)
    kept.renewed({set_of(v.source): [v] for v in left_out}, today=TODAY)
    assert json.dumps(kept.to_dict(), sort_keys=True) == before


def test_a_set_whose_visits_are_all_withdrawn_is_a_stranger_again():
    one = VISITS[-1].source
    old = whole_book()
    gone = old.renewed({set_of(one): []}, today=TODAY)
    without = Evidence.learn(
        [v for v in VISITS if set_of(v.source) != set_of(one)], today=TODAY, strengths=old.strengths()
    )
    assert not gone.knows(one)
    mine, whole = gone.expect(one), without.expect(one)
    for signal in Signal:
        assert mine.has(signal) == pytest.approx(whole.has(signal), abs=0.05)


def test_a_set_never_met_before_is_believed_after_one_visit():
    strange = visit_from(
        {
            "date": "2026-03-03",
            "basis": "tested",
            "source": {"make": "Quillmere", "model": "QM40-1", "year": 2014, "display": "flat"},
            "jacks": [
                {"form": "scart", "marking": "SCART OUT", "direction": "output", "signal": "analog-line"},
                {"form": "hdmi", "marking": "HDMI 1"},
            ],
        }
    )
    old = whole_book()
    new = old.renewed({set_of(strange.source): [strange]}, today=TODAY)
    assert old.expect(strange.source).has(Signal.ANALOG_LINE) < 0.4
    assert new.expect(strange.source).has(Signal.ANALOG_LINE) > 0.6


def trial(day, outcome, setting="", marking="OPTICAL OUT", **more):
    return visit_from(
        {
            "date": day,
            "basis": "tested",
            "source": {"make": "Norwell", "model": "NV40-210", "year": 2014},
            "jacks": [
                {"form": "toslink", "marking": marking, "outcome": outcome, "setting": setting, **more},
                {"form": "hdmi", "marking": "HDMI 1"},
            ],
        }
    )


def works(*visits):
    evidence = Evidence.learn(visits, today=TODAY)
    return evidence.chance(visits[0].source, OPTICAL)


PCM = "sound menu, digital output: PCM"


def test_silence_that_a_setting_put_right_later_does_not_count_against_the_jack():
    cured = works(trial("2025-01-01", "silent"), trial("2025-02-01", "carried", PCM))
    clean = works(trial("2025-02-01", "carried", PCM))
    assert cured.p == pytest.approx(clean.p, abs=0.005)
    assert cured.findings == 2


@pytest.mark.parametrize(
    ("first", "later"),
    [
        (("2025-01-01", "silent", ""), ("2025-02-01", "carried", "")),  # nothing says what put it right
        (("2025-01-01", "silent", PCM), ("2025-02-01", "carried", PCM)),  # it was set already
        (
            ("2025-02-01", "silent", ""),
            ("2025-01-01", "carried", PCM),
        ),  # it was known, and failed all the same
        (("2025-01-01", "silent", ""), ("2025-02-01", "weak", PCM)),
    ],
)
def test_silence_counts_where_nothing_put_it_right(first, later):
    both = works(trial(*first), trial(*later))
    later_alone = works(trial(*later))
    assert both.p < later_alone.p - 0.01


def test_silence_at_a_jack_of_another_mark_is_not_put_right():
    other = works(
        trial("2025-01-01", "silent", marking="OPTICAL OUT 1"),
        trial("2025-02-01", "carried", PCM, marking="OPTICAL OUT 2"),
    )
    assert other.p < works(trial("2025-02-01", "carried", PCM)).p - 0.01


def test_a_jack_that_was_silent_and_then_set_in_the_same_visit_works():
    visit = trial("2025-02-01", "silent")
    again = trial("2025-02-01", "carried", PCM)
    both = visit_from(
        {
            "date": "2025-02-01",
            "basis": "tested",
            "source": {"make": "Norwell", "model": "NV40-210", "year": 2014},
            "jacks": [
                {"form": "toslink", "marking": "OPTICAL OUT", "outcome": "silent"},
                {"form": "toslink", "marking": "OPTICAL OUT", "outcome": "carried", "setting": PCM},
                {"form": "hdmi", "marking": "HDMI 1"},
            ],
        }
    )
    assert works(both).p == pytest.approx(works(again).p, abs=0.005)
    assert works(visit).p < works(both).p


def test_evidence_whose_trees_are_read_later_is_renewed_as_any_other():
    old = whole_book()
    kept = old.to_dict()
    read: list[str] = []

    def later(name):
        def values():
            read.append(name)
            return kept[name]

        return values

    lazy = Evidence.from_dict({**kept, **{name: later(name) for name in old.trees()}})
    assert read == []
    assert lazy.chance(VISITS[-1].source, OPTICAL) == old.chance(VISITS[-1].source, OPTICAL)
    assert read == ["works"]
    changed = {set_of(VISITS[-1].source): []}
    assert lazy.renewed(changed, today=TODAY).to_dict() == old.renewed(changed, today=TODAY).to_dict()
    assert lazy.to_dict() == kept
    assert set(read) == set(old.trees())
