// What the counts so far say, and handing them out as a list that lossmap map reads.
function tell() {
  const ready = complete(), left = unplaced();
  byId("tally").textContent = ready.length ? countOf(ready.length, "stop") + " counted, " + countOf(rows(ready).length, "row") + "." : "Nothing is counted yet.";
  ["save", "copy", "share"].forEach(function (id) { byId(id).disabled = ready.length === 0; });
  const out = byId("left-out");
  out.hidden = left.length === 0;
  out.textContent = "";
  left.forEach(function (name) {
    const item = made("li", "Left out, for it has no place yet: "), link = made("a", "stop " + name);
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

// ---- handing out: the count sheet as lossmap map reads it
function counted() { return nameOrder().filter(function (name) { return counts.stops[name] && hasCounts(counts.stops[name]); }); }
function complete() { return counted().filter(function (name) { return counts.stops[name].place; }); }
function unplaced() { return counted().filter(function (name) { return !counts.stops[name].place; }); }
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
