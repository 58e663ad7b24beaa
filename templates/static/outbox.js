// What was entered without a signal, kept on this device until the server has it. Every item gets its request key before it
// is sent for the first time, so that it is recorded once, however often it is sent. Items go in the order in which they
// were entered; one that the server refuses stays here with the reason until a person says what becomes of it.
"use strict";

const BASE = new URL("..", document.currentScript.src).pathname;
const VERSION = new URL(document.currentScript.src).search;
// The server keeps its answers for thirty days: an item that was tried longer ago might be recorded a second time.
const SURE_FOR = 25 * 24 * 3600 * 1000;

let opened = null;
function store() {
  opened ??= new Promise((done, failed) => {
    const asked = indexedDB.open("undercroft", 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("outbox", { keyPath: "turn", autoIncrement: true });
      asked.result.createObjectStore("shelf");
    };
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });
  return opened;
}

// One transaction on one of the two stores; it is over when what was written is on the disk.
async function within(name, mode, work) {
  const database = await store();
  return new Promise((done, failed) => {
    const all = database.transaction(name, mode, { durability: "strict" });
    const asked = work(all.objectStore(name));
    all.oncomplete = () => done(asked?.result);
    all.onerror = all.onabort = () => failed(all.error);
  });
}

const freshKey = () => [...crypto.getRandomValues(new Uint32Array(4))].join("-");
const shelved = (name) => within("shelf", "readonly", (shelf) => shelf.get(name)).catch(() => undefined);
const shelve = (name, what) => within("shelf", "readwrite", (shelf) => shelf.put(what, name));
const kept = () => within("outbox", "readonly", (box) => box.getAll()).catch(() => []);
const drop = (turn) => within("outbox", "readwrite", (box) => box.delete(turn)).then(tell);
const change = (item) => within("outbox", "readwrite", (box) => box.put(item));

// Keeps what a form would send. An item of the same name that has not been tried yet is replaced.
async function keep({ action, fields, label, name = "" }) {
  const { member } = (await shelved("who")) ?? {};
  const item = { key: freshKey(), action, fields, label, name, member, at: await now(), state: "waiting", why: "", tried: 0 };
  if (name) {
    for (const other of await kept()) if (other.name === name && !other.tried) await drop(other.turn);
  }
  await within("outbox", "readwrite", (box) => box.add(item));
  navigator.storage?.persist?.();
  await tell();
  sendLater();
}

// Who is signed in, with a token for forms; nothing where the server cannot be reached, and `signedOut` where nobody is.
async function who() {
  const answer = await fetch(`${BASE}phone/who.json`, { cache: "no-store", redirect: "manual", signal: AbortSignal.timeout(8000) }).catch(() => null);
  if (!answer || answer.status >= 500) return null;
  if (!answer.ok) return { signedOut: true };
  const who = await answer.json().catch(() => null);
  if (who) await shelve("who", { member: who.member, ahead: Date.now() - Date.parse(who.now) }).catch(() => {});
  return who;
}

let sending = null;
let later = null;
const send = () => (sending ??= inTurn(sendAll).finally(() => (sending = null)));
// Two windows do not send at once; where the browser cannot promise that, the request key keeps it harmless.
const inTurn = (work) => (navigator.locks ? navigator.locks.request("undercroft.outbox", work) : work());

// True when nothing waits any more.
async function sendAll() {
  let items = (await kept()).filter((item) => item.state === "waiting");
  if (!items.length) return true;
  const now = await who();
  if (!now) return false;
  for (const item of items) {
    if (now.signedOut || (item.member && item.member !== now.member)) {
      await held(item, now.signedOut ? "Sign in to send it." : "It was entered by somebody else who was signed in here; they send it.");
      continue;
    }
    if (item.tried && Date.now() - item.tried > SURE_FOR) {
      await settle(item, "refused", "It was tried more than 25 days ago. Look whether it was recorded then; if not, enter it anew.");
      continue;
    }
    item.tried ||= Date.now();
    await change(item);
    const answer = await post(item, now.form_token);
    if (!answer || answer.status >= 500 || [408, 429].includes(answer.status)) return false;
    if (answer.type === "opaqueredirect") {
      await drop(item.turn);
      document.dispatchEvent(new CustomEvent("outbox-sent", { detail: item }));
    } else if (answer.status === 401) {
      await held(item, "Sign in to send it.");
      return false;
    } else {
      const page = new DOMParser().parseFromString(await answer.text().catch(() => ""), "text/html");
      const told = [...page.querySelectorAll(".problem li")].map((one) => one.textContent.trim());
      const why = told.join(" ") || page.querySelector("main .lead, main p")?.textContent.trim() || `The server answered ${answer.status}.`;
      await settle(item, page.querySelector("button[name=as_read]") ? "asked" : "refused", why);
    }
  }
  items = (await kept()).filter((item) => item.state === "waiting");
  return !items.length;
}

function post(item, token) {
  const body = new URLSearchParams([...item.fields, ["request_key", item.key], ["form_token", token]]);
  return fetch(item.action, { method: "POST", body, redirect: "manual", signal: AbortSignal.timeout(30000) }).catch(() => null);
}

async function held(item, why) {
  item.why = why;
  await change(item);
  await tell();
}

async function settle(item, state, why) {
  Object.assign(item, { state, why });
  await change(item);
  await tell();
}

// Says how much is kept, on every page.
async function tell() {
  const items = await kept();
  const open = items.filter((item) => item.state === "waiting").length;
  document.documentElement.dataset.outbox = items.length;
  document.documentElement.dataset.waiting = open;
  const says = document.querySelector("[data-outbox-says]");
  if (says) {
    const refused = items.length - open;
    const parts = [];
    if (open) parts.push(`${open} kept on this device, not sent yet`);
    if (refused) parts.push(`${refused} not taken: somebody has to look`);
    says.hidden = !parts.length;
    says.firstElementChild.textContent = parts.length ? `${parts.join("; ")}. Look at the outbox` : "";
  }
  document.dispatchEvent(new Event("outbox"));
}

const pause = (ms) =>
  new Promise((done) => {
    addEventListener("online", done, { once: true });
    setTimeout(done, ms);
  });

// Tries again and again until nothing waits; with growing pauses, and at once when the signal is back.
function sendLater() {
  later ??= (async () => {
    for (let wait = 3000; !(await send().catch(() => false)); wait = Math.min(wait * 1.5, 60000)) {
      if (!(await kept()).some((item) => item.state === "waiting" && !item.why)) break;
      await pause(wait);
    }
    later = null;
  })();
  return later;
}

// What is kept here belongs to whoever is signed in, and goes with signing out.
async function forget() {
  await within("outbox", "readwrite", (box) => box.clear()).catch(() => {});
  await within("shelf", "readwrite", (shelf) => shelf.clear()).catch(() => {});
  for (const name of Object.keys(localStorage)) if (name.startsWith("undercroft.")) localStorage.removeItem(name);
  await tell();
}

// A form that may be sent later: without a signal it is kept here, with the time at which it was entered.
function mayWait(form) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    event.stopPropagation();
    // A double tap keeps it once.
    if (form.dataset.sent) return;
    form.dataset.sent = "yes";
    const fields = [...new FormData(form, event.submitter)].filter(([name]) => !["form_token", "request_key"].includes(name));
    if (await reaches()) {
      if (event.submitter?.name) form.append(hidden(event.submitter.name, event.submitter.value));
      await send().catch(() => {});
      form.submit();
      return;
    }
    await keep({ action: form.action, fields: stamped(form.action, fields, await now()), label: form.dataset.outbox || document.querySelector("h1").textContent });
    if (navigator.serviceWorker?.controller) {
      location.assign(`${BASE}phone#from=${encodeURIComponent(new URL(form.action).pathname)}`);
      return;
    }
    const says = form.querySelector("[data-says]") ?? form.appendChild(Object.assign(document.createElement("p"), { className: "kept" }));
    says.textContent = "No signal. It is kept on this device and sent when the signal is back.";
  });
}

// The time by the clock of the server, as far as it is known, and never later than that.
async function now() {
  const { ahead = 0 } = (await shelved("who")) ?? {};
  return new Date(Date.now() - ahead - 1000).toISOString();
}

// What was entered without a signal happened when it was entered.
function stamped(action, fields, at) {
  const said = fields.find(([name]) => name === "at");
  if (said?.[1].trim()) return fields;
  return [...fields.filter(([name]) => name !== "at"), ["at", at]];
}

function hidden(name, value) {
  const field = document.createElement("input");
  Object.assign(field, { type: "hidden", name, value });
  return field;
}

// Whether the server can be reached. A file is asked for, not a page: a browser that has asked for what may not be kept
// does not keep this page either, and who goes back from the next one would find a form of its own, to be sent again.
function reaches() {
  const asked = { method: "HEAD", cache: "no-store", signal: AbortSignal.timeout(5000) };
  return fetch(`${BASE}static/mark.svg${VERSION}`, asked).then((answer) => answer.status < 500, () => false);
}

document.querySelectorAll("form[data-outbox], form[action*='/batches/'][action$='/reading'], form[action*='/bottles/'][action$='/withdrawals'], form[action*='/counts/'][action$='/found']").forEach(mayWait);

// Signing out throws away what was not sent only if that is meant.
document.querySelectorAll("form[action$='/sign-out']").forEach((form) => {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    event.stopPropagation();
    await send().catch(() => {});
    const left = (await kept()).length;
    if (left && !form.dataset.asked) {
      form.dataset.asked = "yes";
      const says = document.createElement("p");
      says.className = "bad";
      says.setAttribute("role", "alert");
      says.textContent = `${left} entries on this device have not been sent. Signing out throws them away. Press again to do that, or wait for a signal.`;
      form.prepend(says);
      return;
    }
    await forget();
    form.submit();
  });
});

tell().then(() => Number(document.documentElement.dataset.waiting) && sendLater());
addEventListener("online", () => sendLater());
if ("serviceWorker" in navigator && document.querySelector(".me, [data-phone]")) {
  navigator.serviceWorker.register(`${BASE}static/service-worker.js${VERSION}`, { scope: BASE }).catch(() => {});
}
// The pages of counts bring what is needed to go on without a signal.
if (document.querySelector("[data-fetch-phone]")) fetchPhone();
async function fetchPhone() {
  const asked = { cache: "no-store", redirect: "manual", signal: AbortSignal.timeout(20000) };
  const answer = await fetch(`${BASE}phone/data.json`, asked).catch(() => null);
  if (!answer?.ok) return false;
  await shelve("data", await answer.json()).catch(() => {});
  await who();
  return true;
}
