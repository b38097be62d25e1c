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

// ==== numbers
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
function written(value) { return value === null ? "" : String(value); }
// What is wrong with what was typed stands below it until it is mended; "" where nothing is.
function faulty(input, below, why) {
  if (why) input.setAttribute("aria-invalid", "true"); else input.removeAttribute("aria-invalid");
  below.textContent = why;
  return why !== "";
}
