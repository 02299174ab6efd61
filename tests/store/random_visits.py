"""Random visits: whatever a visit file can hold."""

from __future__ import annotations

from datetime import date
from typing import Any

from hypothesis import strategies as st

from kb.visit import Visit, visit_from
from kb.words import (
    Basis,
    Colour,
    Direction,
    Display,
    DriverInput,
    Form,
    Format,
    Kind,
    Level,
    Outcome,
    Signal,
    Speakers,
)

_lines = st.text(
    st.characters(exclude_categories=("C", "Zl", "Zp", "Zs")), min_size=1, max_size=12
) | st.sampled_from(["'; DROP TABLE visit; --", "[bold]", "=1+1", "../../x", "%s %(x)s :x", "Ñandú ß 日本"])
_names = st.tuples(st.sampled_from(["Norwell", "Calder", "Østby"]), st.integers(0, 40)).map(
    lambda pair: (pair[0], f"NV-{pair[1]}")
)


def _some(words: type) -> st.SearchStrategy[Any]:
    return st.sampled_from(list(words)).map(str)


_jacks = st.fixed_dictionaries(
    {"form": _some(Form)},
    optional={
        "marking": _lines,
        "colour": _some(Colour),
        "direction": _some(Direction),
        "signal": _some(Signal),
        "level": _some(Level),
        "format": _some(Format),
        "speakers": _some(Speakers),
        "taken": st.booleans(),
        "outcome": _some(Outcome),
        "items": st.lists(_lines.map(lambda text: f"cable {text}"), max_size=3),
        "input": _some(DriverInput),
        "setting": _lines,
        "note": _lines,
    },
)

#: Any visit that a visit file can hold, without an id.
any_visit: st.SearchStrategy[Visit] = st.builds(
    lambda name, source, rest: visit_from({"source": {"make": name[0], "model": name[1], **source}, **rest}),
    _names,
    st.fixed_dictionaries(
        {},
        optional={
            "kind": _some(Kind),
            "display": _some(Display),
            "year": st.integers(1930, 2026),
            "size_in": st.floats(1, 200),
        },
    ),
    st.fixed_dictionaries(
        {"date": st.dates(date(1970, 1, 1), date(2026, 1, 1)).map(str)},
        optional={
            "basis": _some(Basis),
            "by": _lines,
            "job": _lines,
            "note": _lines,
            "jacks": st.lists(_jacks, max_size=5),
            "driver": st.fixed_dictionaries(
                {}, optional={"name": _lines, "inputs": st.lists(_some(DriverInput), max_size=4)}
            ),
            "supersedes": st.lists(st.uuids().map(str), max_size=2),
        },
    ),
)
