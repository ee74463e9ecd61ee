/**
 * What stands in `<div id="waiting" aria-live="polite">`: acts on their way, acts refused with the computer's reason, and
 * its latest answers. Every button says by `data-do` what it does and by `data-key` to what; queue.js does it.
 */

import { become } from "./page.js";

/** @typedef {import("./acts.js").Act} Act */
/** @typedef {{said: string, entry: string, undo: boolean, act: Act}} Answer */

const SHOWN_ANSWERS = 3;
const NOT_KEPT = "This phone cannot keep acts (a private window, or its store is full). They are sent directly: " +
  "leave this page open until each is answered.";

function make(tag, className, ...inside) {
  const element = document.createElement(tag);
  if (className) element.className = className;
  element.append(...inside);
  return element;
}

function button(words, what, key, about) {
  const made = make("button", "", words);
  made.type = "button";
  made.dataset.do = what;
  made.dataset.key = `${what} ${key}`;
  made.setAttribute("aria-label", `${words}: ${about}`);
  return made;
}

/** @param {Act[]} acts @param {string} trouble */
function onTheWay(acts, trouble) {
  if (!acts.length) return [];
  const count = acts.length === 1 ? "1 act" : `${acts.length} acts`;
  const takenBack = new Set(acts.map((act) => Object.fromEntries(act.fields).entry));
  const lines = acts.map((act) => {
    const over = act.fields.some(([name, value]) => name === "act" && value === "undo") || takenBack.has(act.id);
    return make("li", "", make("span", "", act.said), ...(over ? [] : [button("Undo", "undo-act", act.key, act.said)]));
  });
  const head = make("p", "waiting-count", `${count} waiting for the computer`);
  const why = trouble ? [make("p", "trouble", trouble)] : [];
  return [make("section", "on-the-way", head, ...why, make("ul", "", ...lines))];
}

/** @param {Act} act @param {string} asking the act of which "Drop it" was pressed once */
function refused(act, asking) {
  const sure = asking === act.key;
  const choice = sure
    ? [button("Yes, drop it", "drop-sure", act.key, act.said), button("Keep it", "keep", act.key, act.said)]
    : [button("Send again", "again", act.key, act.said), button("Drop it", "drop", act.key, act.said)];
  const why = sure ? "Drop it for good? The computer has not recorded it." : `Not recorded: ${act.why}`;
  return make("section", "refused", make("p", "", act.said), make("p", "why", why), make("p", "choice", ...choice));
}

/** @param {Answer} answer */
function answered({ said, entry, undo }) {
  const buttons = undo && entry ? [button("Undo", "undo-entry", entry, said)] : [];
  const lines = String(said).split("\n").map((line) => make("p", "", line));
  return make("section", "answer", ...lines, ...buttons);
}

/**
 * Show all of it, touching only what differs, so that a screen reader tells only what is new.
 * @param {{acts: Act[], answers: Answer[], trouble: string, asking: string, looseCount: number}} state
 */
export function showWaiting({ acts, answers, trouble, asking, looseCount }) {
  const box = document.getElementById("waiting");
  if (!box) return;
  const fresh = box.cloneNode(false);
  if (looseCount) fresh.append(make("p", "trouble", NOT_KEPT));
  fresh.append(...onTheWay(acts.filter((act) => !act.why), trouble));
  fresh.append(...acts.filter((act) => act.why).map((act) => refused(act, asking)));
  fresh.append(...answers.slice(0, SHOWN_ANSWERS).map(answered));
  const more = answers.length - SHOWN_ANSWERS;
  if (more > 0) fresh.append(make("p", "more", `and ${more} more recorded`));
  become(box, fresh);
}
