"""Made ground to choose stops on, what a round of counts leaves in doubt there, and the whole model solved at once."""

from __future__ import annotations

import numpy as np
import pyproj

from lossmap import synthetic
from lossmap.base.logloss import CountDoubt, DriverDoubt, Hinge
from lossmap.stops import Ground

CRS = pyproj.CRS.from_epsg(32615)


def ground_of(rng_seed, places=60, known=True):
    """Made ground: cell centres in a strip of 600 m by 300 m, with a speed for each and drier eastwards."""
    rng = np.random.default_rng(rng_seed)
    cells = rng.choice(120 * 60, places, replace=False)
    places_m = np.column_stack([412_002.5 + 5.0 * (cells % 120), 4_655_002.5 + 5.0 * (cells // 120)])
    speed = rng.choice([1.4, 1.7, 2.0, 2.3, 2.6], places) + rng.normal(0, 0.05, places)
    moisture = 15 - 4 * (places_m[:, 0] - 412_000) / 600 + rng.normal(0, 0.3, places)
    return Ground(CRS, places_m, speed if known else None, moisture if known else None)


def made_ground(rng_seed):
    """The ground of a made field of 20 ha, as it was truly cut."""
    field = synthetic.make(synthetic.FieldPlan(length_m=600.0, breadth_m=330.0, stops=1, headland_rounds=0), rng_seed)
    layers = [field.truth.surfaces[name] for name in ("speed_m_s", "moisture_pct")]
    is_cut = np.isfinite(layers[0].mean) & np.isfinite(layers[1].mean)
    east, north = np.meshgrid(*layers[0].grid.centres())
    return Ground(field.crs, np.column_stack([east[is_cut], north[is_cut]]), *(layer.mean[is_cut].astype(float) for layer in layers))


def doubt_of(ground, counted, wanted=(0.276, 0.087), undecided=(True, True)):
    """What a round at the rows `counted` leaves in doubt."""
    drivers = (
        DriverDoubt(Hinge("speed", 2.0), ground.speed[counted], 1.2, wanted[0], undecided[0]),
        DriverDoubt(Hinge("dryness", 13.0), ground.moisture[counted], 0.4, wanted[1], undecided[1]),
    )
    return CountDoubt(0.45, 80.0, 1.0, ground.places_m[counted], np.full(len(counted), 2.5), 2.5, drivers)


def by_inverse(ground, doubt, rows):
    """Slope variances and mean variance of log loss after further stops at `rows`, by one plain solve of the whole model."""
    values = {"speed": ground.speed, "dryness": ground.moisture}
    hinges = np.column_stack(
        [driver.hinge.of(np.clip(values[driver.name], *np.quantile(values[driver.name], (0.005, 0.995)))) for driver in doubt.drivers]
    )
    at_stops = np.column_stack([driver.hinge.of(driver.at_stops) for driver in doubt.drivers])
    design = np.vstack([at_stops, hinges[rows]])
    places = np.vstack([doubt.places_m, ground.places_m[rows]])
    noise = 1 / np.append(doubt.precision, np.full(len(rows), doubt.stop_precision))
    prior = np.array([driver.prior_sd**2 for driver in doubt.drivers])

    def covariance(one_m, one, other_m, other):
        away = np.hypot(*(one_m[:, None] - other_m[None]).transpose(2, 0, 1))
        return doubt.sd**2 * np.exp(-away / doubt.range_m) + doubt.level_sd**2 + (one * prior) @ other.T

    inverse = np.linalg.inv(covariance(places, design, places, design) + np.diag(noise))
    to_slopes, to_places = design * prior, covariance(places, design, ground.places_m, hinges)
    slopes = prior - np.einsum("ij,ik,kj->j", to_slopes, inverse, to_slopes)
    before = doubt.sd**2 + doubt.level_sd**2 + hinges**2 @ prior
    return slopes, float((before - np.einsum("ij,ik,kj->j", to_places, inverse, to_places)).mean())
