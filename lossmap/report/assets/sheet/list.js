// The list of stops.
function wanted() { return planned[open] ? planned[open].frames : said.most; }
function state(name) {
  const stop = counts.stops[name];
  if (!stop || !hasCounts(stop)) return "";
  const frames = sum(POSITIONS.map(function (position) { return laid(stop.counted[position].frames).length; }));
  const total = sources(stop).total;
  return (frames ? countOf(frames, "frame") : "Ears only") + (total ? ", loss " + interval(total) : "") + (stop.place ? "" : ", no place yet");
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
