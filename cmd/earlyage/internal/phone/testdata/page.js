// Of the tests: the engine stands before this in the same script. The wall clock
// can be moved; options of the engine are kept for the next load.
const real = Date;
let shift = Number(localStorage.getItem("shift") ?? 0);
window.moveClock = (ms) => localStorage.setItem("shift", (shift += ms));
window.Date = class extends real {
  constructor(...args) {
    if (args.length) super(...args);
    else super(real.now() + shift);
  }
  static now() {
    return real.now() + shift;
  }
};
window.alerts = [];
window.opened = earlyage.openEngine(JSON.parse(localStorage.getItem("options") ?? "{}")).then((e) => {
  e.onAlert((a) => window.alerts.push(a));
  // Where it stands is what a test that waits in vain shows.
  e.onChange((s) => (document.body.textContent = `${s.link} ${s.troubles} offset ${s.offsetMs}\n` + s.outbox.map((x) => `${x.number} ${x.kind} ${x.fate} ${x.reason}`).join("\n")));
  window.engine = e;
});
window.code = (promise) => promise.then(() => "", (err) => err.code ?? String(err));
// Records n entries, each when the one before is on the disk.
window.pour = async (wall, n, from = 0) => {
  window.recorded ??= [];
  for (let i = from; i < from + n; i++) {
    recorded.push(await engine.record(wall, "temperature.read", { place: "core", celsius: 20 + (i % 100) / 10, probe: `r-${i}` }, { at: Date.now() }));
  }
  return recorded.length;
};
// Takes the room that is left, byte by byte, in a database of its own.
window.stuff = async () => {
  const db = await new Promise((ok) => {
    const r = indexedDB.open("stuff", 1);
    r.onupgradeneeded = () => r.result.createObjectStore("s", { autoIncrement: true });
    r.onsuccess = () => ok(r.result);
  });
  for (let size = 1 << 20; size >= 64; size >>= 1) {
    for (let room = true; room; ) {
      room = await new Promise((ok) => {
        const tx = db.transaction("s", "readwrite");
        tx.objectStore("s").put(Array.from({ length: size / 8 }, () => Math.random().toString(36).slice(2, 10)).join(""));
        tx.oncomplete = () => ok(true);
        tx.onabort = () => ok(false);
      });
    }
  }
  db.close();
};
// Reads the queue's database whole, or puts it back as it was.
window.queue = () =>
  new Promise((ok, no) => {
    const j = engine.state.joined;
    const r = indexedDB.open(`earlyage/${j.site}/${j.device}`);
    r.onsuccess = () => ok(r.result);
    r.onerror = () => no(r.error);
  });
const asked = (r) => new Promise((ok, no) => ((r.onsuccess = () => ok(r.result)), (r.onerror = () => no(r.error))));
window.copyQueue = async () => {
  const db = await queue(), tx = db.transaction(["event", "body", "keep"]);
  window.copy = {};
  for (const name of ["event", "body", "keep"]) {
    const s = tx.objectStore(name);
    window.copy[name] = [await asked(s.getAllKeys()), await asked(s.getAll())];
  }
  db.close();
};
window.putBack = async () => {
  const db = await queue();
  await engine.close();
  const tx = db.transaction(["event", "body", "keep"], "readwrite");
  for (const [name, [keys, values]] of Object.entries(window.copy)) {
    const s = tx.objectStore(name);
    await asked(s.clear());
    for (let i = 0; i < keys.length; i++) await asked(name === "event" ? s.put(values[i]) : s.put(values[i], keys[i]));
  }
  db.close();
};
