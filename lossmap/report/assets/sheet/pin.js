// Where the frames of a stop lie.
let pinning = null, pinned = null, pinEnd = null;
function pin() {
  if (pinning !== null) { stopPinning(); showPlace(); return; }
  pinned = null;
  byId("place").textContent = "Looking for you: stand still by the frames ...";
  pinning = watch(take, function (fault, isFinal) {
    if (isFinal) stopPinning();
    if (!pinned) byId("place").textContent = fault;
    if (!pinned && isFinal) byId("type-part").open = true;
  });
  if (pinning === null) return;
  byId("pin").setAttribute("aria-pressed", "true");
  byId("pin").textContent = "Stop looking";
  pinEnd = setTimeout(function () { stopPinning(); showPlace(); }, 60000);
  // a device that stands still may have nothing new to tell to a second listener
  if (here && Date.now() - here.at < 5000) take(here);
}
function take(fix) {
  if (fix.accuracy > said.rough && !pinned) {
    byId("place").textContent = "Your place is known to " + text(said.length, fix.accuracy) + " only, too rough to use: wait in the open.";
    return;
  }
  if (pinned && pinned.accuracy <= fix.accuracy) return;
  pinned = fix;
  current().place = { lat: fix.lat, lon: fix.lon, by: "device", accuracy: Math.round(fix.accuracy * 10) / 10 };
  keep(open);
  if (fix.accuracy <= 3) stopPinning();
  showPlace();
}
function stopPinning() {
  if (pinning !== null) navigator.geolocation.clearWatch(pinning);
  clearTimeout(pinEnd);
  pinning = null;
  byId("pin").setAttribute("aria-pressed", "false");
  byId("pin").textContent = "Use where I stand";
}
function showPlace() {
  const place = current().place, plan = planned[open];
  byId("unpin").hidden = !plan || !place || place.by === "plan";
  if (!place) { byId("place").textContent = "No place yet: a stop needs one before it can be used."; return; }
  const spot = plain(place.lat, 5) + ", " + plain(place.lon, 5);
  let says = { plan: "Frames lie where planned: ", device: "Frames lie where you stood: ", typed: "Frames lie where you typed: " }[place.by] || "";
  says += spot;
  if (place.accuracy !== null) says += ", " + giveOrTake(place.accuracy) + (pinning !== null ? ", getting better: stand still" : "");
  says += ".";
  if (place.accuracy > said.near) says += " Rougher than the " + text(said.length, said.near) + " within which a stop is joined with the log.";
  const nearest = plan || said.stops[0], way = nearest && metresTo(nearest, place);
  if (plan && way.away > 1) says += " That is " + awayText(plan, place) + " of the plan.";
  if (way && way.away > 10000) says += " So far away? Latitude comes first, and west is negative.";
  byId("place").textContent = says;
}
function typedPlace() {
  const input = byId("typed"), bare = input.value.trim();
  const match = /^([-+]?\d{1,2}(?:\.\d+)?)°?\s*[,;\s]\s*([-+]?\d{1,3}(?:\.\d+)?)°?$/.exec(bare);
  const lat = match && Number(match[1]), lon = match && Number(match[2]);
  const cannotBe = bare !== "" && (!match || Math.abs(lat) > 90 || Math.abs(lon) > 180);
  if (faulty(input, byId("typed-fault"), cannotBe ? "Write latitude, then longitude, in degrees with a point: 42.01850, -94.05210" : "") || !bare) return;
  stopPinning();
  current().place = { lat: lat, lon: lon, by: "typed", accuracy: null };
  keep(open);
  showPlace();
}
