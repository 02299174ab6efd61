"""Remember how a television's sound gets out of it, and work out how to connect it to a hearing loop.

Programs may import the names in ``__all__``; everything else may change. A name is loaded when it is first
used, so ``import kb`` is cheap.

>>> import tempfile
>>> from pathlib import Path
>>> from kb import Book, DriverInput, visit_from
>>> visit = visit_from({
...     "date": "2026-03-04", "basis": "tested",
...     "source": {"make": "Norwell", "model": "NV40-210"},
...     "jacks": [{"form": "toslink", "marking": "OPTICAL OUT", "outcome": "carried"}]})
>>> with tempfile.TemporaryDirectory() as home, Book.open(Path(home)) as book:
...     recorded = book.record([visit])
...     match = book.find("nv40 210").matches[0]
...     known = book.view("Norwell", "NV40-210")
...     answer = book.connect(known.panel, known.source, inputs=[DriverInput.LINE_35])
>>> match.model, match.how, answer.dac.needed
('NV40-210', 'exact', True)
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

from kb.base.version import VERSION

if TYPE_CHECKING:
    from kb.base.errors import BadInput, BookTrouble, JackfieldError, NotFound
    from kb.book import Book, Found, FoundSet, SetView
    from kb.domain.jack import Jack
    from kb.domain.panel import Panel, PanelJack
    from kb.domain.visit import Driver, Finding, Source, Visit, visit_from, visit_to, visits_from
    from kb.domain.words import (
        Basis,
        Direction,
        DriverInput,
        Form,
        Format,
        Kind,
        Level,
        Outcome,
        Signal,
        Speakers,
    )
    from kb.path import Connection, Path, sentence

__version__ = VERSION

__all__ = [
    "BadInput",
    "Basis",
    "Book",
    "BookTrouble",
    "Connection",
    "Direction",
    "Driver",
    "DriverInput",
    "Finding",
    "Form",
    "Format",
    "Found",
    "FoundSet",
    "Jack",
    "JackfieldError",
    "Kind",
    "Level",
    "NotFound",
    "Outcome",
    "Panel",
    "PanelJack",
    "Path",
    "SetView",
    "Signal",
    "Source",
    "Speakers",
    "Visit",
    "sentence",
    "visit_from",
    "visit_to",
    "visits_from",
]

#: The module of each public name.
_HOMES: Final = {
    "kb.base.errors": "BadInput BookTrouble JackfieldError NotFound",
    "kb.book": "Book Found FoundSet SetView",
    "kb.domain.jack": "Jack",
    "kb.domain.panel": "Panel PanelJack",
    "kb.domain.visit": "Driver Finding Source Visit visit_from visit_to visits_from",
    "kb.domain.words": "Basis Direction DriverInput Form Format Kind Level Outcome Signal Speakers",
    "kb.path": "Connection Path sentence",
}


def __getattr__(name: str) -> Any:
    for module, names in _HOMES.items():
        if name in names.split():
            return getattr(import_module(module), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
