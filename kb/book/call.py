"""Read what a client says on the telephone into the facts of a job, clause by clause.

>>> found = heard("a 40-inch, from about 2014, something is in the square jack", {})
>>> found.said["size_in"], found.said["year"], found.said["taken"], found.unread
(40.0, 2014, ['optical'], ())
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from kb.base.datafiles import data_object
from kb.base.text import without_accents
from kb.domain.shortform import FORMS
from kb.index.query import year_of

if TYPE_CHECKING:
    from kb.pack import Ask

MOST: Final = 600  #: characters of one answer
_CLAUSE: Final = re.compile(
    r"[,;]|\.(?:\s|$)|\b(?:and|but|y|pero)\b(?! white| red| blanc[oa]| roj[oa])", re.IGNORECASE
)
_NUMBERED: Final = re.compile(r"([1-9])[.:)]?\s+(.+)\Z")
_SIZE: Final = re.compile(r"\b([0-9]{2,3})\s*-?\s*(\"|[a-z]+)")
_WORD: Final = re.compile(r"[a-z0-9'-]+")
_NAMED: Final = re.compile(r"<([a-z-]+)>")  # an output that a clause names


@dataclass(frozen=True, slots=True)
class Heard:
    """Hold what was understood, by the keys of a job file, and the clauses that were not.

    ``unsure``: clauses in which the client says that he does not know.
    """

    said: dict[str, Any]
    unread: tuple[str, ...]
    unsure: tuple[str, ...] = ()


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
    call = _Call(words, {key: known[key] for key in _LISTS if key in known})
    unread: list[str] = []
    unsure: list[str] = []
    for part in _CLAUSE.split(told[:MOST]):
        clause = _plain(part)
        if not clause or call.answer(clause, asked) or call.outputs(clause) or call.listeners(clause):
            continue
        if call.set(part.strip(), clause, make_of):
            continue
        (unsure if has(clause, words["doubt"]) else unread).append(part.strip())
    return Heard(call.said(known), tuple(unread), tuple(unsure))


_LISTS: Final = ("taken", "free", "answers")


class _Call:
    """The facts of one answer. Each method takes what it understands of a clause; False if that is nothing.

    A clause that denies something in words that are not known here is left alone: half of what it says would
    be the opposite of what was meant.
    """

    def __init__(self, words: Mapping[str, Any], known: Mapping[str, Any]) -> None:
        self._words = words
        self._facts: dict[str, Any] = {}
        self._taken: list[str] | None = None if known.get("taken") is None else list(known["taken"])
        self._free = list(known.get("free") or ())
        self._there = dict(known.get("answers") or {})

    def said(self, known: Mapping[str, Any]) -> dict[str, Any]:
        """Return what is new."""
        lists: dict[str, Any] = {"taken": self._taken, "free": self._free, "answers": self._there}
        return (
            self._facts
            | {key: now for key, now in lists.items() if now and now != known.get(key)}
            | ({"taken": []} if self._taken == [] != known.get("taken") else {})
        )

    def answer(self, clause: str, asked: Sequence[Ask]) -> bool:
        """Take yes or no to a question on the screen: the first, or the one whose number was said."""
        found = _NUMBERED.match(clause)
        number, word = (int(found[1]), found[2]) if found else (1, clause)
        if number > len(asked) or word not in (*self._words["yes"], *self._words["no"]):
            return False
        ask, yes = asked[number - 1], word in self._words["yes"]
        if ask.code == "speakers":
            self._facts["speakers"] = "needed" if yes else "free"
        elif ask.about is not None:
            signal = ask.about.signal.value
            if ask.code != "taken":
                self._there[signal] = yes
            else:
                self._use(signal, yes)
        return True

    def outputs(self, clause: str) -> bool:
        """Take whether outputs are there, and whether something is plugged into them."""
        words = self._words
        text = self._with_names(clause)
        if not _NAMED.search(text) or has(text, words["doubt"]):
            return False
        for phrase in words["not-only"]:
            text = re.sub(_whole([phrase]), " ", text)
        missing: list[str] = []
        for absent in self._absences():
            while found := absent.search(text):
                missing += _NAMED.findall(found[0])
                text = f"{text[: found.start()]} {text[found.end() :]}"
        self._there |= dict.fromkeys(missing, False)
        rest = [one for one in _NAMED.findall(text) if one not in missing]
        denied = has(text, words["negation"]) or "n't" in text
        plugged = has(text, words["taken"])
        used = plugged or (has(text, words["connects"]) and has(text, words["into"]))
        nothing, free = has(text, words["nothing"]), has(text, words["free"])
        if not rest:
            return bool(missing)
        if has(text, words["unclear"]) or (denied and not nothing and (free or not plugged)):
            return False
        for signal in rest:
            self._there[signal] = True
            if nothing or free or denied:
                self._use(signal, False)
            elif used:
                self._use(signal, True)
        return True

    def listeners(self, clause: str) -> bool:
        """Take who listens, and that nothing is plugged in anywhere."""
        words = self._words
        denied = has(clause, words["negation"]) or "n't" in clause
        if has(clause, words["listens-alone"]):
            self._facts["speakers"] = "free"
        elif has(clause, words["others-listen"]) and not denied:
            self._facts["speakers"] = "needed"
        elif has(clause, words["speakers"]):
            free = has(clause, words["not-needed"])
            needed = has(clause, words["needed"]) or (denied and has(clause, ["need"]))
            if not (free or needed):
                return False
            self._facts["speakers"] = "free" if free or denied else "needed"
        elif denied and has(clause, words["taken"]) and has(clause, words["nothing"]):
            if has(clause, words["pointing"]):  # "nothing is plugged into that one"
                return False
            self._taken = []
        else:
            return False
        return True

    def set(self, part: str, clause: str, make_of: Callable[[str], tuple[str, bool]]) -> bool:
        """Take size, year, screen, make and model of the set."""
        if has(clause, self._words["negation"]) or "n't" in clause:
            return False
        found: dict[str, Any] = {}
        tokens = _WORD.findall(clause)
        for number, unit in _SIZE.findall(clause):
            if unit in self._words["size"]:
                found["size_in"] = float(number)
            elif unit == "cm":
                found["size_in"] = round(int(number) / 2.54)
        for token in tokens:
            if (year := year_of(token)) is not None:
                found["year"] = year
        for display, names in self._words["display"].items():
            if has(clause, names):
                found["display"] = display
        for token in _WORD.findall(part.lower()):
            make, in_full = make_of(token)
            if in_full:
                found["make"] = make
            elif _is_model(token) and not _SIZE.match(f"{token} ") and year_of(token) is None:
                found["model"] = token.upper()
        self._facts |= found
        return bool(found)

    def _use(self, signal: str, used: bool) -> None:
        if used:
            self._taken = list(dict.fromkeys([*(self._taken or ()), signal]))
            self._free = [one for one in self._free if one != signal]
        elif self._taken is None:
            self._free = list(dict.fromkeys([*self._free, signal]))
        else:
            self._taken = [one for one in self._taken if one != signal]

    def _with_names(self, clause: str) -> str:
        """Return the clause with ``<optical>`` in place of each phrase that names that output."""
        text = clause
        for token in _WORD.findall(clause):
            if (form := FORMS.get(token)) and form[1] and form[1].value in self._words["outputs"]:
                text = re.sub(_whole([token]), f"<{form[1].value}>", text)
        for signal, names in self._words["outputs"].items():
            text = re.sub(rf"(?<!<){_whole(names)}(?!>)", f"<{signal}>", text)
        return text

    def _absences(self) -> tuple[re.Pattern[str], ...]:
        """Return what says that outputs are not there: ``no ... <optical>``, ``<optical> is missing``."""
        words = self._words
        between = rf"(?:\W*(?:{_whole(words['between'])}|<[a-z-]+>))*\W*"
        articles = r"(?!\s+(?:the|el|la|los|las|de|one)\b)"
        opened = rf"(?:{_whole(words['absent'])}|(?<!\w)no(?!\w){articles}){between}<[a-z-]+>"
        closed = rf"<[a-z-]+>{between}{_whole(words['absent-after'])}\W*\Z"
        return re.compile(opened), re.compile(closed)


def has(clause: str, phrases: Iterable[str]) -> bool:
    """Return whether one of the phrases is in the clause, in whole words."""
    return re.search(_whole(phrases), clause) is not None


def _whole(phrases: Iterable[str]) -> str:
    """Return the pattern of any of the phrases in whole words, the longest first."""
    longest = sorted(phrases, key=len, reverse=True)
    return rf"(?<!\w)(?:{'|'.join(map(re.escape, longest))})(?!\w)"


def _is_model(token: str) -> bool:
    plain = token.replace("-", "")
    letters, digits = sum(map(str.isalpha, plain)), sum(map(str.isdigit, plain))
    return letters > 0 and digits > 1 and not re.match(r"[0-9]+(inch(es)?|in|cm|mm|hz|s|p|i)\Z", plain)


def _plain(said: str) -> str:
    return without_accents(said.casefold().replace("\u2019", "'")).strip()
