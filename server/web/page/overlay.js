// What lies over the puzzle: names of axes, which are buttons, arrows along cycles,
// letters on stickers, and which of them are picked. It follows pictures (search/draw): what arrows there are and how
// they are dashed comes from the server, a thin one leads to or from a place out of sight.

import { dot, times } from './shape.js';

const stubs = [1.2, 1.1, 1.32, 1.44]; // where the name of an axis may be, in times the distance where it comes out
const clear = 26;   // pixels between the name of an axis and an arrow
const slant = 0.25; // cosine: letters on what is seen more from the side can't be read
const weight = 2.4; // of arrows

export class Overlay {
  #canvas; #pen; #stage; #pegs = [];

  constructor(canvas, stage) {
    this.#canvas = canvas;
    this.#pen = canvas.getContext('2d');
    this.#stage = stage;
    this.arrows = [];     // those of the trace that are to be seen now
    this.letters = false;
    this.axes = true;
    this.picks = [];   // places of stickers that were picked, in order
    this.under = -1;   // the place that would be picked now, or -1
  }

  // label makes the buttons that name the axes.
  label(box, model, onTurn) {
    box.replaceChildren();
    this.#pegs = model.axes.map((axis, i) => {
      const button = document.createElement('button');
      button.type = 'button';
      button.textContent = axis.name;
      button.tabIndex = -1; // typing the name does the same
      button.setAttribute('aria-label', `Turn about ${axis.name}`);
      button.addEventListener('pointerdown', event => event.stopPropagation());
      button.addEventListener('click', event => onTurn(i, event.shiftKey));
      box.append(button);
      return button;
    });
  }

  resize(wide, high) {
    const ratio = Math.min(devicePixelRatio, 2);
    this.#canvas.width = wide * ratio;
    this.#canvas.height = high * ratio;
    this.#pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  }

  draw() {
    const style = getComputedStyle(this.#canvas);
    this.ink = style.getPropertyValue('--ink');
    this.halo = style.getPropertyValue('--halo');
    this.#pen.clearRect(0, 0, this.#canvas.width, this.#canvas.height);
    if (this.letters) this.#letters();
    const arrows = this.#stage.turning ? [] : this.#curves();
    this.#names(arrows.flatMap(along));
    for (const arrow of arrows) this.#arrow(arrow);
    if (this.#stage.turning) return;
    if (this.under >= 0) this.#around(this.under);
    this.picks.forEach((place, i) => this.#pick(place, i + 1));
  }

  // around draws a line around a place.
  #around(place) {
    const spots = this.#stage.shape.outlines[place].map(p => this.#stage.spot(p));
    this.#stroke(pen => { spots.forEach(([x, y], i) => (i ? pen.lineTo(x, y) : pen.moveTo(x, y))); pen.closePath(); }, 3);
  }

  // pick draws the number of a place that was picked; a hollow one lies behind the puzzle, on the far side.
  #pick(place, number) {
    const { face, middle } = this.#stage.model.stickers[place];
    const near = this.#stage.faces(face), [disc, rim] = near ? [this.ink, this.halo] : [this.halo, this.ink];
    if (near) this.#around(place);
    const [x, y] = this.#stage.spot(middle), pen = this.#pen;
    pen.beginPath();
    pen.arc(x, y, 11, 0, 2 * Math.PI);
    pen.fillStyle = disc;
    pen.fill();
    pen.strokeStyle = rim;
    pen.lineWidth = 2;
    pen.stroke();
    pen.font = '700 14px system-ui, "DejaVu Sans", sans-serif';
    pen.textAlign = 'center';
    pen.textBaseline = 'middle';
    pen.fillStyle = rim;
    pen.fillText(number, x, y + 1);
  }

  // names places the names of axes, out of the way of arrows where that can be.
  #names(taken) {
    const { model } = this.#stage;
    const free = tip => { const [x, y] = this.#stage.spot(tip); return !taken.some(([tx, ty]) => Math.hypot(tx - x, ty - y) < clear); };
    this.#pegs.forEach((peg, i) => {
      const { exit, direction } = model.axes[i];
      const tips = stubs.map(stub => times(exit, stub));
      const tip = tips.find(free) ?? tips[0];
      const behind = dot(direction, this.#stage.eye) < 1;
      peg.hidden = !this.axes || (behind && this.#stage.hidden(tip));
      if (peg.hidden) return;
      peg.classList.toggle('far', behind);
      const [x, y] = this.#stage.spot(tip);
      peg.style.transform = `translate(${x}px, ${y}px) translate(-50%, -50%)`;
      if (behind) return;
      const [x0, y0] = this.#stage.spot(exit);
      this.#stroke(pen => { pen.moveTo(x0, y0); pen.lineTo(x, y); }, 2.6);
    });
  }

  #letters() {
    const { model, position, shape } = this.#stage;
    this.#pen.font = '600 12px system-ui, "DejaVu Sans", sans-serif';
    this.#pen.textAlign = 'center';
    this.#pen.textBaseline = 'middle';
    model.stickers.forEach((s, place) => {
      if (this.#stage.slant(s.face, place) < slant || this.#stage.covered(place, s.middle)) return;
      const [x, y] = this.#stage.spot(this.#stage.carried(place, s.middle));
      const [x1, y1] = this.#stage.spot(this.#stage.carried(place, shape.outlines[place][0]));
      if (Math.hypot(x1 - x, y1 - y) < 9) return; // too small for letters
      const name = model.faces[model.stickers[position.at[place]].face].name;
      this.#pen.strokeStyle = '#ffffff';
      this.#pen.lineWidth = 3;
      this.#pen.lineJoin = 'round';
      this.#pen.strokeText(name, x, y);
      this.#pen.fillStyle = '#1c1c22';
      this.#pen.fillText(name, x, y);
    });
  }

  // curves are the arrows as they lie on the stage. Those of two places pass one another
  // on the left, those of more bend away from the middle of their cycle.
  #curves() {
    const { model } = this.#stage;
    const out = [];
    for (const arrows of grouped(this.arrows).values()) {
      const spots = arrows.map(a => this.#stage.spot(model.stickers[a.from].middle));
      const middle = [0, 1].map(k => spots.reduce((n, p) => n + p[k], 0) / spots.length);
      arrows.forEach((arrow, i) => {
        const ends = [arrow.from, arrow.to].map(x => this.#stage.faces(model.stickers[x].face));
        if (!ends[0] && !ends[1]) return;
        const from = spots[i], to = this.#stage.spot(model.stickers[arrow.to].middle);
        const dx = to[0] - from[0], dy = to[1] - from[1], length = Math.hypot(dx, dy);
        if (length < 1) return;
        let side = [dy / length, -dx / length];
        const mid = [(from[0] + to[0]) / 2, (from[1] + to[1]) / 2];
        if (arrows.length > 2 && (mid[0] - middle[0]) * side[0] + (mid[1] - middle[1]) * side[1] < 0) side = side.map(n => -n);
        out.push({ from, to, via: mid.map((n, k) => n + side[k] * 0.2 * length), length, dash: arrow.dash, whole: ends[0] && ends[1] });
      });
    }
    return out;
  }

  #arrow({ from: [x0, y0], to: [x1, y1], via: [vx, vy], length, dash, whole }) {
    const back = Math.hypot(vx - x1, vy - y1);
    const bx = (vx - x1) / back, by = (vy - y1) / back;
    const long = Math.min(13, length / 3), wide = 0.4 * long;
    const neck = [x1 + bx * 0.8 * long, y1 + by * 0.8 * long];
    this.#stroke(pen => { pen.moveTo(x0, y0); pen.quadraticCurveTo(vx, vy, ...neck); }, whole ? weight : weight / 2, dash);
    const head = [[x1, y1], [x1 + bx * long - by * wide, y1 + by * long + bx * wide],
      [x1 + bx * 0.75 * long, y1 + by * 0.75 * long], [x1 + bx * long + by * wide, y1 + by * long - bx * wide]];
    const pen = this.#pen;
    pen.beginPath();
    head.forEach(([x, y], i) => (i ? pen.lineTo(x, y) : pen.moveTo(x, y)));
    pen.closePath();
    pen.strokeStyle = this.halo; pen.lineWidth = 3; pen.stroke();
    pen.fillStyle = whole ? this.ink : this.halo; pen.fill();
    pen.strokeStyle = this.ink; pen.lineWidth = 1.2; pen.stroke();
  }

  // stroke draws a line with a rim, so that it is seen on every colour.
  #stroke(trace, width, dash = []) {
    const pen = this.#pen;
    pen.lineCap = 'round';
    for (const [colour, w, d] of [[this.halo, width + 3, []], [this.ink, width, dash]]) {
      pen.beginPath();
      trace(pen);
      pen.setLineDash(d);
      pen.strokeStyle = colour;
      pen.lineWidth = w;
      pen.stroke();
    }
    pen.setLineDash([]);
  }
}

// along is some points of a curve.
function along({ from, to, via }) {
  return Array.from({ length: 13 }, (_, i) => {
    const t = i / 12;
    return [0, 1].map(k => (1 - t) ** 2 * from[k] + 2 * t * (1 - t) * via[k] + t ** 2 * to[k]);
  });
}

function grouped(arrows) {
  const out = new Map();
  for (const a of arrows) out.set(a.cycle, [...(out.get(a.cycle) ?? []), a]);
  return out;
}
