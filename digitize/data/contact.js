"use strict";
(() => {
  const AT_ONCE = 60;
  const list = document.querySelector("ol");
  const form = document.querySelector(".bar form");
  const buttons = [...form.querySelectorAll("button")];
  const search = form.querySelector("input");
  const order = form.querySelector("select");
  const shown = form.querySelector("output");
  const nothing = document.querySelector(".nothing");
  const more = document.querySelector(".more");
  const [index, ...parcels] = document.querySelectorAll("script[type='application/json']");
  const rows = [
    ...[...list.children].map((node) => ({ node, codes: node.dataset.codes, name: node.dataset.name,
      size: +node.dataset.size, doubt: +node.dataset.doubt, rank: +node.dataset.rank })),
    ...JSON.parse(index.textContent).map(([codes, name, size, doubt, rank]) => ({ codes, name, size, doubt, rank })),
  ];
  for (const row of rows) row.codes = new Set(row.codes.split(" "));
  let wanted = "all";
  let fitting = rows;
  let made = 0;

  const opened = new Map(); // parcels, each read when the first of its rows is wanted

  const nodeOf = (row) => {
    if (!row.node) {
      const at = Math.floor(row.rank / AT_ONCE) - 1;
      if (!opened.has(at)) opened.set(at, JSON.parse(parcels[at].textContent));
      const template = document.createElement("template");
      template.innerHTML = opened.get(at)[row.rank % AT_ONCE];
      row.node = template.content.firstElementChild;
    }
    return row.node;
  };

  const add = (count) => {
    list.append(...fitting.slice(made, made + count).map(nodeOf));
    made = Math.min(made + count, fitting.length);
    more.hidden = made === fitting.length;
  };

  const compare = {
    worst: (a, b) => a.rank - b.rank,
    name: (a, b) => a.name.localeCompare(b.name),
    size: (a, b) => b.size - a.size,
    doubt: (a, b) => b.doubt - a.doubt,
  };

  const apply = () => {
    const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
    fitting = rows
      .filter((row) => (wanted === "all" || row.codes.has(wanted)) && words.every((word) => row.name.includes(word)))
      .sort(compare[order.value]);
    list.replaceChildren();
    made = 0;
    add(AT_ONCE);
    shown.value = `${fitting.length} of ${rows.length} fit`;
    nothing.hidden = fitting.length > 0;
  };

  for (const button of buttons) {
    button.addEventListener("click", () => {
      wanted = button.value;
      for (const other of buttons) other.setAttribute("aria-pressed", String(other === button));
      apply();
    });
  }
  form.addEventListener("submit", (event) => event.preventDefault());
  search.addEventListener("input", apply);
  order.addEventListener("change", apply);
  more.querySelector("button").addEventListener("click", () => add(AT_ONCE));
  new IntersectionObserver((seen) => seen.some((one) => one.isIntersecting) && add(AT_ONCE), { rootMargin: "1000px" }).observe(more);
  addEventListener("beforeprint", () => add(fitting.length));
  apply();
})();
