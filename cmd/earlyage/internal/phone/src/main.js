import { openEngine } from "./engine.js";
import { start } from "./app.js";

start(openEngine());
