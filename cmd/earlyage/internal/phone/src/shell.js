// The service worker that keeps the page itself on the phone, and how a newer page
// takes its place: when the person says so, never in the middle of a pour.
export class Shell {
  waiting = false;
  #changed;
  #reg = null;

  constructor(changed) {
    this.#changed = changed;
  }

  async open() {
    if (!navigator.serviceWorker) return;
    try {
      this.#reg = await navigator.serviceWorker.register("/phone/sw.js", { scope: "/phone", updateViaCache: "none" });
    } catch (err) {
      console.warn("service worker", err.message); // without a signal there may be none yet; the page works
      return;
    }
    const look = () => {
      this.waiting = !!this.#reg.waiting && !!navigator.serviceWorker.controller;
      this.#changed();
    };
    const follow = (w) => w?.addEventListener("statechange", look);
    follow(this.#reg.installing);
    this.#reg.addEventListener("updatefound", () => follow(this.#reg.installing));
    look();
  }

  /** Takes away the notification of a message that the page has shown. */
  async quiet(message) {
    for (const tag of message.alerts ?? [message.id]) for (const n of (await this.#reg?.getNotifications({ tag })) ?? []) n.close();
  }

  update() {
    if (!this.#reg?.waiting) return;
    navigator.serviceWorker.addEventListener("controllerchange", () => location.reload(), { once: true });
    this.#reg.waiting.postMessage("take over");
  }
}
