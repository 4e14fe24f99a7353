// Lists beside the plate: what is wrong, items and how many, artwork, and the chosen pocket's figures.

import { sizeOf } from "./lists.js";
import { made } from "./made.js";
import { PLATE_KEY, figures, plate as words, quoting, stepOf } from "./words.js";

const MOST = 12; // conflicts that are listed

export function near(value) {
  return figures(String(Math.round(value * 1000) / 1000));
}

// "Pocket 3 (tag-1)", as the server names what is on a plate, in the page's words.
function named(name) {
  const pocket = /^Pocket (\d+) \((.*)\)$/.exec(name);
  if (pocket) return words.pocket(Number(pocket[1]), pocket[2]);
  const hole = /^Hole (\d+)$/.exec(name);
  if (hole) return words.hole(Number(hole[1]));
  return name === "the edge" ? words.edge : words.key;
}

function sentence({ what, names, mm }) {
  const [one, other] = names.map(named);
  if (what === "over") return words.over(one, mm.toFixed(2));
  return what === "overlap" ? words.overlap(one, other) : words.thin(one, other, mm.toFixed(2));
}

export function fillConflicts(list, part, { conflicts, said }, go) {
  part.hidden = !conflicts.length && !said.length;
  const entries = conflicts.slice(0, MOST).map((one) => {
    const button = made("button", { type: "button" }, made("span", {}, sentence(one)));
    button.addEventListener("click", () => go(one.pockets));
    return made("li", { className: "doubt" }, button);
  });
  if (conflicts.length > MOST) entries.push(made("li", { className: "remark" }, words.more(conflicts.length - MOST)));
  const thin = conflicts.some(({ what }) => what === "thin");
  const told = said.filter(({ code }) => !(thin && code === "plate-web-thin"));
  for (const one of told) entries.push(made("li", { className: "remark" }, quoting(made("span"), one.message), ` ${stepOf(one)}`));
  for (const one of said.filter((other) => !told.includes(other))) entries.push(made("li", { className: "remark" }, stepOf(one)));
  list.replaceChildren(...entries);
}

export function fillKinds(list, page) {
  const { told, state } = page;
  const { items, counts } = told.wish;
  const here = page.own().map((item) => ({ key: state.sight.key, name: item.name, size: sizeOf(item) }));
  const others = items.filter(([key]) => key !== state.sight?.key);
  const all = [...here, ...others.map(([key, name]) => ({ key, name, size: null }))];
  const rows = all.map(({ key, name, size }, n) => {
    const isOn = items.some((one) => one[0] === key && one[1] === name);
    const id = `on-plate-${n}`;
    const box = made("input", { type: "checkbox", checked: isOn, id });
    box.addEventListener("change", () => page.choices([key, name], box.checked));
    const kind = told.plate?.kinds.find((one) => one.name === name);
    const shown = size ?? (kind ? sizeOf(kind) : "");
    const label = made("label", { htmlFor: id }, made("strong", {}, name), ` ${shown}`);
    label.title = words.on(name);
    const row = made("li", {}, box, label);
    if (isOn) row.append(...amount(name, counts[name], page));
    return row;
  });
  list.replaceChildren(...(rows.length ? rows : [made("li", { className: "remark" }, words.nothing)]));
}

function amount(name, most, page) {
  const count = page.spots.filter(([kind]) => kind === name).length;
  const field = made("input", { type: "text", inputMode: "numeric", value: most ?? "", placeholder: words.all });
  field.setAttribute("aria-label", words.mostOf(name));
  field.addEventListener("change", () => {
    const text = field.value.trim();
    page.most(name, text === "" ? null : Number(text.replace(",", ".")));
  });
  const more = made("button", { type: "button", className: "small" }, words.one);
  more.setAttribute("aria-label", words.oneOf(name));
  more.addEventListener("click", () => page.another(name));
  return [made("p", {}, `${words.count(count)}, ${words.most} `, field, more)];
}

export function fillArts(list, page) {
  const { told } = page;
  const kinds = told.plate?.kinds ?? [];
  list.replaceChildren(
    ...kinds.map(({ name }) => {
      const held = told.arts[told.wish.arts[name]];
      const file = made("input", { type: "file", hidden: true, accept: ".svg,.pdf,.png,.jpg,.jpeg" });
      file.setAttribute("aria-label", words.chooseArtFor(name));
      file.addEventListener("change", () => file.files.length && page.art(name, file.files[0]));
      const choose = made("button", { type: "button", className: "small" }, words.chooseArt);
      choose.setAttribute("aria-label", words.chooseArtFor(name));
      choose.addEventListener("click", () => file.click());
      const row = made("li", {}, made("span", {}, `${name}: ${held ?? words.noArt}`), choose, file);
      if (held) {
        const clear = made("button", { type: "button", className: "small" }, words.clearArt);
        clear.setAttribute("aria-label", words.clearArtOf(name));
        clear.addEventListener("click", () => page.withoutArt(name));
        row.append(clear);
      }
      return row;
    }),
  );
}

// Always all of it: what came and went would move the plate under the hand.
export function fillKey(list) {
  list.replaceChildren(...Object.entries(PLATE_KEY).map(([kind, words_]) => made("li", {}, made("i", { className: kind }), words_)));
}

// The chosen pocket in figures, each to be typed.
export function bindPocketFields(part, page) {
  const inputs = {};
  const units = { number: "", x: "mm", y: "mm", turn: "°" };
  for (const [key, unit] of Object.entries(units)) {
    const input = made("input", { type: "text", inputMode: key === "number" ? "numeric" : "text", id: `pocket-${key}` });
    inputs[key] = input;
    const label = made("label", { htmlFor: input.id }, words.fields[key]);
    part.append(made("div", { className: "row" }, label, input, made("span", { className: "unit" }, unit)));
    input.addEventListener("change", () => read(key, Number(input.value.replace(",", "."))));
  }
  function read(key, value) {
    const spot = page.chosen();
    if (!spot || !Number.isFinite(value)) return show(page.at, spot);
    if (key === "number") return page.choose(value - 1, { show: true });
    if (key === "turn") page.turnTo(value);
    else {
      const from = page.fromZero(spot);
      from[key === "x" ? 0 : 1] = value;
      const { zero, signs } = page.told.plate;
      page.moveTo([0, 1].map((axis) => zero[axis] + signs[axis] * from[axis]));
    }
    page.settle();
    return show(page.at, page.chosen());
  }
  function show(number, spot) {
    if (!spot) return;
    const [x, y] = page.fromZero(spot).map(near);
    const values = { number: number + 1, x, y, turn: near(spot[3]) };
    for (const [key, value] of Object.entries(values)) {
      if (document.activeElement !== inputs[key]) inputs[key].value = value;
      inputs[key].disabled = key !== "number" && spot[4];
    }
  }
  return { show };
}
