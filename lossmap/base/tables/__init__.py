"""What the tables that pass between stages must look like, and the words that they share.

A contract is data, one `Column` a line, and one verb: ``POINTS.check(frame)`` gives the
frame back untouched or raises one `TableError` with all its faults. (A schema library
was tried: its report of one wrong column of 200,000 rows was a million characters.)
"""

from lossmap.base.tables.contract import Column, Contract, Frame
from lossmap.base.tables.passed import CELLS, COUNTS, LOSSES, PLAN, POINTS, SEASON, WEATHER, ZONES
from lossmap.base.tables.words import DRIVE, DRIVER_WORDS, FACTORS, FLAGS, LAYER_WORDS, POSITIONS, SOURCES

__all__ = [
    "CELLS",
    "COUNTS",
    "DRIVE",
    "DRIVER_WORDS",
    "FACTORS",
    "FLAGS",
    "LAYER_WORDS",
    "LOSSES",
    "PLAN",
    "POINTS",
    "POSITIONS",
    "SEASON",
    "SOURCES",
    "WEATHER",
    "ZONES",
    "Column",
    "Contract",
    "Frame",
]
