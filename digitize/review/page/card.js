// The reference: what calipers read of the card is kept under a name and taken again, and of several squares one is meant.

import { made } from "./made.js";
import { get, post } from "./server.js";
import { card as words, figures, inWords, isForeign, language } from "./words.js";

const OWN = "measured_mm";

export class Card {
  // `take` is called with the options that a kept reading sets.
  constructor({ form, take, fail, status }) {
    Object.assign(this, { form, fail, status, cards: [], name: null });
    this.measured = form.inputs.get(OWN).input;
    this.kept = made("select", { id: "card-kept" });
    this.age = made("p", { className: "age" });
    this.called = made("input", { type: "text", id: "card-name", spellcheck: false, placeholder: words.example, maxLength: 60 });
    this.fault = made("p", { className: "fault", id: "card-fault", hidden: true });
    const keep = made("button", { type: "button", className: "small" }, words.keep);
    this.choice = made("div", { className: "row choice", hidden: true }, made("label", { htmlFor: "card-kept" }, words.kept), this.kept, this.age);
    this.naming = made("div", { className: "row naming", hidden: true }, made("label", { htmlFor: "card-name" }, words.name), this.called, keep, this.fault);
    form.inputs.get(OWN).row.after(this.choice, this.naming);
    this.kept.addEventListener("change", () => this.taken(take));
    keep.addEventListener("click", () => this.keep());
    this.called.addEventListener("keydown", (event) => {
      if (event.key === "Enter") this.keep();
    });
    this.measured.addEventListener("input", () => this.fit());
    form.onShown = () => this.fit();
    get("/cards").then(({ cards }) => this.list(cards)).catch(fail);
  }

  list(cards) {
    this.cards = cards;
    const options = cards.map((one) => new Option(`${one.name}: ${figures(one.measured)}`, one.name));
    this.kept.replaceChildren(new Option(words.none, ""), ...options);
    this.fit();
  }

  // Shows which kept reading is the one that is set, how old it is, and a name to keep a new one under.
  fit() {
    const set = this.measured.value.trim();
    const meant = this.cards.filter((one) => set && figuresIn(one.measured) === figuresIn(set));
    const one = meant.find(({ name }) => name === this.name) ?? meant[0];
    this.choice.hidden = this.cards.length === 0;
    this.kept.value = one?.name ?? "";
    this.age.textContent = one ? words.read(one.name, language === "en" ? one.on : new Date(`${one.on}T12:00`).toLocaleDateString(language), one.days) : "";
    if (one?.old) this.age.append(" ", made("strong", {}, words.old));
    this.naming.hidden = !set || Boolean(one && !one.old); // an old one that is read again is kept with today's date
    if (one?.old && !this.called.value) this.called.value = one.name;
    if (this.naming.hidden) this.refuse(null);
  }

  taken(take) {
    const one = this.cards.find(({ name }) => name === this.kept.value);
    this.name = one?.name ?? null;
    const error = one?.caliper_error ? { caliper_error_mm: one.caliper_error } : {};
    take({ [OWN]: one?.measured ?? null, ...error });
  }

  async keep() {
    const [measured, name] = [this.measured.value.trim(), this.called.value.trim()];
    const said = this.form.inputs.get("caliper_error_mm");
    const word = said.input.value.trim();
    this.refuse(null);
    try {
      const told = await post("/cards", { name, measured, caliper_error: figuresIn(word) === figuresIn(USUAL) ? null : word || null });
      this.name = told.kept;
      this.called.value = "";
      this.list(told.cards);
      this.kept.focus();
      this.status(words.keptAs(told.kept));
    } catch (error) {
      if (!this.form.refuse(error.message)) this.refuse(error.message);
    }
  }

  refuse(sentence) {
    this.fault.hidden = sentence === null;
    this.fault.textContent = sentence === null ? "" : inWords(sentence);
    this.fault.lang = isForeign ? "en" : "";
    this.called.toggleAttribute("aria-invalid", sentence !== null);
    if (sentence !== null) this.called.setAttribute("aria-invalid", "true");
    this.called.setAttribute("aria-describedby", "card-fault");
  }
}

const USUAL = "0.04"; // what holds for calipers of which nothing is said, as `digitize profile card` has it

function figuresIn(word) {
  const found = (word.match(/\d+(?:[.,]\d+)?/g) ?? []).map((one) => Number(one.replace(",", ".")));
  return (found.length === 1 ? [...found, ...found] : found).join("x"); // one stands for both sides
}

// Buttons for the squares or discs that may be meant, numbered as in the picture.
export function askWhich(squares, { look, pick }) {
  const buttons = squares.map((at, n) => {
    const button = made("button", { type: "button", className: "small" }, words.numbered(n + 1));
    for (const kind of ["focus", "mouseenter"]) button.addEventListener(kind, () => look(at));
    button.addEventListener("click", () => pick({ square_at_px: at.map((px) => px.toFixed(1)).join(",") }));
    return button;
  });
  return buttons.length ? [made("p", {}, words.which), made("div", { className: "ask" }, ...buttons)] : [];
}
