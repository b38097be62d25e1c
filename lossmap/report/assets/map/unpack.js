// Unpacking what the page carries of surfaces and log: after the map stands, in idle moments; at once when somebody asks.
// The browser's own inflate; an old browser keeps colours and key.
function idle(done) { if (window.requestIdleCallback) requestIdleCallback(done); else setTimeout(done, 30); }
function once(work) {
  let begun = null, hurry = false, wake = function () {};
  function rest() {
    return hurry ? Promise.resolve() : new Promise(function (done) { wake = done; idle(done); });
  }
  return function (now) {
    if (now) { hurry = true; wake(); }
    return begun || (begun = work(rest));
  };
}
function parsed() {
  return new Promise(function (done) {
    if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", done); else done();
  });
}
async function inflated(id) {
  await parsed();
  const signs = atob(document.getElementById(id).textContent), raw = new Uint8Array(signs.length);
  for (let i = 0; i < raw.length; i++) raw[i] = signs.charCodeAt(i);
  const inflate = new DecompressionStream("deflate-raw"), writer = inflate.writable.getWriter();
  writer.write(raw).catch(function () {});
  writer.close().catch(function () {});
  return new Uint8Array(await new Response(inflate.readable).arrayBuffer());
}
// what a guess missed: a column of low bytes, one of high ones, small numbers of either sign folded to small ones
function missed(loose, low, high) {
  const folded = loose[low] | (loose[high] << 8);
  return (folded >> 1) ^ -(folded & 1);
}
function overGrid(loose, at, rows, cols) {
  const count = rows * cols, codes = new Uint16Array(count), context = new Uint16Array(count);
  let known = 0;
  for (let i = 0; i < count; i++) known += (loose[at + (i >> 3)] >> (7 - (i & 7))) & 1;
  let low = at + ((count + 7) >> 3), high = low + known, seen = -1;   // seen: the last row in which a cell was known
  for (let row = 0, i = 0; row < rows; row++) for (let col = 0; col < cols; col++, i++) {
    const north = row ? context[i - cols] : col ? context[i - 1] : 0, west = col ? context[i - 1] : north;
    if (!((loose[at + (i >> 3)] >> (7 - (i & 7))) & 1)) {
      codes[i] = GAP;
      context[i] = seen === row ? west : row ? north : 0;
      continue;
    }
    seen = row;
    const corner = row ? (col ? context[i - cols - 1] : north) : west;
    const plane = west + north - corner, least = Math.min(west, north), most = Math.max(west, north);
    codes[i] = context[i] = (plane < least ? least : plane > most ? most : plane) + missed(loose, low++, high++);
  }
  return { codes: codes, end: high };
}
const unpackCells = once(async function (rest) {
  const loose = await inflated("map-cells"), keys = grid.layers.map(function (layer) { return layer.key; });
  if (grid.bounds.length) keys.push("low", "high");
  let at = 0;
  for (const key of keys) {
    await rest();
    const found = overGrid(loose, at, grid.rows, grid.cols);
    cells[key] = found.codes; at = found.end;
  }
});
const SLICE = 20000;
const unpackPoints = once(async function (rest) {
  const from = said.points, n = from.n, loose = await inflated("map-points");
  const found = { n: n, x: new Float32Array(n), y: new Float32Array(n), state: loose.subarray(0, n), code: new Uint16Array(n) };
  const east = new Int32Array(n), north = new Int32Array(n);
  let yields = 0, at = 5 * n, code = 0;
  for (let i = 0; i < n; i++) if (!loose[i]) yields++;
  for (let start = 0; start < n; start += SLICE) {
    const end = Math.min(n, start + SLICE);
    await rest();
    along(loose, n, n, start, end, east);
    along(loose, 3 * n, n, start, end, north);
    onWeb(east, north, start, end, found);
    for (let i = start; i < end; i++) {
      if (loose[i]) { found.code[i] = GAP; continue; }
      code = (code + missed(loose, at, at + yields)) & 65535; at++;
      found.code[i] = code;
    }
  }
  points = found;
});
// the next step is guessed to be the mean of the four before it
function along(loose, at, n, start, end, out) {
  for (let i = start; i < end; i++) {
    const last = i ? out[i - 1] : 0, step = i > 4 ? (last - out[i - 5] + 2) >> 2 : 0;
    out[i] = (last + step + missed(loose, at + i, at + n + i)) & 65535;
  }
}
// Mercator metres east and south of the box's corner: small numbers, so that single precision does
function onWeb(east, north, start, end, out) {
  const from = said.points, how = said.toWeb, a = how.x, b = how.y, half = how.half, step = from.step;
  const left = from.west - how.centre[0], down = from.south - how.centre[1], dx = how.origin[0] - said.box[0], dy = said.box[3] - how.origin[1];
  for (let i = start; i < end; i++) {
    const u = (left + step * east[i]) / half, v = (down + step * north[i]) / half;
    out.x[i] = dx + a[0] + v * (a[1] + v * (a[2] + v * a[3])) + u * (a[4] + v * (a[5] + v * a[6]) + u * (a[7] + v * a[8] + u * a[9]));
    out.y[i] = dy - b[0] - v * (b[1] + v * (b[2] + v * b[3])) - u * (b[4] + v * (b[5] + v * b[6]) + u * (b[7] + v * b[8] + u * b[9]));
  }
}
