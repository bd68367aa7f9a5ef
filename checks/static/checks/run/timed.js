// The clocks of timed steps: by the time of day, so that a reload or a locked phone changes nothing.

import { all, form } from "./page.js";
import { Collection } from "./collection.js";
import { record, setClock } from "./sender.js";
import { Series } from "./series.js";

const TICK_MS = 250;
const BUZZ_MS = 300;
const parts = [];
let lock = null;
let hiddenSince = null;

export const buzz = () => navigator.vibrate?.(BUZZ_MS);
export const since = (name) => (record().clocks[name] ? (Date.now() - record().clocks[name]) / 1000 : null);

/** Seconds since the pump of a series was switched on; null while it was not. */
export const sincePump = (step) => since(`pump-${step}`);

export async function pumpOn(step) {
  await setClock(`pump-${step}`, Date.now());
  stayAwake();
  refresh();
}

// Some phones let a page keep the screen on; where not, what was missed is shown afterwards.
export async function stayAwake() {
  try {
    lock ??= await navigator.wakeLock?.request("screen");
    lock?.addEventListener("release", () => { lock = null; });
  } catch {
    lock = null;
  }
}

/** 'Correct or type': the rows themselves, hidden in the step view until they are asked for. */
function typing(root) {
  const button = root.querySelector("[data-correct]");
  button.addEventListener("click", () => {
    const open = button.getAttribute("aria-expanded") !== "true";
    button.setAttribute("aria-expanded", String(open));
    root.closest("section").classList.toggle("by-hand", open);
  });
}

export function refresh() {
  for (const part of parts) part.refresh();
}

/** Bring the timed steps to life. */
export function begin() {
  for (const root of all("[data-series]")) parts.push(new Series(root)), typing(root);
  for (const root of all("[data-collection]")) parts.push(new Collection(root)), typing(root);
  form.addEventListener("change", refresh);
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "hidden") hiddenSince = Date.now();
    else {
      for (const part of parts) part.back?.(hiddenSince ?? Date.now());
      hiddenSince = null;
      stayAwakeIfRunning();
      refresh();
    }
  });
  if (parts.length) setInterval(refresh, TICK_MS);
  // After a reload: what fell due since the form was last touched on this phone.
  for (const part of parts) part.back?.(record().seenAt ?? Date.now());
  refresh();
}

const stayAwakeIfRunning = () => Object.keys(record().clocks).length && stayAwake();
