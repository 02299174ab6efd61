"""Which JSON value stands in a text that somebody handed in? One reading for all files, and a strict one.

What readers of JSON disagree on is refused, so that nothing is taken for what nobody meant: a key that stands
twice, NaN and Infinity (RFC 8259, sections 4 and 6), numbers and nesting without end.

>>> value_of('{"make": "Norwell"}', "visit.json")
{'make': 'Norwell'}
>>> value_of('{"make": "a", "make": "b"}', "visit.json")
Traceback (most recent call last):
...
kb.errors.BadInput: visit.json: saw "'make' stands there twice", expected JSON
"""

from __future__ import annotations

import json
from typing import Any

from kb.errors import BadInput, described


def value_of(text: str, place: str, *, by_line: bool = False) -> Any:
    """The JSON value in ``text``; ``by_line``: it has lines, so that a mistake is named with its own.

    Raises BadInput.
    """
    try:
        return json.loads(text, parse_constant=_no_constant, object_pairs_hook=_once)
    except RecursionError:
        raise BadInput(place, described("deeply nested JSON"), "a flat object") from None
    except json.JSONDecodeError as wrong:
        where = f"{place}, line {wrong.lineno}" if by_line else place
        raise BadInput(where, described(wrong.msg), "JSON") from None
    except ValueError as wrong:  # of ours, or a number of more digits than Python reads
        raise BadInput(place, str(wrong), "JSON") from None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise ValueError(f"{twice[:40]!r} stands there twice")
    return found


def _no_constant(name: str) -> None:
    raise ValueError(f"{name} is no number in JSON")
