// What the server answered to a sending, in words for the person at the phone.

import { element, run } from "./page.js";
import { tell } from "./words.js";

/** The session has ended. */
export function signedOut() {
  const acts = [{ label: "Sign in again", href: run.login }];
  tell("session", "You are signed out. Your work is kept on this phone and is sent once you sign in again.", { acts });
  return "signed out";
}

/** The session is another person's. */
export function otherPerson() {
  tell(
    "session",
    "Another person is signed in on this phone now. What you wrote stays on this phone, shown to nobody else, " +
      "and is sent once you sign in again here.",
    { acts: [{ label: "To the log-in", href: run.login }] },
  );
  return "other person";
}

/** An answer without words of its own. */
export function trouble(status) {
  const words = status >= 500 || status === 429 ? "The server could not take it just now" : `The server refused it (${status})`;
  tell("server", `${words}. Your work is kept on this phone; it is tried again by itself.`);
  return "trouble";
}

/** Other phones at work on the same check. */
export function others(lines) {
  tell("others", lines.length ? `${lines.join(" ")} What both of you change is not mixed: the second one is asked.` : "");
}

/** The phone's clock against the server's, in seconds ahead; 0 says nothing. */
export function skew(seconds) {
  const by = `${Math.abs(seconds)} s ${seconds > 0 ? "ahead of" : "behind"} the server’s`;
  const words = `This phone’s clock is ${by}. Times since pump on are right all the same; the difference is recorded.`;
  tell("skew", seconds ? words : "", { heed: false });
}

/** Both contents are kept; the person chooses the one to go on with. */
export function conflict(answer, { mine, theirs }) {
  const table = element("dl", "", { className: "run-differs" });
  for (const one of answer.differs) {
    const row = element("div");
    row.append(element("dt", one.label), element("dd", `In the draft: ${one.stands}`), element("dd", `On this phone: ${one.sent}`));
    table.append(row);
  }
  tell("conflict", answer.words, {
    more: [table],
    acts: [
      { label: "Go on with this phone’s", act: mine },
      { label: "Go on with the draft", act: theirs },
      { label: "See both", href: answer.copies },
    ],
  });
}

/** Signed or thrown away meanwhile. */
export function closed(answer) {
  tell("conflict", answer.words, { acts: [{ label: "See what is kept", href: answer.copies }] });
}
