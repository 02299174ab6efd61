"""Write a path answer as JSON, and as one line of arrows."""

from __future__ import annotations

from typing import Any

from kb.base.text import visible
from kb.catalogue import item_name
from kb.domain.language import ENGLISH, Language
from kb.domain.panel import Note, Panel
from kb.domain.words import Direction
from kb.path.answer import Connection, Path
from kb.path.jacks import names
from kb.path.sentences import jack_phrase, sentence


def to_json(connection: Connection, language: Language = ENGLISH) -> dict[str, Any]:
    """Return the answer as ``jackfield path --json`` prints it (README, "For programs")."""
    return {
        "chosen": path_to_json(connection.chosen, language) if connection.chosen else None,
        "others": [path_to_json(path, language) for path in connection.others],
        "ruled_out": [
            {"jack": one.jack, "marking": one.marking, "code": one.code.value, "why": sentence(one, language)}
            for one in connection.ruled_out
        ],
        "dac": {"needed": connection.dac.needed, "why": sentence(connection.dac, language)},
        "ask": [sentence(question, language) for question in connection.ask],
    }


def path_to_json(path: Path, language: Language = ENGLISH) -> dict[str, Any]:
    """Return one path of the answer, chosen or other, with the fields of :class:`Path`."""
    return {
        "jack": path.jack,
        "signal": path.signal.value,
        "items": list(path.items),
        "input": path.input.value,
        "needs_dac": path.needs_dac,
        "speakers": path.speakers.value,
        "steps": [sentence(step, language) for step in path.steps],
        "cautions": [{"code": one.code.value, "text": sentence(one, language)} for one in path.cautions],
        "p_works": path.p_works,
        "findings": path.findings,
        "delay_ms": path.delay_ms,
        "level": path.level.value,
        "trials": path.trials,
        "converter": path.converter,
        "jacks": list(path.jacks),
    }


def best_to_json(connection: Connection) -> dict[str, Any] | None:
    """Return the facts for ``find``: ``signal``, ``items``, ``needs_dac`` and ``speakers``, or None."""
    path = connection.chosen
    if path is None:
        return None
    return {
        "signal": path.signal.value,
        "items": list(path.items),
        "needs_dac": path.needs_dac,
        "speakers": path.speakers.value,
    }


def jack_name(panel: Panel, index: int, language: Language = ENGLISH) -> str:
    """Return the name of jack ``index`` in sentences: ``jack 4, the 3.5 mm jack without a mark``."""
    return jack_phrase(*names(panel.jacks)[index][:2], language, names(panel.jacks)[index].number)


def noted(panel: Panel, connection: Connection) -> list[tuple[int, Note]]:
    """Return the notes on the chosen jack, then on the others that are not sure to be inputs."""
    chosen = connection.chosen.jacks if connection.chosen else ()
    others = [
        index
        for index, seen in enumerate(panel.jacks)
        if index not in chosen and seen.jack.direction is not Direction.INPUT
    ]
    return [(index, note) for index in (*chosen, *others) for note in panel.jacks[index].notes]


def chain(path: Path, panel: Panel, language: Language = ENGLISH) -> tuple[str, ...]:
    """Return labels from the jack to the driver, for one line of arrows.

    >>> from kb.domain.jack import Jack
    >>> from kb.domain.panel import PanelJack
    >>> from kb.path import connect
    >>> from kb.domain.words import Direction, DriverInput, Form, Signal
    >>> optical = Jack(Form.TOSLINK, "OPTICAL OUT", Direction.OUTPUT, Signal.OPTICAL)
    >>> panel = Panel((PanelJack(optical),))
    >>> chosen = connect(panel, [DriverInput.LINE_35]).chosen
    >>> print(" -> ".join(chain(chosen, panel)))
    OPTICAL OUT -> optical cable 2 m -> DAC -> RCA pair to 3.5 mm cable 2 m -> driver, 3.5 mm line input
    """
    if path.jack is None:
        first = language("path/part/loudspeaker")
    else:
        jacks = [panel.jacks[index].jack for index in path.jacks]
        marks = [visible(jack.marking) for jack in jacks if jack.marking]
        first = " + ".join(marks) or jack_name(panel, path.jack, language)
    items = (item_name(item, language) for item in path.items)
    return (first, *items, language("path/part/driver", input=path.input))
