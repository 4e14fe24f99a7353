// What a click, a drag or a key in the picture does.

import { get } from "./server.js";
import { MENDS, TOOLS, WAYS, say } from "./words.js";

const $ = (id) => document.getElementById(id);
const REACH = 14; // screen px within which a point lies on an outline
const CLICK = 4; // screen px that a hand moves in a click
const STEP = 60; // screen px of an arrow key
const ALL = [...TOOLS, ...MENDS];

export function bindTools(page) {
  const { state, view, overlay, status, fail } = page;
  let tool = "move";

  const choose = (name) => {
    tool = name;
    for (const one of $("tools").querySelectorAll("[role=radio]")) {
      const chosen = one.dataset.tool === name;
      one.setAttribute("aria-checked", String(chosen));
      one.tabIndex = chosen ? 0 : -1;
    }
    $("stage").dataset.tool = name;
    clear();
    const [, , , help, ways = []] = ALL.find(([key]) => key === name);
    $("way").disabled = ways.length === 0;
    $("way").replaceChildren(...ways.map((way) => new Option(WAYS[way], way)));
    status(name === "measure" ? say.first : help);
  };

  const clear = () => {
    overlay.points = [];
    $("reading").hidden = true;
    overlay.place();
  };

  const measure = async (at) => {
    if (overlay.points.length === 2) clear();
    overlay.points = [...overlay.points, overlay.snapped(at, REACH)];
    overlay.place();
    if (overlay.points.length < 2) return status(say.second);
    const [a, b] = overlay.points;
    const query = { x0: a.at[0], y0: a.at[1], x1: b.at[0], y1: b.at[1] };
    const { mm, k2_mm: k2 } = await get(`/pictures/${state.sight.key}/length`, query);
    const sure = a.snapped && b.snapped ? k2 : null;
    const [strong, note] = [document.createElement("strong"), document.createElement("span")];
    strong.textContent = say.length(mm, sure);
    note.textContent = say.lengthNote(sure);
    $("reading").replaceChildren(strong, note);
    $("reading").hidden = false;
    return status(say.length(mm, sure));
  };

  const pick = async (at) => {
    const words = at.map((v) => v.toFixed(1)).join(",");
    const { key } = state.sight;
    if (tool === "item") page.outline({ item_at_px: words });
    if (tool === "square") page.outline({ square_at_px: words });
    if (tool === "colour") {
      const { colour } = await get(`/pictures/${key}/colour`, { x: at[0], y: at[1] });
      status(say.colour(colour));
      page.outline({ background: colour });
    }
    choose("move");
  };

  // A click of a tool that mends: what it asks for is a step, once all its places are set.
  const mend = async (at) => {
    if (tool === "hole" || tool === "drop") {
      const isHole = overlay.ringAt(at) > 0;
      return page.correct({ add: { do: tool === "hole" && !isHole ? "take" : "drop", at: [at] } });
    }
    const point = tool === "pull" && overlay.points.length ? { at, snapped: false } : overlay.snapped(at, REACH);
    const isFirst = overlay.points.length === 0;
    const passes = tool === "bridge" && !isFirst;
    if (!point.snapped && (isFirst || tool === "border")) return status(say.onOutline);
    overlay.points = [...overlay.points, point];
    overlay.place();
    if (isFirst || (passes && !point.snapped)) return status(say.mendSecond[tool]);
    const step = { do: tool === "pull" ? "move" : tool, at: overlay.points.map((one) => one.at) };
    if (tool === "bridge") step.along = $("way").value;
    if (tool === "border") step.border = $("way").value;
    clear();
    return page.correct({ add: step });
  };

  const act = (seen) => {
    if (!state.sight || tool === "move") return;
    const at = view.place(seen);
    const isMend = MENDS.some(([name]) => name === tool);
    if ((isMend || tool === "measure") && !state.told?.result) return;
    (isMend ? mend(at) : tool === "measure" ? measure(at) : pick(at)).catch(fail);
  };

  for (const [name, label, key, help] of ALL) {
    const one = document.createElement("button");
    Object.assign(one, { type: "button", title: `${help} (${key})`, textContent: label });
    one.setAttribute("role", "radio");
    one.setAttribute("aria-keyshortcuts", key);
    one.dataset.tool = name;
    if (name === MENDS[0][0]) one.className = "apart";
    one.addEventListener("click", () => choose(name));
    $("tools").append(one);
  }
  $("tools").addEventListener("keydown", (event) => {
    const by = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    if (!by) return;
    event.preventDefault();
    event.stopPropagation();
    const all = [...$("tools").children];
    const next = all[(all.findIndex((one) => one.dataset.tool === tool) + by + all.length) % all.length];
    choose(next.dataset.tool);
    next.focus();
  });
  bindPointers(view, act);
  bindKeys({ ...page, choose, act });
  choose("move");
  status("");
}

function bindPointers(view, act) {
  const stage = $("stage");
  const held = new Map(); // pointers that are down, by their number
  let start = null;
  const where = (event) => {
    const box = stage.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };
  stage.addEventListener("pointerdown", (event) => {
    if (event.button > 1 || event.target.closest("button")) return;
    stage.setPointerCapture(event.pointerId);
    held.set(event.pointerId, where(event));
    start = held.size === 1 ? where(event) : null;
    stage.classList.add("held");
  });
  stage.addEventListener("pointermove", (event) => {
    const before = held.get(event.pointerId);
    if (!before) return;
    const now = where(event);
    const other = [...held.entries()].find(([id]) => id !== event.pointerId)?.[1];
    if (other) {
      const factor = Math.hypot(now[0] - other[0], now[1] - other[1]) / (Math.hypot(before[0] - other[0], before[1] - other[1]) || 1);
      view.zoom(factor, [(now[0] + other[0]) / 2, (now[1] + other[1]) / 2]);
    } else if (!start || Math.hypot(now[0] - start[0], now[1] - start[1]) > CLICK) {
      start = null;
      view.move(now[0] - before[0], now[1] - before[1]);
    } else return;
    held.set(event.pointerId, now);
  });
  const end = (event) => {
    if (!held.delete(event.pointerId)) return;
    stage.classList.toggle("held", held.size > 0);
    if (event.type === "pointerup" && start && !held.size) act(start);
    start = null;
  };
  stage.addEventListener("pointerup", end);
  stage.addEventListener("pointercancel", end);
}

function bindKeys({ view, go, step, choose, act, overlay }) {
  const anywhere = {
    n: () => go(1),
    p: () => go(-1),
    "0": () => view.whole(),
    "+": () => view.zoom(1.5),
    "=": () => view.zoom(1.5),
    "-": () => view.zoom(1 / 1.5),
    Escape: () => {
      choose("move");
      overlay.at = null;
      overlay.place();
    },
    ...Object.fromEntries(ALL.map(([name, , key]) => [key.toLowerCase(), () => choose(name)])),
  };
  const inPicture = {
    ArrowLeft: () => view.move(STEP, 0),
    ArrowRight: () => view.move(-STEP, 0),
    ArrowUp: () => view.move(0, STEP),
    ArrowDown: () => view.move(0, -STEP),
    Enter: () => act(view.middle),
  };
  document.addEventListener("keydown", (event) => {
    const writing = event.target.matches?.("input[type=text], select, textarea");
    if ((event.ctrlKey || event.metaKey) && !event.altKey && !writing) {
      const by = { z: event.shiftKey ? 1 : -1, y: 1 }[event.key.toLowerCase()];
      if (by) {
        event.preventDefault();
        step(by);
      }
      return;
    }
    if (writing || event.altKey || event.ctrlKey || event.metaKey) return;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const call = anywhere[key] ?? (document.activeElement === $("stage") ? inPicture[key] : undefined);
    if (!call) return;
    event.preventDefault();
    call();
  });
}
