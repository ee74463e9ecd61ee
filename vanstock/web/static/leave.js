/**
 * Keeps a person on the page while the computer is out of reach: a link would lead to the browser's own error page, and
 * the job's page would be gone. Where a worker serves pages without signal this is not needed. Used by queue.js.
 */

const PATIENCE = 4000; // milliseconds

/**
 * @param {() => boolean} isCutOff whether the computer did not answer lately; it is asked once more then
 * @param {() => void} tell say that the page stays
 */
export function stayWhileCutOff(isCutOff, tell) {
  document.addEventListener("click", async (event) => {
    const link = event.target.closest?.("a[href]");
    if (!link || !leavesHere(event, link) || !isCutOff() || navigator.serviceWorker?.controller) return;
    event.preventDefault();
    if (await answers(link.href)) location.assign(link.href);
    else tell();
  });
}

function leavesHere(event, link) {
  const isPlain = event.button === 0 && !event.ctrlKey && !event.metaKey && !event.shiftKey;
  const isHere = link.pathname === location.pathname && link.search === location.search;
  return isPlain && link.origin === location.origin && !isHere;
}

async function answers(address) {
  const limit = new AbortController();
  const alarm = setTimeout(() => limit.abort(), PATIENCE);
  try {
    await fetch(address, { signal: limit.signal, redirect: "manual", cache: "no-store" });
    return true;
  } catch {
    return false;
  } finally {
    clearTimeout(alarm);
  }
}
