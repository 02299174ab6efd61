"""Weigh the damage between a query and each set, and turn the costs into calibrated probabilities.

A ``Weigher`` gives each candidate a cost and a kind of damage. Its score is::

    share * trust,   share = exp(-STEEP * cost) / sum over all candidates

(then scaled by ``_stated``, unless the code was typed in full).

``share`` says how much likelier the set is than the other sets of the book. ``trust`` says how likely the
query means any set of the book, by the signs of damage. A query and the set it may mean differ by a few
*signs*: a digit replaced, a letter lost, an end added, a make misspelt. Some are typical of damage (two
neighbours swapped, a look-alike). Some are typical of another set that the book does not have (another digit,
another ending). ``WEIGHT`` says by how much each moves the log odds.

The weights were fitted by ``scripts/calibrate_lookup.py`` (maximum likelihood, November 2026) on an open list
of 19,000 codes, split by a hash of the code: fitted on queries about one half, judged on queries about the
other, with other damage. Books hold 75, 40 and 10 of a hundred codes of the list. So the fit covers a book
that knows most sisters and one that knows few. Assumed of the questions (common practice): two in three are
about a set that the book does not have, as installers often meet models new to them; one in three is as
printed. Both shares are chosen to make confident wrong answers rare. If more questions are about known sets,
scores are too low. The weights of characters that people confuse were added later and are 0.6 of what the
fit gives, so that unknown sets are not stated more often.

One error must not happen: a model that differs from a known one only in digits is more likely an unknown
sister (another size, another number) than a slip. It is ``family``, not ``near``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from math import exp, log
from typing import Literal, Protocol

from kb.index.edit_distance import Near, Slip, slips, substitutions, weighted_distance
from kb.index.index_files import Row
from kb.index.normalize import alike, confused, fold
from kb.index.query import SMALL, Segmentation, year_of

Signs = dict[str, float]

WEIGHT: Signs = {
    "always": 3.48,
    "digit added": -2.38,
    "digit for letter": -2.68,
    "digit for letter, confused": 0.6,
    "digit lost": -1.94,
    "digit unread": -1.35,
    "end of digits added": -1.84,
    "end of digits added, each": -0.96,
    "end of digits lost": -1.01,
    "end of digits lost, each": -0.77,
    "end of letters added": -1.56,
    "end of letters added, each": -0.07,
    "end of letters lost": -0.48,
    "end of letters lost, each": -0.99,
    "equal": 0.97,
    "equal, no make": -0.56,
    "equal, others begin so": -2.06,
    "length": 0.23,
    "letter added": -1.58,
    "letter lost": -1.25,
    "letter unread": -0.89,
    "look-alike": -0.62,
    "make in front lost": -1.3,
    "make not spelt": 1.8,
    "make, cost": -3.16,
    "more than one": 0.71,
    "no make": -0.52,
    "other digit": -5.22,
    "other digit, confused": 0.9,
    "other letter": -3.53,
    "other letter, confused": 0.7,
    "skeleton of the make": -1.03,
    "swapped": -0.76,
    "unread one added": -2.12,
    "words": -0.67,
}
"""Log odds. "each" counts characters; "confused" adds to another character if the two sound alike or are
next to each other on a keyboard."""

_LONG = 10
_USUAL = 7


def trust(signs: Signs) -> float:
    """Return how likely (0..1) the query means the likeliest set of the book, and not an unknown set."""
    return 1 / (1 + exp(-sum(WEIGHT.get(name, 0.0) * value for name, value in signs.items())))


def signs_of(
    read: str, printed: str, *, make_cost: float, make_said: bool, make_spelt: bool, words: int, short: bool,
    patterned: bool, goes_on: bool,
) -> Signs:  # fmt: skip
    """Compare a code as read (normalised, ``?`` kept) with the code as printed, and return the signs.

    ``make_cost`` is the cost of the make and the rest of the query, ``make_said`` whether there is a rest,
    ``make_spelt`` whether it is the make. ``words`` are left over. ``short``: the query lacks the make
    printed before the code. ``patterned``: the make has sets of the same skeleton as the code read.
    ``goes_on``: other sets begin with the code read.
    """
    out: Signs = {"always": 1.0, "length": float(min(len(printed), _LONG) - _USUAL)}

    def add(name: str, value: float = 1.0) -> None:
        out[name] = out.get(name, 0.0) + value

    if not make_said:
        add("no make")
    elif not make_spelt:
        add("make not spelt")
    if make_cost:
        add("make, cost", make_cost)
    if words:
        add("words", float(words))
    if short:
        add("make in front lost")
    if read == printed:
        add("equal")
        if goes_on:
            add("equal, others begin so")
        if not make_said:
            add("equal, no make")
        return out
    if patterned:
        add("skeleton of the make")
    others = -1  # after the first; a difference that a worn label explains is no slip
    for slip in slips(read, printed):
        worn = len(slip.read) == len(slip.printed) == 1 and alike(slip.read, slip.printed)
        others += not worn and slip.read != "?"
        for name, value in _named(slip):
            add(name, value)
    if others > 0:
        add("more than one", float(others))
    return out


def _named(slip: Slip) -> Iterator[tuple[str, float]]:
    was, now = slip.printed, slip.read
    if slip.end:
        letters = "letters" if (was or now).isalpha() else "digits"
        what = "lost" if was else "added"
        yield f"end of {letters} {what}", 1.0
        yield f"end of {letters} {what}, each", float(len(was or now))
    elif now == "?":
        yield f"{_kind(was)} unread" if was else "unread one added", 1.0
    elif len(was) == len(now) == 2:
        yield "swapped", 1.0
    elif not now:
        yield f"{_kind(was)} lost", 1.0
    elif not was:
        yield f"{_kind(now)} added", 1.0
    elif alike(was, now):
        yield "look-alike", 1.0
    else:
        name = f"other {_kind(was)}" if _kind(was) == _kind(now) else "digit for letter"
        yield name, 1.0
        if confused(was, now):
            yield f"{name}, confused", 1.0


def _kind(char: str) -> str:
    return "digit" if char.isdigit() else "letter"


Damage = Literal["exact", "look", "slip", "digit", "end", "cut", "sister", "sisters", "two", "far", "faint"]
"""Kinds: equal; look-alikes and ``?`` only; one slip among letters, or two swapped; one slip with a digit or
in the last letter; an end of letters lost or added; another end, or the middle of a code alone; one digit (or
a letter that varies within the family) replaced; several of them; two slips; more; much more."""

STEEP = 3.6

_WEIGHED = 3  # candidates whose signs are computed; the others have the trust of the last of them

NEAR_FROM = 0.002
"""The sets listed as ``near`` must together be this likely; else nothing is called near."""
SHOWN_FROM = 0.001
"""A set less likely than this is not listed."""
FAMILY_MATE = 0.02
"""Score of a set that only shares the skeleton."""
FAR = 3.4
"""A candidate with this cost or more is dropped."""
SHORT_WORD = 3
"""A word with up to so many letters may as well be part of a code."""


_PART_OF_MAKE = 0.5  # up to this cost, the query names some words of a make, and well


_NO_WAY = Segmentation("", ())


@dataclass(slots=True, eq=False, repr=False)  # every look-up from a cold start makes this class
class Candidate:
    """Hold a spelling that the query may mean, under one segmentation of the query.

    ``label`` is the cost of the damage as labels suffer it; ``cost`` is the mean of it and the plain number
    of damages, and decides. ``words`` are pieces of the query that neither make nor model explains.
    ``letter`` is the position of the only letter that replaces another, or -1. ``more`` is the cost of make
    and words. ``short``: the spelling is the model without the make before it. ``talk``: ``words`` are words
    of notes and do not count against the set.
    """

    set_id: int
    make: str
    model: str
    label: float
    cost: float
    damage: Damage
    words: tuple[str, ...] = ()
    letter: int = -1
    way: Segmentation = _NO_WAY
    more: float = 0.0
    short: bool = False
    talk: bool = False
    score: float = 0.0

    def beside_notes(self) -> None:
        """Take the words for words of notes if the query names the code, and the make if any, in full."""
        way = self.way
        rest = [piece for piece in way.rest if piece not in self.words]
        if self.words and way.code == self.model and "".join(rest) in ("", self.make):
            self.cost, self.label, self.more = self.cost - self.more, self.label - self.more, 0.0
            self.damage, self.talk = "exact", True

    @property
    def gate(self) -> float:
        """Return the cost that later stages must beat: look-alikes count as slips, a suffix as one."""
        return self.label if self.damage in ("end", "cut") else max(self.label, self.cost)


class Book(Protocol):
    """List the questions about the book that a score needs."""

    def patterned(self, code: str, make: str) -> bool:
        """Return whether the make has sets with the same skeleton as the code."""

    def goes_on(self, code: str) -> bool:
        """Return whether a longer code in the book begins with this one."""


def scored(candidates: list[Candidate], book: Book) -> list[Candidate]:
    """Return the candidates in order of cost with their scores; a later score is never higher."""
    candidates.sort(key=lambda c: (c.cost, c.model, c.make, c.set_id))
    weights = [exp(-STEEP * c.cost) for c in candidates]
    if candidates and candidates[0].damage == "exact":  # a code typed in full is no damaged other code
        weights = [float(c.damage == "exact") for c in candidates]
    total = sum(weights)
    highest = sure = 1.0
    known: dict[tuple[str, str], bool] = {}
    for at, (c, weight) in enumerate(zip(candidates, weights, strict=True)):
        share = weight / total
        if at < _WEIGHED:
            sure = trust(signs(c, book, known))
        highest = min(highest, share * sure)
        c.score = highest if c.damage == "exact" else _stated(highest)
    return candidates


_SLOPE, _SHIFT = 1.1, -0.22


def _stated(chance: float) -> float:
    """Return the score of a damaged code, by Platt scaling of its chance.

    Fitted in November 2026 on queries of people and labels (``scripts/people_queries.py``). In the middle,
    these are right less often than the queries that the weights were fitted on. The shift is a little lower
    than the fit, so that sets that are not in the book are seldom stated.
    """
    if not 0.0 < chance < 1.0:
        return chance
    return 1 / (1 + exp(-_SLOPE * log(chance / (1 - chance)) - _SHIFT))


def signs(c: Candidate, book: Book, known: dict[tuple[str, str], bool]) -> Signs:
    """Return the signs for and against the candidate; ``known`` caches the book's answers."""
    way = c.way
    equal = way.code == c.model
    hidden = "?" in way.code  # then the skeleton says nothing
    asked = (way.code, "" if equal else c.make)
    if asked not in known:
        known[asked] = book.goes_on(way.code) if equal else not hidden and book.patterned(*asked)
    talk = c.talk or (
        len(c.words) > 1 and (hidden or any(map(str.isdigit, way.code)))
    )  # words of a note, not a make
    named = c.talk and any(piece not in c.words for piece in way.rest)
    bits = [] if equal and not way.rest else _bits(c)
    words = 0 if talk else sum(len(word) > SHORT_WORD for word in c.words)
    out = signs_of(
        way.code, c.model,
        make_cost=0.0 if talk else c.more, make_said=(bool(way.rest) and not talk) or named,
        make_spelt=named or "".join(way.rest) == c.make, words=words,
        short=c.short, patterned=known[asked], goes_on=known[asked],
    )  # fmt: skip
    if bits:  # a suffix written apart: "NV40-210 B" may be another set
        out["end of letters added"] = out.get("end of letters added", 0.0) + 1
        out["end of letters added, each"] = out.get("end of letters added, each", 0.0) + len("".join(bits))
        out.pop("equal", None)
    if bits or c.more < _PART_OF_MAKE:  # fitted on slips, which cost more than words left out
        out.pop("make not spelt", None)
    return out


def _bits(c: Candidate) -> list[str]:
    """Return letters next to the code that are neither words nor make: perhaps another code's end."""
    rest = c.way.rest
    longest = SHORT_WORD if c.way.torn else SHORT_WORD - 1
    if c.talk or len(c.words) > 1:
        return []
    return [
        piece
        for at, piece in enumerate(rest)
        if piece.isalpha()
        and len(piece) <= longest
        and (piece not in c.make or "".join(rest[:at] + rest[at + 1 :]) == c.make)
        and (c.way.torn or piece.lower() not in SMALL)
    ]


# weighing

NO_LIKENESS = 9.0
_RESCORED, _RUNNERS_UP = 24, 6  # candidates of one look-up that are weighed in full; of the second best
_OTHER = 2  # slips that another make counts for when candidates are chosen
_YEAR = 0.1  # a year next to the code; it may be part of it
_SAID = 0.1  # "no", "the": neither make nor code
_TWO_OR_SO = 1.8  # from this cost on, an added end is no suffix
_MAKE_SLIP = 0.6
_EACH_MAKE_SLIP = 0.2  # so that a slip in the make and one in the code weigh about the same
_SISTER = 0.05  # a code that differs in a digit is more often another set than a slip
_TORN = 1.5  # added cost of a word that was joined to the code
_OTHER_MISSPELT = 1.0  # added cost of a word that is a slip away from another make
_BOUND = 0.05  # added cost of a cut without a blank
_TURNED = 0.6  # added cost of pieces of the code in another order
_BEGINNING = 0.95  # cost of a beginning of four characters or more
_SHORTENED = 1.0  # cost of some letters of a make, in order
_MISSING_WORD = 0.12  # cost of each missing word of a make, or of words in another order
_WORD, _LONG_WORD = 4, 8  # shortest word of a make in which one slip is forgiven; in which two are
_LOOK = 0.3  # slips that look-alikes in a word of a make count for
_TELLING = 4  # a part of a code with fewer characters says little
_EACH_MISSING = 0.01  # puts the shorter one first
_ALL_WORN = 2  # any number of look-alikes count as so many damages if there is no other damage
_PIECE = 1.5  # cost of four characters or more from the middle of a code, read well
_SHORT = 0.4  # added cost of a damaged code that also lacks the make printed before it


class Weigher:
    """Weigh rows against one segmentation of the query; the bit tables of its code are made once."""

    def __init__(
        self,
        way: Segmentation,
        known: set[str],
        misspelt: Mapping[str, frozenset[str]],
        words_of: Callable[[str], tuple[str, ...]],
    ) -> None:
        self._way = way
        self._words_of = words_of
        self._known = known
        self._misspelt = misspelt
        self._folded = fold(way.code)
        self._chars = frozenset(self._folded) - {"?"}
        self._near = Near(self._folded)
        self._seen: set[Row] = set()  # rows weighed in full
        self._raw = Near(way.code)
        self._resembling: dict[str, bool] = {}
        self._rests: dict[str, tuple[float, int, tuple[str, ...]]] = {}

    def weigh(self, rows: Iterable[Row], best: dict[int, Candidate]) -> None:
        """Put the best of ``rows`` into ``best``, each set at its lowest cost."""
        most = max(3, len(self._folded) // 2)
        ranked = []
        fresh = [(fold(row[2]), row) for row in set(rows).difference(self._seen)]
        for unlike, there, row in sorted((self._unlike(there), there, row) for there, row in fresh):
            if unlike > most + 1:
                break
            likeness = self._likeness(there, row[1])
            if likeness[0] <= most + 1:
                ranked.append((likeness, row))
                most = min(most, likeness[0])
        ranked.sort()
        for at, ((apart, _, _), row) in enumerate(ranked[:_RESCORED]):
            if apart > most + 1 or (apart > most and at >= _RUNNERS_UP):
                break
            self._seen.add(row)
            found = self._candidate(row)
            old = best.get(row[0])
            if found is not None and (old is None or found.cost < old.cost):
                best[row[0]] = found

    def _unlike(self, there: str) -> int:
        """Return a number of slips that ``_likeness`` cannot be below: characters of one code alone."""
        lost = len(self._chars.difference(there))
        return min(lost, 1 + len(set(there) - self._chars)) if len(there) < len(self._folded) - 1 else lost

    def _likeness(self, there: str, make: str) -> tuple[int, bool, int]:
        """Return the slips between the folded codes (a lost or added end is one) and if the make differs."""
        size = len(self._folded)
        if len(there) < size - 1:
            slips, begun, added = self._near.beginnings(there)
        else:
            slips, begun = self._near.to_beginning(there)
            added = slips
        if slips > begun + 1:
            slips = begun + 1
        elif slips > added + 1:
            slips = added + 1
        if slips > 2 and size >= _TELLING and self._folded in there:
            slips = 2
        if self._way.make:
            other = make != self._way.make
            slips += _OTHER if other else 0
        else:
            other = not self._resembled(make)
        return slips, other, abs(len(there) - size)

    def _resembled(self, make: str) -> bool:
        """Return whether a piece next to the code may be the make."""
        there = self._resembling.get(make)
        if there is None:
            rest = self._way.rest
            there = any(make_cost(piece, make) < NO_LIKENESS for piece in rest)
            there = there or part_of_make(rest, self._words_of(make))[0] < NO_LIKENESS
            self._resembling[make] = there
        return there

    def _candidate(self, row: Row) -> Candidate | None:
        way = self._way
        set_id, make, model, short = row
        if way.bound and (make != way.make if way.make else make_cost(way.rest[0], make) == NO_LIKENESS):
            return None
        label = weighted_distance(way.code, model)
        count = self._damages(model)
        if len(way.code) >= _TELLING and label > _BEGINNING:
            missing = _EACH_MISSING * (len(model) - len(way.code))
            if model.startswith(way.code):
                label = min(label, _BEGINNING + missing)
            elif label > _PIECE + missing and self._folded in fold(model):
                label, count = _PIECE + missing, 2
        if label > FAR:
            return None
        if count > _ALL_WORN and self._folded == fold(model):
            count = _ALL_WORN
        damage = _damage(way.code, model, label)
        cost = (label + count) / 2 + (_SISTER if damage in ("sister", "sisters") else 0.0)
        more = 0.0 if not short else _SHORT if label else 0.02  # of two equal ones, the one printed like this
        label, cost = label + more, cost + more
        if make not in self._rests:
            self._rests[make] = _rest(way, make, self._words_of(make), self._known, self._misspelt)
        more, slips, words = self._rests[make]
        if way.turned:
            more += _TURNED
        if more and damage == "exact":
            damage = "look" if more < 0.5 else ("slip" if more < 1.2 else "two")
        elif more >= 0.9 and damage in ("look", "slip", "digit", "end", "cut"):
            damage = "two" if more < 1.5 else "far"
        letter = _changed_letter(way.code, model)
        cost += more + _EACH_MAKE_SLIP * slips + (_BOUND if way.bound else 0.0)
        return Candidate(
            set_id, make, model, label + more, cost, damage, words, letter, way, more, bool(short)
        )

    def _damages(self, model: str) -> int:
        """Return the number of damages: each slip, each look-alike and a lost end of any length count one."""
        count, begun = self._raw.to_beginning(model)
        return min(count, begun + 1)


def _damage(read: str, printed: str, cost: float) -> Damage:
    if cost == 0:
        return "exact"
    changed = substitutions(read, printed)
    if changed is not None:
        if not changed:
            return "look"
        if all(fold(one).isdigit() and other.isdigit() for _, one, other in changed):
            swap = cost < 0.96 and len(changed) == 2
            if not swap:
                return "sister" if len(changed) == 1 else "sisters"
    if cost < 0.65 and fold(read.replace("?", "")) != fold(printed) and "?" in read:
        return "look"
    if changed is None:
        if fold(read) in fold(printed):
            rest = printed[len(read) :]
            return "end" if rest.isalpha() and printed.startswith(read) else "cut"
        if read.startswith(printed) and cost < _TWO_OR_SO:
            return "end" if read[len(printed) :].isalpha() else "cut"
    if cost <= 1.06:
        return "digit" if _touches_digit(read, printed) else "slip"
    return "two" if cost <= 2.15 else ("far" if cost <= 2.7 else "faint")


def _touches_digit(read: str, printed: str) -> bool:
    """Return whether a digit or the last letter differs: a change there may mean another set."""
    start = 0
    while start < min(len(read), len(printed)) and read[start] == printed[start]:
        start += 1
    end = 0
    while end < min(len(read), len(printed)) - start and read[-1 - end] == printed[-1 - end]:
        end += 1
    was, now = printed[start : len(printed) - end], read[start : len(read) - end]
    if len(was) > 1 and sorted(was) == sorted(now):
        return False  # swapped
    return not end or any(char.isdigit() for char in was + now)


def _changed_letter(read: str, printed: str) -> int:
    """Return the position of the only letter that was replaced by a letter, or -1."""
    changed = substitutions(read, printed)
    if changed is None or len(changed) != 1:
        return -1
    at, one, other = changed[0]
    return at if one.isalpha() and other.isalpha() else -1


def _rest(
    way: Segmentation,
    make: str,
    make_words: tuple[str, ...],
    known: set[str],
    misspelt: Mapping[str, frozenset[str]],
) -> tuple[float, int, tuple[str, ...]]:
    """Return the cost of the query outside the code for this make, the slips in the make, and other words.

    Likeness to the make never costs more than no likeness.
    """
    if not way.rest:
        return 0.0, 0, ()
    joined = "".join(way.rest)
    if joined == make:
        return 0.0, 0, ()
    best, used = NO_LIKENESS, (0, 0)
    for start in range(len(way.rest)):
        for end in range(start + 1, min(start + 3, len(way.rest)) + 1):
            cost = make_cost("".join(way.rest[start:end]), make)
            if cost < best:
                best, used = cost, (start, end)
    plain, all_words = _left(way, way.rest, make, known, misspelt)
    left = way.rest[: used[0]] + way.rest[used[1] :]
    part, part_left = part_of_make(way.rest, make_words)
    if part < best:
        best, left = part, part_left
    if best == NO_LIKENESS:
        return plain, 0, all_words
    slips = int(best / _MAKE_SLIP + 0.01)  # a shortened make counts as one
    cost, words = _left(way, left, "", known, misspelt)
    cost += best
    if plain < cost + _EACH_MAKE_SLIP * slips:  # "behind" is like some make, but is one word among others
        return plain, 0, all_words
    return cost, slips, words


def part_of_make(pieces: tuple[str, ...], words: tuple[str, ...]) -> tuple[float, tuple[str, ...]]:
    """Return the cost of pieces as some of a make's words, in any order, and the remaining pieces.

    ``words`` is empty for a make of one word. The cost is ``NO_LIKENESS`` if no piece fits.
    """
    found, left = 0, list(pieces)
    cost = 0.0
    for word in words:
        if word in left:
            left.remove(word)
            found += 1 if len(word) > 1 else 0
            continue
        near = Near(fold(word))
        most = 1 if len(word) < _LONG_WORD else 2
        slips, piece = min(
            ((near.distance(fold(p)), p) for p in left if len(p) >= _WORD and p.isalpha()),
            default=(NO_LIKENESS, ""),
        )
        if len(word) >= _WORD and slips <= most:
            left.remove(piece)
            cost += _MAKE_SLIP * max(slips, _LOOK)
            found += 1
        else:
            cost += _MISSING_WORD
    if not found:
        return NO_LIKENESS, pieces
    return max(cost, _MISSING_WORD), tuple(left)


def _left(
    way: Segmentation,
    left: tuple[str, ...],
    make: str,
    known: set[str],
    misspelt: Mapping[str, frozenset[str]],
) -> tuple[float, tuple[str, ...]]:
    """Return the cost of pieces outside code and make, and the words among them.

    ``make`` is the make that they lack, if any.
    """
    cost, words = 0.0, list[str]()
    talk = sum(piece.isalpha() and len(piece) >= SHORT_WORD for piece in left) > 1
    for piece in left:
        if piece in known:
            cost += 2.6  # the query names another make
        elif year_of(piece) is not None:
            cost += _YEAR
        elif piece.lower() in SMALL and not way.torn:  # "A" of "NV40-210/A" is part of a code
            cost += _SAID
        elif any(char.isdigit() or char == "?" for char in piece):
            cost += 1.5 + 0.5 * len(piece)
        elif len(piece) < SHORT_WORD:
            cost += 0.5 + 0.3 * len(piece)  # part of a code rather than a word
        elif len(piece) == SHORT_WORD and not talk:  # "hum", or such a part
            words.append(piece)
            cost += 0.5 + 0.3 * len(piece)
        else:
            words.append(piece)
            cost += 0.05 if not make or len(words) > 1 else (1.8 if len(way.rest) < 3 else 1.0)
            if way.torn:
                cost += _TORN
            if make and make not in misspelt.get(piece, (make,)):
                cost += _OTHER_MISSPELT
    return cost, tuple(words)


@lru_cache(maxsize=4096)
def make_cost(read: str, make: str) -> float:
    """Return the cost of a make as read; ``NO_LIKENESS`` if nothing in it is like the make."""
    if not make:
        return NO_LIKENESS
    if read == make:
        return 0.0
    if len(read) >= 3 and (make.startswith(read) or (read.startswith(make) and len(make) >= 3)):
        return 0.4 + 0.12 * abs(len(read) - len(make))
    if 2 * sum(map(str.isdigit, read)) >= len(read) and make.isalpha():
        return NO_LIKENESS  # a number, not a make
    slips = Near(fold(read)).distance(fold(make))
    cost = NO_LIKENESS
    if slips <= max(1, round(0.4 * max(len(make), len(read)))) and slips < len(make):
        cost = _MAKE_SLIP * slips or 0.2
    if cost > _SHORTENED and len(read) >= 3 and read[0] == make[0] and _within(read, make):
        cost = _SHORTENED
    return cost


def _within(short: str, long: str) -> bool:
    """Return whether ``long`` contains the characters of ``short`` in the same order."""
    rest = iter(long)
    return all(char in rest for char in short)


def mark_sisters(found: list[Candidate]) -> None:
    """Mark sets of one make as sisters if the code as read differs from each in the same letter."""
    places: dict[tuple[str, int, int], list[Candidate]] = {}
    for c in found:
        if c.letter >= 0 and c.damage in ("slip", "digit"):
            places.setdefault((c.make, c.letter, len(c.model)), []).append(c)
    for group in places.values():
        if len({c.model for c in group}) > 1:
            for c in group:
                c.damage = "sister"
