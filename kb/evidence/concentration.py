"""Fit the concentration of a level: how many findings a wider group's frequencies are worth."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from math import exp, log
from typing import Final

from kb.evidence.numerics import best, log_rising

RANGE: Final = (log(0.02), log(2000.0))  #: of ln strength
SPREAD: Final = 1.5  #: standard deviation of ln strength in its prior: a factor of 4.5 either way


def strength_of(
    groups: Iterable[Iterable[tuple[float, float]]], *, centre: float = 2.0, spread: float | None = SPREAD
) -> float:
    """The strength s under which groups of counts are likeliest: the a+b of a beta-binomial, and its kin.

    ``groups``: for each circle the (count, chance in the wider circle) of each symbol seen. Maximises

        sum over groups of [ sum of ln rising(s p, n) - ln rising(s, total) ] - (ln s/centre)^2 / (2 spread^2)

    over ln s; ``spread`` None leaves the prior out: plain maximum likelihood.
    """
    gathered: dict[tuple[float, float], float] = defaultdict(float)
    totals: dict[float, int] = defaultdict(int)
    for group in groups:
        total = 0.0
        for n, p in group:
            gathered[n, max(p, 1e-12)] += 1
            total += n
        totals[total] += 1

    def score(ln_s: float) -> float:
        s = exp(ln_s)
        value = sum(times * log_rising(s * p, n) for (n, p), times in gathered.items())
        value -= sum(times * log_rising(s, total) for total, times in totals.items())
        return value - ((ln_s - log(centre)) / spread) ** 2 / 2 if spread else value

    return exp(best(score, *RANGE))
