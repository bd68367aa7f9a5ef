// The form one step a screen. The order is that of the form; the whole form is one tap away.

import { all, byId, element, field, form, run } from "./page.js";
import * as live from "./live.js";
import { pumpOn, sincePump } from "./timed.js";

const NARROW = "(max-width: 47rem)";
const top = byId("run");
const at = (name) => document.querySelector(`[data-run-${name}]`);
const panel = document.querySelector(".check-panel");
const cards = [];
let now = 0;
let stepping = false;

const remembered = (name, value) => {
  try {
    if (value === undefined) return localStorage.getItem(name);
    localStorage.setItem(name, value);
  } catch { /* storage is closed: it is asked anew */ }
  return null;
};

const stepOf = (root) => Object.entries(run.steps).find(([, step]) => root.id === `step-${step.number}`);

function find() {
  for (const root of all("[data-card], .heed-list > li, section.step")) {
    const [key, step] = stepOf(root) ?? [null, null];
    cards.push({ root, key, step, name: root.dataset.card ?? `Step ${step.number}: ${wordOf(step.kind)}` });
  }
  cards.steps = cards.filter((card) => card.step).length;
}

const wordOf = (kind) => kind.replace("_", " ");
const box = (card) => card.step && card.root.querySelector("[type=checkbox][name^=caution-]");

/** Whether nothing is left to do on a card; true for what is only read. */
function done(card) {
  const { root, step } = card;
  if (card.root.dataset.card === "Put back") return all("[type=checkbox]", root).every((one) => one.checked);
  if (!step) return true;
  if (root.querySelector(".asked.open:not([hidden])")) return false; // a question without an answer
  if (box(card)) return box(card).checked;
  if (step.kind === "observe") return all("fieldset.choices", root).every((set) => set.querySelector(":checked"));
  if (step.kind === "timed_series") return Boolean(live.settled(card.key)?.settled);
  if (step.kind === "timed_collection" || step.kind === "measure") return Boolean(root.querySelector("[name$=-typed]").value.trim());
  return card.seen === true || cards.indexOf(card) < now;
}

export const open = () => cards.filter((card) => !done(card));

/** The instruction right before a timed series is where the pump is switched on. */
const seriesAfter = (card) => {
  const next = cards[cards.indexOf(card) + 1];
  return card.step?.kind === "instruction" && next?.step?.kind === "timed_series" ? next.key : null;
};

function nextWords(card) {
  if (box(card) && !box(card).checked) return card.step.kind === "confirm" ? "Done" : "Read and followed";
  const series = seriesAfter(card);
  if (series && sincePump(series) === null) return "Pump on: start the clock";
  return "Next";
}

function forward() {
  const card = cards[now];
  const tick = box(card);
  if (tick && !tick.checked) tick.click();
  const series = seriesAfter(card);
  if (series && sincePump(series) === null) pumpOn(series);
  card.seen = true;
  show(now + 1);
}

/** Show one card; the focus goes to its heading unless it is the first one after loading. */
export function show(index, { focus = true } = {}) {
  now = Math.min(Math.max(index, 0), cards.length - 1);
  const card = cards[now];
  remembered(`weepwatch-step-${run.event}`, String(now));
  for (const one of cards) one.root.hidden = one !== card;
  for (const list of all(".heed-list")) list.hidden = !list.contains(card.root);
  if (card.root.tagName === "DETAILS") card.root.open = true;
  const last = now === cards.length - 1;
  form.classList.toggle("at-the-end", last);
  panel.hidden = !(last || card.step?.point);
  at("list").open = false;
  refresh();
  if (!focus) return;
  at("place").focus({ preventScroll: true });
  top.scrollIntoView({ block: "start" });
}

/** Words, progress and buttons of the card that is shown. */
export function refresh() {
  if (!stepping) return;
  const card = cards[now];
  const place = card.step ? `Step ${card.step.number} of ${cards.steps}` : card.name;
  if (at("place").textContent !== place) at("place").textContent = place;
  const finished = cards.filter((one) => one.step && done(one)).length;
  Object.assign(at("progress"), { max: cards.steps, value: finished });
  at("back").disabled = now === 0;
  at("next").hidden = now === cards.length - 1;
  at("next-words").textContent = nextWords(card);
  list();
}

function list() {
  const lines = cards.map((card, index) => {
    const words = card.step ? card.root.querySelector(".step-text, .kind + p").textContent : "";
    const button = element("button", "", { type: "button", className: "bare" });
    button.append(element("b", card.name), element("span", words), element("em", done(card) ? "done" : "open"));
    if (index === now) button.setAttribute("aria-current", "step");
    button.addEventListener("click", () => show(index));
    const line = element("li");
    line.append(button);
    return line;
  });
  const key = lines.map((line) => line.textContent + line.innerHTML.includes("aria-current")).join("|");
  const place = at("list").querySelector("ol");
  if (place.dataset.key === key) return;
  place.dataset.key = key;
  place.replaceChildren(...lines);
}

function view(steps) {
  stepping = steps;
  document.body.classList.toggle("running", steps);
  top.hidden = at("go").hidden = !steps;
  at("steps").hidden = steps;
  if (steps) return show(Number(remembered(`weepwatch-step-${run.event}`) ?? 0), { focus: false });
  for (const card of cards) card.root.hidden = false;
  for (const listed of all(".heed-list")) listed.hidden = false;
  panel.hidden = false;
}

/** The card that holds a field, for a line that leads to it. */
export function goTo(name) {
  const target = field(name) ?? byId(name);
  const one = target instanceof RadioNodeList ? target[0] : target;
  const index = cards.findIndex((card) => one && (card.root === one || card.root.contains(one)));
  if (!stepping || index < 0) return;
  cards[index].root.classList.add("by-hand");
  show(index, { focus: false });
  one.focus?.();
}

export function begin() {
  find();
  at("back").addEventListener("click", () => show(now - 1));
  at("next").addEventListener("click", forward);
  at("whole").addEventListener("click", () => choose("whole"));
  at("steps").querySelector("button").addEventListener("click", () => choose("steps"));
  form.addEventListener("change", refresh);
  form.addEventListener("input", refresh);
  window.addEventListener("hashchange", () => goTo(decodeURIComponent(location.hash.slice(1))));
  const chosen = remembered("weepwatch-view");
  const summary = document.querySelector(".summary[data-focus]");
  view((chosen ? chosen === "steps" : matchMedia(NARROW).matches) && !summary);
  if (location.hash) goTo(decodeURIComponent(location.hash.slice(1)));
}

function choose(way) {
  remembered("weepwatch-view", way);
  view(way === "steps");
  (way === "steps" ? at("place") : at("steps").querySelector("button")).focus();
}
