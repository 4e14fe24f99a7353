// What was left out, numbered as its boxes in the picture: each to be looked at, or taken for an item.

import { WHY, say } from "./words.js";

function button(words, label, kind, act) {
  const one = Object.assign(document.createElement("button"), { type: "button", className: kind, textContent: words });
  one.setAttribute("aria-label", label);
  one.addEventListener("click", act);
  return one;
}

export function fillLeft({ part, list, left, show, take }) {
  part.hidden = left.length === 0;
  part.querySelector("summary").textContent = say.leftOut(left.length);
  list.replaceChildren(
    ...left.map((one, n) => {
      const words = say.leftOne(WHY[one.why], one.area_mm2);
      const row = document.createElement("div");
      row.append(
        button(words, say.showLeft(n + 1, words), "plain", () => show(one)),
        button(say.isItem, say.isItemOf(n + 1, words), "small", () => take(one)),
      );
      const entry = document.createElement("li");
      entry.append(row);
      return entry;
    }),
  );
}
