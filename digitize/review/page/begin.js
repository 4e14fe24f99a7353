// The first page: three ways to begin, the sample, what to print.

const ENDINGS = /\.(png|jpe?g|jpe|jfif|tiff?|bmp|webp|gif|heic|heif|avif|pdf)$/i;

export function bindBegin({ byId, receive, sample }) {
  const pick = (id) => byId(id).click();
  for (const id of ["choose", "choose-first", "choose-photo"]) byId(id).addEventListener("click", () => pick("file"));
  byId("choose-folder").addEventListener("click", () => pick("files-of"));
  byId("sample").addEventListener("click", sample);
  for (const id of ["file", "files-of"]) {
    byId(id).addEventListener("change", () => {
      const files = [...byId(id).files];
      receive(id === "file" ? files : picturesOf(files));
      byId(id).value = ""; // the same may be chosen again
    });
  }
}

// Of a folder its own pictures, in order of their names, without what lies in folders within and hidden files.
function picturesOf(files) {
  const own = files.filter((file) => ENDINGS.test(file.name) && !file.name.startsWith(".") && file.webkitRelativePath.split("/").length < 3);
  return own.sort((a, b) => a.name.localeCompare(b.name));
}
