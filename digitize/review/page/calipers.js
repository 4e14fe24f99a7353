// Calipers' readings, typed at an item and held against its outline at once. What was typed stays with the picture, so that
// it is held against every outline that follows.

import { made } from "./made.js";
import { post } from "./server.js";
import { calipers as words, figures, lined, messageOf, quoting, stepOf, titleOf } from "./words.js";

const KEPT = "digitize-readings"; // of this tab
const MOST_HOLES = 8; // with a field each

export class Calipers {
  // `pictureKey` tells which picture is shown; `fail` is told what goes wrong.
  constructor({ pictureKey, fail }) {
    Object.assign(this, { pictureKey, fail });
    this.typed = JSON.parse(sessionStorage.getItem(KEPT) ?? "{}");
    this.parts = new Map();
  }

  // Calls what lists the items anew; the hand stays in the field it is in.
  keeping(list) {
    const field = document.activeElement;
    list();
    if (field?.closest(".calipers") && document.activeElement !== field) field.focus();
  }

  // What stands in an item's entry: a field for every size that calipers can read, and what follows from them.
  part(item, number) {
    const key = JSON.stringify([this.pictureKey(), item.name, item.sizes]);
    const part = this.parts.get(key) ?? this.build(item, number);
    this.parts.set(key, part);
    part.number = number;
    if (Object.keys(this.of(item)).length) this.ask(part);
    return part.element;
  }

  build(item, number) {
    const badge = made("span", { className: "badge" });
    const said = made("div", { className: "follows" });
    said.setAttribute("aria-live", "polite");
    const element = made("details", { className: "calipers" }, made("summary", {}, words.title, " ", badge));
    element.firstChild.setAttribute("aria-label", words.titleOf(item.name));
    const part = { item, number, element, badge, said, rows: new Map(), asked: 0 };
    const holes = item.sizes.filter((name) => name.startsWith("hole "));
    for (const name of item.sizes) if (holes.indexOf(name) < MOST_HOLES) element.append(this.row(part, name));
    element.append(said);
    element.open = Object.keys(this.of(item)).length > 0;
    return part;
  }

  row(part, name) {
    const id = `read-${part.number}-${name.replace(" ", "-")}`;
    const input = made("input", { type: "text", id, value: this.of(part.item)[name] ?? "", spellcheck: false });
    const verdict = made("p", { id: `${id}-is`, className: "verdict", hidden: true });
    const row = made("div", { className: "row" }, made("label", { htmlFor: id }, sizeName(name)), input, made("span", { className: "unit" }, "mm"), verdict);
    input.setAttribute("aria-describedby", verdict.id);
    input.setAttribute("aria-label", words.reading(sizeName(name), part.item.name));
    input.addEventListener("change", () => {
      this.keep(part.item, name, input.value.trim());
      this.ask(part);
    });
    part.rows.set(name, { input, verdict });
    return row;
  }

  of(item) {
    return this.typed[this.pictureKey()]?.[item.name] ?? {};
  }

  keep(item, name, word) {
    const picture = (this.typed[this.pictureKey()] ??= {});
    const own = (picture[item.name] ??= {});
    if (word) own[name] = word;
    else delete own[name];
    sessionStorage.setItem(KEPT, JSON.stringify(this.typed));
  }

  // Of what is asked while an answer is on its way only the last counts.
  async ask(part) {
    part.asked += 1;
    const { asked } = part;
    const own = Object.entries(this.of(part.item)).filter(([name]) => part.rows.has(name));
    try {
      const told = await post(`/pictures/${this.pictureKey()}/check`, { item: part.number, readings: Object.fromEntries(own) });
      if (asked !== part.asked) return;
      show(part, told);
      if (told.check?.cause && part.element.contains(document.activeElement)) part.said.scrollIntoView({ block: "nearest" });
    } catch (error) {
      if (asked === part.asked) this.fail(error);
    }
  }
}

function sizeName(name) {
  return name.startsWith("hole ") ? words.hole(name.slice(5)) : words.sizes[name];
}

function show({ rows, badge, said }, { check, faults }) {
  const read = new Map((check?.readings ?? []).map((one) => [one.name, one]));
  for (const [name, { input, verdict }] of rows) {
    const [one, fault] = [read.get(name), faults[name]];
    input.toggleAttribute("aria-invalid", Boolean(fault));
    if (fault) input.setAttribute("aria-invalid", "true");
    verdict.hidden = !one && !fault;
    verdict.className = fault ? "fault" : `verdict ${one?.verdict ?? ""}`;
    if (fault) quoting(verdict, fault);
    else if (one) Object.assign(verdict, { textContent: beside(one), lang: "" });
  }
  badge.className = `badge ${check?.verdict ?? ""}`;
  badge.textContent = check ? words.verdicts[check.verdict] : "";
  said.className = `follows ${check?.verdict ?? ""}`;
  said.replaceChildren(...follows(check));
}

function beside({ outline_mm: outline, outline_k2_mm: sure, read_k2_mm: readSure, difference_mm: off, verdict }) {
  const [mm, k2, own, by] = [outline, sure, readSure, Math.abs(off)].map((one) => figures(one.toFixed(3)));
  return words.beside(mm, k2, own, `${off < 0 ? "−" : "+"}${by}`, words.verdicts[verdict]);
}

function follows(check) {
  if (!check) return [];
  if (!check.cause) return [lined(made("span"), check.sentence)];
  const step = stepOf(check.cause);
  const next = made("em", { textContent: step });
  const own = messageOf(check.cause);
  const said = own === null ? quoting(made("span"), check.sentence) : made("span", { textContent: own });
  return [made("strong", {}, titleOf(check.cause)), said, step === check.cause.step ? quoting(next, step) : next];
}
