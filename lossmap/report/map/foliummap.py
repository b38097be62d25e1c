"""The part of map.html that folium lays out: Leaflet's map, places of the pictures, edge and stops.

Two of folium's habits are kept out. It embeds text by running it through a template
engine twice, so only numbers and codes of our own may go into its objects; words take
another way (`webmap`). And it fetches its libraries from the network: the map here asks
for none, and gives only its script, for a page that has them inside. What the page holds
anyway for readers without scripts (pictures, outlines of zones) is not written twice: the
page's script takes it from there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import branca.element
import folium
import geopandas as gpd
import shapely

from lossmap.base.field import FieldMap
from lossmap.report.geojson import lonlat
from lossmap.report.map.layers import Layers
from lossmap.report.projection import WebPlace

__all__ = ["MAP_NAME", "folium_script"]

#: The variable and the element that folium makes for a map whose id is "field".
MAP_NAME = "map_field"

# A clear pixel, until the page's script puts the picture there.
NOTHING = "data:image/gif;base64,R0lGODlhAQABAIAAAAAAAP///yH5BAEAAAAALAAAAAABAAEAAAIBRAA7"


def folium_script(field_map: FieldMap, place: WebPlace, drawn: Layers | None) -> str:
    """What folium writes to build the map; its layers are variables named after their codes."""
    chart = _chart(place)
    for layer in drawn.layers if drawn else ():
        overlay = folium.raster_layers.ImageOverlay(NOTHING, _corners(place), control=False, show=False, pane="tilePane")
        _named(overlay, layer.key).add_to(chart)
    _add_shapes(chart, "edge", gpd.GeoSeries([field_map.outline], crs=field_map.crs), [{"i": 0}])
    _add_shapes(chart, "stops", field_map.losses.geometry, [{"i": number} for number in range(len(field_map.losses))])
    figure: Any = chart.get_root()
    for child in figure._children.values():
        child.render()
    return str(figure.script.render())


def _chart(place: WebPlace) -> folium.Map:
    (south, west), (north, east) = place.bounds
    chart = folium.Map(
        location=[round((south + north) / 2, 7), round((west + east) / 2, 7)],
        zoom_start=15,
        tiles=None,
        control_scale=True,
        zoom_control="topright",
        attribution_control=False,
    )
    # lists of its own: folium's, with files it would fetch, are shared by all maps
    chart.default_js, chart.default_css = [], []
    # folium hands these to a tile layer only, and there is none
    chart.options.update(max_zoom=21, min_zoom=11, zoom_snap=0.25)
    _named(chart, "field")
    return chart


def _named(element: branca.element.Element, name: str) -> Any:
    """folium's ids are random; ours make the same field the same bytes, and are known to our script."""
    element._id = name
    return element


def _corners(place: WebPlace) -> list[list[float]]:
    return [[round(value, 8) for value in corner] for corner in place.bounds]


def _add_shapes(chart: folium.Map, name: str, shapes: gpd.GeoSeries, codes: Iterable[dict[str, Any]]) -> None:
    """One GeoJson layer whose features carry `codes` alone; none where there are no shapes."""
    features = [
        {"type": "Feature", "properties": code, "geometry": shapely.geometry.mapping(shape)}
        for code, shape in zip(codes, lonlat(shapes), strict=True)
    ]
    if features:
        marker = folium.CircleMarker(radius=7, bubbling_mouse_events=False) if name == "stops" else None
        collection = {"type": "FeatureCollection", "features": features}
        layer = folium.GeoJson(collection, style_function=_style(name), marker=marker, control=False, show=False, smooth_factor=0.5)
        _named(layer, name).add_to(chart)


def _style(name: str) -> Callable[[dict[str, Any]], dict[str, Any]]:
    """Looks live in map.css; folium only carries the class."""

    def style(feature: dict[str, Any]) -> dict[str, Any]:
        return {"className": f"on-map {name}"}

    return style
