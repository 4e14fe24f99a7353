// The plate put together: items laid in rows, moved by hand, held against what keeps it sound, and its files taken.

import { showPlateBefore } from "./before.js";
import { Form } from "./form.js";
import { made } from "./made.js";
import { PlateAsked } from "./plate_asked.js";
import { bindHand } from "./plate_hand.js";
import { bindPocketFields, fillArts, fillConflicts, fillKey, fillKinds, near } from "./plate_lists.js";
import { Drawing, PlateView } from "./plate_view.js";
import { blob, get, keep, post, upload } from "./server.js";
import { PLATE_CHOICES, PLATE_EXAMPLES, PLATE_GROUPS, PLATE_SHOWN, TEMPLATE_GROUPS, figures, inWords, lined, named, plate as words, quoting, say } from "./words.js";

const $ = (id) => document.getElementById(id);
const OF_ROWS = ["rows", "columns", "as_many_as_fit", "gap_mm", "margin_mm", "stagger", "turn_every_second", "turn_deg"];

export function bindPlate({ state, status, askFor }) {
  new Plate({ state, status, askFor });
}

class Plate extends PlateAsked {
  constructor(page) {
    super();
    Object.assign(this, page, { spots: [], at: -1, forms: [] });
    this.view = new PlateView($("plate-stage"), () => this.drawn());
    this.drawing = new Drawing($("plate-drawing"), this.view);
    bindHand({ stage: $("plate-stage"), view: this.view, drawing: this.drawing, plate: this });
    this.pocket = bindPocketFields($("pocket-fields"), this);
    fillKey($("plate-key"));
    this.bind();
  }

  bind() {
    const on = (id, call) => $(id).addEventListener("click", () => Promise.resolve(call()).catch((error) => this.fail(error)));
    on("to-plate", () => this.open());
    on("to-picture", () => this.close());
    on("plate-undo", () => this.step(-1));
    on("plate-redo", () => this.step(1));
    on("turn-left", () => this.turnBy(90));
    on("turn-right", () => this.turnBy(-90));
    on("lock", () => this.lock());
    on("another", () => this.another());
    on("away", () => this.away());
    on("anew", () => this.rows({}));
    on("plate-in", () => this.view.zoom(1.5));
    on("plate-out", () => this.view.zoom(1 / 1.5));
    on("plate-whole", () => this.view.whole());
    on("plate-zip", () => this.files("/plate/files.zip"));
    on("template-zip", () => this.files("/plate/template.zip"));
    on("plate-write", () => this.write());
  }

  // --- opened and closed ---------------------------------------------------------------------------------------------

  // What is on the plate is shown before there are fields to type into: what is typed is never lost to an answer.
  async open() {
    if (this.opening) return;
    this.opening = true;
    this.turn(true);
    try {
      this.told = await get("/plate");
      const own = this.own().map(({ name }) => [this.state.sight.key, name]);
      const { wish, seen } = this.told;
      const first = !wish.items.length && own.length ? await post("/plate/ask", { ...wish, items: own, seen }) : this.told;
      if (!this.forms.length) await this.begin();
      this.take(first);
    } finally {
      this.opening = false;
    }
    $("plate-stage").focus();
  }

  close() {
    this.turn(false);
    $("stage").focus();
  }

  turn(to) {
    document.body.classList.toggle("plate", to);
    $("to-plate").setAttribute("aria-pressed", String(to));
    $("to-picture").setAttribute("aria-pressed", String(!to));
    document.querySelector(".skip").hash = to ? "#plate-panel" : "#panel";
  }

  async begin() {
    const fields = named((await get("/plate/fields")).fields);
    const of = (id, groups, changed) => {
      const own = fields.filter(({ group }) => group in groups);
      return new Form($(id), own, changed, { groups, shown: PLATE_SHOWN, prefix: "plate-", choices: PLATE_CHOICES, examples: PLATE_EXAMPLES });
    };
    this.fields = fields;
    this.forms = [
      of("plate-form", PLATE_GROUPS, (said) => this.changed(said)),
      of("template-form", TEMPLATE_GROUPS, (said) => this.changed(said)),
    ];
    const { to } = this.state.known;
    if (to !== null) Object.assign($("plate-write"), { hidden: false, textContent: say.write(to) });
  }

  async refresh() {
    this.take(await get("/plate"));
  }

  // The items of the picture that is open, and can be laid.
  own() {
    const { told, dropped } = this.state;
    return (told?.result?.items ?? []).filter((item, n) => item.cut && !dropped.has(n + 1));
  }

  take(told) {
    this.pending = null;
    Object.assign(this, { told, spots: told.spots });
    if (this.at >= this.spots.length) this.at = -1;
    for (const form of this.forms) form.show(told.wish.words, {}, told.usual[form.form.id]);
    this.say(told.why);
    showPlateBefore({ element: $("plate-before"), told, anew: () => this.beginAnew() });
    this.show();
    this.status(told.plate ? words.laid(told.spots.length, told.conflicts.length) : words.none);
  }

  fail(error) {
    const sentence = error instanceof Error ? error.message : String(error);
    if (!this.forms.some((form) => form.refuse(sentence))) this.say(sentence);
    this.status(inWords(sentence), { isServers: true });
  }

  say(sentence) {
    $("plate-why").hidden = !sentence;
    const lead = (key) => this.forms.find(({ inputs }) => inputs.has(key)).lead(key);
    $("plate-why").replaceChildren(quoting(made("span"), sentence ?? ""), ...(sentence ? this.askFor(sentence, this.fields, lead) : []));
  }

  // --- shown ---------------------------------------------------------------------------------------------------------

  show() {
    const { told, spots } = this;
    if (told.plate) this.view.bed(told.plate.bed);
    this.drawing.show(told.plate, spots, this.at, told.conflicts);
    this.view.draw();
    $("plate-undo").disabled = !this.past.length;
    $("plate-redo").disabled = !this.future.length;
    $("plate-count").textContent = told.plate ? words.count(spots.length) : "";
    $("anew").hidden = !told.wish.by_hand;
    for (const id of ["plate-zip", "template-zip", "plate-write"]) $(id).disabled = !told.sound;
    $("plate-same").hidden = !told.command.length;
    $("plate-command").textContent = told.command.join("\n");
    fillConflicts($("conflicts"), $("plate-look"), told, (numbers) => this.choose(numbers[0] - 1, { show: true }));
    fillKinds($("kinds"), this);
    const blocks = told.blocks.map(({ kind, count, how, straight }) => words.block(kind, count, how, straight));
    if (told.wish.by_hand) $("blocks").textContent = words.byHand;
    else lined($("blocks"), blocks.join(". "));
    fillArts($("arts"), this);
    this.showChosen();
  }

  showChosen() {
    const spot = this.chosen();
    for (const id of ["turn-left", "turn-right", "lock", "another", "away"]) $(id).disabled = !spot;
    for (const id of ["turn-left", "turn-right", "away"]) $(id).disabled ||= spot?.[4];
    $("lock").setAttribute("aria-pressed", String(Boolean(spot?.[4])));
    $("lock").textContent = spot?.[4] ? words.unlock : words.lock;
    $("pocket-part").hidden = !spot;
    if (spot) this.pocket.show(this.at, spot);
    this.drawing.choose(this.at, this.spots);
  }

  drawn() {
    $("plate-factor").textContent = this.told?.plate ? figures(`${this.view.scale.toFixed(1)} px/mm`) : "";
    this.drawing.place(this.spots);
  }

  // --- a pocket ------------------------------------------------------------------------------------------------------

  isThere() {
    return Boolean(this.told?.plate);
  }

  chosen() {
    return this.spots[this.at] ?? null;
  }

  others() {
    return this.spots.filter((_, n) => n !== this.at);
  }

  choose(number, { show = false } = {}) {
    this.at = this.spots[number] ? number : -1;
    this.showChosen();
    this.tell();
    if (show && this.chosen()) {
      const [x, y] = this.view.seen(this.chosen().slice(1, 3));
      const isOut = x < 0 || y < 0 || x > this.view.width || y > this.view.height;
      if (isOut) this.view.move(this.view.width / 2 - x, this.view.height / 2 - y);
    }
  }

  // x and y of a spot from the zero corner into the bed.
  fromZero([, x, y]) {
    const { zero, signs } = this.told.plate;
    return [(x - zero[0]) * signs[0], (y - zero[1]) * signs[1]];
  }

  tell() {
    const spot = this.chosen();
    if (!spot) return;
    const [x, y] = this.fromZero(spot).map(near);
    this.status(words.chosen(this.at + 1, this.spots.length, spot[0], x, y, near(spot[3]), spot[4]));
  }

  next(by) {
    const count = this.spots.length;
    if (count) this.choose(this.at < 0 ? (by > 0 ? 0 : count - 1) : (this.at + by + count) % count, { show: true });
  }

  // Changes the chosen pocket on the screen at once; what is wrong with it then is asked for beside.
  change(part, value) {
    const spot = this.chosen();
    if (!spot) return false;
    if (spot[4]) {
      this.status(words.isLocked);
      return false;
    }
    this.saved ??= this.told.wish;
    const next = [...spot];
    for (const [n, one] of value.entries()) next[part + n] = one;
    next[3] = ((((next[3] + 180) % 360) + 360) % 360) - 180;
    this.spots = this.spots.map((one, n) => (n === this.at ? next : one));
    this.drawing.put(this.at, next);
    this.drawing.placeGrip(next);
    this.pocket.show(this.at, next);
    this.tell();
    this.judge();
    return true;
  }

  moveTo([x, y], guides = []) {
    this.drawing.guides = guides;
    if (this.change(1, [x, y].map((mm) => Math.round(mm * 1000) / 1000))) this.view.draw();
  }

  turnTo(degrees) {
    this.change(3, [degrees]);
  }

  moveBy(x, y) {
    const spot = this.chosen();
    if (this.change(1, [spot[1] + x, spot[2] + y].map((mm) => Math.round(mm * 1000) / 1000))) this.settleSoon();
  }

  turnBy(degrees) {
    const spot = this.chosen();
    if (spot && this.change(3, [Math.round((spot[3] + degrees) * 1000) / 1000])) this.settleSoon();
  }

  // Leaves a pocket where it was before it was taken.
  leave() {
    if (!this.saved) return;
    this.saved = null;
    this.spots = this.told.spots;
    this.show();
  }

  async judge() {
    this.toJudge = this.spots;
    if (this.judging) return;
    this.judging = true;
    try {
      while (this.toJudge) {
        const spots = this.toJudge;
        this.toJudge = null;
        const { conflicts } = await post("/plate/check", { spots });
        if (!this.saved) break;
        this.drawing.judge(conflicts);
        fillConflicts($("conflicts"), $("plate-look"), { ...this.told, conflicts, said: [] }, () => {});
      }
    } catch (error) {
      this.status(error.message);
    }
    this.judging = false;
  }

  // What changes several pockets, or none of those that are there.
  byHand(spots, more = {}) {
    return this.ask({ by_hand: true, spots, counts: {}, ...more }).catch((error) => this.fail(error));
  }

  lock() {
    const spot = this.chosen();
    if (!spot) return undefined;
    const spots = this.spots.map((one, n) => (n === this.at ? [...one.slice(0, 4), !one[4]] : one));
    const { by_hand: byHand } = this.told.wish;
    return byHand ? this.byHand(spots) : this.ask({ spots: spots.filter((one) => one[4]) }).catch((error) => this.fail(error));
  }

  // Another pocket beside the chosen one, or one of a kind in the middle of the plate.
  another(kind = null) {
    const spot = this.chosen();
    if (kind === null && !spot) return undefined;
    const { size, low, bed } = this.told.plate;
    let next = [kind, low[0] + size[0] / 2, low[1] + size[1] / 2, 0, false];
    if (kind === null) {
      const flat = this.told.plate.kinds.find(({ name }) => name === spot[0]).pocket.flat();
      const wide = Math.max(...flat.filter((_, n) => n % 2 === 0)) * 2 + 5;
      next = [spot[0], spot[1] + wide < bed[0] - wide / 2 ? spot[1] + wide : spot[1] - wide, spot[2], spot[3], false];
    }
    this.at = this.spots.length;
    return this.byHand([...this.spots, next]);
  }

  away() {
    const spot = this.chosen();
    if (!spot) return undefined;
    if (spot[4]) return this.status(words.isLocked);
    const rest = this.others();
    this.at = Math.min(this.at, rest.length - 1);
    return this.byHand(rest);
  }

  // --- items, options, steps -----------------------------------------------------------------------------------------

  choices(item, isOn) {
    const { wish } = this.told;
    const items = isOn ? [...wish.items, item] : wish.items.filter((one) => one[0] !== item[0] || one[1] !== item[1]);
    const spots = wish.spots.filter(([kind]) => isOn || kind !== item[1]);
    return this.ask({ items, spots }).catch((error) => this.fail(error));
  }

  most(kind, count) {
    const { wish } = this.told;
    if (!wish.by_hand) {
      const counts = { ...wish.counts };
      if (count === null) delete counts[kind];
      else counts[kind] = count;
      return this.ask({ counts }).catch((error) => this.fail(error));
    }
    let left = count ?? Infinity;
    return this.byHand(this.spots.filter((one) => one[0] !== kind || one[4] || (left -= 1) >= 0));
  }

  changed(said) {
    const before = this.told.wish.words;
    const all = { ...before, ...said };
    if (OF_ROWS.some((key) => all[key] !== before[key])) return this.rows({ words: all });
    return this.ask({ words: all }).catch((error) => this.fail(error));
  }

  // Leaves the plate of an earlier visit, which an undo brings back, for the items of the picture that is open.
  beginAnew() {
    const items = this.own().map(({ name }) => [this.state.sight.key, name]);
    return this.ask({ items, words: {}, counts: {}, by_hand: false, spots: [], arts: {} }).catch((error) => this.fail(error));
  }

  // Lays rows anew; pockets that are locked stay.
  async rows(change) {
    const { by_hand: byHand } = this.told.wish;
    await this.ask({ ...change, by_hand: false, spots: this.spots.filter((one) => one[4]) }).catch((error) => this.fail(error));
    if (byHand) this.status(words.anew);
  }

  // --- files ---------------------------------------------------------------------------------------------------------

  async files(address) {
    this.status(say.packing);
    const file = await blob(address);
    keep(file);
    this.status(say.took(file.name));
  }

  async write() {
    const [plate, template] = [await post("/plate/write", {}), await post("/plate/write", { template: true })];
    this.status(say.wrote(plate.written.length + template.written.length, this.state.known.to));
  }

  async art(kind, file) {
    try {
      const found = await upload(file, (part) => this.status(say.sending(file.name, part)), "/plate/artwork");
      await this.ask({ arts: { ...this.told.wish.arts, [kind]: found.key } });
    } catch (error) {
      this.fail(error);
    }
  }

  withoutArt(kind) {
    const arts = { ...this.told.wish.arts };
    delete arts[kind];
    return this.ask({ arts }).catch((error) => this.fail(error));
  }
}
