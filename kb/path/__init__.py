"""Find the path from a source's panel to the driver: jack, items, converter or not, and cautions.

Rules return codes and values; :func:`sentence` turns them into text, :func:`to_json` into JSON.

>>> from kb.domain.jack import Jack
>>> from kb.domain.panel import Panel, PanelJack
>>> from kb.domain.words import Direction, DriverInput, Form, Signal
>>> line = PanelJack(Jack(Form.RCA_PAIR, "AUDIO OUT", Direction.OUTPUT, Signal.ANALOG_LINE))
>>> answer = connect(Panel((line,)), [DriverInput.LINE_35, DriverInput.OPTICAL])
>>> answer.chosen.items, answer.dac.needed
(('RCA pair to 3.5 mm cable 2 m',), False)
"""

from __future__ import annotations

from kb.catalogue import CautionCode, StepCode
from kb.path.answer import (
    Caution,
    Connection,
    Dac,
    DacCode,
    Path,
    Question,
    QuestionCode,
    RuledOut,
    RuledOutCode,
    Step,
    Tier,
)
from kb.path.chains import Chain, chains
from kb.path.chance import Chance, ChanceLike, own_chance
from kb.path.connect import connect
from kb.path.document import best_to_json, chain, jack_name, noted, path_to_json, to_json
from kb.path.sentences import jack_phrase, noun_of, sentence, together

__all__ = [
    "Caution",
    "CautionCode",
    "Chain",
    "Chance",
    "ChanceLike",
    "Connection",
    "Dac",
    "DacCode",
    "Path",
    "Question",
    "QuestionCode",
    "RuledOut",
    "RuledOutCode",
    "Step",
    "StepCode",
    "Tier",
    "best_to_json",
    "chain",
    "chains",
    "connect",
    "jack_name",
    "jack_phrase",
    "noted",
    "noun_of",
    "own_chance",
    "path_to_json",
    "sentence",
    "to_json",
    "together",
]
