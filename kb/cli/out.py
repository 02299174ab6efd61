"""How does a page or a picture get into the file that the user names? Whole, or not at all."""

from __future__ import annotations

import sys
from pathlib import Path

from kb.errors import BadInput, BookTrouble
from kb.whole import USUAL, whole


def write_out(name: str, content: str | bytes, option: str, mode: int = USUAL) -> int:
    """Write ``content``, text as UTF-8, to the file ``name``, ``-`` for stdout; returns its bytes.

    A file that is there is replaced when the new one is complete. Raises BadInput where the name is none
    that can be written to, BookTrouble where writing fails.
    """
    raw = content.encode("utf-8") if isinstance(content, str) else content
    if name == "-":
        sys.stdout.buffer.write(raw)
        sys.stdout.buffer.flush()
        return len(raw)
    path = Path(name)
    try:
        if path.is_dir():
            raise BadInput(option, name, "a file, not a folder")
        if not path.parent.is_dir():
            raise BadInput(option, name, "a file in a folder that is there")
        if path.exists() and not path.is_file():  # a pipe or a device is written to as it is
            path.write_bytes(raw)
            return len(raw)
        with whole(path.resolve(), mode) as file:
            file.write(raw)
    except OSError as trouble:
        raise BookTrouble(
            f"{option} {name}: could not be written ({trouble.strerror or trouble})"
        ) from trouble
    except ValueError:
        raise BadInput(option, name, "a name that the system allows") from None
    return len(raw)
