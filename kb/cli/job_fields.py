"""Make the options of a job from the declarations of its fields, and read what was typed.

A field that is declared in ``kb.domain.job`` is an option without another line here.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

import click

from kb.base.errors import BadInput
from kb.base.text import words_of_list
from kb.cli.common import INCHES, Session, bare_year, tell_year
from kb.cli.days import read_day
from kb.domain.job import Job, JobSet
from kb.domain.kinds import CalendarDay, DeclaredField, Keyed, ListOf, Number, Whole, fields_of
from kb.settings import Units

#: Fields that come in another way: by position, from a file or from the book.
_NO_OPTION: Final = frozenset({"id", "sets", "materials"})
_UNITS: Final = ("_m", "_in")


def option_fields() -> Iterator[DeclaredField]:
    """Yield the fields of a job, then those of a set, that have an option."""
    for of in (Job, JobSet):
        yield from (one for one in fields_of(of) if one.key not in _NO_OPTION)


def job_fields(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the options of a job; it gets the typed ones as one ``typed``, for :func:`read_said`."""

    @functools.wraps(command)
    def wrapped(*args: Any, **given: Any) -> Any:
        typed = {one.key: given.pop(f"job_{one.key}") for one in option_fields()}
        said = {key: value for key, value in typed.items() if value not in (None, ())}
        return command(*args, typed=said, **given)

    options = [
        click.option(
            _name(one), f"job_{one.key}", metavar=_metavar(one), multiple=isinstance(one.kind, Keyed)
        )
        for one in option_fields()
    ]
    return functools.reduce(lambda inner, option: option(inner), reversed(options), wrapped)


def read_said(session: Session, typed: Mapping[str, Any]) -> dict[str, Any]:
    """Return what was typed as the values of a job file; an empty text takes the field away."""
    fields = {one.key: one for one in option_fields()}
    return {key: _value(session, fields[key], value) for key, value in typed.items()}


def _name(one: DeclaredField) -> str:
    for unit in _UNITS:
        if one.key.endswith(unit):
            return f"--{one.key.removesuffix(unit)}"
    return f"--{one.key}"


def _metavar(one: DeclaredField) -> str:
    if isinstance(one.kind, Keyed):
        return "NAME=VALUE"
    return "DATE" if isinstance(one.kind, CalendarDay) else "LIST" if isinstance(one.kind, ListOf) else "TEXT"


def _value(session: Session, one: DeclaredField, typed: Any) -> Any:
    if isinstance(one.kind, Keyed):
        return dict(_pair(_name(one), each) for each in typed) if any(typed) else None
    typed = typed.strip()
    if not typed:
        return None
    if isinstance(one.kind, ListOf):
        words = words_of_list(typed)
        return [] if words == ["none"] else words
    if isinstance(one.kind, CalendarDay):
        return read_day(session, typed).isoformat()
    if one.key == "length_m":
        from kb.cli.path_options import asked_metres

        return asked_metres(session, typed)
    if one.key == "room":
        from kb.loop.units import room

        feet = not session.as_json and session.settings.units is Units.FEET
        return "x".join(f"{side:g}" for side in room(typed, "--room", feet=feet))
    if isinstance(one.kind, (Number, Whole)):
        try:
            if not isinstance(one.kind, Whole):
                return INCHES.convert(typed, None, None)
            bare = bare_year(typed)
            if bare != typed:
                tell_year(session, typed, int(bare))
            return int(bare)
        except (ValueError, click.BadParameter):
            raise BadInput(_name(one), typed, one.kind.expected) from None
    return typed


def _pair(option: str, typed: str) -> tuple[str, Any]:
    name, sign, value = typed.rpartition("=")
    if not sign:
        raise BadInput(option, typed, "NAME=VALUE")
    return name.strip(), int(value) if value.strip().isdecimal() else value.strip()
