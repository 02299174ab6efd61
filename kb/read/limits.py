"""Bound what photos and manuals may be, and what the programs that look at them may take.

``decoder``, ``recogniser`` and ``pdf_text`` are these programs. Of ours, each imports only this module. Each
gets its limits from the program that starts it, and holds itself to them.
"""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import asdict, dataclass
from typing import Final

_MB: Final = 1024 * 1024


@dataclass(frozen=True)
class Limits:
    """What every such program may take."""

    memory: int  #: bytes of addresses, where the system can hold a program to it
    seconds: int  #: of the processor: for one photo, or one manual

    def text(self) -> str:
        """For the command line."""
        return json.dumps(asdict(self))


@dataclass(frozen=True)
class DecoderLimits(Limits):
    """What a photo may be, and how it is kept."""

    edge: int  #: pixels of the longer side of the result
    quality: int  #: of the result, as JPEG has it
    pixels: int  #: of a JPEG, which is read at a fraction of its size
    pixels_whole: int  #: of the other kinds, of which every pixel is held in memory, several times
    scans: int  #: of a JPEG: each goes over the whole picture again


@dataclass(frozen=True)
class PdfLimits(Limits):
    """What a manual may be, and what is wanted of it."""

    pages: int
    edge: int  #: pixels of the longer side of the picture of a page
    pictures: tuple[int, ...] = ()  #: pages wanted as pictures; none: the text of all


PHOTO_BYTES: Final = 25 * _MB  #: of one photo as it is sent (OWASP ASVS 5.0, 5.2.1)
#: Pixels (5.2.6): more than the cameras of phones send. Edge: a mark is still read. 64 scans: encoders make
#: ten for a progressive JPEG of three colours (common practice).
DECODER: Final = DecoderLimits(
    memory=600 * _MB,
    seconds=10,
    edge=2048,
    quality=82,
    pixels=60_000_000,
    pixels_whole=25_000_000,
    scans=64,
)
DECODER_WAIT_S: Final = 30  #: for one photo to be decoded, whatever else the machine does

#: About a quarter of the addresses is used.
RECOGNISER: Final = Limits(memory=3 * 1024 * _MB, seconds=60)
RECOGNISER_WAIT_S: Final = 300  #: for one picture to be read, whatever else the machine does

MANUAL_BYTES: Final = 100 * _MB  #: of one manual; with many photos they have 30 MB (common practice)
#: A manual in a dozen languages has 300 pages (common practice).
PDF: Final = PdfLimits(memory=1024 * _MB, seconds=60, pages=600, edge=2000)
PDF_WAIT_S: Final = 120  #: for one manual, whatever else the machine does
SCANNED_PAGES: Final = 80  #: of one manual that are read as pictures; each takes seconds


class Refused(Exception):
    """What was seen and what was expected, each as the key of a sentence and its values (``of``)."""

    def __init__(self, seen: tuple[str, dict[str, int]], expected: tuple[str, dict[str, int]]) -> None:
        super().__init__(seen, expected)


def of(key: str, **values: int) -> tuple[str, dict[str, int]]:
    """A sentence of ``Refused``."""
    return key, values


def hold_to(memory: int, seconds: int | None = None) -> None:
    """Hold this process to so much memory and time of the processor, to no files and no dumps."""
    with suppress(ImportError):
        import resource  # not on Windows

        most = {resource.RLIMIT_AS: memory, resource.RLIMIT_FSIZE: 0, resource.RLIMIT_CORE: 0}
        if seconds is not None:
            most[resource.RLIMIT_CPU] = seconds
        for what, value in most.items():
            with suppress(OSError, ValueError):  # macOS knows some of them by name only
                resource.setrlimit(what, (value, value))
