"""Write a fact as one line of JSON, and read it.

>>> fact = AliasFact("0192a6c0-0000-8000-8000-000000000001", "NORWEL/NV40", "NORWELL/NV40")
>>> line = to_line(fact)
>>> from_object(json.loads(line), "line 1") == fact
True
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any, Final

from kb.base import text
from kb.base.errors import NOTHING, BadInput, inside, kind_of
from kb.base.messages import Said, Wording, one_of
from kb.base.parsing import stored_json
from kb.base.validation import Fields, truth, whole
from kb.domain.job import job_from
from kb.domain.kinds import Attachment
from kb.domain.visit import ATTACHED, JACKS, read_id, visit_from, visit_to
from kb.store.facts import AliasFact, Fact, NoteFact, StateFact, VisitFact, WithdrawalFact
from kb.store.schema import KEY, STATES, TURNS

_TIME: Final = "2026-03-04T05:06:07Z"
KINDS: Final = ("visit", "alias", "withdrawal", "note")  #: that books exchange
PRIVATE: Final = "state"  #: the kind that only a dump holds


def to_object(fact: Fact) -> dict[str, Any]:
    """Return the fact as plain JSON values."""
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
        case StateFact(id_, kind, about, turn, body, at):
            said = {"id": id_, "of": about, "turn": turn, "at": at, kind: stored_json(body, f"{kind} {id_}")}
            return {"state": said}


def to_line(fact: Fact) -> str:
    """Return the fact as one line of JSON, with its line end."""
    return json.dumps(to_object(fact), ensure_ascii=False, separators=(",", ":"), allow_nan=False) + "\n"


def is_fact(value: Any) -> bool:
    """Return whether it is the object of a fact (not a visit as in a visit file)."""
    return (
        isinstance(value, dict) and "source" not in value and any(key in value for key in (*KINDS, PRIVATE))
    )


def from_object(value: Any, place: Wording) -> Fact:
    """Read the fact in an object; raises BadInput naming the field."""
    kinds = [key for key in (*KINDS, PRIVATE) if isinstance(value, dict) and key in value]
    if len(kinds) != 1:
        raise BadInput(place, kind_of(value), Said("expected/object-with-one-of", words=", ".join(KINDS)))
    kind = kinds[0]
    try:
        fields = Fields(value, kind, Said("expected/object"), bare=True)
        if kind != "visit":  # a visit has its nonce and time next to it, the others have nothing
            inner = fields.need(kind, lambda said, at: Fields(said, at, Said("expected/object"), bare=True))
            fields.end()
            fields = inner
        fact = _READERS[kind](fields)
        fields.end()
    except BadInput as mistake:
        raise mistake.within(place) from None
    return fact


def _visit(said: Fields) -> VisitFact:
    visit = said.need("visit", lambda value, _: visit_from(value, recorded=True))
    if not visit.id:
        raise BadInput(inside("visit", "id"), NOTHING, Said("expected/uuid"))
    return VisitFact(visit, said.take("seal", read_nonce, ""), said.take("recorded", read_time, ""))


def read_nonce(value: object, place: Wording) -> str:
    """Read 32 lower-case hexadecimal digits, or nothing."""
    if value != "" and not (
        isinstance(value, str) and len(value) == 32 and all(c in "0123456789abcdef" for c in value)
    ):
        raise BadInput(place, value, Said("expected/hexadecimal", digits=32))
    return str(value)


def read_time(value: object, place: Wording) -> str:
    """Read a moment in UTC such as 2026-03-04T05:06:07Z, or nothing."""
    if value != "":
        ok = isinstance(value, str) and len(value) == len(_TIME)
        if not ok or any(
            c != p and not (c in "0123456789" and p.isdigit()) for c, p in zip(str(value), _TIME, strict=True)
        ):
            raise BadInput(place, value, Said("expected/moment", example=_TIME))
    return str(value)


def _alias(said: Fields) -> AliasFact:
    one, other = (said.need(key, read_key) for key in ("spelling", "same_as"))
    if one == other:
        raise BadInput("same_as", other, Said("expected/another-spelling"))
    return AliasFact(said.need("id", read_id), one, other)


def read_key(value: object, place: Wording) -> str:
    """Read a set's key as ``kb.domain.visit.set_key`` makes it."""
    if isinstance(value, str) and len(value) <= KEY and value.count("/") == 1:
        make, model = value.split("/")
        if make and model and all(text.squeezed(part) == part for part in (make, model)):
            return value
    raise BadInput(place, value, Said("expected/spelled-set"))


def _withdrawal(said: Fields) -> WithdrawalFact:
    return WithdrawalFact(
        said.need("id", read_id),
        said.need("of", read_id),
        said.need("turn", whole(1, TURNS, Said("expected/whole-to", low=1, high=TURNS))),
        said.need("stands", truth),
    )


def _note(said: Fields) -> NoteFact:
    note = said.need("text", text.note)
    if not note:
        raise BadInput("text", note, Said("expected/some-text"))
    jack = said.take("jack", whole(0, JACKS - 1, Said("expected/place-on-panel", last=JACKS - 1)), None)
    return NoteFact(said.need("id", read_id), said.need("visit", read_id), jack, note)


def _state(said: Fields) -> StateFact:
    id_, about = said.need("id", read_id), said.need("of", text.line)
    turn = said.need("turn", whole(1, TURNS, Said("expected/whole-to", low=1, high=TURNS)))
    at = said.need("at", read_time)
    bodies = {kind: said.take(kind, reader, "") for kind, reader in _STATES.items()}
    given = [(kind, body) for kind, body in bodies.items() if body]
    if len(given) != 1:
        raise BadInput("state", Said("seen/things", count=len(given)), one_of(_STATES))
    return StateFact(id_, given[0][0], about, turn, given[0][1], at)


def _job(value: object, place: Wording) -> str:
    job_from(value, place, kept=True)
    return _body(value, place)


_body: Final = Attachment(ATTACHED).read
_STATES: Final = dict(zip(STATES, (_job, _body), strict=True))


_READERS: Final[dict[str, Callable[[Fields], Fact]]] = {
    "visit": _visit,
    "alias": _alias,
    "withdrawal": _withdrawal,
    "note": _note,
    PRIVATE: _state,
}
