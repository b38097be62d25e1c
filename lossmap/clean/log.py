"""A log while it is cleaned: its readings in the order of harvest, and one reason for each record that is doubted."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from lossmap.base.grid import Floats
from lossmap.base.tables import FLAGS
from lossmap.clean.track import Mask, Track

__all__ = ["Flags", "Log"]


class Flags:
    """One reason a record, in the order of the table; the first put stands."""

    def __init__(self, count: int) -> None:
        self._reason = np.full(count, "", dtype=object)

    def put(self, mask: Mask, reason: str) -> None:
        """Doubt the records of `mask` that nothing has doubted yet."""
        self._reason[mask & (self._reason == "")] = reason

    def any(self) -> Mask:
        """Records with a reason."""
        return np.asarray(self._reason != "", dtype=bool)

    def kept(self) -> Mask:
        """Records without one."""
        return ~self.any()

    def counted(self) -> dict[str, int]:
        """How many records each reason has, in the order of `FLAGS`; reasons that hold nowhere are left out."""
        return {reason: n for reason in FLAGS if (n := int((self._reason == reason).sum()))}

    def worst(self) -> str:
        """The reason that holds most often; there is one."""
        counted = self.counted()
        return max(counted, key=lambda one: counted[one])

    def text(self) -> np.ndarray:
        """The column ``flag``."""
        return self._reason.astype(str)


class Log:
    """The readings of a table in the order of harvest, and the way back to its rows.

    Parameters
    ----------
    table : POINTS
    track : Track
        Of the readings.
    readings : array of bool, ``[row]``
        Rows that are a reading of their own.
    """

    def __init__(self, table: gpd.GeoDataFrame, track: Track, readings: Mask) -> None:
        self.table = table[readings]
        self.track = track
        self._rows = np.flatnonzero(readings)[track.order]
        self._length = len(table)

    def values(self, name: str) -> Floats:
        """A column, NaN where the log has none."""
        if name not in self.table:
            return np.full(len(self.table), np.nan)
        return np.asarray(self.table[name].to_numpy(dtype=float))[self.track.order]

    def machines(self) -> np.ndarray:
        """The machine of each reading."""
        return np.asarray(self.table["machine"].to_numpy(dtype=str)[self.track.order])

    def driven(self) -> Floats:
        """Distance exactly as logged [m], the track's own where the log has none."""
        return self.values("distance_m") if "distance_m" in self.table else self.track.distance_m

    def speed(self) -> Floats:
        """Logged speed [m/s], else distance over a real interval; NaN without either."""
        logged = self.values("speed_m_s")
        if not self.track.clock:
            return logged
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(np.isnan(logged), self.track.distance_m / self.track.interval_s, logged)

    def ahead(self, mask: Mask) -> Mask:
        """A mask over rows, over readings in the order of harvest."""
        return mask[self._rows]

    def back(self, mask: Mask) -> Mask:
        """A mask over readings, over rows."""
        out = np.zeros(self._length, dtype=bool)
        out[self._rows] = mask
        return out

    def column(self, values: np.ndarray, elsewhere: float) -> np.ndarray:
        """Values of readings as a column of the table; rows that are no reading hold `elsewhere`."""
        out = np.full(self._length, elsewhere)
        out[self._rows] = values
        return out
