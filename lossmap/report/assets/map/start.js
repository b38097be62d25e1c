// North mark, boxes and layers in their first state, and then what may wait.
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
