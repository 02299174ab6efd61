"""Say what is wrong with a photo itself, so that the next one is better.

``recogniser`` measures each photo in its own process (``measured``); what follows from that is said here.

>>> flaws(Measures(light=19, bright=38, burnt=0, grain=2, blur=1), [30, 31, 33])
('dark',)
"""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import Any, Final, NamedTuple

#: What may be wrong with a photo; each has a sentence with its remedy (``read/photo/``).
FLAWS: Final = ("dark", "grainy", "blurred", "glaring", "far")

# Chosen on the photos of ``scripts/panel_photos.py``; data/guide/measurements.md has what they do on others.
_DARK: Final = 40.0
_NOTHING_BRIGHT: Final = 145.0
_GRAIN: Final = 6.3
_BLUR: Final = 1.6
_BURNT: Final = 0.004
_LOW: Final = 18.0  # pixels of a box of text, of which the letters are half
_TOLD: Final = 2  # more advice is not followed


class Measures(NamedTuple):
    """Hold measures of a photo; luminance is from 0 to 255.

    ``light`` is its mean luminance. 99.9% of it are no brighter than ``bright``. ``burnt`` is the share that
    a light burnt out: white, and round or with a soft edge. ``grain`` is the standard deviation of its noise
    (J. Immerkaer, "Fast noise variance estimation", Computer Vision and Image Understanding 64, 1996).
    ``blur`` is the radius in pixels, of a Gaussian, by which its edges are blurred: across or down, whichever
    is more, since a hand moves in one direction. It follows from the variance of the Laplacian in shares of
    that of the gradient (J. L. Pech-Pacheco and others, "Diatom autofocusing in brightfield microscopy", ICPR
    2000, compare both). The references are from memory.
    """

    light: float
    bright: float
    burnt: float
    grain: float
    blur: float


def flaws(seen: Measures | None, heights: Sequence[float]) -> tuple[str, ...]:
    """Return what is wrong with a photo (``FLAWS``), the worst first; () if it was not measured.

    ``heights`` are those of the boxes of text that were found, in pixels.
    """
    if seen is None:
        return ()
    dark = seen.light < _DARK and seen.bright < _NOTHING_BRIGHT
    found = {
        "dark": dark,
        "grainy": seen.grain > _GRAIN and not dark,  # its remedy is light, too
        "blurred": seen.blur > _BLUR,
        "glaring": seen.burnt > _BURNT,
        "far": bool(heights) and median(heights) < _LOW,
    }
    return tuple(one for one in FLAWS if found[one])[:_TOLD]


_TILE: Final = 32  # pixels, of a picture of half the size
_LEAST: Final = 3  # pixels of a picture that has second differences
_FLAT: Final = 1.0  # mean square of differences where no edge is
_BENT: Final = 0.005  # a radius of ten pixels, the largest that is told
_BUSIEST: Final = 92.0  # percentile of tiles from which on edges tell of the blur
_KERNEL: Final = ((1, -2, 1), (-2, 4, -2), (1, -2, 1))  # Immerkaer's
_WHITE: Final = 250
_RING: Final = 9  # pixels
_ROUND: Final = 0.86  # of the area of a circle of the same outline: a square has 0.79 of it
_FULL: Final = 0.95  # of its outline's area
_SOFT: Final = 200.0  # luminance around what a light burnt out; around white paper it is lower


def measured(pixels: Any) -> Measures:
    """Return the measures of a photo: an array of height by width by blue, green and red, from 0 to 255.

    Grain and blur are measured in a picture of half the size: compressing a photo as JPEG takes the finest
    grain away, but not what hides letters.
    """
    import cv2
    import numpy as np

    grey = cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY)
    size = max(1, grey.shape[1] // 2), max(1, grey.shape[0] // 2)
    half = cv2.resize(grey, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    rough = np.abs(cv2.filter2D(half, -1, np.array(_KERNEL, np.float32)))
    # The calmest quarter: elsewhere are edges, which are no grain.
    noise = float(np.percentile(_tiles(rough, _TILE // 2).mean(axis=1), 25)) * np.sqrt(np.pi / 2) / 6
    return Measures(
        round(float(grey.mean()), 1),
        round(float(np.percentile(grey, 99.9)), 1),
        round(_burnt(grey), 4),
        round(float(2 * noise), 2),  # in the photo's own size
        round(2 * max(_blur(half, noise), _blur(np.ascontiguousarray(half.T), noise)), 2),
    )


def _blur(half: Any, noise: float) -> float:
    """Return the radius by which edges are blurred along the rows; 0 if there are none.

    At an edge that a Gaussian of radius r blurs, the mean square of the first differences is 2 r² times that
    of the second ones. Noise of variance 1 adds 2 to the one and 6 to the other.
    """
    import numpy as np

    if min(half.shape) < _LEAST:
        return 0.0
    first = np.diff(half, axis=1)
    second = np.diff(first, axis=1)
    slopes = (_tiles(first[:, 1:], _TILE) ** 2).mean(axis=1) - 2 * noise**2
    bends = (_tiles(second, _TILE) ** 2).mean(axis=1) - 6 * noise**2
    edges = slopes >= max(float(np.percentile(slopes, _BUSIEST)), _FLAT)
    if not edges.any():
        return 0.0
    bent = float(np.median(np.maximum(bends[edges], 0) / slopes[edges]))
    return float(np.sqrt(1 / (2 * max(bent, _BENT))))


def _tiles(picture: Any, size: int) -> Any:
    """Return the squares of a picture, each as a row; a picture smaller than one is one."""
    high, wide = picture.shape
    if high < size or wide < size:
        return picture.reshape(1, -1)
    part = picture[: high - high % size, : wide - wide % size]
    return part.reshape(high // size, size, wide // size, size).swapaxes(1, 2).reshape(-1, size * size)


def _burnt(grey: Any) -> float:
    """Return the share of a picture that is white, and round or without a hard edge as paper has."""
    import cv2
    import numpy as np

    white = cv2.morphologyEx((grey >= _WHITE).astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    count, parts, sizes, _ = cv2.connectedComponentsWithStats(white)
    largest = int(np.argmax(sizes[1:, cv2.CC_STAT_AREA])) + 1 if count > 1 else 0
    if not largest:
        return 0.0
    spot = (parts == largest).astype(np.uint8)
    ring = cv2.dilate(spot, np.ones((2 * _RING + 1, 2 * _RING + 1), np.uint8)) - spot
    soft = ring.any() and float(grey[ring > 0].mean()) > _SOFT
    return float(spot.mean()) if soft or _is_round(spot) else 0.0


def _is_round(spot: Any) -> bool:
    """Return whether a spot is a full disc: nothing is printed on it, and a square is less round."""
    import cv2
    import numpy as np

    hull = cv2.convexHull(cv2.findNonZero(spot))
    area, around = cv2.contourArea(hull), cv2.arcLength(hull, True)
    return bool(4 * np.pi * area > _ROUND * around**2 and spot.sum() > _FULL * area)
