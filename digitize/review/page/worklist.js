// A folder as a list to work through: next, accept, reject; what is decided is put down at once, the next one prepared.

import { made } from "./made.js";
import { post } from "./server.js";
import { folder as words } from "./words.js";

export class Worklist {
  // `page` gives state, open, correct, inside, fail, status.
  constructor(part, page) {
    Object.assign(this, { part, page, known: page.state.known });
    this.rows = new Map();
    this.saving = new Map(); // decisions on their way, by the picture's key
    this.canDecide = this.known.folder !== null;
    this.more();
  }

  // Called when there are more pictures; a single one needs no list.
  more() {
    if (this.isOn) return this.fill();
    if (this.all.length < 2 && !this.canDecide) return undefined;
    this.part.hidden = false;
    document.addEventListener("keydown", (event) => this.pressed(event));
    return this.build();
  }

  get all() {
    return this.known.pictures.filter((one) => this.canDecide === "said" in one);
  }

  get isOn() {
    return !this.part.hidden;
  }

  isOpen(one) {
    return !one.said && !this.saving.has(one.key);
  }

  // Where to begin: the first that nobody has decided on.
  get first() {
    return (this.all.find((one) => this.isOpen(one)) ?? this.known.pictures[0])?.key;
  }

  build() {
    this.count = made("span", { className: "count" });
    this.count.setAttribute("role", "status");
    this.said = made("p", { className: "said" });
    this.list = made("ol", { className: "folder" });
    const head = made("div", { className: "head" }, made("h2", { id: "folder-title" }, words.title), this.count);
    this.part.setAttribute("aria-labelledby", "folder-title");
    const button = (label, key, call, more = "") => {
      const one = made("button", { type: "button", className: more, title: `${label} (${words.keys[key]})` }, label);
      one.setAttribute("aria-keyshortcuts", key);
      one.addEventListener("click", call);
      return one;
    };
    this.accept = button(words.accept, "Y", () => this.decide("accepted"), "main");
    this.reject = button(words.reject, "X", () => this.decide("rejected"));
    this.again = made("button", { type: "button", className: "small" }, words.open);
    this.again.addEventListener("click", () => this.decide("open"));
    const go = [button(words.previous, "PageUp", () => this.go(-1)), button(this.canDecide ? words.later : words.next, "PageDown", () => this.go(1))];
    const decide = this.canDecide ? [this.accept, this.reject] : [];
    const bar = made("div", { className: "decide" }, ...decide, ...go);
    const note = this.canDecide ? words.into(this.known.folder) : words.nowhere;
    this.part.append(head, bar, this.said, this.list, made("p", { className: "scale" }, note));
    this.fill();
  }

  fill() {
    this.list.replaceChildren(
      ...this.all.map((one) => {
        const row = made("button", { type: "button" });
        row.addEventListener("click", () => this.page.open(one.key).catch(this.page.fail));
        this.rows.set(one.key, row);
        this.mark(one);
        return made("li", {}, row);
      }),
    );
    this.tally();
  }

  mark(one) {
    const row = this.rows.get(one.key);
    const state = this.saving.get(one.key) ?? one.said;
    row.className = one.trouble ? "trouble" : state || "open";
    const told = one.trouble ?? (state ? words.states[state] : (one.why ?? ""));
    row.replaceChildren(made("strong", {}, one.name), made("span", {}, told));
  }

  tally() {
    const left = this.all.filter((one) => this.isOpen(one)).length;
    this.count.textContent = this.canDecide ? words.count(left, this.all.length) : words.pictures(this.all.length);
  }

  // Called when another picture is opened.
  opened(key) {
    if (!this.isOn) return;
    for (const [other, row] of this.rows) {
      if (other === key) row.setAttribute("aria-current", "true");
      else row.removeAttribute("aria-current");
    }
    const row = this.rows.get(key)?.parentElement;
    if (row) this.list.scrollTop = row.offsetTop - this.list.offsetTop - row.offsetHeight; // the one before is seen, too
    document.getElementById("panel").scrollTop = 0;
    this.show();
  }

  // Called when there is another outline, or none, of the picture that is open: the next one is prepared.
  show() {
    if (!this.isOn) return;
    const { told, opening } = this.page.state;
    const one = this.all.find(({ key }) => key === opening);
    const ready = Boolean(one) && !this.saving.has(opening);
    this.accept.disabled = !ready || !told?.result;
    this.reject.disabled = !ready;
    const state = this.saving.get(opening) ?? one?.said;
    const changed = told?.decided && !told.decided.same;
    this.said.replaceChildren(...(state ? [words.is(state, changed), " ", this.again] : []));
    if (told) this.prepare();
  }

  // Called when the picture that is opened cannot be shown: it is still to be decided on.
  failed() {
    if (!this.isOn) return;
    document.body.classList.remove("empty");
    document.getElementById("welcome").hidden = true;
    this.show();
    this.prepare();
  }

  prepare() {
    const next = this.after(1);
    if (!next || next.key === this.prepared) return;
    this.prepared = next.key;
    post(`/pictures/${next.key}/ahead`).catch(() => {}); // only a help: what is wrong is said when it is opened
  }

  // The next picture that is open, in the list's order, round its end.
  after(by) {
    const { all } = this;
    const at = all.findIndex(({ key }) => key === this.page.state.opening);
    const turned = [...all.slice(at + 1), ...all.slice(0, Math.max(at, 0))];
    const open = turned.filter((one) => !this.canDecide || this.isOpen(one));
    return by > 0 ? open[0] : open[open.length - 1];
  }

  go(by) {
    const { all } = this;
    const at = all.findIndex(({ key }) => key === this.page.state.opening);
    const next = all[(at + by + all.length) % all.length];
    if (next) this.page.open(next.key).catch(this.page.fail);
  }

  // Decides on the picture that is open and goes on to the next; what cannot be put down comes back and says why.
  async decide(said) {
    const { state, fail, status } = this.page;
    const one = this.all.find(({ key }) => key === state.opening);
    if (!one || this.saving.has(one.key)) return;
    if (said === "accepted" && !state.told?.result) return status(words.nothing);
    if (said === "accepted" && state.making) return status(words.wait);
    this.saving.set(one.key, said);
    if (said === "accepted" && state.dropped.size && !(await this.leaveOut())) return this.saving.delete(one.key);
    const seen = state.step && [state.step.at, state.step.count];
    const put = this.put(one, said, seen);
    const next = said === "open" ? null : this.after(1);
    this.mark(one);
    this.tally();
    if (next) await this.page.open(next.key).catch(fail);
    await put;
    if (!next && said !== "open" && !one.trouble) status(words.all(this.all.length));
  }

  // Items that were unticked become steps, so that whoever makes the picture again leaves them out too; false if none
  // is left.
  async leaveOut() {
    const { state, correct, inside } = this.page;
    const places = [...state.dropped].map((number) => inside(state.told.result.items[number - 1]));
    for (const at of places) await correct({ add: { do: "drop", at: [at] } });
    return Boolean(state.told?.result);
  }

  async put(one, said, seen) {
    try {
      Object.assign(one, { trouble: null }, await post(`/pictures/${one.key}/decision`, { said, seen }));
    } catch (error) {
      one.trouble = error.message;
      this.page.fail(new Error(words.trouble(one.name, error.message)));
    }
    this.saving.delete(one.key);
    this.mark(one);
    this.tally();
    if (this.page.state.opening === one.key) {
      if (this.page.state.told) this.page.state.told.decided = one.said ? { said: one.said, same: true } : null;
      this.show();
    }
  }

  pressed(event) {
    if (event.altKey || event.ctrlKey || event.metaKey || event.target.matches?.("input[type=text], select, textarea")) return;
    if (document.body.classList.contains("plate")) return; // it has keys of its own
    const calls = { PageDown: () => this.go(1), PageUp: () => this.go(-1) };
    if (this.canDecide) Object.assign(calls, { y: () => this.decide("accepted"), x: () => this.decide("rejected") });
    const call = calls[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (!call) return;
    event.preventDefault();
    if (!event.repeat) call();
  }
}
