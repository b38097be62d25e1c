"""Fields that wait to be cut: moisture to come, what a day of waiting costs, and which to cut first."""

from lossmap.drydown.plan import rank

__all__ = ["rank"]
