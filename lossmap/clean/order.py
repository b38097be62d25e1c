"""The order of cleaning: what runs after what, and what becomes of each record.

The order follows what each step needs (cleaning notes, Simbahan et al. 2004, Agron. J.
96:1091-1102): positions before passes, passes before ramps, the swath before the yield
it corrects, the yield before its outliers. No row is dropped; the first reason that holds
stands in ``flag``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from lossmap.base.errors import TooLittleData
from lossmap.base.estimates import Delay, Estimate, StatedTiming
from lossmap.base.field import Cleaning, Field
from lossmap.base.grid import Floats
from lossmap.base.settings import CleanSettings
from lossmap.base.tables import FLAGS, POINTS
from lossmap.clean.delay import as_set, earlier, estimated, neighbour_pairs
from lossmap.clean.figures import figures, pass_offset_pct
from lossmap.clean.machines import as_estimates, machine_factors
from lossmap.clean.motion import passes, ramps, speed_changes
from lossmap.clean.position import collapsed_sections, duplicates, jumps, known_places
from lossmap.clean.swath import covered, fresh_share
from lossmap.clean.track import Mask, Track, Whole, track_of
from lossmap.clean.values import at_market, moisture, stuck, unlike_field, unlike_neighbours, wet_yield

__all__ = ["clean"]

# Fewer believed records than this are no log of a field.
LEAST_KEPT = 50

# A swath fresher than this share is whole (cleaning notes: 50-95 % correct, above leave).
OVERLAP_BELOW = 0.9


def clean(
    points: gpd.GeoDataFrame,
    field: Field,
    settings: CleanSettings,
    boundary: shapely.Geometry | None = None,
    timings: Sequence[StatedTiming] = (),
) -> tuple[gpd.GeoDataFrame, Cleaning]:
    """Doubt each record of a log once, for one reason, and recompute yield from its parts.

    Parameters
    ----------
    points : POINTS
        In the field's metric crs.
    field : Field
    settings : CleanSettings
    boundary : shapely geometry, optional
        The field's edge in the same crs [m].
    timings : sequence of StatedTiming
        What logs say of their own ramps; it goes before the settings.

    Returns
    -------
    (POINTS, Cleaning)
        Every record in its order, with ``flag``, ``pass_id``, ``fresh_width_m``,
        ``speed_m_s`` and yield at market moisture; and what was found.

    Raises
    ------
    TooLittleData
        Fewer than 50 records can be believed.
    """
    if len(points) < LEAST_KEPT:
        raise TooLittleData(f"{field.id}: the log holds {len(points)} records, at least {LEAST_KEPT} are needed; check the export")
    placed = known_places(points)
    collapsed, section_rows = collapsed_sections(points)
    flags = _Flags(len(points))
    flags.put(~placed, "bad position")
    flags.put(section_rows, "section row")
    log = _Log(collapsed, track_of(collapsed[~section_rows], placed[~section_rows]), ~section_rows)

    flags.put(log.back(duplicates(log.table, log.track)), "duplicate")
    flags.put(log.back(jumps(log.track, settings.jump_speed)), "position jump")
    drive = _driven(log, field, settings, ~log.ahead(flags.any()))
    flags.put(log.back(~drive.working), "not working")
    speed = _speed(log)
    share = _judge_passes(flags, log, drive, speed, settings, timings)
    if boundary is not None:
        flags.put(_outside(points, boundary, settings.boundary_margin / 100.0 * field.facts.header_width), "outside field")
    harvest = _harvested(log, drive, share, field)
    _refuse_values(flags, log, harvest.dry, field, settings)
    dry, factors = _matched(flags, log, harvest.dry, field, settings)

    columns = {"moisture_pct": drive.moisture, "speed_m_s": speed, "yield_kg_ha": dry}
    table = _written(collapsed, log, flags, columns, drive.pass_id, log.values("width_m") * share)
    kept = flags.kept()
    if kept.sum() < LEAST_KEPT:
        raise TooLittleData(
            f"{field.id}: {int(kept.sum())} of {len(points)} records can be believed, at least {LEAST_KEPT} are needed "
            f"({flags.worst()}); check "
            + ("that the boundary is this field's" if "outside field" in flags.worst() else "columns and units with lossmap check")
        )
    track, believed = log.track, log.ahead(kept)
    cut = drive.working & np.isfinite(harvest.logged_m2)
    return POINTS.check(table), Cleaning(
        read=len(points),
        kept=int(kept.sum()),
        flags=flags.counted(),
        logged_ha=float(harvest.logged_m2[cut].sum()) / 10_000,
        fresh_ha=float((harvest.logged_m2 * share)[cut].sum()) / 10_000,
        union_ha=float(shapely.area(covered(table, field.facts.header_width))) / 10_000,
        before=figures(track.easting_m, track.northing_m, harvest.as_logged, harvest.logged_m2),
        after=figures(track.easting_m[believed], track.northing_m[believed], dry[believed], (harvest.logged_m2 * share)[believed]),
        flow_delay=drive.flow_delay,
        moisture_delay=drive.moisture_delay,
        notes=(*_missing(log, drive), *_share_removed(len(points) - int(section_rows.sum()), int(kept.sum()))),
        pass_offset_pct=pass_offset_pct(track.easting_m, track.northing_m, dry, drive.pass_id, believed, field.facts.header_width),
        machine_factors=factors,
    )


class _Flags:
    """One reason a record; the first put stands."""

    def __init__(self, count: int) -> None:
        self._reason = np.full(count, "", dtype=object)

    def put(self, mask: Mask, reason: str) -> None:
        self._reason[mask & (self._reason == "")] = reason

    def any(self) -> Mask:
        return np.asarray(self._reason != "", dtype=bool)

    def kept(self) -> Mask:
        return ~self.any()

    def counted(self) -> dict[str, int]:
        return {reason: n for reason in FLAGS if (n := int((self._reason == reason).sum()))}

    def worst(self) -> str:
        counted = self.counted()
        reason = max(counted, key=lambda one: counted[one])
        return f'most are flagged "{reason}"'

    def text(self) -> np.ndarray:
        return self._reason.astype(str)


class _Log:
    """The readings of a table in the order of harvest, and the way back to its rows."""

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

    def driven(self) -> Floats:
        """Distance exactly as logged, the track's own where the log has none."""
        return self.values("distance_m") if "distance_m" in self.table else self.track.distance_m

    def ahead(self, mask: Mask) -> Mask:
        """A mask over rows, over readings in the order of harvest."""
        return mask[self._rows]

    def back(self, mask: Mask) -> Mask:
        """A mask over readings, over rows."""
        out = np.zeros(self._length, dtype=bool)
        out[self._rows] = mask
        return out

    def column(self, values: Floats, elsewhere: Floats) -> Floats:
        """Values of readings as a column of the table; rows that are no reading keep `elsewhere`."""
        out = np.array(elsewhere, copy=True)
        out[self._rows] = values
        return out


@dataclass(frozen=True)
class _Drive:
    """The log with its sensors' delays mended: readings, and when the machine worked in which pass."""

    flow: Floats
    moisture: Floats
    stuck: int
    working: Mask
    pass_id: Whole
    flow_delay: Delay
    moisture_delay: Delay


def _driven(log: _Log, field: Field, settings: CleanSettings, believed: Mask) -> _Drive:
    """Find passes, from them the delays, and with flow moved back the passes once more.

    A late flow cuts off each pass's start and adds the turn behind its end: only after it is
    moved is it known when the machine worked.
    """
    track, flow, wet = log.track, log.values("mass_flow_kg_s"), log.values("yield_kg_ha")
    water = moisture(log.values("moisture_pct"))
    still = stuck(water, track.interval_s, settings.stuck_moisture)
    water = np.where(still, np.nan, water)
    working, pass_id = _working(log, flow, wet, settings, believed)
    pairs = neighbour_pairs(track, pass_id, field.facts.header_width)
    interval = float(np.median(track.interval_s))

    def delay(values: Floats, setting: float | None, key: str) -> Delay:
        if setting is not None:
            return as_set(setting, key)
        return estimated(values, pairs, working, interval, key)

    flow_delay = delay(flow, settings.flow_delay, "clean.flow_delay")
    moisture_delay = delay(water, settings.moisture_delay, "clean.moisture_delay")
    if flow_delay.applied:
        flow = earlier(flow, track, flow_delay.seconds)
        working, pass_id = _working(log, flow, wet, settings, believed)
    if moisture_delay.applied:
        water = earlier(water, track, moisture_delay.seconds)
    return _Drive(flow, water, int(still.sum()), working, pass_id, flow_delay, moisture_delay)


def _working(log: _Log, flow: Floats, wet: Floats, settings: CleanSettings, believed: Mask) -> tuple[Mask, Whole]:
    """Records at which the machine worked, and the pass of each (-1 for the others, and for all where order is lost)."""
    measured = flow if np.isfinite(flow).any() else wet
    positive = measured[measured > 0]
    least = settings.least_flow / 100.0 * (float(np.median(positive)) if positive.size else 0.0)
    work = log.values("work")
    with np.errstate(invalid="ignore"):
        working = believed & (work != 0) & (log.values("width_m") > 0) & ~(measured <= least) & ~np.isnan(measured)
    if not log.track.ordered:
        return working, np.full(len(working), -1)
    return working, passes(log.track, working, settings.jump_speed, settings.turn)


def _judge_passes(
    flags: _Flags, log: _Log, drive: _Drive, speed: Floats, settings: CleanSettings, timings: Sequence[StatedTiming]
) -> Floats:
    """What needs the order of harvest: ramps, speed changes, overlap; the share of each swath freshly cut."""
    if not log.track.ordered:
        return np.ones(len(speed))
    start, end = _ramp_lengths(log, settings, timings)
    short, first, last = ramps(log.track, drive.pass_id, start, end, settings.shortest_pass)
    for mask, reason in ((short, "short pass"), (first, "pass start"), (last, "pass end")):
        flags.put(log.back(mask), reason)
    flags.put(log.back(speed_changes(speed, drive.pass_id, settings.speed_change)), "speed change")
    share = fresh_share(log.track, log.values("width_m"), drive.pass_id)
    flags.put(log.back(share < settings.least_width / 100.0), "swath already cut")
    return share


def _ramp_lengths(log: _Log, settings: CleanSettings, timings: Sequence[StatedTiming]) -> tuple[Floats, Floats]:
    """Seconds at each record's pass start and end in which its yield is not to be believed."""
    number = log.values("log")
    start, end = np.full(len(number), settings.pass_start), np.full(len(number), settings.pass_end)
    for stated in timings:
        for lengths, seconds in ((start, stated.lead_ignore_s), (end, stated.lag_ignore_s)):
            if np.isfinite(seconds):
                lengths[number == stated.log] = seconds
    return start, end


@dataclass(frozen=True)
class _Harvest:
    """Yield of each record [kg/ha at market moisture]: as the log has it, and recomputed; and the area it logged [m2]."""

    as_logged: Floats
    dry: Floats
    logged_m2: Floats


def _harvested(log: _Log, drive: _Drive, share: Floats, field: Field) -> _Harvest:
    """Yield before and after the delays, the missing moisture and the overlap are mended."""
    width, wet, market = log.values("width_m"), log.values("yield_kg_ha"), field.crop.market_moisture_pct
    as_logged = _yield(log, log.values("mass_flow_kg_s"), wet, log.values("moisture_pct"), width, log.driven(), market)
    # a share near one is the raster's own grain, not an overlap
    cut_width = width * np.where(share > OVERLAP_BELOW, 1.0, np.fmax(share, 0.05))
    dry = _yield(log, drive.flow, wet, drive.moisture, cut_width, log.track.distance_m, market)
    return _Harvest(as_logged, dry, width * log.track.distance_m)


def _matched(flags: _Flags, log: _Log, dry: Floats, field: Field, settings: CleanSettings) -> tuple[Floats, dict[str, Estimate]]:
    """Yield with machines brought to one level, if that was asked for."""
    names, machine = np.unique(log.table["machine"].to_numpy(dtype=str)[log.track.order], return_inverse=True)
    if not settings.match_machines or len(names) < 2:
        return dry, {}
    track, believed = log.track, log.ahead(flags.kept())
    factor, doubt = machine_factors(track.easting_m, track.northing_m, dry, machine, believed, field.facts.header_width)
    return dry * factor[machine], as_estimates(factor, doubt, names.tolist())


def _missing(log: _Log, drive: _Drive) -> list[str]:
    """What could not be judged, or was taken for missing, in words."""
    notes = []
    if not log.track.ordered:
        notes.append(
            "the rows have lost the order of harvest: passes, their ends, delays, speed changes and overlap cannot be judged "
            '(if a column numbers the records or says which machine wrote them, set record or machine = "its name" under [points.columns])'
        )
    elif not log.track.clock:
        notes.append("the log has no clock: pass ends and short passes are judged by distance, at 2 m a second")
    if drive.stuck:
        notes.append(f"moisture stood still for {drive.stuck:,} records: taken as missing there, yield as at the field's middle moisture")
    return notes


def _speed(log: _Log) -> Floats:
    """Logged speed, else distance over a real interval; NaN without either."""
    logged = log.values("speed_m_s")
    if not log.track.clock:
        return logged
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(np.isnan(logged), log.track.distance_m / log.track.interval_s, logged)


def _yield(log: _Log, flow: Floats, logged: Floats, water: Floats, width: Floats, distance: Floats, market_pct: float) -> Floats:
    """From mass flow where it and a clock are known, else as logged on the width really cut [kg/ha]."""
    if np.isfinite(flow).any() and log.track.clock:
        return at_market(wet_yield(flow, log.track.interval_s, width, distance), water, market_pct)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(width > 0, logged * log.values("width_m") / width, np.nan)


def _refuse_values(flags: _Flags, log: _Log, dry: Floats, field: Field, settings: CleanSettings) -> None:
    """Outliers last: each step looks only at what the ones before it left."""
    with np.errstate(invalid="ignore"):
        flags.put(log.back((dry <= 0) | (dry > field.crop.yield_most_kg_ha)), "beyond crop limits")
    flags.put(log.back(~np.isfinite(dry)), "no yield")
    flags.put(log.back(unlike_field(dry, log.ahead(flags.kept()), settings.field_limits)), "unlike the field")
    radius = 2.5 * field.facts.header_width
    track = log.track
    aside = unlike_neighbours(track.easting_m, track.northing_m, dry, log.ahead(flags.kept()), radius, settings.neighbour_limit)
    flags.put(log.back(aside), "unlike its neighbours")


def _outside(points: gpd.GeoDataFrame, boundary: shapely.Geometry, margin_m: float) -> Mask:
    edge = shapely.buffer(boundary, margin_m)
    shapely.prepare(edge)
    return ~np.asarray(shapely.contains_xy(edge, points.geometry.x.to_numpy(), points.geometry.y.to_numpy()))


def _written(
    table: gpd.GeoDataFrame, log: _Log, flags: _Flags, columns: dict[str, Floats], pass_id: np.ndarray, fresh_width: Floats
) -> gpd.GeoDataFrame:
    nothing = np.full(len(table), np.nan)
    out = table.copy()
    for name, values in columns.items():
        out[name] = log.column(values, nothing)
    out["fresh_width_m"] = log.column(fresh_width, nothing)
    out["pass_id"] = log.column(pass_id, np.full(len(table), -1)).astype(np.int64)
    out["flag"] = flags.text()
    out["flag"] = out["flag"].astype("str")
    return out


def _share_removed(readings: int, kept: int) -> tuple[str, ...]:
    """Published shares run from 3 to 35 %; outside them the cleaning, or the log, deserves a look."""
    gone = 100.0 * (1 - kept / max(readings, 1))
    if gone > 35:
        return (f"{gone:.0f} % of the readings are not believed, more than usual (3 to 35 %): look at the reasons before using the maps",)
    if gone < 3:
        return (f"only {gone:.1f} % of the readings are not believed, less than usual (3 to 35 %): the log may have been cleaned already",)
    return ()
