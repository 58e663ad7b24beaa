// Undercroft in the page. Everything works without this file; with it, forms are kinder:
// a double tap sends once, the problem summary has the focus, lines can be added,
// and the groups of a long form lead from one to the next.
"use strict";

// A form is sent once. The request key would keep a second sending harmless; this keeps it unsent.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post") return;
  if (form.dataset.sent) event.preventDefault();
  form.dataset.sent = "yes";
  for (const button of form.querySelectorAll(".do")) button.setAttribute("aria-disabled", "true");
});

// Back from the next page, or a reload that restored what was typed.
window.addEventListener("pageshow", () => {
  for (const form of document.forms) {
    delete form.dataset.sent;
    for (const button of form.querySelectorAll(".do")) button.removeAttribute("aria-disabled");
  }
  document.querySelectorAll("[data-repeat]").forEach(hideSpareLines);
  if (document.activeElement === document.body) document.querySelector(".problem")?.focus();
});

document.querySelectorAll("[data-repeat]").forEach(offerLines);
document.querySelectorAll("form").forEach(linkFolds);

const linesOf = (group) => [...group.querySelectorAll(".each")];

function typedIn(part) {
  return [...part.querySelectorAll("input:not([type]), [type=text], [type=email], textarea")]
    .map((field) => field.value.trim())
    .filter(Boolean);
}

// Without script spare lines stand ready at the end; with it they wait behind the button.
function hideSpareLines(group) {
  for (const line of linesOf(group).slice(1).reverse()) {
    const chosen = [...line.querySelectorAll("select")].some((field) => field.selectedIndex > 0);
    if (chosen || typedIn(line).length || line.querySelector(".err") || line.contains(document.activeElement)) return;
    line.hidden = true;
  }
}

function offerLines(group) {
  const button = plainButton(`Add another ${group.dataset.repeat}`);
  button.addEventListener("click", () => {
    const line = linesOf(group).find((one) => one.hidden) ?? addLine(group);
    line.hidden = false;
    line.querySelector("input, select, textarea")?.focus();
  });
  group.append(inParagraph(button));
}

// A copy of the last line with the next number in every name and id, and nothing filled in. The numbers of lines within
// the line stay.
function addLine(group) {
  const lines = linesOf(group);
  const last = lines.at(-1);
  const line = last.cloneNode(true);
  const to = lines.length;
  for (const part of line.querySelectorAll("*")) {
    for (const name of ["id", "name", "for", "aria-describedby"]) {
      const value = part.getAttribute(name);
      if (value) part.setAttribute(name, value.replace(/((?:^|\s)[^\d\s]*[.-])\d+(?=[.-])/g, (all, head) => head + to));
    }
    part.removeAttribute("aria-invalid");
    part.classList.remove("wrong");
  }
  line.querySelectorAll(".err").forEach((message) => message.remove());
  line.querySelectorAll("input:not([type=radio], [type=checkbox], [type=hidden]), textarea").forEach((field) => (field.value = ""));
  line.querySelectorAll("select").forEach((field) => (field.selectedIndex = 0));
  line.querySelector("legend span").textContent = to + 1;
  last.after(line);
  return line;
}

// One question group at a time: each open group ends in a button that folds it and opens the next.
function linkFolds(form) {
  const folds = [...form.querySelectorAll(":scope > .fold")];
  folds.forEach((fold, at) => {
    fold.addEventListener("toggle", () => sayWhatItHolds(fold));
    const next = folds[at + 1];
    if (!next) return;
    const button = plainButton(`Next: ${next.querySelector("h2").textContent.replace(/^\d+\. /, "")}`);
    button.addEventListener("click", () => {
      fold.open = false;
      next.open = true;
      next.querySelector("summary").focus();
      next.scrollIntoView({ block: "start" });
    });
    fold.querySelector(".form").append(inParagraph(button));
  });
}

function sayWhatItHolds(fold) {
  if (fold.querySelector("[data-repeat]")) return;
  const chosen = [...fold.querySelectorAll("select")].map((field) => field.selectedOptions[0]?.value && field.selectedOptions[0].textContent);
  fold.querySelector("summary .dim").textContent = [...typedIn(fold), ...chosen.filter(Boolean)].slice(0, 2).join(", ");
}

function plainButton(text) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "also";
  button.textContent = text;
  return button;
}

function inParagraph(button) {
  const line = document.createElement("p");
  line.className = "acts";
  line.append(button);
  return line;
}

// A question of the workbench works itself out as its fields change: the same page is fetched with what is typed, and
// what it found takes the place of what stood there. The answer is a status, so that it is read out politely.
document.querySelectorAll("form[data-live]").forEach((form) => {
  let wait, asked = 0;
  const parts = ["tells", "found"].map((id) => document.getElementById(id));
  form.addEventListener("input", () => {
    clearTimeout(wait);
    wait = setTimeout(async () => {
      const mine = ++asked;
      const fields = new URLSearchParams([...new FormData(form)].filter(([, value]) => value.trim()));
      const address = `${form.action}?${fields}`;
      const answer = await fetch(address).catch(() => null);
      if (!answer || mine !== asked || ![200, 422].includes(answer.status)) return;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (mine !== asked) return;
      for (const part of parts) {
        const next = page.getElementById(part.id);
        if (!next) continue;
        if (part.id === "tells" && part.textContent !== next.textContent) part.textContent = next.textContent;
        if (part.id === "found" && answer.ok) part.replaceChildren(...next.childNodes);
        part.classList.toggle("stale", !answer.ok);
      }
      history.replaceState(null, "", address);
    }, 350);
  });
});

// A tasting sheet where the signal drops: what is chosen and typed is kept on the device under the sheet's name until the
// server has it. The screens of the other glasses are fetched beforehand, so that one can go on without a signal. What was
// saved meanwhile waits in the outbox.
const KEPT = "undercroft.sheet.";
const screens = new Map();

document.querySelectorAll("form[data-keep]").forEach(keepSheet);

function keepSheet(form) {
  const name = KEPT + form.dataset.keep;
  const says = form.querySelector("[data-kept]");
  const glasses = [...document.querySelectorAll(".tray a")];
  const fields = () => [...new FormData(form)].filter(([field]) => !["form_token", "request_key"].includes(field));
  const before = readKept(name);
  if (before && before.saved === form.dataset.saved && !form.closest("main").querySelector(".problem")) {
    for (const field of form.elements) {
      const values = before.fields.filter(([one]) => one === field.name).map(([, value]) => value);
      if (["radio", "checkbox"].includes(field.type)) field.checked = values.includes(field.value);
      else if (field.type === "textarea") field.value = values[0] ?? "";
    }
    says.textContent = "What you entered before the signal dropped is still here; it is not on your sheet yet.";
  } else if (before) {
    localStorage.removeItem(name);
  }
  glasses.forEach(fetchScreen);
  for (const link of glasses) {
    link.addEventListener("click", async (event) => {
      if (!screens.has(link.href)) return;
      event.preventDefault();
      if (await reaches()) location.assign(link.href);
      else showScreen(link.href);
    });
  }
  form.addEventListener("input", () => writeKept(name, { saved: form.dataset.saved, fields: fields() }));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (form.dataset.sent) return;
    const entered = { saved: form.dataset.saved, fields: fields() };
    writeKept(name, entered);
    const next = document.querySelector(".tray [aria-current]")?.parentNode.nextElementSibling?.firstElementChild.href;
    if (!(await reaches())) {
      await keep({ action: form.action, fields: entered.fields, label: document.title, name });
      if (screens.has(next)) return showScreen(next);
      says.textContent = "No signal. It is kept on this device and sent when the signal is back.";
      while (!(await reaches())) await pause(4000);
      await sendLater();
      return location.assign(next ?? form.action);
    }
    await send().catch(() => {});
    form.submit();
  });
}

function fetchScreen({ href }) {
  fetch(href, { cache: "no-store" })
    .then(async (answer) => answer.ok && screens.set(href, await answer.text()))
    .then(() => (document.documentElement.dataset.screens = screens.size))
    .catch(() => {});
}

// The screen of another glass, as it was when it was fetched; what is kept of it is filled in.
async function showScreen(address) {
  const page = new DOMParser().parseFromString(screens.get(address), "text/html");
  const sheet = page.querySelector("form[data-keep]").dataset.keep.split(".")[0];
  const waits = new Set((await kept()).map((item) => item.name));
  for (const link of page.querySelectorAll(".tray a:not(:has(.marked))")) {
    if (waits.has(`${KEPT}${sheet}.${link.textContent.trim()}`)) {
      link.insertAdjacentHTML("beforeend", '<span class="away"> kept</span><span class="marked" aria-hidden="true"></span>');
    }
  }
  page.querySelector("[name=request_key]").value = freshKey();
  document.querySelector("main").replaceWith(document.adoptNode(page.querySelector("main")));
  document.title = page.title;
  history.replaceState(null, "", address);
  scrollTo(0, 0);
  const form = document.querySelector("form[data-keep]");
  keepSheet(form);
  const says = form.querySelector("[data-kept]");
  says.textContent ||= "No signal. What you save is kept on this device and sent when the signal is back.";
}

// What the outbox has sent is on the sheet, unless it was corrected meanwhile.
document.addEventListener("outbox-sent", ({ detail: { name, fields } }) => {
  if (!name.startsWith(KEPT)) return;
  if (JSON.stringify(readKept(name)?.fields) === JSON.stringify(fields)) localStorage.removeItem(name);
  const says = document.querySelector("[data-kept]");
  if (says) says.textContent = "The signal is back: what you saved is on your sheet.";
  document.querySelectorAll(".tray a").forEach(fetchScreen);
});

function readKept(name) {
  try {
    return JSON.parse(localStorage.getItem(name));
  } catch {
    return null;
  }
}

function writeKept(name, what) {
  try {
    localStorage.setItem(name, JSON.stringify(what));
  } catch {
    // A device that keeps nothing loses nothing that was there before.
  }
}

// Sheets are waited for: the page looks from time to time whether that has changed.
document.querySelectorAll("[data-await]").forEach((part) => {
  setInterval(async () => {
    if (document.hidden || document.querySelector("form :focus")) return;
    const answer = await fetch(location.href, { cache: "no-store" }).catch(() => null);
    if (!answer?.ok) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (page.querySelector("[data-await]")?.dataset.await !== part.dataset.await) location.reload();
  }, 7000);
});

// How long something that runs still takes: counted from the server's clock, whatever the clock of the phone says.
document.querySelectorAll("[data-ends]").forEach((part) => {
  const ahead = Date.now() - Date.parse(part.dataset.now);
  const ends = Date.parse(part.dataset.ends);
  const two = (number) => String(number).padStart(2, "0");
  const tick = () => {
    const left = Math.round((ends + ahead - Date.now()) / 1000);
    const [size, over] = [Math.abs(left), left <= 0];
    const hours = Math.floor(size / 3600);
    const minutes = Math.floor((size % 3600) / 60);
    const clock = hours > 47 ? `${Math.round(hours / 24)} days` : hours ? `${hours} h ${two(minutes)} min` : `${minutes}:${two(size % 60)}`;
    part.textContent = over ? `over since ${clock}` : `${clock} left`;
    part.classList.toggle("bad", over);
  };
  tick();
  setInterval(tick, 1000);
});
