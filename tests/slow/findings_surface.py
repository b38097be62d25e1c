"""How good the surfaces are: score and coverage beside other ways from the same counts."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from scipy.spatial.distance import cdist
from scipy.special import ndtri
from slow.fields import BU_AC, SEED_G, SIZES, USUAL, Floats, Row, alike, hard, holds, log_normal, mapped, over_fields, plans, varied
from slow.rivals import LEVELS, RIVALS, crps

from lossmap import synthetic
from lossmap.base.grid import Surface
from lossmap.base.logloss import FALLEN
from lossmap.base.tables import POSITIONS, SOURCES
from lossmap.pipelines.map_field import made_map
from lossmap.read import read_field
from lossmap.surfaces.laplace import Likelihood, Prior, laplace
from lossmap.synthetic import FT2_M2, FieldPlan

OURS = "count model"
FIRST = 500
# Cells that are scored: one of so many, which steps through passes unevenly.
EVERY = 11

#: Score asked for [bu/ac] at each size.
LINES = {(24, 1): 0.40, (48, 1): 0.33, (96, 1): 0.30, (24, 4): 0.32, (48, 4): 0.29, (96, 4): 0.25}


#: Share of cells that a 90 % interval is to hold.
COVERED = (0.87, 0.93)
#: Who has to learn level, spread, range and clumping from the counts scores worse by a part in twenty at the least.
LEARNING = 0.95
PARTS = ("crps", "covered")


@dataclass(frozen=True)
class Scores:
    """Of one field: score [bu/ac] and share of cells covered for each method, and whether the field mean's interval holds."""

    crps: dict[str, float]
    covered: dict[str, float]
    mean_held: bool


def from_counts(plan: FieldPlan, rng_seed: int) -> Scores:
    """One field from its counts and its true speeds and moistures."""
    here = mapped(synthetic.make(plan, rng_seed))
    surface = here.found.surface
    stops_m, loss = shapely.get_coordinates(here.losses.geometry.to_numpy()), here.losses["total_kg_ha"].to_numpy(float)
    held = holds(here.found.field_total, float(here.true().mean()))
    return _scored(surface, here.true(), here.cells_m, here.inside, stops_m, loss, held)


def from_files(plan: FieldPlan, rng_seed: int) -> Scores:
    """One field from its files: log with delays and noise read and cleaned, speed and moisture from it."""
    made = synthetic.make(plan, rng_seed)
    with tempfile.TemporaryDirectory() as folder:
        synthetic.write(made, Path(folder) / "field")
        field_map = made_map(read_field(Path(folder) / "field"), USUAL, lambda name: nullcontext())
    surface = field_map.surfaces["loss_kg_ha"]
    east, north = np.meshgrid(*surface.grid.centres())
    truth = made.truth.surfaces["total_kg_ha"].at(east.ravel(), north.ravel()).reshape(surface.mean.shape)
    inside = np.isfinite(truth) & np.isfinite(surface.mean)
    cells_m = np.column_stack([east[inside], north[inside]])
    stops_m = shapely.get_coordinates(field_map.losses.geometry.to_numpy())
    loss = field_map.losses["total_kg_ha"].to_numpy(float)
    held = holds(field_map.loss["total"], made.truth.mean_kg_ha["total"])
    return _scored(surface, truth[inside].astype(float), cells_m, inside, stops_m, loss, held)


def from_planted(plan: FieldPlan, rng_seed: int) -> Scores:
    """One field from its counts where level, standard deviation, range and clumping are given as they were planted: as well as can be."""
    here = mapped(synthetic.make(plan, rng_seed))
    stops_m, cells_m = shapely.get_coordinates(here.losses.geometry.to_numpy()), here.cells_m[::EVERY]
    sources = [getattr(plan, name) for name in SOURCES]
    total = sum(source.mean_kg_ha for source in sources)
    variance = np.log1p(sum((source.mean_kg_ha / total) ** 2 * np.expm1(source.sd**2) for source in sources))
    kernel = variance * _smooth(stops_m, stops_m, plan.header.range_m)
    area = here.losses[f"frame_m2_{POSITIONS[-1]}"].to_numpy(float)
    expected = area * total * 100 / SEED_G * np.exp(-variance / 2)
    counts = Likelihood(here.losses[f"seeds_{POSITIONS[-1]}"].to_numpy(float), expected[:, None], np.ones(1), area / area.mean())
    size = np.array([plan.clumping_r * area.mean() / FT2_M2])
    fit = laplace(counts, Prior(kernel[None], 0.0, 0.0, np.empty((len(stops_m), 0)), np.empty(0)), size, 1e-3)
    near = variance * _smooth(cells_m, stops_m, plan.header.range_m)
    middle = near @ fit.gradient[0] + np.log(total / BU_AC) - variance / 2
    sd = np.sqrt(variance - np.einsum("ij,jk,ik->i", near, fit.precision[0], near))
    true, quantiles = here.true()[::EVERY] / BU_AC, np.exp(middle[:, None] + sd[:, None] * ndtri(LEVELS))
    return Scores({OURS: float(crps(true, quantiles).mean())}, {OURS: float(_covered(true, quantiles, _inner()))}, True)


def _smooth(places_m: Floats, other_m: Floats, range_m: float) -> Floats:
    """The simulator's smooth correlation (Matern 3/2)."""
    far = FALLEN * cdist(places_m, other_m) / range_m
    return np.asarray((1 + far) * np.exp(-far))


def _scored(surface: Surface, truth: Floats, cells_m: Floats, inside: np.ndarray, stops_m: Floats, loss: Floats, mean_held: bool) -> Scores:
    low, high = (part[inside][::EVERY].astype(float) for part in (surface.low, surface.high))
    middle, sd = log_normal(low / BU_AC, high / BU_AC)
    quantiles = {OURS: np.exp(middle[:, None] + sd[:, None] * ndtri(LEVELS))}
    quantiles |= {name: rival(stops_m, loss / BU_AC, cells_m[::EVERY]) for name, rival in RIVALS.items()}
    true = truth[::EVERY] / BU_AC
    return Scores(
        {name: float(crps(true, part).mean()) for name, part in quantiles.items()},
        {name: float(_covered(true, part, _inner())) for name, part in quantiles.items()},
        mean_held,
    )


def _inner() -> list[np.intp]:
    return [np.searchsorted(LEVELS, 0.05), np.searchsorted(LEVELS, 0.95)]


def _covered(true: Floats, quantiles: Floats, inner: list[np.intp]) -> float:
    """Share of places inside the middle 90 %; its ends lie half way between the levels beside them."""
    low, high = ((quantiles[:, end - 1] + quantiles[:, end]) / 2 for end in inner)
    return float(np.mean((low <= true) & (true <= high)))


def rows(fields: int = 40) -> list[Row]:
    """Every setting and size, one row each; a whole map from files takes three times as long, so half as many."""
    found = []
    for stops, frames in SIZES:
        line = LINES.get((stops, frames))
        known = _measured(from_planted, alike, stops, frames, fields) if line else None
        found.append(_row("alike", _measured(from_counts, alike, stops, frames, fields), stops, frames, line, known))
        if known is not None:
            what = f"{_what('alike', stops, frames, known)} where level, spread, range and clumping are known as planted"
            found.append(Row(what, f"{known.crps[OURS]:.3f} ({known.covered[OURS]:.3f})"))
    for stops, frames in ((48, 1), (48, 4)):
        found.append(_row("hard", _measured(from_counts, hard, stops, frames, fields), stops, frames))
    for stops, frames in ((24, 1), (48, 4)):
        found.append(_row("varied, from files", _measured(from_files, varied, stops, frames, max(1, fields // 2)), stops, frames))
    return found


@dataclass(frozen=True)
class Means:
    """Over fields: each method's score and coverage, ours with standard errors, and how often the field mean's interval held."""

    fields: int
    crps: dict[str, float]
    covered: dict[str, float]
    crps_error: float
    covered_error: float
    means_held: float


def _measured(trial: Callable[..., Scores], setting: Callable[[int], FieldPlan], stops: int, frames: int, fields: int) -> Means:
    scores = over_fields(trial, plans(setting, range(FIRST, FIRST + fields), stops=stops, frames=frames))
    crps_of, covered = ({name: np.array([getattr(score, part)[name] for score in scores]) for name in scores[0].crps} for part in PARTS)
    return Means(
        fields,
        {name: float(part.mean()) for name, part in crps_of.items()},
        {name: float(part.mean()) for name, part in covered.items()},
        *(float(part[OURS].std() / np.sqrt(fields)) for part in (crps_of, covered)),
        float(np.mean([score.mean_held for score in scores])),
    )


def _what(name: str, stops: int, frames: int, means: Means) -> str:
    return f"surface, {name}, {stops} stops x{frames}, {means.fields} fields: CRPS [bu/ac] (share of cells in 90 %)"


def _row(name: str, ours: Means, stops: int, frames: int, line: float | None = None, known: Means | None = None) -> Row:
    """Scores beside the other methods' and the lines; a score nobody could have who is not told the truth is out of reach."""
    beside = ", ".join(f"{method} {ours.crps[method]:.3f} ({ours.covered[method]:.2f})" for method in RIVALS)
    ahead = all(ours.crps[OURS] < ours.crps[method] for method in RIVALS)
    give = 2 * ours.covered_error
    within = name != "alike" or COVERED[0] - give <= ours.covered[OURS] <= COVERED[1] + give
    scored = line is None or ours.crps[OURS] <= line
    out_of_reach = line is not None and known is not None and known.crps[OURS] > LEARNING * line
    return Row(
        _what(name, stops, frames, ours),
        f"**{ours.crps[OURS]:.3f} ({ours.covered[OURS]:.3f})** +- {ours.crps_error:.3f} ({ours.covered_error:.3f}), "
        f"field means held {ours.means_held:.2f}; {beside}",
        (f"CRPS <= {line:.2f}, " if line else "") + ("cells .87-.93 +- 2 errors, " if name == "alike" else "") + "ahead of each",
        bool(ahead and within and scored),
        "score out of reach: see next row" if ahead and within and out_of_reach else "",
    )
