// Pictures, outlines, stops and points: what is on the map, and how it comes and goes.
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
