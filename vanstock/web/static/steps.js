/**
 * The minus and the plus beside an amount: each tap is one step (a pack) less or more, never below nothing. The
 * buttons are hidden where this does not run, and the amount is typed. Loaded by the pages that hold such buttons.
 */

import { amount, plain } from "./amounts.js";

function onPress(event) {
  const button = event.target.closest?.("[data-by]");
  if (!button) return;
  const box = button.closest(".stepper");
  const field = box.querySelector("input");
  const { unit, step } = box.dataset;
  const now = amount(field.value.trim() || "0", unit, Number(step));
  if (Number.isNaN(now)) {
    field.focus();
    return;
  }
  field.value = plain(Math.max(now + Number(button.dataset.by) * Number(step), 0), unit);
}

function showButtons() {
  for (const button of document.querySelectorAll(".stepper > [hidden]")) button.hidden = false;
}

document.addEventListener("click", onPress);
document.addEventListener("vanstock:refreshed", showButtons);
showButtons();
