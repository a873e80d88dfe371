// The screens by the name that the address gives them.
export { about } from "./about.js";
export { alerts } from "./alerts.js";
export { check } from "./check.js";
export { entry } from "./entry.js";
export { do_ as do } from "./do.js";
export { join, waiting } from "./join.js";
export { moment } from "./moment.js";
export { more } from "./more.js";
export { outbox } from "./outbox.js";
export { strip } from "./strip.js";
export { walls } from "./walls.js";
