"""Make a phone's picture upright, small and bare, in a process of its own.

A decoder meets anything that was sent: it works in a process that may use so much memory and so much time,
and is ended when it wants more. ``picture`` starts it; it imports little, so that it starts quickly.

Reads the picture from stdin and writes a JPEG to stdout. Exit 1: not a picture that is taken; stdout then has
a JSON list of what was seen and what was expected, each as the key of a sentence and its values.
"""

from __future__ import annotations

import io
import json
import re
import sys
import warnings
from collections.abc import Iterator
from typing import Any

from kb.read.limits import DecoderLimits, Refused, hold_to, of

KINDS = ("JPEG", "PNG", "WEBP")
#: Brands of a picture in HEVC, as some phones keep photos (ISO/IEC 23008-12, annex B, from memory).
HEIC = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
_SCAN = re.compile(rb"\xff([\xc0-\xcf\xd8-\xfe])")  # a marker in the data of a scan that is no restart


def developed(sent: bytes, limits: DecoderLimits) -> bytes:
    """The picture as a JPEG of our own: upright, at most ``edge`` pixels, without metadata."""
    from PIL import Image, ImageOps, PngImagePlugin, UnidentifiedImageError

    PngImagePlugin.MAX_TEXT_MEMORY = PngImagePlugin.MAX_TEXT_CHUNK  # texts of a PNG, unpacked: a megabyte
    Image.MAX_IMAGE_PIXELS = limits.pixels  # twice as many raise in Pillow itself
    expected = of("expected/photo-formats")
    kinds: tuple[str, ...] = KINDS
    if sent[4:8] == b"ftyp" and sent[8:12] in HEIC:
        _read_heic()
        kinds = (*KINDS, "HEIF")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # the limits below are the stricter ones
            with Image.open(io.BytesIO(sent), formats=kinds) as picture:
                wide, high = picture.size
                most = limits.pixels if picture.format == "JPEG" else limits.pixels_whole
                if wide * high > most:
                    raise Refused(
                        of("seen/pixels", wide=wide, high=high),
                        of("expected/million-pixels", most=most // 1_000_000),
                    )
                if picture.format == "JPEG" and _scans(sent) > limits.scans:
                    raise Refused(of("seen/many-layers"), of("expected/layers", most=limits.scans))
                picture.draft("RGB", (limits.edge, limits.edge))
                if picture.mode not in ("RGB", "RGBA", "L"):
                    small: Any = picture.convert("RGB")
                else:
                    picture.load()
                    small = picture
                small.thumbnail((limits.edge, limits.edge))  # first: what follows makes copies
                flat = ImageOps.exif_transpose(small).convert("RGB")
        bare = Image.new("RGB", flat.size)
        bare.paste(flat)
        out = io.BytesIO()
        bare.save(out, "JPEG", quality=limits.quality, optimize=True)
    except (Refused, MemoryError):
        raise
    except Image.DecompressionBombError as problem:
        raise Refused(
            of("seen/very-many-pixels"), of("expected/million-pixels", most=limits.pixels // 1_000_000)
        ) from problem
    except UnidentifiedImageError as problem:
        raise Refused(of("seen/something-else"), expected) from problem
    except Exception as problem:  # decoders raise what they like (OSError, struct.error, KeyError ...)
        raise Refused(of("seen/damaged-picture"), expected) from problem
    return out.getvalue()


def _read_heic() -> None:
    """Let Pillow read HEIC, if the library for it is installed."""
    try:
        from pi_heif import register_heif_opener
    except ImportError:
        raise Refused(of("seen/heic-photo"), of("expected/photo-without-heic")) from None
    register_heif_opener(thumbnails=False)


def _scans(jpeg: bytes) -> int:
    """How many scans a JPEG has (ITU T.81, annex B), up to the end of its first picture."""
    return sum(marker == 0xDA for marker in _markers(jpeg))


def _markers(jpeg: bytes) -> Iterator[int]:
    at = 2
    while at + 4 <= len(jpeg):
        if jpeg[at] != 0xFF:
            found = _SCAN.search(jpeg, at)
            if found is None:
                return
            at = found.start()
        marker = jpeg[at + 1]
        if marker == 0xFF:  # filling
            at += 1
            continue
        yield marker
        if marker == 0xD9:
            return
        at += 2 + (0 if 0xD0 <= marker <= 0xD8 else int.from_bytes(jpeg[at + 2 : at + 4], "big"))


def main() -> int:
    """Develop one picture."""
    limits = DecoderLimits(**json.loads(sys.argv[1]))
    hold_to(limits.memory, limits.seconds)
    sent = sys.stdin.buffer.read()
    try:
        made = developed(sent, limits)
    except Refused as wrong:
        sys.stdout.buffer.write(json.dumps(wrong.args).encode())
        return 1
    except MemoryError:
        return 2
    sys.stdout.buffer.write(made)
    return 0


if __name__ == "__main__":
    sys.exit(main())
