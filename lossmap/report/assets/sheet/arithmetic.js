// What counts amount to: the arithmetic of lossmap, from one stop alone.
const Z90 = 1.645;
// Seeds lie in clumps, and none found is not none there: the doubt upwards is at least that of one seed.
function lying(number, unit, clumped, mass) {
  const spread = clumped * number * number;
  return { value: number * unit, down: (number + spread) * unit * unit, up: (Math.max(number, 1) + spread) * unit * unit, mass: mass };
}
function lyingSeeds(stop, position) {
  const found = stop.counted[position], frames = laid(found.frames);
  if (!frames.length || !said.mass) return null;
  const weighed = found.by === "grams", seeds = sum(frames) / (weighed ? said.mass.grams / 1000 : 1);
  const area = frames.length * found.area * said.frame.m2;
  return lying(seeds, said.mass.grams / 100 / area, said.clumping / frames.length, weighed ? 0 : said.mass.sd);
}
function lyingEars(stop, part) {
  const ears = stop.ears;
  if (!said.ears || ears[part] === null) return null;
  return lying(ears[part], 10 * (ears.grams || said.ears.grams) / (ears.area * said.frame.m2), 0, ears.grams ? 0 : said.ears.doubt);
}
// Sum of weight times what lies at a position; null where one of them was not counted.
function summed(parts) {
  if (parts.some(function (part) { return part[1] === null; })) return null;
  let value = 0, down = 0, up = 0;
  const masses = {};
  parts.forEach(function (part) {
    const weight = part[0], one = part[1], square = weight * weight;
    value += weight * one.value;
    down += square * (weight > 0 ? one.down : one.up);
    up += square * (weight > 0 ? one.up : one.down);
    masses[one.mass] = (masses[one.mass] || 0) + weight * one.value;
  });
  // seeds of one stop are of one size: what their mass is off by is off everywhere
  const ofMass = sum(Object.keys(masses).map(function (sd) { return Math.pow(sd * masses[sd], 2); }));
  const below = Z90 * Math.sqrt(down + ofMass), above = Z90 * Math.sqrt(up + ofMass);
  if (parts.every(function (part) { return part[0] > 0; }) && value > 0)
    return { value: value, low: value * Math.exp(-below / value), high: Math.min(value * Math.exp(above / value), value + above / Z90 * 3) };
  if (value === 0 && parts.length === 1) return { value: 0, low: 0, high: 3 * Math.sqrt(up) };
  return { value: Math.max(value, 0), low: Math.max(value - below, 0), high: Math.max(value, 0) + above };
}
function sources(stop) {
  const seeds = POSITIONS.map(function (position) { return lyingSeeds(stop, position); });
  const before = lyingEars(stop, "before"), behind = lyingEars(stop, "behind"), hasEars = before !== null || behind !== null;
  const ears = function (parts) { return hasEars ? parts : []; }, ratio = said.ratio, isSpread = Math.abs(ratio - 1) < 1e-3;
  return {
    preharvest: summed([[1, seeds[0]]].concat(ears([[1, before]]))),
    header: summed([[1, seeds[1]], [-1, seeds[0]]].concat(ears([[1, behind], [-1, before]]))),
    threshing: summed([[1 / ratio, seeds[2]], [-1 / ratio, seeds[1]]]),
    total: summed((isSpread ? [[1, seeds[2]]] : [[1 - 1 / ratio, seeds[1]], [1 / ratio, seeds[2]]]).concat(ears([[1, behind]])))
  };
}
// How many times its low end the high end may be before a figure is rough, or a hint only (common practice, no source).
function trust(loss) {
  if (!loss.value) return "";
  const times = loss.high / loss.low;
  return times > 5 ? ", a hint only" : times > 2.5 ? ", rough" : ", fair";
}
function meaning(stop, position) {
  const found = stop.counted[position], frames = laid(found.frames), one = lyingSeeds(stop, position);
  if (!frames.length) return "";
  const number = sum(frames);
  const what = (found.by === "grams" ? plain(number, number % 1 ? 1 : 0) + " g" : countOf(number, "seed")) + " on " + countOf(frames.length, "frame");
  if (!one) return what + ".";
  const loss = summed([[1, one]]), missing = wanted() - frames.length;
  return what + ": " + interval(loss) + " lies here" + trust(loss) + (missing > 0 ? "; " + countOf(missing, "frame") + " to go." : ".");
}
