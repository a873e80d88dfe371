// How places on a wall are called: by brace, corner or opening, and by station.
import { T } from "./words.js";

const near = 0.05; // m

export function placeName(place) {
  return T("phone.place." + place.kind, { name: place.name });
}

/** The name of a station: of what stands there, else the distance. */
export function stationName(app, wall, at) {
  const rank = (p) => ["brace", "corner", "opening", "start", "end"].indexOf(p.kind);
  const here = wall.places.filter((p) => Math.abs(p.at_m - at) <= near).sort((a, b) => rank(a) - rank(b))[0];
  return here ? placeName(here) : app.q("station", at);
}

/** A run: "brace b1 to brace b4, 0.0 to 6.0 m". */
export function stretchName(app, wall, from, to) {
  const [a, b] = [stationName(app, wall, from), stationName(app, wall, to)];
  const units = app.q("station", to), plain = app.q("station", from).split(" ")[0];
  const run = T("phone.run", { from: plain, to: units });
  if (a === app.q("station", from) && b === units) return run;
  return `${T("phone.run", { from: a, to: b })} (${run})`;
}
