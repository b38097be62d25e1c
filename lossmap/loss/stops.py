"""From what was counted at the stops to loss by source, with its doubt.

The value is the published arithmetic on the stop's own counts: subtract what lay in
front first, divide by the width ratio after (`lossmap.loss.arithmetic`). Where chance
makes that difference negative the value is the mean of the posterior instead.

The interval is that of a posterior in which seed only ever adds up along the combine's
way (`lossmap.loss.posterior`). What the whole field loses, and where, is for the count
model to say, which sees all stops together (`lossmap.surfaces`).

Whole ears lie where they dropped or where the header missed them: nothing is added to
them in the machine and nothing concentrates them, so frames behind header and combine
see the same, P + H, at any width ratio.
"""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np

from lossmap.base.estimates import Z90, Estimate, normal_points
from lossmap.base.field import Field
from lossmap.base.grid import Floats
from lossmap.base.settings import LossSettings
from lossmap.base.tables import LOSSES, POSITIONS, SOURCES
from lossmap.loss.arithmetic import loss_split_kg_ha, seed_loss_kg_ha
from lossmap.loss.clumping import clumping
from lossmap.loss.posterior import POINTS, posterior
from lossmap.loss.tally import Tally, tally

__all__ = ["losses", "seed_mass_g"]

Columns = dict[str, Floats]


def losses(counts: gpd.GeoDataFrame, field: Field, settings: LossSettings, rng_seed: int) -> gpd.GeoDataFrame:
    """Loss by source at each stop.

    Parameters
    ----------
    counts : COUNTS
        Rows of one stop and position are added up. ``grams`` (of seed at market moisture)
        count as the seeds that weigh as much. Ears without ``grams_per_ear`` are taken
        with the crop table's.
    field : Field
    settings : LossSettings
    rng_seed : int
        Pairs the doubts of seeds, ears and their masses; same seed, same bytes.

    Returns
    -------
    LOSSES
        One row a stop, in the order in which stops first occur, at the place of its first
        position. A source that the stop's positions cannot separate is NaN, and ``note``
        says which and why. ``low <= value <= high`` always; where a difference comes out
        negative the posterior's mean stands for it, and the note says so. Where there are
        ears, ``ears_...``, ``ear_m2_...`` and their mass stand beside the seeds.

    Raises
    ------
    TableError, TooLittleData
        As `tally`.
    """
    added = tally(counts, field, settings, seed_mass_g(field, settings))
    values = _values_kg_ha(added)
    intervals = _intervals(added, clumping(counts, added), rng_seed)
    frame = gpd.GeoDataFrame({"stop_id": added.stop_id}, geometry=added.places, crs=counts.crs)
    for name in (*SOURCES, "total"):
        frame = frame.assign(**_loss(name, values[name], *intervals[name]))
    return LOSSES.check(frame.assign(**_counted(added), note=_notes(counts, added, values)))


def seed_mass_g(field: Field, settings: LossSettings) -> Estimate:
    """Mass of a thousand seeds [g]: the owner's with ``seed_mass_doubt``, else the crop table's with its range."""
    given = field.facts.thousand_seed_mass
    if given is None:
        return field.crop.seed_mass_g
    spread = math.exp(Z90 * settings.seed_mass_doubt / 100)
    return Estimate(given, given / spread, given * spread)


def _values_kg_ha(added: Tally) -> Columns:
    """The published arithmetic, ``[stop]`` a source, negative differences as they come; NaN where not separable."""
    lying = seed_loss_kg_ha(added.seeds, added.area, added.seed_mass_g)
    before, front, behind_combine = lying.T
    preharvest, header, threshing = loss_split_kg_ha(before, front, behind_combine, added.ratio)
    total = behind_combine if added.spread_over_header else front + threshing
    ears, area = added.ears_behind()
    dropped = np.where(added.has_ears, 10 * added.ear_g * added.ears[:, 0] / added.ear_area[:, 0], 0.0)
    behind = np.where(added.has_ears, 10 * added.ear_g * ears / area, 0.0)
    return {"preharvest": preharvest + dropped, "header": header + behind - dropped, "threshing": threshing, "total": total + behind}


def _intervals(added: Tally, clumped: float, rng_seed: int) -> dict[str, tuple[Floats, Floats, Floats]]:
    """Mean and 90 % interval of each source and of the total at each stop [kg/ha]."""
    rng = np.random.default_rng(rng_seed)
    # the same points for every stop: the order of stops changes nothing
    shuffles = [rng.permutation(POINTS) for _ in range(3)]
    normal = normal_points(POINTS)
    seed_factor = np.exp(added.seed_doubt * (1 - added.weighed[:, None]) * normal[shuffles[0]])
    of_seeds = posterior(added.seeds, added.area, added.ratio, clumped * added.frame_m2) * (added.seed_mass_g / 100)
    points = of_seeds * seed_factor
    if added.has_ears.any():
        ear_factor = np.exp(added.ear_doubt[:, None] * normal[shuffles[1]])
        points = points + _ears(added)[:, :, shuffles[2]] * (10 * added.ear_g[:, None] * ear_factor)
    points = np.concatenate([points, points.sum(axis=0, keepdims=True)])
    low, high = np.quantile(points, (0.05, 0.95), axis=2)
    mean = points.mean(axis=2)
    return {name: (mean[row], low[row], high[row]) for row, name in enumerate((*SOURCES, "total"))}


def _ears(added: Tally) -> Floats:
    """Posterior of the ears lost by source [1/m2], ``[source, stop, point]``: none in the machine, none where none were looked for."""
    behind, behind_m2 = added.ears_behind()
    nothing = np.full(behind.size, np.nan)
    ears, area = np.column_stack([added.ears[:, 0], behind, nothing]), np.column_stack([added.ear_area[:, 0], behind_m2, nothing])
    lying = posterior(ears, area, 1.0, 0.0)
    lying[2] = 0.0
    lying[:, ~added.has_ears] = 0.0
    return lying


def _loss(name: str, value: Floats, mean: Floats, low: Floats, high: Floats) -> Columns:
    """The columns of one source: the posterior's mean for what chance made negative, low <= value <= high."""
    value = np.where(value < 0, mean, value)
    unknown = np.isnan(value)
    return {
        f"{name}_kg_ha": value,
        f"{name}_low_kg_ha": np.where(unknown, np.nan, np.minimum(low, value)),
        f"{name}_high_kg_ha": np.where(unknown, np.nan, np.maximum(high, value)),
    }


def _counted(added: Tally) -> Columns:
    """The columns that the count model needs; those of ears only where there are any."""
    columns: Columns = {}
    has_ears = added.has_ears.any()
    for place, position in enumerate(POSITIONS):
        columns |= {f"seeds_{position}": added.seeds[:, place], f"frame_m2_{position}": added.area[:, place]}
        if has_ears:
            columns |= {f"ears_{position}": added.ears[:, place], f"ear_m2_{position}": added.ear_area[:, place]}
    if has_ears:
        columns |= {"ear_g": added.ear_g, "ear_doubt": added.ear_doubt}
    return {**columns, "concentration": np.full(len(added.stop_id), added.ratio), "weighed": added.weighed}


def _notes(counts: gpd.GeoDataFrame, added: Tally, values: Columns) -> list[str]:
    """For each stop what its counter wrote, what could not be separated, and what came out below 0."""
    written = (
        counts["note"]
        .fillna("")
        .groupby(counts["stop_id"], sort=False)
        .agg(lambda notes: "; ".join(dict.fromkeys(note for note in notes if note)))
    )
    out = []
    for row, name in enumerate(added.stop_id):
        parts = [written[name], _unseparated(added, values, row)]
        negative = [source for source in SOURCES if values[source][row] < 0]
        if negative:
            parts.append(
                f"{' and '.join(negative)} loss came out below 0: its posterior mean is given, and the parts make more than the total"
            )
        out.append("; ".join(part for part in parts if part))
    return out


def _unseparated(added: Tally, values: Columns, row: int) -> str:
    """Which sources the stop's positions cannot tell, in words."""
    missing = [source for source in (*SOURCES, "total") if np.isnan(values[source][row])]
    if not missing:
        return ""
    absent = [position.replace("_", " ") for place, position in enumerate(POSITIONS) if np.isnan(added.seeds[row, place])]
    if absent:
        return f"no seeds counted {' nor '.join(absent)}: {', '.join(missing)} cannot be told"
    return f"ears were not counted at every position: {', '.join(missing)} cannot be told"
