"""Learn from the book which sets are sisters, and what each part of a model number means.

Sets of one make that share a skeleton (``fold.shape``: letters kept, digits masked, the suffix cut) are a
family. Comparing its members place by place shows the roles, without any table of makes:

* *size*: the first two digits that vary together over values from 10 to 120;
* *year*: a single letter that varies while its neighbours are digits;
* *series*: every other digit or letter of the skeleton;
* *region*: the letters after the last digit, which the skeleton leaves out.

>>> learn(["NV40210", "NV46210", "NV55330"]).roles
('series', 'series', 'size', 'size', 'series', 'series', 'series')
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal, NamedTuple

from kb.index.normalize import stem

Role = Literal["size", "series", "year"]
_APART: dict[Role, float] = {"size": 0.1, "year": 0.4, "series": 1.0}
_REGION_APART = 0.1
_SIZES = range(10, 121)


class Family(NamedTuple):
    """Roles of the places of a skeleton, and which of them vary among the members."""

    roles: tuple[Role, ...]
    varies: tuple[bool, ...]

    def apart(self, one: str, other: str) -> float:
        """How unlike two members are: sisters that differ in size or region only are close to 0."""
        first, second = stem(one), stem(other)
        total = 0.0 if one[len(first) :] == other[len(second) :] else _REGION_APART
        for at, (a, b) in enumerate(zip(first, second, strict=False)):
            if a != b:
                total += _APART[self.roles[at] if at < len(self.roles) else "series"]
        return total + abs(len(first) - len(second))


def learn(models: Iterable[str]) -> Family:
    """The family of models of one make and one skeleton (normalised codes, at least one)."""
    stems = [stem(model) for model in models]
    length = min(len(code) for code in stems)
    columns = [{code[at] for code in stems} for at in range(length)]
    varies = tuple(len(column) > 1 for column in columns)
    roles: list[Role] = ["series"] * length
    digits = [all(char.isdigit() for char in column) for column in columns]
    for at in range(length - 1):
        pair = digits[at] and digits[at + 1] and (at == 0 or not digits[at - 1])
        if pair and _is_size(stems, at, varies):
            roles[at] = roles[at + 1] = "size"
            break
    for at in range(1, length - 1):
        letters = all(char.isalpha() for char in columns[at])
        if letters and varies[at] and digits[at - 1] and digits[at + 1]:
            roles[at] = "year"
    return Family(tuple(roles), varies)


def _is_size(stems: list[str], at: int, varies: tuple[bool, ...]) -> bool:
    values = {int(code[at : at + 2]) for code in stems}
    return (varies[at] or varies[at + 1]) and all(value in _SIZES for value in values)
