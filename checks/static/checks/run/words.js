// Words for the person above the step: one place for each subject, so that nothing is said twice.

import { byId, element } from "./page.js";

const place = byId("run-words");
const more = document.querySelector("[data-run-more]");
const said = new Map();

/**
 * Say something under a subject, or take it back (words empty). acts: [{label, act}] or [{label, href}];
 * more: elements to show below the words.
 */
export function tell(subject, words = "", { acts = [], more = [], heed = true } = {}) {
  const key = words + acts.map((one) => one.label).join();
  if ((said.get(subject)?.dataset.key ?? "") === key) return;
  said.get(subject)?.remove();
  said.delete(subject);
  if (words) {
    const block = element("div", "", { className: heed ? "sheet heed" : "sheet" });
    block.dataset.key = key;
    block.dataset.subject = subject;
    block.append(element("p", words), ...more);
    if (acts.length) block.append(buttons(acts));
    said.set(subject, block);
    place.append(block);
  }
  place.hidden = said.size === 0;
  inShort();
}

/** The first sentence of the newest words that ask for something, beside the buttons: the words may be far up. */
function inShort() {
  const asking = [...said.values()].filter((block) => block.classList.contains("heed")).at(-1);
  more.hidden = !asking;
  more.querySelector("a").textContent = asking ? /^.*?[.:](?= |$)/.exec(asking.firstChild.textContent)?.[0] ?? "" : "";
}

function buttons(acts) {
  const row = element("div", "", { className: "actions" });
  for (const { label, act, href } of acts) {
    const one = href ? element("a", label, { href, className: "button" }) : element("button", label, { type: "button" });
    if (act) one.addEventListener("click", act);
    row.append(one);
  }
  return row;
}
