// Asks the server; what it refuses is an error with its sentence.

import { say } from "./words.js";

async function answered(promise) {
  let answer;
  try {
    answer = await promise;
  } catch {
    throw new Error(say.gone);
  }
  if (answer.ok) return answer;
  const text = await answer.text();
  let told = { error: text };
  try {
    told = JSON.parse(text);
  } catch {
    // a refusal in plain words
  }
  throw Object.assign(new Error(told.error || say.gone), { status: answer.status, stopped: told.stopped === true });
}

export async function get(path, query = {}) {
  const words = new URLSearchParams(query).toString();
  return (await answered(fetch(words ? `${path}?${words}` : path))).json();
}

export async function post(path, told = {}) {
  const sent = { method: "POST", body: JSON.stringify(told), headers: { "content-type": "application/json" } };
  return (await answered(fetch(path, sent))).json();
}

export async function blob(path) {
  const answer = await answered(fetch(path));
  const named = /filename\*=UTF-8''([^;]+)/.exec(answer.headers.get("content-disposition") ?? "");
  return { data: await answer.blob(), name: named ? decodeURIComponent(named[1]) : "files.zip" };
}

// Hands a file over to be kept.
export function keep({ data, name }) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(data);
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}

// A file as it is, told how much of it has gone.
export function upload(file, tell, address = "/pictures") {
  return new Promise((resolve, reject) => {
    const sent = new XMLHttpRequest();
    sent.open("POST", `${address}?${new URLSearchParams({ name: file.name })}`);
    sent.upload.addEventListener("progress", (event) => {
      if (event.lengthComputable) tell(Math.round((100 * event.loaded) / event.total));
    });
    sent.addEventListener("error", () => reject(new Error(say.gone)));
    sent.addEventListener("load", () => {
      let told = {};
      try {
        told = JSON.parse(sent.responseText);
      } catch {
        told = { error: sent.responseText };
      }
      if (sent.status < 300) resolve(told);
      else reject(new Error(told.error || say.gone));
    });
    sent.send(file);
  });
}
