// The page put together: a picture is opened, outlined with the options, looked at, and its files taken.

import { bindBegin } from "./begin.js";
import { showBefore } from "./before.js";
import { Calipers } from "./calipers.js";
import { Card, askWhich } from "./card.js";
import { bindFiles } from "./files.js";
import { Form } from "./form.js";
import { fillLeft } from "./left.js";
import { askFor, fillHand, fillItems, fillLooks, placesOf } from "./lists.js";
import { during, made } from "./made.js";
import { Overlay, inside } from "./overlay.js";
import { Places } from "./places.js";
import { bindPlate } from "./plate.js";
import { get, post, upload } from "./server.js";
import { bindTools } from "./tools.js";
import { View } from "./view.js";
import { Worklist } from "./worklist.js";
import { KEY, STEPS, card, figures, inWords, isForeign, lined, named, quoting, say } from "./words.js";

const $ = (id) => document.getElementById(id);
const state = { known: null, sight: null, told: null, step: null, places: [], at: -1, dropped: new Set(), wanted: null, making: null };
const view = new View($("stage"), $("canvas"), () => {
  overlay.follow();
  $("factor").textContent = state.sight ? figures(`${view.scale >= 0.995 ? view.scale.toFixed(1) : view.scale.toFixed(2)}×`) : "";
});
const overlay = new Overlay($("overlay"), view);
overlay.show(null, state.dropped);
const places = new Places({ byId: $, state, view, overlay, status });
let form = null;
let worklist = null;
let tools = null;
const calipers = new Calipers({ pictureKey: () => state.sight.key, fail: (error) => status(error.message) });

function status(words, { isServers = false } = {}) {
  $("status").textContent = words;
  $("status").lang = isServers && isForeign ? "en" : "";
}

function fail(error) {
  const sentence = error instanceof Error ? error.message : String(error);
  if (form?.refuse(sentence)) return status(inWords(sentence), { isServers: true });
  why(sentence);
  return status("");
}

function why(sentence, squares = []) {
  $("why").hidden = sentence === null;
  $("why").replaceChildren(quoting(made("span"), sentence ?? ""), ...(sentence === null || !form || !state.sight ? [] : asks(sentence)), ...askWhich(squares, { look: lookAt, pick: setAlso }));
}

function lookAt(at) {
  overlay.at = at;
  overlay.place();
}

function setAlso(sent) {
  return outline({ ...form.words, ...sent });
}

function asks(sentence) {
  return askFor(sentence, state.known.fields, (key) => form.lead(key));
}

// --- pictures ------------------------------------------------------------------------------------------------------

async function begin() {
  state.known = await get("/known");
  form = new Form($("form"), named(state.known.fields), (words) => outline(words));
  new Card({ form, take: setAlso, fail, status });
  $("form").hidden = true;
  if (state.known.to !== null) {
    $("write").hidden = false;
    $("write").textContent = say.write(state.known.to);
  }
  list();
  worklist = new Worklist($("folder"), { state, open, correct, inside, fail, status });
  if (state.known.pictures.length) open(lastOpen() ?? worklist.first).catch(fail);
}

// The picture that was open when another language was chosen, if one was.
function lastOpen() {
  const key = sessionStorage.getItem("digitize-open");
  sessionStorage.removeItem("digitize-open");
  return state.known.pictures.some((one) => one.key === key) ? key : null;
}

function list() {
  const options = state.known.pictures.map(({ key, name }) => new Option(name, key));
  $("pictures").replaceChildren(...options);
  $("chooser").hidden = options.length === 0;
  worklist?.more();
}

function open(key) {
  return during(() => opening(key));
}

async function opening(key) {
  const { name } = state.known.pictures.find((one) => one.key === key);
  Object.assign(state, { opening: key, sight: null, told: null, step: null, places: [], at: -1, dropped: new Set() });
  $("pictures").value = key;
  worklist.opened(key);
  why(null);
  status(say.loading(name));
  show();
  $("form").inert = true; // it still holds the words of the picture before
  let sight;
  try {
    sight = await get(`/pictures/${key}`);
  } catch (error) {
    if (state.opening !== key) return;
    $("form").hidden = true;
    view.sight = null;
    view.draw();
    fail(error);
    worklist.failed();
    return;
  }
  if (state.opening !== key) return; // another was opened meanwhile
  state.sight = sight;
  $("welcome").hidden = true;
  document.body.classList.remove("empty");
  $("form").hidden = $("form").inert = false;
  $("stage").setAttribute("aria-label", say.picture(name));
  view.open(sight);
  form.show(sight.words);
  await outline(null);
}

async function sample() {
  const found = await post("/pictures/sample");
  if (!state.known.pictures.some(({ key }) => key === found.key)) state.known.pictures.push(found);
  list();
  await open(found.key);
}

function receive(files) {
  return during(() => receiving(files));
}

async function receiving(files) {
  await begun;
  let first = null;
  for (const file of files) {
    try {
      if (file.size > state.known.most_bytes) throw new Error(say.tooLarge(file.name, state.known.most_bytes));
      const found = await upload(file, (part) => status(say.sending(file.name, part)));
      first ??= found;
      state.known.pictures.push(found);
    } catch (error) {
      fail(error);
      return;
    }
  }
  list();
  if (first) await open(first.key);
}

// --- outlines ------------------------------------------------------------------------------------------------------

// Asks for the outline; of what is asked while one is made only the last counts.
async function outline(words) {
  if (state.sight) await ask(() => post(`/pictures/${state.sight.key}/outline`, words === null ? {} : { words, seen: seen() }));
}

async function correct(sent) {
  if (state.sight) await ask(() => post(`/pictures/${state.sight.key}/correction`, { ...sent, seen: seen() }));
}

// Which step this tab was told of last: what another has changed meanwhile is not written over.
function seen() {
  return state.step && [state.step.at, state.step.count];
}

async function step(by) {
  if (state.sight) await ask(() => post(`/pictures/${state.sight.key}/step`, { by }));
}

async function ask(call) {
  state.wanted = call;
  if (!state.making) await during(untilNothingIsWanted);
}

async function untilNothingIsWanted() {
  while (state.wanted) {
    const next = state.wanted;
    state.wanted = null;
    status(say.working);
    const { sight } = state;
    if (sight) busy(sight.key);
    try {
      const told = await next();
      if (state.sight !== sight) continue;
      state.step = told.step;
      if (!state.wanted) take(told);
    } catch (error) {
      if (state.sight && (state.sight === sight || error.stopped)) await refused(error);
    }
  }
  busy(null);
}

// Shows which picture's outline is being made, by its key.
function busy(making) {
  state.making = making;
  document.body.classList.toggle("busy", making !== null);
  if (making === null && document.activeElement === $("stop")) $("stage").focus();
  $("stop").hidden = making === null;
}

async function refused(error) {
  if (error.stopped) {
    form.show(state.told?.words ?? state.sight.words, state.told?.typical, state.told?.usual);
    if (!state.told) offerAgain(error.message);
    return status(error.message);
  }
  fail(error);
  if (error.status === 412) await outlineAnew();
}

// Where nothing has been outlined yet, there is nothing else to press.
function offerAgain(sentence) {
  const button = made("button", { type: "button" }, say.outline);
  button.addEventListener("click", () => {
    why(null);
    outline(null);
  });
  why(sentence);
  $("why").append(" ", button);
}

// Stops what is being made, and what is asked for after it; false if there is nothing.
function stop() {
  if (!state.making) return false;
  state.wanted = null;
  post(`/pictures/${state.making}/stop`).catch(fail);
  return true;
}

async function outlineAnew() {
  const words = $("why").firstElementChild?.textContent ?? "";
  take(await post(`/pictures/${state.sight.key}/outline`, {}));
  why(words);
}

function take(told) {
  const before = state.told;
  Object.assign(state, { told, step: told.step });
  if (told.result?.items.length !== before?.result?.items.length) state.dropped = before ? new Set() : unwanted(told.result, state.sight.only);
  form.show(told.words, told.typical, told.usual);
  why(told.why, told.squares);
  if (told.squares?.length) tools.choose("square");
  else if (before?.squares?.length) tools.choose("move");
  state.places = told.result ? placesOf(told.result) : [];
  state.at = -1;
  overlay.at = null;
  show();
  const looks = told.result?.said.filter((said) => said.attention).length;
  worklist.show();
  status(told.result ? `${effect(before, told)}${say.found(told.result.items.length, looks)}` : say.nothing);
}

// The numbers of items that a document which holds only some leaves aside.
function unwanted(found, names) {
  const left = (names && found?.items.map((item, n) => (names.includes(item.name) ? 0 : n + 1)).filter(Boolean)) || [];
  return new Set(left.length === found?.items.length ? [] : left);
}

// What came of the last correction: how sure the outlines are now, or that none is another one.
function effect(before, told) {
  if (!before || before.by_hand.length >= told.by_hand.length) return "";
  const lines = ({ items, failed }) => JSON.stringify([items, failed]);
  if (before.result && lines(before.result) === lines(told.result)) return `${say.idle} `;
  const sure = (result) => figures(`±${Math.max(...result.items.map((item) => item.k2_mm)).toFixed(3)}`);
  const last = told.by_hand[told.by_hand.length - 1];
  return `${say.mended(STEPS[last.do](last), before.result ? sure(before.result) : null, sure(told.result))} `;
}

function show() {
  const found = state.told?.result ?? null;
  const there = found ?? state.told?.there ?? null;
  overlay.points = [];
  $("reading").hidden = true;
  overlay.show(there, state.dropped);
  overlay.spots(state.told?.squares ?? []);
  view.draw();
  for (const id of ["look", "items-part", "views"]) $(id).hidden = !found;
  for (const id of ["zip", "write"]) $(id).disabled = !found;
  showHand();
  showLeft(there?.left_out ?? []);
  showBefore({ element: $("before"), ...state, anew: () => ask(() => post(`/pictures/${state.sight.key}/anew`)) });
  $("same").hidden = !state.told?.command;
  $("command").textContent = state.told?.command ?? "";
  const { at, count } = state.told?.step ?? { at: 0, count: 1 };
  $("undo").disabled = at === 0;
  $("redo").disabled = at + 1 >= count;
  $("step").textContent = count > 1 ? say.step(at, count) : "";
  showKey();
  if (!found) {
    $("taken").textContent = "";
    for (const id of ["looks", "items"]) $(id).replaceChildren();
    return;
  }
  lined($("scale"), found.scale);
  $("rests").textContent = card.rests(found.rests.measured, found.rests.of_100_k2_mm === null ? null : figures(found.rests.of_100_k2_mm.toFixed(3)));
  fillLooks({ list: $("looks"), remarks: $("remarks"), found, places: state.places, go: (where) => places.among(where), ask: asks });
  showItems();
  places.show();
}

function showLeft(left) {
  const look = ({ at, box: [x0, y0, x1, y1] }) => {
    lookAt(at);
    view.show(at, Math.max(80, 0.62 * Math.max(x1 - x0, y1 - y0)));
  };
  const take = ({ at }) => correct({ add: { do: "item", at: [at] } });
  fillLeft({ part: $("left-part"), list: $("left"), left, show: look, take });
}

function showHand() {
  const steps = state.told?.by_hand ?? [];
  $("hand-part").hidden = steps.length === 0;
  if (state.sight) $("hand-file").href = `/pictures/${state.sight.key}/by-hand.toml`;
  const go = ({ at }) => {
    [overlay.at] = at;
    view.show(at[0], 80);
    overlay.place();
  };
  fillHand({ list: $("hand"), steps, go, without: (number) => correct({ without: number }) });
}

function showItems() {
  const found = state.told.result;
  const only = (item) => outline({ ...form.words, item_at_px: inside(item).map((v) => v.toFixed(1)).join(",") });
  const take = (number, taken) => {
    if (taken) state.dropped.delete(number);
    else state.dropped.add(number);
    overlay.show(found, state.dropped);
    view.draw();
    showDropped();
  };
  const look = (item) => {
    const [left, top, right, bottom] = item.box;
    view.show([(left + right) / 2, (top + bottom) / 2], 0.62 * Math.max(right - left, bottom - top));
  };
  const border = (item) => {
    const taken = state.told.words.edge === "inner" ? "inner" : "outer";
    correct({ add: { do: "border", at: [[item.rings[0][0], item.rings[0][1]]], border: taken === "outer" ? "inner" : "outer" } });
  };
  const read = (item, number) => calipers.part(item, number);
  calipers.keeping(() => fillItems({ list: $("items"), found, dropped: state.dropped, show: look, only, take, border, read }));
  showDropped();
}

function showDropped() {
  const found = state.told.result;
  const names = found.items.filter((_, n) => state.dropped.has(n + 1)).map((item) => item.name);
  $("taken").textContent = names.length ? say.dropped(names.join(", ")) : "";
  const none = names.length === found.items.length;
  for (const id of ["zip", "write"]) $(id).disabled = none;
}

function showKey() {
  $("key").replaceChildren(...overlay.key().map((kind) => made("li", {}, made("i", { className: kind }), KEY[kind])));
}

// --- what is clicked and pressed -----------------------------------------------------------------------------------

function bind() {
  bindBegin({ byId: $, receive, sample: () => sample().catch(fail) });
  $("pictures").addEventListener("change", () => open($("pictures").value));
  $("stop").addEventListener("click", stop);
  $("undo").addEventListener("click", () => step(-1));
  $("redo").addEventListener("click", () => step(1));
  $("next").addEventListener("click", () => places.by(1));
  $("previous").addEventListener("click", () => places.by(-1));
  $("in").addEventListener("click", () => view.zoom(1.5));
  $("out").addEventListener("click", () => view.zoom(1 / 1.5));
  $("whole").addEventListener("click", () => view.whole());
  $("real").addEventListener("click", () => view.zoom(1 / view.scale / (window.devicePixelRatio || 1)));
  bindFiles({ byId: $, state, status, why, fail });
  document.addEventListener("dragover", (event) => {
    event.preventDefault();
    document.body.classList.add("over");
  });
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) document.body.classList.remove("over");
  });
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    document.body.classList.remove("over");
    receive([...event.dataTransfer.files]);
  });
  tools = bindTools({ state, view, overlay, status, fail, go: (by) => places.by(by), step, stop, outline: setAlso, correct });
  bindPlate({ state, status, askFor });
}

bind();
const begun = during(begin);
begun.catch(fail);
