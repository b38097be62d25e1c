// Places, how far away they are, and where the device is.
const WINDS = ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"];
function metresTo(from, to) {
  const rad = Math.PI / 180, north = (to.lat - from.lat) * rad * 6371009;
  const east = (to.lon - from.lon) * rad * 6371009 * Math.cos((from.lat + to.lat) / 2 * rad);
  return { away: Math.hypot(north, east), wind: WINDS[Math.round((Math.atan2(east, north) / rad + 360) / 45) % 8] };
}
function awayText(from, to) {
  const way = metresTo(from, to);
  return text(said.length, way.away) + " " + way.wind;
}
function watch(heard, lost) {
  if (!navigator.geolocation) { lost("This viewer gives no place: type it."); return null; }
  return navigator.geolocation.watchPosition(function (fix) {
    heard({ lat: fix.coords.latitude, lon: fix.coords.longitude, accuracy: fix.coords.accuracy, at: Date.now() });
  }, function (fault) {
    lost(fault.code === 1 ? "The browser does not tell your place: allow location for this page, or type it." : "No place yet: step into the open, or type it.", fault.code === 1);
  }, { enableHighAccuracy: true, maximumAge: 0, timeout: 30000 });
}
function giveOrTake(accuracy) { return "give or take " + text(said.length, accuracy); }

let here = null, finding = null;
function find() {
  if (finding !== null) { stopFinding(""); return; }
  byId("found").textContent = "Looking for you ...";
  finding = watch(function (fix) {
    here = fix;
    if (pinning !== null) take(fix);
    byId("found").textContent = "You are found, " + giveOrTake(fix.accuracy) + ".";
    byId("nearest").disabled = false;
    showHere();
    list();
    away();
  }, function (fault, isFinal) {
    if (isFinal) stopFinding(fault); else byId("found").textContent = fault;
  });
  if (finding !== null) byId("find").setAttribute("aria-pressed", "true");
}
function stopFinding(why) {
  if (finding !== null) navigator.geolocation.clearWatch(finding);
  finding = null; here = null;
  byId("find").setAttribute("aria-pressed", "false");
  byId("found").textContent = why;
  byId("nearest").disabled = true;
  byId("nearest").setAttribute("aria-pressed", "false");
  showHere();
  list();
  away();
}
function showHere() {
  const dot = byId("here-dot"), draw = said.sketch;
  if (!dot || !draw) return;
  dot.setAttribute("visibility", here ? "visible" : "hidden");
  if (!here) return;
  const rad = Math.PI / 180, x = 6378137 * here.lon * rad, y = 6378137 * Math.log(Math.tan(Math.PI / 4 + here.lat * rad / 2));
  dot.setAttribute("cx", draw.margin + (x - draw.west) * draw.scale);
  dot.setAttribute("cy", draw.margin + (draw.north - y) * draw.scale);
}
