"use strict";
Object.defineProperty(exports, "__esModule", { value: true });
exports.Empty = void 0;
var encoders_1 = require("./encoders");
Object.defineProperty(exports, "Empty", { enumerable: true, get: function () { return encoders_1.Empty; } });
