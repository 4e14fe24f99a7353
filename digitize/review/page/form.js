// The options: fields as the server declares them, those of the way of cutting that is chosen.

import { made } from "./made.js";
import { CHOICES, EXAMPLES, GROUPS, SHOWN, UNITS, UNSAID, quoting, say } from "./words.js";

// Whether a hand is in the middle of typing here: what is shown meanwhile would take it away.
function isTyped(input) {
  return input === document.activeElement && input.value !== (input.dataset.shown ?? "");
}

export class Form {
  constructor(form, fields, changed, { groups = GROUPS, shown = SHOWN, prefix = "", choices = CHOICES, examples = EXAMPLES } = {}) {
    this.form = form;
    this.groups = groups;
    this.shown = shown;
    this.prefix = prefix;
    this.choices = { ...CHOICES, ...choices };
    this.examples = examples;
    this.fields = fields;
    this.changed = changed;
    this.words = {};
    this.inputs = new Map();
    for (const group of Object.keys(groups)) this.build(group);
    form.addEventListener("submit", (event) => event.preventDefault());
    form.addEventListener("change", (event) => this.read(event.target));
  }

  build(group) {
    const own = this.fields.filter((field) => field.group === group);
    const rows = own.map((field) => [field, this.row(field)]);
    const more = made("details", { className: "more" }, made("summary", {}, say.more));
    const part = made("fieldset", {}, made("legend", {}, this.groups[group]));
    for (const [field, row] of rows) (this.shown.has(field.key) ? part : more).append(row);
    if (more.childElementCount > 1) part.append(more);
    if (!own.some((field) => this.shown.has(field.key))) {
      more.firstElementChild.textContent = this.groups[group];
      part.classList.add("folded");
    }
    this.form.append(part);
  }

  row(field) {
    const input = this.input(field);
    input.id = `${this.prefix}set-${field.key}`;
    input.name = field.key;
    input.title = field.help;
    const fault = made("p", { className: "fault", id: `${this.prefix}fault-${field.key}`, hidden: true });
    const label = made("label", { htmlFor: input.id }, field.shown);
    const unit = UNITS[field.key] ?? (field.unit || "");
    const row = made("div", { className: `row ${field.kind}` }, label, input);
    if (unit && field.kind !== "choice") row.append(made("span", { className: "unit" }, unit === "degrees" ? "°" : unit));
    row.append(fault);
    this.inputs.set(field.key, { field, input, row, fault });
    return row;
  }

  input(field) {
    if (field.kind === "switch") return made("input", { type: "checkbox" });
    if (field.kind !== "choice" && field.kind !== "either") {
      return made("input", { type: "text", inputMode: "text", spellcheck: false, placeholder: this.examples[field.key] ?? "" });
    }
    const values = field.kind === "either" ? ["yes", "no"] : field.choices;
    const unsaid = UNSAID[field.key] ?? CHOICES[""];
    const first = field.always ? [] : [made("option", { value: "" }, unsaid)];
    return made("select", {}, ...first, ...values.map((value) => made("option", { value }, this.choices[value] ?? value)));
  }

  // Shows the options that hold, and what holds where nothing is said.
  show(words, typical = {}, usual = null) {
    this.words = { ...words };
    for (const [key, { field, input }] of this.inputs) {
      if (field.kind === "switch") input.checked = Boolean(words[key]);
      else if (!isTyped(input)) input.value = input.dataset.shown = words[key] ?? "";
      const word = key in typical ? say.typical(typical[key]) : null;
      if (input.type === "text") input.placeholder = word ?? this.examples[key] ?? "";
      else if (input.options?.[0]?.value === "") input.options[0].textContent = word ?? UNSAID[key] ?? CHOICES[""];
    }
    this.usual(usual);
    this.fit();
    this.refuse(null);
    this.onShown?.();
  }

  // Says which options nobody said, but a workshop's file; they go as a hand changes them.
  usual(told) {
    this.said ??= this.form.querySelector(".usual");
    if (!this.said) return;
    const shown = (told?.fields ?? []).map((key) => this.inputs.get(key).field.shown);
    this.said.textContent = told ? say.usual(told.file, [...shown, ...told.others].join("; ")) : "";
  }

  read(input) {
    if (!this.inputs.has(input.name)) return;
    const value = input.type === "checkbox" ? input.checked : input.value.trim() || null;
    const sent = { [input.name]: value };
    input.dataset.shown = input.value; // typed to the end
    if (input.name === "cut") this.clearOthers(value, sent);
    this.words = { ...this.words, ...sent };
    this.fit();
    this.changed(this.words);
  }

  // What another way of cutting does not have would be refused.
  clearOthers(way, sent) {
    for (const [key, { field }] of this.inputs) {
      if (field.ways.length && !this.has(field, way) && this.words[key] !== null) sent[key] = null;
    }
  }

  has(field, way) {
    return !field.ways.length || field.ways.includes(way) || (!way && ["clearance_mm", "kerf_mm"].includes(field.key));
  }

  fit() {
    const way = this.words.cut ?? null;
    for (const { field, row } of this.inputs.values()) row.hidden = !this.has(field, way);
  }

  // Brings the hand to a field.
  lead(key) {
    const { input, row } = this.inputs.get(key);
    row.closest("details")?.setAttribute("open", "");
    input.scrollIntoView({ block: "center" });
    input.focus();
  }

  // Says at the field why its value will not do; true if there is such a field.
  refuse(sentence) {
    let found = false;
    for (const { field, input, fault, row } of this.inputs.values()) {
      const own = sentence !== null && !found && sentence.startsWith(`“${field.label}”`) && !row.hidden;
      fault.hidden = !own;
      quoting(fault, own ? sentence.replace(/^“.*?”:? /, "") : "");
      input.toggleAttribute("aria-invalid", own);
      if (own) {
        input.setAttribute("aria-invalid", "true");
        input.setAttribute("aria-describedby", fault.id);
        row.closest("details")?.setAttribute("open", "");
        found = true;
      } else input.removeAttribute("aria-describedby");
    }
    return found;
  }
}
