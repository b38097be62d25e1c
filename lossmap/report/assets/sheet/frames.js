// The frames of each position of a stop, and the keys under the thumb.
let active = { position: said.start, frame: 0 }, undone = [];
function section(position) { return document.querySelector('.position[data-position="' + position + '"]'); }
function boxes(position) { return Math.max(wanted(), current().counted[position].frames.length); }
// What a frame holds, null where nothing was counted in it yet.
function frameAt(position, frame) {
  const value = current().counted[position].frames[frame];
  return value === undefined ? null : value;
}
function frameInput(position, frame) { return section(position).querySelectorAll(".frames input")[frame]; }
function drawFrames(position) {
  const box = section(position).querySelector(".frames"), found = current().counted[position];
  box.textContent = "";
  for (let frame = 0; frame < boxes(position); frame++) {
    const label = made("label", String(frame + 1)), input = made("input");
    input.inputMode = found.by === "grams" ? "decimal" : "numeric";
    input.autocomplete = "off";
    input.setAttribute("aria-label", said.positions[position] + ", frame " + (frame + 1) + (found.by === "grams" ? ", grams" : ", seeds"));
    input.value = written(frameAt(position, frame));
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
function typedFrame(position, frame, input) {
  const found = current().counted[position], value = read(input.value, found.by === "seeds");
  const why = Number.isNaN(value) ? "“" + input.value + "” is no count: write a number, 0 where there was nothing." : "";
  if (!faulty(input, section(position).querySelector(".fault"), why)) setFrame(position, frame, value);
}
function setFrame(position, frame, value) {
  const found = current().counted[position];
  lengthen(found.frames, frame);
  found.frames[frame] = value;
  while (found.frames.length && found.frames[found.frames.length - 1] === null) found.frames.pop();
  found.time = now();
  counts.usual[position] = { area: found.area, by: found.by };
  keep(open);
}
function lengthen(frames, last) { while (frames.length <= last) frames.push(null); }
function addFrame(position) {
  const frame = boxes(position);
  lengthen(current().counted[position].frames, frame);
  drawFrames(position);
  active = { position: position, frame: frame };
  showActive();
}
function firstBlank(position) {
  let frame = 0;
  while (frame < boxes(position) - 1 && frameAt(position, frame) !== null) frame++;
  active = { position: position, frame: frame };
}
function showActive() {
  document.querySelectorAll(".frames label").forEach(function (label) { label.classList.remove("now"); });
  const input = frameInput(active.position, active.frame);
  if (input) input.parentElement.classList.add("now");
  const value = frameAt(active.position, active.frame), says = byId("pad-says");
  says.textContent = "";
  says.appendChild(made("span", said.positions[active.position] + ", frame " + (active.frame + 1) + ": "));
  says.appendChild(made("strong", value === null ? "–" : String(value)));
  const last = active.frame >= boxes(active.position) - 1, at = POSITIONS.indexOf(active.position);
  byId("next").textContent = !last ? "Next frame" : at < POSITIONS.length - 1 ? "Next: " + said.positions[POSITIONS[at + 1]].toLowerCase() : "All stops";
  byId("undo").disabled = undone.length === 0;
}
// The keys: no keyboard comes up, and nothing has to be hit that is smaller than a thumb in a glove.
function press(change) {
  const input = frameInput(active.position, active.frame), was = frameAt(active.position, active.frame);
  undone.push({ position: active.position, frame: active.frame, was: was });
  input.value = written(change(was));
  typedFrame(active.position, active.frame, input);
  showActive();
}
function undo() {
  const last = undone.pop();
  if (!last) return;
  active = { position: last.position, frame: last.frame };
  const input = frameInput(last.position, last.frame);
  input.value = written(last.was);
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
