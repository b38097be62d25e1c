// One stop, from its link to its last field.
let open = null;
function current() { return counts.stops[open] || (counts.stops[open] = blank(open)); }

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
      byId(pair[0]).value = written(stop.ears[pair[1]]);
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
function typedArea(position, input) {
  const value = read(input.value, false);
  const why = value > 0 ? "" : "The area of one frame must be a number above 0, in " + said.frame.unit + ".";
  if (faulty(input, section(position).querySelector(".fault"), why)) return;
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
  const input = byId(id), value = read(input.value, whole);
  const cannotBe = Number.isNaN(value) || ((part === "area" || (part === "grams" && value !== null)) && !(value > 0));
  if (faulty(input, byId("ears").querySelector(".fault"), cannotBe ? "“" + input.value + "” is no number that can be here." : "")) return;
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
