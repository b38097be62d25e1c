"""Packed whole numbers come back, by a reading as slow and plain as the page's script."""

from __future__ import annotations

import base64
import zlib
from collections.abc import Callable

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from lossmap.report.map.packing import GAP, along, deflated, one_by_one, over_grid


def inflated(text: str) -> np.ndarray:
    """The bytes a page's script gets from the browser's own inflate."""
    return np.frombuffer(zlib.decompress(base64.b64decode(text), -15), dtype=np.uint8)


def missed(loose: np.ndarray) -> list[int]:
    """What the guesses missed: low bytes, then high ones, unfolded."""
    folded = [int(low) | int(high) << 8 for low, high in zip(*loose.reshape(2, -1), strict=True)]
    return [(one >> 1) ^ -(one & 1) for one in folded]


def ways_back(loose: np.ndarray) -> list[int]:
    """Codes of a coordinate along a log."""
    out: list[int] = []
    for at, miss in enumerate(missed(loose)):
        last = out[-1] if out else 0
        out.append((last + ((last - out[-5] + 2 >> 2) if at > 4 else 0) + miss) & 65_535)
    return out


def grid_back(loose: np.ndarray, rows: int, cols: int) -> np.ndarray:
    """Codes of a surface, cell by cell."""
    known = np.unpackbits(loose[: -(-rows * cols // 8)])[: rows * cols].reshape(rows, cols)
    misses = iter(missed(loose[-(-rows * cols // 8) :]))
    codes, context = np.full((rows, cols), GAP), np.zeros((rows, cols), dtype=int)
    for row in range(rows):
        seen = False
        for col in range(cols):
            north = context[row - 1, col] if row else context[row, col - 1] if col else 0
            west = context[row, col - 1] if col else north
            corner = (context[row - 1, col - 1] if col else north) if row else west
            if known[row, col]:
                guess = int(np.clip(west + north - corner, min(west, north), max(west, north)))
                codes[row, col] = context[row, col] = guess + next(misses)
                seen = True
            else:
                context[row, col] = west if seen else north if row else 0
    assert next(misses, None) is None
    return codes


@given(st.lists(st.integers(0, 65_535), max_size=100))
def test_columns_come_back(codes: list[int]) -> None:
    """Law: any whole numbers of two bytes, steady or wild."""
    column = np.array(codes, dtype=np.uint16)
    packers: tuple[tuple[Callable[..., bytes], Callable[..., list[int]]], ...] = (
        (along, ways_back),
        (one_by_one, lambda loose: (np.cumsum(missed(loose)) & 65_535).tolist() if codes else []),
    )
    for packer, back in packers:
        assert back(inflated(deflated(packer(column)))) == codes


@given(
    st.tuples(st.integers(1, 9), st.integers(1, 9)).flatmap(
        lambda shape: arrays(np.uint16, shape, elements=st.sampled_from([0, 1, 2, 7, 900, GAP]))
    )
)
def test_surfaces_come_back_gaps_and_all(codes: np.ndarray) -> None:
    """Law: every cell, wherever the gaps lie."""
    assert (grid_back(inflated(deflated(over_grid(codes))), *codes.shape) == codes).all()


def test_what_is_smooth_is_small() -> None:
    """A slope of 10,000 cells takes a fiftieth of its bytes; a straight pass of 10,000 points likewise."""
    slope = (np.arange(100)[:, None] + np.arange(100)).astype(np.uint16)
    assert len(deflated(over_grid(slope))) < 400
    assert len(deflated(along((np.arange(10_000) * 3).astype(np.uint16)))) < 400
