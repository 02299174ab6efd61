"""Choose the next test and find the fault when a loop is silent, weak, hums, echoes or is harsh.

>>> from kb.isolate import model_from, path_used_from, start
>>> model = model_from({
...     "complaint": [{"id": "no-sound", "says": "no sound", "elsewhere": 0.1, "source": "an example"}],
...     "fault": [
...         {"id": "flat", "side": "wearer", "says": "flat battery", "mend": "A fresh one.",
...          "prior": {"no-sound": 1}, "source": "an example"},
...         {"id": "cap", "side": "source", "says": "cap on", "mend": "Pull it off.", "needs": ["optical"],
...          "prior": {"no-sound": 2}, "source": "an example"}],
...     "test": [
...         {"id": "glow", "asks": "A red glow?", "how": "Look at the tip.", "minutes": 1,
...          "answers": {"yes": "glows", "no": "dark"}, "source": "an example",
...          "given": [{"complaints": ["no-sound"], "otherwise": [0.9, 0.1],
...                     "faults": {"cap": [0.01, 0.99]}}]}]})
>>> state = start(model, "no-sound", path_used_from({"signal": "optical"})).answer("glow", "no")
>>> state.likely[0][0], state.done
('cap', True)
"""

from __future__ import annotations

from kb.isolate.learning import STRENGTH, Confirmed, confirmed_from, confirmed_to, learned
from kb.isolate.model import SOMETHING_ELSE, Complaint, Fault, Model, Side, Test
from kb.isolate.model_file import model_from
from kb.isolate.next_test import SURE
from kb.isolate.path_used import PathUsed, path_used_from, path_used_to
from kb.isolate.state import Contradiction, NextTest, Outlook, State, start, state_from, state_to
from kb.isolate.wording import finding_note, finding_of

__all__ = [
    "SOMETHING_ELSE",
    "STRENGTH",
    "SURE",
    "Complaint",
    "Confirmed",
    "Contradiction",
    "Fault",
    "Model",
    "NextTest",
    "Outlook",
    "PathUsed",
    "Side",
    "State",
    "Test",
    "confirmed_from",
    "confirmed_to",
    "finding_note",
    "finding_of",
    "learned",
    "model_from",
    "path_used_from",
    "path_used_to",
    "start",
    "state_from",
    "state_to",
]
