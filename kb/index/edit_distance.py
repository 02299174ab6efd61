"""Measure the distance between the code as read and the code as printed, for labels and keyboards.

The plain distance is optimal string alignment (insert, delete, substitute, transpose neighbours, each 1; no
substring edited twice). In the weighted one, typical damage of a worn label is cheap: a look-alike, a ``?``,
a lost or added suffix. With all weights 1 the two agree; tests check them against general-purpose libraries.
"""

from __future__ import annotations

from math import inf
from typing import NamedTuple

from kb.index.normalize import alike

_LIKE = frozenset("UV VU 17 71 4A A4 CG GC EF FE PR RP MN NM 38 83 VY YV KX XK HN NH".split())
"""Pairs that people confuse less often than the look-alikes proper (common practice)."""


class Weights(NamedTuple):
    """Hold the cost of each kind of damage; 1 is a plain slip. Chosen on simulated damage
    (``kb.index.scoring``).
    """

    unknown: float = 0.05  # '?' against one character
    unknown_loose: float = 0.5  # '?' against no character
    alike: float = 0.3
    like: float = 0.85
    substitute: float = 1.0
    doubled: float = 0.9  # a character typed twice, or one of two lost
    insert: float = 1.0
    swap: float = 0.95
    lost: tuple[float, float] = (0.7, 0.17)  # a lost end of letters (region, colour): first, each
    lost_other: tuple[float, float] = (0.7, 0.3)  # a lost end with digits
    added: tuple[float, float] = (0.8, 0.2)  # an added end of letters; random ends seldom are
    added_other: tuple[float, float] = (0.8, 0.35)
    added_long: float = 0.3  # each after the third: no suffix is that long


_SUFFIX = 3  # letters of a suffix, at most
PLAIN = Weights(1, 1, 1, 1, 1, 1, 1, 1, (0, 1), (0, 1), (0, 1), (0, 1), 0)
LABEL = Weights()


def plain_distance(one: str, other: str) -> int:
    """Return the optimal string alignment distance, by Hyyrö's bit vectors (2003)."""
    if one == other:
        return 0
    size = len(one)
    if not size or not other:
        return size or len(other)
    where: dict[str, int] = {}
    for at, char in enumerate(one):
        where[char] = where.get(char, 0) | 1 << at
    return _osa(where, size, other)[0]


def _osa(where: dict[str, int], size: int, other: str) -> tuple[int, int, int, int]:
    """Return the distance to ``other``, the smallest distance to any beginning of it, and the last column.

    The column has a bit for each character where the distance grows by one, and where it falls.
    """
    full = (1 << size) - 1
    last = 1 << (size - 1)
    plus, minus, zero, before = full, 0, 0, 0
    distance = least = size
    for char in other:
        match = where.get(char, 0)
        swap = ((~zero & match) << 1) & before
        zero = (((match & plus) + plus) ^ plus) | match | minus | swap
        h_plus = minus | (full & ~(zero | plus))
        h_minus = plus & zero
        if h_plus & last:
            distance += 1
        if h_minus & last:
            distance -= 1
            if distance < least:
                least = distance
        h_plus = (h_plus << 1) | 1
        h_minus <<= 1
        plus = (h_minus | ~(zero | h_plus)) & full
        minus = h_plus & zero & full
        before = match
    return distance, least, plus, minus


class Near:
    """Compare one string with many by plain distance; its bit table is made once.

    ``?`` in the string matches any character.
    """

    def __init__(self, text: str) -> None:
        self._size = len(text)
        self._text = text
        wild = sum(1 << at for at, char in enumerate(text) if char == "?")
        self._where: dict[str, int] = {}
        for at, char in enumerate(text):
            self._where[char] = self._where.get(char, wild) | 1 << at
        self._wild = wild

    def distance(self, other: str) -> int:
        """Return the optimal string alignment distance to ``other``."""
        return self.to_beginning(other)[0]

    def to_beginning(self, other: str) -> tuple[int, int]:
        """Return the distance to ``other``, and the smallest distance to a beginning of it."""
        return self._run(other)[:2]

    def beginnings(self, other: str) -> tuple[int, int, int]:
        """Return the same, and the smallest distance of a beginning of the string to ``other``."""
        distance, least, plus, minus = self._run(other)
        here = lowest = len(other)
        while plus or minus:
            here += (plus & 1) - (minus & 1)
            if here < lowest:
                lowest = here
            plus >>= 1
            minus >>= 1
        return distance, least, lowest

    def _run(self, other: str) -> tuple[int, int, int, int]:
        if not self._size or not other:
            return self._size or len(other), self._size, (1 << self._size) - 1, 0
        if self._wild:
            where = {char: self._where.get(char, self._wild) for char in set(other)}
            return _osa(where, self._size, other)
        return (
            (0, 0, 0, (1 << self._size) - 1) if other == self._text else _osa(self._where, self._size, other)
        )


def _substitution(one: str, other: str, w: Weights) -> float:
    if one == other:
        return 0.0
    if one == "?":
        return w.unknown
    if alike(one, other):
        return w.alike
    return w.like if one + other in _LIKE else w.substitute


def _end(rest: str, letters: tuple[float, float], other: tuple[float, float]) -> float:
    """Return the cost of a lost or added end: cheaper if it looks like a region or colour suffix."""
    first, each = letters if rest.isalpha() else other
    return first + each * len(rest)


def weighted_distance(read: str, printed: str, weights: Weights = LABEL) -> float:
    """Return the cost of turning ``printed`` into ``read`` (which may hold ``?``); 0 for equal codes.

    Both are normalised codes. The end of either may be missing once, at the price of a suffix, if three
    characters were read. Time and space are the product of the lengths, each at most 40.
    """
    if read == printed:
        return 0.0
    w = weights
    if len(read) == len(printed) and w is LABEL:  # the usual cases, without a table
        direct = 0.0
        for one_char, other in zip(read, printed, strict=True):
            if one_char != other:
                direct += _substitution(one_char, other, w)
                if direct > 0.6:
                    break
        if direct <= 0.6:
            return direct
    skip = 0  # a common beginning and end cost nothing; one character of each stays as context
    most = min(len(read), len(printed))
    while skip < most and read[skip] == printed[skip]:
        skip += 1
    skip = max(0, skip - 1)
    cut = 0
    while cut < most - skip and read[-1 - cut] == printed[-1 - cut]:
        cut += 1
    cut = max(0, cut - 1)
    ends = len(read) >= 3 and len(printed) >= 3
    read, printed = read[skip : len(read) - cut], printed[skip : len(printed) - cut]
    enough = max(3 - skip, 0)
    ends = ends and not cut
    rows, columns = len(read), len(printed)
    two: list[float] = []
    one = [0.0]
    for _ in range(columns):
        one.append(one[-1] + w.insert)
    added = inf
    for i in range(1, rows + 1):
        char = read[i - 1]
        extra = w.unknown_loose if char == "?" else w.insert
        if i > 1 and char == read[i - 2]:
            extra = min(extra, w.doubled)
        row = [one[0] + extra]
        for j in range(1, columns + 1):
            there = printed[j - 1]
            cost = one[j - 1] if char == there else one[j - 1] + _substitution(char, there, w)
            step = one[j] + extra
            if step < cost:
                cost = step
            step = row[j - 1] + (w.doubled if j > 1 and there == printed[j - 2] else w.insert)
            if step < cost:
                cost = step
            if i > 1 and j > 1 and char == printed[j - 2] and read[i - 2] == there and char != there:
                step = two[j - 2] + w.swap
                if step < cost:
                    cost = step
            row.append(cost)
        if ends and enough <= i < rows:  # the remaining characters read were added
            more = w.added_long * max(0, rows - i - _SUFFIX)
            added = min(added, row[columns] + _end(read[i:], w.added, w.added_other) + more)
        two, one = one, row
    result = min(one[columns], added)
    if ends:
        for j in range(enough, columns):  # the remaining printed characters were lost
            result = min(result, one[j] + _end(printed[j:], w.lost, w.lost_other))
    return result


def substitutions(read: str, printed: str) -> tuple[tuple[int, str, str], ...] | None:
    """Return (position, read, printed) of each true difference of two codes of equal length, else None.

    Look-alikes and ``?`` are not true differences.
    """
    if len(read) != len(printed):
        return None
    return tuple(
        (at, one, other)
        for at, (one, other) in enumerate(zip(read, printed, strict=True))
        if one != other and one != "?" and not alike(one, other)
    )


class Slip(NamedTuple):
    """Describe one difference: the printed and the read character, "" if there is none.

    Two characters each mean that neighbours were swapped. ``end`` means that the rest of one code, of any
    length, is missing from the other.
    """

    printed: str
    read: str
    end: bool = False


def slips(read: str, printed: str) -> list[Slip]:
    """Return the cheapest differences that turn ``printed`` into ``read``, in order.

    Look-alikes and ``?`` come before other differences. Characters lost or added behind all others form one
    end. Time and space are the product of the lengths of the differing parts, each at most 40.
    """
    start, most = 0, min(len(read), len(printed))
    while start < most and read[start] == printed[start]:
        start += 1
    stop = 0
    while stop < most - start and read[-1 - stop] == printed[-1 - stop]:
        stop += 1
    found = _aligned(read[start : len(read) - stop], printed[start : len(printed) - stop])
    if stop:
        return found
    ends = []
    for lost in (True, False):
        rest = ""
        while found and (not found[-1].read if lost else not found[-1].printed and found[-1].read != "?"):
            rest = (found[-1].printed or found[-1].read) + rest
            found.pop()
        if rest:
            ends.append(Slip(rest, "", True) if lost else Slip("", rest, True))
    return found + ends


def _aligned(read: str, printed: str) -> list[Slip]:
    """Return all differences: one character each, or two swapped."""
    if not read or not printed:
        return [Slip("", char) for char in read] + [Slip(char, "") for char in printed]
    w = LABEL
    rows, columns = len(read), len(printed)
    cost = [[float(j) for j in range(columns + 1)]]
    back: list[list[Slip]] = []
    for i in range(1, rows + 1):
        now = read[i - 1]
        row, ways = [float(i)], []
        for j in range(1, columns + 1):
            was = printed[j - 1]
            best, way = cost[i - 1][j - 1] + min(_substitution(now, was, w), 1.0), Slip(was, now)
            step = cost[i - 1][j] + (w.unknown_loose if now == "?" else 1.0)
            if step < best:
                best, way = step, Slip("", now)
            step = row[j - 1] + 1.0
            if step < best:
                best, way = step, Slip(was, "")
            if i > 1 and j > 1 and now != was and now == printed[j - 2] and was == read[i - 2]:
                step = cost[i - 2][j - 2] + w.swap
                if step < best:
                    best, way = step, Slip(printed[j - 2 : j], read[i - 2 : i])
            row.append(best)
            ways.append(way)
        cost.append(row)
        back.append(ways)
    out: list[Slip] = []
    i, j = rows, columns
    while i and j:
        way = back[i - 1][j - 1]
        i, j = i - len(way.read), j - len(way.printed)
        if way.read != way.printed:
            out.append(way)
    out += [Slip("", char) for char in reversed(read[:i])]
    out += [Slip(char, "") for char in reversed(printed[:j])]
    return out[::-1]
