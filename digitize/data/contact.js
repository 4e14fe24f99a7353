"use strict";
(() => {
  const list = document.querySelector("ol");
  const rows = [...list.children];
  const form = document.querySelector(".bar form");
  const buttons = [...form.querySelectorAll("button")];
  const search = form.querySelector("input");
  const order = form.querySelector("select");
  const shown = form.querySelector("output");
  const nothing = document.querySelector(".nothing");
  const codes = new Map(rows.map((row) => [row, new Set(row.dataset.codes.split(" "))]));
  let wanted = "all";

  const apply = () => {
    const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
    let count = 0;
    for (const row of rows) {
      const fits = (wanted === "all" || codes.get(row).has(wanted)) && words.every((word) => row.dataset.name.includes(word));
      row.hidden = !fits;
      count += fits;
    }
    shown.value = `${count} of ${rows.length} shown`;
    nothing.hidden = count > 0;
  };

  const sort = () => {
    const key = order.value;
    const sorted = [...rows].sort((a, b) =>
      key === "name" ? a.dataset.name.localeCompare(b.dataset.name) : key === "worst" ? a.dataset.rank - b.dataset.rank : b.dataset[key] - a.dataset[key]);
    list.append(...sorted);
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
  order.addEventListener("change", sort);
  apply();
})();
