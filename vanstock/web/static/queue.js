/**
 * Acts logged on the phone: kept first (acts.js), sent when the computer answers, shown until it has (waiting.js).
 *
 * A form `<form data-act method=post action="/act" data-said="fitted {qty} x GK-1">` never leaves the page: its fields,
 * an id made here and the local time become one act, sent as a form with `Accept: application/json` until the answer is
 * {"state": "done", said, entry, undo} or {"state": "refused", why}. The computer knows the id, so sending twice counts
 * once. Works over plain http, where a page has no locks, no service worker and no randomUUID. The page is loaded with
 * `<script type="module" src="/static/queue.js">`; what a page says, and what is right, is decided on the computer.
 */

import { acts, drop, isActKey, keep, kept, looseCount, makeAct, makeId } from "./acts.js";
import "./amounts.js"; // with the others, not only once figures.js has come
import { lastLogged, showFigures, standing } from "./figures.js";
import { stayWhileCutOff } from "./leave.js";
import { become } from "./page.js";
import { showWaiting } from "./waiting.js";

const DOUBLE_TAP = 600; // milliseconds, as are the others
const REST = 1200; // a thumb that rests this long is not about to press the next button
const PATIENCE = 15_000;
const FIRST_WAIT = 1000;
const HANGING = 3000;
const LONGEST_WAIT = 30_000;
const STUMBLES = 5; // an act on which the computer fails this often lets the others pass

/** Recorded acts that the figures on this page do not hold yet. @type {import("./acts.js").Act[]} */
let settled = [];
/** What the computer answered lately, newest first. @type {import("./waiting.js").Answer[]} */
let answers = [];
let trouble = "";
let cutOff = false; // nothing answered last
let asking = "";
/** Whether the page may be older than the ledger: seen without signal, or come back to. */
let stale = Boolean(document.querySelector("[data-old]")) ||
  performance.getEntriesByType("navigation")[0]?.type === "back_forward";
let lastTap = -DOUBLE_TAP;
/** The button of the last act. @type {HTMLElement | null} */
let pressed = null;
/** When each content was last submitted. @type {Map<string, number>} */
const tapped = new Map();

function show() {
  const all = acts();
  showWaiting({ acts: all, answers, trouble, asking, looseCount: looseCount() });
  const counted = [...settled, ...all.filter((act) => !act.why)];
  showFigures(counted);
  showTaken(counted);
}

/** Mark the buttons of which the very act is on its way, and close those of what is done once. */
function showTaken(counted) {
  const left = standing(counted);
  const taken = new Set(left.flatMap(doneBy));
  for (const form of document.querySelectorAll("form[data-act]")) {
    const { once } = form.dataset;
    const done = doneBy({ action: form.action, fields: fieldsIn(form), once });
    const button = form.querySelector("button:not([type=button])");
    button?.toggleAttribute("data-taken", done.every((one) => taken.has(one)));
    if (once && button) button.disabled = done.some((one) => taken.has(one));
  }
}

/** What an act does, each of which is done once; else its very content. @returns {string[]} */
const doneBy = (act) => act.once?.split("\n") ?? [contentOf(act)];

const contentOf = ({ action, fields }) => JSON.stringify([action, fields]);

/** What the form asks for, its id left out, of the ledger that the page is of. @returns {[string, string][]} */
function fieldsIn(form, button) {
  const typed = [...new FormData(form)].map(([name, value]) => [name, String(value)]);
  if (button?.name) typed.push([button.name, button.value]);
  return [...typed.filter(([name]) => name !== "id" && name !== "made"), ...ledgerField()];
}

function ledgerField() {
  const { ledger } = document.body.dataset;
  return ledger ? [["ledger", ledger]] : [];
}

// ---- Taking acts.

function onSubmit(event) {
  const form = event.target;
  if (!form.matches("form[data-act]")) return;
  event.preventDefault();
  const fields = fieldsIn(form, event.submitter);
  if (isDoubleTap(contentOf({ action: form.action, fields }))) return;
  const named = Object.fromEntries(fields);
  // What waits is taken back by name: a minus could take back another entry, if that act were refused.
  const waiting = named.act === "minus" && lastLogged(acts().filter((act) => !act.why), named);
  answers = [];
  pressed = event.submitter;
  if (waiting) takeBack(waiting, waiting.id, waiting.said);
  else take({ action: form.action, said: inWords(form.dataset.said, named), fields, ...moved(form) });
  form.reset();
  navigator.vibrate?.(30);
}

/** What a form says of its act beside its fields. */
function moved({ dataset: { moves, takes, once } }) {
  return { moves: moves && JSON.parse(moves), takes: takes && JSON.parse(takes), once };
}

function isDoubleTap(content) {
  const now = performance.now();
  const before = tapped.get(content) ?? -DOUBLE_TAP;
  if (now - before < DOUBLE_TAP) return true;
  tapped.set(content, now);
  lastTap = now;
  return false;
}

/** `data-said` with `{qty}` and the like filled in from the form; an empty quantity is one. */
function inWords(said, named) {
  const pattern = said || `${named.act ?? "act"} ${named.part ?? named.job ?? ""}`.trim();
  return pattern.replace(/\{(\w+)\}/g, (_, name) => named[name] || (name === "qty" ? "1" : ""));
}

function take(act) {
  makeAct(act);
  show();
  nudge();
}

/** Take back what never left the phone by dropping it; undo behind it what may have arrived. */
function takeBack(act, entry, said) {
  if (kept(act) && !act.tried) {
    drop(act);
    show();
    return;
  }
  answers = answers.filter((answer) => answer.entry !== entry);
  const ledger = act.fields.filter(([name]) => name === "ledger");
  take({ action: act.action, said: `take back: ${said}`, fields: [["act", "undo"], ["entry", entry], ...ledger], of: act });
}

function onPress(event) {
  const pressed = event.target.closest?.("#waiting [data-do]");
  if (!pressed) return;
  const what = pressed.dataset.do;
  const key = pressed.dataset.key.slice(what.length + 1);
  const act = acts().find((one) => one.key === key);
  const answer = answers.find((one) => one.entry === key);
  asking = what === "drop" ? key : "";
  if (what === "undo-entry" && answer) takeBack(answer.act, answer.entry, answer.said);
  if (what === "undo-act" && act) takeBack(act, act.id, act.said);
  if (what === "again" && act) keep({ ...act, why: undefined, id: act.clash ? makeId() : act.id });
  if (what === "drop-sure" && act) drop(act);
  show();
  nudge();
}

// ---- Sending them, one at a time, in the order made.

let busy = false;
let again = false;
let timer = 0;
let wait = FIRST_WAIT;
/** The last question to the computer, and when it was put. @type {{limit?: AbortController, since: number}} */
let asked = { since: 0 };
/** How often the computer failed on an act. @type {Map<string, number>} */
const stumbles = new Map();

/** Try now: something happened that may have brought the computer back; what hangs on the old line is given up. */
function nudge() {
  wait = FIRST_WAIT;
  if (performance.now() - asked.since > HANGING) asked.limit?.abort();
  pump();
}

async function pump() {
  again = busy;
  if (busy) return;
  busy = true;
  clearTimeout(timer);
  let heard = false;
  try {
    do {
      again = false;
      heard = (await drain()) && (await refresh());
    } while (heard && again);
  } finally {
    busy = false;
  }
  if (!heard) {
    timer = setTimeout(pump, wait);
    wait = Math.min(2 * wait, LONGEST_WAIT);
  }
  show();
}

/** @returns {Promise<boolean>} whether the computer answered everything */
async function drain() {
  const passed = new Set();
  for (;;) {
    const act = acts().find((one) => !one.why && !passed.has(one.id));
    if (!act) return passed.size === 0;
    const sent = act.tried ? act : keep({ ...act, tried: true });
    const answer = await post(sent);
    trouble = troubleIn(answer);
    cutOff = answer.status === 0;
    if (!settle(sent, answer)) {
      if (!isStumble(sent, answer)) return false;
      passed.add(sent.id);
    }
    show();
  }
}

/** Do as the answer says; false when it was none. */
function settle(act, answer) {
  if (answer.state === "done" && answer.status === 200) {
    drop(act);
    settled.push(act);
    answers.unshift({ said: answer.said, entry: answer.entry, undo: Boolean(answer.undo), act });
    stale = true;
    return true;
  }
  if (answer.state === "refused" && answer.status !== 403) {
    const why = answer.why || "the computer does not say why";
    if (kept(act)) keep({ ...act, why, clash: answer.status === 409 });
    return true;
  }
  return false;
}

function isStumble(act, { status }) {
  if (status < 500) return false;
  stumbles.set(act.id, (stumbles.get(act.id) ?? 0) + 1);
  return stumbles.get(act.id) >= STUMBLES;
}

/** @returns {Promise<{status: number, state?: string, said?: string, why?: string}>} status 0: no answer */
function post(act) {
  const waited = Math.round((Date.now() - act.clock) / 1000); // whatever the clock says; below zero if it was set back
  const age = waited >= 0 ? [["waited", String(waited)]] : [];
  const body = new URLSearchParams([...act.fields, ["id", act.id], ["made", act.made], ...age]);
  const headers = { Accept: "application/json" };
  return within(async (signal) => {
    const options = { method: "POST", body, headers, signal, redirect: "error", cache: "no-store" };
    const answer = await fetch(act.action, options);
    return { ...(await answer.json().catch(() => ({}))), status: answer.status };
  }).catch(() => ({ status: 0 }));
}

async function within(task) {
  const limit = new AbortController();
  asked = { limit, since: performance.now() };
  const alarm = setTimeout(() => limit.abort(), PATIENCE);
  try {
    return await task(limit.signal);
  } finally {
    clearTimeout(alarm);
  }
}

function troubleIn({ status, state }) {
  if (status === 401) return "This phone must be paired with the computer again. All of this is kept until then.";
  if (status === 403 || status === 421) return "The computer does not know this address: open the one that it shows. All of this is kept.";
  if (state === "done" || state === "refused") return "";
  if (status >= 500) return `The computer has trouble (error ${status}). All of this is kept, and sent again.`;
  return "The computer is out of reach. All of this is kept on the phone, and sent when it answers.";
}

// ---- The page, fresh from the computer after each act.

/** @returns {Promise<boolean>} whether the page is now as the computer has it, as far as it can be */
async function refresh() {
  if (!stale) return true;
  const counted = settled.length;
  const answer = await within(async (signal) => {
    const page = await fetch(location.href, { signal, cache: "no-store", headers: { Accept: "text/html" } });
    return { status: page.status, moved: page.redirected, text: await page.text() };
  }).catch(() => null);
  if (!answer || answer.status >= 500) return false;
  stale = false;
  if (answer.status !== 200 || answer.moved) return true;
  const fresh = new DOMParser().parseFromString(answer.text, "text/html");
  // No tap may meet another button that moved under the thumb.
  while (performance.now() < lastTap + REST) await new Promise((done) => setTimeout(done, 100));
  settled = settled.slice(counted);
  const { ledger } = fresh.body.dataset;
  if (ledger) document.body.dataset.ledger = ledger;
  for (const part of answers.length ? ["main"] : ["main", "#top"]) { // #top is hidden while there is an answer
    const [old, its] = [document.querySelector(part), fresh.querySelector(part)];
    if (old && its) become(old, its, pressed);
  }
  document.dispatchEvent(new Event("vanstock:refreshed"));
  return true;
}

/** What the computer is still working out (`data-again`: seconds) is asked for again. */
function askAgain() {
  const seconds = Number(document.querySelector("[data-again]")?.dataset.again);
  if (seconds) setTimeout(onReturn, 1000 * seconds, true);
}

function onReturn(isOld) {
  stale ||= isOld;
  nudge();
}

document.addEventListener("submit", onSubmit);
document.addEventListener("click", onPress);
document.addEventListener("vanstock:filled", show);
document.addEventListener("vanstock:refreshed", askAgain);
document.addEventListener("visibilitychange", () => document.hidden || onReturn(true));
window.addEventListener("pageshow", (event) => event.persisted && onReturn(true));
window.addEventListener("focus", () => onReturn(false));
window.addEventListener("online", () => onReturn(true));
window.addEventListener("storage", ({ key, newValue }) => {
  if (!isActKey(key)) return;
  stale ||= newValue === null;
  show();
  nudge();
});
window.addEventListener("beforeunload", (event) => looseCount() && event.preventDefault());
if (location.protocol === "https:") {
  navigator.serviceWorker?.register("/sw.js").catch(() => {}); // none where a warning was clicked away: as over http
}
stayWhileCutOff(() => cutOff, () => {
  trouble = "That page needs the computer, which is out of reach. This page stays, and all of this is kept.";
  show();
});
askAgain();
show();
nudge();
