// Keeps the form in the browser as it is typed and sends it when there is a network: once, however often.

import * as says from "./answers.js";
import { all, byId, fields, form, run } from "./page.js";
import * as store from "./store.js";
import { tell } from "./words.js";

const AGAIN_MS = [3_000, 10_000, 30_000, 60_000];
const state = { record: null, sending: null, writing: null, stale: false, tries: 0, timer: 0, kept: true, heard: [] };
const token = () => form.elements.csrfmiddlewaretoken;
const place = document.querySelector("[data-run-state]");

export const record = () => state.record;
/** act(answer) after each answer of the server that kept the draft. */
export const onKept = (act) => state.heard.push(act);

/** What is in this browser of the check, set against the page. -> the fields to go on with, or null: the page's. */
export async function begin() {
  const fresh = {
    key: [run.person, run.event], person: run.person, event: run.event, name: run.name, url: location.pathname,
    send: run.send, base: run.base, baseAt: run.at, fields: fields(), clocks: {}, number: 0, dirty: false, sentAt: null,
  };
  let earlier = null;
  try {
    earlier = await store.get(run.person, run.event);
  } catch {
    storageFailed();
  }
  // Clocks that another phone started hold here too.
  state.record = { ...fresh, clocks: { ...run.clocks, ...earlier?.clocks }, number: earlier?.number ?? 0, seenAt: earlier?.seenAt };
  const pageIsOlder = earlier && run.at < earlier.baseAt; // it came from this phone, not from the server
  if (!earlier || !(earlier.dirty || pageIsOlder)) return null;
  Object.assign(state.record, {
    base: earlier.base, baseAt: Math.max(earlier.baseAt, pageIsOlder ? 0 : run.at), fields: earlier.fields,
    dirty: earlier.dirty, sentAt: earlier.sentAt,
  });
  return earlier.fields;
}

/** The form changed: keep it here at once, then send it. */
export async function changed({ soon = 400 } = {}) {
  const now = fields();
  if (JSON.stringify(now) !== JSON.stringify(state.record.fields)) {
    Object.assign(state.record, { fields: now, dirty: true, number: state.record.number + 1 });
    await keep();
  }
  if (state.record.dirty) later(soon);
}

/** Start times of pump and collection, in milliseconds of this phone's clock; null takes one back. */
export async function setClock(name, moment) {
  if (moment === null) delete state.record.clocks[name];
  else state.record.clocks[name] = moment;
  Object.assign(state.record, { dirty: true, number: state.record.number + 1 });
  await keep();
  later(400);
}

/** Write the record to this browser, at once: one writing at a time, and again for what changed meanwhile. */
function keep() {
  state.stale = true;
  state.writing ??= write();
  return state.writing;
}

async function write() {
  while (state.stale) {
    state.stale = false;
    state.record.seenAt = Date.now();
    try {
      await store.put(state.record);
      if (!state.kept) tell("storage");
      state.kept = true;
    } catch {
      storageFailed();
    }
  }
  state.writing = null;
  show();
}

function storageFailed() {
  state.kept = false;
  tell(
    "storage",
    "This phone can't keep the work: its storage is full or closed. Stay on this page until it says Sent; " +
      "free some space, or go on with another phone.",
  );
}

function later(ms) {
  clearTimeout(state.timer);
  state.timer = setTimeout(send, ms);
}

/** Send what is not sent. -> 'sent', 'offline' or the state that the server answered with. */
export async function send() {
  clearTimeout(state.timer);
  if (state.sending) await state.sending;
  if (!state.record.dirty) return "sent";
  if (state.record.stopped) return state.record.stopped;
  state.sending = sendOnce();
  show();
  const became = await state.sending;
  state.sending = null;
  show();
  if (state.record.dirty && !state.record.stopped) {
    later(became === "sent" ? 400 : AGAIN_MS[Math.min(state.tries++, AGAIN_MS.length - 1)]);
  } else state.tries = 0;
  return became;
}

function body(replaces) {
  const clocks = Object.entries(state.record.clocks).map(([name, ms]) => [name, new Date(ms).toISOString()]);
  return {
    person: run.person, device: store.device(), number: state.record.number, base: state.record.base,
    clock: new Date().toISOString(), text: state.record.fields, clocks: Object.fromEntries(clocks), replaces,
  };
}

async function sendOnce({ replaces = false, fresh = false } = {}) {
  const sent = body(replaces);
  let response;
  try {
    response = await fetch(run.send, {
      method: "POST", redirect: "manual", credentials: "same-origin", body: JSON.stringify(sent),
      headers: { "Content-Type": "application/json", "X-CSRFToken": token().value, "HX-Request": "true" },
    });
  } catch {
    return "offline";
  }
  if (response.type === "opaqueredirect") return says.signedOut();
  const answer = (response.headers.get("Content-Type") ?? "").includes("json") ? await response.json() : null;
  if (response.status === 403 && !answer && !fresh) {
    const became = await newToken();
    return became === "new" ? sendOnce({ replaces, fresh: true }) : became;
  }
  if (!answer) return says.trouble(response.status);
  return heard(answer, sent);
}

// The token of the form changes with each log-in; the page itself has the new one, and says whose it is.
async function newToken() {
  let response;
  try {
    response = await fetch(location.pathname, { redirect: "manual", credentials: "same-origin", cache: "no-store" });
  } catch {
    return "offline";
  }
  if (response.type === "opaqueredirect") return says.signedOut();
  if (!response.ok) return says.trouble(response.status);
  const page = new DOMParser().parseFromString(await response.text(), "text/html");
  const theirs = page.getElementById("check");
  if (!theirs) return says.trouble(403);
  if (JSON.parse(theirs.dataset.run).person !== run.person) return says.otherPerson();
  token().value = theirs.querySelector("[name=csrfmiddlewaretoken]").value;
  document.body.setAttribute("hx-headers", JSON.stringify({ "x-csrftoken": token().value }));
  return "new";
}

async function heard(answer, sent) {
  if (answer.state === "other person") return says.otherPerson();
  if (answer.state === "unreadable") {
    tell("server", answer.words);
    return "trouble";
  }
  tell("session");
  tell("server");
  says.others(answer.others ?? []);
  says.skew(answer.skew);
  if (answer.state === "kept") await kept(answer, sent);
  else if (answer.state === "conflict") conflict(answer);
  else await closed(answer);
  return answer.state === "kept" ? "sent" : answer.state;
}

async function kept(answer, sent) {
  const same = JSON.stringify(sent.text) === JSON.stringify(state.record.fields) && sent.number === state.record.number;
  Object.assign(state.record, {
    base: answer.revision, baseAt: answer.at, sentAt: Date.now(), dirty: !same, stopped: undefined,
  });
  tell("conflict");
  await keep();
  for (const act of state.heard) act(answer, same);
}

function conflict(answer) {
  state.record.stopped = "conflict";
  says.conflict(answer, { mine: () => takeMine(answer), theirs: takeTheirs });
}

async function takeMine(answer) {
  Object.assign(state.record, { base: answer.revision, baseAt: answer.at, stopped: undefined });
  tell("conflict");
  state.sending = sendOnce({ replaces: true });
  show();
  await state.sending;
  state.sending = null;
  show();
}

// What this phone held is on the server as a copy; the page is read anew.
async function takeTheirs() {
  await forget();
  state.record.dirty = false;
  location.reload();
}

async function closed(answer) {
  Object.assign(state.record, { dirty: false, stopped: answer.state });
  await forget();
  says.closed(answer);
}

function show() {
  place.hidden = false;
  let now = state.record.dirty ? "kept" : "sent";
  if (state.sending) now = "sending";
  if (!state.kept && state.record.dirty) now = "lost";
  for (const one of all("[data-is]", place)) one.hidden = one.dataset.is !== now;
  const at = state.record.sentAt;
  byId("check").querySelector("[data-run-sent]").textContent = at
    ? new Date(at).toTimeString().slice(0, 5)
    : "";
}

/** The draft is thrown away: what is kept here goes too. */
export const forget = () => store.drop(run.person, run.event).catch(() => {});

/** Listen: what is typed, a network that comes back, a page that is looked at again. */
export function listen() {
  show();
  says.others(run.others.filter((one) => one.device !== store.device()).map((one) => one.words));
  form.addEventListener("input", () => changed({ soon: 1_500 }));
  form.addEventListener("change", () => changed());
  window.addEventListener("online", () => later(0));
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") later(0);
    else changed({ soon: 0 });
  });
  window.addEventListener("pagehide", () => changed({ soon: 0 }));
  window.addEventListener("beforeunload", (event) => {
    if (state.record.dirty && !state.kept) event.preventDefault();
  });
  if (state.record.dirty) later(0);
}

/** Work of other checks, and of other people, that waits on this phone. */
export async function tellWaiting() {
  const { own, others } = await store.waiting(run.person).catch(() => ({ own: [], others: 0 }));
  const elsewhere = own.filter((one) => one.event !== run.event);
  tell("own", elsewhere.length ? "Not sent yet from this phone; open it to send it:" : "", {
    acts: elsewhere.map((one) => ({ label: one.name, href: one.url })),
  });
  tell("foreign", others ? "Work of another person on this phone is not sent yet. It stays here until that person signs in." : "");
}
