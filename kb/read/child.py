"""Start the programs that look at what was sent, in processes of their own that can be stopped."""

from __future__ import annotations

import os
import sys

from kb.base.errors import BadInput, BookTrouble, described
from kb.base.messages import Wording


def command(script: str, limits: str) -> list[str]:
    """Return the command of a program, by its file so that it loads nothing of ours."""
    return [sys.executable, "-P", script, limits]


def environment() -> dict[str, str]:
    """Return the environment in which it finds the libraries that are installed."""
    return {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}


def bound(sent: bytes, most: int, place: Wording) -> None:
    """Raise BadInput if more than ``most`` bytes were sent."""
    if len(sent) > most:
        raise BadInput(place, described(f"{len(sent) / 1048576:.0f} MB"), f"at most {most // 1048576} MB")


def not_now(place: Wording, problem: OSError) -> BookTrouble:
    """Return the message about a program that could not be started."""
    return BookTrouble(f"{place}: it cannot be looked at just now ({problem.strerror})")
