// Sends what waits, in one tab at a time: the one that holds the lock has the link
// to the hub. A crash at any step loses nothing and doubles nothing: an entry's
// message id is on the disk before it is sent, and only the hub's receipt ends
// the waiting.
import { bytes, connect } from "./link.js";
import { receipt } from "./book.js";
import { sourceOf, subjectOf } from "./envelope.js";

const window_ = 32; // entries that are under way at once; the server takes them in their order
const pauseRefused = 4; // times the longest pause, where the hub does not know the phone
const slowest = 2; // bytes in a ms of the slowest link that still carries
const lookAgain = 10 * 60_000; // ms between looks when nothing is to be done
const askFirst = 2_000, askMost = 5 * 60_000; // ms to wait for a receipt of what was sent

export class Drain {
  #wake = signal();
  #link = null;

  /** host: store, clock, signer, device, url, wait, pause, and what it is told: up(bool),
   * trouble(code, bool), changed(), stale(), heard(alert), told(message), contact(at, trip),
   * keepClock(), forget(). */
  constructor(host) {
    this.host = host;
  }

  /** Works until stopped. */
  async run(stop) {
    stop.addEventListener("abort", () => this.wake());
    for (let pause = 0; !stop.aborted; ) {
      const refused = await this.#session(stop, () => (pause = 0));
      if (stop.aborted) return;
      const [first, most] = this.host.pause;
      pause = refused ? most * pauseRefused : Math.min(pause ? pause * 2 : first, most);
      await new Promise((r) => setTimeout(r, first / 2)); // however often it is woken
      await this.#rest(pause * (0.75 + Math.random() / 2));
    }
  }

  /** Looks now. */
  wake() {
    this.#wake.ring();
  }

  /** Ends the connection, so that a new one is made. */
  drop() {
    this.#link?.close();
  }

  async #rest(ms) {
    await Promise.race([this.#wake.wait(), new Promise((r) => setTimeout(r, ms))]);
  }

  /** One connection, to its end. True: the hub does not know this phone. */
  async #session(stop, good) {
    const { host } = this;
    let link;
    try {
      this.#wake.clear();
      link = this.#link = await connect({ url: host.url, seed: host.signer.seed, device: host.device, wait: host.wait });
      host.trouble("not-admitted", false);
      const { site, device } = host.device;
      link.listen(`receipt.${site}.${device}`, (r) => this.#hear(r));
      link.listen(`alert.${site}.>`, (a) => host.heard(a));
      link.listen(`told.${site}.${device}`, (m) => host.told(m));
      link.closed.then(() => this.wake());
      await this.#work(link, stop, good);
      return false;
    } catch (err) {
      if (err.code === "full" || err.code === "damaged") host.trouble(err.code, true);
      if (err.code === "not-admitted") host.trouble("not-admitted", true);
      else if (!err.code) console.warn("drain", err);
      return err.code === "not-admitted";
    } finally {
      this.#link = null;
      host.up(false);
      link?.close();
    }
  }

  async #work(link, stop, good) {
    let open = true;
    link.closed.then(() => (open = false));
    for (let asks = 0; open && !stop.aborted; ) {
      this.#wake.clear();
      const left = await this.#drain(link, good);
      asks = left ? asks + 1 : 0;
      const pause = left ? Math.min(askFirst * 2 ** (asks - 1), askMost) : lookAgain;
      if (open && !stop.aborted) await this.#rest(pause);
    }
  }

  /** Asks for the receipt, then sends all that waits. True: something is left that
   * the hub has not said to have. */
  async #drain(link, good) {
    const { host } = this;
    if (!(await this.#ask(link))) return true;
    host.up(true);
    good();
    const skip = new Set();
    for (;;) {
      if (host.clock.look()) await host.keepClock();
      const entered = { entered: Date.now(), offset: host.clock.offset(), by: host.device.person };
      const list = await host.store.plan(window_, skip, entered);
      if (list.length === 0) break;
      await this.#ship(link, list, skip);
      host.changed();
    }
    host.trouble("damaged", false);
    return (await host.store.open()) > 0;
  }

  /** False: no hub has ever spoken to this phone, so that its numbers could be
   * another storage's too. */
  async #ask(link) {
    const { host } = this;
    // An answer that a newer receipt has overtaken says less too. When it is asked
    // again after that, and no receipt came meanwhile, the hub has lost something.
    for (let fell = null; ; ) {
      const answer = await link.ask();
      host.trouble("no-hub", !answer);
      if (!answer) {
        host.up(true);
        return (await host.store.kept("contact"))?.known ?? false;
      }
      const r = receipt(answer.receipt);
      if (!Number.isNaN(r.at) && answer.trip < 60_000) await host.contact(r.at, answer.trip);
      ({ fell } = await this.#settle(r, fell));
      if (!fell) return true;
    }
  }

  async #settle(r, fell) {
    const told = await this.host.store.settle(r, Date.now(), fell);
    await this.host.forget();
    this.host.changed();
    return told;
  }

  /** A receipt that the hub published by itself. */
  async #hear(r) {
    try {
      if (r.source !== sourceOf(this.host.device)) return;
      const { again, fell } = await this.#settle(receipt(r), null);
      if (again || fell) this.wake(); // fell: it is old, or the hub is; to be asked
      this.host.stale();
    } catch (err) {
      this.host.trouble(err.code ?? "damaged", true); // it comes again when it is asked for
    }
  }

  async #ship(link, list, skip) {
    const answers = await Promise.allSettled(await this.#publish(link, list));
    const acked = [], stuck = [];
    answers.forEach((a, i) => {
      if (a.value?.seq) acked.push([list[i].number, a.value.seq]);
      if (a.value?.stuck) stuck.push([list[i].number, a.value.stuck]);
    });
    await this.host.store.acked(acked, Date.now());
    await this.host.store.stuck(stuck);
    for (const [number] of stuck) skip.add(number);
    const lost = answers.find((a) => a.status === "rejected");
    if (lost) throw lost.reason;
  }

  /** The publications under way, in order. */
  async #publish(link, list) {
    const { site } = this.host.device;
    const posts = [];
    for (const e of list) {
      const body = bytes(e.body);
      posts.push({ subject: subjectOf(site, e.wall, e.kind), body, msg: e.msg, signature: await this.host.signer.sign(body) });
    }
    // Each has the time that those before it take on a slow link.
    let before = 0;
    return posts.map((p) => link.publish(p, (before += p.body.length) / slowest));
  }
}

/** A bell that stays rung until it is cleared. */
function signal() {
  let rung = false, ring = () => {};
  return {
    ring: () => { rung = true; ring(); },
    clear: () => (rung = false),
    wait: () => new Promise((r) => (rung ? r() : (ring = r))),
  };
}
