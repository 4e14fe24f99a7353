// What was left out, numbered as its boxes in the picture: each to be looked at, or taken for an item.

import { made } from "./made.js";
import { WHY, say } from "./words.js";

function button(words, label, kind, act) {
  const one = made("button", { type: "button", className: kind }, words);
  one.setAttribute("aria-label", label);
  one.addEventListener("click", act);
  return one;
}

export function fillLeft({ part, list, left, show, take }) {
  part.hidden = left.length === 0;
  part.querySelector("summary").textContent = say.leftOut(left.length);
  const entry = (one, n) => {
    const words = say.leftOne(WHY[one.why], one.area_mm2);
    const look = button(words, say.showLeft(n + 1, words), "plain", () => show(one));
    const isItem = button(say.isItem, say.isItemOf(n + 1, words), "small", () => take(one));
    return made("li", {}, made("div", {}, look, isItem));
  };
  list.replaceChildren(...left.map(entry));
}
