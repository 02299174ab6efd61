"""Is the question that is proposed the best one, and what keeps a target out of reach? By trying all."""

from __future__ import annotations

import random
from itertools import product

import pytest

from kb.catalogue import catalogue
from kb.domain.words import Speakers
from kb.evidence import Outlet
from kb.pack import day_from, gain_text, hindrance_text, pack, question_text, to_json
from kb.pack.scenarios import Ways
from tests.pack.test_what_to_carry import ARC, HEADPHONE, LINE, OPTICAL, expecting, packed

OUTPUTS = (OPTICAL, LINE, HEADPHONE, ARC)


def cheapest_by_trying(panels, bundles, goal):
    """The cost of the cheapest items that connect panels of these chances in a share ``goal``."""
    items = sorted({item for some in bundles.values() for way in some for item in way})
    most = [max(way.count(item) for some in bundles.values() for way in some) for item in items]
    best = float("inf")
    for counts in product(*(range(n + 1) for n in most)):
        have = dict(zip(items, counts, strict=True))
        won = sum(
            p
            for panel, p in panels.items()
            if any(all(way.count(i) <= have[i] for i in way) for output in panel for way in bundles[output])
        )
        if won >= goal - 1e-9:
            best = min(best, sum(catalogue().item(item).price * n for item, n in have.items()))
    return best


@pytest.mark.parametrize("seed", range(12))
def test_the_first_question_is_the_one_that_saves_most_by_trying_all(seed):
    draw = random.Random(seed)
    shapes = {}
    while len(shapes) < 4:
        shapes[tuple(sorted(draw.sample(OUTPUTS, draw.choice((1, 1, 2)))))] = draw.uniform(0.3, 1)
    total = sum(shapes.values())
    shapes = {shape: p / total for shape, p in shapes.items()}
    day = day_from([{"inputs": ["line-3.5"], "taken": []}])
    ways = Ways.of_day(day.jobs, ())
    bundles = {output: ways.of(day.jobs[0], Outlet(output, Speakers.STAY_ON)) for output in OUTPUTS}
    target = 0.95
    now = cheapest_by_trying(shapes, bundles, target)
    saved = {}
    for output in OUTPUTS:
        p = sum(q for shape, q in shapes.items() if output in shape)
        if not 0.04 <= p <= 0.96:
            continue
        after = 0.0
        for chance, there in ((p, True), (1 - p, False)):
            panels = {shape: q / chance for shape, q in shapes.items() if (output in shape) is there}
            after += chance * cheapest_by_trying(panels, bundles, target)
        saved[output] = now - after
    plan = pack(day, lambda _: expecting(shapes), target=target)
    assert plan.cost == pytest.approx(now)
    plain = [ask for ask in plan.ask if ask.about is not None]
    best = max(saved.values())
    if plain:
        assert plain[0].saves == pytest.approx(best, abs=1e-6)
        assert saved[plain[0].about] == pytest.approx(best, abs=1e-6)
    elif plan.ask:
        assert plan.ask[0].saves >= 1.5 * best  # a photo, where it tells so much more
    else:
        assert best < 0.02 * now


def test_a_set_that_goes_silent_is_told_as_what_keeps_the_target_out_of_reach():
    plan = packed(expecting({(HEADPHONE,): 0.9, (LINE,): 0.1}, mutes=[HEADPHONE]))
    assert plan.hindered == (1,)
    assert hindrance_text(plan, 1) == (
        "only a headphone jack, which silences the speakers (90%); "
        "if nobody needs its speakers, over 99% is possible"
    )


def test_whether_anybody_needs_the_speakers_is_asked_first_where_they_are_the_trouble():
    plan = packed(expecting({(HEADPHONE,): 0.9, (LINE,): 0.1}, mutes=[HEADPHONE]))
    assert question_text(plan.ask[0]) == "Does anybody need the set's own speakers while the loop is used?"
    assert gain_text(plan.ask[0], plan) == "If nobody does, over 99% is possible there instead of 10%."
    assert to_json(plan)["ask"][0]["lifts"] == pytest.approx(0.9)


@pytest.mark.parametrize(("share", "asked"), [(0.1, True), (0.09, False)])
def test_the_speakers_are_asked_about_from_one_silenced_set_in_ten_on(share, asked):
    plan = packed(expecting({(HEADPHONE,): share, (LINE,): 1 - share}, mutes=[HEADPHONE]), target=0.99)
    assert any(one.code == "speakers" for one in plan.ask) is asked
    assert plan.jobs[0].if_free == (pytest.approx(1) if asked else None)


def test_where_the_target_is_reached_nothing_keeps_it():
    plan = packed(expecting({(LINE,): 1.0}))
    assert plan.hindered == ()
    assert to_json(plan)["hindered"] == []


def test_of_a_day_the_jobs_that_keep_the_target_are_named_the_worst_first():
    sure, silent = expecting({(LINE,): 1.0}), expecting({(HEADPHONE,): 1.0}, mutes=[HEADPHONE])
    none = expecting({(): 0.3, (LINE,): 0.7})
    jobs = [{"make": make, "inputs": ["line-3.5"]} for make in ("Sure", "None", "Silent")]
    by_make = {"Sure": sure, "None": none, "Silent": silent}
    plan = pack(day_from(jobs), lambda source: by_make[source.make])
    assert plan.hindered == (3, 2)
    assert hindrance_text(plan, 2) == "no usable output at all (30%)"


def test_the_gain_of_a_question_is_told_in_items_too():
    plan = packed(expecting({(LINE,): 0.5, (OPTICAL,): 0.5}))
    assert plan.ask[0].items == pytest.approx(1.0)  # DAC and optical cable, half of the time
    assert gain_text(plan.ask[0], plan).endswith("1.0 fewer items on average.")
