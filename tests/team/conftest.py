"""A real PostgreSQL server of our own, and commands that use it as a team's book."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import Run, home, jackfield, visit_file
from tests.store.conftest import server, team

__all__ = ["home", "jackfield", "server", "team", "visit_file"]


@pytest.fixture
def shared(jackfield: Run, team: str) -> Run:
    """Run one command on the team's book."""

    def run(*words: str | Path, **more: Any) -> Any:
        return jackfield("--store", team, *words, **more)

    return run
