// All words of the page in the language of whoever looks. A language is a file: words.en.js says what there is to say,
// another says the same (tests hold them together). What stands on the page from the beginning is filled in here.

import { SIZES, inInches, languageOf, remember } from "./own.js";
import * as de from "./words.de.js";
import * as en from "./words.en.js";

const ALL = { en, de };
export const language = languageOf(Object.keys(ALL));
export const isForeign = language !== "en"; // to the server, whose sentences are English
const words = ALL[language];
export const { GROUPS, CHOICES, UNSAID, EXAMPLES, UNITS, TOOLS, MENDS, WAYS, STEPS, WHY, KEY, say, before, folder, calipers, card } = words;
export const { PLATE_GROUPS, TEMPLATE_GROUPS, PLATE_CHOICES, PLATE_EXAMPLES, PLATE_KEY, plate, own, server } = words;
export { PLATE_SHOWN, SHOWN } from "./words.en.js"; // no words: which fields are shown at once

// Figures of the server with the language's decimal sign.
export function figures(text) {
  return own.decimal === "." ? text : text.replace(/(\d)\.(?=\d)/g, `$1${own.decimal}`);
}

// A sentence of the server: the names of fields as they are shown, the rest in its own language.
const labels = new Map();
export function inWords(sentence) {
  return sentence.replace(/“(.*?)”/g, (whole, label) => (labels.has(label) ? own.quoted(labels.get(label)) : whole));
}

// An element that holds a sentence of the server.
export function quoting(element, sentence) {
  element.textContent = inWords(sentence);
  if (isForeign) element.lang = "en";
  return element;
}

// A short line of figures of the server; and an element that holds one.
export function phrased(line) {
  return figures(server.phrases.reduce((text, [form, to]) => text.replace(form, to), inWords(line)));
}

export function lined(element, line) {
  const said = phrased(line);
  element.textContent = said;
  element.lang = said === figures(line) && isForeign ? "en" : "";
  return element;
}

// Fields with what they are called and what helps with them in the language; `label` stays what the server calls them.
export function named(fields) {
  for (const field of fields) {
    const [shown, help] = server.fields[field.key] ?? [field.label, field.help];
    const isPlates = field.group in PLATE_GROUPS || field.group in TEMPLATE_GROUPS;
    const [own_, ownHelp] = (isPlates && server.plateFields[field.key]) || [shown, help];
    Object.assign(field, { shown: own_, help: ownHelp });
    labels.set(field.label, own_);
  }
  return fields;
}

// A sentence of the server about what was found, in the page's language; null where it is known in English only.
export function messageOf({ code, told }) {
  const form = told && server.sentences[code]?.[told.form];
  if (!form) return null;
  const who = told.items.length ? server.who(told.items, told.of) : "";
  if (form.includes("{who}") && !who) return null;
  const field = (_, name) => (name === "who" ? who : server.values[told.fields[name]] ?? figures(told.fields[name]));
  const words = form.replace(/\{(\w+)\}/g, field);
  if (!who || form.includes("{who}")) return words;
  return `${who[0].toUpperCase()}${who.slice(1)}: ${words}`;
}

export function titleOf(said) {
  return server.titles[said.code] ?? said.title;
}

export function stepOf(said) {
  return (said.of_photo && server.photoSteps[said.code]) || (server.steps[said.code] ?? said.step);
}

function fill() {
  document.documentElement.lang = language;
  for (const one of document.querySelectorAll("[data-say]")) one.textContent = words.page[one.dataset.say];
  for (const one of document.querySelectorAll("[data-label]")) one.setAttribute("aria-label", words.page[one.dataset.label]);
  for (const one of document.querySelectorAll("[data-role]")) {
    one.setAttribute("aria-roledescription", words.page[one.dataset.role]);
  }
  const languages = Object.entries(ALL).map(([key, { own: told }]) => new Option(told.name, key, false, key === language));
  const sizes = SIZES.map((key) => new Option(own.sizes[key], key, false, (key === "both") === inInches));
  for (const [name, options] of Object.entries({ language: languages, sizes })) {
    const choice = document.getElementById(name);
    choice.setAttribute("aria-label", own[`${name}Label`]);
    choice.replaceChildren(...options);
    choice.addEventListener("change", () => remember(name, choice.value));
  }
}

fill();
