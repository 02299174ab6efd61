"""Recognise the text in pictures, in a process of its own, without a network.

``picture`` starts it and sends one picture after another; this module imports nothing of ours. Each picture
comes on stdin as its length (four bytes) and its content. Each answer is one line of JSON on stdout: the
picture's size and a list of text, four corners and confidence.
"""

from __future__ import annotations

import io
import json
import sys
from contextlib import suppress
from typing import Any, Final

MOST_ANSWER: Final = 4 * 1024 * 1024  #: bytes of one answer
_MOST_PIECES: Final = 1000
_OFFLINE: Final = ("socket.connect", "socket.getaddrinfo", "socket.sendto", "socket.gethostbyname")


class NetworkForbidden(RuntimeError):
    """Something here wanted to use a network."""


def forbid_network() -> None:
    """Let every later attempt of this process to reach a network fail (PEP 578)."""

    def watch(event: str, _: object) -> None:
        if event.startswith(_OFFLINE):
            raise NetworkForbidden(event)

    sys.addaudithook(watch)


def engine() -> Any:
    """Return the library's reader with the models that are in its wheel."""
    from rapidocr import RapidOCR

    return RapidOCR(
        params={
            "Global.log_level": "critical",
            "EngineConfig.onnxruntime.intra_op_num_threads": 1,  # several wait for each other by spinning
            "EngineConfig.onnxruntime.inter_op_num_threads": 1,
        }
    )


def recognised(content: bytes, reader: Any) -> dict[str, Any]:
    """Return size and pieces of a picture, as ``picture.Reading`` has them."""
    import numpy as np
    from PIL import Image

    with Image.open(io.BytesIO(content), formats=("JPEG", "PNG")) as picture:
        pixels = np.asarray(picture.convert("RGB"))[:, :, ::-1]  # the library takes blue first
    high, wide = pixels.shape[:2]
    found = reader(np.ascontiguousarray(pixels))
    pieces = []
    if found.boxes is not None:
        for corners, text, sure in list(zip(found.boxes, found.txts, found.scores, strict=True)):
            places = [[round(float(x), 1), round(float(y), 1)] for x, y in corners]
            pieces.append([text, places, round(float(sure), 4)])
    return {"width": wide, "height": high, "pieces": pieces[:_MOST_PIECES]}


def _held_to(memory: int) -> None:
    with suppress(ImportError):
        import resource  # not on Windows

        for what, most in (
            (resource.RLIMIT_AS, memory),
            (resource.RLIMIT_FSIZE, 0),
            (resource.RLIMIT_CORE, 0),
        ):
            with suppress(OSError, ValueError):
                resource.setrlimit(what, (most, most))


def _grant(seconds: int) -> None:
    """Allow the next picture so many seconds of the processor."""
    with suppress(ImportError):
        import resource

        used = resource.getrusage(resource.RUSAGE_SELF)
        _, hard = resource.getrlimit(resource.RLIMIT_CPU)
        with suppress(OSError, ValueError):
            resource.setrlimit(resource.RLIMIT_CPU, (int(used.ru_utime + used.ru_stime) + seconds + 1, hard))


def main() -> int:
    """Answer until stdin ends."""
    limits = json.loads(sys.argv[1])
    _held_to(limits["memory"])
    _grant(limits["seconds"])
    forbid_network()
    answers = sys.stdout
    sys.stdout = sys.stderr  # whatever a library prints is no answer
    try:
        reader = engine()
    except Exception as problem:  # a library that is missing, damaged, or not for this machine
        answers.write(json.dumps({"error": str(problem)[:200]}) + "\n")
        return 1
    stdin = sys.stdin.buffer
    while size := stdin.read(4):
        content = stdin.read(int.from_bytes(size, "big"))
        _grant(limits["seconds"])
        try:
            answer = recognised(content, reader)
        except Exception:  # out of memory, as each of the libraries says it
            return 2
        answers.write(json.dumps(answer) + "\n")
        answers.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main())
