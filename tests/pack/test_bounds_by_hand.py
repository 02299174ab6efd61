"""Compute the bounds of packing once more: slowly, from their formulas, or by hand."""

from __future__ import annotations

import itertools
import random
from math import prod

import pytest

from kb.pack.bounds import Assured, _alike, _cheapest, _family, _needed, _used_up, least_cost
from kb.pack.chances import Chances, _bits_of, _sparing
from kb.pack.solve import Need, Shortfalls, _Search, _take, cheapest
from kb.pack.tasks import Cost, Stock, Task, cost_of, packed

A, B, C = (1, 0, 0), (0, 1, 0), (0, 0, 1)


def tasks_of(seed: int, count: int, kinds: int = 3) -> list[Task]:
    """Jobs of four worlds with up to three ways each."""
    draw = random.Random(seed)
    made = []
    for _ in range(count):
        worlds = []
        for p in (0.4, 0.3, 0.2, 0.08):
            ways = {
                tuple(draw.choice((0, 0, 1, 2)) for _ in range(kinds)) for _ in range(draw.choice((1, 2, 3)))
            }
            worlds.append((p, tuple(sorted(way for way in ways if any(way)))))
        made.append(Task(tuple(worlds)))
    return made


# -- the chance -------------------------------------------------------------------------------------


def by_the_formula(chances: Chances, weigh: tuple[float, ...], stock: Stock) -> float:
    """The chance that every task has a way, less the chance of the union as Hunter (1976) bounds it."""

    def chosen(ways: list[Stock]) -> Stock | None:
        there = [way for way in ways if all(have or not n for n, have in zip(way, stock, strict=True))]
        price = [(sum(n * w for n, w in zip(way, weigh, strict=True)), way) for way in there]
        return min(price)[1] if price else None

    every = [
        [(p, chosen([chances.ways[task][n] for n in numbers])) for p, numbers in worlds]
        for task, worlds in enumerate(chances._worlds)
    ]
    reach = prod(sum(p for p, way in worlds if way) for worlds in every)
    if not reach:
        return 0.0
    kinds = range(len(stock))
    alone, both = [0.0 for _ in kinds], dict.fromkeys(itertools.combinations(kinds, 2), 0.0)
    for course in itertools.product(*[[one for one in worlds if one[1]] for worlds in every]):
        p = prod(p for p, _ in course) / reach
        need = [sum(way[k] for _, way in course if way) for k in kinds]
        short = [n > count for n, count in zip(need, stock, strict=True)]
        for k in kinds:
            alone[k] += p * short[k]
        for i, j in both:
            both[i, j] += p * (short[i] and short[j])
    # Only pairs that one way uses together count, and of those the tree with the greatest sum.
    together = {
        pair for worlds in every for _, way in worlds if way for pair in both if way[pair[0]] and way[pair[1]]
    }
    trees = [
        edges
        for size in range(len(stock))
        for edges in itertools.combinations(sorted(together), size)
        if not (size == 3 or (size == 2 and edges[0] == edges[1]))
    ]
    most = max(sum(both[pair] for pair in edges) for edges in trees)
    return reach * max(0.0, 1 - (sum(alone) - most))


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("weigh", [(1.0, 1.0, 1.0), (9.0, 4.0, 1.0)])
def test_the_assured_chance_is_that_of_the_union_of_all_shortages_with_the_best_tree_of_pairs(
    seed: int, weigh: tuple[float, ...]
) -> None:
    tasks, draw = tasks_of(seed, 3), random.Random(seed)
    chances = Chances(tasks, 3, weigh=weigh)
    for _ in range(12):
        stock = tuple(draw.randrange(6) for _ in range(3))
        assert chances.assured(stock) == pytest.approx(by_the_formula(chances, weigh, stock), abs=1e-4)


def test_pairs_are_left_out_if_the_chance_is_too_low_without_them() -> None:
    both = Task(((0.5, ((1, 1),)), (0.5, ((2, 2),))))
    sure = Assured([[(1, 1), (2, 2)]], [[(0.5, (0,)), (0.5, (1,))]], 2, (1.0, 1.0))
    assert sure.of((1, 1)) == pytest.approx(0.5), "both run out in the same world"
    assert sure.of((1, 1), wanted=0.4) == pytest.approx(0.5), "it may reach that"
    assert sure.of((1, 1), wanted=0.5) == pytest.approx(0.5), "just so"
    assert sure.of((1, 1), wanted=0.6) == 0.0, "neither item alone does"
    assert (sure.of((2, 2)), sure.of((0, 2))) == (1.0, 0.0)
    assert Chances([both], 2).of((1, 1)) == 0.5


# -- the cost ---------------------------------------------------------------------------------------


def test_the_cost_is_at_least_the_quantile_of_the_cheapest_ways() -> None:
    costs = [Cost(3.0), Cost(5.0), Cost(2.0, 1, 0.5)]
    task = Task(((0.5, (A, B)), (0.3, (B,)), (0.1, ((0, 1, 1),)), (0.1, ())))
    for target, least in [
        (0.4, 3.0),
        (0.5, 3.0),
        (0.51, 5.0),
        (0.8, 5.0),
        (0.81, 5.5),
        (0.9, 5.5),
        (0.91, 0.0),
    ]:
        assert _used_up([task], costs, target - 1e-9) == pytest.approx(least), target
    # Two such jobs: 6 in a quarter of the days, 8 in 30 of 100 more, then 8.5, 10, 10.5 and 11.
    for target, least in [
        (0.25, 6.0),
        (0.26, 8.0),
        (0.55, 8.0),
        (0.6, 8.5),
        (0.7, 10.0),
        (0.79, 10.5),
        (0.81, 11),
    ]:
        assert _used_up([task, task], costs, target - 1e-9) == pytest.approx(least), target


def test_an_item_without_which_nothing_works_is_needed_as_often_as_the_target_asks() -> None:
    """Of two jobs that each need a DAC or a cable: of each none is enough with 0.25, one with 0.75."""
    task, costs = Task(((0.5, (A,)), (0.5, (B,)))), [Cost(10.0), Cost(1.0), Cost(1.0)]
    single = [[0], [1], [2]]
    for target, least in [
        (0.0625, 0),
        (0.1, 1),
        (0.25, 2),
        (0.3, 11),
        (0.5625, 11),
        (0.75, 12),
        (0.8, 22),
        (1, 22),
    ]:
        assert _needed([task, task], costs, target - 1e-9, single) == pytest.approx(least), target
    never = Task((*task.worlds, (0.0, ((1, 1, 0),)), (0.0, ())))
    assert _needed([never, never], costs, 0.75 - 1e-9, single) == 12, "what never happens needs nothing"
    assert _used_up([never, never], costs, 0.75 - 1e-9) == _used_up([task, task], costs, 0.75 - 1e-9)
    assert _needed([task, task], costs, 1.01, single) == 0.0, "no stock reaches it"
    assert _needed([Task(((0.5, (A, B)), (0.5, ((1, 1, 0),))))], costs, 0.99, single) == 11.0
    assert _needed([Task(((1.0, (A, B)),))], costs, 0.99, single) == 0.0, "either will do"
    assert _needed([Task(((1.0, (A, B)),))], costs, 0.99, [[0, 1], [2]]) == 1.0, "one of the two, the cheaper"


def test_pieces_of_a_group_are_taken_cheapest_first() -> None:
    costs = [Cost(3.0, 1, 0.5), Cost(2.0, 2, 1.0), Cost(9.0)]
    assert _cheapest([0, 1], costs, 2) == [0.0, 0.5, 1.5, 2.5, 5.5]
    assert _cheapest([2], costs, 1) == [0.0, 9.0]


def test_items_that_do_for_each_other_in_nine_of_ten_worlds_count_as_one() -> None:
    def groups(share: float) -> list[list[int]]:
        return [list(some) for some in _alike([Task(((share, (A, B)), (1 - share, (A,)), (0.0, (C,))))], 3)]

    assert groups(1.0) == groups(0.95) == groups(0.9) == [[0, 1], [2]]
    # The second item is replaced wherever it is used, whatever the first is used for besides.
    assert groups(0.5) == [[0, 1], [2]]
    # Both are used in every world, and in one of ten both at once.
    both = [Task(((share, (A, B)), (1 - share, ((1, 1, 0),)))) for share in (0.9, 0.89)]
    assert [[list(some) for some in _alike([one], 3)] for one in both] == [[[0, 1], [2]], [[0], [1], [2]]]
    half = Task(((0.5, (A, B)), (0.5, (C,))))
    assert [list(some) for some in _alike([half], 3)] == [[0, 1], [2]], "wherever either is used"
    two = Task(((0.5, (A, B)), (0.25, (A,)), (0.25, (B,))))
    assert [list(some) for some in _alike([two], 3)] == [[0], [1], [2]]
    chain = Task(((0.5, (A, B)), (0.5, (B, C))))
    assert [list(some) for some in _alike([chain], 3)] == [[0, 1, 2]]


@pytest.mark.parametrize("seed", range(8))
def test_a_family_costs_what_the_cheapest_counts_cost_whose_chances_multiply_to_the_share(seed: int) -> None:
    """By trying all counts; the rounded logarithms of the search may cost up to one cell an item."""
    draw = random.Random(seed)
    musts = []
    for _ in range(3):
        odds = [draw.random() for _ in range(4)]
        musts.append(
            [(p / sum(odds), must) for p, must in zip(odds, ((0, 0), (1, 0), (0, 1), (2, 0)), strict=True)]
        )
    prices = [[0.0, 3.0, 7.0, 9.0, 14.0, 15.0, 19.0, 22.0, 30.0], [0.0, 4.0, 5.0, 11.0, 12.0]]

    def enough(k: int, count: int) -> float:
        return sum(
            prod(p for p, _ in course)
            for course in itertools.product(*musts)
            if sum(must[k] for _, must in course) <= count
        )

    for share in (0.3, 0.9):

        def least(part: float) -> float:
            return min(
                prices[0][a] + prices[1][b]
                for a in range(7)
                for b in range(5)
                if enough(0, a) * enough(1, b) >= part - 1e-12
            )

        slack = share ** (1 + 2 / 400)
        assert (
            least(share * share / slack) - 1e-9
            <= _family([0, 1], musts, prices, share)
            <= least(share) + 1e-9
        )
    assert _family([], musts, prices, 0.5) == 0.0


def test_the_bound_is_the_best_of_what_is_used_up_and_what_nothing_works_without() -> None:
    costs = [Cost(4.0), Cost(6.0), Cost(1.0)]
    either = Task(((1.0, (A, B)),))
    assert least_cost([either], costs, 0.9) == 4.0
    assert least_cost([either, Task(((1.0, ((0, 1, 1),)),))], costs, 0.9) == 11.0
    assert least_cost([Task(((0.5, (A,)),))], costs, 0.9) == 0.0, "out of reach"


# -- the search -------------------------------------------------------------------------------------


def test_a_share_is_taken_from_the_last_pieces_first() -> None:
    def left(share: float, first: int, end: int) -> list[float]:
        pieces = [3.0, 2.0, 1.0]
        _take(share, pieces, first, end)
        return pieces

    assert left(0.5, 0, 3) == [3.0, 2.0, 0.5]
    assert left(1.0, 0, 3) == [3.0, 2.0, 0.0]
    assert left(2.5, 0, 3) == [3.0, 0.5, 0.0]
    assert left(2.5, 0, 2) == [2.5, 0.0, 1.0]
    assert left(9.0, 1, 3) == [3.0, 0.0, 0.0]


def search(wanted: list[Stock], costs: tuple[Cost, ...], most: Stock) -> tuple[Shortfalls, list[Stock]]:
    """A search for a stock that holds one of those wanted, and what it looked at."""
    looked: list[Stock] = []

    def misses(stock: Stock) -> bool:
        looked.append(stock)
        return not any(all(a >= b for a, b in zip(stock, one, strict=True)) for one in wanted)

    return Shortfalls([misses], costs, most, lambda known: False), looked


COSTS = (Cost(5.0), Cost(3.0, 1, 0.5), Cost(2.0))


@pytest.mark.parametrize("seed", range(10))
def test_the_stock_that_covers_all_shortfalls_is_the_cheapest_that_is_enough(seed: int) -> None:
    draw = random.Random(seed)
    wanted = [tuple(draw.randrange(4) for _ in range(3)) for _ in range(3)]
    found, looked = search(wanted, COSTS, (3, 3, 3))
    best = min(cost_of(one, COSTS) for one in wanted)
    assert found.cheapest(1e9) == (pytest.approx(best), min(wanted, key=lambda one: cost_of(one, COSTS)))
    assert len(looked) == len(set(looked)) < 64, "none twice, and not all of them"
    assert search(wanted, COSTS, (3, 3, 3))[0].cheapest(best) == (best, None)
    assert search(wanted, COSTS, (3, 3, 3))[0].cheapest(best + 0.1)[1] is not None


def test_a_shortfall_is_as_large_as_it_can_be_cheap_items_first() -> None:
    found, _ = search([(2, 1, 0)], COSTS, (3, 3, 3))
    assert found._above((0, 0, 0)) == (Need(0, 2),)
    assert found._above((2, 0, 0)) == (Need(1, 1),)
    assert found._above((2, 1, 0)) is None
    other, _ = search([(2, 1, 0), (0, 3, 1)], COSTS, (3, 3, 3))
    assert other._above((0, 0, 0)) == (Need(1, 3), Need(0, 2))


def test_what_is_still_to_pay_is_shared_among_the_shortfalls() -> None:
    def ahead(*known: tuple[Need, ...], held: Stock = (0, 0, 0), most: Stock = (3, 3, 3)) -> object:
        found, _ = search([], COSTS, most)
        found._all = list(known)
        return found._ahead(held, most)

    a, b, c = Need(0, 1), Need(1, 2), Need(2, 2)
    assert ahead() == (0.0, [])
    assert ahead((a,)) == (5.0, [a])
    assert ahead((a, b)) == (3.5, [b, a]), "the cheaper of the two"
    assert ahead((a, b), (c,)) == (3.5 + 4.0, [c]), (
        "two shortfalls that share nothing; the dearer one is open"
    )
    assert ahead((a,), (a, c)) == (5.0, [a]), "the first pays for both"
    assert ahead((b,), (Need(1, 3),)) == (6.5, [Need(1, 3)]), "the greater count covers the smaller"
    assert ahead((a, b), held=(1, 0, 0)) == (0.0, []), "covered"
    assert ahead((a, b), held=(0, 1, 0)) == (3.0, [b, a]), "one of it is there"
    assert ahead((a, b), most=(0, 3, 3)) == (3.5, [b])
    assert ahead((a,), most=(0, 3, 3)) == (0.0, None), "no stock in this branch"


def test_a_tired_search_tells_how_far_it_came() -> None:
    asked: list[int] = []
    found, _ = search([(2, 1, 0)], COSTS, (3, 3, 3))
    found._tired = lambda known: len(asked) == 2 or bool(asked.append(known))
    bound, stock = found.cheapest(1e9)
    assert (bound <= cost_of((2, 1, 0), COSTS), stock) == (True, None)


def searching(tasks: list[Task], costs: tuple[Cost, ...], target: float) -> _Search:
    chances = Chances(tasks, len(costs), weigh=[cost.each for cost in costs])
    return _Search(tasks, chances, costs, target, 10**6)


def test_a_quick_start_packs_for_all_jobs_together_as_a_shop_keeps_its_shelf() -> None:
    """Two jobs that each need a DAC with 0.5 and else a cable: the cable comes first, it is cheaper."""
    task = Task(((0.5, (A,)), (0.5, (B,))))
    for target, stock in [(0.3, (1, 1, 0)), (0.6, (1, 2, 0)), (0.75, (1, 2, 0)), (0.95, (2, 2, 0))]:
        some = searching([task, task], (Cost(4.0), Cost(3.0), Cost(1.0)), target)
        some.pool()
        assert some.chances.of(some.best) >= target
        assert some.best_chance <= some.chances.of(some.best) + 1e-9
        assert cost_of(some.best, some.costs) == some.best_cost
        assert some.best == stock, target


def test_for_one_job_the_item_with_most_chance_for_its_cost_comes_first() -> None:
    task = Task(((0.5, (A,)), (0.3, (B,)), (0.2, (C,))))
    costs = (Cost(10.0), Cost(2.0), Cost(4.0))
    for target, stock in [(0.2, B), (0.3, B), (0.4, (1, 1, 0)), (0.8, (1, 1, 0)), (0.9, (1, 1, 1))]:
        assert searching([task], costs, target).grown((0, 0, 0)) == stock, target
    assert searching([task], costs, 0.5).grown(A) == A
    assert searching([task], costs, 1.1).grown((0, 0, 0)) == (1, 1, 1), "all there is"


def test_jobs_packed_apart_each_reach_their_part_of_the_target() -> None:
    sure, split = Task(((1.0, (A,)),)), Task(((0.9, (B,)), (0.1, (C,))))
    some = searching([sure, split], (Cost(4.0), Cost(3.0), Cost(1.0)), 0.8)
    assert some.apart() == ((1, 1, 0), pytest.approx(0.9))
    some = searching([sure, split], (Cost(4.0), Cost(3.0), Cost(1.0)), 0.95)
    assert some.apart() == ((1, 1, 1), pytest.approx(1.0))
    assert searching([split], (Cost(4.0), Cost(3.0), Cost(1.0)), 0.95).apart() == (
        (0, 1, 1),
        pytest.approx(1.0),
    )


def test_what_is_not_needed_is_left_out_and_a_cheaper_item_takes_the_place_of_another() -> None:
    either = Task(((1.0, (A, B)),))
    for swap, stock in [(False, (1, 0, 0)), (True, (0, 1, 0))]:
        some = searching([either], (Cost(4.0), Cost(3.0), Cost(1.0)), 0.9)
        some.best, some.best_cost, some.best_chance = (2, 0, 1), 9.0, 1.0
        some.trim(some.chances.of, swap=swap)
        assert (some.best, some.best_cost, some.best_chance) == (stock, cost_of(stock, some.costs), 1.0)


def test_a_bag_is_better_if_it_costs_less_or_as_much_with_fewer_pieces() -> None:
    some = searching([Task(((1.0, (A, B)),))], (Cost(4.0), Cost(2.0), Cost(2.0)), 0.9)
    some.best, some.best_cost = (0, 1, 1), 4.0
    some.take((1, 0, 0), 0.91)
    assert (some.best, some.best_cost, some.best_chance) == ((1, 0, 0), 4.0, 0.91)
    some.take((0, 1, 1), 1.0)
    assert some.best == (1, 0, 0), "as dear, with more pieces"
    some.take((0, 2, 0), 1.0)
    assert some.best == (1, 0, 0)
    some.take((0, 1, 0), 0.92)
    assert (some.best, some.best_cost) == ((0, 1, 0), 2.0)
    assert some.changed(1, None) == (0, 0, 0)
    assert some.changed(1, 2) == (0, 0, 1)


def test_a_proof_says_that_no_stock_costs_less_and_a_hurried_one_less_than_that() -> None:
    tasks = tasks_of(11, 2)
    whole = cheapest(tasks, COSTS, 0.3)
    assert (whole.optimal, whole.bound) == (True, whole.cost)
    said = cheapest(tasks, COSTS, 0.3, known_bound=whole.cost)
    assert (said.optimal, said.bound) == (True, whole.cost)
    assert not cheapest(tasks, COSTS, 0.3, known_bound=1.0).optimal
    assert cheapest(tasks, COSTS, 0.3, known_bound=1.0).bound == 1.0
    assert (
        cheapest(tasks, COSTS, 0.3, prove=False).optimal,
        cheapest(tasks, COSTS, 0.3, prove=False).bound,
    ) == (
        False,
        0.0,
    )


# -- which way is worth taking ------------------------------------------------------------------------


def test_the_short_cable_is_taken_where_both_do_and_the_long_one_does_everywhere() -> None:
    short, long = (1, 0), (0, 1)
    # Ways in their order: (0, 1) is bit 1, (1, 0) is bit 2. In the second world only the long one reaches.
    assert _sparing([[long, short]], [[(0, 1), (0,)]]) == [[(1, 0b10)]]
    # Where each has a world of its own, neither is spared.
    assert _sparing([[long, short]], [[(0, 1), (0,), (1,)]]) == [[]]
    # Where both do everywhere, the first item is used first.
    assert _sparing([[long, short]], [[(0, 1)]]) == [[(1, 0b10)]]
    assert _bits_of(0b1011) == [0, 1, 3]
    assert _bits_of(0) == []


def test_a_stock_is_clipped_to_what_later_jobs_can_use() -> None:
    chances = Chances([Task(((1.0, ((2, 0, 1),)),)), Task(((1.0, ((1, 3, 0),)),))], 3)
    assert chances.caps == [(3, 3, 1), (1, 3, 0), (0, 0, 0)]
    for held, clipped in [
        ((3, 3, 1), (1, 3, 0)),
        ((0, 2, 0), (0, 2, 0)),
        ((127, 127, 127), (1, 3, 0)),
        ((2, 3, 0), (1, 3, 0)),
    ]:
        assert chances._clipped(1, packed(held)) == packed(clipped)


def test_each_chance_is_worked_out_once() -> None:
    chances = Chances(tasks_of(2, 3), 3)
    first = chances.of((2, 2, 2))
    done = chances.work
    assert done > 0
    assert chances.of((2, 2, 2)) == first
    assert chances.work == done
    assert chances.each((2, 2, 2)) == chances.each((2, 2, 2))
    more = chances.work
    chances.alone(0, packed((2, 2, 2)))
    assert chances.work == more
