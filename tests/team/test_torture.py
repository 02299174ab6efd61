"""Some programs and phones beside each other on a team's book, while its server is killed again and again."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import LONG

SCRIPTS = Path(__file__).parents[2] / "scripts"


@pytest.mark.skipif(not hasattr(os, "pidfd_open"), reason="the torture run needs Linux")
def test_nothing_acknowledged_is_lost_while_the_server_is_killed_and_started_again() -> None:
    pytest.importorskip("psycopg", reason="psycopg is not installed: no team book to test")
    sys.path.insert(0, str(SCRIPTS))
    from team_server import server_programs

    if server_programs() is None:
        pytest.skip("no PostgreSQL server programs on this machine: the team book is not tortured")
    minutes = "5" if LONG else "0.15"
    done = subprocess.run(
        [sys.executable, str(SCRIPTS / "torture_team.py"), "--minutes", minutes, "--seed", "4"],
        capture_output=True,
        text=True,
        timeout=1200,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    told = re.search(r"(\d+) visits acknowledged.* lost 0, doubled 0", done.stdout)
    assert told, done.stdout
    assert int(told[1]) > 5
    assert re.search(r"server (kill -9|immediate|fast|connections) +\d", done.stdout), done.stdout
