"""The commands as a user runs them, in a book of their own."""

from tests.cli.conftest import home, jackfield

__all__ = ["home", "jackfield"]
