"""Panels that nobody who wrote the rules had seen are answered as a good technician answers them."""

from __future__ import annotations

import pytest

from kb.domain.panel import panel_of
from kb.domain.visit import visit_from
from kb.domain.words import Display, Kind
from kb.path import connect, sentence
from tests.path.strangers import MIC, NONE, STRANGERS, Stranger

#: The technician would plug in; Jackfield asks first: what is half worn is never guessed.
ASKED = {"Quillard 42, a letter gone"}


@pytest.mark.parametrize("seen", STRANGERS, ids=lambda seen: seen.name)
def test_a_panel_is_answered_as_a_good_technician_answers(seen: Stranger) -> None:
    more = dict(seen.more)
    kind = Kind(more.pop("kind", "television"))
    display = Display(more.pop("display")) if "display" in more else None
    source = {"make": "Orvel", "model": "X1", "kind": kind, "display": display}
    panel = panel_of(
        visit_from({"date": "2026-03-04", "basis": "seen", "source": source, "jacks": seen.jacks})
    )
    answer = connect(panel, seen.inputs, kind=kind, display=display, **more)
    path = answer.chosen
    if seen.name in ASKED:
        assert path is None
        assert "an output?" in sentence(answer.ask[0])
        return
    assert (NONE if path is None else MIC if path.jack is None else path.jack + 1) == seen.jack
    items = path.items if path else ()
    assert {*seen.uses} <= {*items}
    assert not {*seen.never} & {*items}
    told = (*path.steps, *path.cautions) if path else ()
    said = " ".join(sentence(one) for one in (*told, *answer.ask, *answer.ruled_out, answer.dac)).lower()
    for words in seen.says:
        assert words.lower() in said
