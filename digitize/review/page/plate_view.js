// The plate as it is drawn: the bed with its pockets, mm, y up, zoomed and moved as a picture is.

import { element } from "./overlay.js";
import { View } from "./view.js";

const LARGEST = 60; // screen px a mm
const MARGIN = 46; // screen px about the bed, for its figures
const STEP_MM = 50; // of the lines on the bed

export class PlateView extends View {
  constructor(stage, drawn) {
    super(stage, document.createElement("canvas"), drawn); // there is nothing to paint: all is lines
  }

  paint() {}

  fitting() {
    const [width, height] = this.sight.size;
    return Math.min((this.width - 2 * MARGIN) / width, (this.height - 2 * MARGIN) / height, LARGEST);
  }

  seen([x, y]) {
    return [x * this.scale + this.offset[0], (this.sight.size[1] - y) * this.scale + this.offset[1]];
  }

  place([x, y]) {
    return [(x - this.offset[0]) / this.scale, this.sight.size[1] - (y - this.offset[1]) / this.scale];
  }

  // Another bed; where it is as large as before, what is seen stays.
  bed(size) {
    const same = this.sight?.size.every((mm, n) => mm === size[n]);
    this.sight = { size, levels: 1, tile: 1 };
    if (!same) this.whole();
  }
}

function ring(flat) {
  let words = "";
  for (let n = 0; n < flat.length; n += 2) words += `${n ? "L" : "M"}${flat[n]} ${flat[n + 1]}`;
  return `${words}Z`;
}

const rings = (all) => all.map(ring).join("");

export class Drawing {
  constructor(svg, view) {
    this.svg = svg;
    this.view = view;
    this.defs = element("defs");
    this.world = element("g", { class: "bed" });
    this.marks = element("g", { class: "marks" });
    this.held = element("g", { class: "held" });
    svg.append(this.defs, this.world, this.marks, this.held);
    this.spots = [];
    this.guides = [];
  }

  // Shows a plate, and its pockets; null clears.
  show(plate, spots, chosen, conflicts) {
    this.plate = plate;
    this.defs.replaceChildren();
    this.world.replaceChildren();
    if (!plate) return this.place();
    plate.kinds.forEach((kind, number) => this.defs.append(this.kind(kind, number)));
    this.world.append(...this.ground());
    this.spots = spots.map((spot, n) => this.spot(spot, n));
    this.world.append(...this.spots);
    this.webs = element("g", { class: "webs" });
    this.world.append(this.webs);
    this.judge(conflicts);
    this.choose(chosen, spots);
    return this.place();
  }

  ground() {
    const [[width, height], [w, h], [x, y]] = [this.plate.bed, this.plate.size, this.plate.low];
    let lines = "";
    for (let at = STEP_MM; at < width; at += STEP_MM) lines += `M${this.fromZero(0, at)} 0V${height}`;
    for (let at = STEP_MM; at < height; at += STEP_MM) lines += `M0 ${this.fromZero(1, at)}H${width}`;
    return [
      element("rect", { class: "table", width, height }),
      element("rect", { class: "sheet", x, y, width: w, height: h }),
      element("path", { class: "grid", d: lines }),
      ...this.plate.holes.map(([cx, cy, diameter]) => element("circle", { class: "drilled", cx, cy, r: diameter / 2 })),
    ];
  }

  fromZero(axis, mm) {
    return this.plate.zero[axis] + this.plate.signs[axis] * mm;
  }

  kind(kind, number) {
    const [edge, hole, pocket, print] = [kind.edge, kind.hole, kind.pocket, kind.print].map(rings);
    return element(
      "g",
      { id: `kind-${number}` },
      element("path", { class: "room", d: pocket || edge }),
      element("path", { class: `item fill-${number % 4}`, d: edge + hole }),
      element("path", { class: "line-edge", d: edge }),
      element("path", { class: "line-hole", d: hole }),
      element("path", { class: "line-print", d: print }),
      element("path", { class: "line-pocket", d: pocket }),
    );
  }

  spot([kind], number) {
    const index = this.plate.kinds.findIndex(({ name }) => name === kind);
    const text = element("text", { class: "number", "font-size": this.letter(index) }, String(number + 1));
    return element("g", { class: "spot", "data-spot": number }, element("use", { href: `#kind-${index}` }), text);
  }

  // How large a number is, mm: as a third of the item's lesser side.
  letter(index) {
    const flat = this.plate.kinds[index].edge[0];
    const side = [0, 1].map((axis) => {
      const own = flat.filter((_, n) => n % 2 === axis);
      return Math.max(...own) - Math.min(...own);
    });
    return Math.max(0.34 * Math.min(...side), 1.5);
  }

  put(number, [, x, y, turn, locked]) {
    const one = this.spots[number];
    one.setAttribute("transform", `translate(${x} ${y}) rotate(${turn})`);
    one.lastChild.setAttribute("transform", `rotate(${-turn}) scale(1 -1)`);
    one.classList.toggle("locked", locked);
  }

  // Marks what is wrong: pockets that will not do, and webs that are too thin where they are thinnest.
  judge(conflicts) {
    const [bad, thin] = [new Set(), new Set()];
    for (const one of conflicts) for (const number of one.pockets) (one.what === "thin" ? thin : bad).add(number - 1);
    this.spots.forEach((one, n) => {
      one.classList.toggle("bad", bad.has(n));
      one.classList.toggle("thin", thin.has(n) && !bad.has(n));
    });
    const webs = conflicts.filter(({ what }) => what === "thin");
    this.webs?.replaceChildren(
      ...webs.map(({ between: [[x1, y1], [x2, y2]] }) => element("line", { x1, y1, x2, y2, class: "web" })),
    );
  }

  choose(chosen, spots) {
    this.chosen = chosen;
    this.spots.forEach((one, n) => one.classList.toggle("chosen", n === chosen));
    if (this.spots[chosen]) this.webs.before(this.spots[chosen]); // over the others
    spots.forEach((spot, n) => this.put(n, spot));
    this.held.replaceChildren();
    if (chosen < 0 || !spots[chosen]) return;
    this.grip = element("g", { class: "grip" }, element("line"), element("circle", { r: 22, class: "reach" }), element("circle", { r: 9 }));
    this.held.append(this.grip);
    this.placeGrip(spots[chosen]);
  }

  // The handle that turns the chosen pocket, above it as it is turned.
  placeGrip([kind, x, y, turn]) {
    if (!this.grip) return;
    const flat = this.plate.kinds.find(({ name }) => name === kind).edge[0];
    const top = Math.max(...flat.filter((_, n) => n % 2)) + 34 / this.view.scale;
    const radians = (turn * Math.PI) / 180;
    const [[cx, cy], [gx, gy]] = [[x, y], [x - top * Math.sin(radians), y + top * Math.cos(radians)]].map((at) => this.view.seen(at));
    const [line, ...dots] = this.grip.children;
    for (const [name, value] of Object.entries({ x1: cx, y1: cy, x2: gx, y2: gy })) line.setAttribute(name, value);
    for (const dot of dots) {
      dot.setAttribute("cx", gx);
      dot.setAttribute("cy", gy);
    }
  }

  // Puts everything where it is seen.
  place(spots = []) {
    if (!this.plate) return this.marks.replaceChildren();
    const { scale, offset, sight } = this.view;
    this.world.setAttribute("transform", `translate(${offset[0]} ${offset[1] + sight.size[1] * scale}) scale(${scale} ${-scale})`);
    this.marks.replaceChildren(...this.figures());
    if (this.chosen >= 0 && spots[this.chosen]) this.placeGrip(spots[this.chosen]);
  }

  // Distances from zero along the bed's edges, the zero corner, and lines that a moved pocket is in line with.
  figures() {
    const [width, height] = this.plate.bed;
    const step = this.view.scale * STEP_MM < 34 ? 2 * STEP_MM : STEP_MM;
    const found = [];
    const write = (at, words, dx, dy, more = "") => {
      const [x, y] = this.view.seen(at);
      found.push(element("text", { x: x + dx, y: y + dy, class: `figure${more}` }, words));
    };
    const [below, beside] = [this.plate.signs[1] > 0 ? 18 : -9, this.plate.signs[0] > 0 ? -20 : 20];
    for (let mm = step; mm <= width; mm += step) write([this.fromZero(0, mm), this.plate.zero[1]], String(mm), 0, below);
    for (let mm = step; mm <= height; mm += step) write([this.plate.zero[0], this.fromZero(1, mm)], String(mm), beside, 4);
    write(this.plate.zero, "0", beside * 0.7, below * 0.9, " origin");
    const [zx, zy] = this.view.seen(this.plate.zero);
    found.push(element("circle", { cx: zx, cy: zy, r: 5, class: "origin" }));
    for (const [axis, mm] of this.guides) {
      const [[x1, y1], [x2, y2]] = (axis ? [[0, mm], [width, mm]] : [[mm, 0], [mm, height]]).map((at) => this.view.seen(at));
      found.push(element("line", { x1, y1, x2, y2, class: "guide" }));
    }
    return found;
  }
}
