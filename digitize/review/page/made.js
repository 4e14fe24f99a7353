// An element of the page, with what it is and what stands in it.

export function made(name, told = {}, ...inside) {
  const one = Object.assign(document.createElement(name), told);
  one.append(...inside);
  return one;
}
