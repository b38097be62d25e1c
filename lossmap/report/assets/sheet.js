(function () {
"use strict";
// Numbers and words come from one block of JSON, what was counted from this device; both reach the page as text, never as markup.
const said = JSON.parse(document.getElementById("sheet-words").textContent);
const POSITIONS = Object.keys(said.positions);
const planned = Object.create(null);   // names are anybody's words: "constructor" is one too
said.stops.forEach(function (stop) { planned[stop.name] = stop; });
function byId(id) { return document.getElementById(id); }
function made(tag, text, look) {
  const part = document.createElement(tag);
  if (text !== undefined) part.textContent = text;
  if (look) part.className = look;
  return part;
}

// ---- numbers -----------------------------------------------------------------------------
function plain(value, places) {
  return value.toLocaleString("en-US", { minimumFractionDigits: places, maximumFractionDigits: places });
}
function places(scale, value) {
  const size = Math.abs(value * scale.factor);
  if (!(size > 0)) return scale.most;
  return Math.min(scale.most, Math.max(0, scale.significant - 1 - Math.floor(Math.log10(size))));
}
function text(scale, value) { return plain(value * scale.factor, places(scale, value)) + " " + scale.unit; }
function interval(loss) {
  const scale = said.loss;
  if (loss.high > 0 && Number((loss.value * scale.factor).toFixed(places(scale, loss.high))) <= 0) return "under " + text(scale, loss.high);
  const many = places(scale, loss.value);
  return text(scale, loss.value) + " (" + plain(loss.low * scale.factor, many) + " to " + plain(loss.high * scale.factor, many) + ")";
}
function countOf(number, noun) { return plain(number, 0) + " " + noun + (number === 1 ? "" : "s"); }
function sum(numbers) { return numbers.reduce(function (all, one) { return all + one; }, 0); }
// What was typed: null where blank, NaN where it is no number that can be; a decimal comma is one too.
function read(typed, whole) {
  const bare = typed.trim().replace(",", ".");
  if (bare === "") return null;
  return (whole ? /^\d{1,6}$/ : /^(\d{1,6}(\.\d*)?|\.\d+)$/).test(bare) ? Number(bare) : NaN;
}

// ---- what was counted, kept on this device -------------------------------------------------
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

// ---- what counts amount to: the arithmetic of lossmap, from one stop alone -------------------
const Z90 = 1.645;
// Seeds lie in clumps, and none found is not none there: the doubt upwards is at least that of one seed.
function lying(number, unit, clumped, mass) {
  const spread = clumped * number * number;
  return { value: number * unit, down: (number + spread) * unit * unit, up: (Math.max(number, 1) + spread) * unit * unit, mass: mass };
}
function lyingSeeds(stop, position) {
  const found = stop.counted[position], frames = laid(found.frames);
  if (!frames.length || !said.mass) return null;
  const weighed = found.by === "grams", seeds = sum(frames) / (weighed ? said.mass.grams / 1000 : 1);
  const area = frames.length * found.area * said.frame.m2;
  return lying(seeds, said.mass.grams / 100 / area, said.clumping / frames.length, weighed ? 0 : said.mass.sd);
}
function lyingEars(stop, part) {
  const ears = stop.ears;
  if (!said.ears || ears[part] === null) return null;
  return lying(ears[part], 10 * (ears.grams || said.ears.grams) / (ears.area * said.frame.m2), 0, ears.grams ? 0 : said.ears.doubt);
}
// Sum of weight times what lies at a position; null where one of them was not counted.
function summed(parts) {
  if (parts.some(function (part) { return part[1] === null; })) return null;
  let value = 0, down = 0, up = 0;
  const masses = {};
  parts.forEach(function (part) {
    const weight = part[0], one = part[1], square = weight * weight;
    value += weight * one.value;
    down += square * (weight > 0 ? one.down : one.up);
    up += square * (weight > 0 ? one.up : one.down);
    masses[one.mass] = (masses[one.mass] || 0) + weight * one.value;
  });
  // seeds of one stop are of one size: what their mass is off by is off everywhere
  const ofMass = sum(Object.keys(masses).map(function (sd) { return Math.pow(sd * masses[sd], 2); }));
  const below = Z90 * Math.sqrt(down + ofMass), above = Z90 * Math.sqrt(up + ofMass);
  if (parts.every(function (part) { return part[0] > 0; }) && value > 0)
    return { value: value, low: value * Math.exp(-below / value), high: Math.min(value * Math.exp(above / value), value + above / Z90 * 3) };
  if (value === 0 && parts.length === 1) return { value: 0, low: 0, high: 3 * Math.sqrt(up) };
  return { value: Math.max(value, 0), low: Math.max(value - below, 0), high: Math.max(value, 0) + above };
}
function sources(stop) {
  const seeds = POSITIONS.map(function (position) { return lyingSeeds(stop, position); });
  const before = lyingEars(stop, "before"), behind = lyingEars(stop, "behind"), hasEars = before !== null || behind !== null;
  const ears = function (parts) { return hasEars ? parts : []; }, ratio = said.ratio, isSpread = Math.abs(ratio - 1) < 1e-3;
  return {
    preharvest: summed([[1, seeds[0]]].concat(ears([[1, before]]))),
    header: summed([[1, seeds[1]], [-1, seeds[0]]].concat(ears([[1, behind], [-1, before]]))),
    threshing: summed([[1 / ratio, seeds[2]], [-1 / ratio, seeds[1]]]),
    total: summed((isSpread ? [[1, seeds[2]]] : [[1 - 1 / ratio, seeds[1]], [1 / ratio, seeds[2]]]).concat(ears([[1, behind]])))
  };
}
// How many times its low end the high end may be before a figure is rough, or a hint only (common practice, no source).
function trust(loss) {
  if (!loss.value) return "";
  const times = loss.high / loss.low;
  return times > 5 ? ", a hint only" : times > 2.5 ? ", rough" : ", fair";
}
function meaning(stop, position) {
  const found = stop.counted[position], frames = laid(found.frames), one = lyingSeeds(stop, position);
  if (!frames.length) return "";
  const number = sum(frames);
  const what = (found.by === "grams" ? plain(number, number % 1 ? 1 : 0) + " g" : countOf(number, "seed")) + " on " + countOf(frames.length, "frame");
  if (!one) return what + ".";
  const loss = summed([[1, one]]), missing = wanted() - frames.length;
  return what + ": " + interval(loss) + " lies here" + trust(loss) + (missing > 0 ? "; " + countOf(missing, "frame") + " to go." : ".");
}

// ---- places ------------------------------------------------------------------------------------
const WINDS = ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"];
function metresTo(from, to) {
  const rad = Math.PI / 180, north = (to.lat - from.lat) * rad * 6371009;
  const east = (to.lon - from.lon) * rad * 6371009 * Math.cos((from.lat + to.lat) / 2 * rad);
  return { away: Math.hypot(north, east), wind: WINDS[Math.round((Math.atan2(east, north) / rad + 360) / 45) % 8] };
}
function awayText(from, to) {
  const way = metresTo(from, to);
  return text(said.length, way.away) + " " + way.wind;
}
function watch(heard, lost) {
  if (!navigator.geolocation) { lost("This viewer gives no position: type it."); return null; }
  return navigator.geolocation.watchPosition(function (fix) {
    heard({ lat: fix.coords.latitude, lon: fix.coords.longitude, accuracy: fix.coords.accuracy, at: Date.now() });
  }, function (fault) {
    lost(fault.code === 1 ? "Your position was refused: allow it for this page in the browser, or type it." : "No position yet: step into the open, or type it.", fault.code === 1);
  }, { enableHighAccuracy: true, maximumAge: 0, timeout: 30000 });
}
function giveOrTake(accuracy) { return "give or take " + text(said.length, accuracy); }

let here = null, finding = null;
function find() {
  if (finding !== null) { stopFinding(""); return; }
  byId("found").textContent = "Looking for you ...";
  finding = watch(function (fix) {
    here = fix;
    if (pinning !== null) take(fix);
    byId("found").textContent = "You are found, " + giveOrTake(fix.accuracy) + ".";
    byId("nearest").disabled = false;
    showHere();
    list();
    away();
  }, function (fault, isFinal) {
    if (isFinal) stopFinding(fault); else byId("found").textContent = fault;
  });
  if (finding !== null) byId("find").setAttribute("aria-pressed", "true");
}
function stopFinding(why) {
  if (finding !== null) navigator.geolocation.clearWatch(finding);
  finding = null; here = null;
  byId("find").setAttribute("aria-pressed", "false");
  byId("found").textContent = why;
  byId("nearest").disabled = true;
  byId("nearest").setAttribute("aria-pressed", "false");
  showHere();
  list();
  away();
}
function showHere() {
  const dot = byId("here-dot"), draw = said.sketch;
  if (!dot || !draw) return;
  dot.setAttribute("visibility", here ? "visible" : "hidden");
  if (!here) return;
  const rad = Math.PI / 180, x = 6378137 * here.lon * rad, y = 6378137 * Math.log(Math.tan(Math.PI / 4 + here.lat * rad / 2));
  dot.setAttribute("cx", draw.margin + (x - draw.west) * draw.scale);
  dot.setAttribute("cy", draw.margin + (draw.north - y) * draw.scale);
}

// ---- the list of stops ---------------------------------------------------------------------------
function wanted() { return planned[open] ? planned[open].frames : said.most; }
function state(name) {
  const stop = counts.stops[name];
  if (!stop || !hasCounts(stop)) return "";
  const frames = sum(POSITIONS.map(function (position) { return laid(stop.counted[position].frames).length; }));
  const total = sources(stop).total;
  return (frames ? countOf(frames, "frame") : "Ears only") + (total ? ", loss " + interval(total) : "") + (stop.place ? "" : ", no position yet");
}
function placeOf(name) { return planned[name] || (counts.stops[name] && counts.stops[name].place); }
// Lines stay the same elements while distances change: one replaced under a finger would swallow the touch.
const lines = Object.create(null);
function lineOf(name) {
  if (lines[name]) return lines[name];
  const item = made("li"), link = made("a");
  link.href = "#stop=" + encodeURIComponent(name);
  link.appendChild(made("strong", name));
  link.appendChild(made("span", "", "away"));
  link.appendChild(made("span", planned[name] ? planned[name].why : "A place of your own", "why"));
  link.appendChild(made("span", "", "state"));
  item.appendChild(link);
  return (lines[name] = item);
}
function list() {
  const names = nameOrder(), out = byId("stop-list");
  if (here && byId("nearest").getAttribute("aria-pressed") === "true") {
    const far = function (name) { const place = placeOf(name); return place ? metresTo(here, place).away : Infinity; };
    names.sort(function (a, b) { return far(a) - far(b); });
  }
  names.forEach(function (name, at) {
    const item = lineOf(name), place = placeOf(name), stop = counts.stops[name];
    item.querySelector(".away").textContent = here && place ? awayText(here, place) : "";
    item.querySelector(".state").textContent = state(name);
    item.className = stop && hasCounts(stop) ? "done" : "";
    if (out.children[at] !== item) out.insertBefore(item, out.children[at] || null);
  });
  while (out.children.length > names.length) out.lastChild.remove();
  document.querySelectorAll(".sketch circle.stops").forEach(function (spot, at) {
    const stop = counts.stops[said.stops[at].name];
    spot.classList.toggle("counted", Boolean(stop && hasCounts(stop)));
  });
}
function ownStop() {
  let number = 1;
  while (counts.stops["A" + number] || planned["A" + number]) number++;
  counts.stops["A" + number] = blank("A" + number);
  keep("A" + number);
  location.hash = "#stop=" + encodeURIComponent("A" + number);
}

// ---- one stop --------------------------------------------------------------------------------------
let open = null, active = { position: said.start, frame: 0 }, undone = [];
function current() { return counts.stops[open] || (counts.stops[open] = blank(open)); }
function section(position) { return document.querySelector('.position[data-position="' + position + '"]'); }
function boxes(position) { return Math.max(wanted(), current().counted[position].frames.length); }

function route() {
  const match = /^#stop=(.*)$/.exec(location.hash);
  let name = null;
  try { name = match && decodeURIComponent(match[1]); } catch (fault) { name = null; }
  stopPinning();
  if (open !== null && counts.stops[open] && !hasCounts(counts.stops[open]) && !counts.stops[open].note && planned[open] && counts.stops[open].place.by === "plan") delete counts.stops[open];
  const before = open;
  open = name !== null && (planned[name] || counts.stops[name]) ? name : null;
  document.body.dataset.view = open === null ? "list" : "stop";
  byId("stops").hidden = open !== null;
  byId("stop").hidden = open === null;
  if (open === null) {
    list();
    if (before !== null && lines[before]) lines[before].firstChild.focus();
    return;
  }
  undone = [];
  fill();
  byId("stop-head").focus();
  window.scrollTo(0, 0);
  byId("type-part").open = !current().place && !navigator.geolocation;
  if (!planned[open] && !current().place) pin();
}
function fill() {
  const stop = current(), plan = planned[open];
  byId("stop-head").textContent = "Stop " + open;
  byId("stop-why").textContent = plan ? plan.why : "A place of your own.";
  byId("name-part").hidden = Boolean(plan);
  byId("name").value = open;
  byId("note").value = stop.note;
  byId("typed").value = "";
  document.querySelectorAll("#stop .fault").forEach(function (part) { part.textContent = ""; });
  document.querySelectorAll("#stop [aria-invalid]").forEach(function (part) { part.removeAttribute("aria-invalid"); });
  POSITIONS.forEach(function (position) {
    const part = section(position), found = stop.counted[position];
    part.querySelector(".area").value = String(found.area);
    part.querySelector(".by").value = found.by;
    drawFrames(position);
  });
  if (said.ears) {
    byId("ear-area").value = String(stop.ears.area);
    [["ears-before", "before"], ["ears-behind", "behind"], ["ear-grams", "grams"]].forEach(function (pair) {
      const value = stop.ears[pair[1]];
      byId(pair[0]).value = value === null ? "" : String(value);
    });
  }
  firstBlank(active.position);
  showPlace();
  away();
  tell();
}
function away() {
  const place = open !== null && placeOf(open);
  byId("stop-away").textContent = here && place ? awayText(here, place) + " of you" : "";
}
function drawFrames(position) {
  const box = section(position).querySelector(".frames"), found = current().counted[position];
  box.textContent = "";
  for (let frame = 0; frame < boxes(position); frame++) {
    const label = made("label", String(frame + 1)), input = made("input");
    input.inputMode = found.by === "grams" ? "decimal" : "numeric";
    input.autocomplete = "off";
    input.setAttribute("aria-label", said.positions[position] + ", frame " + (frame + 1) + (found.by === "grams" ? ", grams" : ", seeds"));
    const value = found.frames[frame];
    input.value = value === null || value === undefined ? "" : String(value);
    input.addEventListener("focus", function () { active = { position: position, frame: frame }; showActive(); });
    input.addEventListener("input", function () { typedFrame(position, frame, input); });
    input.addEventListener("keydown", function (event) { if (event.key === "Enter") onward(); });
    label.appendChild(input);
    box.appendChild(label);
  }
  const more = made("button", "+");
  more.type = "button";
  more.setAttribute("aria-label", "One more frame " + said.positions[position].toLowerCase());
  more.addEventListener("click", function () { addFrame(position); });
  box.appendChild(more);
}
function frameInput(position, frame) { return section(position).querySelectorAll(".frames input")[frame]; }
function typedFrame(position, frame, input) {
  const found = current().counted[position], value = read(input.value, found.by === "seeds"), fault = section(position).querySelector(".fault");
  if (Number.isNaN(value)) {
    input.setAttribute("aria-invalid", "true");
    fault.textContent = "“" + input.value + "” is no count: write a number, 0 where there was nothing.";
    return;
  }
  input.removeAttribute("aria-invalid");
  fault.textContent = "";
  setFrame(position, frame, value);
}
function setFrame(position, frame, value) {
  const found = current().counted[position];
  while (found.frames.length <= frame) found.frames.push(null);
  found.frames[frame] = value;
  while (found.frames.length && found.frames[found.frames.length - 1] === null) found.frames.pop();
  found.time = now();
  counts.usual[position] = { area: found.area, by: found.by };
  keep(open);
}
function addFrame(position) {
  const frame = boxes(position);
  current().counted[position].frames[frame] = null;
  for (let at = 0; at < frame; at++) if (current().counted[position].frames[at] === undefined) current().counted[position].frames[at] = null;
  drawFrames(position);
  active = { position: position, frame: frame };
  showActive();
}
function firstBlank(position) {
  const frames = current().counted[position].frames;
  let frame = 0;
  while (frame < boxes(position) - 1 && frames[frame] !== null && frames[frame] !== undefined) frame++;
  active = { position: position, frame: frame };
}
function showActive() {
  document.querySelectorAll(".frames label").forEach(function (label) { label.classList.remove("now"); });
  const input = frameInput(active.position, active.frame);
  if (input) input.parentElement.classList.add("now");
  const value = current().counted[active.position].frames[active.frame], says = byId("pad-says");
  says.textContent = "";
  says.appendChild(made("span", said.positions[active.position] + ", frame " + (active.frame + 1) + ": "));
  says.appendChild(made("strong", value === null || value === undefined ? "–" : String(value)));
  const last = active.frame >= boxes(active.position) - 1, at = POSITIONS.indexOf(active.position);
  byId("next").textContent = !last ? "Next frame" : at < POSITIONS.length - 1 ? "Next: " + said.positions[POSITIONS[at + 1]].toLowerCase() : "All stops";
  byId("undo").disabled = undone.length === 0;
}
// The keys: no keyboard comes up, and nothing has to be hit that is smaller than a thumb in a glove.
function press(change) {
  const input = frameInput(active.position, active.frame), was = current().counted[active.position].frames[active.frame];
  const value = change(was === undefined ? null : was);
  undone.push({ position: active.position, frame: active.frame, was: was === undefined ? null : was });
  input.value = value === null ? "" : String(value);
  typedFrame(active.position, active.frame, input);
  showActive();
}
function undo() {
  const last = undone.pop();
  if (!last) return;
  active = { position: last.position, frame: last.frame };
  const input = frameInput(last.position, last.frame);
  input.value = last.was === null ? "" : String(last.was);
  typedFrame(last.position, last.frame, input);
  showActive();
}
function next() {
  const at = POSITIONS.indexOf(active.position);
  if (active.frame < boxes(active.position) - 1) active.frame++;
  else if (at < POSITIONS.length - 1) firstBlank(POSITIONS[at + 1]);
  else { location.hash = "#stops"; return; }
  showActive();
  section(active.position).scrollIntoView({ block: "nearest" });
}
function onward() {
  next();
  const input = open !== null && frameInput(active.position, active.frame);
  if (input) input.focus();
}
function typedArea(position, input) {
  const value = read(input.value, false), fault = section(position).querySelector(".fault");
  if (!(value > 0)) {
    input.setAttribute("aria-invalid", "true");
    fault.textContent = "The area of one frame must be a number above 0, in " + said.frame.unit + ".";
    return;
  }
  input.removeAttribute("aria-invalid");
  fault.textContent = "";
  current().counted[position].area = value;
  counts.usual[position] = { area: value, by: current().counted[position].by };
  keep(open);
}
function changedBy(position, select) {
  const found = current().counted[position];
  found.by = select.value;
  counts.usual[position] = { area: found.area, by: found.by };
  drawFrames(position);
  keep(open);
}
function typedEars(id, part, whole) {
  const input = byId(id), value = read(input.value, whole), fault = byId("ears").querySelector(".fault");
  if (Number.isNaN(value) || ((part === "area" || (part === "grams" && value !== null)) && !(value > 0))) {
    input.setAttribute("aria-invalid", "true");
    fault.textContent = "“" + input.value + "” is no number that can be here.";
    return;
  }
  input.removeAttribute("aria-invalid");
  fault.textContent = "";
  current().ears[part] = value;
  current().ears.time = now();
  keep(open);
}
function renamed() {
  const name = byId("name").value.replace(/\s+/g, " ").trim(), fault = byId("name-fault");
  if (name === open) { fault.textContent = ""; return; }
  if (!name || planned[name] || counts.stops[name]) {
    fault.textContent = name ? "There is a stop of that name already." : "A stop needs a name.";
    return;
  }
  fault.textContent = "";
  const was = open;
  counts.stops[name] = current();
  delete counts.stops[was];
  open = name;
  keep(was);
  keep(name);
  byId("stop-head").textContent = "Stop " + name;
  history.replaceState(null, "", "#stop=" + encodeURIComponent(name));
}

// ---- where the frames of a stop lie -----------------------------------------------------------------
let pinning = null, pinned = null, pinEnd = null;
function pin() {
  if (pinning !== null) { stopPinning(); showPlace(); return; }
  pinned = null;
  byId("place").textContent = "Looking for you: stand still by the frames ...";
  pinning = watch(take, function (fault, isFinal) {
    if (isFinal) stopPinning();
    if (!pinned) byId("place").textContent = fault;
    if (!pinned && isFinal) byId("type-part").open = true;
  });
  if (pinning === null) return;
  byId("pin").setAttribute("aria-pressed", "true");
  byId("pin").textContent = "Stop looking";
  pinEnd = setTimeout(function () { stopPinning(); showPlace(); }, 60000);
  // a device that stands still may have nothing new to tell to a second listener
  if (here && Date.now() - here.at < 5000) take(here);
}
function take(fix) {
  if (fix.accuracy > said.rough && !pinned) {
    byId("place").textContent = "Your position is known to " + text(said.length, fix.accuracy) + " only, too rough to use: wait in the open.";
    return;
  }
  if (pinned && pinned.accuracy <= fix.accuracy) return;
  pinned = fix;
  current().place = { lat: fix.lat, lon: fix.lon, by: "device", accuracy: Math.round(fix.accuracy * 10) / 10 };
  keep(open);
  if (fix.accuracy <= 3) stopPinning();
  showPlace();
}
function stopPinning() {
  if (pinning !== null) navigator.geolocation.clearWatch(pinning);
  clearTimeout(pinEnd);
  pinning = null;
  byId("pin").setAttribute("aria-pressed", "false");
  byId("pin").textContent = "Use my position";
}
function showPlace() {
  const place = current().place, plan = planned[open];
  byId("unpin").hidden = !plan || !place || place.by === "plan";
  if (!place) { byId("place").textContent = "No position yet: a stop needs one before it can be used."; return; }
  const spot = plain(place.lat, 5) + ", " + plain(place.lon, 5);
  let says = { plan: "Frames lie where planned: ", device: "Frames lie where you stood: ", typed: "Frames lie where you typed: " }[place.by] || "";
  says += spot;
  if (place.accuracy !== null) says += ", " + giveOrTake(place.accuracy) + (pinning !== null ? ", getting better: stand still" : "");
  says += ".";
  if (place.accuracy > said.near) says += " Rougher than the " + text(said.length, said.near) + " within which a stop is joined with the log.";
  const nearest = plan || said.stops[0], way = nearest && metresTo(nearest, place);
  if (plan && way.away > 1) says += " That is " + awayText(plan, place) + " of the plan.";
  if (way && way.away > 10000) says += " So far away? Latitude comes first, and west is negative.";
  byId("place").textContent = says;
}
function typedPlace() {
  const input = byId("typed"), fault = byId("typed-fault"), bare = input.value.trim();
  fault.textContent = "";
  input.removeAttribute("aria-invalid");
  if (!bare) return;
  const match = /^([-+]?\d{1,2}(?:\.\d+)?)°?\s*[,;\s]\s*([-+]?\d{1,3}(?:\.\d+)?)°?$/.exec(bare);
  const lat = match && Number(match[1]), lon = match && Number(match[2]);
  if (!match || Math.abs(lat) > 90 || Math.abs(lon) > 180) {
    fault.textContent = "Write latitude, then longitude, in degrees with a point: 42.01850, -94.05210";
    input.setAttribute("aria-invalid", "true");
    return;
  }
  stopPinning();
  current().place = { lat: lat, lon: lon, by: "typed", accuracy: null };
  keep(open);
  showPlace();
}

// ---- telling --------------------------------------------------------------------------------------------
function tell() {
  const ready = complete(), left = unplaced();
  byId("tally").textContent = ready.length ? countOf(ready.length, "stop") + " counted, " + countOf(rows(ready).length, "row") + "." : "Nothing is counted yet.";
  ["save", "copy", "share"].forEach(function (id) { byId(id).disabled = ready.length === 0; });
  const out = byId("left-out");
  out.hidden = left.length === 0;
  out.textContent = "";
  left.forEach(function (name) {
    const item = made("li", "Left out, for it has no position yet: "), link = made("a", "stop " + name);
    link.href = "#stop=" + encodeURIComponent(name);
    item.appendChild(link);
    out.appendChild(item);
  });
  if (open === null) { list(); return; }
  const stop = current();
  POSITIONS.forEach(function (position) { section(position).querySelector(".means").textContent = meaning(stop, position); });
  showResult(stop);
  showActive();
}
function notTold(stop) {
  const needed = POSITIONS.slice(Math.abs(said.ratio - 1) < 1e-3 ? 2 : 1).filter(function (position) { return !laid(stop.counted[position].frames).length; });
  const places = needed.map(function (position) { return said.positions[position].toLowerCase(); });
  if ((stop.ears.before !== null || stop.ears.behind !== null) && stop.ears.behind === null) places.push("ears behind it");
  return "All sources together can be told once it is counted " + places.join(" and ") + ".";
}
function showResult(stop) {
  const found = sources(stop), body = byId("result").querySelector("tbody");
  const names = { preharvest: "preharvest loss", header: "header loss", threshing: "threshing loss", total: "all sources" };
  body.textContent = "";
  Object.keys(names).forEach(function (source) {
    if (!found[source]) return;
    const row = made("tr", undefined, source === "total" ? "sum" : ""), head = made("th", names[source]);
    head.scope = "row";
    row.appendChild(head);
    row.appendChild(made("td", interval(found[source])));
    body.appendChild(row);
  });
  byId("not-told").textContent = found.total ? "" : notTold(stop);
  byId("result").hidden = !hasCounts(stop) || !said.mass;
}

// ---- handing out: the count sheet as lossmap map reads it ---------------------------------------------------
function complete() { return nameOrder().filter(function (name) { return counts.stops[name] && hasCounts(counts.stops[name]) && counts.stops[name].place; }); }
function unplaced() { return nameOrder().filter(function (name) { return counts.stops[name] && hasCounts(counts.stops[name]) && !counts.stops[name].place; }); }
function columns() {
  return ["stop", "latitude", "longitude", "position", "seeds", "grams"].concat(said.ears ? ["ears", "grams_per_ear"] : [],
    [counts.column, "frames", "time", "located_by", "accuracy_m", "note"]);
}
function rows(names) {
  const out = [];
  names.forEach(function (name) {
    const stop = counts.stops[name], place = stop.place;
    const all = { stop: name, latitude: place.lat.toFixed(7), longitude: place.lon.toFixed(7), frames: 1, located_by: place.by, accuracy_m: place.accuracy, note: stop.note };
    POSITIONS.forEach(function (position) {
      const found = stop.counted[position];
      laid(found.frames).forEach(function (value) {
        const row = Object.assign({ position: position, time: found.time }, all);
        row[found.by] = value; row[counts.column] = found.area;
        out.push(row);
      });
    });
    [["before", POSITIONS[0]], ["behind", POSITIONS[1]]].forEach(function (pair) {
      if (!said.ears || stop.ears[pair[0]] === null) return;
      const row = Object.assign({ position: pair[1], time: stop.ears.time, ears: stop.ears[pair[0]], grams_per_ear: stop.ears.grams }, all);
      row[counts.column] = stop.ears.area;
      out.push(row);
    });
  });
  return out;
}
// A spreadsheet takes a text that begins so for a formula.
const FORMULA = /^\s*[=+\-@\uff1d\uff0b\uff0d\uff20]/;
function cell(value, isWords) {
  if (value === null || value === undefined) return "";
  let bare = String(value).replace(/[\u0000-\u001f\u007f\u2028\u2029]+/g, " ").trim();
  if (isWords && FORMULA.test(bare)) bare = "'" + bare;
  return /[",;|]/.test(bare) ? '"' + bare.replace(/"/g, '""') + '"' : bare;
}
function csv() {
  const names = columns();
  return [names.join(",")].concat(rows(complete()).map(function (row) {
    return names.map(function (name) { return cell(row[name], name === "stop" || name === "note"); }).join(",");
  })).join("\n") + "\n";
}
function fileName() {
  const day = new Date(), two = function (number) { return String(number).padStart(2, "0"); };
  return "counts-" + said.file + "-" + day.getFullYear() + "-" + two(day.getMonth() + 1) + "-" + two(day.getDate()) + "-" + two(day.getHours()) + two(day.getMinutes()) + ".csv";
}
function download(content, name) {
  const link = made("a"), url = URL.createObjectURL(new Blob([content], { type: "text/csv" }));
  link.href = url;
  link.download = name;
  document.body.appendChild(link);
  link.click();
  link.remove();
  setTimeout(function () { URL.revokeObjectURL(url); }, 60000);
  return name;
}
function saveFile() {
  const name = download(csv(), fileName());
  byId("toml").textContent = 'path = "' + name + '"';
  byId("said").textContent = name + " went to this device's downloads. If it is not there, copy the text instead.";
  isUnsaved = false;
}
function showText() {
  const area = byId("text");
  byId("text-part").hidden = false;
  area.value = csv();
  area.focus();
  area.select();
  return area;
}
function copy() {
  const area = showText();
  isUnsaved = false;
  const fallen = function () { byId("said").textContent = document.execCommand("copy") ? "Copied." : "Select all of the text below and copy it."; };
  if (!navigator.clipboard) { fallen(); return; }
  navigator.clipboard.writeText(area.value).then(function () { byId("said").textContent = "Copied."; }, fallen);
}
function shared() { return new File([csv()], fileName(), { type: "text/csv" }); }
function canShare() {
  try { return Boolean(navigator.share && navigator.canShare && navigator.canShare({ files: [new File(["stop"], "counts.csv", { type: "text/csv" })] })); } catch (fault) { return false; }
}
function share() {
  navigator.share({ files: [shared()], title: "Counts: " + said.field }).then(function () {
    byId("said").textContent = "Handed on.";
    isUnsaved = false;
  }, function (fault) { if (fault.name !== "AbortError") byId("said").textContent = "It could not be handed on: save or copy it instead."; });
}

// ---- taking away: never at the first touch --------------------------------------------------------------------
function twice(button, what, how) {
  const first = button.textContent;
  let timer = null;
  const calm = function () { clearTimeout(timer); timer = null; button.textContent = first; };
  button.addEventListener("click", function () {
    if (timer === null) { button.textContent = what(); timer = setTimeout(calm, 6000); return; }
    calm();
    how();
  });
}
function drop() {
  const name = open;
  open = null;
  delete counts.stops[name];
  keep(name);
  location.hash = "#stops";
}
function clear() {
  const names = Object.keys(counts.stops);
  names.forEach(function (name) { delete counts.stops[name]; });
  try { localStorage.removeItem(SHELVED); } catch (fault) { notKept(); }
  isUnsaved = false;
  byId("text-part").hidden = true;
  byId("said").textContent = countOf(names.length, "stop") + " deleted.";
  open = null;
  tell();
  location.hash = "#stops";
}
// Counts of an earlier plan of this field are no part of this sheet, and are not lost with it either.
function earlier() {
  const out = byId("earlier"), items = out.querySelector("ul");
  try {
    Object.keys(localStorage).filter(function (shelf) { return shelf.startsWith(SHELF) && shelf !== SHELVED; }).forEach(function (shelf) {
      const old = shelved(shelf), number = Object.keys(old.stops).filter(function (name) { return hasCounts(old.stops[name]) && old.stops[name].place; }).length;
      if (!number) return;
      const item = made("li"), button = made("button", "Save those of " + countOf(number, "stop"));
      button.type = "button";
      button.addEventListener("click", function () {
        const mine = counts;
        counts = old;
        try { byId("said").textContent = download(csv(), fileName()) + " went to this device's downloads."; } finally { counts = mine; }
      });
      item.appendChild(button);
      items.appendChild(item);
    });
  } catch (fault) { return; }
  out.hidden = !items.children.length;
}

// ---- begin ----------------------------------------------------------------------------------------------------
load();
if (isKept) try { localStorage.setItem(SHELF + "probe", "1"); localStorage.removeItem(SHELF + "probe"); } catch (fault) { notKept(); }
byId("find").addEventListener("click", find);
byId("nearest").addEventListener("click", function () {
  byId("nearest").setAttribute("aria-pressed", String(byId("nearest").getAttribute("aria-pressed") !== "true"));
  list();
});
byId("own").addEventListener("click", ownStop);
byId("pin").addEventListener("click", pin);
byId("unpin").addEventListener("click", function () { stopPinning(); current().place = asPlanned(planned[open]); keep(open); showPlace(); });
byId("typed").addEventListener("change", typedPlace);
byId("name").addEventListener("change", renamed);
byId("note").addEventListener("input", function () { current().note = byId("note").value; keep(open); });
POSITIONS.forEach(function (position) {
  const part = section(position), area = part.querySelector(".area"), by = part.querySelector(".by");
  area.addEventListener("input", function () { typedArea(position, area); });
  by.addEventListener("change", function () { changedBy(position, by); });
});
if (said.ears) [["ear-area", "area", false], ["ears-before", "before", true], ["ears-behind", "behind", true], ["ear-grams", "grams", false]].forEach(function (one) {
  byId(one[0]).addEventListener("input", function () { typedEars(one[0], one[1], one[2]); });
});
document.querySelectorAll(".pad [data-add]").forEach(function (button) {
  button.addEventListener("click", function () { press(function (was) { return (was || 0) + Number(button.dataset.add); }); });
});
byId("none").addEventListener("click", function () { press(function () { return 0; }); });
byId("undo").addEventListener("click", undo);
byId("next").addEventListener("click", next);
byId("save").addEventListener("click", saveFile);
byId("copy").addEventListener("click", copy);
byId("share").hidden = !canShare();
byId("share").addEventListener("click", share);
byId("print").addEventListener("click", function () { window.print(); });
twice(byId("drop"), function () { return "Yes, delete this stop's counts"; }, drop);
twice(byId("clear"), function () { return "Yes, delete the counts of " + countOf(Object.keys(counts.stops).length, "stop"); }, clear);
window.addEventListener("hashchange", route);
window.addEventListener("beforeunload", function (event) { if (!isKept && isUnsaved) event.preventDefault(); });
window.addEventListener("storage", function (event) {
  if (event.key !== SHELVED) return;
  const mine = open !== null && counts.stops[open];
  load();
  if (mine) counts.stops[open] = mine;
  tell();
});
byId("toml").textContent = 'path = "' + fileName() + '"';
earlier();
route();
tell();
document.documentElement.dataset.ready = "yes";
})();
