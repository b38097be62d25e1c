(function () {
"use strict";
// Numbers and words come from one block of JSON and reach the page as text, never as markup.
const page = document.documentElement;
const said = JSON.parse(document.getElementById("map-words").textContent);
const map = window.map_field;
const reading = document.getElementById("reading");
const grid = said.grid;
const GAP = 65535;
const NOTHING = "data:image/gif;base64,R0lGODlhAQABAIAAAAAAAP///yH5BAEAAAAALAAAAAABAAEAAAIBRAA7";
const drawn = {};                      // layers by key
const cells = {};                      // codes of each surface by key
let points = null;                     // unpacked points
let asked = 0;                         // readings asked for: only the last is shown
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

// ---- unpacking: after the map stands, in idle moments; at once when somebody asks -------------
// The browser's own inflate; an old browser keeps colours and key.
function idle(done) { if (window.requestIdleCallback) requestIdleCallback(done); else setTimeout(done, 30); }
function once(work) {
  let begun = null, hurry = false, wake = function () {};
  function rest() {
    return hurry ? Promise.resolve() : new Promise(function (done) { wake = done; idle(done); });
  }
  return function (now) {
    if (now) { hurry = true; wake(); }
    return begun || (begun = work(rest));
  };
}
function parsed() {
  return new Promise(function (done) {
    if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", done); else done();
  });
}
async function inflated(id) {
  await parsed();
  const signs = atob(document.getElementById(id).textContent), raw = new Uint8Array(signs.length);
  for (let i = 0; i < raw.length; i++) raw[i] = signs.charCodeAt(i);
  const inflate = new DecompressionStream("deflate-raw"), writer = inflate.writable.getWriter();
  writer.write(raw).catch(function () {});
  writer.close().catch(function () {});
  return new Uint8Array(await new Response(inflate.readable).arrayBuffer());
}
// what a guess missed: a column of low bytes, one of high ones, small numbers of either sign folded to small ones
function missed(loose, low, high) {
  const folded = loose[low] | (loose[high] << 8);
  return (folded >> 1) ^ -(folded & 1);
}
function overGrid(loose, at, rows, cols) {
  const count = rows * cols, codes = new Uint16Array(count), context = new Uint16Array(count);
  let known = 0;
  for (let i = 0; i < count; i++) known += (loose[at + (i >> 3)] >> (7 - (i & 7))) & 1;
  let low = at + ((count + 7) >> 3), high = low + known, seen = -1;   // seen: the last row in which a cell was known
  for (let row = 0, i = 0; row < rows; row++) for (let col = 0; col < cols; col++, i++) {
    const north = row ? context[i - cols] : col ? context[i - 1] : 0, west = col ? context[i - 1] : north;
    if (!((loose[at + (i >> 3)] >> (7 - (i & 7))) & 1)) {
      codes[i] = GAP;
      context[i] = seen === row ? west : row ? north : 0;
      continue;
    }
    seen = row;
    const corner = row ? (col ? context[i - cols - 1] : north) : west;
    const plane = west + north - corner, least = Math.min(west, north), most = Math.max(west, north);
    codes[i] = context[i] = (plane < least ? least : plane > most ? most : plane) + missed(loose, low++, high++);
  }
  return { codes: codes, end: high };
}
const unpackCells = once(async function (rest) {
  const loose = await inflated("map-cells"), keys = grid.layers.map(function (layer) { return layer.key; });
  if (grid.bounds.length) keys.push("low", "high");
  let at = 0;
  for (const key of keys) {
    await rest();
    const found = overGrid(loose, at, grid.rows, grid.cols);
    cells[key] = found.codes; at = found.end;
  }
});
const SLICE = 20000;
const unpackPoints = once(async function (rest) {
  const from = said.points, n = from.n, loose = await inflated("map-points");
  const found = { n: n, x: new Float32Array(n), y: new Float32Array(n), state: loose.subarray(0, n), code: new Uint16Array(n) };
  const east = new Int32Array(n), north = new Int32Array(n);
  let yields = 0, at = 5 * n, code = 0;
  for (let i = 0; i < n; i++) if (!loose[i]) yields++;
  for (let start = 0; start < n; start += SLICE) {
    const end = Math.min(n, start + SLICE);
    await rest();
    along(loose, n, n, start, end, east);
    along(loose, 3 * n, n, start, end, north);
    onWeb(east, north, start, end, found);
    for (let i = start; i < end; i++) {
      if (loose[i]) { found.code[i] = GAP; continue; }
      code = (code + missed(loose, at, at + yields)) & 65535; at++;
      found.code[i] = code;
    }
  }
  points = found;
});
// the next step is guessed to be the mean of the four before it
function along(loose, at, n, start, end, out) {
  for (let i = start; i < end; i++) {
    const last = i ? out[i - 1] : 0, step = i > 4 ? (last - out[i - 5] + 2) >> 2 : 0;
    out[i] = (last + step + missed(loose, at + i, at + n + i)) & 65535;
  }
}
// Mercator metres east and south of the box's corner: small numbers, so that single precision does
function onWeb(east, north, start, end, out) {
  const from = said.points, how = said.toWeb, a = how.x, b = how.y, half = how.half, step = from.step;
  const left = from.west - how.centre[0], down = from.south - how.centre[1], dx = how.origin[0] - said.box[0], dy = said.box[3] - how.origin[1];
  for (let i = start; i < end; i++) {
    const u = (left + step * east[i]) / half, v = (down + step * north[i]) / half;
    out.x[i] = dx + a[0] + v * (a[1] + v * (a[2] + v * a[3])) + u * (a[4] + v * (a[5] + v * a[6]) + u * (a[7] + v * a[8] + u * a[9]));
    out.y[i] = dy - b[0] - v * (b[1] + v * (b[2] + v * b[3])) - u * (b[4] + v * (b[5] + v * b[6]) + u * (b[7] + v * b[8] + u * b[9]));
  }
}

// ---- points on a canvas of our own: a marker each would never open ---------------------------
const CIRCUMFERENCE = 2 * Math.PI * 6378137;
function rgb(colour) {
  const value = parseInt(colour.slice(1), 16);
  return [value >> 16, (value >> 8) & 255, value & 255];
}
function inksOf() {
  return said.points.levels.map(function (level) { return said.points.colours[classOf(level, said.points.edges)]; });
}
// scale: pixels for a Mercator metre; left, top: pixel of the box's corner in the north-west
function paint(context, width, height, scale, left, top, flagged, size) {
  context.clearRect(0, 0, width, height);
  if (flagged) paintFlagged(context, width, height, scale, left, top, size);
  else if (size > 8) paintBig(context, width, height, scale, left, top, size);
  else paintSmall(context, width, height, scale, left, top, Math.max(1, Math.round(size)));
}
// few big points are in sight: rectangles
function paintBig(context, width, height, scale, left, top, size) {
  const inks = inksOf(), half = size / 2, x = points.x, y = points.y;
  for (let i = 0; i < points.n; i++) {
    if (points.state[i]) continue;
    const px = x[i] * scale + left - half, py = y[i] * scale + top - half;
    if (px > width || py > height || px < -size || py < -size) continue;
    context.fillStyle = inks[points.code[i]];
    context.fillRect(px, py, size, size);
  }
}
// many small ones: pixels straight into one picture, several times quicker
function paintSmall(context, width, height, scale, left, top, size) {
  const image = context.createImageData(width, height), pixels = new Uint32Array(image.data.buffer);
  const inks = Uint32Array.from(inksOf(), function (colour) { const c = rgb(colour); return (255 << 24) | (c[2] << 16) | (c[1] << 8) | c[0]; });
  const x = points.x, y = points.y, state = points.state, code = points.code, west = left - size / 2 + 0.5, north = top - size / 2 + 0.5;
  for (let i = 0, n = points.n; i < n; i++) {
    if (state[i]) continue;
    const px = Math.floor(x[i] * scale + west), py = Math.floor(y[i] * scale + north);
    if (px <= -size || py <= -size || px >= width || py >= height) continue;
    const ink = inks[code[i]], right = Math.min(width, px + size), bottom = Math.min(height, py + size), first = Math.max(0, px);
    for (let down = Math.max(0, py); down < bottom; down++)
      for (let at = down * width + first, end = down * width + right; at < end; at++) pixels[at] = ink;
  }
  context.putImageData(image, 0, 0);
}
function isFlagged(i) { return points.state[i] > 0 && points.state[i] <= said.points.reasons.length; }
function paintFlagged(context, width, height, scale, left, top, size) {
  const arm = Math.max(2, size * 0.6);
  for (const pen of [["#ffffff", 3.5], ["#000000", 1.5]]) {
    context.strokeStyle = pen[0]; context.lineWidth = pen[1]; context.beginPath();
    for (let i = 0; i < points.n; i++) {
      if (!isFlagged(i)) continue;
      const px = points.x[i] * scale + left, py = points.y[i] * scale + top;
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
    const left = (said.box[0] - zero.x) * scale, top = (zero.y - said.box[3]) * scale;
    paint(canvas.getContext("2d"), canvas.width, canvas.height, scale, left, top, this._flagged, pointSize(scale, sharp));
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
document.querySelectorAll("image[data-picture]").forEach(function (image) {
  const key = image.dataset.picture;
  drawn[key] = variable("image_overlay", key);
  drawn[key].setUrl(image.getAttribute("href"));
});
if (said.points) { drawn.points = new PointsLayer(false); drawn.flagged = new PointsLayer(true); }
map.createPane("casing").style.zIndex = 350;   // between the pictures (tile pane, 200) and the lines (400)
map.getPane("casing").style.pointerEvents = "none";
// the still drawing's outlines: "M x y l dx dy ... Z" a ring, holes by even and odd
function ringsOf(path) {
  const frame = said.still, scale = (said.box[2] - said.box[0]) / frame.width;
  return path.split("Z").filter(Boolean).map(function (ring) {
    const ways = ring.match(/-?[\d.]+/g).map(Number);
    let x = 0, y = 0;
    return ways.reduce(function (corners, way, i) {
      if (i % 2) {
        x += ways[i - 1]; y += way;
        corners.push(L.CRS.EPSG3857.unproject(L.point(said.box[0] + (x - frame.left) * scale, said.box[3] - (y - frame.top) * scale)));
      }
      return corners;
    }, []);
  });
}
function outlines(key) {
  return Array.from(document.querySelectorAll('[data-part="' + key + '"]'), function (part) {
    return L.polygon(ringsOf(part.getAttribute("d")), { className: "on-map " + key + " " + part.dataset.why, smoothFactor: 0.5 });
  });
}
function cased(layers) {
  const casings = layers.map(function (layer) {
    return L.polygon(layer.getLatLngs(), { interactive: false, pane: "casing", className: "casing", smoothFactor: 0.5 });
  });
  return L.layerGroup(casings.concat(layers));
}
if (said.basemap) {
  // under the pictures; asked for only once it is on the map, and nothing broken is shown where no answer comes
  map.createPane("ground").style.zIndex = 150;
  drawn.basemap = L.tileLayer(said.basemap.url, { pane: "ground", maxZoom: 21, maxNativeZoom: 18, errorTileUrl: NOTHING });
}
const parts = { edge: variable("geo_json", "edge").getLayers(), zones: outlines("zones"), unknown: outlines("unknown") };
drawn.edge = cased(parts.edge);
drawn.zones = parts.zones.length ? cased(parts.zones) : null;
drawn.unknown = parts.unknown.length ? parts.unknown[0] : null;
drawn.stops = variable("geo_json", "stops") ? L.layerGroup([variable("geo_json", "stops")]) : null;

async function show(key) {
  if (current && drawn[current]) map.removeLayer(drawn[current]);
  current = key;
  document.querySelectorAll(".key").forEach(function (part) { part.hidden = part.dataset.layer !== key; });
  if (key === "points" && !(await withPoints())) return;
  if (current === key && drawn[key]) map.addLayer(drawn[key]);
  if (key === "none") return;
  const title = document.querySelector('.key[data-layer="' + key + '"] p');
  document.getElementById("still-title").textContent = title.textContent + ", with the field's edge, zones and stops; north is up";
  stillShows(key);
}
async function withPoints() {
  try { await unpackPoints(true); return true; } catch (fault) { tooOld(); return false; }
}
function tooOld() { reading.textContent = "This browser is too old to unpack the values. The colours and the key hold; for points and readings use a newer one."; }
// the picture on paper is that on the screen; of points it is made only once somebody prints
function stillShows(key) {
  const still = document.getElementById("still-image");
  if (still && drawn[key]._url) still.setAttribute("href", drawn[key]._url);
}
function stillPoints() {
  const still = document.getElementById("still-image");
  if (!still || current !== "points" || !points) return;
  const box = said.box, canvas = document.createElement("canvas"), scale = 1200 / (box[2] - box[0]);
  canvas.width = 1200; canvas.height = Math.max(1, Math.round((box[3] - box[1]) * scale));
  paint(canvas.getContext("2d"), canvas.width, canvas.height, scale, 0, 0, false, Math.max(2, pointSize(scale, 1)));
  still.setAttribute("href", canvas.toDataURL());
}
window.addEventListener("beforeprint", stillPoints);
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

// ---- reading ------------------------------------------------------------------------------------
function valueAt(key, levels, at) {
  return at < 0 || cells[key][at] === GAP ? null : levels[cells[key][at]];
}
function cellAt(latlng) {
  if (!grid) return -1;
  const spot = ground(latlng), col = Math.floor((spot[0] - grid.west) / grid.cell), row = Math.floor((grid.north - spot[1]) / grid.cell);
  return row < 0 || col < 0 || row >= grid.rows || col >= grid.cols ? -1 : row * grid.cols + col;
}
function spoken(layer, at) {
  const name = layer.name.toLowerCase(), value = valueAt(layer.key, layer.levels, at);
  if (value === null) return name + " not known";
  const text = name + " " + number(value, layer.places) + " " + layer.unit;
  if (layer.key !== "loss") return text;
  const ends = ["low", "high"].map(function (key, i) { return valueAt(key, grid.bounds[i], at); });
  if (ends.includes(null)) return text;
  return text + " (" + said.odds + " between " + ends.map(function (end) { return number(end, layer.places); }).join(" and ") + ")";
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
  return parts[key].map(function (part, i) { return i; }).filter(function (i) {
    const shape = parts[key][i].toGeoJSON().geometry, polygons = shape.type === "MultiPolygon" ? shape.coordinates : [shape.coordinates];
    return polygons.flat().filter(function (ring) { return inRing(latlng.lng, latlng.lat, ring); }).length % 2 === 1;
  });
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
  const web = L.CRS.EPSG3857.project(latlng), x = web.x - said.box[0], y = said.box[3] - web.y;
  let best = 12 * CIRCUMFERENCE / (256 * Math.pow(2, map.getZoom())), found = -1;
  for (let i = 0; i < points.n; i++) {
    const away = Math.hypot(points.x[i] - x, points.y[i] - y);
    if (away < best) { best = away; found = i; }
  }
  if (found < 0) return "";
  if (isFlagged(found)) return "Point here is flagged: " + said.points.reasons[points.state[found] - 1] + ".";
  if (points.state[found]) return "Point here has no yield.";
  return "Point here: yield " + number(said.points.levels[points.code[found]], said.points.places) + " " + said.points.unit + ".";
}
async function read(latlng, before) {
  const mine = ++asked;
  if (grid) { try { await unpackCells(true); } catch (fault) { tooOld(); return; } }
  if (mine === asked) reading.textContent = (before || "") + textAt(latlng);
}
function textAt(latlng) {
  if (!holds("edge", latlng).length) return "Outside the field. " + nearestStop(latlng);
  const told = holds("zones", latlng).map(function (i) { return "Zone " + said.zones[i].head + ". " + said.zones[i].text; });
  if (holds("unknown", latlng).length) told.push("Here we do not know: no stop is near and the interval is wide.");
  if (grid) {
    const at = cellAt(latlng);
    told.push("Here: " + grid.layers.map(function (layer) { return spoken(layer, at); }).join(", ") + ".");
  }
  return told.concat(pointAt(latlng), nearestStop(latlng)).filter(Boolean).join(" ");
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
  read(event.latlng, "You, give or take " + length(event.accuracy) + ". ");
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
    map.fitBounds(parts[key][key === "unknown" ? 0 : Number(which)].getBounds(), { padding: [30, 30], maxZoom: 18 });
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
  if (first) show(first.value);
  if (!window.DecompressionStream) tooOld();
  numbersByZoom();
  // the box has its size only once the page is laid out, and changes it when a phone is turned: until somebody
  // has moved the map, the whole field stays in view
  let moved = false;
  ["pointerdown", "wheel", "keydown"].forEach(function (kind) { map.getContainer().addEventListener(kind, function () { moved = true; }, { passive: true }); });
  if (window.ResizeObserver) new ResizeObserver(function () {
    map.invalidateSize({ animate: false, pan: false });
    if (!moved) fit();
  }).observe(map.getContainer());
  // the still drawing stands here until then
  const picture = first && drawn[first.value] && drawn[first.value]._image;
  if (picture) await picture.decode().catch(function () {});
  page.dataset.ready = "yes";
  for (const unpack of [grid && unpackCells, said.points && unpackPoints]) {
    await new Promise(idle);
    if (unpack) await unpack().catch(function () {});
  }
}
window.fieldPage = { map: map };
start();
})();
