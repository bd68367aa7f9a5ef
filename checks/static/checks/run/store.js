// Drafts kept in the browser: one record for each person and check, {key: [person, event], ...}.
// Nothing here is shown to another person of the site: records are asked for by the person's key alone.

const NAME = "weepwatch-runs";
const SHIFT_MS = 12 * 3600 * 1000;
let opening = null;

function opened() {
  opening ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("runs", { keyPath: "key" });
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
  return opening;
}

async function ask(mode, act) {
  const store = await opened();
  return new Promise((resolve, reject) => {
    const change = store.transaction("runs", mode);
    const asked = act(change.objectStore("runs"));
    change.commit?.(); // not only once it is answered: the page may be gone by then
    change.oncomplete = () => resolve(asked.result);
    change.onabort = () => reject(change.error ?? asked.error);
  });
}

export const get = (person, event) => ask("readonly", (runs) => runs.get([person, event]));
export const put = (record) => ask("readwrite", (runs) => runs.put(record));
export const drop = (person, event) => ask("readwrite", (runs) => runs.delete([person, event]));

/**
 * What of this person waits to be sent, and how much of other persons, as a number only. What is sent needs no
 * keeping: that of other persons goes at once, one's own after a shift.
 */
export async function waiting(person) {
  const kept = await ask("readonly", (runs) => runs.getAll());
  const old = (one) => one.person !== person || Date.now() - one.seenAt > SHIFT_MS;
  for (const one of kept) if (!one.dirty && old(one)) await drop(...one.key);
  const found = kept.filter((one) => one.dirty);
  const own = found.filter((one) => one.person === person);
  return { own, others: found.length - own.length };
}

/** The key of this browser, made once. */
export function device() {
  const made = crypto.randomUUID?.() ?? String(Math.random()).slice(2) + String(Date.now());
  try {
    const kept = localStorage.getItem("weepwatch-device");
    if (!kept) localStorage.setItem("weepwatch-device", made);
    return kept ?? made;
  } catch {
    return made; // storage is closed: this window is a phone of its own
  }
}
