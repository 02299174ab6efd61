"""Resolve the sets that people name to the sets of the book, and say what was not sure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from kb.base.messages import either
from kb.domain.language import ENGLISH, Language
from kb.domain.visit import Source

if TYPE_CHECKING:
    from kb.book.answers import Found, FoundSet
    from kb.pack import Day

SURE: Final = 0.6  #: score from which a set that was not named exactly is meant
RIVAL: Final = 0.5  #: a second set is a rival if its score is this share of the first
HALF: Final = 0.15  #: score from which several sets of one beginning are asked about
NAMED_NEAR: Final = 3  #: sets that a note names


@dataclass(frozen=True, slots=True)
class Named:
    """The set that a person means.

    ``source`` has the book's make and model if the set is known. ``note`` is the code of what must be said
    (``taken``, ``either``, ``no-set``, ``no-make``, ``make-taken``; empty: the name was exact), ``asked``
    the name as typed, and ``near`` the names that the note offers.
    """

    source: Source
    asked: str = ""
    note: str = ""
    near: tuple[tuple[str, str], ...] = ()


def note_text(named: Named, language: Language = ENGLISH) -> str:
    """What to say of a name that was not exact; empty for one that was."""
    if not named.note:
        return ""
    names = either(" ".join(part for part in name if part) for name in named.near)
    key = f"book/named/{named.note}"
    if not names and language.has(f"{key}/alone"):
        key += "/alone"
    return language(key, asked=named.asked, names=names)


def named(
    source: Source,
    find: Callable[[str], Found],
    make_of: Callable[[str], tuple[str, bool]],
    met: Callable[[Source], bool],
) -> Named:
    """Resolve make and model as ``find`` does: half a name, a letter O for a zero, a misspelt make.

    ``make_of`` gives the make of the book that a word means and whether it was named in full, ``met`` says
    whether the book has this very set. A set that is not in the book stays as it was typed, with a note.
    """
    asked = " ".join(part for part in (source.make, source.model) if part)
    if not asked or (source.make and source.model and met(source)):
        return Named(source)
    if source.make and not source.model and source.size_in and (of_size := _of_size(source, find)):
        return of_size
    if source.make and not source.model and (alone := _make_alone(source, make_of)):
        return alone
    found = find(asked)
    exact = [one for one in found.matches if one.how == "exact"]
    likely = exact or _likely(found.matches)
    if len(likely) == 1:
        meant = replace(source, make=likely[0].make, model=likely[0].model)
        return Named(meant) if exact else Named(meant, asked, "taken", ((meant.make, meant.model),))
    if likely:
        makes = {one.make for one in likely}
        meant = source if len(makes) > 1 else replace(source, make=makes.pop())
        return Named(meant, asked, "either", _names(likely))
    like = [one for one in found.matches if one.how in ("near", "family")]
    near = _names(like) or found.did_you_mean[:NAMED_NEAR]
    return Named(source, asked, "no-set" if source.model else "no-make", near)


def _of_size(source: Source, find: Callable[[str], Found]) -> Named | None:
    """The sets of this make and picture size ("a 40-inch") that may be meant; None for none, or very many.

    None of them is taken: a maker has more sets of a size than the book.
    """
    size = f"{source.size_in:.0f}"
    fits = find(f'make:"{source.make}" size:{size}').matches
    if source.year and source.year > 0:
        fits = find(f'make:"{source.make}" size:{size} year:{source.year}').matches or fits
    asked = f'{source.make} {size}"'
    if 0 < len(fits) <= NAMED_NEAR:
        return Named(replace(source, make=fits[0].make), asked, "either", _names(fits))
    return None


def _make_alone(source: Source, make_of: Callable[[str], tuple[str, bool]]) -> Named | None:
    """The make, if the book has it or one that is spelt nearly so; None if the word is no make."""
    make, in_full = make_of(source.make)
    if in_full:
        return Named(source)
    if not make or any(letter.isdigit() for letter in source.make):
        return None  # a model, or a make that nobody met
    return Named(replace(source, make=make), source.make, "make-taken", ((make, ""),))


def _likely(matches: Sequence[FoundSet]) -> list[FoundSet]:
    """The sets that are probably meant by a name that is not exact: one, or several rivals; else none."""
    near = [one for one in matches if one.how == "near"]
    rivals = [one for one in near if one.score >= RIVAL * near[0].score]
    least = SURE if len(rivals) == 1 else HALF
    return rivals if rivals and rivals[0].score >= least else []


def _names(sets: Sequence[FoundSet]) -> tuple[tuple[str, str], ...]:
    return tuple((one.make, one.model) for one in sets[:NAMED_NEAR])


def named_day(
    named: Callable[[Sequence[Source]], Sequence[Named]], day: Day, language: Language = ENGLISH
) -> tuple[Day, list[str]]:
    """The day with each set under the book's own name, and what to say of names that were not exact.

    ``named`` is ``Book.named``.
    """
    found = named([job.source for job in day.jobs])
    jobs = tuple(replace(job, source=one.source) for job, one in zip(day.jobs, found, strict=True))
    notes = (note_text(one, language) for one in found)
    return replace(day, jobs=jobs), list(dict.fromkeys(filter(None, notes)))
