import { openEngine } from "./engine.js";

window.earlyage = openEngine();
