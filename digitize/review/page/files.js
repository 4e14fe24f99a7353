// The files of a result: taken as a zip, or written into the folder that the command line named.

import { blob, keep, post } from "./server.js";
import { say } from "./words.js";

export function bindFiles({ byId, state, status, why, fail }) {
  const dropped = () => [...state.dropped];

  async function as(call) {
    status(say.packing);
    why(null);
    try {
      status(await call());
    } catch (error) {
      fail(error);
    }
  }

  async function takeZip() {
    const file = await blob(`/pictures/${state.sight.key}/files.zip?dropped=${dropped().join(",")}`);
    keep(file);
    return say.took(file.name);
  }

  async function write() {
    const { written } = await post(`/pictures/${state.sight.key}/write`, { dropped: dropped() });
    return say.wrote(written.length, state.known.to);
  }

  byId("zip").addEventListener("click", () => as(takeZip));
  byId("write").addEventListener("click", () => as(write));
}
