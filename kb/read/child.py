"""Start the programs that look at what was sent, in processes of their own that can be stopped."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

from kb.base.errors import BadInput, BookTrouble, why_of
from kb.base.messages import Said, Wording


def command(script: str, limits: str) -> list[str]:
    """Return the command of a program, by its file; of ours it loads ``limits`` only."""
    return [sys.executable, "-P", script, limits]


def environment() -> dict[str, str]:
    """Return the environment in which it finds Jackfield and the libraries that are installed."""
    ours = str(Path(__file__).resolve().parents[2])
    return {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, [*sys.path, ours]))}


def bound(sent: bytes, most: int, place: Wording) -> None:
    """Raise BadInput if more than ``most`` bytes were sent."""
    if len(sent) > most:
        raise BadInput(
            place,
            Said("seen/mb", count=f"{len(sent) / 1048576:.0f}"),
            Said("expected/at-most-mb", most=most // 1048576),
        )


def refused(place: Wording, said: bytes) -> BadInput | None:
    """Return what such a program refuses, from its JSON; None if it has said something else."""
    try:
        (seen, of_seen), (expected, of_expected) = json.loads(said)
        wrong = BadInput(place, Said(seen, **of_seen), Said(expected, **of_expected))
        str(wrong)  # it met anything that was sent: are these sentences at all?
    except (ValueError, TypeError, LookupError, AttributeError):
        return None
    return wrong


def not_now(place: Wording, problem: OSError) -> BookTrouble:
    """Return the message about a program that could not be started."""
    return BookTrouble(Said("error/cannot-be-looked-at", place=place, why=why_of(problem)))
