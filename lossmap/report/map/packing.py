"""Whole numbers as few bytes: what a page carries of a field's surfaces and of its log.

Neighbours are alike, so each number is first guessed from those before it, and only what
the guess missed is kept. The misses are small; as a column of low and one of high bytes
they deflate well. The page's script guesses in the same way (`assets/map/unpack.js`), after the
browser's own ``DecompressionStream("deflate-raw")``.
"""

from __future__ import annotations

import base64
import zlib

import numpy as np
import numpy.typing as npt

__all__ = ["GAP", "Codes", "along", "deflated", "one_by_one", "over_grid"]

Codes = npt.NDArray[np.uint16]

#: Stands for "not known" among the 65,536 values of a code.
GAP = 65_535

# Steps along a pass of which the next is guessed to be the mean.
BEFORE = 4


def deflated(*parts: bytes) -> str:
    """`parts` one after the other, deflated without a head, as base64.

    What a guess missed repeats itself in runs of nought only; looking for longer likenesses
    takes a hundred times as long and gains 2 %.
    """
    squeeze = zlib.compressobj(9, zlib.DEFLATED, -15, 9, zlib.Z_RLE)
    return base64.b64encode(squeeze.compress(b"".join(parts)) + squeeze.flush()).decode("ascii")


def over_grid(codes: Codes) -> bytes:
    """Codes of a surface, ``[row, col]``: a bit a cell for what is known, then the misses of the known cells.

    A cell is guessed from its neighbours west, north and north-west: the middle one of
    west, north, and the plane through all three.
    """
    known = codes != GAP
    here = _filled(codes, known)
    # west of the first column stands what is north of it, north of the first row what is west of it
    first = np.concatenate([[0], here[0, :-1]])
    north = np.vstack([first, here[:-1]])
    west, corner = (np.column_stack([north[:, 0], part[:, :-1]]) for part in (here, north))
    corner[0] = first
    guess = np.clip(west + north - corner, np.minimum(west, north), np.maximum(west, north))
    return np.packbits(known).tobytes() + _low_and_high((here - guess)[known])


def _filled(codes: Codes, known: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
    """Gaps take the value west of them, or else that north of them, or else 0: what the script knows at that place, too."""
    out = np.zeros(codes.shape, dtype=np.int64)
    last = np.maximum.accumulate(np.where(known, np.arange(codes.shape[1]), -1), axis=1)
    for row, source in enumerate(last):
        above = out[row - 1] if row else out[0]
        out[row] = np.where(source < 0, above, codes[row, np.maximum(source, 0)])
    return out


def along(codes: Codes) -> bytes:
    """Codes of one coordinate along a log: the next step is guessed to be the mean of the four before it."""
    whole = codes.astype(np.int64)
    guess = np.concatenate([[0], whole[:-1]])[: len(whole)]
    steps = whole[BEFORE:-1] - whole[: -BEFORE - 1]
    guess[BEFORE + 1 :] += (steps + BEFORE // 2) >> 2
    return _low_and_high(whole - guess)


def one_by_one(codes: Codes) -> bytes:
    """Codes in a row: the next is guessed to be like the one before."""
    whole = codes.astype(np.int64)
    return _low_and_high(whole - np.concatenate([[0], whole[:-1]])[: len(whole)])


def _low_and_high(misses: npt.NDArray[np.int64]) -> bytes:
    """Modulo 65,536; small ones of either sign become small (0, -1, 1, -2 ... are 0, 1, 2, 3 ...), so that high bytes are nearly all 0."""
    signed = misses.astype(np.uint16).astype(np.int16).astype(np.int32)
    folded = np.asarray((signed << 1) ^ (signed >> 15), dtype=np.int64) & 0xFFFF
    return (folded & 255).astype(np.uint8).tobytes() + (folded >> 8).astype(np.uint8).tobytes()
