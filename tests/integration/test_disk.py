"""The disk fails in the middle of a command: the book is whole, and what was acknowledged is there."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

from tests.conftest import LONG

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
    runs = list(script.swept((command,), most=None if LONG else 4))
    assert [one for one in runs if one[-1]] == []
    assert any(line for *_, line, _ in runs)
    if LONG:
        assert {done.code for _, _, done, _, _ in runs} >= {0, 3}
