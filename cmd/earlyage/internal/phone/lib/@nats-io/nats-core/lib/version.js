"use strict";
Object.defineProperty(exports, "__esModule", { value: true });
exports.version = void 0;
// This file is generated - do not edit
exports.version = "3.4.0";
