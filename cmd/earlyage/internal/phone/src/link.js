// One connection to the hub's server over a websocket. It never buffers and never
// comes back by itself: what is asked on a lost one is lost, and whoever asked knows.
import { headers, nkeyAuthenticator, wsconnect } from "@nats-io/nats-core";
import { EngineError } from "./error.js";

const encoder = new TextEncoder();
const decoder = new TextDecoder();

/** A connection as a device. wait is how long each answer is waited for, ms. */
export async function connect({ url, seed, device, wait }) {
  // The library waits for ever for a server whose connection ends before its
  // greeting, and at its own end for bytes that nobody takes; so the socket is
  // watched, and closed, here.
  const socket = new WebSocket(url);
  const ended = new Promise((r) => socket.addEventListener("close", () => r()));
  let timer;
  const late = new Promise((_, reject) => {
    timer = setTimeout(() => reject(new Error("no greeting in time")), wait);
    // Why the server ended it was said before, and is still being read.
    ended.then(() => setTimeout(() => reject(new Error("the connection ended")), 250));
  });
  late.catch(() => {}); // once it is connected nobody waits for it
  const opening = wsconnect({
    wsFactory: async () => ({ socket, encrypted: url.startsWith("wss:") }),
    servers: url, name: "phone", authenticator: nkeyAuthenticator(seed), inboxPrefix: `_INBOX.${device.site}.${device.device}`,
    reconnect: false, ignoreServerUpdates: true, pingInterval: 15_000, maxPingOut: 2, timeout: wait, noAsyncTraces: true,
  });
  opening.catch(() => {});
  try {
    return new Link(await Promise.race([opening, late]), socket, ended, device, wait);
  } catch (err) {
    socket.close();
    if (/authorization|authentication/i.test(`${err.name} ${err.message}`)) throw new EngineError("not-admitted", "the hub does not know this phone's key", err);
    throw new EngineError("no-link", `connect: ${err.message}`, err);
  } finally {
    clearTimeout(timer);
  }
}

export class Link {
  #nc;
  #device;
  #wait;

  #socket;

  constructor(nc, socket, ended, device, wait) {
    this.#nc = nc;
    this.#socket = socket;
    this.#device = device;
    this.#wait = wait;
    this.closed = Promise.race([nc.closed(), ended]);
  }

  /** The hub's receipt as JSON, and how long it took in ms; null: no hub answers. */
  async ask() {
    const asked = performance.now();
    let m;
    try {
      m = await this.#nc.request(`ask.receipt.${this.#device.site}.${this.#device.device}`, undefined, { timeout: this.#wait });
    } catch (err) {
      if (isNoResponders(err)) return null;
      throw lost("ask for the receipt", err);
    }
    const r = parse(m);
    return !r || r.error ? null : { receipt: r, trip: performance.now() - asked };
  }

  /** Publishes one body and waits until it is on the server's disk. It returns the
   * stream's sequence, or why the server will never take it. longer: ms more than usual. */
  async publish({ subject, body, msg, signature }, longer) {
    const h = headers();
    h.set("Nats-Msg-Id", msg);
    h.set("Earlyage-Signature", signature);
    let m;
    try {
      m = await this.#nc.request(subject, body, { timeout: this.#wait + longer, headers: h });
    } catch (err) {
      if (isDenied(err)) return { stuck: "this phone may not say it" };
      throw lost(`publish ${subject}`, err);
    }
    const ack = parse(m);
    if (ack?.seq) return { seq: ack.seq };
    const e = ack?.error;
    if (!e || e.code >= 500 || e.code === 429) throw lost(`publish ${subject}`, new Error(e?.description ?? "an answer that is no acknowledgement"));
    return { stuck: e.description || "the server does not take it" };
  }

  /** Calls back with what is published on a subject, as JSON. */
  listen(subject, hear) {
    this.#nc.subscribe(subject, {
      callback: (err, m) => {
        const v = err ? undefined : parse(m);
        if (v) hear(v);
      },
    });
  }

  close() {
    this.#nc.close().catch(() => {});
    this.#socket.close();
  }
}

export const bytes = (text) => encoder.encode(text);

function parse(m) {
  try {
    return JSON.parse(decoder.decode(m.data));
  } catch {
    return undefined;
  }
}

const chain = (err) => (err ? [err, ...chain(err.cause)] : []);
const isNoResponders = (err) => chain(err).some((e) => e.name === "NoRespondersError" || e.isNoResponders?.());
const isDenied = (err) => chain(err).some((e) => e.name === "PermissionViolationError");

const lost = (what, err) => new EngineError("no-link", `${what}: ${err.message}`, err);
