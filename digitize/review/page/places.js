// The places of a result that call for a look, gone through one after another.

import { say } from "./words.js";

export class Places {
  constructor({ byId, state, view, overlay, status }) {
    Object.assign(this, { byId, state, view, overlay, status });
  }

  // The next of those of one sentence; all of the picture where it has none.
  among(where) {
    if (!where.length) return this.view.whole();
    const next = where.indexOf(this.state.at) + 1;
    return this.to(where[next % where.length]);
  }

  to(number) {
    const { state, view, overlay } = this;
    state.at = number;
    const place = state.places[number];
    overlay.at = place.at;
    if (place.at) view.show(place.at, place.half);
    else view.whole();
    overlay.place();
    this.show();
    this.status(say.place(number + 1, state.places.length, place.title));
  }

  by(steps) {
    const { at, places } = this.state;
    const count = places.length;
    if (count) this.to(at < 0 ? (steps > 0 ? 0 : count - 1) : (at + steps + count) % count);
  }

  show() {
    const { at, places } = this.state;
    this.byId("count").textContent = at < 0 ? say.count(places.length) : `${at + 1} / ${places.length}`;
    const entry = at < 0 ? null : String(places[at].entry);
    for (const one of this.byId("looks").children) {
      const current = one.dataset.entry === entry;
      one.classList.toggle("current", current);
      if (current) one.firstElementChild.setAttribute("aria-current", "true");
      else one.firstElementChild.removeAttribute("aria-current");
      if (current) one.scrollIntoView({ block: "nearest" });
    }
  }
}
