// What a tap reads.
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
