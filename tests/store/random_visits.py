"""Random visits: whatever a visit file can hold, drawn from the fields of the dataclasses themselves.

A field that has no strategy here stops every test that draws visits: nobody can add one and leave it out.
"""

from __future__ import annotations

import types
from dataclasses import MISSING, fields
from datetime import date
from typing import Any, Union, get_args, get_origin, get_type_hints

from hypothesis import strategies as st

from kb.domain.jack import Jack
from kb.domain.visit import Driver, Finding, Source, Visit, visit_from
from kb.domain.words import Word

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

#: Fields whose type says too little, as a visit file has them.
BY_NAME: dict[tuple[type, str], Strategy] = {
    (Visit, "by"): _lines,
    (Visit, "job"): _lines,
    (Visit, "note"): _notes,
    (Visit, "readings"): _attached,
    (Visit, "case"): _attached,
    (Visit, "date"): st.dates(date(1970, 1, 1), date(2026, 1, 1)).map(str),
    (Visit, "supersedes"): st.lists(st.uuids().map(str), max_size=2),
    (Source, "make"): _names[0],
    (Source, "model"): _names[1],
    (Source, "year"): st.integers(1930, 2026),
    (Source, "size_in"): st.floats(1, 200),
    (Driver, "name"): _lines,
    (Finding, "items"): st.lists(_lines.map(lambda text: f"cable {text}"), max_size=3),
    (Finding, "setting"): _lines,
    (Finding, "note"): _notes,
    (Jack, "marking"): _lines,
}
#: Fields that no visit file says: the store gives the id, the panel reader says what it inferred.
NOT_DRAWN = {(Visit, "id"), (Finding, "inferred")}
#: Names in a visit file, where they are others.
KEYS = {(Visit, "findings"): "jacks"}


def strategy_of(owner: type, name: str, kind: Any) -> Strategy:
    """What may stand in this field of a visit file. Raises LookupError if nobody has said."""
    if (owner, name) in BY_NAME:
        return BY_NAME[owner, name]
    inside = [one for one in get_args(kind) if one not in (type(None), Ellipsis)]
    if get_origin(kind) in (Union, types.UnionType) and len(inside) == 1:
        return strategy_of(owner, name, inside[0])
    if get_origin(kind) is tuple and len(inside) == 1:
        return st.lists(strategy_of(owner, name, inside[0]), max_size=4)
    if kind is bool:
        return st.booleans()
    if isinstance(kind, type) and issubclass(kind, Word):
        return st.sampled_from(list(kind)).map(str)
    if kind in (Source, Driver, Finding, Jack):
        return file_of(kind)
    raise LookupError(f"{owner.__name__}.{name}: tests/store/random_visits.py has no strategy for {kind}")


def file_of(owner: type) -> Strategy:
    """Objects of a visit file that describe one of these; fields that have a default may be missing."""
    hints = get_type_hints(owner)
    needed, optional = {}, {}
    for field in fields(owner):
        if (owner, field.name) in NOT_DRAWN:
            continue
        must = field.default is MISSING and field.default_factory is MISSING
        (needed if must else optional)[KEYS.get((owner, field.name), field.name)] = strategy_of(
            owner, field.name, hints[field.name]
        )
    drawn = st.fixed_dictionaries(needed, optional=optional)
    if owner is Finding:  # a visit file has the fields of the jack and of the finding side by side
        return drawn.map(lambda said: {**{k: v for k, v in said.items() if k != "jack"}, **said["jack"]})
    return drawn


#: The file of any visit.
any_file: Strategy = file_of(Visit)
#: Any visit that a visit file can hold, without an id.
any_visit: st.SearchStrategy[Visit] = any_file.map(visit_from)
