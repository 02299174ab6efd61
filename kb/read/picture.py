"""Read the text in a picture, with its places, in processes that can be stopped.

A picture from anywhere is decoded and encoded again by ``decoder``; ``recogniser`` then reads the result.
Both are processes of their own with limits on memory and time, and neither uses a network.
"""

from __future__ import annotations

import io
import json
import math
import subprocess
import threading
from contextlib import suppress
from dataclasses import dataclass
from importlib.util import find_spec
from typing import Final, NamedTuple, Self

from kb.base.errors import BadInput, MissingExtra, Stated
from kb.base.messages import Said, Wording
from kb.read import child, decoder, limits, recogniser
from kb.read.quality import Measures, flaws

_CUT: Final = 640  # pixels of a piece that is shown, at most
_INSTALL_AGAIN: Final = Said("do/install-reader")
_LIBRARIES: Final = ("rapidocr", "onnxruntime", "cv2", "PIL")


class Piece(NamedTuple):
    """Hold a piece of text on a picture: a word, or several on one line.

    ``corners`` are four points (x, y) in pixels, from the left and the top: clockwise from the beginning of
    the text's upper edge. ``sure`` is the reader's own confidence, from 0 to 1. ``others`` are other readings
    of the same place, likelier ones first.
    """

    text: str
    corners: tuple[tuple[float, float], ...]
    sure: float
    others: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Reading:
    """Hold what was read on one picture, whose upright size is ``width`` by ``height`` pixels."""

    width: int
    height: int
    pieces: tuple[Piece, ...]
    measures: Measures | None = None

    @property
    def flaws(self) -> tuple[str, ...]:
        """What is wrong with the photo itself (``quality.FLAWS``)."""
        return flaws(self.measures, [math.dist(one.corners[0], one.corners[3]) for one in self.pieces])


class PictureReader:
    """Read pictures one after another in one process, which is started at the first and ends at ``close``.

    Not for several threads at once. Raises MissingExtra if the extra ``read`` is not installed; ``place``
    names who wanted it.
    """

    def __init__(self, place: Wording = "photo") -> None:
        if name := missing_library():
            raise MissingExtra(place, name, "read")
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End the process, whatever it does."""
        if self._process is not None:
            self._process.kill()
            self._process.communicate()
            self._process = None

    def read(
        self,
        picture: bytes,
        place: Wording = "photo",
        *,
        closer: bool = False,
        label: bool = False,
    ) -> Reading:
        """Return the text of a JPEG that ``cleaned`` made, or of another picture of our own making.

        ``label``: all lines run in one direction, and those that are not certain are read again; ``closer``
        then looks only where most of the text is. Without ``label``, ``closer`` looks at all of a panel, in
        even light and with less grain. Raises BadInput if reading takes more than its limits, BookTrouble if
        the process cannot be started.
        """
        process = self._started(place)
        assert process.stdin is not None
        assert process.stdout is not None
        head = bytes([closer + 2 * label]) + len(picture).to_bytes(4, "big")
        late = threading.Timer(limits.RECOGNISER_WAIT_S, process.kill)
        late.start()
        try:
            with suppress(OSError):  # it has ended, and so its answer is missing
                process.stdin.write(head + picture)
                process.stdin.flush()
            answer = process.stdout.readline(recogniser.MOST_ANSWER)
        finally:
            late.cancel()
        try:
            said = json.loads(answer)
            if "error" in said:
                raise BadInput(place, Stated("error/reader-cannot-start", why=said["error"]), _INSTALL_AGAIN)
            pieces = [
                Piece(
                    str(text),
                    tuple((float(x), float(y)) for x, y in corners),
                    float(sure),
                    tuple(map(str, others)),
                )
                for text, corners, sure, others in said["pieces"]
            ]
            measures = Measures(*map(float, said["measures"]))
            return Reading(int(said["width"]), int(said["height"]), tuple(pieces), measures)
        except (ValueError, TypeError, KeyError):
            self.close()
            raise costly(place) from None

    def _started(self, place: Wording) -> subprocess.Popen[bytes]:
        if self._process is None:
            try:
                self._process = subprocess.Popen(  # noqa: S603
                    child.command(recogniser.__file__, limits.RECOGNISER.text()),
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    stderr=subprocess.DEVNULL,
                    env=child.environment(),
                )
            except OSError as problem:
                raise child.not_now(place, problem) from problem
        return self._process


def missing_library() -> str:
    """Return the name of a library of the extra ``read`` that is not installed; "" if all are."""
    return next((name for name in _LIBRARIES if not can_import(name)), "")


def cut_out(picture: bytes, piece: Piece) -> bytes:
    """Return the part of a JPEG of ours that shows a piece of text, level and with a margin, as a JPEG."""
    from PIL import Image

    (x0, y0), (x1, y1), _, (x3, y3) = piece.corners
    wide, high = math.hypot(x1 - x0, y1 - y0) or 1.0, math.hypot(x3 - x0, y3 - y0) or 1.0
    # A step to the right in the result, and a step down, as steps in the picture.
    right, down = ((x1 - x0) / wide, (y1 - y0) / wide), ((x3 - x0) / high, (y3 - y0) / high)
    margin = high / 2
    size = (max(1, round(wide + 2 * margin)), max(1, round(high + 2 * margin)))
    left, top = x0 - margin * (right[0] + down[0]), y0 - margin * (right[1] + down[1])
    level = (right[0], down[0], left, right[1], down[1], top)
    out = io.BytesIO()
    with Image.open(io.BytesIO(picture), formats=("JPEG",)) as whole:
        shown = whole.transform(size, Image.Transform.AFFINE, level, Image.Resampling.BILINEAR)
        shown.thumbnail((_CUT, _CUT))
        shown.save(out, "JPEG", quality=limits.DECODER.quality)
    return out.getvalue()


def can_import(name: str) -> bool:
    """Return whether a library is installed, without loading it."""
    try:
        return find_spec(name) is not None
    except (ImportError, ValueError):
        return False


def cleaned(sent: bytes, place: Wording = "photo") -> bytes:
    """Return the picture as a JPEG of our own: upright, of bounded size, without metadata.

    It is decoded by another process (``decoder``) within ``limits``. Raises BadInput naming
    what was seen; BookTrouble if that process cannot be started.
    """
    child.bound(sent, limits.PHOTO_BYTES, place)
    command = child.command(decoder.__file__, limits.DECODER.text())
    try:
        done = subprocess.run(  # noqa: S603
            command, input=sent, capture_output=True, env=child.environment(), timeout=limits.DECODER_WAIT_S
        )
    except subprocess.TimeoutExpired as late:
        raise costly(place) from late
    except OSError as problem:
        raise child.not_now(place, problem) from problem
    if done.returncode == 0:
        return done.stdout
    if done.returncode == 1 and (wrong := child.refused(place, done.stdout)):
        raise wrong
    raise costly(place)  # out of memory or time, or a decoder that crashed


def costly(place: Wording) -> BadInput:
    """Return the message about a picture that exceeds the limits."""
    return BadInput(
        place,
        Said("seen/heavy-picture"),
        Said("expected/phone-photo"),
    )
