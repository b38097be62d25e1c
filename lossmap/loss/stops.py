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

How clumped seed lies is estimated once a field by moments: repeated rows of a stop and
position where there are such, else the smaller of what neighbouring stops and the
positions of one stop say (both can only make it look more clumped than it is), shrunk
towards `USUAL_CLUMPING`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from lossmap.base.errors import TableError, TooLittleData, shown
from lossmap.base.estimates import Z90, Estimate, normal_points
from lossmap.base.field import Field
from lossmap.base.grid import Floats
from lossmap.base.settings import LossSettings
from lossmap.base.tables import COUNTS, LOSSES, POSITIONS, SOURCES
from lossmap.loss.arithmetic import concentration_ratio, loss_split_kg_ha, seed_loss_kg_ha, seeds_from_mass
from lossmap.loss.posterior import POINTS, posterior

__all__ = ["losses", "seed_mass_g"]

Bools = npt.NDArray[np.bool_]

# Variance over squared mean that one frame has beyond a Poisson count's (common practice, no
# source), and how many pairs of counts it takes to say as much.
USUAL_CLUMPING, CLUMPING_PAIRS = 0.25, 12.0
LEAST_CLUMPING, MOST_CLUMPING = 0.02, 2.0
LEAST_PAIRS = 4
# Counts above 0 that a list must hold before its following itself is no chance.
LEAST_COPIED = 4
# How much places differ over a field (relative sd).
PLACES_DIFFER = 0.5


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
    TableError
        Rows without a count, positions that are none, ears of unknown mass, or frames of
        one stop further apart than ``position_scatter`` and ``join_distance`` together.
    TooLittleData
        There are no rows.
    """
    COUNTS.check(counts)
    tally = _tally(counts, field, settings)
    values = tally.values_kg_ha()
    intervals = _intervals(tally, _clumping(counts, tally), rng_seed)
    frame = gpd.GeoDataFrame({"stop_id": tally.stop_id}, geometry=tally.places, crs=counts.crs)
    for name in (*SOURCES, "total"):
        mean, low, high = intervals[name]
        value = np.where(values[name] < 0, mean, values[name])
        frame[f"{name}_kg_ha"] = value
        frame[f"{name}_low_kg_ha"] = np.where(np.isnan(value), np.nan, np.minimum(low, value))
        frame[f"{name}_high_kg_ha"] = np.where(np.isnan(value), np.nan, np.maximum(high, value))
    for place, position in enumerate(POSITIONS):
        frame[f"seeds_{position}"] = tally.seeds[:, place]
        frame[f"frame_m2_{position}"] = tally.area[:, place]
        if tally.has_ears.any():
            frame[f"ears_{position}"] = tally.ears[:, place]
            frame[f"ear_m2_{position}"] = tally.ear_area[:, place]
    if tally.has_ears.any():
        frame["ear_g"], frame["ear_doubt"] = tally.ear_g, tally.ear_doubt
    frame["concentration"], frame["weighed"] = tally.ratio, tally.weighed
    frame["note"] = _notes(counts, tally, values)
    return LOSSES.check(frame)


def seed_mass_g(field: Field, settings: LossSettings) -> Estimate:
    """Mass of a thousand seeds [g]: the owner's with ``seed_mass_doubt``, else the crop table's with its range."""
    given = field.facts.thousand_seed_mass
    if given is None:
        return field.crop.seed_mass_g
    spread = math.exp(Z90 * settings.seed_mass_doubt / 100)
    return Estimate(given, given / spread, given * spread)


@dataclass(frozen=True)
class _Tally:
    """A field's counts added up: ``[stop, position]``, NaN where nothing was counted.

    `seeds` on `area` [m2], `ears` on `ear_area` [m2]; `ear_g`, `ear_doubt` and `weighed`
    (share of the seeds that were weighed, whose loss does not hang on a seed's mass) are
    ``[stop]``.
    """

    stop_id: npt.NDArray[np.object_]
    places: npt.NDArray[np.object_]
    seeds: Floats
    area: Floats
    ears: Floats
    ear_area: Floats
    ear_g: Floats
    ear_doubt: Floats
    weighed: Floats
    frame_m2: float
    seed_mass_g: float
    seed_doubt: float
    ratio: float

    @property
    def has_ears(self) -> Bools:
        return np.asarray(np.isfinite(self.ears).any(axis=1))

    @property
    def spread_over_header(self) -> bool:
        """Whether residue lies over the width it was cut from, so that a count behind is the total."""
        return abs(self.ratio - 1) < 1e-3

    def ears_behind(self) -> tuple[Floats, Floats]:
        """Ears and their area behind the header, wherever they were counted; NaN where nowhere."""
        nowhere = np.isnan(self.ears[:, 1:]).all(axis=1)
        return tuple(np.where(nowhere, np.nan, np.nansum(part[:, 1:], axis=1)) for part in (self.ears, self.ear_area))  # type: ignore[return-value]

    def values_kg_ha(self) -> dict[str, Floats]:
        """The published arithmetic, ``[stop]`` a source, negative differences as they come; NaN where not separable."""
        lying = seed_loss_kg_ha(self.seeds, self.area, self.seed_mass_g)
        before, front, behind_combine = lying.T
        preharvest, header, threshing = loss_split_kg_ha(before, front, behind_combine, self.ratio)
        total = lying[:, 2] if self.spread_over_header else lying[:, 1] + threshing
        ears, area = self.ears_behind()
        dropped = np.where(self.has_ears, 10 * self.ear_g * self.ears[:, 0] / self.ear_area[:, 0], 0.0)
        behind = np.where(self.has_ears, 10 * self.ear_g * ears / area, 0.0)
        return {"preharvest": preharvest + dropped, "header": header + behind - dropped, "threshing": threshing, "total": total + behind}


def _tally(counts: gpd.GeoDataFrame, field: Field, settings: LossSettings) -> _Tally:
    """Add up the rows of each stop and position, refusing what cannot be meant."""
    if counts.empty:
        raise TooLittleData(f"{field.id}: the counts hold no rows (0, needs 1); count at a few stops first")
    mass = seed_mass_g(field, settings)
    faults = [*_row_faults(counts, field), *_far_apart(counts, settings), *_copied(counts)]
    if faults:
        raise TableError(f"{field.id}, counts: " + "; ".join(faults))
    stop, names = pd.factorize(counts["stop_id"])
    place = pd.Categorical(counts["position"], POSITIONS).codes.astype(int)
    seeds, weighed = counts["seeds"].to_numpy(float), seeds_from_mass(counts["grams"].to_numpy(float), mass.mean)
    from_mass = np.isnan(seeds) & np.isfinite(weighed)
    seeds = np.where(from_mass, weighed, seeds)
    ears, frame = counts["ears"].to_numpy(float), counts["frame_m2"].to_numpy(float)
    ear_g, ear_known = _ear_mass(counts, field)

    def added(values: Floats, where: Bools) -> Floats:
        out = np.full((len(names), len(POSITIONS)), np.nan)
        np.add.at(out, (stop[where], place[where]), 0.0)
        out[stop[where], place[where]] = 0.0
        np.add.at(out, (stop[where], place[where]), values[where])
        return out

    has_seeds, has_ears = np.isfinite(seeds), np.isfinite(ears)
    total = np.nansum(added(seeds, has_seeds), axis=1)
    ear_weight = np.where(has_ears, np.nan_to_num(ears) + 1e-6, 0.0)
    return _Tally(
        np.asarray(names, dtype=object),
        _first_places(counts, stop, place, len(names)),
        added(seeds, has_seeds),
        added(frame, has_seeds),
        added(ears, has_ears),
        added(frame, has_ears),
        _by_stop(stop, ear_g, ear_weight, len(names)),
        _by_stop(stop, np.where(ear_known, 0.0, settings.ear_mass_doubt / 100), ear_weight, len(names)),
        np.bincount(stop, np.where(from_mass, seeds, 0.0), len(names)) / np.maximum(total, 1e-9),
        float(np.median(frame[has_seeds] / counts["frames"].to_numpy(float)[has_seeds])) if has_seeds.any() else 1.0,
        mass.mean,
        mass.log_sd,
        concentration_ratio(field.facts.header_width, field.discharge_width_m),
    )


def _row_faults(counts: gpd.GeoDataFrame, field: Field) -> list[str]:
    """Rows that say nothing, or something that cannot be turned into loss."""
    faults = []
    strange = ~counts["position"].isin(POSITIONS)
    if strange.any():
        faults.append(
            f'stop {shown(counts["stop_id"][strange].iloc[0])}: "{shown(counts["position"][strange].iloc[0])}" is no position; '
            f"the positions are {', '.join(POSITIONS)}"
        )
    empty = counts[["seeds", "grams", "ears"]].isna().all(axis=1)
    if empty.any():
        faults.append(
            f"stop {shown(counts['stop_id'][empty].iloc[0])}: neither seeds, grams nor ears are given; write 0 where none was found"
        )
    nameless = counts["ears"].gt(0) & counts["grams_per_ear"].isna()
    if nameless.any() and field.crop.ear_grain_g is None:
        name = shown(counts["stop_id"][nameless].iloc[0])
        faults.append(f"stop {name}: ears of {field.crop.name} have no mass in the crop table; add grams_per_ear")
    return faults


def _far_apart(counts: gpd.GeoDataFrame, settings: LossSettings) -> list[str]:
    """Stops whose frames lie too far apart to be one stop."""
    most = settings.position_scatter + settings.join_distance
    place = pd.DataFrame(shapely.get_coordinates(counts.geometry.to_numpy()), columns=["east", "north"])
    by_stop = place.groupby(counts["stop_id"].to_numpy(), sort=False)
    # A box no wider than the limit holds no pair further apart than it; only wider ones are looked into.
    box = np.hypot(*(by_stop.max() - by_stop.min()).to_numpy().T)
    faults = []
    for name in by_stop.max().index[box > most]:
        of_stop = place[(counts["stop_id"] == name).to_numpy()].to_numpy()
        apart = float(np.hypot(*(of_stop[:, None] - of_stop[None]).transpose(2, 0, 1)).max())
        if apart > most:
            faults.append(f"stop {shown(name)}: its frames lie {apart:.0f} m apart (at most {most:.0f} m); give them different stops")
    return faults


def _copied(counts: gpd.GeoDataFrame) -> list[str]:
    """A list that follows itself, count by count: pasted twice, or its file named twice. Frames laid apart never count alike all along."""
    said = ["stop_id", "seeds", "grams", "ears", "frame_m2"]
    rows = counts[said].assign(easting_m=counts.geometry.x, northing_m=counts.geometry.y)
    found = counts[["seeds", "grams", "ears"]].gt(0).any(axis=1)
    if found.sum() < 2 * LEAST_COPIED:
        return []
    for _, of_position in rows.groupby(counts["position"].to_numpy(), sort=False):
        first, second = (of_position.iloc[part].reset_index(drop=True) for part in np.array_split(np.arange(len(of_position)), 2))
        if not first.equals(second):
            return []
    return [f"all {len(counts) // 2} counts stand there twice (stop {shown(counts['stop_id'].iloc[0])} and all others); leave out the copy"]


def _ear_mass(counts: gpd.GeoDataFrame, field: Field) -> tuple[Floats, Bools]:
    """Grain on one ear [g] of each row, and whether it was weighed."""
    given = counts["grams_per_ear"].to_numpy(float)
    usual = field.crop.ear_grain_g.mean if field.crop.ear_grain_g else 0.0
    return np.where(np.isfinite(given), given, usual), np.isfinite(given)


def _by_stop(stop: npt.NDArray[np.intp], values: Floats, weight: Floats, stops: int) -> Floats:
    return np.bincount(stop, values * weight, stops) / np.maximum(np.bincount(stop, weight, stops), 1e-12)


def _first_places(counts: gpd.GeoDataFrame, stop: npt.NDArray[np.intp], place: npt.NDArray[np.intp], stops: int) -> npt.NDArray[np.object_]:
    """Geometry of each stop's first position in the combine's order."""
    order = np.lexsort((np.arange(stop.size), place, stop))
    _, first = np.unique(stop[order], return_index=True)
    return np.asarray(counts.geometry.to_numpy()[order[first]], dtype=object)


def _clumping(counts: gpd.GeoDataFrame, tally: _Tally) -> float:
    """Variance beyond Poisson's of one frame, over the squared mean."""
    estimates = [_repeats(counts)]
    if not estimates[0][2]:
        # Each also sees what differs for other reasons, so the smaller one is nearer.
        estimates = [estimate for estimate in (_neighbours(tally), _positions(tally)) if estimate[2]]
    if not estimates:
        return USUAL_CLUMPING
    excess, scale, pairs = min(estimates, key=lambda estimate: estimate[0] / estimate[1] if estimate[1] > 0 else math.inf)
    found = excess / scale if scale > 0 else USUAL_CLUMPING
    shrunk = (pairs * found + CLUMPING_PAIRS * USUAL_CLUMPING) / (pairs + CLUMPING_PAIRS)
    return float(np.clip(shrunk, LEAST_CLUMPING, MOST_CLUMPING))


def _repeats(counts: gpd.GeoDataFrame) -> tuple[float, float, int]:
    """Excess variance, its scale, and degrees of freedom of rows that repeat a stop and position, on like areas."""
    rows = counts[counts["seeds"].notna()]
    groups = rows.groupby(["stop_id", "position", "frame_m2"], sort=False)["seeds"].agg(["count", "mean", "var"])
    groups = groups[groups["count"] > 1]
    if groups.empty:
        return 0.0, 0.0, 0
    freedom = groups["count"] - 1
    frames = rows.groupby(["stop_id", "position", "frame_m2"], sort=False)["frames"].mean()[groups.index]
    return (
        float((freedom * (groups["var"] - groups["mean"])).sum()),
        float((freedom * groups["mean"] ** 2 / frames).sum()),
        int(freedom.sum()),
    )


def _neighbours(tally: _Tally) -> tuple[float, float, int]:
    """The same from each stop and the one nearest to it, at the position counted most often.

    Half of what places differ by over a field is taken off: neighbours share the rest.
    """
    place = int(np.isfinite(tally.seeds).sum(axis=0).argmax())
    known = np.isfinite(tally.seeds[:, place])
    if known.sum() < LEAST_PAIRS:
        return 0.0, 0.0, 0
    where = shapely.get_coordinates(tally.places[known])
    _, near = cKDTree(where).query(where, k=2)
    rate, area = tally.seeds[known, place] / tally.area[known, place], tally.area[known, place]
    other = near[:, 1]
    counting = rate / area + rate[other] / area[other]
    middle = (rate + rate[other]) / 2
    excess = (rate - rate[other]) ** 2 - counting - (PLACES_DIFFER * middle) ** 2
    scale = middle**2 * tally.frame_m2 * (1 / area + 1 / area[other])
    return float(excess.sum()), float(scale.sum()), int(known.sum()) // 2


def _positions(tally: _Tally) -> tuple[float, float, int]:
    """The same from what lies in front of and behind the combine at one stop, which rise and fall together."""
    known = np.isfinite(tally.seeds[:, 1:]).all(axis=1)
    front, behind = (tally.seeds[known, 1:] / tally.area[known, 1:]).T
    if known.sum() < LEAST_PAIRS or front.sum() == 0:
        return 0.0, 0.0, 0
    front_m2, behind_m2 = tally.area[known, 1:].T
    by = behind.sum() / front.sum()
    excess = (behind - by * front) ** 2 - behind / behind_m2 - by**2 * front / front_m2
    scale = by * front * behind * tally.frame_m2 * (1 / front_m2 + 1 / behind_m2)
    return float(excess.sum()), float(scale.sum()), int(known.sum())


def _intervals(tally: _Tally, clumping: float, rng_seed: int) -> dict[str, tuple[Floats, Floats, Floats]]:
    """Mean and 90 % interval of each source at each stop [kg/ha]."""
    rng = np.random.default_rng(rng_seed)
    # The same points for every stop: the order of stops changes nothing.
    shuffles = [rng.permutation(POINTS) for _ in range(3)]
    normal = normal_points(POINTS)
    seed_factor = np.exp(tally.seed_doubt * (1 - tally.weighed[:, None]) * normal[shuffles[0]])
    ear_factor = np.exp(tally.ear_doubt[:, None] * normal[shuffles[1]])
    of_seeds = posterior(tally.seeds, tally.area, tally.ratio, clumping * tally.frame_m2) * (tally.seed_mass_g / 100)
    points = of_seeds * seed_factor
    if tally.has_ears.any():
        ears = np.column_stack([tally.ears[:, 0], *(part[:, None] for part in tally.ears_behind()[:1])])
        area = np.column_stack([tally.ear_area[:, 0], *(part[:, None] for part in tally.ears_behind()[1:])])
        nothing = np.full((len(ears), 1), np.nan)
        lying = posterior(np.hstack([ears, nothing]), np.hstack([area, nothing]), 1.0, 0.0)[:, :, shuffles[2]]
        lying[2] = 0.0
        lying[:, ~tally.has_ears] = 0.0
        points = points + lying * (10 * tally.ear_g[:, None] * ear_factor)
    points = np.concatenate([points, points.sum(axis=0, keepdims=True)])
    low, high = np.quantile(points, (0.05, 0.95), axis=2)
    mean = points.mean(axis=2)
    return {name: (mean[row], low[row], high[row]) for row, name in enumerate((*SOURCES, "total"))}


def _notes(counts: gpd.GeoDataFrame, tally: _Tally, values: dict[str, Floats]) -> list[str]:
    """For each stop what its counter wrote, what could not be separated, and what was set to 0."""
    written = (
        counts["note"]
        .fillna("")
        .groupby(counts["stop_id"], sort=False)
        .agg(lambda notes: "; ".join(dict.fromkeys(note for note in notes if note)))
    )
    out = []
    for row, name in enumerate(tally.stop_id):
        parts = [written[name], _unseparated(tally, values, row)]
        negative = [source for source in SOURCES if values[source][row] < 0]
        if negative:
            parts.append(
                f"{' and '.join(negative)} loss came out below 0: its posterior mean is given, and the parts make more than the total"
            )
        out.append("; ".join(part for part in parts if part))
    return out


def _unseparated(tally: _Tally, values: dict[str, Floats], row: int) -> str:
    """Which sources the stop's positions cannot tell, in words."""
    missing = [source for source in (*SOURCES, "total") if np.isnan(values[source][row])]
    if not missing:
        return ""
    absent = [position.replace("_", " ") for place, position in enumerate(POSITIONS) if np.isnan(tally.seeds[row, place])]
    if absent:
        return f"no seeds counted {' nor '.join(absent)}: {', '.join(missing)} cannot be told"
    return f"ears were not counted at every position: {', '.join(missing)} cannot be told"
