// What a pointer or a key does to the plate: choose, move and turn a pocket; move and zoom what is seen.

import { Pointers, hasLeft } from "./pointers.js";

const NEAR = 7; // screen px within which a moved pocket comes in line with another
const STEP = 60; // screen px of an arrow key, where no pocket is chosen
const TURNS = 15; // degrees that the handle keeps to, unless Shift is held

export function bindHand({ stage, view, drawing, plate }) {
  bindPointers(stage, view, drawing, plate);
  bindKeys(stage, view, plate);
}

function bindPointers(stage, view, drawing, plate) {
  const pointers = new Pointers(stage);
  let [start, holds, from] = [null, "nothing", null];
  stage.addEventListener("pointerdown", (event) => {
    if (event.button > 1 || event.target.closest("button") || !plate.isThere()) return;
    const place = pointers.down(event);
    if (pointers.count > 1) {
      if (holds !== "view") plate.leave();
      [start, holds] = [null, "view"];
      return;
    }
    start = place;
    const spot = event.target.closest(".spot");
    holds = event.target.closest(".grip") ? "grip" : spot ? "pocket" : "view";
    if (spot) plate.choose(Number(spot.dataset.spot));
    from = holds === "view" ? null : [view.place(start), plate.chosen()];
    stage.classList.add("held");
  });
  stage.addEventListener("pointermove", (event) => {
    const way = pointers.moved(event, view);
    if (!way || !hasLeft(start, way[1])) return;
    const [before, now] = way;
    start = null;
    if (holds === "view") view.move(now[0] - before[0], now[1] - before[1]);
    else if (holds === "grip") plate.turnTo(turned(view, now, from[1], event.shiftKey));
    else plate.moveTo(...moved(view, plate, now, from, event.shiftKey));
    pointers.at(event, now);
  });
  const end = (event) => {
    if (!pointers.up(event) || pointers.count) return;
    drawing.guides = [];
    if (event.type === "pointercancel") plate.leave();
    else if (start && holds === "view") plate.choose(-1);
    else if (holds !== "view") plate.settle();
    [start, holds, from] = [null, "nothing", null];
    view.draw();
  };
  stage.addEventListener("pointerup", end);
  stage.addEventListener("pointercancel", end);
}

// Where a pocket comes to lie that was taken at a place: with the pointer, or in line with another near it.
function moved(view, plate, now, [taken, spot], free) {
  const at = view.place(now);
  const wanted = [0, 1].map((axis) => spot[1 + axis] + at[axis] - taken[axis]);
  const guides = [];
  if (!free) {
    for (const axis of [0, 1]) {
      const lines = plate.others().map((other) => other[1 + axis]);
      const nearest = lines.reduce((best, mm) => (Math.abs(mm - wanted[axis]) < Math.abs(best - wanted[axis]) ? mm : best), Infinity);
      if (Math.abs(nearest - wanted[axis]) * view.scale > NEAR) continue;
      wanted[axis] = nearest;
      guides.push([axis, nearest]);
    }
  }
  return [wanted, guides];
}

function turned(view, now, [, x, y], free) {
  const at = view.place(now);
  const degrees = (Math.atan2(x - at[0], at[1] - y) * 180) / Math.PI;
  return free ? Math.round(degrees * 10) / 10 : Math.round(degrees / TURNS) * TURNS;
}

function bindKeys(stage, view, plate) {
  const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  const anywhere = {
    n: () => plate.next(1),
    p: () => plate.next(-1),
    "0": () => view.whole(),
    "+": () => view.zoom(1.5),
    "=": () => view.zoom(1.5),
    "-": () => view.zoom(1 / 1.5),
    l: () => plate.lock(),
    a: () => plate.another(),
    Delete: () => plate.away(),
    Escape: () => plate.choose(-1),
  };
  const turns = { ",": 90, ".": -90, "<": 1, ";": 1, ">": -1, ":": -1 }; // with Shift, on keyboards of two kinds
  document.addEventListener("keydown", (event) => {
    if (!document.body.classList.contains("plate")) return;
    const writing = event.target.matches?.("input[type=text], input[type=number], select, textarea");
    if (writing || event.altKey) return;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    if (event.ctrlKey || event.metaKey) {
      const by = { z: event.shiftKey ? 1 : -1, y: 1 }[key];
      if (!by) return;
      event.preventDefault();
      plate.step(by);
      return;
    }
    const inStage = document.activeElement === stage;
    let call = anywhere[key];
    if (key in turns && plate.chosen()) call = () => plate.turnBy(turns[key]);
    if (key in arrows && inStage) {
      const [x, y] = arrows[key];
      const mm = event.shiftKey ? 0.1 : 1;
      call = () => (plate.chosen() ? plate.moveBy(x * mm, y * mm) : view.move(-x * STEP, y * STEP));
    }
    if (!call) return;
    event.preventDefault();
    call();
  });
}
