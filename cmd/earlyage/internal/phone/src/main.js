import { openEngine } from "./engine.js";
import { start } from "./app.js";

// Under this name whoever helps with a phone finds what it keeps.
start(openEngine()).then((app) => (window.earlyage = app));
