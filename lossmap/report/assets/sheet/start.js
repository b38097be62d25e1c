// Every key and field with what it does, and the page as its address asks for it.
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
