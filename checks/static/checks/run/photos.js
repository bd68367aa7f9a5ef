// Photos of a check: kept on this phone first, then sent; without a network they wait here. Of one person and
// browser, like the drafts. Without this file the form is sent as it stands.

import { all, byId, element, run } from "./page.js";

const NAME = "weepwatch-photos";
const root = byId("photos");
const form = root.querySelector("[data-photo]");
const says = form.querySelector("[data-photo-says]");
let opening = null;
let sending = null;

function opened() {
  opening ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("photos", { keyPath: "key", autoIncrement: true });
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
  return opening;
}

async function ask(mode, act) {
  const store = await opened();
  return new Promise((resolve, reject) => {
    const change = store.transaction("photos", mode);
    const asked = act(change.objectStore("photos"));
    change.oncomplete = () => resolve(asked.result);
    change.onabort = () => reject(change.error ?? asked.error);
  });
}

const put = (one) => ask("readwrite", (photos) => photos.put(one));
const drop = (one) => ask("readwrite", (photos) => photos.delete(one.key));
const waiting = async () => (await ask("readonly", (photos) => photos.getAll())).filter((one) => one.person === run.person);

/** What waits of this check, each with why it was refused and a way to drop it. */
async function tell(words = "") {
  const own = (await waiting()).filter((one) => one.event === run.event);
  const held = own.filter((one) => !one.refused).length;
  const lines = words ? [words] : [];
  if (held) lines.push(`${held === 1 ? "1 photo is" : `${held} photos are`} kept on this phone, not sent. Sent as soon as there is a network.`);
  says.replaceChildren(...lines.map((line) => element("span", `${line} `)));
  for (const one of own.filter((each) => each.refused)) {
    const away = element("button", "Drop it from this phone", { type: "button", className: "bare" });
    away.addEventListener("click", async () => { await drop(one); await tell(); });
    says.append(element("span", `${one.fields.name || "A photo"} was not taken: ${one.refused} `), away);
  }
  says.hidden = !says.childNodes.length;
}

const megabytes = (bytes) => `${Math.round((bytes / 1024 / 1024) * 10) / 10} MB`;

/** Why a file is too large to be sent at all, or nothing. */
function tooLarge(file) {
  const most = Number(form.elements.file.dataset.most);
  return file.size > most ? `It has ${megabytes(file.size)}; at most ${megabytes(most)} are taken. Take it again at a lower setting, or make it smaller.` : "";
}

/** 'kept', 'refused' (with words in one.refused), or 'later'. */
async function send(one) {
  one.refused = tooLarge(one.file); // a server that refuses by length may just close the line, which looks like no network
  if (one.refused) return "refused";
  const body = new FormData();
  for (const name of ["step", "kind", "remark"]) body.append(name, one.fields[name] ?? "");
  body.append("person", one.person);
  body.append("file", one.file, "photo");
  const headers = { Accept: "application/json", "X-CSRFToken": form.elements.csrfmiddlewaretoken.value };
  const response = await fetch(one.address, { method: "POST", body, headers, redirect: "manual", credentials: "same-origin" }).catch(() => null);
  if (response?.status === 413) { // too large for the site to read at all: waiting would not help
    one.refused = "The file is too large for this site. Take it again at a lower setting.";
    return "refused";
  }
  if (!response || (response.status !== 200 && response.status !== 422)) return "later";
  const answer = await response.json().catch(() => null);
  if (answer?.state === "kept") return "kept";
  if (answer?.state !== "refused") return "later";
  one.refused = answer.words;
  return "refused";
}

/** Send what waits, one after the other; what another window sends meanwhile is the same photo to the server. */
async function sendAll() {
  let kept = 0;
  for (const one of await waiting()) {
    if (one.refused) continue;
    const became = await send(one);
    if (became === "later") break;
    if (became === "refused") await put(one);
    else await drop(one);
    if (became === "kept" && one.event === run.event) kept += 1;
  }
  const count = root.querySelector("[data-photo-count]");
  count.textContent = String(Number(count.textContent) + kept);
  await tell(kept ? `${kept === 1 ? "1 photo was" : `${kept} photos were`} sent and kept with this check.` : "");
}

const soon = () => (sending ??= sendAll().finally(() => { sending = null; }));

async function submitted(event) {
  if (!form.elements.file.files.length) return; // the server says what is missing
  event.preventDefault();
  event.stopPropagation();
  const [file] = form.elements.file.files;
  const words = tooLarge(file);
  if (words) return tell(`Not kept. ${words}`); // it stays chosen, with its remark
  const { step, kind, remark } = form.elements;
  const fields = { step: step.value, kind: kind.value, remark: remark.value, name: file.name };
  const one = { person: run.person, event: run.event, address: form.getAttribute("action"), fields, file };
  try {
    await put(one);
  } catch {
    return form.submit(); // no room on this phone: sent as it stands, and the browser says whether it arrived
  }
  form.reset();
  await sending;
  await soon();
}

// The step on the screen is the one that the photo is of, unless the person says otherwise.
root.addEventListener("toggle", () => {
  const shown = all("section.step").filter((step) => !step.hidden);
  if (!root.open || shown.length !== 1) return;
  const found = Object.entries(run.steps).find(([, step]) => shown[0].id === `step-${step.number}`);
  if (found) form.elements.step.value = found[0];
});

form.addEventListener("submit", submitted);
window.addEventListener("online", soon);
soon();
