// The runner: the form of a check one step a screen, its clock, its drafts kept here and sent when there is a
// network. Without this file the page is the whole form and works as it stands.

import { all, byId, element, fill, form, run, set } from "./page.js";
import * as asked from "./asked.js";
import * as cards from "./cards.js";
import * as live from "./live.js";
import * as sender from "./sender.js";
import * as timed from "./timed.js";
import { tell } from "./words.js";

// From here on the draft is sent by this file alone, with what it knows of the draft before.
for (const name of ["hx-post", "hx-trigger", "hx-target", "hx-swap", "hx-sync"]) form.removeAttribute(name);

function serverSays(answer, same) {
  const page = new DOMParser().parseFromString(answer.panel, "text/html");
  for (const id of ["outcome", "outcome-line"]) {
    const part = page.getElementById(id);
    part.removeAttribute("hx-swap-oob");
    byId(id).replaceWith(document.adoptNode(part));
  }
  byId("outcome").dispatchEvent(new CustomEvent("htmx:afterSettle", { bubbles: true }));
  // An answer to what has been typed over since is not compared: what is sent next has its own.
  const differs = same ? live.differences(answer.points) : [];
  const lines = differs.map((one) => `step ${one.number}: this phone reckons ${one.phone}, the server ${one.server}`);
  if (same) lines.push(...asked.serverAsks(answer.asked, answer.problems));
  tell("differs", lines.length ? `The server decides. ${lines.join("; ")}.` : "");
  byId("outcome").dataset.from = "server";
  cards.refresh();
}

/** What the phone itself makes of each step that reads a point, beside the step. */
function outcomes() {
  for (const [key, step] of Object.entries(run.steps)) {
    if (!step.point) continue;
    const root = byId(`step-${step.number}`);
    const found = live.ofStep(key);
    let line = root.querySelector(".run-outcome");
    if (!found && !line) continue;
    line ??= root.appendChild(element("p", "", { className: "run-outcome verdict" }));
    line.hidden = !found;
    if (!found) continue;
    const words = `${found.outcome}: ${found.reason}.`;
    if (line.textContent === words) continue;
    line.textContent = words;
    line.classList.toggle("act", found.outcome === "over limit" || found.outcome === "under limit");
    line.classList.toggle("heed", found.outcome === "not valid");
  }
}

// Signing and the other buttons need the server: what is here goes first, and without a network nothing is lost.
async function submitted(event) {
  if (form.dataset.passing) return;
  const discards = event.submitter?.value === "discard";
  event.preventDefault();
  event.stopPropagation();
  await sender.changed({ soon: 60_000 });
  const became = await sender.send();
  if (became === "sent") {
    tell("sign");
    if (discards) await sender.forget();
    form.dataset.passing = "yes";
    setTimeout(() => form.requestSubmit(event.submitter)); // not before this submit is over: it would be ignored
    return;
  }
  if (became !== "offline") return byId("run-words").scrollIntoView({ block: "start" });
  byId("run-words").scrollIntoView({ block: "start" });
  if (discards) return tell("sign", "No network: the draft can’t be thrown away now. All is kept on this phone.");
  const left = cards.open();
  tell("sign", left.length
    ? `No network. All is kept on this phone. Still open: ${left.map((card) => card.name).join("; ")}.`
    : "Ready to sign. Signing needs the server: all is kept on this phone and is sent as soon as there is a network. Then sign here.");
}

async function offline() {
  if (!navigator.serviceWorker) return;
  navigator.storage?.persist?.(); // what is kept here is not cleared away when space gets short
  await navigator.serviceWorker.register(run.worker, { scope: "/" });
  const ready = await navigator.serviceWorker.ready;
  const loaded = performance.getEntriesByType("resource").map((one) => new URL(one.name));
  const shell = loaded.filter((one) => one.origin === location.origin && /\.(js|css|svg)$/.test(one.pathname) && one.pathname !== run.worker);
  ready.active.postMessage({ kind: "keep", person: run.person, page: location.pathname, name: run.name, shell: [...new Set(shell.map(String))] });
}

/** An instrument whose label was scanned is chosen in what this phone holds too, where nothing is read yet. */
function scanned() {
  for (const one of all("select[data-scanned]"))
    if (!all("[name$='-typed']", one.closest("section")).some((value) => value.value)) set(one.name, one.dataset.scanned);
}

async function begin() {
  const earlier = await sender.begin();
  if (earlier) fill(earlier);
  form.addEventListener("submit", submitted);
  form.addEventListener("keydown", (event) => {
    // The Enter of a phone's keyboard ends a value; it does not send the form.
    if (event.key === "Enter" && event.target.matches("input") && document.body.matches(".running")) event.preventDefault();
  });
  sender.onKept(serverSays);
  timed.begin();
  asked.begin();
  cards.begin();
  sender.listen();
  scanned();
  form.addEventListener("change", outcomes);
  form.addEventListener("input", outcomes);
  outcomes();
  window.addEventListener("pageshow", () => delete form.dataset.passing);
  await sender.tellWaiting();
  form.dataset.running = "yes"; // all of it is at work
  await offline().catch(() => tell("worker", "This browser can't open the run without a network; what you type is kept all the same.", { heed: false }));
}

begin();
