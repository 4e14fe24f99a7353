// Alle Wörter der Seite auf Deutsch, Eintrag für Eintrag wie in words.en.js; dazu, was der Server auf Englisch sagt und
// sich nachschlagen lässt: wie Felder heißen, Titel und nächste Schritte. Seine übrigen Sätze bleiben englisch.

const n = (value, digits) => value.toFixed(digits).replace(".", ",");
const eins = (count, one, more) => (count === 1 ? `1 ${one}` : `${count} ${more}`);

export const GROUPS = {
  scale: "Maßstab",
  cut: "Schnittbahn",
  edge: "Kante und Teil",
  drawing: "Zeichnung",
  photo: "Foto",
};

export const CHOICES = {
  "": "nicht gesagt",
  laser: "Laser",
  router: "Fräse",
  knife: "Messer",
  print3d: "3D-Druck",
  former: "Tiefziehen",
  outer: "die äußere",
  inner: "die innere",
  print: "die zu bedruckende",
  back: "die Rückseite",
  front: "die Vorderseite",
  yes: "Kamera",
  no: "Flachbettscanner",
  diagonal: "schräg",
  side: "seitlich",
  none: "keine",
  smooth: "glatt",
  fewest: "möglichst wenige",
};

export const UNSAID = { cut: "keine genannt", edge: "wie gefunden", taken_with: "wie das Bild es sagt" };
export const EXAMPLES = {
  square_mm: "50 oder 49,8x49,9",
  disc_mm: "25,02",
  measured_mm: "53,90x53,80",
  dpi: "600",
  item_at_px: "x,y",
  square_at_px: "x,y",
  background: "light, dark, #e8e4da",
};
export const UNITS = { item_at_px: "px", square_at_px: "px", dpi: "dpi" };

export const TOOLS = [
  ["move", "Bewegen", "E", "Ziehen bewegt das Bild, das Rad vergrößert."],
  ["measure", "Maß", "M", "Zwei Punkte: ihr Abstand in mm. Nahe einem Umriss liegen sie darauf."],
  ["radius", "Radius", "C", "Drei Punkte an einer Rundung des Umrisses: ihr Radius in mm."],
  ["angle", "Winkel", "A", "Drei Punkte: der Winkel am zweiten."],
  ["profile", "Licht", "L", "Auf einen Umriss zeigen: das Licht quer zur Kante dort."],
  ["item", "Teil", "I", "In das eine Teil klicken, das umrissen werden soll."],
  ["square", "Bezug", "S", "In das Bezugsquadrat oder die Bezugsscheibe klicken."],
  ["colour", "Grund", "B", "Auf den Hintergrund klicken: seine Farbe wird genommen."],
];

export const MENDS = [
  ["bridge", "Brücke", "R", "Eine Stelle auf dem Umriss vor dem schlechten Stück setzen, dann eine dahinter. Stellen abseits des Umrisses dazwischen werden durchlaufen.", ["edge", "straight", "curved"]],
  ["pull", "Ziehen", "U", "Eine Stelle auf dem Umriss setzen, dann wo sie liegen soll.", []],
  ["border", "Rand", "O", "Beide Enden eines Stücks auf den Umriss setzen: Dort wird der andere Rand genommen.", ["inner", "outer"]],
  ["hole", "Loch", "H", "In ein Loch klicken, das keines ist, oder in einen Fleck des Teils, der eines ist.", []],
  ["join", "Fügen", "J", "Zwei Teile, die eines sind: eine Stelle auf dem Umriss des einen setzen, dann über die Lücke auf dem des anderen; dann ebenso am anderen Ende der Lücke.", ["straight", "curved", "edge"]],
  ["split", "Teilen", "T", "Ein Teil, das zwei sind: eine Stelle auf seinem Umriss setzen, dann eine auf der anderen Seite. Stellen abseits des Umrisses dazwischen werden durchlaufen.", ["edge", "straight"]],
  ["take", "Nehmen", "K", "Auf das klicken, was ausgelassen wurde und ein Teil ist.", []],
  ["draw", "Zeichnen", "W", "Stellen ringsum auf die Kante eines Teils setzen und auf der ersten schließen: Sein Rand läuft an der Kante nahe bei ihnen.", ["edge", "straight"]],
  ["drop", "Weg", "D", "In ein Teil klicken, das keines ist oder nicht gewünscht wird.", []],
];

export const WAYS = {
  edge: "an der Kante entlang",
  straight: "gerade",
  curved: "im Bogen weiter",
  inner: "innerer Rand",
  outer: "äußerer Rand",
};

export const STEPS = {
  bridge: (one) => `Brücke ${WAYS[one.along]}`,
  move: () => "Gezogen",
  join: (one) => `Verbunden ${WAYS[one.along]}`,
  split: (one) => `Geteilt ${WAYS[one.along]}`,
  border: (one) => `${one.border === "inner" ? "Inneren" : "Äußeren"} Rand genommen${one.at.length === 1 ? ", ringsum" : ""}`,
  drop: () => "Weggelassen",
  take: () => "Als Loch genommen",
  item: () => "Als Teil genommen",
  draw: (one) => `Rand gezeichnet ${WAYS[one.along]}`,
};

export const WHY = {
  rim: "Streifen am Bildrand",
  soft: "weiche Kante",
  stain: "Fleck",
  shade: "Schatten eines Teils",
  small: "zu klein",
  thin: "zu schmal",
  cut: "vom Bildrand angeschnitten",
  many: "eines von sehr vielen",
  pale: "blass, neben einem Teil",
};

export const KEY = {
  edge: "Umriss",
  hole: "Loch",
  hand: "von Hand gesetzt",
  pocket: "Schnittbahn",
  print: "Druckfläche",
  uncut: "bleibt stehen",
  pin: "Stift",
  other: "anderer Rand",
  reference: "Bezug",
  left: "ausgelassen, kein Teil",
  failed: "misslungen, nichts geschrieben",
  lost: "Kante nicht gemessen",
};

export const say = {
  loading: (name) => `${name} wird gelesen …`,
  sending: (name, part) => `${name} wird übernommen, ${part} % …`,
  working: "Der Umriss entsteht …",
  outline: "Umreißen",
  packing: "Die Dateien entstehen …",
  nothing: "Kein Umriss.",
  found: (items, looks) =>
    `${eins(items, "Teil", "Teile")}, ${looks === 0 ? "nichts anzusehen" : eins(looks, "Sache anzusehen", "Sachen anzusehen")}.`,
  place: (number, of, title) => `Stelle ${number} von ${of}: ${title}`,
  step: (at, count) => `${at + 1} von ${count}`,
  count: (places) => eins(places, "Stelle", "Stellen"),
  sure: "Unsicherste Kanten",
  calm: "Nichts ist zweifelhaft. Trotzdem die unsichersten Kanten ansehen, dann den Rohling mit dem Messschieber messen.",
  remarks: (count) => eins(count, "Bemerkung", "Bemerkungen"),
  holes: (count) => (count === 0 ? "" : eins(count, "Loch", "Löcher")),
  sureness: (mm) => `Umriss ±${n(mm, 3)} mm`,
  take: (name) => `${name} nehmen`,
  show: (name) => `${name} zeigen`,
  only: "Nur dieses",
  onlyOne: (name) => `Nur ${name} umreißen`,
  dropped: (names) => `Dateien Teil für Teil, keine von ${names}.`,
  took: (name) => `${name} wurde übergeben.`,
  wrote: (count, folder) => `${count} Dateien in ${folder} geschrieben.`,
  write: (folder) => `In ${folder} schreiben`,
  more: "Mehr",
  set: (label) => `Setzen: ${label}`,
  usual: (file, names) => `Aus ${file}: ${names}.`,
  typical: (value) => `üblich: ${value.replace(/(\d)\.(?=\d)/g, "$1,")}`,
  onOutline: "Auf den Umriss setzen: Ein Klick daneben rastet darauf ein.",
  mendSecond: { bridge: "Nun hinter das schlechte Stück, auf den Umriss.", pull: "Nun, wo es liegen soll.", border: "Nun das andere Ende, auf den Umriss.", join: "Nun über die Lücke, auf den Umriss des anderen Teils.", split: "Nun das andere Ende des Schnitts, auf den Umriss." },
  mendMore: ["Nun am anderen Ende der Lücke, auf eines der beiden.", "Nun hinüber, auf das andere."],
  drawing: (count) => (count < 3 ? "Weiter um die Kante des Teils." : "Weiter, oder den Rand schließen: auf seiner ersten Stelle oder mit dem Knopf."),
  closeBorder: "Den Rand schließen",
  takeBack: "Die letzte Stelle zurücknehmen",
  leftOut: (count) => `${eins(count, "Sache", "Sachen")} ausgelassen`,
  leftOne: (why, mm2) => `${why}, ${n(mm2, mm2 < 10 ? 1 : 0)} mm²`,
  showLeft: (number, words) => `Ausgelassenes zeigen, ${number}: ${words}`,
  isItem: "Es ist ein Teil",
  isItemOf: (number, words) => `Ausgelassenes ist ein Teil, ${number}: ${words}`,
  mended: (words, before, after) => `${words}.${before === after ? "" : ` Umriss ${before === null ? "" : `${before} → `}${after} mm.`}`,
  idle: "Der Schritt hat keinen Umriss geändert.",
  takenByHand: "von Hand genommen",
  byHand: (mm) => (mm === null ? "" : `davon von Hand ±${n(mm, 3)}`),
  goToStep: (words) => `Zeigen: ${words}`,
  without: "Auslassen",
  withoutOne: (number, words) => `Schritt ${number} auslassen: ${words}`,
  wholeBorder: "Ringsum der andere Rand",
  wholeBorderOf: (name) => `Ringsum den anderen Rand von ${name} nehmen`,
  first: "Den ersten Punkt setzen.",
  second: "Den zweiten Punkt setzen.",
  third: "Den dritten Punkt setzen.",
  radius: (mm, inches) => `R ${n(mm, 3)} mm${inches ? ` (${n(mm / 25.4, 4)} in)` : ""}`,
  radiusNote: (off) => (off === null ? "durch die drei Punkte" : `an den Umriss angepasst, der höchstens ${n(off, 3)} mm davon liegt`),
  angle: (deg) => `${n(deg, 2)}°`,
  angleNote: "am zweiten Punkt",
  profile: (name) => `Licht quer zur Kante von ${name}`,
  profileNote: (mm) => `links das Teil, ${n(mm, 2)} mm nach jeder Seite; der Strich ist die Kante`,
  length: (mm, k2, inches) => `${n(mm, 3)} mm${k2 === null ? "" : ` ±${n(k2, 3)}`}${inches ? ` (${n(mm / 25.4, 4)} in)` : ""}`,
  lengthNote: (k2) => (k2 === null ? "nicht beide Punkte auf einem Umriss: so sicher wie die Hand" : "beide auf einem Umriss; ± ist k = 2"),
  colour: (colour) => `Hintergrund ${colour} genommen.`,
  tooLarge: (name, most) => `${name} ist größer als ${Math.round(most / 1e6)} MB. Auf der Befehlszeile nennen: digitize review DATEI.`,
  gone: "digitize review antwortet nicht: Es wurde beendet, oder der Rechner schlief. Neu starten.",
  picture: (name) => `Das Bild ${name}`,
};

// --- die Platte ----------------------------------------------------------------------------------------------------

export const PLATE_GROUPS = { bed: "Bett und Platte", rows: "Reihen", marks: "Marken und Name" };
export const TEMPLATE_GROUPS = { template: "Wie es liegt" };
export const PLATE_CHOICES = {
  "top-left": "oben links",
  "top-right": "oben rechts",
  "bottom-left": "unten links",
  "bottom-right": "unten rechts",
  box: "ihres Kastens",
  centroid: "ihrer Fläche",
  circle: "ihres Kreises",
  joined: "in einem Zug",
  apart: "getrennt",
  size: "in eigener Größe",
  cover: "deckt die Druckfläche",
  inside: "liegt darin",
};
export const PLATE_EXAMPLES = { bed_mm: "305x458", plate_mm: "wie das Bett", rows: "was passt", columns: "was passt", web_mm: "5, oder die Dicke", corner_piece_mm: "60x15", holes: "10,10,4.2", name: "plate", only: "3,5-8" };

export const PLATE_KEY = {
  edge: "Teil",
  hole: "Loch",
  pocket: "Schnittbahn",
  print: "Druckfläche",
  bad: "geht so nicht",
  thin: "Steg zu dünn",
  locked: "festgehalten",
};

export const plate = {
  laying: "Die Platte wird belegt …",
  count: (count) => eins(count, "Tasche", "Taschen"),
  laid: (count, conflicts) =>
    `${eins(count, "Tasche", "Taschen")}, ${conflicts === 0 ? "keine der anderen im Weg" : eins(conflicts, "Stelle zu bessern", "Stellen zu bessern")}.`,
  none: "Keine Platte.",
  over: (name, mm) => `${name} ragt ${mm.replace(".", ",")} mm über den Rand.`,
  overlap: (one, other) => `${one} und ${other} überlappen.`,
  thin: (one, other, mm) => `${one} und ${other}: ${mm.replace(".", ",")} mm Platte dazwischen.`,
  pocket: (number, kind) => `Tasche ${number} (${kind})`,
  hole: (number) => `Bohrung ${number}`,
  edge: "der Rand",
  key: "die Kerbe des Eckstücks",
  more: (count) => `und ${count} weitere`,
  chosen: (number, of, kind, x, y, turn, locked) => `Tasche ${number} von ${of}, ${kind}: x ${x}, y ${y}, gedreht um ${turn}°${locked ? ", festgehalten" : ""}`,
  isLocked: "Sie ist festgehalten: erst lösen.",
  on: (name) => `${name} auf der Platte`,
  most: "höchstens",
  mostOf: (name) => `Höchstens so viele Taschen von ${name}`,
  all: "alle",
  one: "+ 1",
  oneOf: (name) => `Eine Tasche von ${name} dazu`,
  anew: "Neu in Reihen gelegt; Zurück bringt die Plätze wieder.",
  block: (kind, count, how, straight) =>
    `${kind}: ${count} ${how}${straight === null ? "" : count > straight ? `, ${count - straight} mehr als gerade Reihen fassen` : ""}`,
  byHand: "Von Hand gelegt.",
  fields: { number: "Nr.", x: "x", y: "y", turn: "Winkel" },
  chooseArt: "Datei wählen …",
  chooseArtFor: (kind) => `Druckbild für ${kind} wählen`,
  noArt: "keines",
  clearArt: "Ohne",
  clearArtOf: (kind) => `Ohne Druckbild für ${kind}`,
  lock: "Festhalten",
  unlock: "Lösen",
  nothing: "Noch hat kein Teil eine Schnittbahn. Beim Bild ein Spiel setzen.",
};

// --- Schritte eines früheren Besuchs -------------------------------------------------------------------------------

export const before = {
  goesOn: (steps, when) =>
    `Es geht weiter nach ${steps === 1 ? "dem Schritt, der" : `den ${steps} Schritten, die`} ${when ? `am ${new Date(1000 * when).toLocaleString("de")}` : "früher"} an diesem Bild gemacht ${steps === 1 ? "wurde" : "wurden"}.`,
  plateGoesOn: (when) => `Die Platte, wie sie ${when ? `am ${new Date(1000 * when).toLocaleString("de")}` : "früher"} verlassen wurde.`,
  anew: "Neu beginnen",
};

// --- Messschieber an einem Teil, und die Karte ------------------------------------------------------------------------

export const calipers = {
  title: "Messschieber",
  titleOf: (name) => `Messschieber an ${name}`,
  sizes: { length: "Länge", width: "Breite, kleinste", "box width": "Kasten, Breite", "box height": "Kasten, Höhe" },
  hole: (number) => `Loch ${number}, Durchmesser`,
  reading: (size, name) => `${size} von ${name}, wie der Messschieber sie anzeigt`,
  verdicts: { agree: "✓ stimmt überein", doubtful: "? zweifelhaft", disagree: "✕ stimmt nicht" },
  beside: (mm, k2, own, by, verdict) => `${verdict}: Umriss ${mm} ±${k2}, Messschieber ±${own}, Unterschied ${by} mm`,
};

export const card = {
  rests: (measured, k2) => `; ${measured ? "als gemessen angenommen" : "nicht mit dem Messschieber gemessen"}${k2 === null ? "." : `: Allein durch den Maßstab sind 100 mm auf ±${k2} mm sicher (k = 2).`}`,
  kept: "Gemerkte Ablesungen",
  none: "keine davon",
  name: "Name dieser Ablesung",
  example: "Tisch",
  keep: "Ablesung merken",
  keptAs: (name) => `Die Ablesung ist als ${name} gemerkt.`,
  read: (name, on, days) => `${name}: abgelesen am ${on}, ${days === 0 ? "heute" : days === 1 ? "gestern" : `vor ${days} Tagen`}.`,
  old: "Papier geht mit den Jahreszeiten: die Karte neu messen.",
  which: "Im Bild in das richtige klicken, oder es hier nehmen:",
  numbered: (number) => `Nr. ${number}`,
};

// --- ein Ordner, Bild für Bild -------------------------------------------------------------------------------------

export const folder = {
  title: "Ordner",
  accept: "Annehmen",
  reject: "Verwerfen",
  previous: "Zurück",
  next: "Nächstes",
  later: "Später",
  open: "Wieder offen lassen",
  keys: { Y: "Y", X: "X", PageUp: "Bild auf", PageDown: "Bild ab" },
  states: { accepted: "angenommen", rejected: "verworfen", open: "" },
  count: (left, of) => (left === 0 ? `alle ${of} entschieden` : `${left} von ${of} offen`),
  pictures: (count) => `${count} Bilder`,
  is: (state, changed) => `${state === "accepted" ? "Angenommen." : state === "rejected" ? "Verworfen: Keine Dateien davon werden behalten." : ""}${changed ? " Seither geändert: neu entscheiden." : ""}`,
  into: (place) => `Y nimmt an und geht weiter, X verwirft, N zeigt die nächste zweifelhafte Stelle. Dateien: ${place}`,
  nowhere: "Um Bilder anzunehmen, mit --to ORDNER starten: Dorthin werden ihre Dateien geschrieben.",
  nothing: "Es gibt keinen Umriss anzunehmen: Bessern, was genannt ist, oder das Bild mit X verwerfen.",
  wait: "Der Umriss entsteht noch: annehmen, wenn er da ist.",
  all: (count) => `Alle ${count} Bilder sind entschieden.`,
  trouble: (name, why) => `${name} ist nicht vermerkt: ${why}`,
};

// --- was von Anfang an auf der Seite steht -------------------------------------------------------------------------

export const page = {
  whatIsShown: "Was gezeigt wird",
  pictureFiles: "Bilddateien",
  steps: "Schritte",
  pictureWithItsOutlines: "Bild mit seinen Umrissen",
  clickDoes: "Was ein Klick im Bild tut",
  picture: "Bild",
  thePicture: "Das Bild",
  zoom: "Vergrößerung",
  smaller: "Kleiner",
  zoomFactor: "Maßstab der Ansicht",
  larger: "Größer",
  oneToOne: "Ein Pixel des Bildes auf eines des Schirms",
  whatTheLinesMean: "Was die Linien bedeuten",
  panel: "Was anzusehen ist, Angaben, Dateien",
  files: "Dateien",
  plateWithItsPockets: "Platte mit ihren Taschen",
  stepsOfThePlate: "Schritte der Platte",
  theChosenPocket: "Die gewählte Tasche",
  plate: "Platte",
  thePlate: "Die Platte",
  zoomOfThePlate: "Vergrößerung der Platte",
  plateLines: "Was die Linien der Platte bedeuten",
  platePanel: "Teile, Reihen und Dateien der Platte",
  filesOfThePlate: "Dateien der Platte",
  skipToTheOptions: "Zu den Angaben springen",
  pictureView: "Bild",
  plateView: "Platte",
  openAPicture: "Bild öffnen …",
  stop: "Halt",
  undo: "Zurück",
  redo: "Wieder vor",
  how: "Wie",
  filesOf: "Ordner mit Bildern",
  dropPicturesHere: "Bilder hierher ziehen, oder mit einem davon beginnen",
  aScan: "Ein Scan",
  scanHow: "Der Rohling mit dem Gesicht nach unten auf dem Flachbett, neben einem Quadrat, dessen Seiten bekannt sind: einer gedruckten Karte oder irgendeinem einfarbig dunklen Quadrat von 20 mm oder mehr.",
  openAScan: "Scan öffnen …",
  aPhoto: "Ein Foto",
  photoHow: "Der Rohling in der freien Mitte der gedruckten Matte, gerade von oben. Seine Höhe bereithalten: die Höhe seiner Wand, 0 für einen flachen.",
  openAPhoto: "Foto öffnen …",
  aFolder: "Ein Ordner",
  folderHow: "Ein Bild nach dem anderen. Um sie mit einer Taste anzunehmen und zu verwerfen und ihre Dateien schreiben zu lassen, beginnen mit",
  openAFolder: "Ordner öffnen …",
  toPrint: "Zum Drucken, mit 100 %:",
  cardA4: "Karte, A4",
  cardLetter: "Karte, Letter",
  matA4: "Matte, A4",
  matLetter: "Matte, Letter",
  formats: "PNG, JPEG, TIFF, BMP, WebP, HEIC, AVIF oder das PDF eines Scanners. Alles bleibt auf diesem Rechner.",
  tryTheSample: "Das Beispiel nehmen",
  whole: "Ganz",
  pictureKeys: "N und P: nächste und vorige Stelle. Pfeile bewegen, + und − vergrößern und verkleinern, 0 zeigt das ganze Bild. M misst, R, U, O, H, J, T, K, W und D bessern aus, Eingabe setzt einen Punkt in der Mitte, Rücktaste nimmt die letzte Stelle eines Randes zurück, Escape legt das Werkzeug weg oder hält einen Umriss an, der gerade entsteht.",
  look: "Ansehen",
  previous: "Vorige",
  next: "Nächste",
  items: "Teile",
  scaleOf: "Maßstab:",
  byHand: "Von Hand",
  takeTheSteps: "Schritte mitnehmen",
  set: "Angaben",
  takeTheFiles: "Dateien nehmen",
  writeThem: "Schreiben",
  sameCommand: "Dasselbe auf der Befehlszeile",
  lock: "Festhalten",
  another: "Noch eine",
  takeAway: "Wegnehmen",
  plateKeys: "N und P: nächste und vorige Tasche. Pfeile bewegen sie um 1 mm, mit Umschalt um 0,1 mm; Komma und Punkt drehen sie um 90°, mit Umschalt um 1°. L hält sie fest, A macht noch eine, Entf nimmt sie weg, Escape lässt sie los. + und − vergrößern und verkleinern, 0 zeigt die ganze Platte.",
  pocket: "Tasche",
  onThePlate: "Auf der Platte",
  layRowsAnew: "Reihen neu legen",
  lay: "Legen",
  artwork: "Druckbild",
  takeThePlate: "Platte nehmen",
  takeTheTemplate: "Vorlage nehmen",
  writeBoth: "Beides schreiben",
};

// --- Sprache und Größen --------------------------------------------------------------------------------------------

export const own = {
  name: "Deutsch",
  decimal: ",",
  quoted: (label) => `„${label}“`,
  languageLabel: "Sprache",
  sizesLabel: "Größen",
  sizes: { mm: "mm", both: "mm und Zoll" },
};

export { server } from "./words.de.server.js";
