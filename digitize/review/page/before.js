// Steps of an earlier visit that were gone on from: said, and left by one press.

import { made } from "./made.js";
import { before as words } from "./words.js";

export function showBefore({ element, sight, told, anew }) {
  const { before } = sight ?? {};
  const goesOn = before && told && told.step.count > before.steps && told.step.at > 0;
  show(element, goesOn ? words.goesOn(before.steps, before.when) : "", told?.trouble, () => {
    sight.before = null;
    anew();
  });
}

// A plate of an earlier visit that was taken up.
export function showPlateBefore({ element, told, anew }) {
  show(element, told.before === null ? "" : words.plateGoesOn(told.before), told.trouble, anew);
}

function show(element, goesOn, trouble, anew) {
  const said = [goesOn, trouble ?? ""].filter(Boolean).join(" ");
  element.hidden = said === "";
  element.replaceChildren(said);
  if (!goesOn) return;
  const button = made("button", { type: "button", className: "small" }, words.anew);
  button.addEventListener("click", anew);
  element.append(" ", button);
}
