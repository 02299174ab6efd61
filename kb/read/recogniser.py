"""Recognise the text in pictures, in a process of its own, without a network.

``picture`` starts it and sends one picture after another; this module imports little of ours. Each picture
comes on stdin as a byte (1: look closer, 2: it is a label, 3: both), its length (four bytes) and its content.
Each answer is a line of JSON on stdout: the picture's size, its measures (``quality``), and a list of text,
four corners, confidence and other readings of the same place.
"""

from __future__ import annotations

import io
import itertools
import json
import math
import sys
from contextlib import suppress
from typing import Any, Final, NamedTuple

from kb.read.limits import Limits, hold_to
from kb.read.quality import measured

MOST_ANSWER: Final = 4 * 1024 * 1024  #: bytes of one answer
_MOST_PIECES: Final = 1000
_LIKELY_BOX: Final = 0.5  # of the confidence that a box holds text; the library keeps what was set last
_LEAST_BOX: Final = 0.35  # the same, at the closer look
_LEAST_SURE: Final = 0.35  # of the confidence of what is read
_SEARCHED: Final = 1280  # pixels of the longer side in which text is searched; it is read in all of them
_HIGH: Final = 1.5  # so many times as high as wide, a box is taken for one that lies on its side
_OFFLINE: Final = ("socket.connect", "socket.getaddrinfo", "socket.sendto", "socket.gethostbyname")


class Read(NamedTuple):
    """Hold a line as it was read; ``at``: the middle of each sign, as a share of the line's width."""

    text: str
    sure: float
    at: list[float]


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
    import numpy as np
    from rapidocr import RapidOCR

    class Upright(RapidOCR):  # type: ignore[misc]
        """Its corners begin where the text begins, also on a photo that lies on its side."""

        def build_final_output(self, picture: Any, boxes: Any, turned: Any, *more: Any) -> Any:
            if boxes.boxes is not None and turned.cls_res:
                pairs = zip(boxes.boxes, turned.cls_res, strict=True)
                least = self.cfg.Cls.cls_thresh
                boxes.boxes = np.array(
                    [from_start(box, "180" in said and sure > least) for box, (said, sure) in pairs]
                )
            return super().build_final_output(picture, boxes, turned, *more)

        def averaged(self, lines: list[Any]) -> list[Read]:
            """Return what pictures of one line, of one size, show together: as it is, and in Latin."""
            model = self._load_rec_model()
            shape, (high, wide) = model.rec_image_shape, lines[0].shape[:2]
            most = max(shape[2] / shape[1], wide / high)
            batch = np.stack([model.resize_norm_img(line, most) for line in lines])
            seen = model.session(batch).mean(axis=0)
            signs = model.postprocess_op.character
            latin = np.array([sign == "blank" or _is_latin(sign) for sign in signs], np.float32)
            scale = most * high / wide / len(seen)
            return [_decoded(one, signs, scale) for one in (seen, seen * latin)]

    return Upright(
        params={
            "Global.log_level": "critical",
            "EngineConfig.onnxruntime.intra_op_num_threads": 1,  # several wait for each other by spinning
            "EngineConfig.onnxruntime.inter_op_num_threads": 1,
            "Det.limit_type": "max",
            "Det.limit_side_len": _SEARCHED,
        }
    )


def from_start(box: Any, turned: bool) -> list[Any]:
    """Return the corners of a box from the beginning of its text's upper edge on.

    The library lays a high box on its side, its upper right corner first, and turns it by 180 degrees if it
    then finds the text ``turned``.

    >>> from_start([(0, 0), (9, 0), (9, 2), (0, 2)], turned=True)
    [(9, 2), (0, 2), (0, 0), (9, 0)]
    >>> from_start([(0, 0), (2, 0), (2, 9), (0, 9)], turned=False)
    [(2, 0), (2, 9), (0, 9), (0, 0)]
    """
    wide = max(math.dist(box[0], box[1]), math.dist(box[2], box[3]))
    high = max(math.dist(box[0], box[3]), math.dist(box[1], box[2]))
    first = (high >= _HIGH * wide) + 2 * turned
    return [box[(first + corner) % 4] for corner in range(4)]


def recognised(content: bytes, reader: Any, *, closer: bool = False, label: bool = False) -> dict[str, Any]:
    """Return what ``picture.Reading`` has of a picture; ``label``: be thorough."""
    import numpy as np
    from PIL import Image

    with Image.open(io.BytesIO(content), formats=("JPEG", "PNG")) as picture:
        pixels: Any = np.asarray(picture.convert("RGB"))[:, :, ::-1]  # the library takes blue first
    high, wide = pixels.shape[:2]
    if label:
        pieces = label_lines(pixels, reader, closer=closer)
    elif closer:
        pieces = panel_lines(pixels, reader)
    else:
        pieces = _whole(np.ascontiguousarray(pixels), reader)
    seen = measured(np.ascontiguousarray(pixels))
    return {"width": wide, "height": high, "measures": seen, "pieces": pieces[:_MOST_PIECES]}


def _whole(pixels: Any, reader: Any) -> list[list[Any]]:
    found = reader(pixels, use_det=True, use_cls=True, use_rec=True, box_thresh=_LIKELY_BOX)
    if found.boxes is None:
        return []
    return [
        [text, _places(corners), round(float(sure), 4), []]
        for corners, text, sure in zip(found.boxes, found.txts, found.scores, strict=True)
    ]


def _boxes(pixels: Any, scale: float, reader: Any, least: float) -> list[tuple[Any, float]]:
    """Return boxes that may hold text, and how sure that is, found in a picture of this scale."""
    import cv2

    small = cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    found = reader(small, use_det=True, use_cls=False, use_rec=False, box_thresh=least)
    if found.boxes is None:
        return []
    return [(box / scale, sure) for box, sure in zip(found.boxes, found.scores, strict=True)]


def _places(box: Any) -> list[list[float]]:
    return [[round(float(x), 1), round(float(y), 1)] for x, y in box]


def _part(grey: Any) -> tuple[int, int, int, int]:
    """Return left, top, right and lower edge of the part with the most fine detail: that is where text is."""
    import cv2
    import numpy as np

    calm = cv2.GaussianBlur(grey, (0, 0), 1.5).astype(np.float32)
    even = calm / (cv2.GaussianBlur(calm, (0, 0), 25) + 12)  # detail in the shadow weighs as much
    fine = np.abs(even - cv2.GaussianBlur(even, (0, 0), 6))
    small = cv2.resize(fine, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    much = cv2.boxFilter(np.minimum(small, np.percentile(small, 99)), -1, (15, 15))
    least = 0.4 * (np.percentile(much, 50) + np.max(much))
    _, parts, boxes, _ = cv2.connectedComponentsWithStats((much > least).astype(np.uint8))
    sums = np.bincount(parts.ravel(), much.ravel())
    sums[0] = 0
    x, y, wide, high = (int(one) * 4 for one in boxes[int(np.argmax(sums))][:4])
    beside, above = 30 + wide // 6, 30 + high // 6
    return (
        max(0, x - beside),
        max(0, y - above),
        min(grey.shape[1], x + wide + beside),
        min(grey.shape[0], y + high + above),
    )


# -- panels ----------------------------------------------------------------------------------------------

_FINE: Final = 1.0  # radius of the grain, in pixels
_GRAIN: Final = (1.0, 1.6)  # radii of the grain taken from a line; a third picture of it is as photographed
_MOST_TEXTS: Final = 100  # of a panel; grain looks like hundreds of them
_GAP: Final = 1.15  # heights between the middles of two letters that belong to two texts
_HALF: Final = 0.5  # heights from the middle of a letter to the end of its box, at most
_LYING: Final = 2.5  # so many times as high as wide, a text lies on its side whatever the others do
_READ_WELL: Final = 0.97  # a line read with less is read in all grains


def panel_lines(pixels: Any, reader: Any) -> list[list[Any]]:
    """Return the pieces of a panel in much grain, wherever they are on the photo.

    A line is read from several pictures of it at once: what grain looks like in one of them it does not look
    like in the others.
    """
    import numpy as np

    pixels = np.ascontiguousarray(pixels)
    scale = min(1.0, _SEARCHED / max(pixels.shape[:2]))
    found = _boxes(_even(pixels, _FINE, 25, 45), scale, reader, _LEAST_BOX)
    found = sorted(found, key=lambda one: -one[1])[:_MOST_TEXTS]
    boxes = _widened([box for box, _ in found])
    lines = _upright([(box, _cut(pixels, box)) for box in boxes], reader)
    read = [(box, line.shape[1] / line.shape[0], _read_in_grain(line, reader)) for box, line in lines]
    letters = "".join(every.text for _, _, (every, _) in read if every.sure >= _READ_WELL)
    latin = 2 * sum(map(_is_latin, letters)) >= len(letters)  # else grain is read as letters of any script
    return [
        [text, _places(part), round(said[latin].sure, 4), []]
        for box, wide, said in read
        if said[latin].sure >= _LEAST_SURE
        for text, part in _apart(said[latin], box, wide)
    ]


def _decoded(seen: Any, signs: list[str], scale: float) -> Read:
    """Return the signs that are likeliest in each column: one that is not the blank, nor that before it."""
    import numpy as np

    best = seen.argmax(axis=1)
    at = np.flatnonzero((best != 0) & (np.diff(best, prepend=-1) != 0))
    sure = float(seen[at, best[at]].mean()) if len(at) else 0.0
    return Read("".join(signs[best[one]] for one in at), sure, [(float(one) + 0.5) * scale for one in at])


def _apart(read: Read, box: Any, wide: float) -> list[tuple[str, Any]]:
    """Return the texts of a line that are far from each other, with the parts of the box that they take.

    ``wide``: the width of the line in heights. A box may go on where nothing is printed.
    """
    import numpy as np

    printed = [number for number, sign in enumerate(read.text) if not sign.isspace()]
    signs = [read.at[number] for number in printed]
    gaps = [number for number in range(1, len(signs)) if (signs[number] - signs[number - 1]) * wide > _GAP]
    first, second, third, fourth = map(np.array, box)
    over, under = second - first, third - fourth
    out = []
    for begin, end in itertools.pairwise((0, *gaps, len(signs))) if signs else ():
        left, right = max(0.0, signs[begin] - _HALF / wide), min(1.0, signs[end - 1] + _HALF / wide)
        part = [first + left * over, first + right * over, fourth + right * under, fourth + left * under]
        out.append((read.text[printed[begin] : printed[end - 1] + 1], part))
    return out


def _is_latin(text: str) -> bool:
    return all(sign < "\u0180" for sign in text)


def _widened(boxes: list[Any]) -> list[Any]:
    """Widen the boxes of single letters, which are high, among texts that are level."""
    import numpy as np

    sizes = [(math.dist(box[0], box[1]), math.dist(box[0], box[3])) for box in boxes]
    level = 2 * sum(wide > high for wide, high in sizes) >= len(sizes)
    out = []
    for box, (wide, high) in zip(boxes, sizes, strict=True):
        if level and _HIGH * wide <= high < _LYING * wide:
            along = (np.array(box[1]) - box[0]) / wide * (high * 0.9 - wide) / 2
            box = np.array(box) + np.array([-along, along, along, -along])
        out.append(box)
    return out


def _read_in_grain(line: Any, reader: Any) -> list[Read]:
    """Return what a line says: as it is, and if its letters are Latin."""
    even = _even(line, _GRAIN[0], 15, 45)
    first: list[Read] = reader.averaged([even])
    if first[1].sure >= _READ_WELL:
        return first
    return list(reader.averaged([even, _even(line, _GRAIN[1], 15, 45), line]))


# -- labels ----------------------------------------------------------------------------------------------

_LABEL_SEARCHED: Final = 960  # small print in much grain is found more often in a smaller picture, and sooner
_MOST_LINES: Final = 40  # of a label; grain looks like hundreds of them
_MOST_AGAIN: Final = 20  # lines that are read again
_DOUBTED: Final = 0.98  # a line read with less is read again
_TRIED_TURNED: Final = 3  # so many lines tell which way up a label is


def label_lines(pixels: Any, reader: Any, *, closer: bool) -> list[list[Any]]:
    """Return the pieces of a label. Lines are searched in a small picture, and read in the large one.

    A line with a digit that is not read with certainty is read again: with less grain, with more contrast,
    and without the name of its field.
    """
    import cv2
    import numpy as np

    left, top, part = 0, 0, np.ascontiguousarray(pixels)
    if closer:
        grey = cv2.cvtColor(part, cv2.COLOR_BGR2GRAY)
        left, top, right, low = _part(grey)
        part = _even(part[top:low, left:right], 0.7, 25, 55)
    scale = min(1.0, _LABEL_SEARCHED / max(part.shape[:2]))
    if closer:
        scale = max(min(0.8, scale), min(1.5, 0.4 * _LABEL_SEARCHED / max(part.shape[:2])))
    seen = _boxes(part, scale, reader, _LEAST_BOX if closer else _LIKELY_BOX)
    best = sorted(range(len(seen)), key=lambda number: -seen[number][1])[:_MOST_LINES]
    boxes = [seen[number][0] + (left, top) for number in sorted(best)]
    lines = _upright([(box, _cut(pixels, box)) for box in boxes], reader)
    pieces = []
    again = 0
    for box, line in lines:
        first = _read_once(line, reader)
        text, sure, _ = first
        doubted = again < _MOST_AGAIN and _is_doubted(text, sure)
        again += doubted
        others = _read_again(line, first, reader) if doubted else []
        if text.strip() and sure >= _LEAST_SURE:
            pieces.append([text, _places(box), round(sure, 4), others])
    return pieces


def _cut(pixels: Any, box: Any) -> Any:
    """Return what a box of four corners shows, level; a high one is laid on its side."""
    import cv2
    import numpy as np

    wide = max(math.dist(box[0], box[1]), math.dist(box[2], box[3]), 1)
    high = max(math.dist(box[0], box[3]), math.dist(box[1], box[2]), 1)
    size = max(1, round(wide)), max(1, round(high))
    to = np.array([(0, 0), (size[0], 0), size, (0, size[1])], np.float32)
    level = cv2.getPerspectiveTransform(np.array(box, np.float32), to)
    line = cv2.warpPerspective(pixels, level, size, borderMode=cv2.BORDER_REPLICATE, flags=cv2.INTER_CUBIC)
    return np.rot90(line) if high >= _HIGH * wide else line


def _upright(lines: list[tuple[Any, Any]], reader: Any) -> list[tuple[Any, Any]]:
    """Turn all lines of a picture, if its largest ones are read with more certainty on their heads."""
    import numpy as np

    largest = sorted((line for _, line in lines), key=lambda line: -line.shape[0] * line.shape[1])
    gain = 0.0
    for line in largest[:_TRIED_TURNED]:
        (_, sure, _), (_, head, _) = _read_once(line, reader), _read_once(_on_its_head(line), reader)
        gain += head**2 - sure**2
    turned = gain > 0
    return [
        (from_start(box, turned), _on_its_head(line) if turned else np.ascontiguousarray(line))
        for box, line in lines
    ]


def _on_its_head(line: Any) -> Any:
    import numpy as np

    return np.ascontiguousarray(line[::-1, ::-1])


def _is_doubted(text: str, sure: float) -> bool:
    """Return whether a line may be another text, and may be the model."""
    return _LEAST_SURE <= sure < _DOUBTED and any(map(str.isdigit, text))


def _read_again(line: Any, first: tuple[str, float, Any], reader: Any) -> list[str]:
    """Return other readings of a line, of which each follows from another picture of it."""
    found = []
    for changed in (_calm(line), _sharp(line)):
        again = _read_once(changed, reader)
        found.append(again[:2])
        found += _with_value(changed, again, reader)
    found += _with_value(line, first, reader)
    texts = dict.fromkeys(text for text, sure in found if sure >= _LEAST_SURE and text.strip())
    texts.pop(first[0], None)
    return list(texts)


def _with_value(line: Any, said: tuple[str, float, Any], reader: Any) -> list[tuple[str, float]]:
    """Return the text of a line whose value was read alone, and the confidence; [] without a value."""
    value = _value_alone(line, said)
    if value is None:
        return []
    part, begin = value
    return [(said[0][:begin] + _read_once(part, reader)[0], said[1])]


def _read_once(line: Any, reader: Any) -> tuple[str, float, Any]:
    found = reader(line, use_det=False, use_cls=False, use_rec=True, return_word_box=True)
    if not found.txts or not found.txts[0]:
        return "", 0.0, None
    return found.txts[0], float(found.scores[0]), found.word_results[0]


def _value_alone(line: Any, said: tuple[str, float, Any]) -> tuple[Any, int] | None:
    """Return the part of a line behind the name of its field, and where it begins in the text.

    A name in letters that the library does not know lets it lose signs of the value, too.
    """
    text, _, places = said
    end = max(text.find(mark) for mark in ":.=")
    if places is None or end < 0 or not any(map(str.isdigit, text[end:])):
        return None
    signs = "".join(sign for word in places.words for sign in word)
    columns = [column for word in places.word_cols for column in word]
    at = len(text[: end + 1].replace(" ", ""))
    if not 0 < at < len(columns) or len(signs) != len(columns):
        return None
    begin = round((columns[at - 1] + columns[at]) / 2 / places.line_txt_len * line.shape[1])
    value = line[:, max(0, begin) :]
    return (value, end + 1) if value.shape[1] > line.shape[0] else None


def _calm(line: Any) -> Any:
    """Return a line in even light and with less grain."""
    return _even(line, line.shape[0] / 30, line.shape[0] * 0.8, 30)


def _sharp(line: Any) -> Any:
    """Return a line in even light and with clearer edges."""
    return _even(line, line.shape[0] / 30, line.shape[0], 45, edges=line.shape[0] / 15)


def _even(picture: Any, grain: float, around: float, gain: float, edges: float = 0.0) -> Any:
    """Return a picture in even light: what differs from its surroundings, by how much it differs there.

    ``grain``, ``around`` and ``edges`` are radii in pixels.
    """
    import cv2
    import numpy as np

    def smooth(of: Any, radius: float) -> Any:
        return cv2.GaussianBlur(of, (0, 0), max(radius, 0.3))

    grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
    calm = smooth(grey.astype(np.float32), grain)
    apart = calm - smooth(calm, around)  # neither shadow nor glare
    even = apart / (np.sqrt(smooth(apart**2, around)) + 2)
    if edges:
        even = 2 * even - smooth(even, edges)
    return cv2.cvtColor(np.clip(128 + gain * even, 0, 255).astype(np.uint8), cv2.COLOR_GRAY2BGR)


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
    limits = Limits(**json.loads(sys.argv[1]))
    hold_to(limits.memory)
    _grant(limits.seconds)
    forbid_network()
    answers = sys.stdout
    sys.stdout = sys.stderr  # whatever a library prints is no answer
    try:
        reader = engine()
    except Exception as problem:  # a library that is missing, damaged, or not for this machine
        answers.write(json.dumps({"error": str(problem)[:200]}) + "\n")
        return 1
    stdin = sys.stdin.buffer
    while head := stdin.read(5):
        content = stdin.read(int.from_bytes(head[1:], "big"))
        _grant(limits.seconds)
        try:
            answer = recognised(content, reader, closer=bool(head[0] & 1), label=bool(head[0] & 2))
        except Exception:  # out of memory, as each of the libraries says it
            return 2
        answers.write(json.dumps(answer) + "\n")
        answers.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main())
