// The whole field, the place of who holds the phone, measuring, zones by their buttons; hands and keys.
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

// ---- hands and keys
document.body.dataset.by = "pointer";
document.addEventListener("pointerdown", function () { document.body.dataset.by = "pointer"; }, true);
document.addEventListener("keydown", function () { document.body.dataset.by = "keys"; }, true);
map.getContainer().addEventListener("keydown", function (event) {
  if (event.target !== map.getContainer()) return;
  if (event.key === "Enter") { event.preventDefault(); at(map.getCenter()); }
  if (event.key === "Escape" && measuring) measure.click();
});
map.on("click", function (event) { at(event.latlng); });
