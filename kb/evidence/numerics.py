"""Compute the functions that counting evidence needs, and find a maximum.

>>> round(beta_quantile(0.5, 2, 2), 6)
0.5
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from math import exp, inf, lgamma, log, log1p, sqrt
from typing import Final, TypeVar

T = TypeVar("T")
_TINY = 1e-300


def sampled(some: Sequence[T], most: int) -> Sequence[T]:
    """Return an even sample, of fewer than twice ``most``.

    >>> sampled([1, 2, 3, 4, 5, 6, 7], 3), sampled([1, 2, 3, 4, 5], 3)
    ([1, 3, 5, 7], [1, 2, 3, 4, 5])
    """
    return some[:: max(1, len(some) // most)]


def digamma(x: float) -> float:
    """Return the derivative of ln Gamma for x > 0; absolute error below 1e-10.

    Recurrence up to 6, then the asymptotic series (Abramowitz & Stegun 6.3.5, 6.3.18).
    """
    below = 0.0
    while x < 6:
        below -= 1 / x
        x += 1
    square = 1 / (x * x)
    series = square * (
        1 / 12 - square * (1 / 120 - square * (1 / 252 - square * (1 / 240 - square * (1 / 132))))
    )
    return below + log(x) - 0.5 / x - series


def log_rising(a: float, n: float) -> float:
    """Return ln a(a+1)...(a+n-1) for a > 0, n >= 0, continued to fractions of a finding.

    Below one it grows straight from 0 to ln a: half a finding costs half as much as one. (Gamma(a+n) /
    Gamma(a), the usual continuation, would charge any fraction nearly the full price when a is small.)
    """
    if n <= 1:
        return n * log(a)
    return log(a) + lgamma(a + n) - lgamma(a + 1)


def expected_tables(a: float, n: float) -> float:
    """Return how many independent draws n findings of one kind equal; ``a`` is strength times chance.

    a (digamma(a+n) - digamma(a)), the expected number of tables of a Chinese restaurant process with
    concentration ``a`` (Antoniak 1974); a fraction of a finding counts as itself.
    """
    if n <= 1:
        return n
    # The two recurrences keep precision if ``a`` is tiny: digamma(a) = digamma(a+1) - 1/a.
    return 1 + a * (digamma(a + n) - digamma(a + 1))


def beta_cdf(x: float, a: float, b: float) -> float:
    """Return the regularised incomplete beta function I_x(a, b), by Lentz's fraction (DLMF 8.17.22)."""
    if x <= 0:
        return 0.0
    if x >= 1:
        return 1.0
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log1p(-x))
    if x < (a + 1) / (a + b + 2):
        return front * _fraction(x, a, b) / a
    return 1 - front * _fraction(1 - x, b, a) / b


def _fraction(x: float, a: float, b: float) -> float:
    c, d = 1.0, 1 - (a + b) * x / (a + 1)
    d = 1 / (d if abs(d) > _TINY else _TINY)
    total = d
    for m in range(1, 2000):
        for numerator in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1 + numerator * d
            d = 1 / (d if abs(d) > _TINY else _TINY)
            c = 1 + numerator / c
            c = c if abs(c) > _TINY else _TINY
            step = c * d
            total *= step
        if abs(step - 1) < 1e-14:
            break
    return total


def beta_quantile(p: float, a: float, b: float) -> float:
    """Return the x with I_x(a, b) = p to 1e-9: Newton's steps in a bracket, halved if a step leaves it."""
    low, high, x = 0.0, 1.0, a / (a + b)
    front = lgamma(a + b) - lgamma(a) - lgamma(b)
    while high - low > 1e-9:
        over = beta_cdf(x, a, b) - p
        low, high = (x, high) if over < 0 else (low, x)
        if not 0 < x < 1:
            x = (low + high) / 2
            continue
        slope = exp(min(700.0, front + (a - 1) * log(x) + (b - 1) * log1p(-x)))
        step = over / slope if slope > 0 else inf
        if abs(step) < 1e-11:
            return x
        x = x - step if low < x - step < high else (low + high) / 2
    return (low + high) / 2


def best(score: Callable[[float], float], low: float, high: float, steps: int = 24) -> float:
    """Return the maximum of ``score``, with one hill between ``low`` and ``high``: golden-section search.

    The bracket shrinks by 0.618 a step: 24 steps narrow it a hundred-thousandfold.
    """
    ratio = (sqrt(5) - 1) / 2
    left, right = high - ratio * (high - low), low + ratio * (high - low)
    at_left, at_right = score(left), score(right)
    for _ in range(steps):
        if at_left >= at_right:
            high, right, at_right = right, left, at_left
            left = high - ratio * (high - low)
            at_left = score(left)
        else:
            low, left, at_left = left, right, at_right
            right = low + ratio * (high - low)
            at_right = score(right)
    return (low + high) / 2


RANGE: Final = (log(0.02), log(2000.0))  #: of ln strength
SPREAD: Final = 1.5  #: standard deviation of ln strength in its prior: a factor of 4.5 either way


def strength_of(
    groups: Iterable[Iterable[tuple[float, float]]], *, centre: float = 2.0, spread: float | None = SPREAD
) -> float:
    """The strength s under which groups of counts are likeliest: the a+b of a beta-binomial, generalised.

    ``groups``: for each group the (count, chance in the wider group) of each symbol seen. Maximises

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

    # ln rising(s p, n) is n ln s and a constant if n is 1 at most, as it is for most findings.
    single = sum(n * times for (n, _), times in gathered.items() if n <= 1)
    repeated = [(n, p, times) for (n, p), times in gathered.items() if n > 1]

    def score(ln_s: float) -> float:
        s = exp(ln_s)
        value = single * ln_s
        value += sum([times * log_rising(s * p, n) for n, p, times in repeated])
        value -= sum([times * log_rising(s, total) for total, times in totals.items()])
        return value - ((ln_s - log(centre)) / spread) ** 2 / 2 if spread else value

    return exp(best(score, *RANGE))
