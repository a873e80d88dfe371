// What is asked of the hub over HTTP: to join, and the snapshot of the site.
import { EngineError } from "./error.js";
import { Signer } from "./sign.js";

const patience = 15_000; // ms

export class Hub {
  #base;
  #token = "";

  constructor(base) {
    this.#base = base;
  }

  /** Enrols a key with a code. */
  async join({ code, seed, key, name }) {
    const proof = new Signer(seed).prove("earlyage join " + code);
    const q = { code, key, proof };
    if (name) q.device = name;
    const r = await this.#send("POST", "/api/v1/join", q);
    if (r.ok) return r.json();
    const p = await problem(r);
    if (p.code === "no-invitation") throw new EngineError("code", p.detail);
    throw new EngineError(r.status >= 500 || r.status === 429 ? "no-link" : "refused", p.detail);
  }

  /** Asks as a device, and logs it in where that is wanted; returns JSON, or null
   * where the hub has nothing to say. */
  async ask(method, path, body, joined, signer) {
    let r = await this.#send(method, path, body);
    if (r.status === 401) {
      await this.#login(joined, signer);
      r = await this.#send(method, path, body);
    }
    if (r.ok) return r.status === 204 ? null : r.json();
    throw new EngineError(r.status === 401 ? "not-admitted" : r.status >= 500 ? "no-link" : "refused", (await problem(r)).detail);
  }

  /** Gets JSON as a device. */
  get(path, joined, signer) {
    return this.ask("GET", path, undefined, joined, signer);
  }

  async #login(joined, signer) {
    const { nonce } = await (await this.#send("GET", "/api/v1/nonce")).json();
    const origin = new URL(this.#base, location.href).origin;
    const r = await this.#send("POST", "/api/v1/session", {
      site: joined.site, device: joined.device, nonce, signature: signer.prove(`earlyage session ${nonce} ${origin}`),
    });
    if (!r.ok) throw new EngineError(r.status === 401 || r.status === 403 ? "not-admitted" : "no-link", (await problem(r)).detail);
    this.#token = (await r.json()).token;
  }

  async #send(method, path, body) {
    const h = {};
    if (body) h["Content-Type"] = "application/json";
    if (this.#token) h.Authorization = "Bearer " + this.#token;
    try {
      return await fetch(this.#base + path, {
        method, headers: h, body: body && JSON.stringify(body), signal: AbortSignal.timeout(patience), cache: "no-store", redirect: "error",
      });
    } catch (err) {
      throw new EngineError("no-link", `${method} ${path}: ${err.message}`, err);
    }
  }
}

async function problem(r) {
  const p = await r.json().catch(() => ({}));
  return { code: p.code ?? "", detail: p.detail || p.title || `the hub answers ${r.status}` };
}
