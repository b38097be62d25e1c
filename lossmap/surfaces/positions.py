"""Which parts of the loss a field's counts can tell apart, and what each count sees of them.

Seed only ever adds up along the combine's way: preharvest, then header, then threshing
loss. A position counted anywhere in the field cuts that chain behind it, so the counts
tell as many parts apart as there are positions; sources between two cuts stay together in
one part. Whole ears lie where they dropped or where the header missed them: nothing is
added to them in the machine and nothing concentrates them, so frames behind header and
combine see the same.
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np

from lossmap.base.errors import TooLittleData
from lossmap.base.estimates import Estimate
from lossmap.base.grid import Floats
from lossmap.base.reference import usual_share
from lossmap.base.tables import POSITIONS, SOURCES
from lossmap.surfaces.counted import Counted

__all__ = ["Part", "parted"]

# A discharge as wide as the header, give or take rounding, concentrates nothing.
SAME_WIDTH = 1e-3


@dataclass(frozen=True)
class Part:
    """What lies between two cuts of the chain.

    Attributes
    ----------
    sources : tuple of str
        One or more of `SOURCES`, in their order.
    kg_ha : float
        Worth of one seed (or ear) a square metre.
    mass_doubt : float
        Log standard deviation of that.
    is_ears : bool
    """

    sources: tuple[str, ...]
    kg_ha: float
    mass_doubt: float
    is_ears: bool = False


def parted(losses: gpd.GeoDataFrame, seed_mass_g: Estimate) -> tuple[tuple[Part, ...], Counted]:
    """The parts the counts can tell apart, and every count with what it sees of them.

    Parameters
    ----------
    losses : LOSSES
    seed_mass_g : Estimate
        Mass of a thousand seeds [g] with its 90 % interval.

    Returns
    -------
    tuple of Part
    Counted
        ``stop`` is the row of `losses`.

    Raises
    ------
    TooLittleData
        The total loss cannot be told from these positions.
    """
    seeds = _columns(losses, "seeds"), _columns(losses, "frame_m2")
    ears = _ears(losses)
    concentration = float(losses["concentration"].iloc[0]) if len(losses) else 1.0
    _total_can_be_told(losses, seeds[0], ears, concentration)
    of_seeds = _chain(_is_counted(seeds[0]), SOURCES)
    counted = 1 - float(np.average(losses["weighed"], weights=np.nansum(seeds[0], axis=1) + 1e-9))
    doubt = counted * seed_mass_g.log_sd
    parts = [Part(sources, seed_mass_g.mean / 100, doubt) for sources in of_seeds]
    rows = [_rows(*seeds, _seen(of_seeds, SOURCES, concentration), parts)]
    if ears is not None:
        of_ears = _chain(_is_counted(ears[0]), SOURCES[:2])
        weight = np.nansum(ears[0], axis=1) + 1e-9
        ear_g, ear_doubt = (float(np.average(losses[name].fillna(0.0), weights=weight)) for name in ("ear_g", "ear_doubt"))
        of_their_own = [Part(sources, 10 * ear_g, ear_doubt, True) for sources in of_ears]
        rows.append(_rows(*ears, _seen(of_ears, SOURCES[:2], 1.0), of_their_own))
        parts += of_their_own
    return tuple(parts), _together(rows, _usual(parts))


def _columns(losses: gpd.GeoDataFrame, name: str) -> Floats:
    """``[stop, position]``, NaN where nothing was counted."""
    return np.asarray(losses[[f"{name}_{position}" for position in POSITIONS]], float)


def _ears(losses: gpd.GeoDataFrame) -> tuple[Floats, Floats] | None:
    """Ears and their area before and behind the header ``[stop, 2]``, wherever behind it they were counted."""
    if f"ears_{POSITIONS[0]}" not in losses:
        return None
    number, area = _columns(losses, "ears"), _columns(losses, "ear_m2")
    nowhere = np.isnan(number[:, 1:]).all(axis=1)
    behind = [np.where(nowhere, np.nan, np.nansum(part[:, 1:], axis=1)) for part in (number, area)]
    return np.column_stack([number[:, 0], behind[0]]), np.column_stack([area[:, 0], behind[1]])


def _total_can_be_told(losses: gpd.GeoDataFrame, seeds: Floats, ears: tuple[Floats, Floats] | None, concentration: float) -> None:
    """Refuse counts from which no total follows.

    Raises
    ------
    TooLittleData
    """
    _, front, behind = _is_counted(seeds)
    if not behind or (not front and abs(concentration - 1) > SAME_WIDTH):
        raise TooLittleData(
            f"counts: the total loss is known at none of {len(losses)} stops; "
            "count behind the combine, and in front of it too where residue is not spread over the header's width"
        )
    if ears is not None and not _is_counted(ears[0])[1]:
        raise TooLittleData(
            f"counts: at none of {len(losses)} stops ears were counted behind the header, so the total is not known; count them there too"
        )


def _is_counted(number: Floats) -> list[bool]:
    """Whether each position was counted anywhere."""
    return [bool(column.any()) for column in np.isfinite(number).T]


def _chain(is_counted: list[bool], sources: tuple[str, ...]) -> list[tuple[str, ...]]:
    """The sources cut behind each position that was counted; the last position is always one."""
    parts: list[tuple[str, ...]] = []
    together: list[str] = []
    for source, cut in zip(sources, is_counted, strict=True):
        together.append(source)
        if cut:
            parts.append(tuple(together))
            together = []
    return parts


def _seen(parts: list[tuple[str, ...]], sources: tuple[str, ...], concentration: float) -> Floats:
    """What a square metre at each position holds of each part, ``[position, part]``."""
    last = [sources.index(part[-1]) for part in parts]
    seen = np.array([[1.0 if part <= position else 0.0 for part in last] for position in range(len(sources))])
    if abs(concentration - 1) > SAME_WIDTH:
        seen[-1, -1] = concentration
    return seen


def _rows(number: Floats, area: Floats, seen: Floats, parts: list[Part]) -> Counted:
    """One row a count that was made, in the order of stops."""
    stop, position = np.nonzero(np.isfinite(number))
    area_m2 = area[stop, position]
    worth = np.array([part.kg_ha for part in parts])
    return Counted(stop, number[stop, position], area_m2, seen[position], worth, area_m2 / area_m2.mean())


def _usual(parts: list[Part]) -> Floats:
    """Share of each part before any count; seeds and ears of a source have half of it each."""
    among = {source: sum(source in part.sources for part in parts) for source in SOURCES}
    shares = np.array([sum(usual_share(source) / among[source] for source in part.sources) for part in parts])
    return np.asarray(shares / shares.sum())


def _together(kinds: list[Counted], usual: Floats) -> Counted:
    """Counts of seeds and of ears in one, each seeing only its own parts."""
    parts = [kind.sees.shape[1] for kind in kinds]
    sees = np.zeros((sum(kind.stop.size for kind in kinds), sum(parts)))
    row = column = 0
    for kind, width in zip(kinds, parts, strict=True):
        sees[row : row + kind.stop.size, column : column + width] = kind.sees
        row, column = row + kind.stop.size, column + width
    stop = np.concatenate([kind.stop for kind in kinds])
    seeds, area, breadth = (np.concatenate([getattr(kind, name) for kind in kinds]) for name in ("seeds", "area_m2", "breadth"))
    return Counted(stop, seeds, area, sees, np.concatenate([kind.worth for kind in kinds]), breadth, usual)
