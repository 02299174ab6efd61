"""The cheapest stock, checked against printed optima, exhaustive enumeration and scipy's milp."""

from __future__ import annotations

import itertools
import random

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from kb.pack.bounds import least_cost
from kb.pack.chances import Chances
from kb.pack.solve import cheapest
from kb.pack.tasks import Cost, Task, cost_of, eased


def unit(k, kinds):
    return tuple(int(j == k) for j in range(kinds))


def knapsack_as_packing(sizes, values):
    """Each item alone wins its value: the cheapest stock that wins a value is the smallest knapsack."""
    kinds, total = len(sizes), sum(values)
    task = Task(tuple((value / total, (unit(k, kinds),)) for k, value in enumerate(values)))
    return [task], tuple(Cost(float(size)) for size in sizes), total


KNAPSACKS = {
    "SciPy tutorial, optimize, milp section": (
        [21, 11, 15, 9, 34, 25, 41, 52],
        [22, 12, 16, 10, 35, 26, 42, 53],
        100,
        105,
    ),
    "SCIP's own knapsack test": ([7, 2, 7, 5, 1, 3], [1, 1, 1, 1, 1, 1], 13, 4),
    "Burkardt, KNAPSACK_01 p01": (
        [23, 31, 29, 44, 53, 38, 63, 85, 89, 82],
        [92, 57, 49, 68, 60, 43, 67, 84, 87, 72],
        165,
        309,
    ),
}


@pytest.mark.parametrize("name", KNAPSACKS)
def test_a_knapsack_with_a_printed_optimum_is_packed_to_it(name):
    sizes, values, capacity, best = KNAPSACKS[name]
    tasks, costs, total = knapsack_as_packing(sizes, values)
    found = cheapest(tasks, costs, best / total)
    more = cheapest(tasks, costs, (best + 1) / total)
    assert found.optimal
    assert found.cost <= capacity < more.cost
    assert found.chance >= best / total - 1e-9


def cover_as_packing(elements, sets):
    """Every element is a world; each set that holds it is an item that does."""
    kinds = len(sets)
    worlds = [
        (1 / len(elements), tuple(unit(k, kinds) for k, some in enumerate(sets) if element in some))
        for element in elements
    ]
    return [Task(tuple(worlds))]


def test_the_greedy_trap_of_set_cover_does_not_catch_the_search():
    """Chvatal, Math. Oper. Res. 4 (1979) 233: greedy pays H_6 = 2.45, the optimum is the full set, 1.01."""
    sets = [{i} for i in range(1, 7)] + [set(range(1, 7))]
    costs = [Cost(1 / i) for i in range(1, 7)] + [Cost(1.01)]
    found = cheapest(cover_as_packing(range(1, 7), sets), costs, 1.0)
    assert found.cost == pytest.approx(1.01)
    assert found.optimal


def test_four_sets_are_covered_by_the_cheapest_two():
    found = cheapest(
        cover_as_packing(range(1, 6), [{1, 2, 3}, {2, 4}, {3, 4}, {4, 5}]),
        [Cost(c) for c in (5, 10, 3, 4)],
        1.0,
    )
    assert found.stock == (1, 0, 0, 1)
    assert found.cost == 9


def random_task(draw, kinds, ways, worlds):
    bundles = [tuple(int(draw.random() < 0.4) for _ in range(kinds)) for _ in range(ways)]
    bundles = [bundle for bundle in bundles if any(bundle)] or [unit(0, kinds)]
    chances = [draw.random() for _ in range(worlds)]
    scale = draw.uniform(0.9, 1.0) / sum(chances)
    return Task(
        tuple(
            (p * scale, tuple(draw.sample(bundles, min(len(bundles), draw.choice((1, 1, 2, 3))))))
            for p in chances
        )
    )


def by_milp(task, costs, target):
    """min cost x; a way is there when all its items are; a world is won by some way that is there."""
    kinds = len(costs)
    ways = sorted({way for _, some in task.worlds for way in some})
    size = kinds + len(ways) + len(task.worlds)
    rows, low = [], []

    def row(entries, least):
        line = np.zeros(size)
        for at, value in entries:
            line[at] += value
        rows.append(line)
        low.append(least)

    for number, way in enumerate(ways):
        for k, count in enumerate(way):
            if count:
                row([(k, 1), (kinds + number, -count)], 0)
    for number, (_, some) in enumerate(task.worlds):
        world = kinds + len(ways) + number
        row([(world, -1), *((kinds + ways.index(way), 1) for way in set(some))], 0)
    row([(kinds + len(ways) + n, p) for n, (p, _) in enumerate(task.worlds)], target)
    prices = np.concatenate([[cost.each for cost in costs], np.zeros(size - kinds)])
    answer = milp(
        prices,
        integrality=np.ones(size),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(np.array(rows), np.array(low), np.inf),
    )
    return answer.fun if answer.success else None


@pytest.mark.parametrize("seed", range(40))
def test_one_job_is_packed_as_cheaply_as_milp_finds(seed):
    draw = random.Random(seed)
    kinds = draw.choice((3, 5, 8))
    task = random_task(draw, kinds, 8, 7)
    costs = tuple(Cost(float(draw.randint(1, 12))) for _ in range(kinds))
    target = draw.uniform(0.5, 0.95)
    expected = by_milp(task, costs, target)
    found = cheapest([task], costs, target)
    if expected is None:
        assert found.chance < target
    else:
        assert found.optimal
        assert found.cost == pytest.approx(expected)


def by_the_book(tasks, stock):
    """The recursion as written, without any of the shortcuts."""
    if not tasks:
        return 1.0
    value = 0.0
    for p, ways in tasks[0].worlds:
        left = [
            by_the_book(tasks[1:], tuple(a - b for a, b in zip(stock, way, strict=True)))
            for way in ways
            if all(a <= b for a, b in zip(way, stock, strict=True))
        ]
        value += p * max(left, default=0.0)
    return value


@pytest.mark.parametrize("seed", range(25))
def test_a_day_is_packed_as_cheaply_as_trying_every_stock_finds(seed):
    draw = random.Random(1000 + seed)
    jobs, kinds = draw.choice((2, 3)), draw.choice((2, 3))
    tasks = [random_task(draw, kinds, 4, 3) for _ in range(jobs)]
    costs = tuple(Cost(float(draw.randint(1, 9)), draw.choice((0, 1)), 0.5) for _ in range(kinds))
    target = 0.8
    every = itertools.product(range(jobs + 1), repeat=kinds)
    good = [cost_of(stock, costs) for stock in every if by_the_book(tasks, stock) >= target - 1e-9]
    found = cheapest(tasks, costs, target)
    if good:
        assert found.optimal
        assert found.cost == pytest.approx(min(good))
        assert by_the_book(tasks, found.stock) == pytest.approx(found.chance)
    else:
        assert found.chance < target


def day_by_milp(tasks, costs, target):
    """A day on which nothing is chosen: each world has one way. All courses of the day are written out; one
    that counts as a success has to find in the stock what its ways need together."""
    kinds = len(costs)
    courses = list(itertools.product(*(task.worlds for task in tasks)))
    most = sum(max(max(ways[0]) for _, ways in task.worlds) for task in tasks)
    rows, low = [[0.0] * kinds + [float(np.prod([p for p, _ in course])) for course in courses]], [target]
    for number, course in enumerate(courses):
        need = np.sum([ways[0] for _, ways in course], axis=0)
        for k in range(kinds):
            line = np.zeros(kinds + len(courses))
            line[k], line[kinds + number] = 1, -need[k]
            rows.append(line)
            low.append(0)
    answer = milp(
        [cost.each for cost in costs] + [0.0] * len(courses),
        integrality=np.ones(kinds + len(courses)),
        bounds=Bounds(0, [most] * kinds + [1] * len(courses)),
        constraints=LinearConstraint(np.array(rows), np.array(low), np.inf),
    )
    return answer.fun if answer.success else None


@pytest.mark.parametrize("seed", range(12))
def test_a_day_is_packed_as_cheaply_as_milp_finds(seed):
    draw = random.Random(6000 + seed)
    kinds = draw.choice((3, 5))
    tasks = [
        Task(tuple((p, ways[:1]) for p, ways in random_task(draw, kinds, 5, 3).worlds)) for _ in range(4)
    ]
    costs = tuple(Cost(float(draw.randint(1, 12))) for _ in range(kinds))
    target = draw.uniform(0.4, 0.7)
    expected = day_by_milp(tasks, costs, target)
    found = cheapest(tasks, costs, target, work=10**6)
    if expected is None:
        assert found.chance < target
    else:
        assert found.optimal
        assert found.cost == pytest.approx(expected)


def with_longer_cables(task):
    """In every world a longer cable, the last item, does for the first."""

    def longer(ways):
        return tuple({way for some in ways for way in ((*some, 0), (0, *some[1:], some[0]))})

    return Task(tuple((p, longer(ways)) for p, ways in task.worlds))


@pytest.mark.parametrize("seed", range(15))
def test_nothing_is_lost_by_taking_the_short_cable_where_it_does(seed):
    draw = random.Random(7000 + seed)
    tasks = [with_longer_cables(random_task(draw, 2, 4, 3)) for _ in range(3)]
    chances = Chances(tasks, 3)
    for stock in itertools.product(range(3), repeat=3):
        assert chances.of(stock) == pytest.approx(by_the_book(tasks, stock))


@pytest.mark.parametrize("rare", [0.1, 0.3, 1.0])
@pytest.mark.parametrize("seed", range(6))
def test_a_day_made_easier_is_never_less_sure(seed, rare):
    draw = random.Random(8000 + seed)
    tasks = [random_task(draw, 3, 4, 4) for _ in range(3)]
    easier = [eased(task, rare) for task in tasks]
    for stock in itertools.product(range(3), repeat=3):
        assert by_the_book(easier, stock) >= by_the_book(tasks, stock) - 1e-12


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("work", [50, 300, 1_500])
def test_a_bound_told_before_the_search_has_ended_is_none_too_high(seed, work):
    draw = random.Random(9000 + seed)
    tasks = [random_task(draw, 4, 5, 4) for _ in range(4)]
    costs = tuple(Cost(float(draw.randint(1, 12)), draw.choice((0, 2)), 0.25) for _ in range(4))
    every = itertools.product(range(5), repeat=4)
    chances = Chances(tasks, 4, each=10**6)
    least = min((cost_of(stock, costs) for stock in every if chances.of(stock) >= 0.7), default=None)
    found = cheapest(tasks, costs, 0.7, work=work)
    if least is not None:
        assert found.bound <= least + 1e-9 <= found.cost + 2e-9
        assert chances.of(found.stock) >= 0.7 - 1e-9


@pytest.mark.parametrize("seed", range(15))
def test_bounds_hold_what_they_promise(seed):
    draw = random.Random(2000 + seed)
    tasks = [random_task(draw, 4, 5, 4) for _ in range(4)]
    chances = Chances(tasks, 4)
    for _ in range(10):
        stock = tuple(draw.randint(0, 4) for _ in range(4))
        exact = by_the_book(tasks, stock)
        assert chances.of(stock) == pytest.approx(exact)
        assert chances.assured(stock) <= exact + 1e-12
        assert chances.at_most(stock) >= exact - 1e-12


@pytest.mark.parametrize("seed", range(5))
def test_a_search_that_is_cut_short_still_tells_the_truth(seed):
    draw = random.Random(3000 + seed)
    tasks = [random_task(draw, 5, 6, 4) for _ in range(3)]
    costs = tuple(Cost(float(draw.randint(1, 9))) for _ in range(5))
    whole = cheapest(tasks, costs, 0.7)
    hurried = cheapest(tasks, costs, 0.7, work=0, chances=Chances(tasks, 5, each=0))
    assert hurried.bound <= whole.cost + 1e-9
    assert hurried.cost >= whole.cost - 1e-9
    assert by_the_book(tasks, hurried.stock) >= hurried.chance - 1e-9


@pytest.mark.parametrize("seed", range(60))
def test_no_stock_that_is_sure_enough_costs_less_than_the_bound(seed):
    """The bound of a day, against every stock there is."""
    draw = random.Random(4000 + seed)
    jobs, kinds = draw.choice((2, 3, 4)), draw.choice((2, 3))
    tasks = [random_task(draw, kinds, 4, 4) for _ in range(jobs)]
    costs = tuple(Cost(draw.choice((1.5, 4.0, 9.25)), draw.choice((0, 0, 2)), 0.3) for _ in range(kinds))
    target = draw.choice((0.4, 0.6, 0.8, 0.9))
    chances = Chances(tasks, kinds, each=10**6)
    good = [
        cost_of(stock, costs)
        for stock in itertools.product(range(jobs + 1), repeat=kinds)
        if chances.of(stock) >= target
    ]
    if good:
        assert least_cost(tasks, costs, target) <= min(good) + 1e-9


def test_the_bound_is_no_empty_promise():
    """Over random days it lies at three quarters of the least cost and more, on average."""
    shares = []
    for seed in range(40):
        draw = random.Random(5000 + seed)
        tasks = [random_task(draw, 3, 4, 4) for _ in range(4)]
        costs = tuple(Cost(float(draw.randint(2, 9))) for _ in range(3))
        found = cheapest(tasks, costs, 0.7, work=10**6, chances=Chances(tasks, 3, each=10**6))
        if found.optimal:
            shares.append(least_cost(tasks, costs, 0.7) / found.cost)
    assert len(shares) > 10
    assert sum(shares) / len(shares) > 0.75
