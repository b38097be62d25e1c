"""Made fields with known truth: the demo fields are written by it, tests measure against it.

A made field is driven, not drawn: a combine works its way over an outline pass by pass,
cuts what stands there, and its sensors report late, smeared and with noise. Loss falls
behind it by three sources, and stops are counted with frames. So everything `lossmap`
has to undo is in the log, and everything it should find is known: `Truth`.

Nothing here is a model of a particular machine, place or person. Where a figure is not
taken from the crop table it is common practice, no source.
"""

from __future__ import annotations

import dataclasses
import datetime
import io
import json
import math
import sqlite3
import tempfile
import zipfile
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Literal

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import pyogrio
import pyproj
import scipy.ndimage
import scipy.signal
import scipy.spatial
import shapely
import shapely.affinity
from shapely.geometry.base import BaseGeometry

from lossmap.base.errors import SettingsError, near
from lossmap.base.field import MEASURED, ROLES
from lossmap.base.grid import Floats, Grid, Surface
from lossmap.base.reference import crop as crop_row
from lossmap.base.tables import COUNTS, POINTS, POSITIONS, SOURCES
from lossmap.base.units import factor

__all__ = ["FieldPlan", "Layout", "MadeField", "Source", "Truth", "make", "write"]

FT2_M2 = 0.3048**2
Places = npt.NDArray[np.float64]  # [..., 2]
EARS_M2 = 40.468564224  # 1/100 acre: what ears are counted on
WAY_M = 15.0  # a combine is up to speed by then

# Corners as shares of length (along the passes) and breadth (across them).
OUTLINES: Mapping[str, tuple[tuple[float, float], ...]] = MappingProxyType(
    {
        "rectangle": ((0, 0), (1, 0), (1, 1), (0, 1)),
        "irregular": ((0.02, 0), (0.93, 0.03), (1, 0.35), (0.88, 0.62), (0.95, 1), (0.3, 0.97), (0, 0.8), (0.06, 0.4)),
        "holed": ((0, 0.05), (0.4, 0), (1, 0.02), (0.97, 0.7), (0.8, 1), (0.05, 0.96)),
        "bent": ((0, 0), (1, 0), (1, 0.55), (0.55, 0.6), (0.5, 1), (0, 1)),
    }
)


@dataclass(frozen=True)
class Source:
    """How one source of loss lies over the field.

    Attributes
    ----------
    mean_kg_ha : float
        Its mean before speed and dryness act [kg/ha].
    sd : float
        Standard deviation of its logarithm over the field.
    range_m : float
        Distance over which it stays alike (correlation falls to 0.37) [m].
    smooth : bool
        Whether it varies smoothly (Matérn 3/2) or roughly (exponential).
    """

    mean_kg_ha: float
    sd: float = 0.4
    range_m: float = 70.0
    smooth: bool = False


@dataclass(frozen=True)
class FieldPlan:
    """What a made field shall be; units at the end of each name.

    Attributes
    ----------
    crop : str
        A row of the crop table.
    outline : "rectangle", "irregular", "holed" or "bent"
    length_m, breadth_m : float
        Extent along and across the passes [m].
    course_deg : float
        Course of the first pass, clockwise from north [deg].
    west_m, north_m, epsg : float, float, int
        Where it lies (invented) [m in that CRS].
    header_width_m, overlap_m : float
        Width of the header and how far each pass overlaps the one before [m].
    headland_rounds : int
        Rounds cut along the edge before the passes.
    two_ways : bool
        Whether neighbouring passes run against each other.
    log_interval_s : float
    flow_delay_s, moisture_delay_s : float
        How late the sensors are, on the centre of mass of their response [s].
    ramp_s : float
        Time constant with which the machine fills and empties [s].
    header_up_rows : bool
        Whether turns are in the log (then `work` says so).
    speed_levels_m_s : tuple of float
        One is drawn for each pass.
    speed_wander : float
        Standard deviation of speed along a pass, as a share.
    headland_speed : float
        Speed on the headland rounds, as a share of the mean level.
    yield_kg_ha, yield_sd, yield_range_m
        Mean at market moisture, its relative standard deviation, and its range.
    moisture_start_pct, moisture_drop_pct : float
        Mean moisture when harvest starts, and how far it falls until the end.
    moisture_sd_pct, moisture_range_m, moisture_noise_pct : float
        Spatial part and sensor noise.
    flow_noise, gnss_noise_m : float
        Sensor noise as a share of flow; of position [m].
    preharvest, header, threshing : Source
    speed_effect, speed_knot_m_s : float
        Factor on header loss for each +0.5 m/s above the knot (1: none; moderate 1.49; strong 2.22).
    dryness_effect, moisture_knot_pct : float
        Factor on header loss for each -2 points below the knot (1: none; moderate 1.65; strong 2.72).
    effect_area : float
        Share of the field, in one or few lumps, where the effects act.
    micro_sd : float
        Standard deviation of the logarithm of loss from stop to stop at no distance.
    clumping_r : float
        Size of the negative binomial for a frame of 1 ft2: variance = mean + mean^2 / r.
    stops : int
    design : "random", "spread" or "passes"
    frames, frame_m2 : int, float
        Frames laid at each position of a stop, and the area of one [m2].
    positions : tuple of str
        Where frames are laid.
    stop_noise_m : float
        How far off a counter's position is, in each direction [m].
    discharge_width_m : float or None
        Width over which residue falls [m]; None: the header's.
    seed_mass_g : float or None
        True mass of a thousand seeds [g]; None: the crop table's.
    stated_seed_mass_g : float or None
        What field.toml says of it; None: nothing.
    ears, ear_g : float, float or None
        Share of preharvest and header loss that lies there as whole ears, and the grain on
        one [g]; with None it is the crop table's and the counter did not weigh it.
    weighed : bool
        Whether seeds are weighed instead of counted.
    duplicates, jumps, spikes, stuck_moisture : int
        Flaws: records written twice, thrown aside, with threefold flow, with a stuck moisture sensor.
    """

    crop: str = "soybean"
    outline: str = "rectangle"
    length_m: float = 500.0
    breadth_m: float = 320.0
    course_deg: float = 20.0
    west_m: float = 412_000.0
    north_m: float = 4_655_000.0
    epsg: int = 32615
    started: datetime.datetime = datetime.datetime(2025, 10, 18, 15, 0, tzinfo=datetime.UTC)
    machine: str = "made"
    header_width_m: float = 9.144
    overlap_m: float = 0.0
    headland_rounds: int = 1
    two_ways: bool = True
    log_interval_s: float = 1.0
    flow_delay_s: float = 0.0
    moisture_delay_s: float = 0.0
    ramp_s: float = 2.0
    header_up_rows: bool = False
    speed_levels_m_s: tuple[float, ...] = (1.4, 1.7, 2.0, 2.3, 2.6)
    speed_wander: float = 0.05
    headland_speed: float = 0.75
    yield_kg_ha: float = 3700.0
    yield_sd: float = 0.12
    yield_range_m: float = 80.0
    moisture_start_pct: float = 15.0
    moisture_drop_pct: float = 3.5
    moisture_sd_pct: float = 0.6
    moisture_range_m: float = 90.0
    moisture_noise_pct: float = 0.15
    flow_noise: float = 0.04
    gnss_noise_m: float = 0.1
    preharvest: Source = Source(12.0, 0.3, 60.0)
    header: Source = Source(80.0, 0.45, 70.0)
    threshing: Source = Source(18.0, 0.35, 60.0)
    speed_effect: float = 1.0
    speed_knot_m_s: float = 2.0
    dryness_effect: float = 1.0
    moisture_knot_pct: float = 13.0
    effect_area: float = 1.0
    micro_sd: float = 0.0
    clumping_r: float = 4.0
    stops: int = 24
    design: Literal["random", "spread", "passes"] = "random"
    frames: int = 4
    frame_m2: float = FT2_M2
    positions: tuple[str, ...] = POSITIONS
    stop_noise_m: float = 1.0
    discharge_width_m: float | None = None
    seed_mass_g: float | None = None
    stated_seed_mass_g: float | None = None
    ears: float = 0.0
    ear_g: float | None = None
    weighed: bool = False
    duplicates: int = 0
    jumps: int = 0
    spikes: int = 0
    stuck_moisture: int = 0

    def __post_init__(self) -> None:
        if self.outline not in OUTLINES:
            raise SettingsError(f'FieldPlan: outline "{self.outline}" is not known; {near(self.outline, OUTLINES)}')
        wrong = sorted(set(self.positions) - set(POSITIONS))
        if wrong:
            raise SettingsError(f'FieldPlan: position "{wrong[0]}" is not known; {near(wrong[0], POSITIONS)}')

    @property
    def thousand_seeds_g(self) -> float:
        """True mass of a thousand seeds [g]."""
        return self.seed_mass_g or crop_row(self.crop).seed_mass_g.mean

    @property
    def grain_on_ear_g(self) -> float:
        """True mass of grain on one ear [g]; NaN for crops that have none."""
        row = crop_row(self.crop)
        return self.ear_g or (row.ear_grain_g.mean if row.ear_grain_g else math.nan)

    @property
    def concentration(self) -> float:
        """How much denser what leaves the machine lies than what was cut (cut width / discharge width)."""
        return self.header_width_m / (self.discharge_width_m or self.header_width_m)


@dataclass(frozen=True)
class Truth:
    """What is really so in a made field.

    Attributes
    ----------
    surfaces : mapping of str to Surface
        ``preharvest_kg_ha, header_kg_ha, threshing_kg_ha, total_kg_ha``, and at the time of
        cutting ``yield_kg_ha, speed_m_s, moisture_pct``, on one grid of 5 m.
    mean_kg_ha : mapping of str to float
        Loss over the field by source, and ``total`` [kg/ha].
    share_kg_ha : mapping of str to float
        What goes with ``speed`` above and ``dryness`` below the knot, over the field [kg/ha].
    acts : array of bool, ``[row, col]``
        Where the effects act.
    records : DataFrame
        For each row of `MadeField.points`: ``yield_kg_ha, moisture_pct, fresh_width_m,
        pass_id`` (-1 in turns), ``working``, and ``flaw`` ("" or what was done to it).
    stops : DataFrame
        For each stop: its true place, loss by source, speed and moisture when it was cut.
    """

    surfaces: Mapping[str, Surface]
    mean_kg_ha: Mapping[str, float]
    share_kg_ha: Mapping[str, float]
    acts: npt.NDArray[np.bool_]
    records: pd.DataFrame
    stops: pd.DataFrame


@dataclass(frozen=True)
class MadeField:
    """A made field: its plan, what a farmer would have (points, counts, boundary), and the truth."""

    plan: FieldPlan
    points: gpd.GeoDataFrame
    counts: gpd.GeoDataFrame
    boundary: shapely.Polygon
    crs: pyproj.CRS
    truth: Truth = field(repr=False)


def make(plan: FieldPlan, rng_seed: int) -> MadeField:
    """Drive, cut and count a field.

    Parameters
    ----------
    plan : FieldPlan
    rng_seed : int
        Same plan and seed, same field to the last bit on one machine.

    Returns
    -------
    MadeField
        `points` is POINTS as logged (wet mass flow, no yield), `counts` is COUNTS.
    """
    # one stream for each part, so that more stops or another delay leave the land as it was
    land_rng, drive_rng, sensor_rng, loss_rng, count_rng, flaw_rng = map(np.random.default_rng, np.random.SeedSequence(rng_seed).spawn(6))
    crs = pyproj.CRS.from_epsg(plan.epsg)
    boundary = _boundary(plan)
    land = _land(plan, Grid.covering(boundary, crs, 5.0), land_rng)
    steps = _harvested(plan, land, _drive(plan, boundary, drive_rng))
    inside = land.grid.inside(boundary)
    surfaces = _at_cut(land, steps, inside)
    losses, shares, acts = _losses(plan, land, surfaces, loss_rng)
    surfaces |= losses
    stops = _stops(plan, surfaces, steps, count_rng)
    points, records = _spoilt(plan, *_log(plan, crs, land, steps, sensor_rng), flaw_rng)
    counts = _counts(plan, crs, stops, count_rng)
    means = {source: float(np.nanmean(surfaces[f"{source}_kg_ha"].mean)) for source in (*SOURCES, "total")}
    truth = Truth(MappingProxyType(surfaces), MappingProxyType(means), MappingProxyType(shares), acts, records, stops)
    return MadeField(plan, POINTS.check(points), COUNTS.check(counts), boundary, crs, truth)


def _boundary(plan: FieldPlan) -> shapely.Polygon:
    """The outline at its place."""
    corners = np.array(OUTLINES[plan.outline]) * (plan.length_m, plan.breadth_m)
    holes = []
    if plan.outline == "holed":
        pond = shapely.Point(0.58 * plan.length_m, 0.45 * plan.breadth_m).buffer(0.1 * plan.breadth_m, quad_segs=6)
        holes = [_placed(plan, np.array(shapely.affinity.scale(pond, xfact=1.4).exterior.coords))]
    return shapely.Polygon(_placed(plan, corners), holes)


def _placed(plan: FieldPlan, along_across: Places) -> Places:
    """From (along, across) the passes to (easting, northing) [m]."""
    course = math.radians(plan.course_deg)
    along, across = along_across[..., 0], along_across[..., 1]
    east = plan.west_m + along * math.sin(course) + across * math.cos(course)
    north = plan.north_m + along * math.cos(course) - across * math.sin(course)
    return np.stack([east, north], axis=-1)


# --- the land -------------------------------------------------------------------------


@dataclass(frozen=True)
class _Land:
    """What stands on the field before anybody drives on it, ``[row, col]`` on `grid`."""

    grid: Grid
    yield_kg_ha: Floats
    moisture_pct: Floats  # departure from the field's mean of the hour
    elevation_m: Floats
    lump: Floats  # where the effects act, if not everywhere

    def at(self, values: Floats, places: Floats) -> Floats:
        """Values between cell centres, linear; `places` is ``[n, 2]``."""
        row = (self.grid.north_m - places[:, 1]) / self.grid.cell_m - 0.5
        col = (places[:, 0] - self.grid.west_m) / self.grid.cell_m - 0.5
        return np.asarray(scipy.ndimage.map_coordinates(values, [row, col], order=1, mode="nearest"))


def _land(plan: FieldPlan, grid: Grid, rng: np.random.Generator) -> _Land:
    waves = _gaussian(grid, plan.yield_range_m, True, rng)
    return _Land(
        grid,
        plan.yield_kg_ha * np.clip(1 + plan.yield_sd * waves, 0.2, 2.0),
        plan.moisture_sd_pct * _gaussian(grid, plan.moisture_range_m, True, rng),
        300 + 2.5 * _gaussian(grid, 150.0, True, rng),
        _gaussian(grid, 120.0, True, rng),
    )


def _gaussian(grid: Grid, range_m: float, smooth: bool, rng: np.random.Generator) -> Floats:
    """A Gaussian field of mean 0 and variance 1 by circulant embedding.

    The torus is wider than the field by three ranges, so opposite edges do not know of
    each other; the little that embedding leaves negative is cut off.
    """
    margin = math.ceil(3 * range_m / grid.cell_m)
    rows, cols = (scipy.fft.next_fast_len(n + margin) for n in grid.shape)
    down = np.minimum(np.arange(rows), rows - np.arange(rows)) * grid.cell_m
    right = np.minimum(np.arange(cols), cols - np.arange(cols)) * grid.cell_m
    lag = np.hypot(down[:, None], right[None, :]) / range_m
    covariance = (1 + 2.146 * lag) * np.exp(-2.146 * lag) if smooth else np.exp(-lag)
    power = np.maximum(np.fft.rfft2(covariance).real, 0)
    noise = np.fft.rfft2(rng.standard_normal((rows, cols)))
    return np.asarray(np.fft.irfft2(noise * np.sqrt(power), s=(rows, cols))[: grid.rows, : grid.cols])


# --- driving --------------------------------------------------------------------------


@dataclass(frozen=True)
class _Piece:
    """A stretch driven in one go [m], and the land it was meant to cut."""

    path: Floats  # [corners, 2]
    level_m_s: float
    land: shapely.Geometry | None = None  # None: a turn
    cut_before_m: float = -math.inf  # in the across direction: how far the passes before have cut


@dataclass(frozen=True)
class _Steps:
    """The machine's day in equal steps of time; arrays have one value a step."""

    seconds: float  # length of a step
    places: Floats  # [n, 2]
    heading_deg: Floats
    speed_m_s: Floats
    pass_id: npt.NDArray[np.intp]  # -1 in turns
    fresh_width_m: Floats
    yield_kg_ha: Floats
    moisture_pct: Floats

    @property
    def working(self) -> npt.NDArray[np.bool_]:
        return self.pass_id >= 0

    @property
    def area_m2(self) -> Floats:
        """Freshly cut in each step."""
        return self.fresh_width_m * self.speed_m_s * self.seconds


def _drive(plan: FieldPlan, boundary: shapely.Polygon, rng: np.random.Generator) -> _Steps:
    """The headland rounds, then the passes, with turns between, and a way in and a way out.

    Yield and moisture are still unknown (NaN): nothing has been cut.
    """
    seconds = plan.log_interval_s / math.ceil(plan.log_interval_s)
    pieces = _rounds(plan, boundary) + _passes(plan, boundary, rng)
    if not pieces:
        raise SettingsError("FieldPlan: no pass fits into the outline; make it larger or the header narrower")
    driven, pass_ids, widths = [], [], []
    for number, (piece, is_turn) in enumerate(_with_turns(plan, pieces)):
        places = _paced(plan, piece, seconds, rng)
        driven.append(places)
        width = np.zeros(len(places)) if piece.land is None else _fresh_width(plan, piece, places)
        widths.append(width)
        pass_ids.append(np.full(len(places), -1 if is_turn else number // 2))
    places = np.concatenate(driven)
    nothing = np.full(len(places), np.nan)
    return _Steps(
        seconds, places[:, :2], places[:, 2] % 360, places[:, 3], np.concatenate(pass_ids), np.concatenate(widths), nothing, nothing
    )


def _rounds(plan: FieldPlan, boundary: shapely.Polygon) -> list[_Piece]:
    """Rings along the edge, and around a hole."""
    speed = float(np.mean(plan.speed_levels_m_s)) * plan.headland_speed
    width = plan.header_width_m
    rounds = []
    for lap in range(plan.headland_rounds):
        strip = boundary.buffer(-lap * width) - boundary.buffer(-(lap + 1) * width)
        for part in shapely.get_parts(boundary.buffer(-(lap + 0.5) * width)):
            if part.is_empty:
                continue
            rounds += [_Piece(np.array(ring.coords), speed, strip) for ring in (part.exterior, *part.interiors)]
    return rounds


def _passes(plan: FieldPlan, boundary: shapely.Polygon, rng: np.random.Generator) -> list[_Piece]:
    """Straight passes from one side to the other, the last one as narrow as what is left."""
    width, spacing = plan.header_width_m, plan.header_width_m - plan.overlap_m
    left = boundary.buffer(-plan.headland_rounds * width)
    if left.is_empty:
        return []
    level = shapely.transform(left, lambda places: _unplaced(plan, places))
    _, first, _, last = level.bounds
    passes = []
    for number in range(max(1, math.ceil((last - first - plan.overlap_m) / spacing - 0.1))):
        across = first + width / 2 + number * spacing
        backwards = plan.two_ways and number % 2 == 1
        speed = float(rng.choice(plan.speed_levels_m_s))
        cut_before = across - width / 2 + plan.overlap_m if number else -math.inf
        for start, end in _stretches(level, across, last, width, backwards):
            ends = np.array([(start, across), (end, across)])
            passes.append(_Piece(_placed(plan, ends), speed, left, cut_before))
    return passes


def _stretches(level: BaseGeometry, across: float, last: float, width: float, backwards: bool) -> list[tuple[float, float]]:
    """Where a pass enters and leaves the crop, in the order in which it is driven."""
    west, _, east, _ = level.bounds
    looked_at = min(across, last - 0.05 * width)
    line = shapely.LineString([(west - 1, looked_at), (east + 1, looked_at)])
    found = sorted((part.bounds[0], part.bounds[2]) for part in shapely.get_parts(level & line) if part.length > 2 * width)
    return [(end, start) for start, end in reversed(found)] if backwards else found


def _unplaced(plan: FieldPlan, places: Places) -> Places:
    """From (easting, northing) to (along, across) [m]."""
    course = math.radians(plan.course_deg)
    east, north = places[..., 0] - plan.west_m, places[..., 1] - plan.north_m
    along = east * math.sin(course) + north * math.cos(course)
    return np.stack([along, east * math.cos(course) - north * math.sin(course)], axis=-1)


def _with_turns(plan: FieldPlan, pieces: list[_Piece]) -> list[tuple[_Piece, bool]]:
    """The way in, then pieces and the turns after them, alternating; the last "turn" is the way out."""
    speed = float(np.mean(plan.speed_levels_m_s))
    ends = [after.path[:2] for after in pieces[1:]] + [None]
    first = pieces[0].path[:2]
    way_in = np.array([first[0] - _unit(first[1] - first[0]) * 30, first[0]])
    out = [(_Piece(way_in, speed), True)]
    for piece, after in zip(pieces, ends, strict=True):
        out += [(piece, False), (_Piece(_turn(piece.path[-2:], after), speed), True)]
    return out


def _turn(leaving: Floats, entering: Floats | None) -> Floats:
    """A smooth way (cubic Bézier) from the end of one path to the start of the next, or straight on."""
    start, out = leaving[1], _unit(leaving[1] - leaving[0])
    if entering is None:
        return np.array([start, start + out * 120])
    end, into = entering[0], _unit(entering[1] - entering[0])
    reach = float(np.clip(np.linalg.norm(end - start) / 2, 18, 40))
    share = np.linspace(0, 1, 33)[:, None]
    bend = 3 * (1 - share) * share * ((1 - share) * (start + out * reach) + share * (end - into * reach))
    return np.asarray((1 - share) ** 3 * start + bend + share**3 * end)


def _unit(vector: Floats) -> Floats:
    return np.asarray(vector / np.linalg.norm(vector))


def _paced(plan: FieldPlan, piece: _Piece, seconds: float, rng: np.random.Generator) -> Places:
    """Drive a piece: ``[n, 4]`` of easting, northing, heading [deg] and speed [m/s], at the middle of each step."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(piece.path, axis=0).T))])
    metres = np.linspace(0, along[-1], max(2, math.ceil(along[-1])))
    wander = scipy.ndimage.gaussian_filter1d(rng.standard_normal(len(metres)), 15, mode="reflect") * 7.3  # to unit variance
    speed = piece.level_m_s * np.clip(1 + plan.speed_wander * wander, 0.6, 1.4)
    if piece.land is not None:  # a combine enters the crop and leaves it slower
        speed *= np.interp(np.minimum(metres, along[-1] - metres), [0, 10], [0.7, 1.0])
    clock = np.concatenate([[0.0], np.cumsum(np.diff(metres) * 2 / (speed[1:] + speed[:-1]))])
    steps = max(1, round(clock[-1] / seconds))
    edges = np.interp(np.linspace(0, clock[-1], steps + 1), clock, metres)  # whole steps: nothing is left uncut
    middle = (edges[1:] + edges[:-1]) / 2
    east, north = (np.interp(middle, along, piece.path[:, axis]) for axis in (0, 1))
    corner = np.clip(np.searchsorted(along, middle, side="right") - 1, 0, len(along) - 2)
    course = np.diff(piece.path, axis=0)[corner]
    heading = np.degrees(np.arctan2(course[:, 0], course[:, 1]))
    return np.column_stack([east, north, heading, np.diff(edges) / seconds])


def _fresh_width(plan: FieldPlan, piece: _Piece, places: Places) -> Floats:
    """Width each step cuts [m]: the part of the header over land that still stands."""
    parts = 18
    offsets = ((np.arange(parts) + 0.5) / parts - 0.5) * plan.header_width_m
    course = np.radians(places[:, 2])
    right = np.stack([np.cos(course), -np.sin(course)], axis=-1)
    spread = places[:, None, :2] + offsets[None, :, None] * right[:, None, :]
    shapely.prepare(piece.land)
    stands = shapely.contains_xy(piece.land, spread[..., 0], spread[..., 1])
    if math.isfinite(piece.cut_before_m):
        stands &= _unplaced(plan, spread)[..., 1] > piece.cut_before_m
    return np.asarray(stands.mean(axis=1) * plan.header_width_m)


def _harvested(plan: FieldPlan, land: _Land, steps: _Steps) -> _Steps:
    """What each step took in: the yield there, at the moisture it had by then."""
    worked = np.cumsum(steps.working) / max(1, int(steps.working.sum()))
    of_the_hour = plan.moisture_start_pct - plan.moisture_drop_pct * worked
    moisture = np.clip(of_the_hour + land.at(land.moisture_pct, steps.places), 5.5, 39.5)
    return dataclasses.replace(steps, yield_kg_ha=land.at(land.yield_kg_ha, steps.places), moisture_pct=moisture)


# --- what fell ------------------------------------------------------------------------


def _at_cut(land: _Land, steps: _Steps, inside: npt.NDArray[np.bool_]) -> dict[str, Surface]:
    """Yield, and speed and moisture when it was cut: each cell takes the nearest working step."""
    easting, northing = land.grid.centres()
    cells = np.stack(np.meshgrid(easting, northing), axis=-1)[inside]
    working = np.flatnonzero(steps.working)
    nearest = working[scipy.spatial.cKDTree(steps.places[working]).query(cells)[1]]
    return {
        "yield_kg_ha": _surface("yield_kg_ha", "kg/ha", land.grid, inside, land.yield_kg_ha[inside]),
        "speed_m_s": _surface("speed_m_s", "m/s", land.grid, inside, steps.speed_m_s[nearest]),
        "moisture_pct": _surface("moisture_pct", "%", land.grid, inside, steps.moisture_pct[nearest]),
    }


def _surface(name: str, unit: str, grid: Grid, inside: npt.NDArray[np.bool_], values: Floats) -> Surface:
    whole = np.full(grid.shape, np.nan, dtype=np.float32)
    whole[inside] = values
    return Surface(name, unit, grid, whole, whole, whole, "made: the truth")


def _losses(
    plan: FieldPlan, land: _Land, at_cut: Mapping[str, Surface], rng: np.random.Generator
) -> tuple[dict[str, Surface], dict[str, float], npt.NDArray[np.bool_]]:
    """Loss by source, what of it goes with speed and dryness, and where these act."""
    inside = np.isfinite(at_cut["yield_kg_ha"].mean)
    acts = inside & (land.lump >= np.quantile(land.lump[inside], 1 - plan.effect_area))
    fast = np.maximum(at_cut["speed_m_s"].mean[inside] - plan.speed_knot_m_s, 0) / 0.5 * acts[inside]
    dry = np.maximum(plan.moisture_knot_pct - at_cut["moisture_pct"].mean[inside], 0) / 2 * acts[inside]
    with_speed, with_dryness = plan.speed_effect**fast, plan.dryness_effect**dry
    bases = {name: _base(getattr(plan, name), land.grid, rng)[inside] for name in SOURCES}
    header = bases["header"] * with_speed * with_dryness
    kg_ha = {**bases, "header": header}
    kg_ha["total"] = kg_ha["preharvest"] + kg_ha["header"] + kg_ha["threshing"]
    shares = {
        "speed": float(np.mean(header - header / with_speed)),
        "dryness": float(np.mean(header - header / with_dryness)),
    }
    surfaces = {f"{name}_kg_ha": _surface(f"{name}_kg_ha", "kg/ha", land.grid, inside, values) for name, values in kg_ha.items()}
    return surfaces, shares, acts


def _base(source: Source, grid: Grid, rng: np.random.Generator) -> Floats:
    """A source before speed and dryness act: log-Gaussian, its mean as planned."""
    waves = _gaussian(grid, source.range_m, source.smooth, rng)
    return np.asarray(source.mean_kg_ha * np.exp(source.sd * waves - source.sd**2 / 2))


# --- counting -------------------------------------------------------------------------


def _stops(plan: FieldPlan, surfaces: Mapping[str, Surface], steps: _Steps, rng: np.random.Generator) -> pd.DataFrame:
    """The stops and what truly lies there [kg/ha], a stop's own scatter included."""
    inside = np.isfinite(surfaces["total_kg_ha"].at(*steps.places.T))
    full = steps.fresh_width_m >= 0.8 * (plan.header_width_m - plan.overlap_m)
    candidates = np.flatnonzero(steps.working & full & inside & _under_way(steps))
    chosen = candidates[_DESIGNS[plan.design](plan, steps, candidates, rng)]
    places = steps.places[chosen]
    stops = pd.DataFrame({"stop_id": [f"S{n + 1:02d}" for n in range(len(chosen))], "easting_m": places[:, 0], "northing_m": places[:, 1]})
    own = np.exp(plan.micro_sd * rng.standard_normal(len(chosen)) - plan.micro_sd**2 / 2)
    for name in (*SOURCES, "total"):
        stops[f"{name}_kg_ha"] = surfaces[f"{name}_kg_ha"].at(*places.T) * own
    stops["speed_m_s"], stops["moisture_pct"] = steps.speed_m_s[chosen], steps.moisture_pct[chosen]
    return stops


def _under_way(steps: _Steps) -> npt.NDArray[np.bool_]:
    """Steps at least `WAY_M` from where their pass begins and ends: nobody counts where the combine turned."""
    run = np.cumsum(steps.speed_m_s * steps.seconds)
    starts = np.flatnonzero(np.diff(steps.pass_id, prepend=-2))
    piece = np.searchsorted(starts, np.arange(len(run)), side="right") - 1
    first, last = run[starts][piece], run[np.append(starts[1:], len(run)) - 1][piece]
    return np.asarray((run - first >= WAY_M) & (last - run >= WAY_M))


def _at_random(plan: FieldPlan, steps: _Steps, candidates: npt.NDArray[np.intp], rng: np.random.Generator) -> npt.NDArray[np.intp]:
    """Anywhere; slow steps do not draw more stops, since a step is taken by the metre it covers."""
    weights = steps.speed_m_s[candidates]
    return np.sort(rng.choice(len(candidates), size=plan.stops, replace=False, p=weights / weights.sum()))


def _spread(plan: FieldPlan, steps: _Steps, candidates: npt.NDArray[np.intp], rng: np.random.Generator) -> npt.NDArray[np.intp]:
    """Far from one another in place, speed and moisture at once (farthest-point order)."""
    place = steps.places[candidates]
    scale = place.std(axis=0).mean()
    drivers = np.stack([steps.speed_m_s[candidates], steps.moisture_pct[candidates]], axis=1)
    spread = np.maximum(drivers.std(axis=0), 1e-9)
    traits = np.concatenate([(place - place.mean(axis=0)) / scale, 0.7 * (drivers - drivers.mean(axis=0)) / spread], axis=1)
    chosen = [int(rng.integers(len(candidates)))]
    distance = np.linalg.norm(traits - traits[chosen[0]], axis=1)
    while len(chosen) < plan.stops:
        chosen.append(int(np.argmax(distance)))
        distance = np.minimum(distance, np.linalg.norm(traits - traits[chosen[-1]], axis=1))
    return np.sort(chosen)


def _along_passes(plan: FieldPlan, steps: _Steps, candidates: npt.NDArray[np.intp], rng: np.random.Generator) -> npt.NDArray[np.intp]:
    """Along three passes, as who walks out with little time does."""
    passes = steps.pass_id[candidates]
    numbers, sizes = np.unique(passes, return_counts=True)
    long = numbers[sizes >= np.quantile(sizes, 0.4)]
    taken = np.flatnonzero(np.isin(passes, rng.choice(long, size=min(3, len(long)), replace=False)))
    return np.asarray(taken[np.linspace(0, len(taken) - 1, plan.stops).round().astype(int)])


_DESIGNS = MappingProxyType({"random": _at_random, "spread": _spread, "passes": _along_passes})


def _counts(plan: FieldPlan, crs: pyproj.CRS, stops: pd.DataFrame, rng: np.random.Generator) -> gpd.GeoDataFrame:
    """Frames laid at each position of each stop: negative binomial, clumped as planned."""
    loose = 1 - plan.ears
    area = plan.frames * plan.frame_m2
    lies_kg_ha = {
        "before_header": stops["preharvest_kg_ha"] * loose,
        "behind_header": (stops["preharvest_kg_ha"] + stops["header_kg_ha"]) * loose,
        "behind_combine": (stops["preharvest_kg_ha"] + stops["header_kg_ha"]) * loose + plan.concentration * stops["threshing_kg_ha"],
    }
    noise = plan.stop_noise_m * rng.standard_normal((2, len(stops)))
    stops = stops.assign(easting_m=(stops["easting_m"] + noise[0]).round(1), northing_m=(stops["northing_m"] + noise[1]).round(1))
    rows = []
    for position in plan.positions:
        mean = lies_kg_ha[position].to_numpy() * 100 / plan.thousand_seeds_g * area
        size = plan.clumping_r * area / FT2_M2
        seeds = rng.negative_binomial(size, size / (size + mean)).astype(float)
        rows.append(_rows(stops, position, area, plan.frames) | ({"grams": _weighed(plan, seeds)} if plan.weighed else {"seeds": seeds}))
        if plan.ears and position != "behind_combine":
            lying = (stops["preharvest_kg_ha"] + (stops["header_kg_ha"] if position == "behind_header" else 0)) * plan.ears
            ears = rng.poisson(lying * 0.1 / plan.grain_on_ear_g * EARS_M2).astype(float)
            rows.append(_rows(stops, position, EARS_M2, 1) | {"ears": ears, "grams_per_ear": plan.ear_g or np.nan})
    table = pd.concat([pd.DataFrame(row) for row in rows], ignore_index=True).sort_values("stop_id", kind="stable", ignore_index=True)
    table = table.reindex(columns=[column.name for column in COUNTS.columns if column.name != "time"] + ["easting_m", "northing_m"])
    place = gpd.points_from_xy(table.pop("easting_m"), table.pop("northing_m"), crs=crs)
    numbers = ["seeds", "grams", "ears", "grams_per_ear", "frame_m2", "frames"]
    return gpd.GeoDataFrame(table.astype(dict.fromkeys(numbers, float)), geometry=place)


def _rows(stops: pd.DataFrame, position: str, area_m2: float, frames: int) -> dict[str, object]:
    place = {column: stops[column] for column in ("easting_m", "northing_m")}
    return {"stop_id": stops["stop_id"], "position": position, "frame_m2": area_m2, "frames": float(frames), "note": ""} | place


def _weighed(plan: FieldPlan, seeds: Floats) -> Floats:
    """Seeds on a scale that shows a tenth of a gram."""
    return np.asarray(np.round(seeds * plan.thousand_seeds_g / 1000, 1))


# --- logging --------------------------------------------------------------------------


def _log(plan: FieldPlan, crs: pyproj.CRS, land: _Land, steps: _Steps, rng: np.random.Generator) -> tuple[gpd.GeoDataFrame, pd.DataFrame]:
    """What the machine wrote, and for each record what was so."""
    taken = round(plan.log_interval_s / steps.seconds)
    records = _records(steps, taken)
    count = len(records)
    places = np.stack([_by_record(steps.places[:, axis], taken) for axis in (0, 1)], axis=1)
    speed = _by_record(steps.speed_m_s, taken)
    clock = np.round((np.arange(count) + 0.5) * plan.log_interval_s * 1000).astype("timedelta64[ms]")
    flow_noise, moisture_noise = rng.standard_normal(count), rng.standard_normal(count)
    logged = {
        "time": pd.DatetimeIndex(np.datetime64(plan.started.replace(tzinfo=None), "ms") + clock, tz="UTC"),
        "mass_flow_kg_s": _by_record(_late_flow(plan, steps), taken) * np.maximum(1 + plan.flow_noise * flow_noise, 0),
        "moisture_pct": _by_record(_late_moisture(plan, steps), taken) + plan.moisture_noise_pct * moisture_noise,
        "speed_m_s": speed,
        "distance_m": speed * plan.log_interval_s,
        "interval_s": np.full(count, float(plan.log_interval_s)),
        "width_m": np.full(count, float(plan.header_width_m)),
        "heading_deg": steps.heading_deg[_middle(steps, taken)],
        "elevation_m": land.at(land.elevation_m, places),
        "machine": plan.machine,
        "log": np.zeros(count, dtype=np.int64),
        "work": records["working"].to_numpy(float),
    }
    seen = places + plan.gnss_noise_m * rng.standard_normal(places.shape)
    points = gpd.GeoDataFrame(logged, geometry=gpd.points_from_xy(*seen.T, crs=crs))
    if plan.header_up_rows:
        return points, records
    kept = records["working"]
    return points[kept].drop(columns="work").reset_index(drop=True), records[kept].reset_index(drop=True)


def _records(steps: _Steps, taken: int) -> pd.DataFrame:
    """What was so in each record of `taken` steps."""
    middle = _middle(steps, taken)
    working = _by_record(steps.working.astype(float), taken) > 0.5
    return pd.DataFrame(
        {
            "yield_kg_ha": steps.yield_kg_ha[middle],
            "moisture_pct": steps.moisture_pct[middle],
            # so that width times distance is the area cut, also where a pass begins within a record
            "fresh_width_m": _by_record(steps.area_m2, taken) / _by_record(steps.speed_m_s * steps.seconds, taken),
            "pass_id": np.where(working, steps.pass_id[middle], -1),
            "working": working,
            "flaw": "",
        }
    )


def _middle(steps: _Steps, taken: int) -> npt.NDArray[np.intp]:
    """The step in the middle of each record."""
    count = math.ceil(len(steps.places) / taken)
    return np.minimum(np.arange(count) * taken + taken // 2, len(steps.places) - 1)


def _by_record(values: Floats, taken: int) -> Floats:
    """Means over `taken` steps; what is missing at the end counts as zero flow, the last place, and so on."""
    missing = -len(values) % taken
    return np.asarray(np.concatenate([values, np.repeat(values[-1:], missing)]).reshape(-1, taken).mean(axis=1))


def _late_flow(plan: FieldPlan, steps: _Steps) -> Floats:
    """Wet mass flow at the sensor [kg/s]: smeared by the machine's filling, and late.

    The smear is a lag of its own; it is taken off the delay, so that `flow_delay_s` is how
    late the flow is on average. Mass is kept: what is cut arrives.
    """
    dry_kg_s = steps.yield_kg_ha / 10_000 * steps.area_m2 / steps.seconds
    market = crop_row(plan.crop).market_moisture_pct
    cut_kg_s = np.where(steps.working, dry_kg_s * (100 - market) / (100 - steps.moisture_pct), 0.0)
    keeps = math.exp(-steps.seconds / plan.ramp_s) if plan.ramp_s > 0 else 0.0
    smeared = scipy.signal.lfilter([1 - keeps], [1, -keeps], cut_kg_s)
    lag_s = keeps / (1 - keeps) * steps.seconds
    edges = np.arange(len(cut_kg_s) + 1) * steps.seconds
    arrived_kg = np.concatenate([[0.0], np.cumsum(smeared)]) * steps.seconds
    return np.asarray(np.diff(np.interp(edges - (plan.flow_delay_s - lag_s), edges, arrived_kg)) / steps.seconds)


def _late_moisture(plan: FieldPlan, steps: _Steps) -> Floats:
    """Moisture at the sensor [%]; while nothing passes it, it shows what it saw last."""
    last_cut = np.maximum.accumulate(np.where(steps.working, np.arange(len(steps.places)), 0))
    clock = np.arange(len(steps.places)) * steps.seconds
    return np.asarray(np.interp(clock - plan.moisture_delay_s, clock, steps.moisture_pct[last_cut]))


def _spoilt(
    plan: FieldPlan, points: gpd.GeoDataFrame, records: pd.DataFrame, rng: np.random.Generator
) -> tuple[gpd.GeoDataFrame, pd.DataFrame]:
    """The flaws the plan asks for, each on records of its own and named in `records`."""
    rows = rng.permutation(np.flatnonzero(records["working"]))
    thrown, spiked, twice = np.split(rows[: plan.jumps + plan.spikes + plan.duplicates], [plan.jumps, plan.jumps + plan.spikes])
    points, records = points.copy(), records.copy()
    places = np.stack([points.geometry.x, points.geometry.y], axis=1)
    way = rng.uniform(0, 2 * math.pi, len(thrown))
    places[thrown] += rng.uniform(60, 250, len(thrown))[:, None] * np.stack([np.sin(way), np.cos(way)], axis=1)
    points.geometry = gpd.points_from_xy(*places.T, crs=points.crs)
    points.loc[spiked, "mass_flow_kg_s"] *= 3
    if plan.stuck_moisture:
        first = int(rng.integers(0, max(1, len(points) - plan.stuck_moisture)))
        stuck = slice(first, first + plan.stuck_moisture - 1)
        points.loc[stuck, "moisture_pct"] = points.loc[first, "moisture_pct"]
        records.loc[stuck, "flaw"] = "stuck moisture"
    records.loc[thrown, "flaw"], records.loc[spiked, "flaw"] = "jump", "spike"
    order = np.sort(np.concatenate([np.arange(len(points)), twice]), kind="stable")
    again = np.flatnonzero(np.diff(order, prepend=-1) == 0)
    points, records = points.iloc[order].reset_index(drop=True), records.iloc[order].reset_index(drop=True)
    records.loc[again, "flaw"] = "duplicate"
    return points, records


# --- writing --------------------------------------------------------------------------

Format = Literal["csv", "geojson", "gpkg", "shp.zip", "parquet", "fgb"]
WGS84 = "EPSG:4326"
DATE = datetime.datetime(2025, 12, 1, tzinfo=datetime.UTC)  # stands in every file that must carry a date of writing
DECIMALS = MappingProxyType({"moisture": 1, "heading": 1, "elevation": 1, "yield": 2, "longitude": 7, "latitude": 7})

US_COLUMNS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "time": ("Time (UTC)", ""),
        "longitude": ("Longitude", "deg"),
        "latitude": ("Latitude", "deg"),
        "mass_flow": ("Mass flow (lb/s)", "lb/s"),
        "moisture": ("Moisture [%]", "percent"),
        "speed": ("Speed (mph)", "mph"),
        "distance": ("Distance (ft)", "ft"),
        "interval": ("Interval (s)", "s"),
        "width": ("Swath width (ft)", "ft"),
        "heading": ("Heading (deg)", "deg"),
        "elevation": ("Elevation (ft)", "ft"),
    }
)


@dataclass(frozen=True)
class Layout:
    """How a made field is written down.

    Attributes
    ----------
    points, counts : format
        Of each of the two files.
    columns : mapping of role to (name, unit)
        Columns of the points file in their order; `lossmap.base.field.ROLES` has the roles.
    explained : tuple of str
        Roles whose column and unit stand in field.toml, since their names tell too little.
    epsg : int or None
        CRS of geometry and of easting and northing; None: longitude and latitude.
    frame_unit : "ft2" or "m2"
    words : mapping of str to str
        What the counter wrote for a position, or for ``seeds``.
    boundary : bool
        Whether the outline is written.
    facts : mapping of str to str
        More lines of field.toml.
    """

    points: Format = "csv"
    counts: Format = "csv"
    columns: Mapping[str, tuple[str, str]] = field(default_factory=lambda: US_COLUMNS)
    explained: tuple[str, ...] = ()
    epsg: int | None = None
    frame_unit: Literal["ft2", "m2"] = "ft2"
    words: Mapping[str, str] = field(default_factory=dict)
    boundary: bool = True
    facts: Mapping[str, str] = field(default_factory=dict)


def write(made: MadeField, folder: Path, layout: Layout | None = None) -> None:
    """Write a made field as a folder that the flows read: field.toml and the files it names.

    The same field and layout give the same bytes with the same versions of the libraries:
    whatever a format wants to say about now is set to one date.

    Parameters
    ----------
    made : MadeField
    folder : path
        Made if it is missing; its last part names the field's results.
    layout : Layout
        Without it: CSV in US units.

    Raises
    ------
    SettingsError
        A role that is none.
    """
    layout = layout or Layout()
    wrong = sorted(set(layout.columns) - set(ROLES))
    if wrong:
        raise SettingsError(f'Layout: role "{wrong[0]}" is not known; {near(wrong[0], ROLES)}')
    folder.mkdir(parents=True, exist_ok=True)
    crs = f"EPSG:{layout.epsg}" if layout.epsg else WGS84
    _save(_points_table(made, layout, crs), folder / f"points.{layout.points}")
    _save(_counts_table(made, layout), folder / f"counts.{layout.counts}")
    if layout.boundary:
        outline = gpd.GeoDataFrame({"name": ["made boundary"]}, geometry=[made.boundary], crs=made.crs)
        _save(outline.to_crs(WGS84), folder / "boundary.geojson")
    (folder / "field.toml").write_text(_field_toml(made, folder.name, layout, crs), encoding="utf-8", newline="\n")


def _points_table(made: MadeField, layout: Layout, crs: str) -> gpd.GeoDataFrame:
    """The log in the columns and units of `layout`; its geometry is left out by `_save` for CSV."""
    points = made.points.to_crs(crs)
    bushel_lb = crop_row(made.plan.crop).bushel_lb
    table = {}
    for role, (name, unit) in layout.columns.items():
        values = _by_role(made, points, role)
        if ROLES[role]:
            values = (values * factor(ROLES[role], unit, bushel_lb)).round(DECIMALS.get(role, 3))
        table[name] = values
    return gpd.GeoDataFrame(table, geometry=points.geometry, crs=points.crs)


def _by_role(made: MadeField, placed: gpd.GeoDataFrame, role: str) -> pd.Series:
    """One column in SI."""
    if role in ("longitude", "latitude"):
        sphere = made.points.geometry.to_crs(WGS84)
        values: pd.Series = sphere.x if role == "longitude" else sphere.y
    elif role in ("easting", "northing"):
        values = placed.geometry.x if role == "easting" else placed.geometry.y
    elif role == "time":
        values = placed["time"].dt.strftime("%Y-%m-%dT%H:%M:%S.%f").str.slice(stop=-3) + "Z"
    elif role == "pass":
        values = made.truth.records["pass_id"]
    elif role == "yield":
        values = _logged_yield(made.plan, placed)
    else:
        values = placed[MEASURED.get(role, role)]
    return values


def _logged_yield(plan: FieldPlan, points: gpd.GeoDataFrame) -> pd.Series:
    """What a display would show: flow over area as logged, at market moisture [kg/ha]."""
    dry = (100 - points["moisture_pct"]) / (100 - crop_row(plan.crop).market_moisture_pct)
    area_ha = points["width_m"] * points["distance_m"] / 10_000
    shown: pd.Series = points["mass_flow_kg_s"] * points["interval_s"] * dry / area_ha
    return shown


def _counts_table(made: MadeField, layout: Layout) -> gpd.GeoDataFrame:
    """The count sheet: columns nobody filled are left out; the area is that of one frame."""
    counts = made.counts.to_crs(WGS84)
    one_frame = counts["frame_m2"] / counts["frames"] * factor("m2", layout.frame_unit)
    table = {
        "stop": counts["stop_id"],
        "longitude": counts.geometry.x.round(7),
        "latitude": counts.geometry.y.round(7),
        "position": counts["position"].replace(dict(layout.words)),
        layout.words.get("seeds", "seeds"): counts["seeds"].astype("Int64"),
        "grams": counts["grams"],
        "ears": counts["ears"].astype("Int64"),
        "grams_per_ear": counts["grams_per_ear"],
        f"frame_{layout.frame_unit}": one_frame.round(4),
        "frames": counts["frames"].astype("Int64"),
    }
    filled = {name: values for name, values in table.items() if values.notna().any()}
    return gpd.GeoDataFrame(filled, geometry=counts.geometry, crs=counts.crs)


def _field_toml(made: MadeField, name: str, layout: Layout, crs: str) -> str:
    """The facts of a made field; quoted as JSON strings, which TOML reads alike."""
    plan = made.plan
    facts = {"name": name, "crop": plan.crop} | dict(layout.facts)
    lines = ["# A made field: no such place, farm or machine. How it was made: lossmap.synthetic."]
    lines += [f"{key} = {json.dumps(value)}" for key, value in facts.items()]
    lines.append(f"harvested_on = {plan.started.date().isoformat()}")
    lines += ['boundary = "boundary.geojson"'] if layout.boundary else []
    lines.append(f'header_width = "{plan.header_width_m / 0.3048:g} ft"')
    if plan.discharge_width_m:
        lines.append(f'discharge_width = "{plan.discharge_width_m / 0.3048:g} ft"')
    if plan.stated_seed_mass_g:
        lines.append(f'thousand_seed_mass = "{plan.stated_seed_mass_g:g} g"')
    lines += ["", "[[points]]", f'path = "points.{layout.points}"']
    if layout.points == "csv" and layout.epsg:
        lines.append(f'crs = "{crs}"')
    if layout.explained:
        lines.append("[points.columns]")
        lines += [_explained(role, *layout.columns[role]) for role in layout.explained]
    return "\n".join([*lines, "", "[[counts]]", f'path = "counts.{layout.counts}"', ""])


def _explained(role: str, name: str, unit: str) -> str:
    return f"{role} = {{ column = {json.dumps(name)}, unit = {json.dumps(unit)} }}" if unit else f"{role} = {json.dumps(name)}"


def _save(table: gpd.GeoDataFrame, path: Path) -> None:
    """Write one table in the format its name ends in, without any trace of now."""
    kind = path.name.split(".", 1)[1]
    path.unlink(missing_ok=True)
    if kind == "csv":
        table.drop(columns="geometry").to_csv(path, index=False, lineterminator="\n")
    elif kind == "parquet":
        table.to_parquet(path, index=False, compression="zstd")
    elif kind == "geojson":
        pyogrio.write_dataframe(table, path, driver="GeoJSON", RFC7946="YES", COORDINATE_PRECISION=7)
    elif kind == "fgb":  # its index would put the records in another order than that of time
        pyogrio.write_dataframe(table, path, driver="FlatGeobuf", SPATIAL_INDEX="NO")
    elif kind == "gpkg":
        pyogrio.write_dataframe(table, path, driver="GPKG", layer="log", VERSION="1.3", SPATIAL_INDEX="NO")
        _dated(path)
    else:
        path.write_bytes(_zipped_shapefile(table))


def _dated(path: Path) -> None:
    """Put `DATE` where a GeoPackage says when it was changed."""
    with closing(sqlite3.connect(path)) as store, store:
        store.execute("UPDATE gpkg_contents SET last_change = ?", (DATE.strftime("%Y-%m-%dT%H:%M:%S.000Z"),))


def _zipped_shapefile(table: gpd.GeoDataFrame) -> bytes:
    """A Shapefile's files in one zip, all of `DATE`."""
    packed = io.BytesIO()
    with tempfile.TemporaryDirectory() as aside, zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        pyogrio.write_dataframe(
            table, Path(aside) / "points.shp", driver="ESRI Shapefile", DBF_DATE_LAST_UPDATE=DATE.date().isoformat(), ENCODING="UTF-8"
        )
        for part in sorted(Path(aside).iterdir()):
            entry = zipfile.ZipInfo(part.name, date_time=DATE.timetuple()[:6])
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, part.read_bytes())
    return packed.getvalue()
