// Several tabs of one phone: one of them has the link, by a lock that the browser
// ends with the tab. One that is put to sleep in the background gives the lock
// back and does nothing until it wakes; one that could not, and does not answer, is
// relieved by the tab that is looked at.
const answerWithin = 3_000; // ms

export class Tabs {
  #name;
  #on;
  #channel;
  #end = null; // of the work in this tab
  #turn = new AbortController(); // of this tab's place in the queue
  #closed = new AbortController();
  #heard = () => {};
  #checking = false;
  #rise = null; // not null: the tab sleeps, and this ends it
  #awake = Promise.resolve();
  works = false; // this tab has the link

  /** on.work(signal) has the link until the signal; on.hear(message) gets what the
   * other tabs say; on.rise() is told that what they said was missed. */
  constructor(name, on) {
    this.#name = "earlyage " + name;
    this.#on = on;
    this.#channel = new BroadcastChannel(this.#name);
    this.#channel.onmessage = ({ data }) => this.#hear(data);
    const signal = this.#closed.signal;
    document.addEventListener("freeze", () => this.#sleep(), { signal });
    document.addEventListener("resume", () => this.#wake(), { signal });
    window.addEventListener("pagehide", (e) => e.persisted && this.#sleep(), { signal });
    window.addEventListener("pageshow", () => this.#wake(), { signal });
  }

  open() {
    this.#stand();
    this.say({ hello: true });
  }

  say(message) {
    if (!this.#closed.signal.aborted) this.#channel.postMessage(message);
  }

  /** A tab that sleeps may hear. It must not begin to write then: its transaction
   * would not end, and no tab could record. */
  #hear(message) {
    if (this.#rise) return;
    // By way of a timer: what cannot do that cannot work either.
    if (message.ping && this.works) setTimeout(() => this.say({ pong: true }));
    if (message.pong) this.#heard();
    this.#on.hear(message);
  }

  #sleep() {
    if (this.#rise) return;
    this.#awake = new Promise((r) => (this.#rise = r));
    this.#end?.abort();
    this.#turn.abort();
  }

  #wake() {
    if (!this.#rise) return;
    this.#rise();
    this.#rise = null;
    this.#on.rise();
    this.say({ hello: true });
  }

  /** Takes the link over where the tab that has it does not answer. */
  async check() {
    if (this.works || this.#checking || this.#closed.signal.aborted) return;
    this.#checking = true;
    const heard = new Promise((r) => (this.#heard = () => r(true)));
    this.say({ ping: true });
    const late = new Promise((r) => setTimeout(() => r(false), answerWithin));
    const answered = await Promise.race([heard, late]);
    this.#checking = false;
    if (!answered && !this.works && document.visibilityState === "visible") this.#take({ steal: true });
  }

  /** Stands in the queue for the lock as long as the tab is awake. */
  async #stand() {
    while (!this.#closed.signal.aborted) {
      await this.#awake;
      this.#turn = new AbortController();
      await this.#take({ signal: this.#turn.signal });
    }
  }

  /** Has the lock once, to the end of the work. */
  async #take(options) {
    const end = new AbortController();
    try {
      await navigator.locks.request(this.#name, options, async () => {
        if (this.#rise || this.#closed.signal.aborted) return;
        this.#end = end;
        this.works = true;
        await this.#on.work(end.signal);
      });
    } catch (err) {
      if (err.name !== "AbortError") console.warn("link", err); // the others: taken over, asleep, closed
    }
    end.abort();
    if (this.#end !== end) return;
    this.#end = null;
    this.works = false;
  }

  close() {
    this.#closed.abort();
    this.#end?.abort();
    this.#turn.abort();
    this.#channel.close();
  }
}
