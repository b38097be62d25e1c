"""Losses at stops to the field's loss surface, its total, and what it goes with."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from lossmap.base.estimates import Estimate, SlopeEvidence, lognormal
from lossmap.base.grid import Floats, Grid, Surface
from lossmap.base.logloss import Typical
from lossmap.base.season import DriverEvidence
from lossmap.base.settings import Settings
from lossmap.base.tables import LAYER_WORDS, SOURCES
from lossmap.surfaces.combinations import DRIVERS
from lossmap.surfaces.counts import CountModel
from lossmap.surfaces.drivers import Drivers, knots
from lossmap.surfaces.evidence import no_evidence, slope_evidence, whole_posterior
from lossmap.surfaces.excess import cell_excess, field_excess
from lossmap.surfaces.few import most_left, reaching
from lossmap.surfaces.groups import grouped
from lossmap.surfaces.lattice import Whole
from lossmap.surfaces.positions import parted
from lossmap.surfaces.sources import divided
from lossmap.surfaces.surrogate import coincidence

__all__ = ["LossSurface", "loss_surface"]

Bools = npt.NDArray[np.bool_]

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
    return _FieldLoss(losses, layers, grid, inside, settings, seed_mass_g).result()


class _FieldLoss:
    """One field's counts and drivers, and the steps from them to a `LossSurface`."""

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
        losses = grouped(losses)
        self.parts, self.counted = parted(losses, seed_mass_g)
        self.places = shapely.get_coordinates(losses.geometry.to_numpy())
        least = settings.surfaces
        self.is_flat = len(losses) < least.least_stops or self.counted.seeds.sum() < least.least_seeds
        easting, northing = np.meshgrid(*grid.centres())
        self.cells = np.column_stack([easting[inside], northing[inside]])
        self.support = _support(inside)
        self.drivers = Drivers.of(losses, layers, grid, inside, self._too_few() if self.is_flat else "")

    def result(self) -> LossSurface:
        model = self._model()
        among = divided(model, self.parts, *self._at(self.support[::SOURCES_EVERY]), self.settings.rng_seed)
        mass_doubt = self._mass_doubt(among.amounts.mean(axis=0))
        mean, low, high = model.predict(*self._at(), log_doubt=mass_doubt)
        total, by_counting = self._total(model, float(mean.mean()), mass_doubt)
        by_source = {source: among.source(source, total.mean) for source in SOURCES}
        most = most_left(self.counted, np.array([not part.is_ears for part in self.parts]))
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
            {driver: whole_posterior(model, driver, self._everywhere(driver), evidence[driver].beginnings) for driver in model.slopes_},
            Typical(*model.typical()),
            {driver: excess for driver, (excess, _) in flagged.items()},
            {driver: chance for driver, (_, chance) in flagged.items()},
            self.is_flat,
            tuple(self._notes()),
        )

    def _model(self) -> CountModel:
        speed, moisture = (knots(driver, self.drivers.at_cells[driver], self.settings.zones) for driver in DRIVERS)
        diagonal = float(np.hypot(*np.ptp(self.cells, axis=0))) + self.grid.cell_m
        return CountModel(speed, moisture, diagonal).fit(self.places, self.counted, *self.drivers.at_stops.values())

    def _at(self, chosen: Whole | None = None) -> tuple[Floats, Floats | None, Floats | None]:
        """Places, speed and moisture of all cells, or of those chosen, as the model takes them."""
        speed, moisture = (
            part if part is None or chosen is None else part[chosen] for part in (self.drivers.at_cells[driver] for driver in DRIVERS)
        )
        return self.cells if chosen is None else self.cells[chosen], speed, moisture

    def _everywhere(self, driver: str) -> Floats:
        """Of a driver that the model has."""
        return np.asarray(self.drivers.at_cells[driver])

    def _mass_doubt(self, amounts: Floats) -> float:
        """Log standard deviation of the total from what a seed and an ear weigh, each known or not for all its parts."""
        of = {False: 0.0, True: 0.0}
        for part, amount in zip(self.parts, amounts, strict=True):
            of[part.is_ears] += float(amount) * part.mass_doubt
        return math.hypot(*of.values()) / float(amounts.sum())

    def _total(self, model: CountModel, mean: float, mass_doubt: float) -> tuple[Estimate, Estimate]:
        """Field mean [kg/ha] with all doubt, and with that of counting: its level from all cells, its doubt from some."""
        log, among = model.joint_total(*self._at(self.support))
        each = np.exp(log + np.diag(among) / 2)
        relative = math.log1p(max(float(each @ np.expm1(among) @ each), 0.0) / each.sum() ** 2)
        return lognormal(mean, relative, mass_doubt), lognormal(mean, relative)

    def _evidence(self, model: CountModel, driver: str) -> SlopeEvidence:
        if driver not in model.slopes_:
            return no_evidence(driver, self.drivers.why_not[driver])
        share = field_excess(model, driver, *self._at(self.support), self._everywhere(driver))
        return slope_evidence(model, driver, self.stops, share, self._coincidence(model, driver))

    def _coincidence(self, model: CountModel, driver: str) -> float:
        """A second opinion on the driver, where the settings ask for one."""
        surrogates, at = self.settings.zones.surrogates, self.drivers
        return (
            coincidence(model, driver, at.layers[driver], at.cell_of_stop, surrogates, self.settings.rng_seed) if surrogates else math.nan
        )

    def _excess(self, model: CountModel, driver: str, mean_kg_ha: float) -> tuple[Surface, Surface]:
        least = max(self.settings.zones.least_excess / 100 * mean_kg_ha, 1e-6)
        found = cell_excess(model, driver, *self._at(), least)
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
        return f"{self.counted.seeds.sum():,.0f} seeds in all are"

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


def _support(inside: Bools) -> Whole:
    """Indices of cells spread evenly over the field (a Kronecker sequence: no stride that could beat with the passes)."""
    rows, cols = inside.shape
    steps = np.arange(1, 1 + int(SUPPORT * inside.size / max(1, inside.sum())))
    row = (steps * 0.7548776662466927 % 1 * rows).astype(int)
    col = (steps * 0.5698402909980532 % 1 * cols).astype(int)
    index = np.cumsum(inside.ravel()) - 1
    chosen = np.unique(index[(row * cols + col)[inside[row, col]]])
    cells = int(inside.sum())
    return chosen if chosen.size >= min(SUPPORT // 4, cells) else np.arange(cells)[:SUPPORT]
