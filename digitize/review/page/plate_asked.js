// What is asked of a plate, one wish after another: sent in turn, undone and done again.

import { post } from "./server.js";
import { plate as words } from "./words.js";

const PAUSE = 350; // ms that keys rest before what they moved is asked for

// Whoever extends it says what is done with an answer (`take`), anew (`refresh`), with a refusal (`fail`), and where its `spots` are meanwhile.
export class PlateAsked {
  constructor() {
    Object.assign(this, { told: null, past: [], future: [], wanted: null, asking: false, pending: null, saved: null, timer: null });
  }

  // Asks for another plate, by what changes; of what is asked meanwhile only the last counts.
  async ask(change) {
    this.rest();
    const before = this.pending ?? this.told.wish;
    this.past.push(this.saved ?? before);
    this.future = [];
    this.saved = null;
    await this.put({ ...before, ...change });
  }

  async put(wish) {
    this.pending = wish;
    this.wanted = wish;
    if (this.asking) return;
    this.asking = true;
    this.status(words.laying);
    this.mark();
    try {
      while (this.wanted) {
        const next = this.wanted;
        this.wanted = null;
        await this.send(next);
      }
    } finally {
      this.asking = false;
      this.mark();
    }
  }

  async send(wish) {
    try {
      const told = await post("/plate/ask", { ...wish, seen: this.told.seen });
      if (this.wanted) this.told.seen = told.seen;
      else this.take(told);
    } catch (error) {
      this.pending = null;
      if (error.status === 412) await this.refresh();
      this.fail(error);
    }
  }

  settleSoon() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.settle(), PAUSE);
    this.mark();
  }

  rest() {
    clearTimeout(this.timer);
    this.timer = null;
    this.mark();
  }

  // Shows that an answer is to come: one is asked for, or keys still rest.
  mark() {
    document.body.classList.toggle("laying", this.asking || this.timer !== null);
  }

  // Asks for the plate as it was moved by hand.
  settle() {
    this.rest();
    if (!this.saved) return;
    this.ask({ by_hand: true, spots: this.spots, counts: {} }).catch((error) => this.fail(error));
  }

  step(by) {
    this.settle();
    const [from, to] = by < 0 ? [this.past, this.future] : [this.future, this.past];
    if (!from.length) return undefined;
    to.push(this.pending ?? this.told.wish);
    return this.put(from.pop());
  }
}
