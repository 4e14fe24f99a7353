// Steps of an earlier visit that were gone on from: said, and left by one press.

import { before as words } from "./words.js";

export function showBefore({ element, sight, told, anew }) {
  const { before } = sight ?? {};
  const goesOn = before && told && told.step.count > before.steps && told.step.at > 0;
  const said = [goesOn ? words.goesOn(before.steps, before.when) : "", told?.trouble ?? ""].filter(Boolean).join(" ");
  element.hidden = said === "";
  element.replaceChildren(said);
  if (!goesOn) return;
  const button = Object.assign(document.createElement("button"), { type: "button", className: "small", textContent: words.anew });
  button.addEventListener("click", () => {
    sight.before = null;
    anew();
  });
  element.append(" ", button);
}
