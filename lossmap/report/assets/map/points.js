// The log's points on a canvas of our own: a marker each would never open.
const CIRCUMFERENCE = 2 * Math.PI * 6378137;
function rgb(colour) {
  const value = parseInt(colour.slice(1), 16);
  return [value >> 16, (value >> 8) & 255, value & 255];
}
function inksOf() {
  return said.points.levels.map(function (level) { return said.points.colours[classOf(level, said.points.edges)]; });
}
// scale: pixels for a Mercator metre; left, top: pixel of the box's corner in the north-west
function paint(context, width, height, scale, left, top, flagged, size) {
  context.clearRect(0, 0, width, height);
  if (flagged) paintFlagged(context, width, height, scale, left, top, size);
  else if (size > 8) paintBig(context, width, height, scale, left, top, size);
  else paintSmall(context, width, height, scale, left, top, Math.max(1, Math.round(size)));
}
// few big points are in sight: rectangles
function paintBig(context, width, height, scale, left, top, size) {
  const inks = inksOf(), half = size / 2, x = points.x, y = points.y;
  for (let i = 0; i < points.n; i++) {
    if (points.state[i]) continue;
    const px = x[i] * scale + left - half, py = y[i] * scale + top - half;
    if (px > width || py > height || px < -size || py < -size) continue;
    context.fillStyle = inks[points.code[i]];
    context.fillRect(px, py, size, size);
  }
}
// many small ones: pixels straight into one picture, several times quicker
function paintSmall(context, width, height, scale, left, top, size) {
  const image = context.createImageData(width, height), pixels = new Uint32Array(image.data.buffer);
  const inks = Uint32Array.from(inksOf(), function (colour) { const c = rgb(colour); return (255 << 24) | (c[2] << 16) | (c[1] << 8) | c[0]; });
  const x = points.x, y = points.y, state = points.state, code = points.code, west = left - size / 2 + 0.5, north = top - size / 2 + 0.5;
  for (let i = 0, n = points.n; i < n; i++) {
    if (state[i]) continue;
    const px = Math.floor(x[i] * scale + west), py = Math.floor(y[i] * scale + north);
    if (px <= -size || py <= -size || px >= width || py >= height) continue;
    const ink = inks[code[i]], right = Math.min(width, px + size), bottom = Math.min(height, py + size), first = Math.max(0, px);
    for (let down = Math.max(0, py); down < bottom; down++)
      for (let at = down * width + first, end = down * width + right; at < end; at++) pixels[at] = ink;
  }
  context.putImageData(image, 0, 0);
}
function isFlagged(i) { return points.state[i] > 0 && points.state[i] <= said.points.reasons.length; }
function paintFlagged(context, width, height, scale, left, top, size) {
  const arm = Math.max(2, size * 0.6);
  for (const pen of [["#ffffff", 3.5], ["#000000", 1.5]]) {
    context.strokeStyle = pen[0]; context.lineWidth = pen[1]; context.beginPath();
    for (let i = 0; i < points.n; i++) {
      if (!isFlagged(i)) continue;
      const px = points.x[i] * scale + left, py = points.y[i] * scale + top;
      if (px < -9 || py < -9 || px > width + 9 || py > height + 9) continue;
      context.moveTo(px - arm, py - arm); context.lineTo(px + arm, py + arm);
      context.moveTo(px + arm, py - arm); context.lineTo(px - arm, py + arm);
    }
    context.stroke();
  }
}
const PointsLayer = L.Layer.extend({
  options: { pane: "tilePane" },
  initialize: function (flagged) { this._flagged = flagged; },
  onAdd: function () {
    this._canvas = L.DomUtil.create("canvas", "leaflet-zoom-animated", this.getPane());
    this._canvas.style.zIndex = this._flagged ? 102 : 101;
    this._canvas.style.pointerEvents = "none";
    this._redraw();
  },
  onRemove: function () { this._canvas.remove(); },
  getEvents: function () { return { moveend: this._redraw, resize: this._redraw, zoomanim: this._follow }; },
  _redraw: function () {
    if (!points) return;
    const map = this._map, size = map.getSize(), sharp = Math.min(window.devicePixelRatio || 1, 2), canvas = this._canvas;
    this._corner = map.containerPointToLatLng([0, 0]);
    L.DomUtil.setPosition(canvas, map.containerPointToLayerPoint([0, 0]));
    canvas.width = Math.round(size.x * sharp); canvas.height = Math.round(size.y * sharp);
    canvas.style.width = size.x + "px"; canvas.style.height = size.y + "px";
    const zero = L.CRS.EPSG3857.project(this._corner);
    const scale = 256 * Math.pow(2, map.getZoom()) / CIRCUMFERENCE * sharp;
    const left = (said.box[0] - zero.x) * scale, top = (zero.y - said.box[3]) * scale;
    paint(canvas.getContext("2d"), canvas.width, canvas.height, scale, left, top, this._flagged, pointSize(scale, sharp));
  },
  _follow: function (event) {
    const map = this._map, scale = map.getZoomScale(event.zoom);
    L.DomUtil.setTransform(this._canvas, map._latLngToNewLayerPoint(this._corner, event.zoom, event.center), scale);
  }
});
function pointSize(scale, sharp) {
  const stretch = 1 / Math.cos(said.bounds[0][0] * Math.PI / 180);
  return Math.min(14 * sharp, Math.max(2 * sharp, 3.5 * stretch * scale));
}
