"""Field boundaries in task data (PFD, PLN, LSG, PNT)."""

from __future__ import annotations

import numpy as np
import shapely

from lossmap.read.taskdata.safe_xml import Element, attribute, number
from lossmap.read.taskdata.tasks import Partfield

__all__ = ["edge_of"]

_BOUNDARY, _EXTERIOR, _INTERIOR = "1", "1", "2"


def edge_of(field: Partfield) -> shapely.Geometry | None:
    """The field's boundary in longitude and latitude; None where it has none that encloses ground.

    Outer rings together, less the inner ones. A ring that crosses itself is mended, one with a
    point off the earth or fewer than three points is left out. The area stated is not read.
    """
    rings: dict[str, list[shapely.Geometry]] = {_EXTERIOR: [], _INTERIOR: []}
    for line in field.lines:
        if attribute(line, "A") == _BOUNDARY:
            for ring in line.findall("LSG"):
                rings.get(attribute(ring, "A"), []).extend(_ring(ring))
    edge = shapely.difference(shapely.union_all(rings[_EXTERIOR]), shapely.union_all(rings[_INTERIOR]))
    areas = [part for part in shapely.get_parts(edge) if shapely.area(part) > 0]
    return shapely.union_all(areas) if areas else None


def _ring(found: Element) -> list[shapely.Geometry]:
    places = [(number(attribute(point, "D")), number(attribute(point, "C"))) for point in found.findall("PNT")]
    corners = np.array([(lon, lat) for lon, lat in places if lon is not None and lat is not None], dtype=float)
    if len(corners) < 3 or len(corners) < len(places) or (np.abs(corners) > (180.0, 90.0)).any():
        return []
    return [shapely.make_valid(shapely.Polygon(corners))]
