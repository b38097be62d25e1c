"""Stage 3: which points can be believed."""

from lossmap.clean.order import clean
from lossmap.clean.swath import cut_area

__all__ = ["clean", "cut_area"]
