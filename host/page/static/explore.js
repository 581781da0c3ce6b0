// Keys at the pins of an explored chip: arrows move, h, l and o set the pin, c clocks.
import { post } from "./page.js";

/** beside is the control that an arrow leads to from a pin: pins go down the left side and up the right. */
function beside(pin, count, key) {
  const right = pin > count / 2;
  if (key === "ArrowLeft" || key === "ArrowRight") {
    if (right !== (key === "ArrowLeft")) return null;
    return document.querySelector(`[role=button]#pin-${count + 1 - pin}`);
  }
  const by = right === (key === "ArrowDown") ? -1 : 1;
  for (let to = pin + by; to >= 1 && to <= count && to > count / 2 === right; to += by) {
    const control = document.querySelector(`[role=button]#pin-${to}`);
    if (control) return control;
  }
  return null;
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const at = event.target.closest?.("[role=button][data-pin]");
  if (event.key === "c" && !event.target.closest?.("input, select, textarea")) {
    const clock = at ?? document.querySelector("button[data-do=pulse]");
    if (clock) post("pulse", new URLSearchParams({ pin: clock.dataset.pin }));
    return;
  }
  if (!at) return;
  const to = { h: "H", l: "L", o: "open" }[event.key];
  if (to) {
    post("set", new URLSearchParams({ pin: at.dataset.pin, to }));
    return;
  }
  if (!event.key.startsWith("Arrow")) return;
  event.preventDefault();
  beside(Number(at.dataset.pin), Number(at.ownerSVGElement.dataset.pins), event.key)?.focus();
});
