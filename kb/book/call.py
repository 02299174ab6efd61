"""Read what a client says on the telephone into the facts of a job, clause by clause.

>>> found = heard("a 40-inch, from about 2014, something is in the square jack", {})
>>> found.said["size_in"], found.said["year"], found.said["taken"], found.unread
(40.0, 2014, ['optical'], ())
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from kb.base.datafiles import data_object
from kb.domain.shortform import FORMS
from kb.index.query import year_of

if TYPE_CHECKING:
    from kb.pack import Ask

MOST: Final = 600  #: characters of one answer
_CLAUSE: Final = re.compile(r"[,;]|\.(?:\s|$)|\b(?:and|but|y|pero)\b(?! white| red| blanco)")
_NUMBERED: Final = re.compile(r"([1-9])[.:)]?\s+(\w+)\Z")
_SIZE: Final = re.compile(r"\b([0-9]{2,3})\s*-?\s*(\"|[a-z]+)")
_WORD: Final = re.compile(r"[a-z0-9'-]+")


@dataclass(frozen=True, slots=True)
class Heard:
    """Hold what was understood, by the keys of a job file, and the clauses that were not."""

    said: dict[str, Any]
    unread: tuple[str, ...]


def heard(
    told: str,
    known: Mapping[str, Any],
    asked: Sequence[Ask] = (),
    make_of: Callable[[str], tuple[str, bool]] = lambda _: ("", False),
) -> Heard:
    """Return the facts in what somebody said.

    ``known``: what the job says of the set so far, by key; ``asked``: the questions on the screen, for
    ``yes``, ``no`` and ``2 no``; ``make_of``: as the index knows makes.
    """
    words = data_object("call.json")
    said: dict[str, Any] = {}
    taken = list(known.get("taken") or ())
    answers = dict(known.get("answers") or {})
    unread = []
    for part in _CLAUSE.split(told[:MOST]):
        clause = _plain(part)
        if clause and not (
            _answer(clause, words, asked, said, taken, answers)
            or _of_clause(part.strip(), clause, words, said, taken, answers, make_of)
        ):
            unread.append(part.strip())
    if taken != list(known.get("taken") or ()):
        said["taken"] = list(dict.fromkeys(taken))
    if answers != dict(known.get("answers") or {}):
        said["answers"] = answers
    return Heard(said, tuple(unread))


def _answer(
    clause: str,
    words: Mapping[str, Any],
    asked: Sequence[Ask],
    said: dict[str, Any],
    taken: list[str],
    answers: dict[str, bool],
) -> bool:
    """Take yes or no to a question on the screen: the first, or the one whose number was said."""
    found = _NUMBERED.match(clause)
    number, word = (int(found[1]), found[2]) if found else (1, clause)
    if number > len(asked) or word not in (*words["yes"], *words["no"]):
        return False
    ask, yes = asked[number - 1], word in words["yes"]
    if ask.code == "speakers":
        said["speakers"] = "needed" if yes else "free"
    elif ask.about is not None:
        signal = ask.about.signal.value
        if ask.code != "taken":
            answers[signal] = yes
        elif yes:
            taken.append(signal)
    return True


def _of_clause(
    part: str,
    clause: str,
    words: Mapping[str, Any],
    said: dict[str, Any],
    taken: list[str],
    answers: dict[str, bool],
    make_of: Callable[[str], tuple[str, bool]],
) -> bool:
    tokens = _WORD.findall(clause)
    before = len(said)
    if has(clause, words["speakers"]):
        free, needed = has(clause, words["not-needed"]), has(clause, words["needed"])
        said |= {"speakers": "free"} if free else {"speakers": "needed"} if needed else {}
        return free or needed
    signals = [signal for signal, names in words["outputs"].items() if has(clause, names)]
    signals += [form[1].value for token in tokens if (form := FORMS.get(token.partition(":")[0])) and form[1]]
    if signals:
        _jack(clause, words, dict.fromkeys(signals), taken, answers)
        return True
    if has(clause, words["free"]) and has(clause, words["taken"]):  # "nothing is plugged in"
        taken.clear()
        said["taken"] = []
        return True
    for number, unit in _SIZE.findall(clause):
        if unit in words["size"]:
            said["size_in"] = float(number)
        elif unit == "cm":
            said["size_in"] = round(int(number) / 2.54)
    for token in tokens:
        if (year := year_of(token)) is not None:
            said["year"] = year
    for display, names in words["display"].items():
        if has(clause, names):
            said["display"] = display
    for token in _WORD.findall(part.lower()):
        make, in_full = make_of(token)
        if in_full:
            said["make"] = make
        elif _is_model(token) and not _SIZE.match(f"{token} ") and year_of(token) is None:
            said["model"] = token.upper()
    return len(said) > before


def _jack(
    clause: str,
    words: Mapping[str, Any],
    signals: Iterable[str],
    taken: list[str],
    answers: dict[str, bool],
) -> None:
    free = has(clause, words["free"])
    used = has(clause, words["taken"]) and not free
    missing = has(clause, words["missing"]) and not (free or used)
    for signal in signals:
        answers[signal] = not missing
        if used:
            taken.append(signal)


def has(clause: str, phrases: Iterable[str]) -> bool:
    """Return whether one of the phrases is in the clause, in whole words."""
    return any(re.search(rf"(?<!\w){re.escape(phrase)}(?!\w)", clause) for phrase in phrases)


def _is_model(token: str) -> bool:
    plain = token.replace("-", "")
    letters, digits = sum(map(str.isalpha, plain)), sum(map(str.isdigit, plain))
    return letters > 0 and digits > 1 and not re.match(r"[0-9]+(inch(es)?|in|cm|mm|hz|s|p|i)\Z", plain)


def _plain(said: str) -> str:
    flat = unicodedata.normalize("NFKD", said.casefold())
    return "".join(one for one in flat if not unicodedata.combining(one)).strip()
