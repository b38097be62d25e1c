// Taking away: never at the first touch.
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
