"""Read the lines of a file one at a time, bounded, plain or gzip.

>>> import io
>>> [one.text for one in lines_of(io.BytesIO(b"one\\ntwo"), "notes")]
['one\\n', 'two']
"""

from __future__ import annotations

import gzip
import os
import sys
import tempfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Final, NamedTuple, cast

from kb.base.errors import BadInput, BookTrouble, Stated, inside, why_of
from kb.base.files import open_plain
from kb.base.messages import Said, Wording

LINE_BYTES: Final = 1024 * 1024  #: one line, at most; a visit of 64 jacks with every field full fits
FILE_BYTES: Final = 1024 * 1024 * 1024  #: a whole file, unpacked, at most
_END: Final = len(b"\r\n")
_EMPTY: Final = 100_000  #: empty lines, at most
_FREELY: Final = 64 * 1024 * 1024  #: bytes that a packed file may come to, however small it is
_DENSEST: Final = 200  #: bytes of notes to a packed byte beyond that; tables come to 5 to 30 (measured)
_GZIP: Final = b"\x1f\x8b"  # RFC 1952, section 2.3.1

#: Called with how many bytes of the file were read so far.
Told = Callable[[int], None]


class Line(NamedTuple):
    """One line with its end, and its number from 1."""

    number: int
    text: str


@contextmanager
def opened(name: str, most: int = FILE_BYTES) -> Iterator[tuple[IO[bytes], Wording, int]]:
    """Yield (file, place, bytes) of a file, or of stdin for ``-``; the file can be read again from its start.

    Raises BadInput if it is missing, is no file or is larger than ``most`` bytes.
    """
    place: Wording = Said("place/standard-input") if name == "-" else name
    with tempfile.TemporaryFile() if name == "-" else _opened(name) as file:
        if name == "-":
            _keep_input(file, most, place)
        size = os.fstat(file.fileno()).st_size
        _fits(size, most, place)
        yield file, place, size


def _opened(name: str) -> IO[bytes]:
    try:
        return open_plain(Path(name), name, Said("expected/file-or-input"))
    except FileNotFoundError:
        raise BadInput(name, Stated("error/file-not-found")) from None
    except OSError as trouble:
        raise BookTrouble(Said("error/place-why", place=name, why=why_of(trouble))) from trouble
    except ValueError:
        raise BadInput(Said("place/file-name"), name, Said("expected/allowed-name")) from None


def _keep_input(kept: IO[bytes], most: int, place: Wording) -> None:
    """Copy stdin into a file that can be read twice."""
    size = 0
    while some := sys.stdin.buffer.read(1 << 20):
        size += len(some)
        _fits(size, most, place)
        kept.write(some)
    kept.flush()
    kept.seek(0)


def _fits(size: int, most: int, place: Wording) -> None:
    if size > most:
        raise BadInput(
            place, Said("seen/more-than-mib", most=most // 1024 // 1024), Said("expected/smaller-file")
        )


def unpacked(file: IO[bytes]) -> IO[bytes]:
    """Return the file itself, or its content if it is gzip (by any name)."""
    start = file.read(len(_GZIP))
    file.seek(0)
    return cast(IO[bytes], gzip.GzipFile(fileobj=file)) if start == _GZIP else file


def lines_of(
    file: IO[bytes],
    place: Wording,
    *,
    encoding: str = "utf-8-sig",
    most: int = FILE_BYTES,
    told: Told | None = None,
) -> Iterator[Line]:
    """Yield the lines of a file, each at most ``LINE_BYTES``; raises BadInput naming the wrong line."""
    done = number = empty = 0
    packed = isinstance(file, gzip.GzipFile)
    while True:
        try:
            raw = file.readline(LINE_BYTES + 1)
        except (EOFError, zlib.error, gzip.BadGzipFile) as wrong:
            raise BadInput(place, str(wrong), Said("expected/whole-gzip")) from None
        if not raw:
            return
        number += 1
        done += len(raw)
        if len(raw) > LINE_BYTES:
            raise BadInput(
                inside(place, Said("place/line", number=number)),
                Said("seen/more-than-bytes", most=LINE_BYTES),
                Said("expected/shorter-line"),
            )
        _fits(done, most, place)
        empty += len(raw) <= _END
        if empty > _EMPTY:
            raise BadInput(place, Said("seen/more-than-empty-lines", most=_EMPTY), Said("expected/notes"))
        if (
            packed
            and done > _FREELY
            and done > _DENSEST * cast(IO[bytes], cast(gzip.GzipFile, file).fileobj).tell()
        ):
            raise BadInput(place, Said("seen/endless-gzip"), Said("expected/notes"))
        try:
            text = raw.decode(encoding if number == 1 else encoding.replace("utf-8-sig", "utf-8"))
        except UnicodeError:  # some alphabets raise nothing more exact
            expected = Said("expected/text-in-encoding", encoding=encoding.removesuffix("-sig").upper())
            raise BadInput(
                inside(place, Said("place/line", number=number)), Said("seen/invalid-bytes"), expected
            ) from None
        if told:
            told(done)
        yield Line(number, text)
