"""Plans of small made fields, and how they are written down."""

from __future__ import annotations

import dataclasses

from lossmap.synthetic import US_COLUMNS, FieldPlan, Layout

SMALL = FieldPlan(length_m=260, breadth_m=170, stops=12)

#: Sensors that tell the truth, at once.
QUIET = dataclasses.replace(SMALL, flow_noise=0.0, moisture_noise_pct=0.0, gnss_noise_m=0.0, header_up_rows=True)


def layout(kind: str) -> Layout:
    """US units in columns whose names fit every format, in the CRS that the format is for."""
    columns = {role: (name.split(" (")[0].split(" [")[0][:10].strip(), unit) for role, (name, unit) in US_COLUMNS.items()}
    return Layout(points=kind, columns=columns, explained=("mass_flow", "speed"), epsg=None if kind in ("csv", "geojson") else 32615)  # type: ignore[arg-type]
