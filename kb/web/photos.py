"""What did the panel look like, and where is the photo kept?

Photos lie in ``photos/VISIT/HASH.jpg`` beside the book: private to this machine, in no table and so in no
bundle. What comes from a phone is decoded and written anew, so that nothing of the file that was sent stays:
no place, no camera, no hidden content.
"""

from __future__ import annotations

import hashlib
import io
import os
import re
import threading
import time
import warnings
from contextlib import suppress
from pathlib import Path
from typing import Final
from uuid import UUID

from kb.errors import BadInput, BookTrouble, NotFound
from kb.settings import PHOTOS
from kb.web import privately
from kb.whole import sync_names

MOST_BYTES: Final = 12 * 1024 * 1024  #: of one photo as it is sent (OWASP ASVS 5.0, 5.2.1)
MOST_PIXELS: Final = 60_000_000  #: more than the cameras of phones send (5.2.6)
EDGE: Final = 2048  #: pixels of the longer side as kept: a mark is still read
QUALITY: Final = 82
MOST: Final = 6  #: photos of one visit
LOOSE_S: Final = 86_400  #: a photo that no visit took is dropped after a day
_KINDS: Final = ("JPEG", "PNG", "WEBP")
_HASH: Final = re.compile(r"[0-9a-f]{64}\Z")
_LOOSE: Final = "loose"


class Photos:
    """The photos beside the book in ``home``."""

    def __init__(self, home: Path) -> None:
        self._folder = home / PHOTOS
        self._decoding = threading.Lock()  # one at a time: a large picture takes 200 MB while it is decoded

    def keep(self, sent: bytes, place: str = "photo") -> str:
        """Keep a photo until a visit takes it; returns its name, the SHA-256 of what is kept.

        Raises BadInput where it is no JPEG, PNG or WebP, or too large; BookTrouble where it cannot be kept.
        """
        with self._decoding:
            clean = cleaned(sent, place)
            name = hashlib.sha256(clean).hexdigest()
            self._sweep()
            # Written though it is there: from now on it is as new as the visit that it belongs to.
            privately.write(self._folder / _LOOSE / f"{name}.jpg", clean)
        return name

    def attach(self, visit: str, names: list[str]) -> list[str]:
        """Give loose photos to a visit; returns the names that are its own now. Missing ones are skipped."""
        own = []
        for name in dict.fromkeys(names):
            if not _HASH.match(name):
                continue
            target = self._of(visit) / f"{name}.jpg"
            loose = self._folder / _LOOSE / f"{name}.jpg"
            if not target.exists() and len(self.of(visit)) >= MOST:
                continue
            try:
                if not target.exists():
                    privately.folder(target.parent)
                    os.replace(loose, target)
                    sync_names(target.parent)
            except FileNotFoundError:
                continue
            except OSError as problem:
                raise BookTrouble(f"{target}: {problem.strerror}") from problem
            own.append(name)
        return own

    def of(self, visit: str) -> list[str]:
        """Names of the photos of a visit, oldest first."""
        try:
            files = [f for f in self._of(visit).iterdir() if f.suffix == ".jpg" and _HASH.match(f.stem)]
            return [f.stem for f in sorted(files, key=lambda f: (f.stat().st_mtime_ns, f.name))]
        except OSError:
            return []

    def read(self, visit: str, name: str) -> bytes:
        """The JPEG; raises NotFound."""
        if _HASH.match(name):
            with suppress(OSError):
                return (self._of(visit) / f"{name}.jpg").read_bytes()
        raise NotFound("no such photo")

    def _of(self, visit: str) -> Path:
        try:
            return self._folder / str(UUID(visit))  # a name of ours, never one that was sent (5.3.2)
        except ValueError:
            raise NotFound("no such photo") from None

    def _sweep(self) -> None:
        before = time.time() - LOOSE_S
        with suppress(OSError):
            for file in (self._folder / _LOOSE).iterdir():
                if file.stat().st_mtime < before:
                    file.unlink(missing_ok=True)


def cleaned(sent: bytes, place: str = "photo") -> bytes:
    """The picture as a JPEG of our own: upright, at most ``EDGE`` pixels, without metadata.

    Raises BadInput naming what was seen.
    """
    from PIL import Image, ImageOps, UnidentifiedImageError

    expected = "a photo as JPEG, PNG or WebP"
    if len(sent) > MOST_BYTES:
        raise BadInput(place, f"{len(sent) / 1048576:.0f} MB", f"at most {MOST_BYTES // 1048576} MB")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # Pillow's bomb warning: the limit below is the stricter one
            with Image.open(io.BytesIO(sent), formats=_KINDS) as picture:
                wide, high = picture.size
                if wide * high > MOST_PIXELS:
                    limit = f"at most {MOST_PIXELS // 1_000_000} million pixels"
                    raise BadInput(place, f"{wide} by {high} pixels", limit)
                picture.draft("RGB", (EDGE, EDGE))
                upright = ImageOps.exif_transpose(picture)
                flat = upright.convert("RGB")
            flat.thumbnail((EDGE, EDGE))
            bare = Image.new("RGB", flat.size)
            bare.paste(flat)
            out = io.BytesIO()
            bare.save(out, "JPEG", quality=QUALITY, optimize=True)
    except BadInput:
        raise
    except Image.DecompressionBombError as problem:
        limit = f"at most {MOST_PIXELS // 1_000_000} million pixels"
        raise BadInput(place, "a picture of very many pixels", limit) from problem
    except UnidentifiedImageError as problem:
        raise BadInput(place, "something else", expected) from problem
    except Exception as problem:  # decoders raise what they like (OSError, struct.error, KeyError ...)
        raise BadInput(place, "a damaged picture", expected) from problem
    return out.getvalue()
