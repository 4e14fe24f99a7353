// What the page is made of, and that it is being made.

// An element, with what it is and what stands in it.
export function made(name, told = {}, ...inside) {
  const one = Object.assign(document.createElement(name), told);
  one.append(...inside);
  return one;
}

let underWay = 0;

// Tells who reads by ear, for as long as the work takes, that what is shown will change by itself.
export async function during(work) {
  underWay += 1;
  document.body.setAttribute("aria-busy", "true");
  try {
    return await work();
  } finally {
    underWay -= 1;
    if (!underWay) document.body.removeAttribute("aria-busy");
  }
}
