// The picture: which part of it is seen, and its tiles on a canvas. A place p (px, centre of a pixel) is seen at
// (p + 0.5) * scale + offset.

const MOST_TILES = 400;
const LARGEST = 40; // screen px a picture px
const CRISP = 3; // from here on pixels are shown as squares

export class View {
  constructor(stage, canvas, drawn) {
    this.stage = stage;
    this.canvas = canvas;
    this.drawn = drawn; // called after every change of what is seen
    this.sight = null;
    this.scale = 1;
    this.offset = [0, 0];
    this.tiles = new Map();
    this.wanted = false;
    this.frames = 0;
    new ResizeObserver(() => this.resized()).observe(stage);
    stage.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
  }

  open(sight) {
    this.sight = sight;
    this.tiles.clear();
    this.whole();
  }

  get width() {
    return this.stage.clientWidth;
  }

  get height() {
    return this.stage.clientHeight;
  }

  resized() {
    const dots = window.devicePixelRatio || 1;
    this.canvas.width = Math.round(this.width * dots);
    this.canvas.height = Math.round(this.height * dots);
    if (this.isWhole) this.whole();
    this.draw();
  }

  seen([x, y]) {
    return [(x + 0.5) * this.scale + this.offset[0], (y + 0.5) * this.scale + this.offset[1]];
  }

  place([x, y]) {
    return [(x - this.offset[0]) / this.scale - 0.5, (y - this.offset[1]) / this.scale - 0.5];
  }

  get middle() {
    return [this.width / 2, this.height / 2];
  }

  fitting() {
    const [width, height] = this.sight.size;
    return Math.min((this.width - 24) / width, (this.height - 24) / height, LARGEST);
  }

  whole() {
    if (!this.sight || !this.width) return;
    const [width, height] = this.sight.size;
    this.scale = this.fitting();
    this.offset = [(this.width - width * this.scale) / 2, (this.height - height * this.scale) / 2];
    this.isWhole = true;
    this.draw();
  }

  show(place, half) {
    if (!this.sight) return;
    this.isWhole = false;
    this.scale = Math.min(Math.max(Math.min(this.width, this.height) / 2 / half, this.fitting()), LARGEST);
    this.offset = [this.width / 2 - (place[0] + 0.5) * this.scale, this.height / 2 - (place[1] + 0.5) * this.scale];
    this.draw();
  }

  zoom(factor, at = this.middle) {
    if (!this.sight) return;
    const held = this.place(at);
    this.isWhole = false;
    this.scale = Math.min(Math.max(this.scale * factor, this.fitting() / 4), LARGEST);
    this.offset = [at[0] - (held[0] + 0.5) * this.scale, at[1] - (held[1] + 0.5) * this.scale];
    this.draw();
  }

  move(x, y) {
    this.isWhole = false;
    this.offset = [this.offset[0] + x, this.offset[1] + y];
    this.draw();
  }

  wheel(event) {
    event.preventDefault();
    const box = this.stage.getBoundingClientRect();
    const lines = event.deltaMode === 1 ? 18 : 1;
    this.zoom(Math.exp(-event.deltaY * lines * 0.0016), [event.clientX - box.left, event.clientY - box.top]);
  }

  draw() {
    if (this.wanted) return;
    this.wanted = true;
    requestAnimationFrame(() => {
      this.wanted = false;
      this.frames += 1;
      this.paint();
      this.drawn();
    });
  }

  paint() {
    const pen = this.canvas.getContext("2d", { alpha: false });
    pen.fillStyle = "#2b3442";
    pen.fillRect(0, 0, this.canvas.width, this.canvas.height);
    if (!this.sight) return;
    const dots = window.devicePixelRatio || 1;
    const level = Math.min(Math.max(Math.floor(-Math.log2(this.scale * dots)), 0), this.sight.levels - 1);
    pen.imageSmoothingEnabled = this.scale * dots < CRISP;
    pen.imageSmoothingQuality = "medium";
    for (const [column, row] of this.columns(level)) this.paintTile(pen, level, column, row, dots);
    this.forget();
  }

  columns(level) {
    const side = this.sight.tile * 2 ** level;
    const [width, height] = this.sight.size;
    const [left, top] = this.place([0, 0]);
    const [right, bottom] = this.place([this.width, this.height]);
    const found = [];
    for (let row = Math.max(0, Math.floor(top / side)); row * side < Math.min(bottom + 1, height); row += 1) {
      for (let column = Math.max(0, Math.floor(left / side)); column * side < Math.min(right + 1, width); column += 1) {
        found.push([column, row]);
      }
    }
    return found;
  }

  // Draws a tile; until it has come, the part of a coarser one that covers it.
  paintTile(pen, level, column, row, dots) {
    const side = this.sight.tile * 2 ** level;
    const [width, height] = this.sight.size;
    const box = [column * side, row * side, Math.min((column + 1) * side, width), Math.min((row + 1) * side, height)];
    for (let up = 0; level + up < this.sight.levels; up += 1) {
      const tile = this.tile(level + up, column >> up, row >> up);
      if (!tile.ready) continue;
      const unit = 2 ** (level + up);
      const [left, top] = [(column >> up) * this.sight.tile, (row >> up) * this.sight.tile];
      const part = [box[0] / unit - left, box[1] / unit - top, (box[2] - box[0]) / unit, (box[3] - box[1]) / unit];
      const [x0, y0] = this.seen([box[0] - 0.5, box[1] - 0.5]).map((v) => Math.round(v * dots));
      const [x1, y1] = this.seen([box[2] - 0.5, box[3] - 0.5]).map((v) => Math.round(v * dots));
      if (part[2] > 0 && part[3] > 0) pen.drawImage(tile.image, ...part, x0, y0, x1 - x0, y1 - y0);
      return;
    }
  }

  tile(level, column, row) {
    const name = `${level}/${column}/${row}`;
    let tile = this.tiles.get(name);
    if (tile) {
      this.tiles.delete(name); // the one used last stands last
    } else {
      tile = { image: new Image(), ready: false };
      tile.image.decoding = "async";
      const sight = this.sight;
      tile.image.addEventListener("load", () => {
        tile.ready = true;
        if (this.sight === sight) this.draw();
      });
      tile.image.src = `/pictures/${sight.key}/tiles/${name}`;
    }
    this.tiles.set(name, tile);
    return tile;
  }

  forget() {
    for (const name of this.tiles.keys()) {
      if (this.tiles.size <= MOST_TILES) return;
      this.tiles.delete(name);
    }
  }
}
