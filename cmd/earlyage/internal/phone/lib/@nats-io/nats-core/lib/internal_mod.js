"use strict";
/*
 * Copyright 2024 The NATS Authors
 * Licensed under the Apache License, Version 2.0 (the "License");
 * you may not use this file except in compliance with the License.
 * You may obtain a copy of the License at
 *
 * http://www.apache.org/licenses/LICENSE-2.0
 *
 * Unless required by applicable law or agreed to in writing, software
 * distributed under the License is distributed on an "AS IS" BASIS,
 * WITHOUT WARRANTIES OR CONDITIONS OF ANY KIND, either express or implied.
 * See the License for the specific language governing permissions and
 * limitations under the License.
 */
var __createBinding = (this && this.__createBinding) || (Object.create ? (function(o, m, k, k2) {
    if (k2 === undefined) k2 = k;
    var desc = Object.getOwnPropertyDescriptor(m, k);
    if (!desc || ("get" in desc ? !m.__esModule : desc.writable || desc.configurable)) {
      desc = { enumerable: true, get: function() { return m[k]; } };
    }
    Object.defineProperty(o, k2, desc);
}) : (function(o, m, k, k2) {
    if (k2 === undefined) k2 = k;
    o[k2] = m[k];
}));
var __exportStar = (this && this.__exportStar) || function(m, exports) {
    for (var p in m) if (p !== "default" && !Object.prototype.hasOwnProperty.call(exports, p)) __createBinding(exports, m, p);
};
Object.defineProperty(exports, "__esModule", { value: true });
exports.Metric = exports.Bench = exports.writeAll = exports.readAll = exports.MAX_SIZE = exports.DenoBuffer = exports.State = exports.Parser = exports.Kind = exports.describe = exports.QueuedIteratorImpl = exports.usernamePasswordAuthenticator = exports.tokenAuthenticator = exports.nkeyAuthenticator = exports.jwtAuthenticator = exports.credsAuthenticator = exports.RequestOne = exports.parseOptions = exports.hasWsProtocol = exports.defaultOptions = exports.DEFAULT_MAX_RECONNECT_ATTEMPTS = exports.checkUnsupportedOption = exports.checkOptions = exports.buildAuthenticator = exports.DataBuffer = exports.MuxSubscription = exports.Heartbeat = exports.MsgHdrsImpl = exports.headers = exports.canonicalMIMEHeaderKey = exports.timeout = exports.SimpleMutex = exports.render = exports.nanos = exports.millis = exports.extend = exports.delay = exports.deferred = exports.deadline = exports.collect = exports.backoff = exports.ProtocolHandler = exports.INFO = exports.Connect = exports.setTransportFactory = exports.getResolveFn = exports.MsgImpl = exports.nuid = exports.Nuid = exports.NatsConnectionImpl = void 0;
exports.UserAuthenticationExpiredError = exports.TimeoutError = exports.RequestError = exports.ProtocolError = exports.PermissionViolationError = exports.NoRespondersError = exports.InvalidSubjectError = exports.InvalidOperationError = exports.InvalidArgumentError = exports.errors = exports.DrainingConnectionError = exports.ConnectionError = exports.ClosedConnectionError = exports.AuthorizationError = exports.wsUrlParseFn = exports.wsconnect = exports.Servers = exports.isIPV4OrHostname = exports.IdleHeartbeatMonitor = exports.Subscriptions = exports.SubscriptionImpl = exports.syncIterator = exports.Match = exports.createInbox = exports.protoLen = exports.extractProtocolMessage = exports.Empty = exports.parseSemVer = exports.Features = exports.Feature = exports.compare = exports.parseIP = exports.isIP = exports.ipV4 = exports.TE = exports.TD = void 0;
var nats_1 = require("./nats");
Object.defineProperty(exports, "NatsConnectionImpl", { enumerable: true, get: function () { return nats_1.NatsConnectionImpl; } });
var nuid_1 = require("./nuid");
Object.defineProperty(exports, "Nuid", { enumerable: true, get: function () { return nuid_1.Nuid; } });
Object.defineProperty(exports, "nuid", { enumerable: true, get: function () { return nuid_1.nuid; } });
var msg_1 = require("./msg");
Object.defineProperty(exports, "MsgImpl", { enumerable: true, get: function () { return msg_1.MsgImpl; } });
var transport_1 = require("./transport");
Object.defineProperty(exports, "getResolveFn", { enumerable: true, get: function () { return transport_1.getResolveFn; } });
Object.defineProperty(exports, "setTransportFactory", { enumerable: true, get: function () { return transport_1.setTransportFactory; } });
var protocol_1 = require("./protocol");
Object.defineProperty(exports, "Connect", { enumerable: true, get: function () { return protocol_1.Connect; } });
Object.defineProperty(exports, "INFO", { enumerable: true, get: function () { return protocol_1.INFO; } });
Object.defineProperty(exports, "ProtocolHandler", { enumerable: true, get: function () { return protocol_1.ProtocolHandler; } });
var util_1 = require("./util");
Object.defineProperty(exports, "backoff", { enumerable: true, get: function () { return util_1.backoff; } });
Object.defineProperty(exports, "collect", { enumerable: true, get: function () { return util_1.collect; } });
Object.defineProperty(exports, "deadline", { enumerable: true, get: function () { return util_1.deadline; } });
Object.defineProperty(exports, "deferred", { enumerable: true, get: function () { return util_1.deferred; } });
Object.defineProperty(exports, "delay", { enumerable: true, get: function () { return util_1.delay; } });
Object.defineProperty(exports, "extend", { enumerable: true, get: function () { return util_1.extend; } });
Object.defineProperty(exports, "millis", { enumerable: true, get: function () { return util_1.millis; } });
Object.defineProperty(exports, "nanos", { enumerable: true, get: function () { return util_1.nanos; } });
Object.defineProperty(exports, "render", { enumerable: true, get: function () { return util_1.render; } });
Object.defineProperty(exports, "SimpleMutex", { enumerable: true, get: function () { return util_1.SimpleMutex; } });
Object.defineProperty(exports, "timeout", { enumerable: true, get: function () { return util_1.timeout; } });
var headers_1 = require("./headers");
Object.defineProperty(exports, "canonicalMIMEHeaderKey", { enumerable: true, get: function () { return headers_1.canonicalMIMEHeaderKey; } });
Object.defineProperty(exports, "headers", { enumerable: true, get: function () { return headers_1.headers; } });
Object.defineProperty(exports, "MsgHdrsImpl", { enumerable: true, get: function () { return headers_1.MsgHdrsImpl; } });
var heartbeats_1 = require("./heartbeats");
Object.defineProperty(exports, "Heartbeat", { enumerable: true, get: function () { return heartbeats_1.Heartbeat; } });
var muxsubscription_1 = require("./muxsubscription");
Object.defineProperty(exports, "MuxSubscription", { enumerable: true, get: function () { return muxsubscription_1.MuxSubscription; } });
var databuffer_1 = require("./databuffer");
Object.defineProperty(exports, "DataBuffer", { enumerable: true, get: function () { return databuffer_1.DataBuffer; } });
var options_1 = require("./options");
Object.defineProperty(exports, "buildAuthenticator", { enumerable: true, get: function () { return options_1.buildAuthenticator; } });
Object.defineProperty(exports, "checkOptions", { enumerable: true, get: function () { return options_1.checkOptions; } });
Object.defineProperty(exports, "checkUnsupportedOption", { enumerable: true, get: function () { return options_1.checkUnsupportedOption; } });
Object.defineProperty(exports, "DEFAULT_MAX_RECONNECT_ATTEMPTS", { enumerable: true, get: function () { return options_1.DEFAULT_MAX_RECONNECT_ATTEMPTS; } });
Object.defineProperty(exports, "defaultOptions", { enumerable: true, get: function () { return options_1.defaultOptions; } });
Object.defineProperty(exports, "hasWsProtocol", { enumerable: true, get: function () { return options_1.hasWsProtocol; } });
Object.defineProperty(exports, "parseOptions", { enumerable: true, get: function () { return options_1.parseOptions; } });
var request_1 = require("./request");
Object.defineProperty(exports, "RequestOne", { enumerable: true, get: function () { return request_1.RequestOne; } });
var authenticator_1 = require("./authenticator");
Object.defineProperty(exports, "credsAuthenticator", { enumerable: true, get: function () { return authenticator_1.credsAuthenticator; } });
Object.defineProperty(exports, "jwtAuthenticator", { enumerable: true, get: function () { return authenticator_1.jwtAuthenticator; } });
Object.defineProperty(exports, "nkeyAuthenticator", { enumerable: true, get: function () { return authenticator_1.nkeyAuthenticator; } });
Object.defineProperty(exports, "tokenAuthenticator", { enumerable: true, get: function () { return authenticator_1.tokenAuthenticator; } });
Object.defineProperty(exports, "usernamePasswordAuthenticator", { enumerable: true, get: function () { return authenticator_1.usernamePasswordAuthenticator; } });
__exportStar(require("./nkeys"), exports);
var queued_iterator_1 = require("./queued_iterator");
Object.defineProperty(exports, "QueuedIteratorImpl", { enumerable: true, get: function () { return queued_iterator_1.QueuedIteratorImpl; } });
var parser_1 = require("./parser");
Object.defineProperty(exports, "describe", { enumerable: true, get: function () { return parser_1.describe; } });
Object.defineProperty(exports, "Kind", { enumerable: true, get: function () { return parser_1.Kind; } });
Object.defineProperty(exports, "Parser", { enumerable: true, get: function () { return parser_1.Parser; } });
Object.defineProperty(exports, "State", { enumerable: true, get: function () { return parser_1.State; } });
var denobuffer_1 = require("./denobuffer");
Object.defineProperty(exports, "DenoBuffer", { enumerable: true, get: function () { return denobuffer_1.DenoBuffer; } });
Object.defineProperty(exports, "MAX_SIZE", { enumerable: true, get: function () { return denobuffer_1.MAX_SIZE; } });
Object.defineProperty(exports, "readAll", { enumerable: true, get: function () { return denobuffer_1.readAll; } });
Object.defineProperty(exports, "writeAll", { enumerable: true, get: function () { return denobuffer_1.writeAll; } });
var bench_1 = require("./bench");
Object.defineProperty(exports, "Bench", { enumerable: true, get: function () { return bench_1.Bench; } });
Object.defineProperty(exports, "Metric", { enumerable: true, get: function () { return bench_1.Metric; } });
var encoders_1 = require("./encoders");
Object.defineProperty(exports, "TD", { enumerable: true, get: function () { return encoders_1.TD; } });
Object.defineProperty(exports, "TE", { enumerable: true, get: function () { return encoders_1.TE; } });
var ipparser_1 = require("./ipparser");
Object.defineProperty(exports, "ipV4", { enumerable: true, get: function () { return ipparser_1.ipV4; } });
Object.defineProperty(exports, "isIP", { enumerable: true, get: function () { return ipparser_1.isIP; } });
Object.defineProperty(exports, "parseIP", { enumerable: true, get: function () { return ipparser_1.parseIP; } });
var semver_1 = require("./semver");
Object.defineProperty(exports, "compare", { enumerable: true, get: function () { return semver_1.compare; } });
Object.defineProperty(exports, "Feature", { enumerable: true, get: function () { return semver_1.Feature; } });
Object.defineProperty(exports, "Features", { enumerable: true, get: function () { return semver_1.Features; } });
Object.defineProperty(exports, "parseSemVer", { enumerable: true, get: function () { return semver_1.parseSemVer; } });
var types_1 = require("./types");
Object.defineProperty(exports, "Empty", { enumerable: true, get: function () { return types_1.Empty; } });
var transport_2 = require("./transport");
Object.defineProperty(exports, "extractProtocolMessage", { enumerable: true, get: function () { return transport_2.extractProtocolMessage; } });
Object.defineProperty(exports, "protoLen", { enumerable: true, get: function () { return transport_2.protoLen; } });
var core_1 = require("./core");
Object.defineProperty(exports, "createInbox", { enumerable: true, get: function () { return core_1.createInbox; } });
Object.defineProperty(exports, "Match", { enumerable: true, get: function () { return core_1.Match; } });
Object.defineProperty(exports, "syncIterator", { enumerable: true, get: function () { return core_1.syncIterator; } });
var protocol_2 = require("./protocol");
Object.defineProperty(exports, "SubscriptionImpl", { enumerable: true, get: function () { return protocol_2.SubscriptionImpl; } });
Object.defineProperty(exports, "Subscriptions", { enumerable: true, get: function () { return protocol_2.Subscriptions; } });
var idleheartbeat_monitor_1 = require("./idleheartbeat_monitor");
Object.defineProperty(exports, "IdleHeartbeatMonitor", { enumerable: true, get: function () { return idleheartbeat_monitor_1.IdleHeartbeatMonitor; } });
var servers_1 = require("./servers");
Object.defineProperty(exports, "isIPV4OrHostname", { enumerable: true, get: function () { return servers_1.isIPV4OrHostname; } });
Object.defineProperty(exports, "Servers", { enumerable: true, get: function () { return servers_1.Servers; } });
var ws_transport_1 = require("./ws_transport");
Object.defineProperty(exports, "wsconnect", { enumerable: true, get: function () { return ws_transport_1.wsconnect; } });
Object.defineProperty(exports, "wsUrlParseFn", { enumerable: true, get: function () { return ws_transport_1.wsUrlParseFn; } });
var errors_1 = require("./errors");
Object.defineProperty(exports, "AuthorizationError", { enumerable: true, get: function () { return errors_1.AuthorizationError; } });
Object.defineProperty(exports, "ClosedConnectionError", { enumerable: true, get: function () { return errors_1.ClosedConnectionError; } });
Object.defineProperty(exports, "ConnectionError", { enumerable: true, get: function () { return errors_1.ConnectionError; } });
Object.defineProperty(exports, "DrainingConnectionError", { enumerable: true, get: function () { return errors_1.DrainingConnectionError; } });
Object.defineProperty(exports, "errors", { enumerable: true, get: function () { return errors_1.errors; } });
Object.defineProperty(exports, "InvalidArgumentError", { enumerable: true, get: function () { return errors_1.InvalidArgumentError; } });
Object.defineProperty(exports, "InvalidOperationError", { enumerable: true, get: function () { return errors_1.InvalidOperationError; } });
Object.defineProperty(exports, "InvalidSubjectError", { enumerable: true, get: function () { return errors_1.InvalidSubjectError; } });
Object.defineProperty(exports, "NoRespondersError", { enumerable: true, get: function () { return errors_1.NoRespondersError; } });
Object.defineProperty(exports, "PermissionViolationError", { enumerable: true, get: function () { return errors_1.PermissionViolationError; } });
Object.defineProperty(exports, "ProtocolError", { enumerable: true, get: function () { return errors_1.ProtocolError; } });
Object.defineProperty(exports, "RequestError", { enumerable: true, get: function () { return errors_1.RequestError; } });
Object.defineProperty(exports, "TimeoutError", { enumerable: true, get: function () { return errors_1.TimeoutError; } });
Object.defineProperty(exports, "UserAuthenticationExpiredError", { enumerable: true, get: function () { return errors_1.UserAuthenticationExpiredError; } });
