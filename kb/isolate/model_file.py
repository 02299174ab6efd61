"""Make the model of the file of faults and tests, ``data/faults.toml``.

The file is our own and is held against its rules by ``tests/isolate/test_faults_file.py``: ids, chances that
sum to 1, a source beside every number, a translation of every text.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from kb.base.messages import LANGUAGES
from kb.domain.words import Outcome, Speakers
from kb.isolate.model import FLOOR, SOMETHING_ELSE, Complaint, Fault, Model, Side, Test

Row = tuple[float, ...]


def model_from(data: Mapping[str, Any], language: str = LANGUAGES[0]) -> Model:
    """Return the model of the parsed ``data/faults.toml``, with its texts in one of ``LANGUAGES``.

    An entry has its English texts as fields and each translation as a table with those fields (``es = {says =
    "..."}``); a text without a translation stays English.
    """
    entries = {
        kind: [{**one, **one.get(language, {})} for one in data.get(kind, ())]
        for kind in ("tool", "complaint", "fault", "test")
    }
    faults = {one["id"]: _fault(one) for one in entries["fault"]}
    return Model(
        {one["id"]: _complaint(one) for one in entries["complaint"]},
        faults,
        {one["id"]: _test(one, faults) for one in entries["test"]},
        {one["id"]: one["says"] for one in entries["tool"]},
    )


def _complaint(entry: Mapping[str, Any]) -> Complaint:
    outcome, speakers = entry.get("outcome"), entry.get("speakers")
    return Complaint(
        id=entry["id"],
        says=entry["says"],
        elsewhere=float(entry["elsewhere"]),
        outcome=Outcome(outcome) if outcome else None,
        speakers=Speakers(speakers) if speakers else None,
        names=tuple(entry.get("names", ())),
    )


def _fault(entry: Mapping[str, Any]) -> Fault:
    return Fault(
        id=entry["id"],
        side=Side(entry["side"]),
        says=entry["says"],
        mend=entry["mend"],
        priors={complaint: float(odds) for complaint, odds in entry["prior"].items()},
        needs=tuple(entry.get("needs", ())),
        caution=entry.get("caution", ""),
        of_the_set=entry.get("of_the_set", False),
        told={fact: float(factor) for fact, factor in entry.get("told", {}).items()},
    )


def _test(entry: Mapping[str, Any], faults: Mapping[str, Fault]) -> Test:
    test = Test(
        id=entry["id"],
        asks=entry["asks"],
        how=entry["how"],
        minutes=float(entry["minutes"]),
        answers=entry["answers"],
        tools=tuple(entry.get("tools", ())),
        needs=tuple(entry.get("needs", ())),
        healthy=entry.get("healthy", ""),
        caution=entry.get("caution", ""),
        loud=entry.get("loud", False),
        ends=tuple(entry.get("ends", ())),
        plain=entry.get("plain", False),
        first=tuple(entry.get("first", ())),
        shows=entry.get("shows", {}),
        proves={answer: tuple(map(Side, sides)) for answer, sides in entry.get("proves", {}).items()},
    )
    return replace(test, rows=_rows(entry["given"], faults, len(test.answers), _alike(test)))


def _rows(
    given: Sequence[Mapping[str, Any]], faults: Mapping[str, Fault], count: int, alike: float
) -> dict[tuple[str, str], Row]:
    """Return the chance of each answer for every complaint and fault, with the floor under each.

    A table of likelihoods holds for its complaints, by fault, else by side, else otherwise.
    """
    rows: dict[tuple[str, str], Row] = {}
    for one in given:
        by_fault, by_side, otherwise = one.get("faults", {}), one.get("sides", {}), one.get("otherwise", ())
        even = (1.0 / count,) * count
        unlisted = [(1 - alike) * p + alike * q for p, q in zip(otherwise or even, even, strict=True)]
        for complaint in one["complaints"]:
            rows[complaint, SOMETHING_ELSE] = _floored(by_fault.get(SOMETHING_ELSE) or unlisted)
            for fault in faults.values():
                if complaint in fault.priors:
                    row = by_fault.get(fault.id) or by_side.get(fault.side) or otherwise
                    rows[complaint, fault.id] = _floored(row)
    return rows


def _alike(test: Test) -> float:
    """Return the share of answers alike for a fault outside the list; the rest is as otherwise.

    A plain look shows hardly anything wrong there, and no step ends the complaint.
    """
    return 0.004 if test.plain else 0.02 if test.ends else 0.25


def _floored(row: Sequence[float]) -> Row:
    return tuple(FLOOR + (1.0 - FLOOR * len(row)) * chance for chance in row)
