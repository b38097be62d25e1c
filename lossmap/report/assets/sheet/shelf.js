// What was counted, kept on this device.
const SHELF = "lossmap count sheet: " + said.field + " ", SHELVED = SHELF + said.sheet;
let counts = nothing();
let isKept = true, isUnsaved = false;

function nothing() { return { column: said.frame.column, stops: Object.create(null), usual: {} }; }
function blank(name) {
  const plan = planned[name], counted = {};
  POSITIONS.forEach(function (position) {
    const usual = counts.usual[position] || { area: said.frame.usual, by: "seeds" };
    counted[position] = { area: usual.area, by: usual.by, frames: [], time: "" };
  });
  return {
    place: plan ? asPlanned(plan) : null, counted: counted, note: "",
    ears: { area: said.frame.ears, grams: null, before: null, behind: null, time: "" }
  };
}
function asPlanned(plan) { return { lat: plan.lat, lon: plan.lon, by: "plan", accuracy: null }; }
function isNumber(value) { return typeof value === "number" && isFinite(value) && value >= 0; }
// Any page of this device may write to the same store: what is no count of ours is left out.
function believed(name, found) {
  const stop = blank(name);
  if (!found || typeof found !== "object") return stop;
  const place = found.place;
  if (place && isFinite(place.lat) && isFinite(place.lon) && Math.abs(place.lat) <= 90 && Math.abs(place.lon) <= 180)
    stop.place = { lat: Number(place.lat), lon: Number(place.lon), by: String(place.by), accuracy: isNumber(place.accuracy) ? place.accuracy : null };
  POSITIONS.forEach(function (position) {
    const was = found.counted && found.counted[position], now = stop.counted[position];
    if (!was || !Array.isArray(was.frames)) return;
    if (isNumber(was.area) && was.area > 0) now.area = was.area;
    now.by = was.by === "grams" ? "grams" : "seeds";
    now.frames = was.frames.slice(0, 99).map(function (one) { return isNumber(one) ? one : null; });
    now.time = String(was.time || "");
  });
  const ears = found.ears || {};
  ["area", "grams", "before", "behind"].forEach(function (part) { if (isNumber(ears[part])) stop.ears[part] = ears[part]; });
  stop.ears.time = String(ears.time || "");
  stop.note = String(found.note || "").slice(0, 200);
  return stop;
}
function shelved(shelf) {
  const out = nothing(), content = localStorage.getItem(shelf);
  let found = null;
  try { found = JSON.parse(content); } catch (fault) { return out; }
  if (!found) return out;
  if (found.column === "frame_m2" || found.column === "frame_ft2") out.column = found.column;
  Object.keys(found.stops || {}).forEach(function (name) { out.stops[name] = believed(name, found.stops[name]); });
  POSITIONS.forEach(function (position) {
    const usual = (found.usual || {})[position];
    if (usual && isNumber(usual.area) && usual.area > 0) out.usual[position] = { area: usual.area, by: usual.by === "grams" ? "grams" : "seeds" };
  });
  return out;
}
function load() {
  try { counts = shelved(SHELVED); } catch (fault) { notKept(); }
}
// One stop at a time: the same sheet may be open twice, and neither may take back what the other has.
function keep(name) {
  isUnsaved = true;
  try {
    const all = shelved(SHELVED);
    if (counts.stops[name]) all.stops[name] = counts.stops[name]; else delete all.stops[name];
    all.usual = counts.usual;
    localStorage.setItem(SHELVED, JSON.stringify(all));
    isKept = true;
  } catch (fault) { notKept(); }
  byId("not-kept").hidden = isKept;
  tell();
}
function notKept() { isKept = false; byId("not-kept").hidden = false; }
function now() { return new Date().toISOString().slice(0, 19) + "Z"; }
function laid(frames) { return frames.filter(function (one) { return one !== null; }); }
function hasCounts(stop) {
  return POSITIONS.some(function (position) { return laid(stop.counted[position].frames).length > 0; }) || stop.ears.before !== null || stop.ears.behind !== null;
}
function nameOrder() {
  const own = Object.keys(counts.stops).filter(function (name) { return !planned[name]; });
  return said.stops.map(function (stop) { return stop.name; }).concat(own);
}
