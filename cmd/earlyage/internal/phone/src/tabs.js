// Several tabs of one phone: one of them has the link, by a lock that the browser
// ends with the tab. One that was put to sleep in the background holds its lock
// and does nothing: a tab that is looked at then takes it over.
const answerWithin = 3_000; // ms

export class Tabs {
  #name;
  #on;
  #channel;
  #end = null; // of the work in this tab
  #closed = new AbortController();
  #heard = () => {};
  works = false; // this tab has the link

  /** on.work(signal) has the link until the signal; on.hear(message) gets what the
   * other tabs say. */
  constructor(name, on) {
    this.#name = "earlyage " + name;
    this.#on = on;
    this.#channel = new BroadcastChannel(this.#name);
    this.#channel.onmessage = ({ data }) => {
      if (data.ping && this.works) this.say({ pong: true });
      if (data.pong) this.#heard();
      this.#on.hear(data);
    };
  }

  open() {
    this.#queue({});
    this.say({ hello: true });
  }

  say(message) {
    if (!this.#closed.signal.aborted) this.#channel.postMessage(message);
  }

  /** Takes the link over where the tab that has it does not answer. */
  async check() {
    if (this.works || this.#closed.signal.aborted) return;
    const heard = new Promise((r) => (this.#heard = () => r(true)));
    this.say({ ping: true });
    const late = new Promise((r) => setTimeout(() => r(false), answerWithin));
    if (!(await Promise.race([heard, late])) && !this.works && !this.#closed.signal.aborted) this.#queue({ steal: true });
  }

  async #queue(options) {
    while (!this.#closed.signal.aborted) {
      const end = new AbortController();
      try {
        await navigator.locks.request(this.#name, options.steal ? options : { signal: this.#closed.signal }, async () => {
          this.#end = end;
          this.works = true;
          await this.#on.work(end.signal);
        });
        return;
      } catch {
        end.abort(); // it was taken over, or is closed
      } finally {
        if (this.#end === end || this.#end === null) this.works = false;
      }
      if (options.steal) return; // the first request still stands in the queue
    }
  }

  async close() {
    this.#closed.abort();
    this.#end?.abort();
    this.#channel.close();
  }
}
