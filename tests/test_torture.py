"""Phones, servers and commands use one book at once, and are killed: nothing acknowledged is lost."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import LONG

ROOT = Path(__file__).parent.parent
MINUTES = 5.0 if LONG else 0.15


@pytest.mark.skipif(not hasattr(os, "pidfd_open"), reason="the torture run needs Linux: it forks and kills")
@pytest.mark.parametrize("seed", [20260304])
def test_nothing_acknowledged_is_lost_whatever_runs_beside_it_and_whatever_is_killed(seed: int) -> None:
    pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")
    pytest.importorskip("h11", reason="the extra jackfield[web] is not installed")
    script = [sys.executable, str(ROOT / "scripts" / "torture.py")]
    given = ["--minutes", str(MINUTES), "--seed", str(seed)]
    ran = subprocess.run([*script, *given], capture_output=True, text=True, timeout=60 * MINUTES + 600)
    assert ran.returncode == 0, f"{ran.stdout}\n{ran.stderr}"
    kills = re.search(r"(\d+) kills", ran.stdout)
    acknowledged = re.search(r"(\d+) visits acknowledged", ran.stdout)
    assert kills
    assert acknowledged
    assert int(kills[1]) > 0  # it has tried something
    assert int(acknowledged[1]) > 10
