"""Define the errors that a user gets to read, each with its exit code.

The whole tree::

    JackfieldError          exit code
    |- BadInput             2   invalid input, typed or read from a file
    |  `- MissingExtra      2   a package that is needed is not installed
    |- NotFound             1   a true answer of "no": no such set, no path
    `- BookTrouble          3   the book could not be read or written
       |- BookTooNew        3   the book was written by a newer Jackfield
       |- NoBookYet         3   nothing was ever recorded there
       `- BookUnavailable   3   a shared book cannot be reached or used now
          |- Interrupted    3   the server broke off; the same question may be answered next time
          `- PerhapsSaved   3   nobody knows whether the server has saved what it was given

A message names the place, what was seen and what was expected, in the language of whoever reads it:

>>> wrong = BadInput("date", seen="soon", expected=Said("expected/date"))
>>> print(wrong := wrong.within(Said("place/visit", number=1)))
visit 1, date: saw 'soon', expected a date such as 2026-03-04 (year, month, day)
>>> print(wrong.in_language("es"))
visita 1, date: había 'soon', se esperaba: una fecha como 2026-03-04 (año, mes, día)

Nothing is looked up when an error is raised: lookups raise many that nobody gets to read.
"""

from __future__ import annotations

import errno
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import cast

from kb.base.messages import LANGUAGES, Said, Wording, is_key, worded

_FOREIGN = 200  # characters of a message that is not ours
_SHOWN = 60  # a message stays readable however long the input was


class JackfieldError(Exception):
    """The root of all errors that Jackfield itself reports to a user: ``said`` is the whole message."""

    exit_code = 3

    def __init__(self, said: Wording) -> None:
        self.said = said
        super().__init__(said)

    def in_language(self, code: str) -> str:
        """The message in the language of this code."""
        return worded(self.said, code)

    def __str__(self) -> str:
        return self.in_language(LANGUAGES[0])


class BadInput(JackfieldError):
    """Invalid input, typed or read from a file.

    ``place`` is a file, line, field or option. ``seen`` is the value that was there: shown shortened and
    escaped, or said in our words (:class:`Said`), or a whole statement (:class:`Stated`). ``expected`` says
    what is valid; after a statement, what to do.
    """

    exit_code = 2

    def __init__(self, place: Wording, seen: object = None, expected: Wording = "") -> None:
        self.place, self.seen, self.expected = place, seen, expected
        Exception.__init__(self, place, seen, expected)

    def within(self, outer: Wording) -> BadInput:
        """The same mistake with its surroundings: ``date`` becomes ``visit 3, date``."""
        return BadInput(inside(outer, self.place), self.seen, self.expected)

    def in_language(self, code: str) -> str:
        place, expected = worded(self.place, code), worded(self.expected, code)
        if isinstance(self.seen, Stated):
            return _at(place, "; ".join(part for part in (shown(self.seen, code), expected) if part))
        parts = []
        if self.seen == NOTHING and expected:
            return _at(place, Said("error/missing-expected", expected=expected).in_language(code))
        if self.seen == NOTHING:
            parts.append(Said("error/missing").in_language(code))
        elif self.seen is not None:
            parts.append(Said("error/saw", seen=shown(self.seen, code)).in_language(code))
        if expected:
            parts.append(Said("error/expected", expected=expected).in_language(code))
        return _at(place, ", ".join(parts))


def _at(place: str, what: str) -> str:
    return ": ".join(part for part in (place, what) if part)


def inside(outer: Wording, inner: Wording, *deeper: Wording) -> Wording:
    """The place of something inside something else, perhaps of something inside that.

    >>> print(inside("readings.toml", Said("place/line", number=3)))
    readings.toml, line 3
    """
    if not (outer and inner):
        return inside(outer or inner, *deeper) if deeper else outer or inner
    both = isinstance(outer, str) and isinstance(inner, str)
    place = f"{outer}, {inner}" if both else Said("place/inside", outer=outer, inner=inner)
    return inside(place, *deeper) if deeper else place


def without(place: Wording, outer: Wording) -> Wording:
    """The place without its outermost part, if that is ``outer``.

    >>> print(without(inside("visit", "date"), "visit"))
    date
    """
    if isinstance(place, str):
        return place.removeprefix(f"{outer}, ")
    if place.key != "place/inside":
        return place
    around, inner = cast(tuple[Wording, Wording], tuple(place.values.values()))
    return inner if around == outer else inside(without(around, outer), inner)


class MissingExtra(BadInput):
    """A package that is needed is not installed; an extra of Jackfield brings it.

    >>> print(MissingExtra("serve", "flask", "web"))
    serve: the package flask is not installed; add the extra: pip install '.[web]' in Jackfield's folder
    """

    def __init__(self, place: Wording, package: str | None, extra: str) -> None:
        missing = Stated("error/package", package=package) if package else Stated("error/packages")
        super().__init__(place, missing, Said("do/add-extra", extra=extra))
        self.args = place, package, extra


class NotFound(JackfieldError):
    """A true answer of "no": what was asked for is not in the book."""

    exit_code = 1


class BookTrouble(JackfieldError):
    """The book could not be opened, read or written; nothing was changed (but see ``PerhapsSaved``)."""

    exit_code = 3

    def without_assurance(self) -> Wording:
        """What happened, without the words that nothing was changed."""
        said = self.said
        why = said.values.get("why") if isinstance(said, Said) else None
        if not isinstance(said, Said) or not isinstance(why, Said) or why.key not in _UNCHANGED:
            return said
        return Said(said.key, **{**said.values, "why": why.values["why"]})


def unchanged(why: Wording, *, again: bool = False) -> Said:
    """What happened, with the words that nothing was changed; ``again``: and to try again."""
    return Said(_UNCHANGED[again], why=why)


_UNCHANGED = ("error/unchanged", "error/unchanged-again")


class BookTooNew(BookTrouble):
    """The book was written by a newer Jackfield than this one."""


class NoBookYet(BookTrouble):
    """Nothing was ever recorded there; a question about a set gets a true "no"."""


class BookUnavailable(BookTrouble):
    """A shared book cannot be reached or used now; the book itself may be intact."""


class Interrupted(BookUnavailable):
    """The server broke off before it answered. Nothing was changed, and reading may be tried again."""


class PerhapsSaved(BookUnavailable):
    """The connection broke during a commit, and the server could not be asked about the result."""


class Stated(Said):
    """A whole statement about what is wrong; ``expected`` then says what to do.

    >>> print(BadInput("readings.toml", Stated("error/file-not-found")))
    readings.toml: file not found
    >>> print(BadInput("a.json", Stated("error/file-exists"), Said("do/choose-name-or-replace")))
    a.json: the file exists already; choose another name, or add --replace
    """

    __slots__ = ()


def not_together(place: Wording, given: Said) -> BadInput:
    """The mistake of giving two things of which one is wanted.

    >>> print(not_together("--driver", Said("seen/two-options", option="--inputs", other="--driver")))
    --driver: --inputs and --driver do not go together; give only one of them
    """
    return BadInput(place, Stated("error/given-together", given=given), Said("do/give-one-of-them"))


#: Nothing at all is shown as missing.
NOTHING = Said("seen/nothing")


def shown(value: object, language: str = LANGUAGES[0]) -> str:
    """A value for a message: short, quoted, control characters escaped.

    >>> shown("x" * 100)[-4:]
    "xx…'"
    """
    if isinstance(value, Said):
        said = value.in_language(language)
        return ascii_controls(said if len(said) <= 2 * _SHOWN else said[: 2 * _SHOWN] + "…")
    if isinstance(value, str):
        text = value if len(value) <= _SHOWN else value[:_SHOWN] + "…"
        return ascii_controls(repr(text))
    if isinstance(value, int) and value.bit_length() > _SHOWN:
        return shown(Said("seen/huge-number"), language)  # its digits alone could be too many to write out
    if value is None or isinstance(value, (bool, int, float, date)):
        return str(value)
    if isinstance(value, Exception):
        return ascii_controls(worded(value, language)[: 2 * _SHOWN])
    return shown(kind_of(value), language)  # what is nested may be too deep to write out


def unquoted(data: object) -> Said:
    """Data that is shown without quotes.

    >>> print(BadInput("room", unquoted("5.2 x"), "5.2x4.1"))
    room: saw 5.2 x, expected 5.2x4.1
    """
    return Said("seen/data", data=data)


def kind_of(value: object) -> Said:
    """The kind of a value from a file, in words that its author knows.

    >>> print(BadInput("visit", kind_of([]), Said("expected/object")))
    visit: saw a list, expected an object
    """
    kind = _KINDS.get(type(value).__name__)
    return NOTHING if value is None else Said(f"kind/{kind}") if kind else Said("kind/other")


_KINDS = {
    "dict": "object",
    "list": "list",
    "tuple": "list",
    "str": "text",
    "bool": "truth",
    "int": "number",
    "float": "number",
    "date": "date",
    "datetime": "date",
}


def ascii_controls(text: str) -> str:
    """Every character that could steer a terminal or hide text, written out as ``\\u....``."""
    return "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in text)


def why_of(problem: Exception) -> Wording:
    """What failed, without the file's name, and safe to show: in our words if the system's trouble is known.

    >>> why_of(PermissionError(13, "Permission denied", "book.sqlite")).in_language("es")
    'permiso denegado'
    """
    if isinstance(problem, JackfieldError):
        return Said("error/trouble", trouble=problem)
    kind = type(problem).__module__
    if kind == "sqlite3":
        name = f"sqlite-{getattr(problem, 'sqlite_errorcode', 0) & 0xFF}"  # sqlite.org/rescode.html
    else:
        name = errno.errorcode.get(getattr(problem, "errno", None) or 0, "")
    if kind in ("sqlite3", "builtins") and is_key(f"error/system/{name}"):  # TLS has numbers of its own
        return Said(f"error/system/{name}")
    return first_line(getattr(problem, "strerror", None) or problem)


@contextmanager
def trouble_at(place: object) -> Iterator[None]:
    """Raise what the system refuses in the block as BookTrouble that names ``place``."""
    try:
        yield
    except OSError as problem:
        raise BookTrouble(Said("error/place-why", place=place, why=why_of(problem))) from problem


def first_line(problem: object) -> str:
    """The first line of a foreign message, bounded and safe to show; the name of its type if it says nothing.

    >>> first_line(MemoryError())
    'MemoryError'
    """
    said = str(problem).strip().splitlines()
    return ascii_controls(said[0][:_FOREIGN]) if said else type(problem).__name__
