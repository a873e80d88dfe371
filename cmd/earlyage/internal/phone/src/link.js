// One connection to the hub's server over a websocket. It never buffers and never
// comes back by itself: what is asked on a lost one is lost, and whoever asked knows.
import { headers, nkeyAuthenticator, wsconnect } from "@nats-io/nats-core";
import { EngineError } from "./error.js";

const encoder = new TextEncoder();
const decoder = new TextDecoder();

/** A connection as a device. wait is how long each answer is waited for, ms. */
export async function connect({ url, seed, device, wait }) {
  let nc;
  try {
    nc = await wsconnect({
      servers: url, name: "phone", authenticator: nkeyAuthenticator(seed), inboxPrefix: `_INBOX.${device.site}.${device.device}`,
      reconnect: false, ignoreServerUpdates: true, pingInterval: 15_000, maxPingOut: 2, timeout: wait, noAsyncTraces: true,
    });
  } catch (err) {
    if (/authorization|authentication/i.test(`${err.name} ${err.message}`)) throw new EngineError("not-admitted", "the hub does not know this phone's key", err);
    throw new EngineError("no-link", `connect: ${err.message}`, err);
  }
  return new Link(nc, device, wait);
}

export class Link {
  #nc;
  #device;
  #wait;

  constructor(nc, device, wait) {
    this.#nc = nc;
    this.#device = device;
    this.#wait = wait;
    this.closed = nc.closed();
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
   * stream's sequence, or why the server will never take it. */
  async publish({ subject, body, msg, signature }) {
    const h = headers();
    h.set("Nats-Msg-Id", msg);
    h.set("Earlyage-Signature", signature);
    let m;
    try {
      m = await this.#nc.request(subject, body, { timeout: this.#wait, headers: h });
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

  async close() {
    await this.#nc.close().catch(() => {});
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
