"""Split a query into tokens that may be make or model, words, phrases and filters.

>>> asked = parse('norwell nv40 "sound menu" signal:optical year:2010-2014')
>>> asked.tokens, asked.phrases, asked.filters.years
(('norwell', 'nv40'), ('sound menu',), (2010, 2014))
"""

from __future__ import annotations

import re
from typing import NamedTuple

from kb.base.errors import BadInput, described
from kb.index.entry import Filters

MAX_QUERY = 200
"""Characters of a query; a longer one is a mistake, not a question."""
MAX_TOKENS = 24

_FIELD = re.compile(r"([a-z]+):(.*)", re.DOTALL)
_YEARS = re.compile(r"(\d{4})(?:(-|\.\.)(\d{4})?)?\Z|(-|\.\.)(\d{4})\Z")
FIELDS = ("make", "kind", "year", "signal", "outcome")
_A_FIELD = 3  # letters before a colon that can be meant as a field; shorter ones are part of a name
_PIECES = re.compile(r'([a-z]+:)?"([^"]*)"|(\S+)')
_INCHES = re.compile(r'(?<!\S)(\d{2,3})"(?!\S)')
_NOISE = frozenset("model modell number television".split())
"""Words that say nothing about which set is meant."""
SMALL = frozenset("no nr tv set the a an and with of in on by for to is".split())
"""The same, but short enough to be a piece of a code: left out of longer queries only."""
_AFTER_NUMBER = frozenset("a in".split())
_LONGER = 4


class Query(NamedTuple):
    """A query taken apart: ``tokens`` in order, each with at least one letter, digit or ``?``."""

    text: str
    tokens: tuple[str, ...]
    phrases: tuple[str, ...]
    filters: Filters


def parse(asked: str) -> Query:
    """Take a query apart; raises ``BadInput`` on what cannot be meant."""
    text = asked
    if len(text) > MAX_QUERY:
        raise BadInput("query", f"{len(text)} characters", f"at most {MAX_QUERY}")
    if text.count('"') % 2:  # the last sign may stand for inches
        text = _INCHES.sub(r"\1 inch", text)
    if text.count('"') % 2:
        raise BadInput("query", text, 'a second " to close the phrase')
    tokens: list[str] = []
    phrases: list[str] = []
    filters = Filters()
    for prefix, phrase, word in _PIECES.findall(text):
        if prefix:
            filters = _filter(filters, prefix[:-1], phrase)
        elif word:
            field = _FIELD.match(word.lower())
            if field and field.group(1) in FIELDS:
                filters = _filter(filters, field.group(1), word[len(field.group(1)) + 1 :])
            elif field and field.group(2)[:1] not in ("", "/") and len(field.group(1)) >= _A_FIELD:
                raise BadInput("query", word, f"one of the fields {', '.join(FIELDS)} before the colon")
            elif any(char.isalnum() or char == "?" for char in word):
                tokens.append(word)
        elif any(char.isalnum() for char in phrase):
            phrases.append(phrase)
    if not tokens and not phrases and not filters:
        raise BadInput("query", text, "a make, a model or words, such as: norwell nv40-210")
    if len(tokens) > MAX_TOKENS:
        raise BadInput("query", f"{len(tokens)} words", f"at most {MAX_TOKENS}")
    return Query(asked, tuple(tokens), tuple(phrases), filters)


def telling(tokens: tuple[str, ...]) -> tuple[str, ...]:
    """The tokens without noise words, unless nothing would be left.

    Behind a number "a" may be a suffix and "in" inches: they stay.
    """
    noise = _NOISE | SMALL if len(tokens) >= _LONGER else _NOISE
    kept = tuple(
        token
        for at, token in enumerate(tokens)
        if (word := token.lower().strip(".,;:")) not in noise
        or (word in _AFTER_NUMBER and at and tokens[at - 1][-1:].isdigit())
    )
    return kept or tokens


def year_of(token: str) -> int | None:
    """The year that a token may be: 1950 to 2049."""
    return (
        int(token)
        if len(token) == 4 and token.isascii() and token.isdigit() and "1950" <= token < "2050"
        else None
    )


def _filter(filters: Filters, field: str, value: str) -> Filters:
    value = value.strip()
    if field not in FIELDS:
        raise BadInput("query", f"{field}:", f"one of the fields {', '.join(FIELDS)} before the colon")
    if not value:
        raise BadInput(f"query, {field}", described("nothing"), f"a value, such as {_EXAMPLE[field]}")
    if field == "make":
        return filters._replace(make=value)
    if field == "year":
        return filters._replace(years=_years(value))
    from kb.domain.words import Kind, Outcome, Signal  # only a query with such a filter pays for it

    value = value.lower()
    if field == "kind":
        return filters._replace(kind=Kind.read(value, "query, kind").value)
    if field == "signal":
        return filters._replace(signals=(*filters.signals, Signal.read(value, "query, signal").value))
    return filters._replace(outcomes=(*filters.outcomes, Outcome.read(value, "query, outcome").value))


_EXAMPLE = {
    "make": "make:norwell", "kind": "kind:television", "year": "year:2010-2014", "signal": "signal:optical",
    "outcome": "outcome:silent",
}  # fmt: skip


def _years(value: str) -> tuple[int, int]:
    """An inclusive range: ``2012``, ``2010-2014``, ``2010-`` or ``-2014``."""
    found = _YEARS.match(value)
    if not found or not value.isascii():
        raise BadInput("query, year", value, "a year or a range, such as 2012, 2010-2014, 2010- or -2014")
    first, dash, last, _, only_last = found.groups()
    if only_last:
        return (0, int(only_last))
    low = int(first)
    high = int(last) if last else (9999 if dash else low)
    if high < low:
        raise BadInput("query, year", value, f"the earlier year first: {high}-{low}")
    return (low, high)
