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

A message names the place, what was seen and what was expected:

>>> print(BadInput("visit 1, date", seen="soon", expected="a date such as 2026-03-04"))
visit 1, date: saw 'soon', expected a date such as 2026-03-04
"""

from __future__ import annotations

from datetime import date

_SHOWN = 60  # a message stays readable however long the input was


class JackfieldError(Exception):
    """The root of all errors that Jackfield itself reports to a user."""

    exit_code = 3


class BadInput(JackfieldError):
    """Invalid input, typed or read from a file.

    ``place`` is a file, line, field or option. ``seen`` is the value that was there: shown shortened and
    escaped, or as a :class:`described` or :class:`stated` text. ``expected`` says what is valid.
    """

    exit_code = 2

    def __init__(self, place: str, seen: object = None, expected: str = "") -> None:
        self.place, self.seen, self.expected = place, seen, expected
        super().__init__(place, seen, expected)

    def within(self, outer: str) -> BadInput:
        """The same mistake with its surroundings: ``date`` becomes ``visit 3, date``."""
        return BadInput(f"{outer}, {self.place}", self.seen, self.expected)

    def __str__(self) -> str:
        if isinstance(self.seen, stated):
            said = "; ".join(part for part in (shown(self.seen), self.expected) if part)
            return f"{self.place}: {said}"
        parts = [f"saw {shown(self.seen)}"] if self.seen is not None else []
        if self.expected:
            parts.append(f"expected {self.expected}")
        if self.seen == NOTHING and isinstance(self.seen, described):
            parts[0] = "missing"
        return f"{self.place}: {', '.join(parts)}" if parts else self.place


class MissingExtra(BadInput):
    """A package that is needed is not installed; an extra of Jackfield brings it.

    >>> print(MissingExtra("serve", "flask", "web"))
    serve: the package flask is not installed; add the extra: pip install '.[web]' in Jackfield's folder
    """

    def __init__(self, place: str, package: str | None, extra: str) -> None:
        seen = stated(f"the package {package or 'for this'} is not installed")
        super().__init__(place, seen, f"add the extra: pip install '.[{extra}]' in Jackfield's folder")


class NotFound(JackfieldError):
    """A true answer of "no": what was asked for is not in the book."""

    exit_code = 1


class BookTrouble(JackfieldError):
    """The book could not be opened, read or written; nothing was changed (but see ``PerhapsSaved``)."""

    exit_code = 3


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


class described(str):  # used like a function
    """A value in our own words: shown without quotes. Nothing at all is shown as missing.

    >>> print(BadInput("name", described("41 characters"), "at most 40"))
    name: saw 41 characters, expected at most 40
    >>> print(BadInput("date", described("nothing"), "a date"))
    date: missing, expected a date
    """

    __slots__ = ()


NOTHING = described("nothing")


class stated(str):  # used like a function
    """A whole statement about what is wrong; ``expected`` then says what to do.

    >>> print(BadInput("readings.toml", stated("file not found")))
    readings.toml: file not found
    >>> print(BadInput("book.sqlite", stated("the file exists already"), "add --replace to overwrite it"))
    book.sqlite: the file exists already; add --replace to overwrite it
    """

    __slots__ = ()


def shown(value: object) -> str:
    """A value for a message: short, quoted, control characters escaped.

    >>> shown("x" * 100)[-4:]
    "xx…'"
    """
    if isinstance(value, (described, stated)):
        return ascii_controls(value if len(value) <= 2 * _SHOWN else value[: 2 * _SHOWN] + "…")
    if isinstance(value, str):
        text = value if len(value) <= _SHOWN else value[:_SHOWN] + "…"
        return ascii_controls(repr(text))
    if isinstance(value, int) and value.bit_length() > _SHOWN:
        return "a huge number"  # its digits alone could be too many to write out
    if value is None or isinstance(value, (bool, int, float, date)):
        return str(value)
    if isinstance(value, Exception):
        return ascii_controls(str(value)[: 2 * _SHOWN])
    return kind_of(value)  # what is nested may be too deep to write out


def kind_of(value: object) -> described:
    """The kind of a value from a file, in words that its author knows.

    >>> print(BadInput("visit", kind_of([]), "an object"))
    visit: saw a list, expected an object
    """
    return described(_KIND_NAMES.get(type(value).__name__, "something else"))


_KIND_NAMES = {
    "dict": "an object",
    "list": "a list",
    "tuple": "a list",
    "str": "text",
    "bool": "true or false",
    "int": "a number",
    "float": "a number",
    "NoneType": "nothing",
    "date": "a date",
    "datetime": "a date",
}


def ascii_controls(text: str) -> str:
    """Every character that could steer a terminal or hide text, written out as ``\\u....``."""
    return "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in text)
