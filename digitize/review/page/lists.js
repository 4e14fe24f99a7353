// What to look at, the worst first, and the items: lists beside the picture.

import { made } from "./made.js";
import { inInches } from "./own.js";
import { STEPS, figures, lined, messageOf, phrased, quoting, say, stepOf, titleOf } from "./words.js";

const HALF = 80; // px of the picture shown each way from a place

// An item's sizes, in inches too where a person wants them.
export function sizeOf({ size, inches }) {
  return figures(inInches && !size.includes(" in)") ? `${size} (${inches} in)` : size);
}

// The next step: in the page's language where it is known there, else as the server says it.
function told(element, said) {
  const step = stepOf(said);
  if (step === said.step) return quoting(element, step);
  element.textContent = step;
  return element;
}

// What was found: in the page's language where it is known there, else as the server says it.
function message(said) {
  const words = messageOf(said);
  const element = made("span");
  return words === null ? quoting(element, said.message) : Object.assign(element, { textContent: words });
}

// The places to step through: what asks for a person, then the least sure edges.
export function placesOf(found) {
  const places = [];
  found.said.forEach((said, number) => {
    if (!said.attention) return;
    const own = said.places.length ? said.places : [{ at: null, half: null }];
    own.forEach((place, n) => places.push({ ...place, entry: number, title: titleOf(said), nth: n }));
  });
  for (const place of found.places) {
    const known = places.some(({ at }) => at && Math.hypot(at[0] - place.at[0], at[1] - place.at[1]) < 40);
    if (!known) places.push({ at: place.at, half: null, entry: "sure", title: place.code ? titleOf(place) : phrased(place.title) });
  }
  return places.map((place) => ({ ...place, half: place.half ?? HALF }));
}

// Buttons that lead to the fields a sentence names.
export function askFor(sentence, fields, lead) {
  const named = new Set([...sentence.matchAll(/“(.*?)”/g)].map(([, label]) => label));
  const buttons = fields
    .filter((field) => named.has(field.label))
    .map((field) => {
      const button = made("button", { type: "button", className: "small" }, say.set(field.shown));
      button.addEventListener("click", () => lead(field.key));
      return button;
    });
  return buttons.length ? [made("div", { className: "ask" }, ...buttons)] : [];
}

export function fillLooks({ list, remarks, found, places, go, ask }) {
  list.replaceChildren();
  const entry = (said, where) => {
    const button = made("button", { type: "button" });
    button.append(made("strong", {}, titleOf(said)), message(said), told(made("em"), said));
    if (where.length > 1) button.append(made("small", {}, say.count(where.length)));
    button.addEventListener("click", () => go(where));
    return made("li", { className: said.attention ? "doubt" : "remark" }, button, ...ask(said.ask));
  };
  found.said.forEach((said, number) => {
    if (!said.attention) return;
    const where = [...places.keys()].filter((n) => places[n].entry === number);
    const one = entry(said, where);
    one.dataset.entry = number;
    list.append(one);
  });
  const sure = [...places.keys()].filter((n) => places[n].entry === "sure");
  if (sure.length) {
    const words = found.said.some((said) => said.attention) ? "" : say.calm;
    const button = made("button", { type: "button" }, made("strong", {}, say.sure), made("span", {}, words));
    for (const n of sure) button.append(made("small", {}, places[n].title));
    button.addEventListener("click", () => go(sure));
    const one = made("li", { className: "sure" }, button);
    one.dataset.entry = "sure";
    list.append(one);
  }
  fillRemarks(remarks, found);
}

function fillRemarks(remarks, found) {
  const mild = found.said.filter((said) => !said.attention).map((said) => [message(said), " ", told(made("span"), said)]);
  const all = [...mild, ...found.notes.map((note) => [quoting(made("span"), note)])];
  remarks.hidden = all.length === 0;
  remarks.querySelector("summary").textContent = say.remarks(all.length);
  remarks.querySelector("ul").replaceChildren(...all.map((words) => made("li", { className: "remark" }, ...words)));
}

// The corrections by hand in their order, each to be looked at or left out.
export function fillHand({ list, steps, go, without }) {
  list.replaceChildren(
    ...steps.map((step, number) => {
      const words = STEPS[step.do](step);
      const show = made("button", { type: "button", className: "plain" }, words);
      show.setAttribute("aria-label", say.goToStep(words));
      show.addEventListener("click", () => go(step));
      const out = made("button", { type: "button", className: "small" }, say.without);
      out.setAttribute("aria-label", say.withoutOne(number + 1, words));
      out.addEventListener("click", () => without(number));
      return made("li", {}, made("div", {}, show, out));
    }),
  );
}

export function fillItems({ list, found, dropped, show, only, take, border, read }) {
  list.replaceChildren(
    ...found.items.map((item, index) => {
      const number = index + 1;
      const box = made("input", { type: "checkbox", checked: !dropped.has(number), id: `take-${number}` });
      box.setAttribute("aria-label", say.take(item.name));
      box.addEventListener("change", () => take(number, box.checked));
      const name = made("button", { type: "button", className: "plain" }, `${number}  ${item.name}`);
      name.setAttribute("aria-label", say.show(item.name));
      name.addEventListener("click", () => show(item));
      const facts = [sizeOf(item), say.holes(item.holes), say.sureness(item.k2_mm), item.taken && say.takenByHand, say.byHand(item.hand_k2_mm)].filter(Boolean).join(" · ");
      const row = made("li", {}, box, name);
      if (found.items.length > 1) {
        const alone = made("button", { type: "button", className: "small" }, say.only);
        alone.setAttribute("aria-label", say.onlyOne(item.name));
        alone.addEventListener("click", () => only(item));
        row.append(alone);
      }
      row.append(made("p", { title: item.made_of }, facts));
      if (item.other.length) {
        const other = made("button", { type: "button", className: "small" }, say.wholeBorder);
        other.setAttribute("aria-label", say.wholeBorderOf(item.name));
        other.addEventListener("click", () => border(item));
        row.append(made("p", {}, other));
      }
      row.append(read(item, number));
      if (item.cut) row.append(lined(made("p", { className: "cut" }), item.cut));
      return row;
    }),
  );
}
