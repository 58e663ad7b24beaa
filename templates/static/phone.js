// The one page that opens without a signal: counting, readings, bottles taken, and the outbox. It is drawn from what the
// device keeps: names, places and codes; never what the books say, and no money.
"use strict";

const main = document.querySelector("[data-phone]");
let data = null;
let at = { count: null, line: null };

// h("p", {class: "dim"}, "words", child): an element with attributes and children.
function h(name, attributes = {}, ...children) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue;
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else element.setAttribute(key, value === true ? "" : value);
  }
  element.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

const field = (name, label, attributes = {}, hint = "") =>
  h("div", {}, h("label", { for: name }, label), hint && h("span", { class: "hint" }, hint), h("span", { class: "put" }, h("input", { id: name, name, autocomplete: "off", ...attributes })));
const choice = (name, label, options) =>
  h("div", {}, h("label", { for: name }, label), h("span", { class: "put" }, h("select", { id: name, name }, options.map(([value, words]) => h("option", { value }, words)))));
const leaf = (name, ...children) => h("section", { class: "leaf" }, h("h2", {}, name), h("div", { class: "flow" }, children));

async function start() {
  data = (await shelved("data")) ?? null;
  // What is kept is shown at once; what is new comes when there is a signal.
  fetchPhone().then(async (reached) => {
    if (!reached) return;
    data = await shelved("data");
    if (!at.line && !main.querySelector("form :focus")) draw();
  });
  const here = decodeURIComponent(location.hash.split("from=")[1] ?? "") || location.pathname;
  const asked = /\/counts\/([0-9a-z]{13})(?:\/lines\/(\d+))?/.exec(here);
  if (asked && data?.counts.some((count) => count.id === asked[1])) {
    at.count = asked[1];
    if (asked[2]) at.line = await next(await counted(count()), Number(asked[2]));
  }
  await draw();
}

const count = () => data?.counts.find((one) => one.id === at.count);

// What is on the way for the lines of a count: number by line.
async function counted(of) {
  const mine = new Map();
  for (const item of await kept()) {
    const line = of && new RegExp(`/counts/${of.id}/lines/(\\d+)$`).exec(new URL(item.action, location).pathname);
    if (line) mine.set(Number(line[1]), item.fields.find(([name]) => name === "none") ? "none" : (item.fields.find(([name]) => name === "counted")?.[1] || "weighed"));
  }
  return mine;
}

async function next(mine, after) {
  const lines = count()?.lines ?? [];
  const from = lines.findIndex((line) => line.line === after) + 1;
  const open = (line) => ["not-counted", "again"].includes(line.progress) && !mine.has(line.line);
  return (lines.slice(from).find(open) ?? lines.slice(0, from).find(open))?.line ?? null;
}

async function draw() {
  const parts = [];
  if (!data) {
    parts.push(h("div", { class: "answer" }, h("h1", {}, "Without a signal"), h("p", { class: "lead" }, "This device keeps nothing yet. Sign in once where there is a signal, and open this page or a count: then it opens in the cellar too."), h("p", { class: "acts" }, h("a", { class: "do", href: BASE }, "To the first page"))));
  } else if (at.line) {
    parts.push(await drawLine());
  } else if (at.count) {
    parts.push(...(await drawCount()));
  } else {
    parts.push(...drawAll());
  }
  parts.push(...(await drawOutbox()));
  main.replaceChildren(...parts);
  (main.querySelector(".huge") ?? main.querySelector("h1")).focus();
  scrollTo(0, 0);
}

function go(where) {
  at = { ...at, ...where };
  return draw();
}

function drawAll() {
  const counts = data.counts.map((one) => h("li", {}, h("a", { href: "#", onclick: (event) => (event.preventDefault(), go({ count: one.id })) }, `${one.code}, ${one.title}`)));
  const parts = [h("div", { class: "answer" }, h("h1", { tabindex: -1 }, "Without a signal"), h("p", { class: "lead" }, "What you enter here is kept on this device and sent by itself, once, when there is a signal."), h("p", { class: "dim" }, `${data.member_name}, ${data.club}`))];
  parts.push(leaf("Counts", counts.length ? h("ul", { class: "ways narrow" }, counts) : h("p", {}, "No count is open.")));
  if (data.batches.length) {
    parts.push(leaf("A reading", form("A reading", (fields) => `${BASE}batches/${fields.of}/reading`, [
      choice("of", "Of which batch", data.batches.map((one) => [one.id, `${one.code} ${one.name}`])),
      field("gravity", "Gravity", { inputmode: "decimal" }, "Such as 1.012."),
      field("temperature", "Temperature", { inputmode: "decimal" }, "In °C, such as 18.5."),
      field("ph", "pH", { inputmode: "decimal" }),
    ])));
  }
  if (data.bottlings.length) {
    parts.push(leaf("Bottles taken home", h("p", { class: "dim" }, "Chill a bottle before you open it, and point it away from faces: a drink that was not finished can ferment on in it."), form("Bottles", (fields) => `${BASE}bottles/${fields.of}/withdrawals`, [
      choice("of", "Of which bottling", data.bottlings.map((one) => [one.id, `${one.code} ${one.name}`])),
      field("bottles", "How many", { inputmode: "numeric", value: "1" }),
      field("remark", "Remark", {}, "Not needed."),
    ])));
  }
  return parts;
}

// A form of this page: what is typed goes into the outbox, and from there to the form of the same name of the server.
function form(label, action, fields, after = () => draw()) {
  const made = h("form", { class: "form", novalidate: true }, fields, h("p", { class: "acts" }, h("button", { class: "do" }, "Keep it")));
  made.addEventListener("submit", async (event) => {
    event.preventDefault();
    const all = Object.fromEntries(new FormData(made, event.submitter));
    const sent = Object.entries(all).filter(([name, value]) => name !== "of" && String(value).trim());
    if (!sent.length) return;
    const of = made.querySelector("[name=of]");
    await keep({ action: action(all), fields: stamped("", sent, await now()), label: of ? `${label}: ${of.selectedOptions[0].textContent}` : label });
    await after();
  });
  return made;
}

async function drawCount() {
  const of = count();
  const mine = await counted(of);
  const done = of.lines.filter((line) => mine.has(line.line) || !["not-counted", "again"].includes(line.progress)).length;
  const first = await next(mine, null);
  const find = h("form", { class: "sift" }, h("div", {}, h("label", { for: "code" }, "Code of the label, or part of a name"), h("input", { id: "code", name: "code", autocomplete: "off", autocapitalize: "none" })), h("button", { class: "also" }, "Find it"));
  const says = h("p", { role: "status" });
  const found = (typed) => {
    const line = finds(of, typed);
    if (line) go({ line });
    else says.textContent = `Nothing on the sheet is called ${typed}. If it stands here all the same, write it down below.`;
    return Boolean(line);
  };
  find.addEventListener("submit", (event) => (event.preventDefault(), found(find.code.value)));
  setTimeout(() => offerScan(find, found));
  const parts = [h("p", { class: "up" }, h("a", { href: "#", onclick: (event) => (event.preventDefault(), go({ count: null, line: null })) }, "All that can be done here")),
    h("div", { class: "answer" }, h("h1", { tabindex: -1 }, of.title), h("p", { class: "dim" }, `${of.code} · ${done} of ${of.lines.length} counted`), first && h("p", { class: "acts" }, h("button", { class: "do", onclick: () => go({ line: first }) }, done ? "Go on counting" : "Begin to count"))),
    leaf("By its label", find, says)];
  let place = null;
  let list = null;
  for (const line of of.lines) {
    if (line.place !== place) {
      place = line.place;
      list = h("ol", { class: "tallies narrow" });
      parts.push(leaf(place, list));
    }
    const state = mine.get(line.line);
    const words = state ? `${state === "none" ? "nothing there" : state}, kept here` : { "not-counted": "not counted", again: "count it again", counted: "counted", settled: "settled" }[line.progress];
    list.append(h("li", {}, h("a", { href: "#", onclick: (event) => (event.preventDefault(), go({ line: line.line })) }, line.name, " ", h("span", { class: "code" }, line.code)), h("span", { class: state ? "ok" : "dim" }, words)));
  }
  parts.push(leaf("Something else stands here", form("Found", () => `${BASE}counts/${of.id}/found`, [
    field("code", "The code of its label", {}, "Empty if it has none."),
    field("what", "Or what it is"),
    choice("place", "Where it stands", data.places.map((one) => [one.id, one.path])),
    field("counted", "How much", {}, "3 × 12 + 5, 2.5 kg, 4 L."),
  ])));
  return parts;
}

// The line that a code, the address on a label or a part of a name means.
function finds(of, typed) {
  const said = typed.trim().replace(/\/$/, "");
  const word = said.split("/").at(-1).toLowerCase();
  if (!word) return null;
  const open = (line) => ["not-counted", "again"].includes(line.progress);
  const fits = (test) => of.lines.filter(test).sort((one, other) => open(other) - open(one))[0]?.line;
  return (
    fits((line) => [line.code, line.lot_code, line.lot, line.bottling].some((code) => code && (code.toLowerCase() === word || code.toLowerCase() === `l-${word}`))) ??
    (word.length > 2 ? fits((line) => line.name.toLowerCase().includes(word)) : null) ??
    null
  );
}

async function drawLine() {
  const of = count();
  const line = of.lines.find((one) => one.line === at.line);
  const mine = await counted(of);
  const place = of.lines.indexOf(line) + 1;
  const made = form(`${line.name} ${line.code}`, () => `${BASE}counts/${of.id}/lines/${line.line}`, [
    h("div", {}, h("label", { for: "counted" }, "How much stands here"), h("span", { class: "hint" }, `Count what you see. ${line.example} is fine.`), h("span", { class: "put" }, h("input", { class: "huge", id: "counted", name: "counted", autocomplete: "off", enterkeyhint: "next" }), line.counted_in && h("span", { class: "lead" }, line.counted_in))),
    h("details", {}, h("summary", {}, line.weighs ? "Weigh it, an open package, a remark" : "An open package, a remark"), h("div", { class: "form" },
      line.weighs && field("gross", "On the scale, with its vessel", {}, "Such as 12.4 kg."),
      line.weighs && field("tare", "The empty vessel", {}, "Such as 900 g. It is taken off."),
      h("div", { class: "pick" }, h("label", {}, h("input", { type: "checkbox", name: "opened", value: "yes" }), h("span", {}, "A package of it is open"))),
      field("remark", "Remark"))),
  ], async () => go({ line: await next(await counted(of), line.line) }));
  made.querySelector(".acts").className = "acts bar";
  made.querySelector(".do").textContent = "Keep, then next";
  made.querySelector(".acts").append(
    h("button", { class: "also", name: "none", value: "yes" }, "None here"),
    h("button", { class: "also", type: "button", onclick: async () => go({ line: await next(mine, line.line) }) }, "Later"));
  return h("div", { class: "answer count-line" },
    h("p", { class: "up" }, h("a", { href: "#", onclick: (event) => (event.preventDefault(), go({ line: null })) }, "Leave; what is kept stays")),
    h("p", { class: "dim" }, `${line.place} · ${place} of ${of.lines.length}`),
    h("h1", { class: line.bottling ? "drink" : null, tabindex: -1 }, line.name),
    line.code && h("p", {}, h("span", { class: "dim" }, "Code "), h("span", { class: "code" }, line.code)),
    line.progress === "again" && h("p", { class: "waits" }, "This is counted a second time. Count it as if for the first time."),
    mine.has(line.line) && h("p", {}, `You kept ${mine.get(line.line) === "none" ? "that nothing is here" : mine.get(line.line)}. What you keep now replaces it.`),
    made);
}

async function drawOutbox() {
  const items = await kept();
  if (!items.length) return data ? [leaf("Outbox", h("p", {}, "Nothing is kept on this device: everything was sent."))] : [];
  const row = (item) => h("li", {},
    h("div", {}, h("strong", {}, item.label), h("p", { class: "dim" }, `${item.fields.filter(([name]) => name !== "at").map(([name, value]) => (name === "none" ? "nothing there" : value)).join(", ")} · ${new Date(item.at).toLocaleString([], { dateStyle: "short", timeStyle: "short" })}`),
      h("p", { class: item.state === "waiting" ? null : "bad" }, { waiting: item.why || "Waits for a signal.", asked: `Is this meant? ${item.why}`, refused: `Not taken. ${item.why}` }[item.state])),
    item.state !== "waiting" && h("p", { class: "acts" },
      item.state === "asked" && h("button", { class: "also", onclick: () => again(item, [["as_read", "yes"]]) }, "Yes, record it as read"),
      item.state === "refused" && h("button", { class: "also", onclick: () => again(item, []) }, "Try again"),
      h("button", { class: "also", onclick: (event) => really(event.target, () => drop(item.turn).then(draw)) }, "Throw it away")));
  return [leaf("Outbox", h("p", {}, `${items.length} kept on this device. They go by themselves when there is a signal; what is sent twice is recorded once.`), h("ol", { class: "differs" }, items.map(row)), h("p", { class: "acts" }, h("button", { class: "also", onclick: () => send().then(fetchPhone).then(start) }, "Try to send now")))];
}

// A person has looked at it: it goes once more, as something new.
async function again(item, more) {
  await change({ ...item, key: freshKey(), fields: [...item.fields, ...more], state: "waiting", why: "", tried: 0 });
  await tell();
  await sendLater();
  await draw();
}

// What cannot be undone is pressed twice.
function really(button, work) {
  if (button.dataset.asked) return work();
  button.dataset.asked = "yes";
  button.textContent = "Really throw it away";
}

let drawn = null;
document.addEventListener("outbox", () => {
  // What is being typed is not drawn anew.
  if (at.line || main.querySelector("form :focus")) return;
  clearTimeout(drawn);
  drawn = setTimeout(draw, 300);
});
start();
