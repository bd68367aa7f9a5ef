// The form of a check as the runner sees it: its data, its fields as text, and small helpers.

export const form = document.getElementById("check");
export const run = JSON.parse(form.dataset.run);
export const byId = (id) => document.getElementById(id);
export const all = (selector, root = form) => [...root.querySelectorAll(selector)];
export const field = (name) => form.elements[name] ?? null;
export const text = (name) => field(name)?.value ?? "";

const NOT_OURS = new Set(["csrfmiddlewaretoken", "do"]);

/** Everything on the form: {name: text}; a box that is not ticked is left out, as a browser does. */
export function fields() {
  const found = {};
  for (const [name, value] of new FormData(form)) if (!NOT_OURS.has(name)) found[name] = value;
  return found;
}

/** Put text into the fields, as it was; rows that are not on the page are made first. */
export function fill(given) {
  for (const [name, value] of Object.entries(given)) {
    const rows = /^series-(\d+)-rows$/.exec(name);
    if (rows) while (rowsOf(rows[1]).length < Number(value) && rowsOf(rows[1]).length < 60) addRow(rows[1]);
  }
  for (const one of form.elements) {
    if (!one.name || NOT_OURS.has(one.name)) continue;
    if (one.type === "checkbox" || one.type === "radio") one.checked = given[one.name] === one.value;
    else if (one.type !== "submit" && one.type !== "button") one.value = given[one.name] ?? "";
  }
}

/** Set a field as a person would, so that everything that listens hears it. */
export function set(name, value) {
  const one = field(name);
  if (!one || one.value === value) return;
  one.value = value;
  one.dispatchEvent(new Event("change", { bubbles: true }));
}

export const rowsOf = (step) => all(`[name^="reading-${step}-"][name$="-typed"]`);

/** One more row of a timed series, after the last one. */
export function addRow(step) {
  const last = rowsOf(step).at(-1).closest(".series-row");
  const number = rowsOf(step).length;
  const row = last.cloneNode(true);
  const from = `reading-${step}-${number - 1}-`;
  for (const one of [row, ...row.querySelectorAll("*")])
    for (const name of ["id", "name", "for", "aria-describedby"])
      if (one.getAttribute(name)?.startsWith(from))
        one.setAttribute(name, one.getAttribute(name).replace(from, `reading-${step}-${number}-`));
  for (const label of row.querySelectorAll("label"))
    label.textContent = label.textContent.replace(`reading ${number}`, `reading ${number + 1}`);
  for (const one of row.querySelectorAll("input")) one.value = "";
  const time = row.querySelector("[name$=-elapsed]");
  time.value = clock(number * run.steps[step].cadence);
  row.querySelector("[data-same]")?.remove();
  last.after(row);
  field(`series-${step}-rows`).value = String(number + 1);
  return number;
}

/** Seconds as 2:30. */
export function clock(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

/** "2:30" or "150" as seconds in decimal text, null where it is no time. */
export function seconds(typed) {
  const parts = /^\s*(?:(\d+):([0-5]\d)|(\d+(?:[.,]\d+)?))\s*$/.exec(typed);
  if (!parts) return null;
  return parts[3] ? parts[3].replace(",", ".") : String(Number(parts[1]) * 60 + Number(parts[2]));
}

/** Text of an element, changed only where it differs: a screen reader hears every change. */
export function say(element, words) {
  if (element.textContent !== words) element.textContent = words;
}

export function element(tag, words = "", more = {}) {
  return Object.assign(document.createElement(tag), { textContent: words, ...more });
}
