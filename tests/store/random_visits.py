"""Random visits: whatever a visit file can hold, drawn from the declared kinds of the fields themselves.

A field of a kind that has no strategy here stops every test that draws visits: none can be left out.
"""

from __future__ import annotations

from datetime import date
from typing import Any

from hypothesis import strategies as st

from kb.domain.jack import Jack
from kb.domain.kinds import (
    Attachment,
    CalendarDay,
    DeclaredField,
    Flag,
    Identifier,
    Line,
    ListOf,
    Name,
    Note,
    Number,
    OneOf,
    ValueKind,
    Whole,
    fields_of,
    part_of,
)
from kb.domain.visit import Finding, Source, Visit, visit_from

Strategy = st.SearchStrategy[Any]

#: A cell may begin after any of these, or run as a formula; the rest is everything that a line may hold.
_odd = st.text("'\"=+-@,;|\\ aß", min_size=1, max_size=8)
_lines = (
    st.text(st.characters(exclude_categories=("C", "Zl", "Zp", "Zs")), min_size=1, max_size=12)
    | _odd
    | st.sampled_from(
        ["'; DROP TABLE visit; --", "[bold]", "=1+1", "x;=1+1", "../../x", "%s %(x)s :x", "Ñandú ß 日本"]
    )
)
_notes = st.lists(_lines | st.sampled_from(["\t=1", "", "-"]), min_size=1, max_size=3).map("\n".join)
_words = st.text(max_size=6) | _odd
_attached = st.dictionaries(
    _words,
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | _words,
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_words, inner, max_size=3),
        max_leaves=6,
    ),
    min_size=1,
    max_size=3,
)
_names = st.sampled_from(["Norwell", "Calder", "Østby"]), st.integers(0, 40).map("NV-{}".format)

#: Fields of which not everything is drawn that their kind allows: few sets, so that visits meet.
BY_NAME: dict[tuple[type, str], Strategy] = {
    (Source, "make"): _names[0],
    (Source, "model"): _names[1],
    (Source, "year"): st.integers(1930, 2026),
}
#: Fields that no visit file says: the store gives the id.
NOT_DRAWN = {(Visit, "id")}


def strategy_of(owner: type, field: DeclaredField) -> Strategy:
    """What may stand in this field of a visit file. Raises LookupError if nobody has said."""
    if (owner, field.name) in BY_NAME:
        return BY_NAME[owner, field.name]
    part = part_of(field)
    if part is not None:
        return file_of(part)
    if field.key == "jacks":
        # A visit file has the fields of the jack and of the finding side by side.
        both = st.tuples(file_of(Jack), file_of(Finding))
        return st.lists(both.map(lambda jack: {**jack[0], **jack[1]}), max_size=4)
    drawn = _of_kind(field.kind)
    if drawn is None:
        raise LookupError(
            f"{owner.__name__}.{field.name}: tests/store/random_visits.py draws no {field.kind}"
        )
    return drawn


def _of_kind(kind: ValueKind) -> Strategy | None:
    match kind:
        case OneOf():
            return st.sampled_from(list(kind.words)).map(str)
        case Line():
            return _lines.map(lambda said: said[: kind.most])
        case Name():
            return _lines.map("cable {}".format)
        case Note():
            return _notes
        case Flag():
            return st.booleans()
        case Number():
            return st.floats(kind.low, kind.high)
        case Whole():
            return st.integers(kind.low, kind.high)
        case CalendarDay():
            return st.dates(date(1970, 1, 1), date(2026, 1, 1)).map(str)
        case Identifier():
            return st.uuids().map(str)
        case Attachment():
            return _attached
        case ListOf():
            inner = _of_kind(kind.kind)
            return None if inner is None else st.lists(inner, max_size=min(kind.most, 4))
    return None


def file_of(owner: type) -> Strategy:
    """Objects of a visit file that describe one of these; fields that have a default may be missing."""
    needed: dict[str, Strategy] = {}
    optional: dict[str, Strategy] = {}
    for field in fields_of(owner):
        if (owner, field.name) not in NOT_DRAWN:
            (needed if field.required else optional)[field.key] = strategy_of(owner, field)
    return st.fixed_dictionaries(needed, optional=optional)


#: The file of any visit.
any_file: Strategy = file_of(Visit)
#: Any visit that a visit file can hold, without an id.
any_visit: st.SearchStrategy[Visit] = any_file.map(visit_from)
