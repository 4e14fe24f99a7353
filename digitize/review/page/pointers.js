// Pointers that are down on a stage: where they are, and the picture that two of them hold between them.

const CLICK = 4; // screen px that a hand moves in a click

export class Pointers {
  constructor(stage) {
    Object.assign(this, { stage, held: new Map() }); // places by the pointer's number
  }

  get count() {
    return this.held.size;
  }

  where(event) {
    const box = this.stage.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  // Returns the place.
  down(event) {
    const place = this.where(event);
    this.stage.setPointerCapture(event.pointerId);
    this.held.set(event.pointerId, place);
    return place;
  }

  // Where a pointer that is down was and is now; null of another, and where two are down: these zoom what is seen.
  moved(event, view) {
    const before = this.held.get(event.pointerId);
    if (!before) return null;
    const now = this.where(event);
    const other = [...this.held.entries()].find(([id]) => id !== event.pointerId)?.[1];
    if (!other) return [before, now];
    const factor = Math.hypot(now[0] - other[0], now[1] - other[1]) / (Math.hypot(before[0] - other[0], before[1] - other[1]) || 1);
    view.zoom(factor, [(now[0] + other[0]) / 2, (now[1] + other[1]) / 2]);
    this.at(event, now);
    return null;
  }

  at(event, place) {
    this.held.set(event.pointerId, place);
  }

  // Tells whether it was down.
  up(event) {
    const was = this.held.delete(event.pointerId);
    if (was) this.stage.classList.toggle("held", this.count > 0);
    return was;
  }
}

// Whether a hand that began at a place has left it.
export const hasLeft = (start, now) => !start || Math.hypot(now[0] - start[0], now[1] - start[1]) > CLICK;
