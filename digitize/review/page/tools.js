// What a click, a drag or a key in the picture does.

import { made } from "./made.js";
import { element } from "./overlay.js";
import { inInches } from "./own.js";
import { Pointers, hasLeft } from "./pointers.js";
import { get } from "./server.js";
import { MENDS, TOOLS, WAYS, say } from "./words.js";

const $ = (id) => document.getElementById(id);
const REACH = matchMedia("(pointer: coarse)").matches ? 24 : 14; // screen px within which a point lies on an outline
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
    status(name in measures ? say.first : help);
  };

  const clear = () => {
    overlay.points = [];
    $("reading").hidden = true;
    overlay.place();
  };

  const read = (strong, note, ...more) => {
    $("reading").replaceChildren(made("strong", {}, strong), ...more, made("span", {}, note));
    $("reading").hidden = false;
    status(strong);
  };

  const inches = () => inInches || state.told.words.units === "inch";

  // What is measured once all points are set: how many, and what is asked for and said of them.
  const measures = {
    measure: [2, "length", ({ mm, k2_mm: k2 }) => {
      const sure = overlay.points.every(({ snapped }) => snapped) ? k2 : null;
      read(say.length(mm, sure, inches()), say.lengthNote(sure));
    }],
    radius: [3, "radius", ({ mm, off_mm: off }) => read(say.radius(mm, inches()), say.radiusNote(off))],
    angle: [3, "angle", ({ deg }) => read(say.angle(deg), say.angleNote)],
  };

  const measure = async (at) => {
    const [count, address, told] = measures[tool];
    if (overlay.points.length === count) clear();
    overlay.points = [...overlay.points, overlay.snapped(at, REACH)];
    overlay.place();
    const set = overlay.points.length;
    if (set < count) return status(set === 1 ? say.second : say.third);
    const query = Object.fromEntries(overlay.points.flatMap((one, n) => [[`x${n}`, one.at[0]], [`y${n}`, one.at[1]]]));
    return told(await get(`/pictures/${state.sight.key}/${address}`, query));
  };

  // The light across the edge nearest to a place; of what the pointer asks meanwhile only the last counts.
  let waiting = null;
  let asking = false;
  const profile = async (at) => {
    waiting = at;
    if (asking) return;
    asking = true;
    while (waiting) {
      const [x, y] = waiting;
      waiting = null;
      try {
        const told = await get(`/pictures/${state.sight.key}/profile`, { x, y });
        if (tool !== "profile") break;
        overlay.points = [{ at: told.at, snapped: true }];
        overlay.place();
        const last = told.from_mm[told.from_mm.length - 1];
        read(say.profile(told.name), say.profileNote(last), curve(told));
      } catch (error) {
        status(error.message);
      }
    }
    asking = false;
  };
  $("stage").addEventListener("pointermove", (event) => {
    if (tool !== "profile" || !state.told?.result || event.buttons) return;
    const box = $("stage").getBoundingClientRect();
    const at = view.place([event.clientX - box.left, event.clientY - box.top]);
    if (overlay.snapped(at, 2 * REACH).snapped) profile(at);
  });

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
    if (tool === "take") return page.correct({ add: { do: "item", at: [at] } });
    if (tool === "draw") return draw(at);
    if (tool === "hole" || tool === "drop") {
      const isHole = overlay.ringAt(at) > 0;
      return page.correct({ add: { do: tool === "hole" && !isHole ? "take" : "drop", at: [at] } });
    }
    const point = tool === "pull" && overlay.points.length ? { at, snapped: false } : overlay.snapped(at, REACH);
    const isFirst = overlay.points.length === 0;
    const passes = (tool === "bridge" || tool === "split") && !isFirst;
    if (!point.snapped && (isFirst || tool === "border" || tool === "join")) return status(say.onOutline);
    overlay.points = [...overlay.points, point];
    overlay.place();
    if (isFirst || (passes && !point.snapped)) return status(say.mendSecond[tool]);
    if (tool === "join" && overlay.points.length < 4) return status(say.mendMore[overlay.points.length - 2]);
    const step = { do: tool === "pull" ? "move" : tool, at: overlay.points.map((one) => one.at) };
    if (["bridge", "join", "split"].includes(tool)) step.along = $("way").value;
    if (tool === "border") step.border = $("way").value;
    clear();
    return page.correct({ add: step });
  };

  // A border, place by place, until it is closed: by a click on its first place, or by the button.
  const drawing = {
    words: made("strong"),
    close: made("button", { type: "button" }, say.closeBorder),
    back: made("button", { type: "button" }, say.takeBack),
  };
  const draw = (at) => {
    const [first] = overlay.points;
    const meets = first && Math.hypot(first.at[0] - at[0], first.at[1] - at[1]) * view.scale < REACH;
    if (meets) return overlay.points.length > 2 ? close() : status(say.drawing(overlay.points.length));
    overlay.points = [...overlay.points, { at, snapped: false }];
    return showDrawing();
  };
  const showDrawing = () => {
    const count = overlay.points.length;
    overlay.place();
    if (!count) return clear();
    drawing.words.textContent = say.count(count);
    drawing.close.disabled = count < 3;
    if (!$("reading").contains(drawing.close)) $("reading").replaceChildren(drawing.words, drawing.close, drawing.back);
    $("reading").hidden = false;
    return status(say.drawing(count));
  };
  const close = () => {
    const step = { do: "draw", at: overlay.points.map((one) => one.at), along: $("way").value };
    clear();
    $("stage").focus();
    return page.correct({ add: step });
  };
  const back = () => {
    if (tool !== "draw" || !overlay.points.length) return;
    overlay.points = overlay.points.slice(0, -1);
    showDrawing();
    if (!overlay.points.length) $("stage").focus();
  };
  drawing.close.addEventListener("click", () => close().catch(fail));
  drawing.back.addEventListener("click", back);

  const act = (seen) => {
    if (!state.sight || tool === "move") return;
    const at = view.place(seen);
    const isMend = MENDS.some(([name]) => name === tool);
    const isRead = tool === "profile" || tool in measures;
    if (isRead && !state.told?.result) return;
    if (isMend && !state.told?.result && !state.told?.there) return;
    (isMend ? mend(at) : tool === "profile" ? profile(at) : isRead ? measure(at) : pick(at)).catch(fail);
  };

  for (const [name, label, key, help] of ALL) {
    const one = made("button", { type: "button", title: `${help} (${key})` }, label);
    one.setAttribute("role", "radio");
    one.setAttribute("aria-keyshortcuts", key);
    one.dataset.tool = name;
    if (name === MENDS[0][0]) $("tools").append(made("i", { className: "apart" }));
    one.addEventListener("click", () => choose(name));
    $("tools").append(one);
  }
  $("tools").addEventListener("keydown", (event) => {
    const by = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    if (!by) return;
    event.preventDefault();
    event.stopPropagation();
    const all = [...$("tools").querySelectorAll("[role=radio]")];
    const next = all[(all.findIndex((one) => one.dataset.tool === tool) + by + all.length) % all.length];
    choose(next.dataset.tool);
    next.focus();
  });
  bindPointers(view, act);
  bindKeys({ ...page, choose, act, back });
  choose("move");
  status("");
  return { choose };
}

// A profile as a curve: from dark below to light above, the edge in the middle.
function curve({ from_mm: from, light }) {
  const [wide, high] = [240, 84];
  const most = from[from.length - 1];
  const [low, top] = [Math.min(...light), Math.max(...light, 0.02)];
  const x = (mm) => (wide / 2) * (1 + mm / most);
  const y = (value) => high - 4 - ((high - 8) * (value - low)) / (top - low || 1);
  const points = light.map((value, n) => `${x(from[n]).toFixed(1)},${y(value).toFixed(1)}`).join(" ");
  return element(
    "svg",
    { class: "profile", viewBox: `0 0 ${wide} ${high}`, width: wide, height: high, "aria-hidden": "true" },
    element("line", { x1: wide / 2, x2: wide / 2, y1: 0, y2: high }),
    element("polyline", { points }),
  );
}

function bindPointers(view, act) {
  const stage = $("stage");
  const pointers = new Pointers(stage);
  let start = null;
  stage.addEventListener("pointerdown", (event) => {
    if (event.button > 1 || event.target.closest("button, .welcome")) return;
    const place = pointers.down(event);
    start = pointers.count === 1 ? place : null;
    stage.classList.add("held");
  });
  stage.addEventListener("pointermove", (event) => {
    const way = pointers.moved(event, view);
    if (!way || !hasLeft(start, way[1])) return;
    const [before, now] = way;
    start = null;
    view.move(now[0] - before[0], now[1] - before[1]);
    pointers.at(event, now);
  });
  const end = (event) => {
    if (!pointers.up(event)) return;
    if (event.type === "pointerup" && start && !pointers.count) act(start);
    start = null;
  };
  stage.addEventListener("pointerup", end);
  stage.addEventListener("pointercancel", end);
}

function bindKeys({ view, go, step, stop, choose, act, back, overlay }) {
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
    Backspace: back,
  };
  document.addEventListener("keydown", (event) => {
    if (document.body.classList.contains("plate")) return; // it has keys of its own
    if (event.key === "Escape" && stop()) return event.preventDefault();
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
