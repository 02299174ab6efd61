"""The disk fails in the middle of a command: the book is whole, and what was acknowledged is there."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from kb.store import Store
from tests.conftest import LONG
from tests.present import Present

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def script() -> ModuleType:
    name = "disk_faults"
    spec = importlib.util.spec_from_file_location(name, ROOT / "scripts" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("command", ["record", "record-new", "load", "backup", "restore", "restore-lost"])
def test_a_call_that_fails_loses_nothing_and_is_told(script: ModuleType, command: str) -> None:
    """strace(1), fault injection: the error comes from the kernel's side of the call."""
    if why := script.missing():
        pytest.skip(why)
    runs = list(script.swept((command,), most=None if LONG else 2))
    assert [one for one in runs if one[-1]] == []
    assert any(line for *_, line, _ in runs)
    if LONG:
        assert {done.code for _, _, done, _, _ in runs} >= {0, 3}


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
def test_an_answer_that_cannot_be_written_undoes_nothing_and_says_so(tmp_path: Path) -> None:
    """Linux's /dev/full refuses every write with ENOSPC (full(4))."""
    notes = tmp_path / "notes.csv"
    notes.write_text("make,model,date\nNorwell,NV1,2024-03-01\n")
    told = {
        ("load", str(notes)): "loaded; only this answer",
        ("backup", "--json"): "the copy is made and checked",
        ("restore", "--replace"): "the backup is restored; only this answer",
    }
    for words, said in told.items():
        with open("/dev/full", "w") as full:
            done = subprocess.run(
                [sys.executable, "-m", "kb.cli.main", *words],
                cwd=ROOT,
                env={**os.environ, "PYTHONPATH": str(ROOT), "JACKFIELD_HOME": str(tmp_path / "home")},
                stdout=full,
                stderr=subprocess.PIPE,
                text=True,
                check=False,
            )
        assert (done.returncode, said in done.stderr) == (0, True), done.stderr
    with Store.open(tmp_path / "home" / "book.sqlite") as store:
        assert Present(store).counts().visits == 1
