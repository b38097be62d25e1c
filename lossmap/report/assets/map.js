(function () {
"use strict";
// Numbers and words come from one block of JSON and reach the page as text, never as markup.
const page = document.documentElement;
const said = JSON.parse(document.getElementById("map-words").textContent);
const map = window.map_field;
const reading = document.getElementById("reading");
const sheet = said.sheet;
const GAP = 255;
const NOTHING = "data:image/gif;base64,R0lGODlhAQABAIAAAAAAAP///yH5BAEAAAAALAAAAAABAAEAAAIBRAA7";
const drawn = {};                      // layers by key
const cells = {};                      // bytes of each surface by key
let points = null;                     // unpacked points
let current = null;

// ---- numbers and places ------------------------------------------------------------------
function number(value, places) {
  return value.toLocaleString("en-US", { minimumFractionDigits: places, maximumFractionDigits: places });
}
function length(metres) {
  return number(metres * said.length.factor, metres * said.length.factor < 10 ? 1 : 0) + " " + said.length.unit;
}
function bend(how, x, y) {
  const u = (x - how.centre[0]) / how.half, v = (y - how.centre[1]) / how.half;
  let first = how.origin[0], second = how.origin[1], at = 0;
  for (let i = 0; i < 4; i++) for (let j = 0; j < 4 - i; j++) {
    const term = Math.pow(u, i) * Math.pow(v, j);
    first += how.x[at] * term; second += how.y[at] * term; at++;
  }
  return [first, second];
}
function ground(latlng) {
  const web = L.CRS.EPSG3857.project(latlng);
  return bend(said.toField, web.x, web.y);
}
function classOf(value, edges) {
  let found = 0;
  while (found < edges.length && value >= edges[found]) found++;
  return found;
}

// ---- unpacking: the browser's own inflate; an old browser keeps colours and key -------------
async function inflated(text) {
  const raw = Uint8Array.from(atob(text), function (sign) { return sign.charCodeAt(0); });
  const stream = new Blob([raw]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}
function bytesOf(loose, from, count) {
  const out = new Uint8Array(count);
  let sum = 0;
  for (let i = 0; i < count; i++) { sum = (sum + loose[from + i]) & 255; out[i] = sum; }
  return out;
}
function wordsOf(loose, from, count) {
  const out = new Uint16Array(count);
  let sum = 0;
  for (let i = 0; i < count; i++) { sum = (sum + (loose[from + i] << 8) + loose[from + count + i]) & 65535; out[i] = sum; }
  return out;
}
async function unpackCells() {
  const loose = await inflated(sheet.packed), count = sheet.rows * sheet.cols;
  sheet.layers.forEach(function (layer, at) { cells[layer.key] = bytesOf(loose, at * count, count); });
  sheet.bounds.forEach(function (bound, at) { cells[at ? "high" : "low"] = bytesOf(loose, (sheet.layers.length + at) * count, count); });
}
async function unpackPoints() {
  const from = said.points, n = from.n, loose = await inflated(from.packed);
  const x = wordsOf(loose, 0, n), y = wordsOf(loose, 2 * n, n);
  const web = { x: new Float64Array(n), y: new Float64Array(n), code: bytesOf(loose, 4 * n, n), flag: bytesOf(loose, 5 * n, n), kind: new Uint8Array(n) };
  for (let i = 0; i < n; i++) {
    const at = bend(said.toWeb, from.west + x[i] / 65535 * from.width, from.south + y[i] / 65535 * from.height);
    web.x[i] = at[0]; web.y[i] = at[1];
    web.kind[i] = web.code[i] === GAP ? GAP : classOf((from.start + from.step * web.code[i]) * from.factor, from.edges);
  }
  points = web;
}

// ---- points on a canvas of our own: a marker each would never open ---------------------------
const CIRCUMFERENCE = 2 * Math.PI * 6378137;
function rgb(colour) {
  const value = parseInt(colour.slice(1), 16);
  return [value >> 16, (value >> 8) & 255, value & 255];
}
function paint(context, width, height, scale, left, top, flagged, size) {
  // scale: pixels for a Mercator metre; left, top: pixel of Mercator (0, 0)
  context.clearRect(0, 0, width, height);
  if (flagged) { paintFlagged(context, width, height, scale, left, top, size); return; }
  const colours = said.points.colours.map(rgb), half = size / 2;
  if (size > 4) {
    for (let kind = 0; kind < colours.length; kind++) {
      context.fillStyle = said.points.colours[kind];
      for (let i = 0; i < points.x.length; i++) {
        if (points.kind[i] !== kind || points.flag[i]) continue;
        context.fillRect(points.x[i] * scale + left - half, top - points.y[i] * scale - half, size, size);
      }
    }
    return;
  }
  // small points: pixels straight into one picture, several times quicker than rectangles
  const image = context.createImageData(width, height), pixels = new Uint32Array(image.data.buffer), whole = Math.max(1, Math.round(size));
  const inks = colours.map(function (c) { return (255 << 24) | (c[2] << 16) | (c[1] << 8) | c[0]; });
  for (let i = 0; i < points.x.length; i++) {
    if (points.flag[i] || points.kind[i] === GAP) continue;
    const px = Math.round(points.x[i] * scale + left - half), py = Math.round(top - points.y[i] * scale - half), ink = inks[points.kind[i]];
    for (let down = Math.max(0, py); down < Math.min(height, py + whole); down++)
      for (let along = Math.max(0, px); along < Math.min(width, px + whole); along++) pixels[down * width + along] = ink;
  }
  context.putImageData(image, 0, 0);
}
function paintFlagged(context, width, height, scale, left, top, size) {
  const arm = Math.max(2, size * 0.6);
  for (const pen of [["#ffffff", 3.5], ["#000000", 1.5]]) {
    context.strokeStyle = pen[0]; context.lineWidth = pen[1]; context.beginPath();
    for (let i = 0; i < points.x.length; i++) {
      if (!points.flag[i]) continue;
      const px = points.x[i] * scale + left, py = top - points.y[i] * scale;
      if (px < -9 || py < -9 || px > width + 9 || py > height + 9) continue;
      context.moveTo(px - arm, py - arm); context.lineTo(px + arm, py + arm);
      context.moveTo(px + arm, py - arm); context.lineTo(px - arm, py + arm);
    }
    context.stroke();
  }
}
const PointsLayer = L.Layer.extend({
  options: { pane: "tilePane" },
  initialize: function (flagged) { this._flagged = flagged; },
  onAdd: function () {
    this._canvas = L.DomUtil.create("canvas", "leaflet-zoom-animated", this.getPane());
    this._canvas.style.zIndex = this._flagged ? 102 : 101;
    this._canvas.style.pointerEvents = "none";
    this._redraw();
  },
  onRemove: function () { this._canvas.remove(); },
  getEvents: function () { return { moveend: this._redraw, resize: this._redraw, zoomanim: this._follow }; },
  _redraw: function () {
    if (!points) return;
    const map = this._map, size = map.getSize(), sharp = Math.min(window.devicePixelRatio || 1, 2), canvas = this._canvas;
    this._corner = map.containerPointToLatLng([0, 0]);
    L.DomUtil.setPosition(canvas, map.containerPointToLayerPoint([0, 0]));
    canvas.width = Math.round(size.x * sharp); canvas.height = Math.round(size.y * sharp);
    canvas.style.width = size.x + "px"; canvas.style.height = size.y + "px";
    const zero = L.CRS.EPSG3857.project(this._corner);
    const scale = 256 * Math.pow(2, map.getZoom()) / CIRCUMFERENCE * sharp;
    paint(canvas.getContext("2d"), canvas.width, canvas.height, scale, -zero.x * scale, zero.y * scale, this._flagged, pointSize(scale, sharp));
  },
  _follow: function (event) {
    const map = this._map, scale = map.getZoomScale(event.zoom);
    L.DomUtil.setTransform(this._canvas, map._latLngToNewLayerPoint(this._corner, event.zoom, event.center), scale);
  }
});
function pointSize(scale, sharp) {
  const stretch = 1 / Math.cos(said.bounds[0][0] * Math.PI / 180);
  return Math.min(14 * sharp, Math.max(2 * sharp, 3.5 * stretch * scale));
}

// ---- layers ---------------------------------------------------------------------------------
function variable(kind, key) { return window[kind + "_" + key]; }
if (sheet) sheet.layers.forEach(function (layer) { drawn[layer.key] = variable("image_overlay", layer.key); });
if (said.points) { drawn.points = new PointsLayer(false); drawn.flagged = new PointsLayer(true); }
map.createPane("casing").style.zIndex = 350;   // between the pictures (tile pane, 200) and the lines (400)
map.getPane("casing").style.pointerEvents = "none";
function cased(key) {
  const layer = variable("geo_json", key);
  if (!layer) return null;
  const casing = L.geoJSON(layer.toGeoJSON(), { interactive: false, pane: "casing", style: { className: "casing" }, smoothFactor: 0.5 });
  return L.layerGroup([casing, layer]);
}
if (said.basemap) {
  // under the pictures; asked for only once it is on the map, and nothing broken is shown where no answer comes
  map.createPane("ground").style.zIndex = 150;
  drawn.basemap = L.tileLayer(said.basemap.url, { pane: "ground", maxZoom: 21, maxNativeZoom: 18, errorTileUrl: NOTHING });
}
drawn.edge = cased("edge");
drawn.zones = cased("zones");
drawn.unknown = variable("geo_json", "unknown");
drawn.stops = variable("geo_json", "stops") ? L.layerGroup([variable("geo_json", "stops")]) : null;

async function show(key) {
  if (current && drawn[current]) map.removeLayer(drawn[current]);
  current = key;
  document.querySelectorAll(".key").forEach(function (part) { part.hidden = part.dataset.layer !== key; });
  if (key === "points" && !(await withPoints())) return;
  if (current === key && drawn[key]) map.addLayer(drawn[key]);
  const still = document.getElementById("still-image");
  if (still && drawn[key] && drawn[key]._url) still.setAttribute("href", drawn[key]._url);
  if (still && key === "points") still.setAttribute("href", stillPoints());
  if (key === "none") return;
  const title = document.querySelector('.key[data-layer="' + key + '"] p');
  document.getElementById("still-title").textContent = title.textContent + ", with the field's edge, zones and stops; north is up";
}
async function withPoints() {
  if (points) return true;
  try { await unpackPoints(); return true; } catch (fault) { tooOld(); return false; }
}
function tooOld() { reading.textContent = "This browser is too old to unpack the values. The colours and the key hold; for points and readings use a newer one."; }
function stillPoints() {
  const box = said.box, canvas = document.createElement("canvas"), scale = 1200 / (box[2] - box[0]);
  canvas.width = 1200; canvas.height = Math.max(1, Math.round((box[3] - box[1]) * scale));
  paint(canvas.getContext("2d"), canvas.width, canvas.height, scale, -box[0] * scale, box[3] * scale, false, Math.max(2, pointSize(scale, 1)));
  return canvas.toDataURL();
}
async function over(key, on) {
  if (key === "flagged" && on && !(await withPoints())) return;
  if (drawn[key]) on ? map.addLayer(drawn[key]) : map.removeLayer(drawn[key]);
  ["edge", "stops"].forEach(function (name) { if (variable("geo_json", name)) variable("geo_json", name).bringToFront(); });
}

// ---- words on the map: letters of zones, numbers and popups of stops ---------------------------
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
function dressZones() {
  variable("geo_json", "zones").eachLayer(function (layer) {
    const zone = said.zones[layer.feature.properties.i], web = bend(said.toWeb, zone.at[0], zone.at[1]);
    const at = L.CRS.EPSG3857.unproject(L.point(web[0], web[1]));
    drawn.zones.addLayer(label(at, zone.letter, "letter", Math.max(24, 11 * zone.letter.length + 8), 24));
  });
}
const numbers = L.layerGroup();
function dressStops() {
  // beside the north mark and the zoom buttons, not under them
  const popup = { maxWidth: Math.max(120, Math.min(280, map.getSize().x - 156)), autoPanPaddingTopLeft: [56, 10], autoPanPaddingBottomRight: [70, 10] };
  variable("geo_json", "stops").eachLayer(function (layer) {
    const stop = said.stops[layer.feature.properties.i];
    // short enough for a phone's map; the strip below has room for the rest
    layer.bindPopup(lines(["Stop " + stop.name, "Loss, all sources: " + stop.total, stop.counted]), popup);
    layer.on("popupopen", function () {
      reading.textContent = "Stop " + stop.name + ": loss " + stop.total + "; preharvest " + stop.preharvest + ", header " + stop.header +
        ", threshing " + stop.threshing + ". Cut at " + stop.speed + ", " + stop.moisture + " moisture." + (stop.note ? " Note: " + stop.note : "");
    });
    numbers.addLayer(label(layer.getLatLng(), stop.short, "stop-number", Math.max(34, 9 * stop.short.length + 10), 24));
  });
}
function numbersByZoom() {
  if (!drawn.stops) return;
  if (map.getZoom() >= 17) drawn.stops.addLayer(numbers); else drawn.stops.removeLayer(numbers);
}

// ---- reading ------------------------------------------------------------------------------------
function valueAt(key, at) {
  if (at < 0 || !cells[key] || cells[key][at] === GAP) return null;
  const layer = sheet.layers.find(function (one) { return one.key === key; }) || sheet.bounds[key === "high" ? 1 : 0];
  return layer.start + layer.step * cells[key][at];
}
function cellAt(latlng) {
  if (!sheet) return -1;
  const spot = ground(latlng), col = Math.floor((spot[0] - sheet.west) / sheet.cell), row = Math.floor((sheet.north - spot[1]) / sheet.cell);
  return row < 0 || col < 0 || row >= sheet.rows || col >= sheet.cols ? -1 : row * sheet.cols + col;
}
function spoken(layer, at) {
  const value = valueAt(layer.key, at);
  if (value === null) return layer.name.toLowerCase() + " not known";
  const places = layer.places, text = layer.name.toLowerCase() + " " + number(value * layer.factor, places) + " " + layer.unit;
  if (layer.key !== "loss") return text;
  const more = Math.max(places, 1);
  return "loss " + number(value * layer.factor, more) + " " + layer.unit + " (" + said.odds + " between " +
    number(valueAt("low", at) * layer.factor, more) + " and " + number(valueAt("high", at) * layer.factor, more) + ")";
}
function inRing(x, y, ring) {
  let inside = false;
  for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) {
    const a = ring[i], b = ring[j];
    if ((a[1] > y) !== (b[1] > y) && x < (b[0] - a[0]) * (y - a[1]) / (b[1] - a[1]) + a[0]) inside = !inside;
  }
  return inside;
}
function holds(key, latlng) {
  const layer = variable("geo_json", key), found = [];
  if (layer) layer.eachLayer(function (part) {
    const shape = part.feature.geometry, polygons = shape.type === "MultiPolygon" ? shape.coordinates : [shape.coordinates];
    const inside = polygons.some(function (rings) {
      return rings.filter(function (ring) { return inRing(latlng.lng, latlng.lat, ring); }).length % 2 === 1;
    });
    if (inside) found.push(part.feature.properties.i);
  });
  return found;
}
function nearestStop(latlng) {
  if (!said.stops.length) return "";
  const spot = ground(latlng);
  let best = Infinity, name = "";
  said.stops.forEach(function (stop) {
    const away = Math.hypot(stop.at[0] - spot[0], stop.at[1] - spot[1]);
    if (away < best) { best = away; name = stop.name; }
  });
  return "Nearest stop (" + name + ") " + length(best) + " away.";
}
function pointAt(latlng) {
  if (!points || !(current === "points" || map.hasLayer(drawn.flagged))) return "";
  const web = L.CRS.EPSG3857.project(latlng), reach = 12 * CIRCUMFERENCE / (256 * Math.pow(2, map.getZoom()));
  let best = reach, found = -1;
  for (let i = 0; i < points.x.length; i++) {
    const away = Math.hypot(points.x[i] - web.x, points.y[i] - web.y);
    if (away < best) { best = away; found = i; }
  }
  if (found < 0) return "";
  if (points.flag[found]) return "Point here is flagged: " + said.points.reasons[points.flag[found] - 1] + ".";
  if (points.code[found] === GAP) return "Point here has no yield.";
  const value = said.points.start + said.points.step * points.code[found];
  return "Point here: yield " + number(value * said.points.factor, said.points.places) + " " + said.points.unit + ".";
}
function read(latlng) {
  if (sheet && !Object.keys(cells).length) { tooOld(); return; }
  if (!holds("edge", latlng).length) { reading.textContent = "Outside the field. " + nearestStop(latlng); return; }
  const parts = holds("zones", latlng).map(function (i) { return "Zone " + said.zones[i].head + ". " + said.zones[i].text; });
  if (holds("unknown", latlng).length) parts.push("Here we do not know: no stop is near and the interval is wide.");
  if (sheet) {
    const at = cellAt(latlng);
    const text = sheet.layers.filter(function (layer) { return layer.key !== "sure"; }).map(function (layer) { return spoken(layer, at); }).join(", ");
    parts.push("Here: " + text + ".");
  }
  parts.push(pointAt(latlng), nearestStop(latlng));
  reading.textContent = parts.filter(Boolean).join(" ");
}

// ---- tools ----------------------------------------------------------------------------------------
function fit() { map.fitBounds(said.bounds, { padding: [8, 8], animate: false }); }
const here = L.layerGroup();
const find = document.getElementById("find");
function stopFinding() { map.stopLocate(); map.removeLayer(here); find.setAttribute("aria-pressed", "false"); }
find.addEventListener("click", function () {
  if (find.getAttribute("aria-pressed") === "true") { stopFinding(); return; }
  find.setAttribute("aria-pressed", "true");
  reading.textContent = "Looking for your place ...";
  here.addTo(map);
  map.locate({ watch: true, enableHighAccuracy: true });
});
map.on("locationfound", function (event) {
  const first = !here.getLayers().length;
  here.clearLayers();
  here.addLayer(L.circle(event.latlng, { radius: event.accuracy, className: "here-ring", interactive: false }));
  here.addLayer(L.circleMarker(event.latlng, { radius: 8, className: "here-dot", interactive: false }));
  if (first) map.setView(event.latlng, Math.max(map.getZoom(), 16));
  read(event.latlng);
  reading.textContent = "You, give or take " + length(event.accuracy) + ". " + reading.textContent;
});
map.on("locationerror", function () {
  stopFinding();
  reading.textContent = "Your place could not be found: the browser refused, or the device gave none. Tap the map instead.";
});

const measure = document.getElementById("measure"), path = L.polygon([], { className: "measured", interactive: false });
let measuring = false;
function measured() {
  const spots = path.getLatLngs()[0] || [];
  if (!spots.length) return "Measure: tap the corners. Tap Measure again to end.";
  const flat = spots.map(ground);
  let along = 0, twice = 0;
  flat.forEach(function (spot, i) {
    const next = flat[(i + 1) % flat.length];
    if (i + 1 < flat.length) along += Math.hypot(next[0] - spot[0], next[1] - spot[1]);
    twice += spot[0] * next[1] - next[0] * spot[1];
  });
  const area = Math.abs(twice) / 2 / 10000 * said.area.factor;
  return "Measured: " + length(along) + (flat.length > 2 ? ", closed " + number(area, area < 10 ? 2 : 1) + " " + said.area.unit : "") + ".";
}
measure.addEventListener("click", function () {
  measuring = !measuring;
  measure.setAttribute("aria-pressed", String(measuring));
  if (measuring) { path.setLatLngs([]); path.addTo(map); reading.textContent = measured(); } else map.removeLayer(path);
});
function at(latlng) {
  if (!measuring) { read(latlng); return; }
  path.addLatLng(latlng);
  reading.textContent = measured();
}
document.getElementById("fit").addEventListener("click", fit);
document.getElementById("print").addEventListener("click", function () { window.print(); });
document.querySelectorAll("[data-zone]").forEach(function (button) {
  button.addEventListener("click", function () {
    map.closePopup();
    const which = button.dataset.zone, key = which === "unknown" ? "unknown" : "zones";
    const box = document.querySelector('input[name="over"][value="' + key + '"]');
    if (!box.checked) { box.checked = true; over(key, true); }
    variable("geo_json", key).eachLayer(function (layer) {
      if (key === "unknown" || layer.feature.properties.i === Number(which)) map.fitBounds(layer.getBounds(), { padding: [30, 30], maxZoom: 18 });
    });
    reading.textContent = button.textContent + ". " + button.nextElementSibling.textContent;
    document.getElementById("map_field").scrollIntoView({ block: "nearest" });
  });
});

// ---- hands and keys -----------------------------------------------------------------------------------
document.body.dataset.by = "pointer";
document.addEventListener("pointerdown", function () { document.body.dataset.by = "pointer"; }, true);
document.addEventListener("keydown", function () { document.body.dataset.by = "keys"; }, true);
map.getContainer().addEventListener("keydown", function (event) {
  if (event.target !== map.getContainer()) return;
  if (event.key === "Enter") { event.preventDefault(); at(map.getCenter()); }
  if (event.key === "Escape" && measuring) measure.click();
});
map.on("click", function (event) { at(event.latlng); });

// ---- start --------------------------------------------------------------------------------------------
const North = L.Control.extend({
  options: { position: "topleft" },
  onAdd: function () {
    const box = L.DomUtil.create("div", "north"), svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    const arrow = document.createElementNS(svg.namespaceURI, "path"), letter = document.createElementNS(svg.namespaceURI, "text");
    svg.setAttribute("viewBox", "0 0 24 44"); svg.setAttribute("width", "24"); svg.setAttribute("height", "44");
    svg.setAttribute("role", "img"); svg.setAttribute("aria-label", "North is up");
    arrow.setAttribute("d", "M12 1L21 26L12 20L3 26Z"); arrow.setAttribute("fill", "#1a1712");
    letter.setAttribute("x", "12"); letter.setAttribute("y", "42"); letter.setAttribute("text-anchor", "middle");
    letter.setAttribute("font-size", "16"); letter.setAttribute("font-weight", "700"); letter.setAttribute("fill", "#1a1712");
    letter.textContent = "N";
    svg.append(arrow, letter); box.appendChild(svg);
    return box;
  }
});
new North().addTo(map);
if (drawn.zones) dressZones();
if (drawn.stops) { dressStops(); map.on("zoomend", numbersByZoom); }
drawn.edge.addTo(map);
async function start() {
  map.invalidateSize({ animate: false });
  fit();
  document.querySelectorAll('input[name="layer"]').forEach(function (box) {
    box.addEventListener("change", function () { show(box.value); });
  });
  document.querySelectorAll('input[name="over"]').forEach(function (box) {
    box.addEventListener("change", function () { over(box.value, box.checked); });
    if (box.checked) over(box.value, true);
  });
  const first = document.querySelector('input[name="layer"]:checked');
  if (sheet) { try { await unpackCells(); } catch (fault) { tooOld(); } }
  if (first) await show(first.value);
  numbersByZoom();
  // the box has its size only once the page is laid out, and changes it when a phone is turned: until somebody
  // has moved the map, the whole field stays in view
  let moved = false;
  ["pointerdown", "wheel", "keydown"].forEach(function (kind) { map.getContainer().addEventListener(kind, function () { moved = true; }, { passive: true }); });
  if (window.ResizeObserver) new ResizeObserver(function () {
    map.invalidateSize({ animate: false, pan: false });
    if (!moved) fit();
  }).observe(map.getContainer());
  page.dataset.ready = "yes";
}
window.fieldPage = { map: map, cellAt: cellAt, valueAt: valueAt, classOf: classOf, sheet: sheet, ground: ground };
start();
})();
