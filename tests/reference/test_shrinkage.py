"""Borrowing from neighbours, checked against published examples and general-purpose libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special, stats

from kb.evidence.numerics import beta_cdf, beta_quantile, digamma, expected_tables, log_rising, strength_of
from kb.evidence.shrinkage import Tree

#: Hits in the first 45 at bats of 18 players, and their averages over the rest of the season, in the order of
#: the table: Efron & Morris, JASA 70 (1975) 311-319, p. 313.
HITS = [18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7]
REST = [
    *(0.346, 0.298, 0.276, 0.222, 0.273, 0.270, 0.263, 0.210, 0.269),
    *(0.230, 0.264, 0.226, 0.303, 0.264, 0.256, 0.285, 0.316, 0.200),
]
#: Tumours among rats of 71 groups; the last is the current one: Tarone (1982), as in Gelman et al., Bayesian
#: Data Analysis, 3rd ed., section 5.1.
RATS = [
    tuple(map(int, pair.split("/")))
    for pair in """
    0/20 0/20 0/20 0/20 0/20 0/20 0/20 0/19 0/19 0/19 0/19 0/18 0/18 0/17 1/20 1/20 1/20 1/20 1/19 1/19
    1/18 1/18 2/25 2/24 2/23 2/20 2/20 2/20 2/20 2/20 2/20 1/10 5/49 2/19 5/46 3/27 2/17 7/49 7/47 3/20
    3/20 2/13 9/48 10/50 4/20 4/20 4/20 4/20 4/20 4/20 4/20 10/48 4/19 4/19 4/19 5/22 11/46 12/49 5/20 5/20
    6/23 5/19 6/22 6/20 6/20 6/20 16/52 15/47 15/46 9/24 4/14""".split()
]


def groups_of(pairs, p):
    return [[(float(y), p), (float(n - y), 1 - p)] for y, n in pairs]


def one_level(strength, base):
    return Tree(("group",), lambda _, s: base if s == "yes" else 1 - base, strengths={"group": strength})


def test_the_rat_groups_are_as_alike_as_the_published_likelihood_says():
    """Maximum likelihood over all 71 groups: alpha 2.34161, beta 14.11481, mean .142292 (BDA3 data)."""
    found = strength_of(groups_of(RATS, 0.142292), spread=None)
    assert found == pytest.approx(2.34161 + 14.11481, rel=1e-3)


def test_the_current_rat_group_is_shrunk_as_printed():
    """BDA3, section 5.1: with the moment estimates (1.3561, 8.6151) 4 of 14 becomes .223."""
    tree = one_level(1.3561 + 8.6151, 1.3561 / 9.9712)
    tree.seen["group"]["current"] = {"yes": 4.0, "no": 10.0}
    assert tree.p([("group", "current")], "yes") == pytest.approx(0.2234, abs=5e-5)


def test_the_batters_are_as_alike_as_the_beta_binomial_likelihood_says():
    """a + b = 793.23 at mean .265433; nearly flat there, so the tolerance is wide (scipy's betabinom)."""
    found = strength_of(groups_of([(h, 45) for h in HITS], 0.265433), spread=None)
    assert found == pytest.approx(793.23, rel=0.02)

    def likelihood(s):
        return stats.betabinom.logpmf(HITS, 45, 0.265433 * s, (1 - 0.265433) * s).sum()

    assert likelihood(found) == pytest.approx(likelihood(793.23), abs=1e-4)


def test_shrunk_batters_are_three_times_nearer_to_the_rest_of_their_season():
    """Raw averages miss by .0753 in squares, James and Stein's by .0213 (1977 form): ours does as well."""
    mean = sum(HITS) / (18 * 45)
    tree = one_level(strength_of(groups_of([(h, 45) for h in HITS], mean), spread=None), mean)
    shrunk = []
    for hits in HITS:
        tree.seen["group"]["batter"] = {"yes": float(hits), "no": 45.0 - hits}
        shrunk.append(tree.p([("group", "batter")], "yes"))
    raw = sum((h / 45 - r) ** 2 for h, r in zip(HITS, REST, strict=True))
    ours = sum((p - r) ** 2 for p, r in zip(shrunk, REST, strict=True))
    assert raw == pytest.approx(0.07532, abs=1e-5)
    assert ours < raw / 3


@given(st.floats(0.05, 50), st.floats(0.05, 50), st.floats(0.001, 0.999))
def test_beta_chances_and_quantiles_are_those_of_scipy(a, b, x):
    assert beta_cdf(x, a, b) == pytest.approx(special.betainc(a, b, x), abs=1e-10)
    assert (
        beta_cdf(beta_quantile(x, a, b), a, b) == pytest.approx(x, abs=1e-4)
        or min(stats.beta.ppf(x, a, b), 1 - stats.beta.ppf(x, a, b)) < 1e-8
    )


@given(st.floats(1e-6, 1e4))
def test_digamma_is_that_of_scipy(x):
    assert digamma(x) == pytest.approx(special.digamma(x), rel=1e-10, abs=1e-9)


@given(st.floats(0.01, 100), st.integers(1, 60))
def test_the_rising_factorial_is_that_of_scipy_for_whole_findings(a, n):
    assert log_rising(a, n) == pytest.approx(math.log(special.poch(a, n)), rel=1e-9, abs=1e-9)


def test_the_likelihood_of_a_circle_is_scipys_dirichlet_multinomial():
    counts, p, s = np.array([3, 0, 2]), np.array([0.5, 0.2, 0.3]), 4.0
    ours = sum(log_rising(s * q, n) for q, n in zip(p, counts, strict=True) if n) - log_rising(s, 5)
    ways = special.gammaln(6) - special.gammaln(counts + 1).sum()
    assert ours + ways == pytest.approx(stats.dirichlet_multinomial.logpmf(counts, s * p, 5))


def test_the_expected_tables_are_those_of_a_simulated_restaurant():
    random, a, n, runs = np.random.default_rng(7), 1.7, 12, 20_000
    new = random.random((runs, n)) < a / (a + np.arange(n))
    tables = new.sum(axis=1)
    assert expected_tables(a, n) == pytest.approx(tables.mean(), abs=4 * tables.std() / math.sqrt(runs))
