// What a person chose for the page itself: its language, and whether inches stand beside millimetres. A cookie keeps it,
// which knows no port: the page has another one each time.

const YEAR_S = 31_536_000;

function remembered(name, known) {
  const found = document.cookie.split("; ").find((one) => one.startsWith(`digitize-${name}=`));
  const value = found?.split("=")[1];
  return known.includes(value) ? value : null;
}

export function remember(name, value) {
  document.cookie = `digitize-${name}=${value}; path=/; max-age=${YEAR_S}; SameSite=Strict`;
  sessionStorage.setItem("digitize-open", document.getElementById("pictures").value);
  location.reload(); // every word is said anew; steps and plate are with the server
}

// The language that was chosen, else the first of the browser's that there is.
export function languageOf(known) {
  const asked = navigator.languages.map((one) => one.split("-")[0].toLowerCase());
  return remembered("language", known) ?? asked.find((one) => known.includes(one)) ?? known[0];
}

export const SIZES = ["mm", "both"];
export const inInches = remembered("sizes", SIZES) === "both";
