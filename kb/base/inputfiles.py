"""Read a JSON or TOML file that the user names, bounded, with mistakes named by line."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import IO, Any, Final

from kb.base.errors import BadInput, Stated, inside, why_of
from kb.base.files import open_plain
from kb.base.messages import Said, Wording
from kb.base.parsing import json_of, toml_of

MOST_BYTES: Final = 8 * 1024 * 1024  #: a file of visits or jobs, at most
_PARSED: Final = Said("expected/json-or-toml")


@contextmanager
def opened(name: str) -> Iterator[tuple[IO[bytes], Wording]]:
    """(open file, place) of a file, or of stdin for ``-``.

    Raises BadInput if it is missing or is no file, or if reading it fails.
    """
    place = Said("place/standard-input") if name == "-" else name
    with ExitStack() as stack:
        try:
            file: IO[bytes] = sys.stdin.buffer
            if name != "-":
                plain = open_plain(Path(name), place, Said("expected/file-or-input"))
                file = stack.enter_context(plain)
        except FileNotFoundError:
            raise BadInput(place, Stated("error/file-not-found")) from None
        except OSError as trouble:
            raise _unreadable(place, trouble) from None
        except ValueError:
            raise BadInput(Said("place/file-name"), name, Said("expected/allowed-name")) from None
        try:
            yield file, place
        except OSError as trouble:
            raise _unreadable(place, trouble) from None


def _unreadable(place: Wording, trouble: OSError) -> BadInput:
    return BadInput(place, Stated("error/cannot-be-read", why=why_of(trouble)))


def read_bytes(name: str, most: int = MOST_BYTES) -> tuple[bytes, Wording]:
    """(bytes, place) of a file, or of stdin for ``-``.

    Raises BadInput as :func:`opened` does, and if it is larger than ``most`` bytes.
    """
    with opened(name) as (file, place):
        raw = file.read(most + 1)
    if len(raw) > most:
        raise BadInput(
            place, Said("seen/more-than-mib", most=most // 1024 // 1024), Said("expected/smaller-file")
        )
    return raw, place


def read_text(name: str, most: int = MOST_BYTES, expected: Wording = _PARSED) -> tuple[str, Wording]:
    """(text, place) of a file, or of stdin for ``-``.

    Raises BadInput as :func:`read_bytes` does, and where it is no UTF-8 or empty; ``expected`` says what
    was expected there.
    """
    raw, place = read_bytes(name, most)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as wrong:
        raise BadInput(
            inside(place, Said("place/byte", number=wrong.start)),
            Said("seen/not-utf-8"),
            Said("expected/text-in-utf-8"),
        ) from None
    if not text.strip():
        raise BadInput(place, Said("seen/empty-file"), expected)
    return text, place


def read_data(name: str, most: int = MOST_BYTES) -> tuple[Any, Wording]:
    """(parsed JSON or TOML, place). TOML by its ending; without one, JSON is tried first.

    Raises BadInput with the line where the file is neither.
    """
    text, place = read_text(name, most)
    if name.lower().endswith(".toml"):
        return toml_of(text, place, _PARSED), place
    try:
        return json_of(text, place, by_line=True), place
    except BadInput:
        looks_json = text.lstrip()[:1] in "{[\"'" and not _TABLE.match(text)
        if name.lower().endswith(".json") or looks_json:
            raise
        return toml_of(text, place, _PARSED), place


#: ``[loop]`` or ``[[jobs]]`` on the first line: TOML may begin as a list in JSON does.
_TABLE: Final = re.compile(r"\s*\[\[?\s*[A-Za-z_][\w.-]*\s*\]\]?[ \t]*(#.*)?$", re.MULTILINE)
