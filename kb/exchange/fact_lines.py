"""Write a fact as one line of JSON, and read it.

>>> fact = AliasFact("0192a6c0-0000-8000-8000-000000000001", "NORWEL/NV40", "NORWELL/NV40")
>>> line = to_line(fact)
>>> from_object(json.loads(line), "line 1") == fact
True
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any, Final

from kb.base import text
from kb.base.errors import BadInput, described, kind_of
from kb.domain.visit import JACKS, read_id, visit_from, visit_to
from kb.store.facts import AliasFact, Fact, NoteFact, VisitFact, WithdrawalFact
from kb.store.schema import KEY, TURNS

_TIME: Final = "2026-03-04T05:06:07Z"
KINDS: Final = ("visit", "alias", "withdrawal", "note")


def to_object(fact: Fact) -> dict[str, Any]:
    """The fact as plain JSON values."""
    match fact:
        case VisitFact(visit, nonce, recorded):
            more = {"seal": nonce, "recorded": recorded}
            return {"visit": visit_to(visit), **{key: value for key, value in more.items() if value}}
        case AliasFact(id_, set_key, same_as):
            return {"alias": {"id": id_, "spelling": set_key, "same_as": same_as}}
        case WithdrawalFact(id_, about, turn, stands):
            return {"withdrawal": {"id": id_, "of": about, "turn": turn, "stands": stands}}
        case NoteFact(id_, about, jack, note):
            more_ = {} if jack is None else {"jack": jack}
            return {"note": {"id": id_, "visit": about, **more_, "text": note}}


def to_line(fact: Fact) -> str:
    """The fact as one line of JSON, its end included."""
    return json.dumps(to_object(fact), ensure_ascii=False, separators=(",", ":"), allow_nan=False) + "\n"


def is_fact(value: Any) -> bool:
    """Is it the object of a fact (not a visit as in a visit file)?"""
    return isinstance(value, dict) and "source" not in value and any(key in value for key in KINDS)


def from_object(value: Any, place: str) -> Fact:
    """The fact that stands there; raises BadInput naming the field."""
    kinds = [key for key in KINDS if isinstance(value, dict) and key in value]
    if len(kinds) != 1:
        raise BadInput(place, kind_of(value), f"an object with one of {', '.join(KINDS)}")
    try:
        return _READERS[kinds[0]](value)
    except BadInput as mistake:
        raise mistake.within(place) from None


def _visit(value: dict[str, Any]) -> VisitFact:
    _only(value, "visit", "seal", "recorded")
    visit = visit_from(value["visit"], recorded=True)
    if not visit.id:
        raise BadInput("visit, id", described("nothing"), "a UUID")
    return VisitFact(visit, read_nonce(value.get("seal", "")), read_time(value.get("recorded", "")))


def read_nonce(value: object) -> str:
    """32 lower-case hexadecimal digits, or nothing."""
    if value != "" and not (
        isinstance(value, str) and len(value) == 32 and all(c in "0123456789abcdef" for c in value)
    ):
        raise BadInput("seal", value, "32 hexadecimal digits")
    return str(value)


def read_time(value: object) -> str:
    """A moment in UTC such as 2026-03-04T05:06:07Z, or nothing."""
    if value != "":
        ok = isinstance(value, str) and len(value) == len(_TIME)
        if not ok or any(
            c != p and not (c in "0123456789" and p.isdigit()) for c, p in zip(str(value), _TIME, strict=True)
        ):
            raise BadInput("recorded", value, f"a moment in UTC such as {_TIME}")
    return str(value)


def _alias(value: dict[str, Any]) -> AliasFact:
    said = _inside(value, "alias", "id", "spelling", "same_as")
    one, other = (read_key(said.get(key), key) for key in ("spelling", "same_as"))
    if one == other:
        raise BadInput("same_as", other, "another spelling")
    return AliasFact(read_id(said.get("id"), "id"), one, other)


def read_key(value: object, place: str) -> str:
    """A set's key as ``kb.domain.visit.set_key`` makes it."""
    if isinstance(value, str) and len(value) <= KEY and value.count("/") == 1:
        make, model = value.split("/")
        if make and model and all(text.squeezed(part) == part for part in (make, model)):
            return value
    raise BadInput(place, value, "make and model as the book spells them, such as NORWELL/NV40210")


def _withdrawal(value: dict[str, Any]) -> WithdrawalFact:
    said = _inside(value, "withdrawal", "id", "of", "turn", "stands")
    turn, stands = said.get("turn"), said.get("stands")
    if isinstance(turn, bool) or not isinstance(turn, int) or not 1 <= turn <= TURNS:
        raise BadInput("turn", turn, f"a whole number, 1 to {TURNS}")
    if not isinstance(stands, bool):
        raise BadInput("stands", stands, "true or false")
    return WithdrawalFact(read_id(said.get("id"), "id"), read_id(said.get("of"), "of"), turn, stands)


def _note(value: dict[str, Any]) -> NoteFact:
    said = _inside(value, "note", "id", "visit", "jack", "text")
    jack = said.get("jack")
    if jack is not None and (isinstance(jack, bool) or not isinstance(jack, int) or not 0 <= jack < JACKS):
        raise BadInput("jack", jack, f"a place on the panel, 0 to {JACKS - 1}")
    note = text.note(said.get("text"), "text")
    if not note:
        raise BadInput("text", said.get("text"), "some text")
    return NoteFact(read_id(said.get("id"), "id"), read_id(said.get("visit"), "visit"), jack, note)


_READERS: Final[dict[str, Callable[[dict[str, Any]], Fact]]] = {
    "visit": _visit,
    "alias": _alias,
    "withdrawal": _withdrawal,
    "note": _note,
}


def _only(value: dict[str, Any], *known: str) -> None:
    for key in value:
        if key not in known:
            raise BadInput("unknown field", key, f"one of {', '.join(known)}")


def _inside(value: dict[str, Any], kind: str, *known: str) -> Mapping[str, Any]:
    _only(value, kind)
    said = value[kind]
    if not isinstance(said, dict):
        raise BadInput(kind, kind_of(said), "an object")
    _only(said, *known)
    return said
