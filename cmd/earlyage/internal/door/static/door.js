// The pages join, login and own: passkeys, signing out, ending a device.

const $ = id => document.getElementById(id);
const page = document.body.dataset.page;

// word gives a text of the page's language; undefined where it has none.
function word(key) {
	return $("words").content.querySelector(`[data-word="${CSS.escape(key ?? "")}"]`)?.textContent;
}

// ask sends JSON to the hub. What is no success is thrown: its code, and words.
async function ask(method, path, body) {
	let answer;
	try {
		answer = await fetch(path, {
			method, credentials: "same-origin", cache: "no-store", referrerPolicy: "no-referrer",
			headers: body === undefined ? {} : {"Content-Type": "application/json"},
			body: body === undefined ? undefined : JSON.stringify(body),
		});
	} catch {
		throw {code: "no-link"};
	}
	if (answer.status === 204) return null;
	let content = {};
	try { content = await answer.json(); } catch { /* said below */ }
	if (!answer.ok) throw {code: content.code ?? "", status: answer.status, detail: content.detail || word("unclear")};
	return content;
}

// say tells one thing at a time; nothing takes it away.
function say(text) {
	const said = $("said");
	said.replaceChildren();
	said.className = text ? "said note note-hold" : "said";
	if (!text) return;
	const words = document.createElement("span");
	words.textContent = text.charAt(0).toUpperCase() + text.slice(1) + (/[.?!]$/.test(text) ? "" : ".");
	said.append($("marks").content.cloneNode(true), words);
}

function show(id) {
	for (const section of document.querySelectorAll("main > section")) section.hidden = section.id !== id;
}

// busy runs a step with its key at rest, so that it is not pressed twice.
async function busy(key, step) {
	if (key.getAttribute("aria-disabled") === "true") return;
	key.setAttribute("aria-disabled", "true");
	say("");
	try { await step(); } catch (e) { say(words(e)); } finally { key.removeAttribute("aria-disabled"); }
}

function words(e) {
	switch (e?.name) {
	case "NotAllowedError": return word("told-no");
	case "InvalidStateError": return word("has-one");
	case "NotSupportedError": return word("cannot-keep");
	case "SecurityError": return word("wrong-address");
	}
	return word(e?.code) ?? e?.detail ?? word("page-broke");
}

// Bytes travel as unpadded URL base64.
function bytes(text) {
	const raw = atob(text.replaceAll("-", "+").replaceAll("_", "/"));
	return Uint8Array.from(raw, c => c.charCodeAt(0));
}

function text(buffer) {
	const raw = Array.from(new Uint8Array(buffer), b => String.fromCharCode(b)).join("");
	return btoa(raw).replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, "");
}

function listed(list) {
	return (list ?? []).map(c => ({...c, id: bytes(c.id)}));
}

async function make(options) {
	const o = options.publicKey;
	const made = await navigator.credentials.create({publicKey: {
		...o, challenge: bytes(o.challenge), user: {...o.user, id: bytes(o.user.id)}, excludeCredentials: listed(o.excludeCredentials),
	}});
	return {
		id: made.id, rawId: text(made.rawId), type: made.type, clientExtensionResults: made.getClientExtensionResults(),
		authenticatorAttachment: made.authenticatorAttachment ?? undefined,
		response: {
			clientDataJSON: text(made.response.clientDataJSON), attestationObject: text(made.response.attestationObject),
			transports: made.response.getTransports?.() ?? [],
		},
	};
}

async function prove(options) {
	const o = options.publicKey;
	const got = await navigator.credentials.get({publicKey: {...o, challenge: bytes(o.challenge), allowCredentials: listed(o.allowCredentials)}});
	const r = got.response;
	return {
		id: got.id, rawId: text(got.rawId), type: got.type, clientExtensionResults: got.getClientExtensionResults(),
		authenticatorAttachment: got.authenticatorAttachment ?? undefined,
		response: {
			clientDataJSON: text(r.clientDataJSON), authenticatorData: text(r.authenticatorData), signature: text(r.signature),
			userHandle: r.userHandle ? text(r.userHandle) : undefined,
		},
	};
}

function canPasskeys() {
	if (window.PublicKeyCredential && window.isSecureContext) return true;
	say(word(window.isSecureContext ? "old-browser" : "wrong-address"));
	return false;
}

// own is where a login leads on to: a path of this hub, whatever it says.
function own(path) {
	try {
		const to = new URL(path || "/", location.origin);
		return to.origin === location.origin ? to.pathname + to.search : "/";
	} catch {
		return "/";
	}
}

function login() {
	const key = $("passkey");
	if (!key) return;
	canPasskeys();
	key.addEventListener("click", () => busy(key, async () => {
		if (!canPasskeys()) return;
		const credential = await prove(await ask("POST", "/api/v1/passkey/login/begin", {}));
		await ask("POST", "/api/v1/passkey/login/finish", {credential});
		location.replace(own(document.body.dataset.next));
	}));
}

function when(time) {
	return new Intl.DateTimeFormat(document.documentElement.lang, {hour: "2-digit", minute: "2-digit", hourCycle: "h23"}).format(new Date(time));
}

async function look(code) {
	let invited;
	try {
		invited = await ask("POST", "/api/v1/invitation", {code});
	} catch (e) {
		show(e.code === "no-invitation" ? "gone" : "trouble");
		if (e.code !== "no-invitation") say(words(e));
		return;
	}
	say("");
	if (invited.sort === "phone") {
		location.replace("/phone#join." + encodeURIComponent(code));
		return;
	}
	if (invited.sort !== "page") {
		show("station");
		return;
	}
	$("by").textContent = invited.by || word("the-hub");
	$("who").textContent = invited.person;
	$("site").textContent = invited.site_name;
	$("roles").textContent = invited.roles.map(r => word("role-" + r) ?? r).join(", ");
	$("until").dateTime = invited.until;
	$("until").textContent = when(invited.until);
	$("known").hidden = !invited.known || Boolean(invited.demo);
	for (const part of document.querySelectorAll(".demo, .real")) part.hidden = part.classList.contains("demo") !== Boolean(invited.demo);
	show("invited");
	if (!invited.demo) canPasskeys();
}

function join() {
	const code = decodeURIComponent(location.hash.slice(1));
	window.addEventListener("hashchange", () => location.reload());
	$("again").addEventListener("click", () => busy($("again"), () => look(code)));
	$("enter").addEventListener("click", () => busy($("enter"), async () => {
		await ask("POST", "/api/v1/demo", {code});
		location.replace("/");
	}));
	const key = $("passkey");
	key.addEventListener("click", () => busy(key, async () => {
		if (!canPasskeys()) return;
		let credential;
		try {
			credential = await make(await ask("POST", "/api/v1/passkey/register/begin", {code, fresh: $("fresh").checked}));
			await ask("POST", "/api/v1/passkey/register/finish", {code, credential});
		} catch (e) {
			$("has").hidden = e?.name !== "InvalidStateError";
			if (e.code !== "no-invitation") throw e;
			show("gone");
			return;
		}
		location.replace("/");
	}));
	if (code) look(code); else show("gone");
}

function me() {
	for (const at of document.querySelectorAll("time.local")) {
		at.textContent = new Intl.DateTimeFormat(document.documentElement.lang, {day: "numeric", month: "long", hour: "2-digit", minute: "2-digit", hourCycle: "h23"}).format(new Date(at.dateTime));
	}
	$("leave")?.addEventListener("click", () => busy($("leave"), async () => {
		await ask("DELETE", "/api/v1/session");
		location.replace("/login");
	}));
	const sure = $("sure");
	let device;
	for (const key of document.querySelectorAll("button[data-device]")) {
		key.addEventListener("click", () => {
			device = key.dataset;
			$("sure-name").textContent = device.device;
			sure.showModal();
			$("sure-no").focus();
		});
	}
	$("sure-no").addEventListener("click", () => sure.close());
	$("sure-yes").addEventListener("click", () => busy($("sure-yes"), async () => {
		try {
			await ask("POST", "/api/v1/devices/" + encodeURIComponent(device.site) + "/" + encodeURIComponent(device.device) + "/revoke", {reason: "ended by its person"});
		} catch (e) {
			sure.close();
			throw e;
		}
		location.reload();
	}));
}

({login, join, own: me})[page]?.();
