"""The order of cleaning: what runs after what, and what becomes of each record.

The order follows what each step needs (cleaning notes, Simbahan et al. 2004, Agron. J.
96:1091-1102): positions before passes, passes before ramps, the swath before the yield
it corrects, the yield before its outliers. No row is dropped; the first reason that holds
stands in ``flag``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from lossmap.base.errors import TooLittleData
from lossmap.base.estimates import Estimate, StatedTiming
from lossmap.base.field import Cleaning, Field
from lossmap.base.grid import Floats
from lossmap.base.settings import CleanSettings
from lossmap.base.tables import POINTS
from lossmap.clean.drive import Drive, driven
from lossmap.clean.figures import figures, pass_offset_pct
from lossmap.clean.harvest import Harvest, harvested
from lossmap.clean.log import Flags, Log
from lossmap.clean.machines import as_estimates, machine_factors
from lossmap.clean.motion import ramps, speed_changes
from lossmap.clean.position import collapsed_sections, duplicates, jumps, known_places
from lossmap.clean.swath import covered, fresh_share
from lossmap.clean.track import Mask, track_of
from lossmap.clean.values import unlike_field, unlike_neighbours

__all__ = ["clean"]

# Fewer believed records than this are no log of a field.
LEAST_KEPT = 50
# Neighbours of a record lie within so many headers.
NEIGHBOURS_WITHIN = 2.5
# Published shares of readings that are not believed [%]; outside them the cleaning, or the log, deserves a look.
USUALLY_GONE = (3, 35)


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
    flags = Flags(len(points))
    flags.put(~placed, "bad position")
    flags.put(section_rows, "section row")
    log = Log(collapsed, track_of(collapsed[~section_rows], placed[~section_rows]), ~section_rows)

    flags.put(log.back(duplicates(log.table, log.track)), "duplicate")
    flags.put(log.back(jumps(log.track, settings.jump_speed)), "position jump")
    drive = driven(log, field, settings, ~log.ahead(flags.any()))
    flags.put(log.back(~drive.working), "not working")
    share = _judge_passes(flags, log, drive, settings, timings)
    if boundary is not None:
        flags.put(_outside(points, boundary, settings.boundary_margin / 100.0 * field.facts.header_width), "outside field")
    harvest = harvested(log, drive, share, field.crop.market_moisture_pct)
    _judge_values(flags, log, harvest.dry, field, settings)
    dry, factors = _matched(flags, log, harvest.dry, field, settings)

    _refuse_few(flags, field)
    cleaned = _Cleaned(flags, log, drive, share, harvest, dry, factors)
    table = POINTS.check(_written(collapsed, cleaned))
    return table, _found(cleaned, table, field)


@dataclass(frozen=True)
class _Cleaned:
    """What the steps leave: `share` of each swath freshly cut, `dry` yield with machines matched where that was asked for, by `factors`."""

    flags: Flags
    log: Log
    drive: Drive
    share: Floats
    harvest: Harvest
    dry: Floats
    factors: Mapping[str, Estimate]


def _judge_passes(flags: Flags, log: Log, drive: Drive, settings: CleanSettings, timings: Sequence[StatedTiming]) -> Floats:
    """What needs the order of harvest: ramps, speed changes, overlap; the share of each swath freshly cut."""
    if not log.track.ordered:
        return np.ones(len(log.table))
    start, end = _ramp_lengths(log, settings, timings)
    short, first, last = ramps(log.track, drive.pass_id, start, end, settings.shortest_pass)
    for mask, reason in ((short, "short pass"), (first, "pass start"), (last, "pass end")):
        flags.put(log.back(mask), reason)
    flags.put(log.back(speed_changes(log.speed(), drive.pass_id, settings.speed_change)), "speed change")
    share = fresh_share(log.track, log.values("width_m"), drive.pass_id)
    flags.put(log.back(share < settings.least_width / 100.0), "swath already cut")
    return share


def _ramp_lengths(log: Log, settings: CleanSettings, timings: Sequence[StatedTiming]) -> tuple[Floats, Floats]:
    """Seconds at each record's pass start and end in which its yield is not to be believed."""
    number = log.values("log")
    start, end = np.full(len(number), settings.pass_start), np.full(len(number), settings.pass_end)
    for stated in timings:
        for lengths, seconds in ((start, stated.lead_ignore_s), (end, stated.lag_ignore_s)):
            if np.isfinite(seconds):
                lengths[number == stated.log] = seconds
    return start, end


def _outside(points: gpd.GeoDataFrame, boundary: shapely.Geometry, margin_m: float) -> Mask:
    edge = shapely.buffer(boundary, margin_m)
    shapely.prepare(edge)
    return ~np.asarray(shapely.contains_xy(edge, points.geometry.x.to_numpy(), points.geometry.y.to_numpy()))


def _judge_values(flags: Flags, log: Log, dry: Floats, field: Field, settings: CleanSettings) -> None:
    """Outliers last: each step looks only at what the ones before it left."""
    with np.errstate(invalid="ignore"):
        flags.put(log.back((dry <= 0) | (dry > field.crop.yield_most_kg_ha)), "beyond crop limits")
    flags.put(log.back(~np.isfinite(dry)), "no yield")
    flags.put(log.back(unlike_field(dry, log.ahead(flags.kept()), settings.field_limits)), "unlike the field")
    radius, track = NEIGHBOURS_WITHIN * field.facts.header_width, log.track
    aside = unlike_neighbours(track.easting_m, track.northing_m, dry, log.ahead(flags.kept()), radius, settings.neighbour_limit)
    flags.put(log.back(aside), "unlike its neighbours")


def _matched(flags: Flags, log: Log, dry: Floats, field: Field, settings: CleanSettings) -> tuple[Floats, dict[str, Estimate]]:
    """Yield with machines brought to one level, if that was asked for."""
    names, machine = np.unique(log.machines(), return_inverse=True)
    if not settings.match_machines or len(names) < 2:
        return dry, {}
    track, believed = log.track, log.ahead(flags.kept())
    factor, doubt = machine_factors(track.easting_m, track.northing_m, dry, machine, believed, field.facts.header_width)
    return dry * factor[machine], as_estimates(factor, doubt, names.tolist())


def _refuse_few(flags: Flags, field: Field) -> None:
    kept = flags.kept()
    if kept.sum() < LEAST_KEPT:
        worst = flags.worst()
        look_at = "that the boundary is this field's" if worst == "outside field" else "columns and units with lossmap check"
        raise TooLittleData(
            f"{field.id}: {int(kept.sum())} of {kept.size} records can be believed, at least {LEAST_KEPT} are needed "
            f'(most are flagged "{worst}"); check {look_at}'
        )


def _written(table: gpd.GeoDataFrame, cleaned: _Cleaned) -> gpd.GeoDataFrame:
    """The table with what was found in it; rows that are no reading have none of it but their reason."""
    log, out = cleaned.log, table.copy()
    out["moisture_pct"] = log.column(cleaned.drive.moisture, np.nan)
    out["speed_m_s"] = log.column(log.speed(), np.nan)
    out["yield_kg_ha"] = log.column(cleaned.dry, np.nan)
    out["fresh_width_m"] = log.column(log.values("width_m") * cleaned.share, np.nan)
    out["pass_id"] = log.column(cleaned.drive.pass_id, -1).astype(np.int64)
    out["flag"] = cleaned.flags.text()
    out["flag"] = out["flag"].astype("str")
    return out


def _found(cleaned: _Cleaned, table: gpd.GeoDataFrame, field: Field) -> Cleaning:
    """What the report tells of the cleaning."""
    flags, log, drive, harvest = cleaned.flags, cleaned.log, cleaned.drive, cleaned.harvest
    track, width, kept = log.track, field.facts.header_width, flags.kept()
    believed, cut = log.ahead(kept), drive.working & np.isfinite(harvest.logged_m2)
    fresh_m2 = harvest.logged_m2 * cleaned.share
    return Cleaning(
        read=len(table),
        kept=int(kept.sum()),
        flags=flags.counted(),
        logged_ha=float(harvest.logged_m2[cut].sum()) / 10_000,
        fresh_ha=float(fresh_m2[cut].sum()) / 10_000,
        union_ha=float(shapely.area(covered(table, width))) / 10_000,
        before=figures(track.easting_m, track.northing_m, harvest.as_logged, harvest.logged_m2),
        after=figures(track.easting_m[believed], track.northing_m[believed], cleaned.dry[believed], fresh_m2[believed]),
        flow_delay=drive.flow_delay,
        moisture_delay=drive.moisture_delay,
        notes=(*_missing(log, drive), *_share_removed(len(log.table), int(kept.sum()))),
        pass_offset_pct=pass_offset_pct(track.easting_m, track.northing_m, cleaned.dry, drive.pass_id, believed, width),
        machine_factors=cleaned.factors,
    )


def _missing(log: Log, drive: Drive) -> list[str]:
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


def _share_removed(readings: int, kept: int) -> list[str]:
    """Whether it was more, or less, than is usual, in words."""
    gone, (least, most) = 100.0 * (1 - kept / max(readings, 1)), USUALLY_GONE
    usual = f"usual ({least} to {most} %)"
    if gone > most:
        return [f"{gone:.0f} % of the readings are not believed, more than {usual}: look at the reasons before using the maps"]
    if gone < least:
        return [f"only {gone:.1f} % of the readings are not believed, less than {usual}: the log may have been cleaned already"]
    return []
