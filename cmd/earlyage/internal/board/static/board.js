// The board's own script: it puts what the hub tells into the page, counts the
// minutes to and from moments that the hub gave, filters, and takes keys. It
// computes nothing else.

const $ = id => document.getElementById(id);
const body = document.body;
const view = body.dataset.view;
const beat = Number(body.dataset.beat);
const freshFor = 60000; // longer than this "may strip" is not shown
const words = {}, marks = {};
for (const i of $("words").content.querySelectorAll("i")) words[i.dataset.word] = i.textContent;
for (const s of $("marks").content.querySelectorAll("span")) marks[s.dataset.mark] = s.firstElementChild;
const fill = (key, parts) => words[key].replace(/\{(\w+)\}/g, (all, name) => parts[name] ?? all);

// ---- The hub's clock. What has passed is the longer of what two clocks say: one
// stands still while a computer sleeps, the other can be set back.

let hubAt = Number(body.dataset.at), heard = {steady: performance.now(), wall: Date.now()};
const passed = () => Math.max(performance.now() - heard.steady, Date.now() - heard.wall);
const now = () => hubAt + passed();

function hear(at) {
	hubAt = at;
	heard = {steady: performance.now(), wall: Date.now()};
}

// ---- Counting.

function span(n) {
	if (n < 100) return fill("min", {n});
	return fill("hours", {h: Math.floor(n / 60), m: String(n % 60).padStart(2, "0")});
}

function count(at, way) {
	const left = at - now();
	if (way === "a") return span(Math.max(0, Math.ceil(-left / 60000)));
	if (left < 0) return fill("over", {span: span(Math.ceil(-left / 60000))});
	return span(way === "u" ? Math.ceil(left / 60000) : Math.floor(left / 60000));
}

function write(el, text) {
	const last = el.lastChild;
	if (last?.nodeType === Node.TEXT_NODE) {
		if (last.data !== text) last.data = text;
	} else if (text) el.append(text);
}

function tick() {
	for (const el of document.querySelectorAll("main [data-u]:not([data-ask])")) write(el, count(Number(el.dataset.u), el.dataset.r));
}

// ---- Cells.

// same says that a cell stands there already.
function same(el, cell) {
	const d = el.dataset;
	return d.ask === undefined && d.s === cell.s && d.r === cell.r && (cell.r ? Number(d.u) === (cell.u ?? 0) : el.textContent === (cell.t ?? "")) &&
		(el.getAttribute("href") ?? undefined) === cell.h;
}

function set(el, cell) {
	if (same(el, cell)) return;
	el.className = "c" + (cell.s ? " state state-" + cell.s : "");
	for (const [key, value] of [["s", cell.s], ["u", cell.r && (cell.u ?? 0)], ["r", cell.r]]) {
		if (value === undefined) delete el.dataset[key];
		else el.dataset[key] = value;
	}
	delete el.dataset.ask;
	if (cell.h) el.setAttribute("href", cell.h);
	else el.removeAttribute("href");
	el.replaceChildren(...(cell.s ? [marks[cell.s].cloneNode(true)] : []));
	write(el, cell.r ? count(cell.u ?? 0, cell.r) : cell.t ?? "");
}

// cellsOf gives the cells of a row by name; they are looked up once.
const known = new WeakMap();
function cellsOf(li) {
	let all = known.get(li);
	if (!all) {
		all = {};
		for (const el of li.querySelectorAll("[data-c]")) all[el.dataset.c] = el;
		known.set(li, all);
	}
	return all;
}

function place(id, row, whole) {
	let li = $(id);
	if (!li) {
		li = document.createElement("li");
		li.id = id;
		li.append($("row").content.cloneNode(true));
		$("walls").append(li);
	}
	if (row.k) [li.dataset.site, li.dataset.crew, li.dataset.state] = row.k;
	const all = cellsOf(li);
	for (const name in all) {
		const cell = row.c[name] ?? (whole ? {} : undefined);
		if (!cell) continue;
		if (name === "state" && all.state.textContent !== (cell.t ?? "")) changed(all.name.textContent, cell.t);
		set(all[name], cell);
	}
}

// arrange puts the rows in order and takes out what is gone; what has the focus
// keeps it.
function arrange(order) {
	const list = $("walls"), keep = new Set(order), focus = document.activeElement;
	for (const li of [...list.children]) if (!keep.has(li.id)) li.remove();
	let at = list.firstElementChild;
	for (const id of order) {
		const li = $(id);
		if (li === at) at = at.nextElementSibling;
		else list.insertBefore(li, at);
	}
	if (focus !== document.activeElement && focus.isConnected) focus.focus({preventScroll: true});
}

// ---- What is said aloud: changes of state, one line, seldom.

let toSay = [], sayTimer = 0;
function say(text) {
	$("said").textContent = text;
}

function changed(name, state) {
	if (!name || !state) return;
	toSay.push(name + ": " + state);
	sayTimer ||= setTimeout(() => {
		say(toSay.slice(0, 3).join(". "));
		toSay = [];
		sayTimer = 0;
	}, 2000);
}

// ---- The link.

let source, stale = false, opened = 0, again = 1000;

function connect() {
	source?.close();
	opened = performance.now();
	source = new EventSource("/board/live?lang=" + document.documentElement.lang + (view ? "&view=" + view : ""));
	source.onmessage = e => take(JSON.parse(e.data));
	source.onerror = () => {
		if (source.readyState !== EventSource.CLOSED) return;
		fetch("/api/v1/me").then(r => { if (r.status === 401) location.reload(); }).catch(() => {});
	};
}

function take(m) {
	hear(m.at);
	again = 1000;
	body.dataset.link = "up";
	if (m.head) {
		$("open").textContent = m.head.open;
		$("wrong").hidden = !m.head.wrong;
		$("wrong-text").textContent = m.head.wrong;
	}
	for (const name in m.first ?? {}) set(document.querySelector(`#first [data-c="${name}"]`), m.first[name]);
	if (m.rows) for (const id in m.rows) place(id, m.rows[id], m.whole);
	if (m.order) arrange(m.order);
	if (m.rows || m.order) filter();
	if (m.seen && m.seen !== body.dataset.seen) fetchAgain(m.seen);
	if (stale) {
		stale = false;
		show();
		say(words.back);
		if (view) fetchAgain(body.dataset.seen);
	}
}

// fetchAgain puts the present list in the place of the old one.
async function fetchAgain(seen) {
	try {
		const r = await fetch(location.href, {headers: {Accept: "text/html"}});
		if (!r.ok) return;
		const page = new DOMParser().parseFromString(await r.text(), "text/html");
		const fresh = page.getElementById("live"), old = $("live");
		if (!fresh || !old) return;
		const focus = old.contains(document.activeElement) ? document.activeElement : null;
		const row = focus?.closest("li")?.id, place = row ? rows().findIndex(li => li.id === row) : -1;
		const open = [...old.querySelectorAll("details[open]")].map(d => d.id);
		old.replaceWith(document.adoptNode(fresh));
		for (const id of open) if ($(id)) $(id).open = true;
		body.dataset.seen = page.body.dataset.seen || seen;
		if (place >= 0) ($(row)?.hidden === false ? $(row) : rows()[Math.min(place, rows().length - 1)])?.focus({preventScroll: true});
		tick();
	} catch { /* the link is down; what stands here is said to be old */ }
}

// show says whether the page is up to date. What may be stripped is said only by
// an answer that is fresh.
function show() {
	body.dataset.link = stale ? "stale" : "up";
	$("link-up").hidden = stale;
	$("link-stale").hidden = !stale;
}

function watch() {
	const quiet = passed();
	if (!stale && quiet > beat * 2.5) {
		stale = true;
		show();
		say(words.stale);
	}
	if (stale) {
		$("link-for").textContent = span(Math.floor(quiet / 60000));
		if (quiet > freshFor) ask();
		if (performance.now() - opened > Math.max(again, beat * 2.5)) {
			again = Math.min(again * 2, 15000);
			connect();
		}
	}
}

function ask() {
	for (const el of document.querySelectorAll("main .state-done:not([data-ask])")) {
		el.dataset.ask = "";
		el.className = "c state state-nolink";
		el.replaceChildren(marks.nolink.cloneNode(true), words.ask);
	}
	for (const el of document.querySelectorAll("main .may:not([data-ask])")) {
		el.dataset.ask = "";
		if (el instanceof SVGElement) el.setAttribute("display", "none");
		else el.textContent = words.ask;
	}
}

// ---- Filter.

const form = $("filter");

function filter() {
	if (!form) return;
	const {site, crew, state} = form.elements;
	let shown = 0, all = 0;
	const list = $("walls"), crews = new Set([...crew.options].map(o => o.value));
	for (const li of list.children) {
		const d = li.dataset;
		if (d.crew && !crews.has(d.crew)) {
			crews.add(d.crew);
			crew.append(new Option(d.crew, d.crew));
		}
		const hide = !!(site.value && d.site !== site.value || crew.value && d.crew !== crew.value || state.value && d.state !== state.value);
		if (li.hidden !== hide) li.hidden = hide;
		all++;
		if (!hide) shown++;
	}
	$("count").textContent = fill("shown", {n: shown, all});
	$("none").hidden = all > 0;
	$("none-so").hidden = all === 0 || shown > 0;
}

form?.addEventListener("change", () => {
	const q = new URLSearchParams();
	for (const [k, v] of new FormData(form)) if (v) q.set(k, v);
	history.replaceState(null, "", location.pathname + (q.size ? "?" + q : ""));
	filter();
	say($("count").textContent);
});
form?.addEventListener("submit", e => e.preventDefault());

// ---- Moving: one row at a time.

const rows = () => [...document.querySelectorAll("main li:is(.walls > *, .alerts > *, .sets > *, .lines > *):not([hidden])")];
const handle = li => li.matches(".walls > *") ? li.querySelector("h2 a") : li;

function move(by) {
	const all = rows();
	if (!all.length) return;
	const at = all.indexOf(document.activeElement?.closest("li"));
	const to = at < 0 ? (by > 0 ? 0 : all.length - 1) : Math.min(Math.max(at + by, 0), all.length - 1);
	handle(all[to]).focus();
	all[to].scrollIntoView({block: "nearest"});
}

// ---- Alerts.

async function enter(li, kind, data, done) {
	const entry = {site: li.dataset.site, kind, data: {kind: li.dataset.kind, ...data}};
	if (li.dataset.wall) entry.wall = li.dataset.wall;
	try {
		const r = await fetch("/api/v1/entries", {method: "POST", headers: {"Content-Type": "application/json"}, body: JSON.stringify(entry)});
		const answer = await r.json().catch(() => ({}));
		const why = answer.refused?.reason ?? (r.ok ? "" : answer.detail ?? answer.title ?? String(r.status));
		if (why) return say(fill("refused", {why}));
		say(words[done]);
		await fetchAgain("");
	} catch {
		say(words["no-link"]);
	}
}

let asking = null; // the row that a question is about

function question(name, li) {
	asking = li;
	$(name + "-what").textContent = li.querySelector("h2").textContent + ", " + li.querySelector(".a-place").firstChild.textContent;
	$(name + "-form").reset();
	$(name).showModal();
	$(name + "-reason").focus();
}

function answer(what, li) {
	if (!li) return;
	const d = li.dataset;
	if (what === "resume") return void ("resume" in d && enter(li, "alert.in-service", d.cause ? {cause: d.cause} : {}, "resumed"));
	if (what === "rest") return void ("rest" in d && question("rest", li));
	if (!("may" in d)) return say(words["not-yours"]);
	if (what === "acknowledge") return void (li.querySelector('[data-do="acknowledge"]') && enter(li, "alert.acknowledged", {alert: d.id}, "acknowledged"));
	if (d.answered === "shelved") return void enter(li, "alert.unshelved", {alert: d.id}, "unshelved");
	if (li.querySelector('[data-do="shelve"]')) question("shelve", li);
}

document.addEventListener("click", e => {
	const key = e.target.closest("[data-do]");
	if (key) answer(key.dataset.do, key.closest("li"));
	if (e.target.closest("[data-close]")) e.target.closest("dialog").close();
});

// asked ends a question: from now for so many hours, with the reason.
function asked(name, send) {
	$(name + "-form")?.addEventListener("submit", e => {
		e.preventDefault();
		const at = new Date(now()), until = new Date(at.getTime() + Number($(name + "-hours").value) * 3600000);
		const reason = $(name + "-reason").value.trim();
		if (!reason) return;
		$(name).close();
		const li = $(asking.id) ?? asking;
		li.focus();
		send(li, {at: at.toISOString(), until: until.toISOString(), reason});
	});
}
asked("shelve", (li, data) => enter(li, "alert.shelved", {alert: li.dataset.id, ...data}, "shelved"));
asked("rest", (li, data) => enter(li, "alert.out-of-service", !$("rest-reach").value && li.dataset.cause ? {cause: li.dataset.cause, ...data} : data, "rested"));

// ---- Keys.

document.addEventListener("keydown", e => {
	if (e.ctrlKey || e.metaKey || e.altKey || document.querySelector("dialog[open]")) return;
	if (e.target.closest("input, select, textarea")) {
		if (e.key === "Escape") e.target.blur();
		return;
	}
	const li = document.activeElement?.closest("li[data-site], .sets > li, .lines > li");
	const keys = {
		j: () => move(1), ArrowDown: () => move(1), k: () => move(-1), ArrowUp: () => move(-1),
		a: () => view === "alerts" ? answer("acknowledge", li) : li?.querySelector('a[data-c="alerts"][href]')?.click(),
		s: () => view === "alerts" && answer("shelve", li),
		"/": () => form ? $("f-site").focus() : location.assign("/board"),
		"?": () => $("keys").showModal(),
		1: () => location.assign("/board"), 2: () => location.assign("/alerts"), 3: () => location.assign("/braces"), 4: () => location.assign("/week"),
		Enter: () => { if (e.target === li) li.querySelector("a")?.click(); else return true; },
	};
	if (keys[e.key] && keys[e.key]() !== true) e.preventDefault();
});

filter();
tick();
connect();
setInterval(() => { tick(); watch(); }, 1000);
