"""Losses at stops to the field's loss surface, its total, and what it goes with."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage

from lossmap.base.errors import TooLittleData
from lossmap.base.estimates import NOTHING, Z90, Estimate, SlopeEvidence
from lossmap.base.grid import Floats, Grid, Surface
from lossmap.base.settings import Settings
from lossmap.surfaces.counts import DRIVERS, SLOPE_SD, CountModel
from lossmap.surfaces.excess import cell_excess, field_excess

__all__ = ["LossSurface", "loss_surface"]

Bools = npt.NDArray[np.bool_]

#: The layer, the column of LOSSES and the words of each driver.
LAYERS = {"speed": ("speed_m_s", "ground speed"), "dryness": ("moisture_pct", "moisture")}

# Where no reference is set, knots at these parts of the field's own values: an effect that
# begins at the slowest (wettest) tenth is nearly a straight line, one that begins beyond
# the middle leaves few stops to see it.
KNOT_QUANTILES = {"speed": (0.1, 0.35, 0.6), "dryness": (0.4, 0.65, 0.9)}

# More stops than this are brought together in groups: the work grows with the third power of their number.
MOST_STOPS = 250

# Places that stand for the whole field in its total and shares.
SUPPORT = 256


@dataclass(frozen=True)
class LossSurface:
    """What counts say about a field, cell by cell and as a whole.

    Attributes
    ----------
    surface : Surface
        ``loss_kg_ha``.
    field_total : Estimate
        Mean loss over the field [kg/ha], the seed's mass in its doubt.
    evidence : mapping of str to SlopeEvidence
        ``speed`` and ``dryness``, always both.
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
    evidence: Mapping[str, SlopeEvidence]
    excess: Mapping[str, Surface] = field(default_factory=dict)
    chance: Mapping[str, Surface] = field(default_factory=dict)
    is_flat: bool = False
    notes: tuple[str, ...] = ()

    def level(self, mean_kg_ha: Estimate) -> LossSurface:
        """The same with one value and its doubt everywhere: for a field whose counts carry no surface."""
        inside = np.isfinite(self.surface.mean)
        values = (mean_kg_ha.mean, mean_kg_ha.low, mean_kg_ha.high)
        mean, low, high = (np.where(inside, value, np.nan).astype(np.float32) for value in values)
        surface = Surface(self.surface.name, self.surface.unit, self.surface.grid, mean, low, high, self.surface.note)
        return replace(self, surface=surface, field_total=mean_kg_ha)


def loss_surface(
    losses: gpd.GeoDataFrame, layers: Mapping[str, Surface], grid: Grid, inside: Bools, settings: Settings, seed_mass_g: Estimate
) -> LossSurface:
    """Spread the stops' losses over the field.

    Parameters
    ----------
    losses : LOSSES
        Stops without `pseudo_seeds` say nothing about the total and are left out.
        ``speed_m_s`` and ``moisture_pct``, where it was cut, are taken from `layers`
        where a stop has none.
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
        At no stop the total is known.
    """
    known = losses[(losses["pseudo_m2"] > 0) & losses["pseudo_seeds"].notna()]
    if known.empty:
        raise TooLittleData(
            f"counts: the total loss is known at none of {len(losses)} stops; "
            "count behind the combine, and in front of it too where residue is not spread over the header's width"
        )
    return _Field(known, layers, grid, inside, settings, seed_mass_g).result()


class _Field:
    """One field's counts and covariates, and the steps from them to a `LossSurface`."""

    def __init__(
        self, known: gpd.GeoDataFrame, layers: Mapping[str, Surface], grid: Grid, inside: Bools, settings: Settings, seed_mass_g: Estimate
    ) -> None:
        self.grid, self.inside, self.settings = grid, inside, settings
        self.kg_ha = seed_mass_g.mean / 100
        self.mass_doubt = math.log(seed_mass_g.high / seed_mass_g.low) / (2 * Z90)
        self.counted = len(known)
        known = _together(known)
        self.places = shapely.get_coordinates(known.geometry.to_numpy())
        self.seeds, self.area = known["pseudo_seeds"].to_numpy(float), known["pseudo_m2"].to_numpy(float)
        self.is_flat = len(known) < settings.surfaces.least_stops or self.seeds.sum() < settings.surfaces.least_seeds
        easting, northing = np.meshgrid(*grid.centres())
        self.cells = np.column_stack([easting[inside], northing[inside]])
        self.at_stops: dict[str, Floats | None] = dict.fromkeys(DRIVERS)
        self.at_cells: dict[str, Floats | None] = dict.fromkeys(DRIVERS)
        self.why_not: dict[str, str] = {}
        for driver in DRIVERS:
            self._take_in(driver, known, layers.get(LAYERS[driver][0]))

    def result(self) -> LossSurface:
        model = self._model()
        mean, low, high = model.predict(self.cells, *_pair(self.at_cells), log_doubt=self.mass_doubt)
        total = self._total(model, float(mean.mean()))
        if self.is_flat:
            mean, low, high = (np.full(len(self.cells), value / self.kg_ha) for value in (total.mean, total.low, total.high))
        surface = self._surface("loss_kg_ha", "kg/ha", self._note(), *(part * self.kg_ha for part in (mean, low, high)))
        evidence = {driver: self._evidence(model, driver) for driver in DRIVERS}
        passed = [driver for driver in DRIVERS if evidence[driver].chance >= self.settings.zones.tracks_chance]
        excess, chance = {}, {}
        for driver in passed:
            excess[driver], chance[driver] = self._excess(model, driver, total.mean)
        return LossSurface(surface, total, evidence, excess, chance, self.is_flat, tuple(self._notes()))

    def _take_in(self, driver: str, known: gpd.GeoDataFrame, layer: Surface | None) -> None:
        """Set a driver's values at cells and stops, or say why it is left out."""
        column, words = LAYERS[driver]
        if layer is None or not np.isfinite(layer.mean).any():
            self.why_not[driver] = f"the log has no {words}"
            return
        filled = _filled(layer.mean)
        at_cells = filled[self.inside]
        at_stops = known[column].to_numpy(float) if column in known.columns else np.full(len(known), np.nan)
        at_stops = np.where(np.isfinite(at_stops), at_stops, filled.ravel()[self._nearest_cell()])
        if self.is_flat:
            self.why_not[driver] = f"{self._too_few()} too few to compare places"
        elif np.ptp(at_stops) < 1e-3:
            self.why_not[driver] = f"{words} is the same at all stops"
        else:
            self.at_cells[driver], self.at_stops[driver] = at_cells, at_stops

    def _nearest_cell(self) -> npt.NDArray[np.intp]:
        """Flat cell of each stop, that of the grid's edge for stops beyond it."""
        col = np.clip((self.places[:, 0] - self.grid.west_m) // self.grid.cell_m, 0, self.grid.cols - 1)
        row = np.clip((self.grid.north_m - self.places[:, 1]) // self.grid.cell_m, 0, self.grid.rows - 1)
        return (row * self.grid.cols + col).astype(np.intp)

    def _model(self) -> CountModel:
        zones = self.settings.zones
        knots = {"speed": zones.speed_above, "dryness": zones.moisture_below}
        speed, moisture = (_knots(driver, knots[driver], self.at_cells[driver]) for driver in DRIVERS)
        diagonal = float(np.hypot(*np.ptp(self.cells, axis=0))) + self.grid.cell_m
        return CountModel(speed, moisture, diagonal).fit(self.places, self.seeds, self.area, *_pair(self.at_stops))

    def _total(self, model: CountModel, mean: float) -> Estimate:
        """Field mean [kg/ha]: its level from all cells, its relative doubt from places that stand for them."""
        chosen = self._support()
        log, covariance = model.joint(self.cells[chosen], *_pair(self.at_cells, chosen))
        each = np.exp(log + np.diag(covariance) / 2)
        relative = max(float(each @ np.expm1(covariance) @ each), 0.0) / each.sum() ** 2
        return _lognormal(mean * self.kg_ha, math.log1p(relative), self.mass_doubt)

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
        chosen, everywhere = self._support(), np.asarray(self.at_cells[driver])
        share = field_excess(model, driver, self.cells[chosen], *_pair(self.at_cells, chosen), everywhere=everywhere)
        return SlopeEvidence(
            driver,
            slope.interval(),
            slope.moments()[1],
            slope.chance(),
            SLOPE_SD[driver],
            slope.expected_sd,
            model.knots_[driver],
            self.counted,
            share.times(self.kg_ha),
        )

    def _excess(self, model: CountModel, driver: str, mean_kg_ha: float) -> tuple[Surface, Surface]:
        least = max(self.settings.zones.least_excess / 100 * mean_kg_ha, 1e-6)
        found = cell_excess(model, driver, self.cells, *_pair(self.at_cells), limit=least / self.kg_ha)
        beyond = f"{'above' if driver == 'speed' else 'below'} {model.knots_[driver]:.3g} {'m/s' if driver == 'speed' else '%'}"
        note = f"loss that goes with {LAYERS[driver][1]} {beyond}"
        excess = self._surface("excess_kg_ha", "kg/ha", note, *(part * self.kg_ha for part in (found.mean, found.low, found.high)))
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
        return f"negative-binomial Gaussian process of {self.counted} stops; 90 % interval of the loss at a place"

    def _too_few(self) -> str:
        """What there is too little of: "5 stops are", "12 seeds in all are"."""
        if len(self.places) < self.settings.surfaces.least_stops:
            return "1 stop is" if self.counted == 1 else f"{self.counted} stops are"
        return f"{self.seeds.sum():,.0f} seeds in all are"

    def _notes(self) -> list[str]:
        notes = []
        if self.is_flat:
            least = self.settings.surfaces
            need = f"{least.least_stops} stops" if len(self.places) < least.least_stops else f"{least.least_seeds} seeds"
            notes.append(
                f"{self._too_few()} too few to map loss (a map needs {need}): "
                "the whole field is given its mean, with the doubt of that mean"
            )
        if self.counted > len(self.places):
            groups = f"{len(self.places)} groups of stops alike in place, speed and moisture"
            notes.append(f"{self.counted:,} stops were brought together in {groups}")
        return notes


def _pair(values: Mapping[str, Floats | None], chosen: npt.NDArray[np.intp] | None = None) -> tuple[Floats | None, Floats | None]:
    """Speed and moisture, all or at the places chosen."""
    speed, moisture = (part if part is None or chosen is None else part[chosen] for part in values.values())
    return speed, moisture


def _together(known: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """At most `MOST_STOPS` groups of stops alike in place, speed and moisture, their seeds and areas added up.

    Group middles are spread as far from one another as they can be; a stop joins the nearest.
    """
    if len(known) <= MOST_STOPS:
        return known
    places = shapely.get_coordinates(known.geometry.to_numpy())
    drive = [name for name, _ in LAYERS.values() if name in known]
    parts = [places / max(float(np.hypot(*np.ptp(places, axis=0))) / 4, 1e-9)]
    for name in drive:
        values = known[name].to_numpy(float)
        spread = float(np.nanstd(values)) if np.isfinite(values).any() else 0.0
        if spread > 0:
            parts.append(np.nan_to_num((values - np.nanmean(values)) / spread)[:, None])
    features = np.hstack(parts)
    away, group = np.full(len(known), np.inf), np.zeros(len(known), dtype=np.intp)
    middle = int(np.argmin(((features - features.mean(axis=0)) ** 2).sum(axis=1)))
    for number in range(MOST_STOPS):
        apart = ((features - features[middle]) ** 2).sum(axis=1)
        group[apart < away] = number
        away = np.minimum(away, apart)
        middle = int(np.argmax(away))
    area = known["pseudo_m2"].to_numpy(float)
    shares = np.bincount(group, area)
    at = np.column_stack([np.bincount(group, side * area) / shares for side in places.T])
    columns = {name: known[name].groupby(group).mean().to_numpy() for name in drive}
    columns |= {"pseudo_seeds": np.bincount(group, known["pseudo_seeds"].to_numpy(float)), "pseudo_m2": shares}
    return gpd.GeoDataFrame(columns, geometry=shapely.points(at), crs=known.crs)


def _filled(values: Floats) -> Floats:
    """Gaps filled with the nearest value."""
    gaps = ~np.isfinite(values)
    if not gaps.any():
        return values.astype(float)
    nearest = ndimage.distance_transform_edt(gaps, return_distances=False, return_indices=True)
    return np.asarray(values[tuple(nearest)], float)


def _knots(driver: str, given: float | None, values: Floats | None) -> tuple[float, ...]:
    """The reference that was set, else parts of the field's own values."""
    if given is not None:
        return (given,)
    return () if values is None else tuple(float(knot) for knot in np.quantile(values, KNOT_QUANTILES[driver]))


def _lognormal(mean: float, log_variance: float, further_doubt: float) -> Estimate:
    """Mean with the 90 % interval of a log-normal whose log has that variance, and a further log sd on top."""
    middle, spread = mean * math.exp(-log_variance / 2), Z90 * math.sqrt(log_variance + further_doubt**2)
    return Estimate(mean, middle * math.exp(-spread), max(mean, middle * math.exp(spread)))
