"""Prepare the fault search for a phone without a link.

A phone without a link cannot ask; it gets the tests beforehand, as turns: after each answer the next test,
made by the functions that answer with a link. The likeliest turns first, at most ``MOST`` tests a complaint;
where they end, the phone shows what was likeliest there and says that more needs the link.
"""

from __future__ import annotations

import heapq
from typing import TYPE_CHECKING, Any, Final

from kb.domain.language import ENGLISH, Language
from kb.isolate import start
from kb.isolate import wording as says

if TYPE_CHECKING:
    from kb.isolate import Model, PathUsed, State

MOST: Final = 300  #: tests for one complaint; nine in ten searches of the commonest complaint end within them


def turns(model: Model, path: PathUsed, language: Language = ENGLISH) -> dict[str, Any]:
    """All complaints on this path as plain values for JSON, the texts in a language (that of ``model``).

    Keys: ``complaints`` {id: {``says``, ``nodes``}}; a node has ``test`` and ``to`` {answer: number of the
    node that follows}, or where the turns end ``verdict`` and ``fault``; ``more``: the link would know more.
    ``tests`` {id: {``asks``, ``how``, ``caution``, ``minutes``, ``answers`` {answer: what is seen}}};
    ``faults`` {id: {``mend``, ``caution``}}.
    """
    complaints: dict[str, dict[str, Any]] = {
        one.id: {"says": one.says, "nodes": _nodes(start(model, one.id, path), language)}
        for one in model.complaints.values()
    }
    nodes = [node for one in complaints.values() for node in one["nodes"]]
    tests = {node["test"] for node in nodes if "test" in node}
    faults = {node["fault"] for node in nodes if "fault" in node}
    return {
        "complaints": complaints,
        "tests": {one.id: _test(one, language) for one in model.tests.values() if one.id in tests},
        "faults": {
            one: {"mend": says.fault_mend(model, one, language), "caution": says.fault_caution(model, one)}
            for one in sorted(faults)
        },
    }


def _test(test: Any, language: Language) -> dict[str, Any]:
    return {
        "asks": test.asks,
        "how": says.how(test, language),
        "caution": test.caution,
        "minutes": says.minutes(test.minutes, language),
        "answers": dict(test.answers),
    }


def _nodes(begun: State, language: Language) -> list[dict[str, Any]]:
    """The turns after a complaint, the likeliest first; the same answers in another order are one node."""
    nodes: list[dict[str, Any]] = []
    number: dict[frozenset[tuple[str, str]], int] = {}
    waiting: list[tuple[float, int, State]] = []

    def meet(state: State, p: float) -> int:
        key = frozenset(state.answers)
        if key not in number:
            number[key] = len(nodes)
            nodes.append({})
            heapq.heappush(waiting, (-p, number[key], state))
        return number[key]

    meet(begun, 1.0)
    asked = 0
    while waiting:
        p, at, state = heapq.heappop(waiting)
        found = state.next_test
        if found is None or asked >= MOST:
            nodes[at] |= {"verdict": says.verdict(state, language), "fault": state.head}
            if found is not None:
                nodes[at]["more"] = True
            continue
        asked += 1
        nodes[at]["test"] = found.test.id
        nodes[at]["to"] = {
            one.answer: meet(state.answer(found.test.id, one.answer), -p * one.p) for one in found.outlooks
        }
    return nodes
