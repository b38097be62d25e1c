// Words on the map: letters of zones, numbers and popups of stops.
function lines(parts) {
  const box = document.createElement("div");
  parts.forEach(function (text) {
    if (!text) return;
    const line = document.createElement("p");
    line.textContent = text;
    box.appendChild(line);
  });
  return box;
}
function label(latlng, text, look, width, height) {
  const box = document.createElement("div");
  box.textContent = text;
  return L.marker(latlng, { interactive: false, keyboard: false, icon: L.divIcon({ html: box, className: look, iconSize: [width, height] }) });
}
const letters = [];
function dressZones() {
  said.zones.forEach(function (zone) {
    const web = bend(said.toWeb, zone.at[0], zone.at[1]);
    const at = L.CRS.EPSG3857.unproject(L.point(web[0], web[1]));
    letters.push(label(at, zone.letter, "letter", Math.max(24, 11 * zone.letter.length + 8), 24));
    drawn.zones.addLayer(letters[letters.length - 1]);
  });
}
const numbers = L.layerGroup(), stopNumbers = [];
function dressStops() {
  variable("geo_json", "stops").eachLayer(function (layer) {
    const stop = said.stops[layer.feature.properties.i];
    // short enough for a phone's map; the strip below has room for the rest
    layer.bindPopup(lines(["Stop " + stop.name, "Loss, all sources:", stop.total]));
    layer.on("popupopen", function () {
      asked++;
      reading.textContent = "Stop " + stop.name + ": loss " + stop.total + "; preharvest " + stop.preharvest + ", header " + stop.header +
        ", threshing " + stop.threshing + ". Counted: " + stop.counted + ". Cut at " + stop.speed + ", " + stop.moisture + " moisture." +
        (stop.note ? " Note: " + stop.note : "");
    });
    stopNumbers.push(label(layer.getLatLng(), stop.short, "stop-number", Math.max(34, 9 * stop.short.length + 10), 24));
  });
  roomForPopups();
  map.on("resize", roomForPopups);
}
// right of the north mark, left of the zoom buttons, above the scale bar
function roomForPopups() {
  const size = map.getSize();
  variable("geo_json", "stops").eachLayer(function (layer) {
    L.setOptions(layer.getPopup(), {
      minWidth: 60, maxWidth: Math.max(110, Math.min(280, size.x - 160)),
      autoPanPaddingTopLeft: [58, 10], autoPanPaddingBottomRight: [70, 56]
    });
  });
}
// from zoom 17 on a stop shows its number, where it hides no letter and no other number
function numbersByZoom() {
  if (!drawn.stops) return;
  drawn.stops.removeLayer(numbers);
  if (map.getZoom() < 17) return;
  const taken = letters.map(boxOf);
  numbers.clearLayers();
  stopNumbers.forEach(function (number) {
    const box = boxOf(number);
    if (taken.some(function (other) { return box.intersects(other); })) return;
    taken.push(box);
    numbers.addLayer(number);
  });
  drawn.stops.addLayer(numbers);
}
function boxOf(marker) {
  const middle = map.project(marker.getLatLng()), half = L.point(marker.options.icon.options.iconSize).divideBy(2);
  return L.bounds(middle.subtract(half), middle.add(half));
}
