// Messages that reach this phone while the page is closed (RFC 8030): the browser
// is asked for a subscription, and the hub gets it.

const path = "/api/v1/push";

/** Whether this browser can be told of anything by push. */
const able = () => "PushManager" in window && "Notification" in window && !!navigator.serviceWorker;

export class Push {
  #keep;
  #ask;

  /** ask(method, path, body) asks the hub as this phone; keep(value) and kept() are
   * of this phone's storage. */
  constructor(ask, keep) {
    this.#ask = ask;
    this.#keep = keep;
  }

  /** none: the browser cannot; denied: the person said no to it; off; on. */
  async state() {
    if (!able()) return "none";
    if (Notification.permission === "denied") return "denied";
    const kept = await this.#keep.get();
    return kept && Notification.permission === "granted" ? "on" : "off";
  }

  /** Called from a press: the browser asks its person. */
  async on() {
    if (!able() || (await Notification.requestPermission()) !== "granted") return this.state();
    await this.#subscribe();
    return this.state();
  }

  async off() {
    const kept = await this.#keep.get(), reg = await navigator.serviceWorker.ready;
    await this.#keep.set(undefined);
    await (await reg.pushManager.getSubscription())?.unsubscribe();
    if (kept) await this.#ask("DELETE", path, { endpoint: kept.endpoint });
    return this.state();
  }

  /** Gives the hub the subscription that there is now, where it is another than the
   * hub was given: browsers exchange them by themselves. */
  async look() {
    const kept = await this.#keep.get();
    if (!kept || !able() || Notification.permission !== "granted") return;
    const reg = await navigator.serviceWorker.ready, now = await reg.pushManager.getSubscription();
    if (now?.endpoint !== kept.endpoint) await this.#subscribe();
  }

  async #subscribe() {
    const { key } = await this.#ask("GET", path + "/key"), reg = await navigator.serviceWorker.ready;
    let s = await reg.pushManager.getSubscription();
    if (s && base64url(s.options.applicationServerKey) !== key) {
      await s.unsubscribe(); // it was made for another hub's key
      s = null;
    }
    s ??= await reg.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: key });
    const { endpoint, keys } = s.toJSON();
    await this.#ask("POST", path, { endpoint, p256dh: keys.p256dh, auth: keys.auth });
    await this.#keep.set({ endpoint });
  }
}

function base64url(buffer) {
  return btoa(String.fromCharCode(...new Uint8Array(buffer ?? 0))).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");
}
