// What was found, as lines over the picture: as thick on the screen at any zoom.

import { sizeOf } from "./lists.js";
import { KEY } from "./words.js";

const MOST_SIZES = 60; // items; of more only the numbers are shown
const PIECE = 96; // points of a line that are one path: of pieces that are out of sight nothing is drawn
const ROOM = 320; // screen px that lines are shifted as they are, before they are drawn anew
const REST = 160; // ms after which shifted lines are drawn anew
const SVG = "http://www.w3.org/2000/svg";

export function element(name, told = {}, ...inside) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(told)) made.setAttribute(key, value);
  made.append(...inside);
  return made;
}

function line(flat, closed) {
  let words = "";
  for (let n = 0; n < flat.length; n += 2) words += `${n ? "L" : "M"}${flat[n]} ${flat[n + 1]}`;
  return closed ? `${words}Z` : words;
}

// A line in pieces, each beginning where the one before ends.
function pieces(flat, closed) {
  const all = closed ? [...flat, flat[0], flat[1]] : flat;
  const found = [];
  for (let n = 0; n + 2 < all.length; n += 2 * PIECE) found.push(line(all.slice(n, n + 2 * PIECE + 2), false));
  return found;
}

function box([left, top, right, bottom], about = 0) {
  return line([left - about, top - about, right + about, top - about, right + about, bottom + about, left - about, bottom + about], true);
}

export class Overlay {
  constructor(svg, view) {
    this.svg = svg;
    this.view = view;
    this.world = element("g", { class: "world" });
    this.marks = element("g", { class: "marks" });
    svg.append(this.world, this.marks);
    this.labels = [];
    this.found = null;
    this.at = null; // the place looked at
    this.points = []; // of the caliper
    this.kinds = new Set();
  }

  show(found, dropped) {
    this.found = found;
    this.world.replaceChildren();
    this.marks.replaceChildren();
    this.labels = [];
    this.kinds = new Set();
    if (found) this.build(found, dropped);
    this.mark = element("g", { class: "look" }, element("circle", { r: 26, class: "rim" }), element("circle", { r: 26 }));
    this.caliper = element("g", { class: "caliper" });
    this.marks.append(this.mark, this.caliper);
    this.place();
  }

  build(found, dropped) {
    if (found.reference) this.add("reference", line(found.reference, true));
    for (const one of found.left_out) this.add("left", box(one.box, 4));
    for (const one of found.failed) {
      for (const ring of one.rings) this.add("failed", pieces(ring, true));
      for (const run of one.lost) this.add("lost", pieces(run, false));
      if (one.rings.length) continue;
      const [left, top, right, bottom] = one.box;
      this.add("failed", `${box(one.box)}M${left} ${top}L${right} ${bottom}M${right} ${top}L${left} ${bottom}`);
    }
    for (const item of found.items) for (const other of item.other) this.add("other", pieces(other, false));
    found.items.forEach((item, number) => {
      const more = dropped.has(number + 1) ? " dropped" : "";
      item.rings.forEach((ring, n) => this.add(n ? "hole" : "edge", pieces(ring, true), more));
      for (const run of item.hand) this.add("hand", pieces(run, false), more);
      this.label(item, number + 1, more);
    });
    found.left_out.forEach(({ box: [left, top] }, n) => this.number(n + 1, [left, top], "left-number"));
    const { paths, leads, uncut, pins, prints } = found.pocket;
    for (const ring of uncut) this.add("uncut", line(ring, true));
    for (const ring of prints) this.add("print", pieces(ring, true));
    for (const ring of paths) this.add("pocket", pieces(ring, true));
    for (const lead of leads) this.add("pocket", line(lead, false), " lead");
    for (const ring of pins) this.add("pin", line(ring, true));
  }

  add(kind, d, more = "") {
    this.kinds.add(kind);
    for (const rim of ["rim ", ""]) this.world.append(...[d].flat().map((one) => element("path", { d: one, class: `${rim}${kind}${more}` })));
  }

  label(item, number, more) {
    const [left, , right, bottom] = item.box;
    const group = element("g", { class: `label${more}` });
    this.marks.append(group);
    const [whole, short] = [`${number}   ${sizeOf(item)}`, String(number)].map((words, n) => {
      const text = element("text", { x: 0, y: 4 }, words);
      const back = element("rect", { rx: 4, y: -13, height: 24 });
      group.append(element("g", { class: n ? "short" : "whole" }, back, text));
      const width = text.getComputedTextLength() + 16;
      back.setAttribute("x", -width / 2);
      back.setAttribute("width", width);
      return width;
    });
    this.labels.push({ group, at: [(left + right) / 2, bottom], whole, short, room: right - left });
  }

  // Numbers on places of the picture, from 1.
  spots(places) {
    for (const [n, at] of places.entries()) this.number(n + 1, at, "spot");
    this.place();
  }

  number(number, at, kind) {
    const group = element("g", { class: `label ${kind}` }, element("rect", { rx: 4, x: -12, y: -43, width: 24, height: 24 }), element("text", { x: 0, y: -26 }, String(number)));
    this.marks.append(group);
    this.labels.push({ group, at, whole: 24, short: 0, room: Infinity });
  }

  // Follows the picture: where it was only moved, what is drawn is shifted, which costs next to nothing.
  follow() {
    const { scale, offset } = this.view;
    const by = this.drawn?.scale === scale ? [0, 1].map((axis) => offset[axis] - this.drawn.offset[axis]) : null;
    if (!by || Math.max(...by.map(Math.abs)) > ROOM) return this.place();
    const dots = window.devicePixelRatio || 1;
    const [x, y] = by.map((px) => Math.round(px * dots) / dots);
    this.svg.style.transform = `translate(${x}px, ${y}px)`;
    clearTimeout(this.resting);
    if (x || y) this.resting = setTimeout(() => this.place(), REST);
  }

  // Puts everything where it is seen.
  place() {
    const { scale, offset } = this.view;
    clearTimeout(this.resting);
    this.drawn = { scale, offset };
    this.svg.style.transform = "translate(0px, 0px)";
    this.world.setAttribute("transform", `translate(${offset[0]} ${offset[1]}) scale(${scale}) translate(0.5 0.5)`);
    const seen = this.labels.map((label) => this.view.seen(label.at));
    for (const [n, label] of this.labels.entries()) {
      const [x, y] = seen[n];
      label.group.setAttribute("transform", `translate(${x} ${Math.round(y + 30)})`);
      label.group.classList.toggle("brief", label.room * scale < label.whole * 0.6 || this.collides(n, seen));
      label.group.classList.toggle("hidden", label.room * scale < label.short);
    }
    if (!this.mark) return;
    this.mark.classList.toggle("on", this.at !== null);
    if (this.at) this.mark.setAttribute("transform", `translate(${this.view.seen(this.at)})`);
    this.placeCaliper();
  }

  // Whether an item's sizes would be written over another's.
  collides(number, seen) {
    if (this.labels.length > MOST_SIZES) return true;
    const [x, y] = seen[number];
    return this.labels.some((other, n) => {
      const wide = (other.whole + this.labels[number].whole) / 2 + 4;
      return n !== number && Math.abs(seen[n][0] - x) < wide && Math.abs(seen[n][1] - y) < 28;
    });
  }

  placeCaliper() {
    const seen = this.points.map((point) => this.view.seen(point.at));
    const parts = [];
    for (let n = 0; n + 1 < seen.length; n += 1) {
      const [[x0, y0], [x1, y1]] = [seen[n], seen[n + 1]];
      for (const kind of ["rim", "bar"]) parts.push(element("line", { x1: x0, y1: y0, x2: x1, y2: y1, class: kind }));
    }
    seen.forEach(([x, y], n) => {
      const snapped = this.points[n].snapped ? " snapped" : "";
      for (const kind of ["rim", "jaw"]) {
        parts.push(element("path", { d: `M${x - 9} ${y}H${x + 9}M${x} ${y - 9}V${y + 9}`, class: kind + snapped }));
      }
      if (snapped) parts.push(element("circle", { cx: x, cy: y, r: 5, class: "jaw" }));
    });
    this.caliper.replaceChildren(...parts);
  }

  // The nearest place of an outline within so many screen px, else the place itself.
  snapped(at, reach) {
    const best = { at, snapped: false, distance: reach / this.view.scale };
    for (const one of [...(this.found?.items ?? []), ...(this.found?.failed ?? [])]) {
      for (const ring of one.rings) nearest(ring, best, at);
    }
    return { at: best.at, snapped: best.snapped };
  }

  // The number of the item's ring around a place: 0 within the item, n in its hole n; null outside of all items.
  ringAt(at) {
    for (const item of this.found?.items ?? []) {
      if (!holds(item.rings[0], at)) continue;
      const hole = item.rings.findIndex((ring, n) => n > 0 && holds(ring, at));
      return Math.max(hole, 0);
    }
    return null;
  }

  key() {
    return Object.keys(KEY).filter((kind) => this.kinds.has(kind));
  }
}

function nearest(ring, best, [x, y]) {
  const count = ring.length;
  for (let n = 0; n < count; n += 2) {
    const [ax, ay] = [ring[n], ring[n + 1]];
    const [dx, dy] = [ring[(n + 2) % count] - ax, ring[(n + 3) % count] - ay];
    const along = Math.min(Math.max(((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy || 1), 0), 1);
    const [nx, ny] = [ax + along * dx, ay + along * dy];
    const distance = Math.hypot(x - nx, y - ny);
    if (distance < best.distance) Object.assign(best, { at: [nx, ny], snapped: true, distance });
  }
}

// Where a ring crosses the row through y.
function crossings(ring, y) {
  const found = [];
  for (let n = 0; n < ring.length; n += 2) {
    const [x0, y0] = [ring[n], ring[n + 1]];
    const [x1, y1] = [ring[(n + 2) % ring.length], ring[(n + 3) % ring.length]];
    if (y0 > y !== y1 > y) found.push(x0 + ((y - y0) / (y1 - y0)) * (x1 - x0));
  }
  return found;
}

function holds(ring, [x, y]) {
  return crossings(ring, y).filter((at) => at > x).length % 2 === 1;
}

// A place inside an item and outside its holes: the middle of its longest run along some row.
export function inside(item) {
  const [, top, , bottom] = item.box;
  let best = [0, item.rings[0][0], item.rings[0][1]];
  for (let part = 1; part < 16; part += 1) {
    const y = top + ((bottom - top) * part) / 16;
    const cuts = item.rings.flatMap((ring) => crossings(ring, y)).sort((a, b) => a - b);
    for (let n = 0; n + 1 < cuts.length; n += 2) {
      const wide = Math.min(cuts[n + 1] - cuts[n], bottom - top);
      if (wide > best[0]) best = [wide, (cuts[n] + cuts[n + 1]) / 2, y];
    }
  }
  return [best[1], best[2]];
}
