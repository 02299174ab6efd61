"""Check each part of packing by hand: counts, jobs of a file, what may be found, and the sentences."""

from __future__ import annotations

import itertools
import random
from dataclasses import replace
from typing import Any

import pytest

from kb.base.errors import BadInput
from kb.catalogue import GIVEN_UP
from kb.domain.visit import Source
from kb.domain.words import DriverInput, Form, Signal, Speakers
from kb.evidence import Chance, Expectation, Likely, Output
from kb.pack import answer_text, caveats, day_from, gain_text, hindrance_text, pack, packing, risk_text
from kb.pack.bounds import least_cost
from kb.pack.chances import Chances
from kb.pack.jobs import Day, Job, Material, job_from, jobs_of, materials_from, read_stock, together
from kb.pack.packing import Packing, goal_for
from kb.pack.plan_values import Answer, Ask, JobPlan, Plan, Risk, Useless
from kb.pack.questions import _alone, _drawn_together, _Weighing
from kb.pack.scenarios import Case, Finder, Live, Ways, _answered, _uses, dead_here
from kb.pack.solve import cheapest
from kb.pack.tasks import MOST, Cost, Stock, Task, cost_of, eased, hardened, least_ways, swap_of
from kb.pack.wording import at_least, below, called, chance_text, expected_text, listed

OPTICAL = Output(Form.TOSLINK, Signal.OPTICAL)
LINE = Output(Form.RCA_PAIR, Signal.ANALOG_LINE)
ARC = Output(Form.HDMI, Signal.ARC)
PHONES = Output(Form.JACK_35, Signal.HEADPHONE)
KNOWN = Ways.of_day((), ())


# -- counts ----------------------------------------------------------------------------------------


def test_what_is_at_hand_is_taken_first_at_its_own_cost() -> None:
    cable = Cost(8.0, 2, 0.5)
    assert [cable.of(n) for n in range(5)] == [0, 0.5, 1.0, 9.0, 17.0]
    assert cost_of((3, 0, 1), [cable, cable, Cost(2.0)]) == 11.0


def smaller(one: Stock, other: Stock) -> bool:
    return all(a <= b for a, b in zip(one, other, strict=True))


@pytest.mark.parametrize("seed", range(5))
def test_of_several_ways_those_stay_that_hold_no_other(seed: int) -> None:
    draw = random.Random(seed)
    ways = [tuple(draw.choice((0, 0, 1, 2)) for _ in range(4)) for _ in range(8)]
    least = {one for one in ways if not any(smaller(other, one) and other != one for other in ways)}
    assert set(least_ways(ways)) == least
    assert least_ways(ways) == tuple(sorted(least))
    assert least_ways([ways[0], ways[0]]) == (ways[0],)
    assert least_ways([]) == ()


def test_two_ways_are_a_swap_if_each_has_one_piece_more_than_the_other() -> None:
    assert swap_of((0, 1), (1, 0)) == (1, 0)
    assert swap_of((1, 0), (0, 1)) == (0, 1)
    for one, other in [
        ((2, 0), (0, 1)),
        ((1, 0), (0, 2)),
        ((1, 1), (0, 0)),
        ((1, 1, 0), (0, 0, 1)),
        ((1,), (1,)),
    ]:
        assert swap_of(one, other) is None, (one, other)


def by_trying(tasks: list[Task], stock: Stock, first: int = 0) -> float:
    """The chance by the formula of the module, without any short cut."""
    if first == len(tasks):
        return 1.0
    return sum(
        p
        * max(
            (
                by_trying(tasks, tuple(a - b for a, b in zip(stock, way, strict=True)), first + 1)
                for way in ways
                if smaller(way, stock)
            ),
            default=0.0,
        )
        for p, ways in tasks[first].worlds
    )


def tasks_of(seed: int, count: int = 3, kinds: int = 4) -> list[Task]:
    draw = random.Random(seed)
    made = []
    for _ in range(count):
        worlds = []
        for _ in range(4):
            some = {
                tuple(draw.choice((0, 0, 0, 1, 1, 2)) for _ in range(kinds))
                for _ in range(draw.choice((1, 2, 3)))
            }
            worlds.append((draw.choice((0.1, 0.2, 0.24)), tuple(way for way in some if any(way))))
        made.append(Task(tuple(worlds)))
    return made


@pytest.mark.parametrize("seed", range(12))
def test_the_chance_of_a_bag_is_that_of_the_best_choice_at_each_job(seed: int) -> None:
    tasks, draw = tasks_of(seed), random.Random(seed)
    chances = Chances(tasks, 4)
    for _ in range(8):
        stock = tuple(draw.randrange(5) for _ in range(4))
        true = by_trying(tasks, stock)
        assert chances.of(stock) == pytest.approx(true)
        assert chances.from_task(1, stock) == pytest.approx(by_trying(tasks, stock, 1))
        assert chances.assured(stock) <= true + 1e-9 <= chances.at_most(stock) + 2e-9
        alone = [by_trying([task], stock) for task in tasks]
        assert chances.each(stock) == pytest.approx(alone)
        assert chances.at_most(stock) == pytest.approx(alone[0] * alone[1] * alone[2])
        assert chances.misses(stock, true + 1e-6)
        assert not chances.misses(stock, true - 1e-6)
    assert chances.exact


def test_no_bag_helps_more_than_one_that_holds_all_that_the_jobs_can_use() -> None:
    tasks = tasks_of(3)
    chances = Chances(tasks, 4)
    most = [
        tuple(max((w[k] for _, ways in task.worlds for w in least_ways(ways)), default=0) for k in range(4))
        for task in tasks
    ]
    assert chances.caps[0] == tuple(map(sum, zip(*most, strict=True)))
    assert chances.caps[1:] == [tuple(map(sum, zip(*most[1:], strict=True))), most[2], (0,) * 4]
    assert chances.of((MOST,) * 4) == chances.of(chances.caps[0])


def test_a_chance_that_takes_too_long_is_a_lower_bound_and_says_so() -> None:
    tasks = tasks_of(5, count=6)
    quick, whole = Chances(tasks, 4, each=1), Chances(tasks, 4)
    stock = (3, 3, 3, 3)
    assert quick.of(stock) <= whole.of(stock)
    assert (quick.exact, whole.exact) == (False, True)
    assert quick.misses(stock, quick.at_most(stock) + 0.01), "even each job by itself does not reach it"
    assert not quick.misses(stock, quick.at_most(stock) - 0.01), "nobody knows"


def test_the_work_of_a_chance_grows_with_the_jobs_that_it_looks_ahead_and_is_done_once() -> None:
    done = []
    for count in (1, 3, 5):
        chances = Chances(tasks_of(5, count=count), 4)
        chances.at_most((3, 3, 3, 3))
        apart = chances.work
        chances.of((3, 3, 3, 3))
        done.append(chances.work - apart)
        chances.of((3, 3, 3, 3))
        assert chances.work - apart == done[-1]
    assert done == sorted(done)
    assert done[2] > done[1] >= 3


@pytest.mark.parametrize("rare", [0.15, 0.3, 1.0])
def test_a_day_made_easier_is_no_less_sure_and_one_made_harder_no_more(rare: float) -> None:
    for seed in range(6):
        tasks = tasks_of(seed)
        easier = [eased(task, rare) for task in tasks]
        worlds = [
            {ways: sum(p for p, same in task.worlds if same == ways) for _, ways in task.worlds}
            for task in tasks
        ]
        harder = [Task(tuple((p, ways) for ways, p in hardened(some, rare).items())) for some in worlds]
        for task, soft, hard in zip(tasks, easier, harder, strict=True):
            total = sum(p for p, _ in task.worlds)
            assert sum(p for p, _ in soft.worlds) == pytest.approx(total) == sum(p for p, _ in hard.worlds)
            assert len(soft.worlds) <= len(task.worlds) >= len(hard.worlds)
        for stock in itertools.product(range(0, 4, 2), repeat=4):
            assert (
                by_trying(easier, stock) >= by_trying(tasks, stock) - 1e-9 >= by_trying(harder, stock) - 2e-9
            )


def test_a_rare_world_is_merged_into_the_likeliest_that_is_harder() -> None:
    a, b, c = (1, 0, 0), (0, 1, 0), (0, 0, 1)
    worlds = {(a, b): 0.01, (a,): 0.3, (b,): 0.4, (c,): 0.29}
    assert hardened(worlds, 0.02) == pytest.approx({(a,): 0.3, (b,): 0.41, (c,): 0.29})
    assert hardened(worlds, 0.01) == worlds, "not rarer than that"
    assert hardened({(a,): 0.01, (b, c): 0.9}, 0.5) == {(a,): 0.01, (b, c): 0.9}, "no other is harder"


@pytest.mark.parametrize("target", [0.5, 0.9, 0.95])
def test_where_the_target_is_out_of_reach_the_list_may_miss_a_tenth_of_its_risk(target: float) -> None:
    assert goal_for(target, 1.0) == target
    assert goal_for(target, 0.4) == pytest.approx(0.4 * (1 - 0.1 * (1 - target)))


COSTS = (Cost(3.0, 1, 0.75), Cost(5.0), Cost(2.0), Cost(4.0, 2, 1.0))


@pytest.mark.parametrize(("seed", "count"), [(0, 1), (1, 1), (4, 2), (5, 2), (3, 3), (2, 4)])
def test_the_cheapest_bag_is_the_cheapest_of_all_bags(seed: int, count: int) -> None:
    tasks = tasks_of(seed, count)
    caps = Chances(tasks, 4).caps[0]
    bags = sorted(itertools.product(*(range(cap + 1) for cap in caps)), key=lambda bag: cost_of(bag, COSTS))
    chances = Chances(tasks, 4)
    most = chances.of(caps)
    for share in (0.5, 0.95):
        target = share * most
        best = next(cost_of(bag, COSTS) for bag in bags if chances.of(bag) >= target - 1e-9)
        found = cheapest(tasks, COSTS, target)
        assert found.optimal
        assert (found.cost, found.bound) == pytest.approx((best, best))
        assert found.cost == cost_of(found.stock, COSTS)
        assert found.chance == pytest.approx(chances.of(found.stock))
        assert found.chance >= target - 1e-9
        assert least_cost(tasks, COSTS, target) <= best + 1e-9
        # Cut short, or without a proof, it is still a bag that does, and the bound is still one.
        for hurried in (cheapest(tasks, COSTS, target, work=5), cheapest(tasks, COSTS, target, prove=False)):
            assert hurried.bound <= best + 1e-9 <= hurried.cost + 2e-9
            assert chances.of(hurried.stock) >= target - 1e-9
    beyond = cheapest(tasks, COSTS, most + 0.01)
    assert (beyond.stock, beyond.chance, beyond.optimal) == (caps, pytest.approx(most), False)
    assert cheapest(tasks, COSTS, 0.0).cost == 0


# -- jobs ------------------------------------------------------------------------------------------


def test_of_several_loops_wire_adds_up_and_a_tool_serves_all() -> None:
    wire, drill = Material("wire", 20), Material("drill", 1, tool=True)
    two = replace(drill, count=2)
    assert together([(wire, drill), (replace(wire, count=5), two), (drill,)]) == (
        replace(wire, count=25),
        two,
    )
    assert together([]) == ()
    assert materials_from([{"item": "wire", "count": 20}]) == (wire,)


def test_a_job_says_what_nobody_has_to_ask_about() -> None:
    plain = job_from({"inputs": ["line-3.5"]})
    assert plain == Job(Source("", ""), (DriverInput.LINE_35,))
    assert (plain.length_m, plain.speakers_needed, plain.speakers_asked, plain.taken) == (
        1.5,
        True,
        False,
        None,
    )
    free = job_from(
        {"inputs": ["line-3.5"], "speakers": "free", "taken": ["optical"], "length_m": 4, "job": "J1"}
    )
    assert (free.speakers_needed, free.speakers_asked, free.name, free.length_m) == (False, True, "J1", 4)
    assert free.taken == {Signal.OPTICAL}
    needed = job_from({"inputs": ["line-3.5"], "speakers": "needed", "free": ["optical"], "id": "a"})
    assert (needed.speakers_needed, needed.speakers_asked, needed.free, needed.id) == (
        True,
        True,
        {Signal.OPTICAL},
        "a",
    )


def test_the_wire_of_a_job_with_two_sets_is_carried_once() -> None:
    from kb.domain.job import job_from as kept

    job = kept({"sets": [{"make": "A"}, {"make": "B"}], "materials": [{"item": "wire", "count": 20}]})
    first, second = jobs_of(job, [DriverInput.MIC])
    assert ([one.item for one in first.materials], second.materials) == (["wire"], ())
    assert first.inputs == second.inputs == (DriverInput.MIC,)
    assert (first.source.make, second.source.make) == ("A", "B")
    with pytest.raises(BadInput, match="job, inputs"):
        jobs_of(job)


def test_a_day_holds_stock_prices_and_what_is_done() -> None:
    one = {"inputs": ["line-3.5"]}
    day = day_from({"jobs": [one, one], "have": {"DAC": 500}, "prices": {"DAC": 0.5}, "done": [one]})
    assert (len(day.jobs), day.have, day.prices, len(day.done)) == (2, {"DAC": 500}, {"DAC": 0.5}, 1)
    assert day_from([one]) == Day(day_from({"jobs": [one]}).jobs)
    for wrong, said in [
        ({"have": {"DAC": 501}}, "have, DAC.*1 to 500"),
        ({"prices": {"DAC": 1_000_001}}, "prices, DAC"),
        ({"done": [7]}, "done, job 1"),
        ({"haves": {}}, "unknown field"),
    ]:
        with pytest.raises(BadInput, match=said):
            day_from({"jobs": [one], **wrong})
    assert read_stock({"DAC": 1}, "van") == {"DAC": 1}


def test_a_job_is_called_by_its_set_as_far_as_known() -> None:
    def title(**facts: str) -> str:
        return job_from({"inputs": ["mic"], **facts}).title

    assert (title(), title(make="Norwell"), title(make="Norwell", model="N1")) == (
        "",
        "Norwell",
        "Norwell N1",
    )


# -- what may be found -----------------------------------------------------------------------------


def expecting(shapes: dict[tuple[Output, ...], float], **more: Any) -> Expectation:
    outputs = {output for shape in shapes for output in shape}
    stays = {Speakers.STAY_ON: 1.0, Speakers.MUTE: 0.0, Speakers.MUTE_UNLESS_SET: 0.0}
    facts = {
        "source": Source("Norwell", "N1"),
        "shapes": tuple(Likely(shape, p) for shape, p in shapes.items()),
        "other": 0.0,
        "speakers": dict.fromkeys(outputs, stays),
        "works": {output: Chance(0.9, 0.8, 1.0, 0, 0.0) for output in outputs},
        "taken": {shape: {frozenset(): 1.0} for shape in shapes},
        "levels": (),
        "prior_share": 1.0,
    }
    return Expectation(**{**facts, **more})


JOB = job_from({"inputs": ["line-3.5"]})


def test_an_answer_leaves_the_panels_that_fit_it_with_the_same_chances_among_them() -> None:
    with_line, without = Case(0.3, frozenset(), (LINE, OPTICAL)), Case(0.2, frozenset(), (OPTICAL,))
    bare = Case(0.1, frozenset(), ())
    unlike = Case(0.4, frozenset({Live(LINE, False)}), None)
    cases = [with_line, without, bare, unlike]
    assert _answered(cases, [(Signal.ANALOG_LINE, True)]) == [
        with_line._replace(p=pytest.approx(0.3 / 0.7)), unlike._replace(p=pytest.approx(0.4 / 0.7))
    ]  # fmt: skip
    assert [case.panel for case in _answered(cases, [(Signal.ANALOG_LINE, False)])] == [(OPTICAL,), ()]
    kept = _answered(cases, [(Signal.ANALOG_LINE, False), (Signal.OPTICAL, True)])
    assert kept == [without._replace(p=1.0)]
    assert _answered([bare], [(Signal.OPTICAL, True)]) == []


def test_what_somebody_said_of_use_settles_it_and_the_rest_keeps_its_chances() -> None:
    shape, optical, line = (LINE, OPTICAL), frozenset({Signal.OPTICAL}), frozenset({Signal.ANALOG_LINE})
    expected = expecting({shape: 1.0}, taken={shape: {frozenset(): 0.5, optical: 0.3, line: 0.2}})
    assert _uses(JOB, shape, expected) == {frozenset(): 0.5, optical: 0.3, line: 0.2}
    told = replace(JOB, taken=frozenset({Signal.OPTICAL, Signal.COAXIAL}))
    assert _uses(told, shape, expected) == {optical: 1.0}
    assert _uses(replace(JOB, free=optical), shape, expected) == pytest.approx(
        {frozenset(): 0.5 / 0.7, line: 0.2 / 0.7}
    )
    only = expecting({shape: 1.0}, taken={shape: {optical: 1.0}})
    assert _uses(replace(JOB, free=optical), shape, only) == {frozenset(): 1.0}


def test_an_output_is_dead_here_only_by_its_own_trials() -> None:
    def dead(p: float, findings: int, dead: float = 0.0) -> float:
        works = {LINE: Chance(p, p, p, findings, dead)}
        return dead_here(LINE, expecting({(LINE,): 1.0}, works=works, dead={LINE: dead} if dead else {}))

    assert dead(0.3, 0) == 0
    assert dead(0.3, 1) == pytest.approx(0.7)
    assert dead(0.5, 1) == 0
    assert dead(0.9, 3, dead=0.2) == 0.2
    assert dead(0.9, 3, dead=0.99) == dead(0.9, 3, dead=GIVEN_UP) == 1
    assert dead(0.9, 3, dead=0.999 * GIVEN_UP) == 0.999 * GIVEN_UP


def test_the_worlds_of_a_job_sum_to_one_with_what_nobody_has_recorded() -> None:
    shapes = {(LINE,): 0.6, (OPTICAL,): 0.3, (ARC,): 0.004, (): 0.046}
    expected = expecting(shapes, other=0.05)
    cases = Finder(KNOWN).cases(JOB, expected)
    assert sum(case.p for case in cases) == pytest.approx(1)
    unlisted = [case for case in cases if case.panel is None]
    assert sum(case.p for case in unlisted) == pytest.approx(0.05)
    assert [sorted(case.live) for case in unlisted] == [[Live(ARC, False)], []], "as rare panels are"


def test_an_output_that_silences_needed_speakers_is_heard_only_where_it_leaves_them_on() -> None:
    some = {Speakers.STAY_ON: 0.5, Speakers.MUTE: 0.3, Speakers.MUTE_UNLESS_SET: 0.2}
    expected = expecting({(LINE,): 1.0}, speakers={LINE: some})
    finder = Finder(KNOWN)
    assert finder.heard(JOB, LINE, False, expected) == pytest.approx(0.7)
    assert finder.heard(replace(JOB, speakers_needed=False), LINE, False, expected) == 1
    found = {case.live: case.p for case in finder.cases(JOB, expected)}
    assert found == pytest.approx({frozenset({Live(LINE, False)}): 0.7, frozenset(): 0.3})


def test_a_run_takes_the_next_size_of_cable_or_one_that_another_job_needs_and_is_hardly_longer() -> None:
    def sizes(*runs: float) -> list[float]:
        ways = Ways.of_day([replace(JOB, length_m=run) for run in runs], ())
        return [ways.size(run) for run in runs]

    known = sorted(KNOWN._analog)
    assert sizes(1.5) == [min(size for size in known if size >= 1.5)]
    assert sizes(known[0], known[-1]) == [known[0], known[-1]]
    near = [(a, b) for a, b in itertools.pairwise(known) if b - a <= 1]
    assert all(sizes(a, b) == [b, b] for a, b in near)
    far = [(a, b) for a, b in itertools.pairwise(known) if b - a > 1]
    assert all(sizes(a, b) == [a, b] for a, b in far)
    assert near
    assert far
    assert sizes(500.0) == [500.0], "no cable is so long"


def test_another_piece_of_what_is_in_the_bag_is_counted_with_it() -> None:
    made = Packing(day_from([{"inputs": ["line-3.5"]}]), lambda _: expecting({(OPTICAL,): 1.0}), 0.95, KNOWN)
    one = made.items[0]
    stock = tuple(int(item == one) for item in made.items)
    assert made.with_more(stock, (one,)) == tuple(2 * int(item == one) for item in made.items)


def considered(p: float, *outputs: Output, target: float = 0.95) -> set[str]:
    """The items that are considered for a line output, or with chance ``p`` for these outputs instead."""
    expected = expecting({(LINE,): 1 - p, outputs: p})
    return set(Packing(day_from([{"inputs": ["line-3.5"]}]), lambda _: expected, target, KNOWN).items)


def test_what_one_set_in_five_hundred_needs_is_not_considered() -> None:
    assert "ARC extractor" in considered(0.0021, ARC)
    assert "ARC extractor" not in considered(0.0019, ARC)


def test_of_two_ways_that_replace_each_other_one_is_left_out_if_hardly_any_set_needs_them() -> None:
    scart = Output(Form.SCART, Signal.ANALOG_LINE)
    both = {"SCART to RCA pair adapter", "ARC extractor"}
    assert both <= considered(0.031, scart, ARC)
    assert len(both & considered(0.029, scart, ARC)) == 1
    # Also if nothing at all may be missed: what is left does as much as both.
    assert len(both & considered(0.029, scart, ARC, target=1.0)) == 1


def test_the_certainty_of_a_day_whose_rare_worlds_are_merged_is_not_called_exact(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    expected = expecting({(LINE,): 0.6, (ARC,): 0.4})

    def exact() -> bool:
        return Packing(day_from([{"inputs": ["line-3.5"]}] * 2), lambda _: expected, 0.95, KNOWN).plan().exact

    assert exact()
    monkeypatch.setattr(packing, "LOOKED_THROUGH", 1)
    assert exact(), "a longer day with few worlds is searched, too"
    monkeypatch.setattr(packing, "PLAIN", 3)
    assert not exact()


def test_an_answer_on_the_phone_costs_and_saves_what_the_list_without_the_rest_does() -> None:
    expected = expecting({(LINE,): 0.2, (OPTICAL,): 0.5, (ARC,): 0.3})
    costs = {LINE: 5.0, OPTICAL: 31.0, ARC: 54.0}  # each alone; together the same cable serves all: 80
    for jobs in (1, 2):
        day = day_from([{"inputs": ["line-3.5"]}] * jobs)
        asked = {one.about: one for one in pack(day, lambda _: expected).ask}
        assert list(asked) == [ARC, OPTICAL, LINE], "the one that saves most first"
        one = asked[ARC]
        assert one.yes is not None
        assert one.no is not None
        assert (one.yes.p, one.no.p) == pytest.approx((0.3, 0.7))
        assert (one.yes.cost, one.no.cost) == (costs[ARC], costs[OPTICAL]), "line needs no more than optical"
        assert (one.yes.certainty, one.no.certainty) == pytest.approx((1, 1))
        assert one.saves == pytest.approx(jobs * (80 - 0.3 * 54 - 0.7 * 31))
        assert one.share == pytest.approx((80 - 0.3 * 54 - 0.7 * 31) / 80)
        assert one.items == pytest.approx(5 - 3)
        assert one.jobs == tuple(range(1, jobs + 1))
        assert (one.yes.fewer, one.no.more) == (("DAC", "optical cable 2 m"), ())


def test_a_photo_saves_what_the_panels_that_it_may_show_need_less() -> None:
    """Each job by itself has to be surer than 97%, so it carries the converter that 3% need."""
    expected = expecting({(LINE,): 0.97, (OPTICAL,): 0.03})
    [photo] = pack(day_from([{"inputs": ["line-3.5"]}] * 2), lambda _: expected).ask
    assert (photo.code, photo.about, photo.jobs, photo.yes) == ("photo", None, (1, 2), None)
    assert photo.saves == pytest.approx(2 * 0.97 * (31 - 5))
    assert photo.share == pytest.approx(0.97 * (31 - 5) / 31)
    assert photo.items == pytest.approx(0.97 * (3 - 1))


def test_a_photo_is_weighed_by_the_twelve_likeliest_panels_that_it_may_show() -> None:
    every = [some for n in (1, 2, 3) for some in itertools.combinations((ARC, LINE, OPTICAL, PHONES), n)]
    expected = expecting({shape: 0.08 if n < 12 else 0.04 for n, shape in enumerate(every[:13])})
    day = Packing(day_from([{"inputs": ["line-3.5"]}]), lambda _: expected, 0.95, KNOWN)
    (bare,) = day.bare
    weighing = _Weighing(day, (1,), bare, 0.95, _alone(day, bare, bare.cases, 0.95))
    needed = [weighing.answer(1.0, [case]).cost for case in bare.cases]
    saved = [max(0.0, weighing.now.cost - cost) for cost in needed]
    assert [case.p for case in bare.cases] == pytest.approx([0.08] * 12 + [0.04])
    assert saved[12] > 0
    assert weighing.photo().saves == pytest.approx(0.08 * sum(saved[:12]))


# -- sentences -------------------------------------------------------------------------------------


def job_plan(reachable: float = 1.0, **more: Any) -> JobPlan:
    facts = {"risks": (), "prior_share": 0.0, "if_free": None, "sockets": 1} | more
    return JobPlan(JOB, Source("Norwell", "N1"), 0.9, reachable, 0.9, (), (), **facts)


def plan(*jobs: JobPlan, **more: Any) -> Plan:
    facts = {"items": (), "certainty": 0.96, "target": 0.95, "reachable": 0.97, "cost": 20.0, "bound": 20.0}
    facts |= {"optimal": True, "exact": True, "next": None}
    return Plan(jobs=jobs or (job_plan(),), **{**facts, **more})


NONE = Risk(0.3, (), ())


def test_the_jobs_that_keep_the_target_are_the_worst_ones_with_a_risk_that_no_item_removes() -> None:
    live = Risk(0.3, (LINE,), None)
    jobs = [
        job_plan(p, risks=(risk,))
        for p, risk in [(0.9, NONE), (0.5, NONE), (0.6, live), (0.999, NONE), (0.7, NONE), (0.8, NONE)]
    ]
    assert plan(*jobs, certainty=0.2).hindered == (2, 5, 6)
    assert plan(*jobs, certainty=0.95).hindered == ()
    assert plan(certainty=0.95 - 1e-10).reached
    assert not plan(certainty=0.9499).reached
    assert job_plan(risks=(live, NONE)).hindrance == NONE
    assert job_plan(risks=(live,)).hindrance is None


def test_a_lower_bound_is_rounded_down_and_a_chance_below_a_limit_reads_so() -> None:
    said = ["at least 1%", "at least 0.9%", "at least 1%", "at least 99%"]
    assert [at_least(p) for p in (0.01, 0.0099, 0.0129, 0.9999)] == said
    assert [below(p, 0.95) for p in (0.949, 0.9501, 0.95)] == ["just below 95%", "95%", "95%"]


def test_an_output_is_called_with_its_form_where_that_needs_an_adapter() -> None:
    assert called(LINE) == "an analog line output"
    assert "(3.5 mm" in called(Output(Form.JACK_35, Signal.ANALOG_LINE))
    assert called(PHONES) == "a headphone jack"
    assert listed((LINE, OPTICAL, ARC)) == "an analog line output, an optical jack and an HDMI ARC socket"
    assert listed((LINE, LINE)) == "an analog line output"
    assert expected_text(Likely((), 0.1)) == "no usable output"
    assert expected_text(Likely((LINE,), 0.1)) == "an analog line output"


@pytest.mark.parametrize(
    ("risk", "said"),
    [
        (Risk(0.1, (LINE,), None), "only an analog line output"),
        (
            Risk(0.1, (LINE,), None, (Signal.OPTICAL, Signal.COAXIAL)),
            "only an analog line output; in use by something else: ",
        ),
        (Risk(0.1, (), None), "a panel unlike any known one"),
        (NONE, "no usable output at all"),
        (Risk(0.1, (), (LINE,)), "only an analog line output"),
        (
            Risk(0.1, (), (LINE,), why=(Useless.TAKEN, Useless.FAILS)),
            "only an analog line output, in use by something else or known not to work",
        ),
    ],
)
def test_a_risk_names_what_would_be_found_and_why_it_is_of_no_use(risk: Risk, said: str) -> None:
    text = risk_text(risk)
    assert text == said if not risk.taken else text.startswith(said)


def test_what_keeps_a_job_uncertain_is_said_with_what_would_help() -> None:
    def said(**more: Any) -> str:
        return hindrance_text(plan(job_plan(**more)), 1)

    assert said(risks=(NONE,)) == "no usable output at all (30%)"
    assert said(risks=(NONE,), if_free=0.9) == (
        "no usable output at all (30%); if nobody needs its speakers, 90% is possible"
    )
    assert said() == "too little is known of the set"
    assert (
        said(if_free=0.9) == "too little is known of the set; if nobody needs its speakers, 90% is possible"
    )


def test_the_headline_says_for_how_many_jobs_and_whether_it_is_a_bound() -> None:
    assert chance_text(plan()) == "96% chance that the job connects on the first visit"
    assert (
        chance_text(plan(job_plan(), job_plan())) == "96% chance that every job connects on the first visit"
    )
    assert chance_text(plan(exact=False)).startswith("At least 96% chance")


def test_what_is_to_be_known_of_a_list_is_said_and_nothing_else() -> None:
    assert list(caveats(plan())) == []
    assert ["3 outlets" in one for one in caveats(plan(job_plan(sockets=2), job_plan(sockets=3)))] == [True]
    assert ["common practice" in one for one in caveats(plan(job_plan(prior_share=1.0)))] == [True]
    assert list(caveats(plan(job_plan(prior_share=1.0), job_plan()))) == []
    assert ["up to 25% less" in one for one in caveats(plan(optimal=False, bound=15.0))] == [True]
    assert list(caveats(plan(optimal=False, bound=19.99))) == []
    assert list(caveats(plan(optimal=False, cost=0.0, bound=0.0))) == []
    short = list(caveats(plan(job_plan(0.5, risks=(NONE,)), certainty=0.5, reachable=0.5)))
    assert short == [
        "95% is not possible. Even one of everything gives 50%; this list gives 50%.",
        "What prevents more: no usable output at all (30%).",
    ]
    both = list(caveats(plan(job_plan(0.5, risks=(NONE,)), job_plan(), certainty=0.5, reachable=0.5)))
    assert both[1] == "What prevents more, job 1: no usable output at all (30%)."


def test_what_an_answer_is_worth_is_said_in_items_if_it_saves_any() -> None:
    ask = Ask((1,), "has", LINE, 5.0, 0.25)
    assert gain_text(ask, plan()) == "An answer saves 25% of the cost for this job."
    assert gain_text(replace(ask, items=0.1), plan()).endswith(": 0.1 fewer items on average.")
    assert gain_text(replace(ask, items=0.09), plan()) == gain_text(ask, plan())
    both = gain_text(replace(ask, items=1.5, jobs=(1, 2)), plan())
    assert both.endswith("for these jobs: at job 1, 1.5 fewer items on average.")
    speakers = Ask((1,), "speakers", None, 0.0, 0.0, lifts=0.4)
    assert gain_text(speakers, plan(job_plan(0.5))) == "If nobody does, 90% is possible there instead of 50%."


def test_an_answer_says_what_changes_or_the_list_itself_if_that_is_shorter() -> None:
    def said(items: tuple[str, ...], fewer: tuple[str, ...] = (), more: tuple[str, ...] = ()) -> str:
        return answer_text(Answer(0.5, items, 1.0, 1.0, fewer, more))

    assert said(("DAC",)) == "the list stays the same"
    assert said(("DAC",), (), ("DAC",)) == "also take DAC"
    assert said(("DAC",), ("ladder",), ("DAC",)) == "leave ladder; also take DAC"
    assert said(("DAC",), ("ladder",) * 3) == "leave 3 x ladder"
    assert said(("DAC",), ("ladder",) * 4) == "take only DAC"
    assert said((), ("ladder",) * 4) == "take nothing: no item helps there"
    assert said(("DAC",) * 4, ("ladder",) * 4) == "leave 4 x ladder"


def test_a_question_of_several_jobs_saves_the_sum_and_its_share_of_the_sum_of_their_costs() -> None:
    # 2 of 8 and 6 of 12; the answers are those of the job that saves most, which is named first
    asks = [
        Ask((1, 4), "photo", None, 2.0, 2 / 8),
        Ask((3,), "photo", None, 6.0, 6 / 12),
        Ask((2,), "photo", None, 1.0, 1 / 10),
        Ask((1,), "speakers", None, 0.0, 0.5),
    ]
    photo, speakers = _drawn_together([*asks[:3], replace(asks[3], saves=1.0)])
    assert (photo.jobs, photo.job, photo.saves) == ((3, 1, 2, 4), 3, 9.0)
    assert photo.share == pytest.approx(9 / 30)
    assert (speakers.jobs, speakers.share) == ((1,), 0.5)
