"""A lookup runs on a Python without threads, locks of files, processes and compiled libraries."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from kb.index import Index, SetEntry
from tests.test_house import IMPURE_FOR_LOOKUP

SCRIPT = """
import sys
for name in {without!r}:
    sys.modules[name] = None  # importing it fails
sys.path[:] = [path for path in sys.path if "site-packages" not in path]
import _thread, json
def refused(*_, **__):
    raise RuntimeError("can't start new thread")
_thread.start_new_thread = refused
from pathlib import Path
from kb.index.reader import Reader
with Reader(Path(sys.argv[1])) as reader:
    asked = ("norwell nv40-210", "nv4o21o", "NV40-21", "norwel nv?0 210", "kestering 46")
    print(json.dumps([[m.model for m in reader.find(one).matches] for one in asked]))
"""


def test_a_lookup_runs_on_a_bare_python(tmp_path: Path) -> None:
    sets = [("Norwell", "NV40-210"), ("Norwell", "NV46-330"), ("Kestering", "KTG46")]
    with Index.open(tmp_path / "index") as index:
        index.rebuild([SetEntry(model, make, model) for make, model in sets], 1)
        asked = ("norwell nv40-210", "nv4o21o", "NV40-21", "norwel nv?0 210", "kestering 46")
        here = [[match.model for match in index.find(one).matches] for one in asked]
        generation = next((tmp_path / "index").glob("gen-*"))
        script = SCRIPT.format(without=sorted(IMPURE_FOR_LOOKUP))
        root = str(Path(__file__).resolve().parents[2])
        done = subprocess.run(
            [sys.executable, "-c", script, str(generation)], cwd=root, capture_output=True, text=True
        )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) == here
    assert all(here)
