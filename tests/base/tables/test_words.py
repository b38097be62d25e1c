"""Words that stages share fit one another and the tables."""

from __future__ import annotations

from lossmap.base.tables import CELLS, DRIVE, DRIVER_WORDS, FLAGS, LAYER_WORDS, LOSSES


def test_flags_are_reasons_and_differ() -> None:
    """No reason twice, none empty: the empty flag means believed."""
    assert len(set(FLAGS)) == len(FLAGS)
    assert all(flag.strip() == flag and flag for flag in FLAGS)


def test_every_driver_has_its_column_and_its_words() -> None:
    """What loss may track is a column of stops and of cells, and is spoken of in words of its own."""
    for contract in (LOSSES, CELLS):
        assert set(DRIVE.values()) <= {column.name for column in contract.columns}
    assert list(DRIVE) == list(DRIVER_WORDS) == list(LAYER_WORDS)
