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

// ---- numbers and places
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
