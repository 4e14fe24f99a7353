// All words of the page in English; sentences about a picture, and what options are called, come from the server's
// tables.

export const GROUPS = {
  scale: "Reference",
  cut: "Path to cut",
  edge: "Edge and item",
  drawing: "Drawing",
  photo: "Photo",
};

export const CHOICES = {
  "": "not said",
  laser: "laser",
  router: "router",
  knife: "knife",
  print3d: "3D print",
  former: "vacuum former",
  outer: "the outer one",
  inner: "the inner one",
  print: "the one to print",
  back: "the back",
  front: "the front",
  yes: "camera",
  no: "flatbed scanner",
  diagonal: "diagonal",
  side: "at the side",
  none: "none",
  smooth: "smooth",
  fewest: "fewest",
};

export const UNSAID = { cut: "none named", edge: "as found", taken_with: "as the picture tells" };
export const EXAMPLES = {
  square_mm: "50 or 49.8x49.9",
  disc_mm: "25.02",
  measured_mm: "53.90x53.80",
  dpi: "600",
  item_at_px: "x,y",
  square_at_px: "x,y",
  background: "light, dark, #e8e4da",
};
export const UNITS = { item_at_px: "px", square_at_px: "px", dpi: "dpi" };
export const SHOWN = new Set([
  "square_mm", "disc_mm", "measured_mm", "cut", "clearance_mm", "kerf_mm", "cutter_mm", "relief", "least_radius_mm",
  "first_layer_mm", "draft_deg", "plug_height_mm", "notches", "edge", "ideal", "upright",
]);

export const TOOLS = [
  ["move", "Move", "E", "Drag moves the picture, the wheel zooms."],
  ["measure", "Measure", "M", "Two points: their distance in mm. Near an outline they lie on it."],
  ["radius", "Radius", "C", "Three points along a round part of an outline: its radius in mm."],
  ["angle", "Angle", "A", "Three points: the angle at the second."],
  ["profile", "Light", "L", "Point at an outline: the light across the edge there."],
  ["item", "Item", "I", "Click inside the one item to outline."],
  ["square", "Square", "S", "Click inside the reference square or disc."],
  ["colour", "Ground", "B", "Click on the background: its colour is taken."],
];

// What mends an outline. Of `ways` the first is taken at first.
export const MENDS = [
  ["bridge", "Bridge", "R", "Set a place on the outline before the bad stretch, then one behind it. Places set off the outline between the two are passed.", ["edge", "straight", "curved"]],
  ["pull", "Pull", "U", "Set a place on the outline, then where it should lie.", []],
  ["border", "Border", "O", "Set both ends of a stretch on the outline: there the other border is taken.", ["inner", "outer"]],
  ["hole", "Hole", "H", "Click in a hole that is none, or in a patch of the item that is one.", []],
  ["join", "Join", "J", "Two items that are one: set a place on the one's outline, then across the gap on the other's; then the same at the gap's other end.", ["straight", "curved", "edge"]],
  ["split", "Split", "T", "An item that is two: set a place on its outline, then one on the other side. Places off the outline between the two are passed.", ["edge", "straight"]],
  ["take", "Take", "K", "Click on what was left out and is an item.", []],
  ["draw", "Draw", "W", "Set places all round an item's edge, and close them on the first: its border runs along the edge near them.", ["edge", "straight"]],
  ["drop", "Drop", "D", "Click in an item that is none, or that is not wanted.", []],
];

export const WAYS = {
  edge: "along the edge",
  straight: "straight",
  curved: "curved on",
  inner: "inner border",
  outer: "outer border",
};

export const STEPS = {
  bridge: (one) => `Bridge ${WAYS[one.along]}`,
  move: () => "Pulled",
  join: (one) => `Joined ${WAYS[one.along]}`,
  split: (one) => `Split ${WAYS[one.along]}`,
  border: (one) => `Took the ${WAYS[one.border]}${one.at.length === 1 ? " all round" : ""}`,
  drop: () => "Dropped",
  take: () => "Taken for a hole",
  item: () => "Taken for an item",
  draw: (one) => `Border drawn ${WAYS[one.along]}`,
};

// Why something was left out.
export const WHY = {
  rim: "strip along the border",
  soft: "soft edge",
  stain: "stain",
  shade: "an item's shade",
  small: "too small",
  thin: "too thin",
  cut: "cut by the border",
  many: "one of very many",
  pale: "pale, beside an item",
};

export const KEY = {
  edge: "outline",
  hole: "hole",
  hand: "set by hand",
  pocket: "path to cut",
  print: "print area",
  uncut: "left uncut",
  pin: "pin",
  other: "another border",
  reference: "reference",
  left: "left out, no item",
  failed: "failed, nothing written",
  lost: "edge not measured",
};

export const say = {
  loading: (name) => `Reading ${name} …`,
  sending: (name, part) => `Taking in ${name}, ${part} % …`,
  working: "Outlining …",
  outline: "Outline it",
  packing: "Making the files …",
  nothing: "No outline.",
  found: (items, looks) =>
    `${items === 1 ? "1 item" : `${items} items`}, ${looks === 0 ? "nothing calls for a look" : looks === 1 ? "1 thing to look at" : `${looks} things to look at`}.`,
  place: (number, of, title) => `Place ${number} of ${of}: ${title}`,
  step: (at, count) => `${at + 1} of ${count}`,
  count: (places) => (places === 1 ? "1 place" : `${places} places`),
  sure: "Least sure edges",
  calm: "Nothing is doubtful. Look at the least sure edges all the same, then measure the blank with calipers.",
  remarks: (count) => (count === 1 ? "1 remark" : `${count} remarks`),
  holes: (count) => (count === 0 ? "" : count === 1 ? "1 hole" : `${count} holes`),
  sureness: (mm) => `outline ±${mm.toFixed(3)} mm`,
  take: (name) => `Take ${name}`,
  show: (name) => `Show ${name}`,
  only: "Only this",
  onlyOne: (name) => `Outline only ${name}`,
  dropped: (names) => `Files item by item, none of ${names}.`,
  took: (name) => `${name} was taken.`,
  wrote: (count, folder) => `${count} files written into ${folder}.`,
  write: (folder) => `Write them into ${folder}`,
  more: "More",
  set: (label) => `Set: ${label}`,
  typical: (value) => `typical: ${value}`,
  usual: (file, names) => `From ${file}: ${names}.`,
  onOutline: "Set it on the outline: a click beside it snaps to it.",
  mendSecond: { bridge: "Now behind the bad stretch, on the outline.", pull: "Now where it should lie.", border: "Now the other end, on the outline.", join: "Now across the gap, on the other item's outline.", split: "Now the other end of the cut, on the outline." },
  mendMore: ["Now at the other end of the gap, on one of the two.", "Now across it, on the other."],
  drawing: (count) => (count < 3 ? "Go on round the item's edge." : "Go on, or close the border: on its first place, or with the button."),
  closeBorder: "Close the border",
  takeBack: "Take the last place back",
  leftOut: (count) => (count === 1 ? "1 thing left out" : `${count} things left out`),
  leftOne: (why, mm2) => `${why}, ${mm2.toFixed(mm2 < 10 ? 1 : 0)} mm²`,
  showLeft: (number, words) => `Show what was left out, ${number}: ${words}`,
  isItem: "It is an item",
  isItemOf: (number, words) => `What was left out is an item, ${number}: ${words}`,
  mended: (words, before, after) => `${words}.${before === after ? "" : ` Outline ${before === null ? "" : `${before} → `}${after} mm.`}`,
  idle: "The step changed no outline.",
  takenByHand: "taken by hand",
  byHand: (mm) => (mm === null ? "" : `by hand ±${mm.toFixed(3)} of it`),
  goToStep: (words) => `Show: ${words}`,
  without: "Leave out",
  withoutOne: (number, words) => `Leave out step ${number}: ${words}`,
  wholeBorder: "Other border all round",
  wholeBorderOf: (name) => `Take the other border all round ${name}`,
  first: "Set the first point.",
  second: "Set the second point.",
  third: "Set the third point.",
  radius: (mm, inches) => `R ${mm.toFixed(3)} mm${inches ? ` (${(mm / 25.4).toFixed(4)} in)` : ""}`,
  radiusNote: (off) => (off === null ? "through the three points" : `fitted to the outline, which lies within ${off.toFixed(3)} mm of it`),
  angle: (deg) => `${deg.toFixed(2)}°`,
  angleNote: "at the second point",
  profile: (name) => `Light across the edge of ${name}`,
  profileNote: (mm) => `item on the left, ${mm.toFixed(2)} mm each way; the line is the edge`,
  length: (mm, k2, inches) => `${mm.toFixed(3)} mm${k2 === null ? "" : ` ±${k2.toFixed(3)}`}${inches ? ` (${(mm / 25.4).toFixed(4)} in)` : ""}`,
  lengthNote: (k2) => (k2 === null ? "points not both on an outline: as sure as your hand" : "both on an outline; ± is k = 2"),
  colour: (colour) => `Background ${colour} taken.`,
  tooLarge: (name, most) => `${name} is larger than ${Math.round(most / 1e6)} MB. Name it on the command line: digitize review FILE.`,
  gone: "digitize review does not answer: it was stopped, or the machine slept. Start it again.",
  picture: (name) => `The picture ${name}`,
};

// --- the plate -----------------------------------------------------------------------------------------------------

export const PLATE_GROUPS = { bed: "Bed and sheet", rows: "Rows", marks: "Marks and name" };
export const TEMPLATE_GROUPS = { template: "How it lies" };
export const PLATE_SHOWN = new Set(["bed_mm", "plate_mm", "thickness_mm", "zero", "as_many_as_fit", "rows", "columns", "web_mm", "margin_mm", "fit"]);
export const PLATE_CHOICES = {
  "top-left": "top left",
  "top-right": "top right",
  "bottom-left": "bottom left",
  "bottom-right": "bottom right",
  box: "of its box",
  centroid: "of its area",
  circle: "of its circle",
  joined: "joined",
  apart: "apart",
  size: "its own size",
  cover: "covers the print area",
  inside: "lies inside it",
};
export const PLATE_EXAMPLES = { bed_mm: "305x458", plate_mm: "as the bed", rows: "as fit", columns: "as fit", web_mm: "5, or the sheet", corner_piece_mm: "60x15", holes: "10,10,4.2", name: "plate", only: "3,5-8" };

export const PLATE_KEY = {
  edge: "item",
  hole: "hole",
  pocket: "path to cut",
  print: "print area",
  bad: "will not do",
  thin: "web too thin",
  locked: "locked",
};

export const plate = {
  laying: "Laying the plate …",
  count: (count) => (count === 1 ? "1 pocket" : `${count} pockets`),
  laid: (count, conflicts) =>
    `${count === 1 ? "1 pocket" : `${count} pockets`}, ${conflicts === 0 ? "all clear of one another" : conflicts === 1 ? "1 place to mend" : `${conflicts} places to mend`}.`,
  none: "No plate.",
  over: (name, mm) => `${name} reaches ${mm} mm over the edge.`,
  overlap: (one, other) => `${one} and ${other} overlap.`,
  thin: (one, other, mm) => `${one} and ${other}: ${mm} mm of sheet between them.`,
  pocket: (number, kind) => `Pocket ${number} (${kind})`,
  hole: (number) => `Hole ${number}`,
  edge: "the edge",
  key: "the key's notch",
  more: (count) => (count === 1 ? "and 1 more" : `and ${count} more`),
  chosen: (number, of, kind, x, y, turn, locked) => `Pocket ${number} of ${of}, ${kind}: x ${x}, y ${y}, turned ${turn}°${locked ? ", locked" : ""}`,
  isLocked: "It is locked: unlock it first.",
  on: (name) => `${name} on the plate`,
  most: "at most",
  mostOf: (name) => `At most so many pockets of ${name}`,
  all: "all",
  one: "+ 1",
  oneOf: (name) => `Add a pocket of ${name}`,
  anew: "Laid anew in rows; Undo brings the places back.",
  block: (kind, count, how, straight) =>
    `${kind}: ${count} ${how}${straight === null ? "" : count > straight ? `, ${count - straight} more than straight rows hold` : ""}`,
  byHand: "Placed by hand.",
  fields: { number: "No.", x: "x", y: "y", turn: "Turn" },
  chooseArt: "Choose a file…",
  chooseArtFor: (kind) => `Choose artwork for ${kind}`,
  noArt: "none",
  clearArt: "Without",
  clearArtOf: (kind) => `Without artwork for ${kind}`,
  lock: "Lock",
  unlock: "Unlock",
  nothing: "No item has a path to cut yet. Set a clearance in the picture.",
};

// --- steps of an earlier visit -------------------------------------------------------------------------------------

export const before = {
  goesOn: (steps, when) =>
    `Goes on from the ${steps === 1 ? "step" : `${steps} steps`} you made on this picture ${when ? new Date(1000 * when).toLocaleString() : "before"}.`,
  plateGoesOn: (when) => `The plate as you left it ${when ? new Date(1000 * when).toLocaleString() : "before"}.`,
  anew: "Begin anew",
};

// --- calipers at an item, and the card -------------------------------------------------------------------------------

export const calipers = {
  title: "Calipers",
  titleOf: (name) => `Calipers on ${name}`,
  sizes: { length: "Length", width: "Width, least", "box width": "Box, width", "box height": "Box, height" },
  hole: (number) => `Hole ${number}, across`,
  reading: (size, name) => `${size} of ${name}, as calipers read it`,
  verdicts: { agree: "✓ agree", doubtful: "? doubtful", disagree: "✕ disagree" },
  beside: (mm, k2, own, by, verdict) => `${verdict}: outline ${mm} ±${k2}, calipers ±${own}, difference ${by} mm`,
};

export const card = {
  rests: (measured, k2) => `; ${measured ? "taken as measured with calipers" : "not measured with calipers"}${k2 === null ? "." : `: by the scale alone 100 mm are sure to ±${k2} mm (k = 2).`}`,
  kept: "Readings kept",
  none: "none of them",
  name: "Name for this reading",
  example: "desk",
  keep: "Keep this reading",
  keptAs: (name) => `The reading is kept as ${name}.`,
  read: (name, on, days) => `${name}: read on ${on}, ${days === 0 ? "today" : days === 1 ? "yesterday" : `${days} days ago`}.`,
  old: "Paper moves with the seasons: measure the card again.",
  which: "Click in the right one in the picture, or take it here:",
  numbered: (number) => `No. ${number}`,
};

// --- a folder, picture by picture ----------------------------------------------------------------------------------

export const folder = {
  title: "Folder",
  accept: "Accept",
  reject: "Reject",
  previous: "Back",
  next: "Next",
  later: "Later",
  open: "Leave it open again",
  keys: { Y: "Y", X: "X", PageUp: "page up", PageDown: "page down" },
  states: { accepted: "accepted", rejected: "rejected", open: "" },
  count: (left, of) => (left === 0 ? `all ${of} decided` : `${left} of ${of} open`),
  pictures: (count) => `${count} pictures`,
  is: (state, changed) => `${state === "accepted" ? "Accepted." : state === "rejected" ? "Rejected: no files of it are kept." : ""}${changed ? " Changed since: decide again." : ""}`,
  into: (place) => `Y accepts and goes on, X rejects, N shows the next doubtful place. Files: ${place}`,
  nowhere: "To accept pictures, start with --to FOLDER: their files are written there.",
  nothing: "There is no outline to accept: mend what is named, or reject the picture with X.",
  wait: "The outline is being made: accept it when it is there.",
  all: (count) => `All ${count} pictures are decided.`,
  trouble: (name, why) => `${name} is not put down: ${why}`,
};

// --- what stands on the page from the beginning ---------------------------------------------------------------------

export const page = {
  whatIsShown: "What is shown",
  pictureFiles: "Picture files",
  steps: "Steps",
  pictureWithItsOutlines: "Picture with its outlines",
  clickDoes: "What a click in the picture does",
  picture: "picture",
  thePicture: "The picture",
  zoom: "Zoom",
  smaller: "Smaller",
  zoomFactor: "Zoom factor",
  larger: "Larger",
  oneToOne: "One pixel of the picture on one of the screen",
  whatTheLinesMean: "What the lines mean",
  panel: "What to look at, options, files",
  files: "Files",
  plateWithItsPockets: "Plate with its pockets",
  stepsOfThePlate: "Steps of the plate",
  theChosenPocket: "The chosen pocket",
  plate: "plate",
  thePlate: "The plate",
  zoomOfThePlate: "Zoom of the plate",
  plateLines: "What the plate's lines mean",
  platePanel: "Items, rows and files of the plate",
  filesOfThePlate: "Files of the plate",
  skipToTheOptions: "Skip to the options",
  pictureView: "Picture",
  plateView: "Plate",
  openAPicture: "Open a picture…",
  stop: "Stop",
  undo: "Undo",
  redo: "Redo",
  how: "How",
  filesOf: "Folder of pictures",
  dropPicturesHere: "Drop pictures here, or begin with one of these",
  aScan: "A scan",
  scanHow: "The blank face down on the flatbed, beside a square whose sides you know: a printed card, or any plain dark square of 20 mm or more.",
  openAScan: "Open a scan…",
  aPhoto: "A photo",
  photoHow: "The blank in the open middle of the printed mat, from straight above. Have its height at hand: the height of its wall, 0 for a flat one.",
  openAPhoto: "Open a photo…",
  aFolder: "A folder",
  folderHow: "One picture after another. To accept and reject them by a key, and have their files written, begin with",
  openAFolder: "Open a folder…",
  toPrint: "To print, at 100 %:",
  cardA4: "card, A4",
  cardLetter: "card, Letter",
  matA4: "mat, A4",
  matLetter: "mat, Letter",
  formats: "PNG, JPEG, TIFF, BMP, WebP, HEIC, AVIF or a scanner's PDF. All of it stays on this machine.",
  tryTheSample: "Try the sample",
  whole: "Whole",
  pictureKeys: "N and P: next and previous place to look at. Arrows move, + and − zoom, 0 shows the whole picture. M measures, R, U, O, H, J, T, K, W and D mend, Enter sets a point in the middle, Backspace takes back the last place of a border, Escape puts the tool away or stops an outline that is being made.",
  look: "Look",
  previous: "Previous",
  next: "Next",
  items: "Items",
  scaleOf: "Scale:",
  byHand: "By hand",
  takeTheSteps: "Take the steps",
  set: "Set",
  takeTheFiles: "Take the files",
  writeThem: "Write them",
  sameCommand: "The same on the command line",
  lock: "Lock",
  another: "Another",
  takeAway: "Take away",
  plateKeys: "N and P: next and previous pocket. Arrows move it by 1 mm, with Shift by 0.1 mm; comma and full stop turn it by 90°, with Shift by 1°. L locks it, A makes another, Delete takes it away, Escape lets go of it. + and − zoom, 0 shows the whole plate.",
  pocket: "Pocket",
  onThePlate: "On the plate",
  layRowsAnew: "Lay rows anew",
  lay: "Lay",
  artwork: "Artwork",
  takeThePlate: "Take the plate",
  takeTheTemplate: "Take the template",
  writeBoth: "Write both",
};

// --- language and sizes --------------------------------------------------------------------------------------------

export const own = {
  name: "English",
  decimal: ".",
  quoted: (label) => `“${label}”`,
  languageLabel: "Language",
  sizesLabel: "Sizes",
  sizes: { mm: "mm", both: "mm and inches" },
};

// What the server says is English already.
export const server = { fields: {}, plateFields: {}, phrases: [], titles: {}, steps: {}, photoSteps: {}, sentences: {} };
