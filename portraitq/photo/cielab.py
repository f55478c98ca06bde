"""How light a colour is, and which: sRGB, relative luminance Y, and CIE 1976 L*a*b* for daylight (D65), both ways.

Arrays in, arrays out; whoever makes pictures or palettes of a photo reckons with these and nothing else.

Sources: the sRGB curve, IEC 61966-2-1; relative luminance, WCAG 2.2 (weights of ITU-R BT.709); the matrix, from the
primaries and white of BT.709 without rounding in between, brucelindbloom.com; L*a*b*, CIE 15 (ISO/CIE 11664-4), its two
branches joined at (6/29)³.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # of linear red, green, blue
TO_XYZ = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],  # the same weights before they were rounded
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
WHITE = TO_XYZ.sum(axis=1)  # D65 as this matrix has it, so that equal parts of the three have no colour
BEND = 6 / 29  # below its cube L* is a straight line


def linear(coded: ArrayLike) -> FloatArray:
    """Light out of sRGB's coded values, both 0–1."""
    coded = np.asarray(coded, float)
    return np.where(coded <= 0.04045, coded / 12.92, ((np.maximum(coded, 0) + 0.055) / 1.055) ** 2.4)


def coded(linear: ArrayLike) -> FloatArray:
    """sRGB's coded values out of light, both 0–1; the inverse of `linear`."""
    light = np.asarray(linear, float)
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * np.maximum(light, 0.0031308) ** (1 / 2.4) - 0.055)


def luminance(rgb: ArrayLike) -> FloatArray:
    """Relative luminance Y, 0–1, of coded colours (…, 3), each 0–1.

    >>> luminance([[1, 0, 0], [0, 0, 1]])
    array([0.2126, 0.0722])
    """
    weighed: FloatArray = linear(rgb) @ LUMINANCE
    return weighed


def lightness(luminance: ArrayLike) -> FloatArray:
    """L*, 0 (black) to 100 (white), of a relative luminance 0–1.

    >>> lightness([0, 0.184187, 1]).round(3).tolist()
    [0.0, 50.0, 100.0]
    """
    return 116 * _bent(np.asarray(luminance, float)) - 16


def luminance_of(lightness: ArrayLike) -> FloatArray:
    """Relative luminance 0–1 of an L* 0–100; the inverse of `lightness`."""
    return _unbent((np.asarray(lightness, float) + 16) / 116)


def lab(rgb: ArrayLike) -> FloatArray:
    """L*, a*, b* (…, 3) of coded colours (…, 3), each 0–1.

    >>> lab([1, 0, 0]).round(2).tolist()
    [53.24, 80.09, 67.2]
    """
    x, y, z = np.moveaxis(_bent(linear(rgb) @ TO_XYZ.T / WHITE), -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def rgb(lab: ArrayLike) -> FloatArray:
    """The coded colours (…, 3), each 0–1, of L*, a*, b* (…, 3); what sRGB cannot show is clipped to what it can."""
    light, a, b = np.moveaxis(np.asarray(lab, float), -1, 0)
    y = (light + 16) / 116
    xyz = _unbent(np.stack([y + a / 500, y, y - b / 200], axis=-1)) * WHITE
    return coded(np.clip(xyz @ np.linalg.inv(TO_XYZ).T, 0, 1))


def _bent(share: FloatArray) -> FloatArray:
    return np.where(share > BEND**3, np.cbrt(share), share / (3 * BEND**2) + 4 / 29)


def _unbent(bent: FloatArray) -> FloatArray:
    return np.where(bent > BEND, bent**3, 3 * BEND**2 * (bent - 4 / 29))
