"""Losses at stops to the field's loss surface, its total, and what it goes with."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage

from lossmap.base.estimates import NOTHING, Z90, Beginning, Estimate, SlopeEvidence
from lossmap.base.grid import Floats, Grid, Surface
from lossmap.base.logloss import Hinge, Typical
from lossmap.base.season import DriverEvidence
from lossmap.base.settings import Settings, ZoneSettings
from lossmap.base.tables import DRIVE, LAYER_WORDS, POSITIONS, SOURCES
from lossmap.surfaces.counts import DRIVERS, SLOPE_SD, CountModel
from lossmap.surfaces.excess import cell_excess, field_excess
from lossmap.surfaces.few import most_left, reaching
from lossmap.surfaces.positions import parted
from lossmap.surfaces.sources import divided
from lossmap.surfaces.surrogate import coincidence

__all__ = ["LossSurface", "knots", "loss_surface"]

Bools = npt.NDArray[np.bool_]

# Where no reference is set, knots at these parts of the field's own values: an effect that
# begins at the slowest (wettest) tenth is nearly a straight line, one that begins beyond
# the middle leaves few stops to see it.
KNOT_QUANTILES = {"speed": (0.1, 0.35, 0.6), "dryness": (0.4, 0.65, 0.9)}

# More counts than this are brought together in groups of stops: the work grows with the third power of their number.
MOST_COUNTS = 300

# Values that stand for how far the field lies beyond where an effect begins.
BEYOND = 32

# Places that stand for the whole field in its total and in what goes with a driver; every second of them in its sources.
SUPPORT, SOURCES_EVERY = 256, 2


@dataclass(frozen=True)
class LossSurface:
    """What counts say about a field, cell by cell and as a whole.

    Attributes
    ----------
    surface : Surface
        ``loss_kg_ha``.
    field_total : Estimate
        Mean loss over the field [kg/ha], the seed's mass in its doubt.
    by_counting : Estimate
        The same with the doubt of counting alone, as if the seed's mass were known.
    sources : mapping of str to Estimate
        Mean loss by source over the field [kg/ha]; `NOTHING` for one that no position tells apart.
    source_pct : mapping of str to Estimate
        Share of each in the loss [%].
    evidence : mapping of str to SlopeEvidence
        ``speed`` and ``dryness``, always both.
    posteriors : mapping of str to DriverEvidence
        The whole posterior of each driver's slope, of those the counts can speak of.
    typical : Typical
        What the counts make likeliest of how loss changes over the field.
    excess, chance : mapping of str to Surface
        For each driver whose chance passed ``zones.tracks_chance``: ``excess_kg_ha`` above
        the reference, and ``chance_pct`` that it is above ``zones.least_excess`` of the
        field's mean loss.
    is_flat : bool
        Whether the counts were too few for more than one value over the field.
    notes : tuple of str
    """

    surface: Surface
    field_total: Estimate
    by_counting: Estimate
    sources: Mapping[str, Estimate]
    source_pct: Mapping[str, Estimate]
    evidence: Mapping[str, SlopeEvidence]
    posteriors: Mapping[str, DriverEvidence]
    typical: Typical
    excess: Mapping[str, Surface] = field(default_factory=dict)
    chance: Mapping[str, Surface] = field(default_factory=dict)
    is_flat: bool = False
    notes: tuple[str, ...] = ()


def loss_surface(
    losses: gpd.GeoDataFrame, layers: Mapping[str, Surface], grid: Grid, inside: Bools, settings: Settings, seed_mass_g: Estimate
) -> LossSurface:
    """Spread the stops' losses over the field.

    Parameters
    ----------
    losses : LOSSES
        A stop with any position counted says something. ``speed_m_s`` and
        ``moisture_pct``, where it was cut, are taken from `layers` where a stop has none.
    layers : mapping of str to Surface
        The machine's layers; ``speed_m_s`` and ``moisture_pct`` are used, if there.
        Cells without a value take that of the nearest cell that has one.
    grid : Grid
    inside : array of bool, ``[row, col]``
        Cells of the field.
    settings : Settings
    seed_mass_g : Estimate
        Mass of a thousand seeds [g] with its 90 % interval.

    Raises
    ------
    TooLittleData
        The total cannot be told from the positions counted.
    """
    return _Field(losses, layers, grid, inside, settings, seed_mass_g).result()


def knots(driver: str, values: Floats | None, settings: ZoneSettings) -> tuple[float, ...]:
    """Where a driver's effect may begin: the reference that was set, else parts of the field's own values.

    Parameters
    ----------
    driver : "speed" or "dryness"
    values : array or None
        Ground speed [m/s] or moisture [%] all over the field, NaN where unknown; None gives no knot but one that was set.
    settings : ZoneSettings
    """
    given = settings.speed_above if driver == "speed" else settings.moisture_below
    if given is not None:
        return (given,)
    return () if values is None else tuple(float(knot) for knot in np.nanquantile(values, KNOT_QUANTILES[driver]))


class _Field:
    """One field's counts and covariates, and the steps from them to a `LossSurface`."""

    def __init__(
        self,
        losses: gpd.GeoDataFrame,
        layers: Mapping[str, Surface],
        grid: Grid,
        inside: Bools,
        settings: Settings,
        seed_mass_g: Estimate,
    ) -> None:
        self.grid, self.inside, self.settings = grid, inside, settings
        self.stops = len(losses)
        losses = _together(losses)
        self.parts, self.counts = parted(losses, seed_mass_g)
        self.rng_seed = settings.rng_seed
        self.places = shapely.get_coordinates(losses.geometry.to_numpy())
        least = settings.surfaces
        self.is_flat = len(losses) < least.least_stops or self.counts.seeds.sum() < least.least_seeds
        easting, northing = np.meshgrid(*grid.centres())
        self.cells = np.column_stack([easting[inside], northing[inside]])
        self.support = self._support()
        self.at_stops: dict[str, Floats | None] = dict.fromkeys(DRIVERS)
        self.at_cells: dict[str, Floats | None] = dict.fromkeys(DRIVERS)
        self.layers: dict[str, Floats] = {}
        self.why_not: dict[str, str] = {}
        for driver in DRIVERS:
            self._take_in(driver, losses, layers.get(DRIVE[driver]))

    def result(self) -> LossSurface:
        model = self._model()
        some = self.support[::SOURCES_EVERY]
        among = divided(model, self.parts, self.cells[some], *_pair(self.at_cells, some), self.rng_seed)
        self.mass_doubt = self._mass_doubt(among.amounts.mean(axis=0))
        mean, low, high = model.predict(self.cells, *_pair(self.at_cells), log_doubt=self.mass_doubt)
        total, by_counting = self._total(model, float(mean.mean()))
        by_source = {source: among.source(source, total.mean) for source in SOURCES}
        most = most_left(self.counts, np.array([not part.is_ears for part in self.parts]))
        wider = max(most / total.high, 1.0)
        total, by_counting = reaching(total, most), reaching(by_counting, most)
        evidence = {driver: self._evidence(model, driver) for driver in DRIVERS}
        passed = [driver for driver in DRIVERS if evidence[driver].chance >= self.settings.zones.tracks_chance]
        flagged = {driver: self._excess(model, driver, total.mean) for driver in passed}
        if self.is_flat:
            mean, low, high = (np.full(len(self.cells), value) for value in (total.mean, total.low, total.high))
        return LossSurface(
            self._surface("loss_kg_ha", "kg/ha", self._note(), mean, low, high),
            total,
            by_counting,
            {source: reaching(amount, amount.high * wider) for source, (amount, _) in by_source.items()},
            {source: share for source, (_, share) in by_source.items()},
            evidence,
            {driver: self._posterior(model, driver, evidence[driver].beginnings) for driver in model.slopes_},
            Typical(*model.typical()),
            {driver: excess for driver, (excess, _) in flagged.items()},
            {driver: chance for driver, (_, chance) in flagged.items()},
            self.is_flat,
            tuple(self._notes()),
        )

    def _take_in(self, driver: str, losses: gpd.GeoDataFrame, layer: Surface | None) -> None:
        """Set a driver's values at cells and stops, or say why it is left out."""
        column, words = DRIVE[driver], LAYER_WORDS[driver]
        if layer is None or not np.isfinite(layer.mean).any():
            self.why_not[driver] = f"the log has no {words}"
            return
        filled = _filled(layer.mean)
        at_cells = filled[self.inside]
        at_stops = losses[column].to_numpy(float) if column in losses.columns else np.full(len(losses), np.nan)
        at_stops = np.where(np.isfinite(at_stops), at_stops, filled.ravel()[self._nearest_cell()])
        if self.is_flat:
            self.why_not[driver] = f"{self._too_few()} too few to compare places"
        elif np.ptp(at_stops) < 1e-3:
            self.why_not[driver] = f"{words} is the same at all stops"
        else:
            self.at_cells[driver], self.at_stops[driver], self.layers[driver] = at_cells, at_stops, filled

    def _nearest_cell(self) -> npt.NDArray[np.intp]:
        """Flat cell of each stop, that of the grid's edge for stops beyond it."""
        col = np.clip((self.places[:, 0] - self.grid.west_m) // self.grid.cell_m, 0, self.grid.cols - 1)
        row = np.clip((self.grid.north_m - self.places[:, 1]) // self.grid.cell_m, 0, self.grid.rows - 1)
        return (row * self.grid.cols + col).astype(np.intp)

    def _model(self) -> CountModel:
        speed, moisture = (knots(driver, self.at_cells[driver], self.settings.zones) for driver in DRIVERS)
        diagonal = float(np.hypot(*np.ptp(self.cells, axis=0))) + self.grid.cell_m
        return CountModel(speed, moisture, diagonal).fit(self.places, self.counts, *_pair(self.at_stops))

    def _total(self, model: CountModel, mean: float) -> tuple[Estimate, Estimate]:
        """Field mean [kg/ha] with all doubt, and with that of counting: its level from all cells, its doubt from some."""
        log, among = model.joint_total(self.cells[self.support], *_pair(self.at_cells, self.support))
        each = np.exp(log + np.diag(among) / 2)
        relative = math.log1p(max(float(each @ np.expm1(among) @ each), 0.0) / each.sum() ** 2)
        return _lognormal(mean, relative, self.mass_doubt), _lognormal(mean, relative, 0.0)

    def _mass_doubt(self, amounts: Floats) -> float:
        """Log standard deviation of the total from what a seed and an ear weigh, each known or not for all its parts."""
        of = {False: 0.0, True: 0.0}
        for part, amount in zip(self.parts, amounts, strict=True):
            of[part.is_ears] += float(amount) * part.mass_doubt
        return math.hypot(*of.values()) / float(amounts.sum())

    def _support(self) -> npt.NDArray[np.intp]:
        """Indices of cells spread evenly over the field (a Kronecker sequence: no stride that could beat with the passes)."""
        steps = np.arange(1, 1 + int(SUPPORT * self.inside.size / max(1, self.inside.sum())))
        row = (steps * 0.7548776662466927 % 1 * self.grid.rows).astype(int)
        col = (steps * 0.5698402909980532 % 1 * self.grid.cols).astype(int)
        index = np.cumsum(self.inside.ravel()) - 1
        chosen = np.unique(index[(row * self.grid.cols + col)[self.inside[row, col]]])
        return chosen if chosen.size >= min(SUPPORT // 4, len(self.cells)) else np.arange(len(self.cells))[:SUPPORT]

    def _evidence(self, model: CountModel, driver: str) -> SlopeEvidence:
        if driver not in model.slopes_:
            nan = math.nan
            return SlopeEvidence(driver, NOTHING, nan, nan, SLOPE_SD[driver], nan, nan, 0, NOTHING, self.why_not[driver])
        slope = model.slopes_[driver]
        everywhere = np.asarray(self.at_cells[driver])
        share = field_excess(model, driver, self.cells[self.support], *_pair(self.at_cells, self.support), everywhere)
        return SlopeEvidence(
            driver,
            slope.interval(),
            slope.moments()[1],
            slope.chance(),
            SLOPE_SD[driver],
            slope.expected_sd,
            model.knots_[driver],
            self.stops,
            share,
            beginnings=self._beginnings(model, driver),
            coincidence=self._coincidence(model, driver),
        )

    def _coincidence(self, model: CountModel, driver: str) -> float:
        """A second opinion on the driver, where the settings ask for one."""
        surrogates = self.settings.zones.surrogates
        return coincidence(model, driver, self.layers[driver], self._nearest_cell(), surrogates, self.rng_seed) if surrogates else math.nan

    def _beginnings(self, model: CountModel, driver: str) -> tuple[Beginning, ...]:
        """Where the driver's effect may begin, and its slope from there, knot by knot."""
        found = []
        for column, hinge in enumerate(model.hinges_):
            if hinge.driver == driver and any(column in key for key in model.groups_):
                part = model.posterior([column])
                slope = float(part.slope[column] / part.weight)
                sd = math.sqrt(max(float(part.slope_second[column] / part.weight) - slope**2, 0.0))
                found.append(Beginning(hinge.knot, part.weight, slope, sd))
        return tuple(found)

    def _posterior(self, model: CountModel, driver: str, beginnings: tuple[Beginning, ...]) -> DriverEvidence:
        slope, everywhere = model.slopes_[driver].thinned(), np.asarray(self.at_cells[driver])
        return DriverEvidence(
            tuple(slope.weight.tolist()),
            tuple(slope.mean.tolist()),
            tuple(slope.sd.tolist()),
            SLOPE_SD[driver],
            slope.expected_sd,
            model.knots_[driver],
            float(everywhere.mean()),
            _beyond(driver, everywhere, beginnings),
        )

    def _excess(self, model: CountModel, driver: str, mean_kg_ha: float) -> tuple[Surface, Surface]:
        least = max(self.settings.zones.least_excess / 100 * mean_kg_ha, 1e-6)
        found = cell_excess(model, driver, self.cells, *_pair(self.at_cells), least)
        beyond = f"{'above' if driver == 'speed' else 'below'} {model.knots_[driver]:.3g} {'m/s' if driver == 'speed' else '%'}"
        note = f"loss that goes with {LAYER_WORDS[driver]} {beyond}"
        excess = self._surface("excess_kg_ha", "kg/ha", note, found.mean, found.low, found.high)
        chance = 100 * found.chance
        return excess, self._surface("chance_pct", "%", f"chance of {least:.3g} kg/ha or more: {note}", chance, chance, chance)

    def _surface(self, name: str, unit: str, note: str, *parts: Floats) -> Surface:
        arrays = []
        for part in parts:
            array = np.full(self.grid.shape, np.nan, np.float32)
            array[self.inside] = part
            arrays.append(array)
        return Surface(name, unit, self.grid, arrays[0], arrays[1], arrays[2], note)

    def _note(self) -> str:
        if self.is_flat:
            return "one mean over the field, with the interval of that mean: the counts are too few to tell places apart"
        return f"negative-binomial Gaussian process of {self.stops} stops; 90 % interval of the loss at a place"

    def _too_few(self) -> str:
        """What there is too little of: "5 stops are", "12 seeds in all are"."""
        if len(self.places) < self.settings.surfaces.least_stops:
            return "1 stop is" if self.stops == 1 else f"{self.stops} stops are"
        return f"{self.counts.seeds.sum():,.0f} seeds in all are"

    def _notes(self) -> list[str]:
        notes = []
        if self.is_flat:
            least = self.settings.surfaces
            need = f"{least.least_stops} stops" if len(self.places) < least.least_stops else f"{least.least_seeds} seeds"
            notes.append(
                f"{self._too_few()} too few to map loss (a map needs {need}): "
                "the whole field is given its mean, with the doubt of that mean"
            )
        if self.stops > len(self.places):
            groups = f"{len(self.places)} groups of stops alike in place, speed and moisture"
            notes.append(f"{self.stops:,} stops were brought together in {groups}")
        return notes


def _pair(values: Mapping[str, Floats | None], chosen: npt.NDArray[np.intp] | None = None) -> tuple[Floats | None, Floats | None]:
    """Speed and moisture, all or at the places chosen."""
    speed, moisture = (part if part is None or chosen is None else part[chosen] for part in values.values())
    return speed, moisture


def _beyond(driver: str, everywhere: Floats, beginnings: tuple[Beginning, ...]) -> tuple[float, ...]:
    """How far the field lies beyond where the effect may begin: `BEYOND` equally likely values, rising."""
    far = np.concatenate([Hinge(driver, one.reference).of(everywhere) for one in beginnings])
    weight = np.repeat([one.weight for one in beginnings], everywhere.size)
    order = np.argsort(far, kind="stable")
    below = np.cumsum(weight[order]) / weight.sum()
    slices = np.searchsorted(below, (np.arange(BEYOND) + 0.5) / BEYOND)
    return tuple(far[order][np.minimum(slices, far.size - 1)].tolist())


def _together(losses: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Stops alike in place, speed and moisture brought together, their counts and areas added up, where there are too many counts.

    Group middles are spread as far from one another as they can be; a stop joins the nearest.
    """
    summed = [name for name in losses if name.startswith(("seeds_", "frame_m2_", "ears_", "ear_m2_"))]
    counts = int(losses[[f"seeds_{position}" for position in POSITIONS]].notna().to_numpy().sum())
    if counts <= MOST_COUNTS:
        return losses
    drive = [name for name in DRIVE.values() if name in losses]
    group = _groups(losses, drive, max(1, int(MOST_COUNTS * len(losses) / counts)))
    places = shapely.get_coordinates(losses.geometry.to_numpy())
    columns = {name: losses[name].groupby(group).mean().to_numpy() for name in (*drive, "concentration", "weighed")}
    columns |= {name: losses[name].groupby(group).mean().to_numpy() for name in ("ear_g", "ear_doubt") if name in losses}
    columns |= {name: losses[name].groupby(group).sum(min_count=1).to_numpy() for name in summed}
    at = np.column_stack([np.bincount(group, side) / np.bincount(group) for side in places.T])
    return gpd.GeoDataFrame(columns, geometry=shapely.points(at), crs=losses.crs)


def _groups(losses: gpd.GeoDataFrame, drive: list[str], most: int) -> npt.NDArray[np.intp]:
    """Which of at most `most` groups each stop is in."""
    places = shapely.get_coordinates(losses.geometry.to_numpy())
    parts = [places / max(float(np.hypot(*np.ptp(places, axis=0))) / 4, 1e-9)]
    for name in drive:
        values = losses[name].to_numpy(float)
        spread = float(np.nanstd(values)) if np.isfinite(values).any() else 0.0
        if spread > 0:
            parts.append(np.nan_to_num((values - np.nanmean(values)) / spread)[:, None])
    features = np.hstack(parts)
    away, group = np.full(len(losses), np.inf), np.zeros(len(losses), dtype=np.intp)
    middle = int(np.argmin(((features - features.mean(axis=0)) ** 2).sum(axis=1)))
    for number in range(most):
        apart = ((features - features[middle]) ** 2).sum(axis=1)
        group[apart < away] = number
        away = np.minimum(away, apart)
        middle = int(np.argmax(away))
    return np.unique(group, return_inverse=True)[1]


def _filled(values: Floats) -> Floats:
    """Gaps filled with the nearest value."""
    gaps = ~np.isfinite(values)
    if not gaps.any():
        return values.astype(float)
    nearest = ndimage.distance_transform_edt(gaps, return_distances=False, return_indices=True)
    return np.asarray(values[tuple(nearest)], float)


def _lognormal(mean: float, log_variance: float, further_doubt: float) -> Estimate:
    """Mean with the 90 % interval of a log-normal whose log has that variance, and a further log sd on top."""
    middle, spread = mean * math.exp(-log_variance / 2), Z90 * math.sqrt(log_variance + further_doubt**2)
    return Estimate(mean, middle * math.exp(-spread), max(mean, middle * math.exp(spread)))
