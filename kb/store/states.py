"""Read the states of private things, such as jobs, from a book's file without SQLAlchemy.

It does the same as ``Snapshot.states``, for SQLite only, by the same rule; a test compares the two.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Final, NamedTuple

from kb.store import counted
from kb.store.one_set import quickly


class State(NamedTuple):
    """Hold a state of a private thing: its name, the number of the state, its JSON and its time in UTC."""

    about: str
    turn: int
    body: str
    at: str


# Only names of tables and columns are put into the text of a question; values are passed separately.
_OF_A_KIND: Final = f"""
  SELECT about, turn, body, at FROM private_state
  WHERE kind = ? AND NOT {counted.taken_back("private_state")} ORDER BY about, turn, id"""  # noqa: S608


def states(path: Path, kind: str) -> dict[str, State] | None:
    """Return the present state of each private thing of a kind, by its name; None: the store must answer."""

    def read(book: sqlite3.Connection) -> dict[str, State]:
        return {row[0]: State(*row) for row in book.execute(_OF_A_KIND, (kind,))}

    return quickly(path, read)
