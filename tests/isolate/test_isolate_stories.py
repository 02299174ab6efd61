"""Does the guide reach the right fault in homes that were written down apart from its own numbers?

The homes and what is seen in them are in ``stories.py`` (common practice); they know nothing of the model's
chances. Means over all of them are printed by ``scripts/measure_isolate.py --stories``.
"""

from __future__ import annotations

import pytest
from isolate_trial import Choice, greedy, in_order, shuffled

from kb.base.messages import template
from kb.book.faults import load_model
from kb.isolate import State
from kb.isolate import wording as says
from tests.isolate.stories import SEEN, STORIES, Story, begin, mend_in_vain, misreadings, tell

MODEL = load_model()


def remembering(choose: Choice) -> Choice:
    """The same choice, thought out once for each state: stories share many."""
    known: dict[tuple[object, ...], str | None] = {}

    def chosen(state: State) -> str | None:
        key = (state.complaint, state.path, state.without, state.mended_faults, frozenset(state.answers))
        if key not in known:
            known[key] = choose(state)
        return known[key]

    return chosen


GUIDE = remembering(greedy)


def test_what_is_seen_is_written_down_for_every_test_of_every_complaint():
    for complaint, seen in SEEN.items():
        tests = {test.id: test for test in MODEL.tests_for(complaint)}
        assert set(seen) == set(tests)
        for name, (usual, at) in seen.items():
            assert {usual, *at.values()} <= set(tests[name].answers)
            assert set(at) <= set(MODEL.faults)


@pytest.mark.parametrize("story", STORIES, ids=lambda story: story.name)
def test_the_guide_ends_at_what_is_wrong_or_says_what_is_left(story: Story):
    told = tell(story, begin(story, MODEL), GUIDE)
    assert told.found
    assert told.state.done
    said = says.verdict(told.state)
    assert MODEL.faults[story.fault].says in said
    if not (told.state.settled or told.state.gone):
        assert said.startswith(template("isolate/verdict/no-test").partition("{")[0])
        then = template("isolate/verdict/then").partition("{")[0]
        assert then in said or told.state.likely[1][1] < 0.1


def rivals(story: Story) -> dict[str, Choice]:
    begun = begin(story, MODEL)
    return {
        "along the chain": in_order([test.id for test in begun.open_tests]),
        "cheapest first": in_order([t.id for t in sorted(begun.open_tests, key=lambda test: test.minutes)]),
        "at random": shuffled(begun, len(story.name)),
    }


def test_over_all_homes_the_guide_takes_fewer_tests_and_minutes_than_fixed_orders():
    own = [tell(story, begin(story, MODEL), GUIDE) for story in STORIES]
    for name in rivals(STORIES[0]):
        theirs = [tell(story, begin(story, MODEL), rivals(story)[name]) for story in STORIES]
        assert sum(one.minutes for one in own) < sum(one.minutes for one in theirs), name
        assert sum(one.tests for one in own) < sum(one.tests for one in theirs), name
        assert sum(one.found for one in own) >= sum(one.found for one in theirs), name


def test_one_misread_answer_mostly_costs_time_and_not_the_fault():
    """Most misreadings change nothing at the end; of the rest most are put right by mending in vain.

    A plug that is taken to be in the wrong socket is moved at once: that costs a minute, in vain.
    """
    outcomes = []
    for story in STORIES:
        told = tell(story, begin(story, MODEL), GUIDE)
        for test, taken in [*misreadings(told)][::2]:  # every other one, for the time it takes
            wrong = tell(story, begin(story, MODEL), GUIDE, {test: taken})
            outcomes.append((wrong.found, mend_in_vain(wrong, GUIDE).found))
    at_once, in_the_end = (sum(column) / len(outcomes) for column in zip(*outcomes, strict=True))
    assert len(outcomes) > 150
    assert at_once > 0.7
    assert in_the_end > 0.88


def test_a_driver_without_a_signal_light_is_no_evidence_of_a_silent_source():
    begun = begin(STORIES[0], MODEL)
    told = begun.answer("driver-lights", "plain")
    for fault in ("wire-broken", "aid-programme", "bitstream", "cap-on-plug"):
        assert told.odds[fault] / begun.odds[fault] == pytest.approx(1.1, abs=0.1)


def test_once_it_is_good_nothing_more_is_asked():
    state = begin(STORIES[0], MODEL).answer("swap-cable", "good")
    assert state.gone
    assert not state.settled
    assert state.next_test is None
    assert says.verdict(state).startswith(template("isolate/verdict/good").partition("{")[0])
    assert not begin(STORIES[0], MODEL).answer("player-into-line", "good").gone  # that is the phone's sound


def test_a_microphone_s_plug_is_not_tried_with_headphones():
    story = next(story for story in STORIES if story.fault == "microphone-off")
    assert "headphones-at-end" not in {test.id for test in begin(story, MODEL).open_tests}


def test_nobody_is_told_to_unplug_a_medical_device():
    assert "medical device" in MODEL.tests["chair-devices"].caution
