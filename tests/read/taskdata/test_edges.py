from __future__ import annotations

import geopandas as gpd
import pytest
import shapely

from lossmap.read.taskdata.edges import edge_of
from lossmap.read.taskdata.safe_xml import parsed
from lossmap.read.taskdata.tasks import Partfield


def ring(kind, *places):
    """An LSG of (lon, lat) places."""
    points = "".join(f'<PNT A="2" C="{lat}" D="{lon}"/>' for lon, lat in places)
    return f'<LSG A="{kind}">{points}</LSG>'


def box(kind, west, south, east, north):
    """A closed ring."""
    return ring(kind, (west, south), (east, south), (east, north), (west, north), (west, south))


def edge(*lines):
    """The edge of a field whose lines are (kind, rings)."""
    text = "".join(f'<PLN A="{kind}">{rings}</PLN>' for kind, rings in lines)
    return edge_of(Partfield("PFD-1", "x", tuple(parsed(f"<PFD>{text}</PFD>".encode(), "x").findall("PLN"))))


def test_outer_rings_less_inner_ones():
    """A field of two pieces with a hole in one: areas add and subtract, south and west included."""
    found = edge(
        ("1", box(1, -70.4, -33.4, -70.3, -33.3) + box(2, -70.38, -33.38, -70.36, -33.36)), ("1", box(1, -70.2, -33.4, -70.1, -33.3))
    )
    assert found.area == pytest.approx(2 * 0.01 - 0.0004)
    assert len(shapely.get_parts(found)) == 2
    assert not shapely.contains_xy(found, -70.37, -33.37)


def test_an_open_ring_is_closed_and_a_crossing_one_mended():
    """Machines leave the last point out; a figure of eight keeps both its halves, a spike goes."""
    assert edge(("1", ring(1, (0, 0), (1, 0), (1, 1), (0, 1)))).area == pytest.approx(1)
    assert edge(("1", ring(1, (0, 0), (2, 2), (2, 0), (0, 2)))).area == pytest.approx(2)
    spike = ring(1, (0, 0), (2, 0), (2, 2), (2, 5), (2, 2), (0, 2))
    assert edge(("1", spike + box(2, 0, 0, 1, 1))).area == pytest.approx(3)


@pytest.mark.parametrize(
    "lines",
    [
        [],
        [("2", box(1, 0, 0, 1, 1))],
        [("1", box(5, 0, 0, 1, 1))],
        [("1", ring(1, (0, 0), (1, 1)))],
        [("1", ring(1, (0, 0), (1, 1), (2, 2)))],
        [("1", ring(1, (0, 0), (1, 0), (1, 95)))],
        [("1", ring(1, (0, 0), (1, 0), (1, "north"), (0, 1)))],
        [("1", box(2, 0, 0, 1, 1))],
        [("1", box(1, 0, 0, 1, 1) + box(2, -1, -1, 2, 2))],
    ],
    ids=["none", "a treatment zone", "a guide line", "two points", "a line", "off the earth", "no number", "a hole alone", "all hole"],
)
def test_what_encloses_no_ground_is_no_edge(lines):
    """None, rather than an edge of nothing."""
    assert edge(*lines) is None


def test_open_boundaries_have_about_the_areas_stated_beside_them(open_data):
    """21 real boundaries, 0.6 to 7.8 ha: 0 to 6 % below the stated areas, which are not read (the publisher moved the places north)."""
    fields = parsed(open_data("task-data-forage/field-work/TASKDATA.XML").read_bytes(), "x").findall("PFD")
    edges = [edge_of(Partfield("", "", tuple(field.findall("PLN")))) for field in fields]
    areas = gpd.GeoSeries(edges, crs="EPSG:4326").to_crs("EPSG:32632").area.to_numpy()
    assert len(areas) == 21
    shares = areas / [float(field.get("D")) for field in fields]
    assert 0.94 < shares.min() < shares.max() < 1.0
