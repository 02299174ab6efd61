"""Commands and books for the tests of what goes in and out."""

from __future__ import annotations

from tests.cli.conftest import home, jackfield, visit_file
from tests.store.conftest import book, either, server, team

__all__ = ["book", "either", "home", "jackfield", "server", "team", "visit_file"]
