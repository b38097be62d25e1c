"""CPU seconds from counts to the loss surface, one thread, and how they grow."""

from __future__ import annotations

import time

import numpy as np
from slow.fields import EXACT, LAYERS, USUAL, Row, alike, plans, stops_of

from lossmap import synthetic
from lossmap.base.tables import POSITIONS
from lossmap.surfaces import loss_surface
from lossmap.synthetic import FieldPlan

RUNS = 5
#: Extent [m] of fields of so many cells of 5 m.
EXTENTS = {10_000: (500.0, 500.0), 30_000: (1000.0, 750.0), 100_000: (2000.0, 1250.0), 300_000: (3000.0, 2500.0)}
USUAL_CELLS, USUAL_STOPS = 30_000, 40
WANTED_S = 0.6


def seconds(plan: FieldPlan, rng_seed: int) -> float:
    """Median CPU seconds of `loss_surface` on one field, after one run that warms up."""
    made = synthetic.make(plan, rng_seed)
    stops, layers = stops_of(made), {name: made.truth.surfaces[name] for name in LAYERS}
    inside = np.isfinite(layers["speed_m_s"].mean)
    spent = []
    for _ in range(RUNS + 1):
        began = time.process_time()
        loss_surface(stops, layers, layers["speed_m_s"].grid, inside, USUAL, EXACT)
        spent.append(time.process_time() - began)
    return float(np.median(spent[1:]))


def rows(fields: int = 1) -> list[Row]:
    """The usual size, more and fewer stops, more and fewer cells; the median over `fields` fields."""
    usual = _median(fields, USUAL_STOPS, USUAL_CELLS)
    where = f"counts to surface, {USUAL_CELLS:,} cells"
    found = [Row(f"{where}, {USUAL_STOPS} stops behind the combine", f"**{usual:.2f} s**", f"<= {WANTED_S} s", usual <= WANTED_S)]
    by_position = _median(fields, USUAL_STOPS, USUAL_CELLS, POSITIONS)
    found.append(Row(f"{where}, {USUAL_STOPS} stops with all three positions", f"{by_position:.2f} s"))
    by_stops = ", ".join(f"{stops}: {_median(fields, stops, USUAL_CELLS):.2f} s" for stops in (20, 80, 160, 250))
    found.append(Row(f"{where}, by stops", by_stops))
    by_cells = ", ".join(f"{cells:,}: {_median(fields, USUAL_STOPS, cells):.2f} s" for cells in EXTENTS if cells != USUAL_CELLS)
    found.append(Row(f"counts to surface, {USUAL_STOPS} stops, by cells", by_cells))
    return found


def _median(fields: int, stops: int, cells: int, positions: tuple[str, ...] = POSITIONS[-1:]) -> float:
    length, breadth = EXTENTS[cells]
    more = {"stops": stops, "frames": 4, "length_m": length, "breadth_m": breadth, "positions": positions}
    return float(np.median([seconds(*job) for job in plans(alike, range(fields), **more)]))
