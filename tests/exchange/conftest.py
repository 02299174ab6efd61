"""Commands and books for the tests of what goes in and out."""

from __future__ import annotations

from tests.cli.conftest import home, jackfield, visit_file

__all__ = ["home", "jackfield", "visit_file"]
