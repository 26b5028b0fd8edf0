// The geometry of a model as the stage needs it: triangles, what is seen inside when a
// layer turns, and what a line of sight meets. Plain arithmetic, without WebGL.

export const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
export const sum = (a, b) => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
export const less = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
export const times = (a, f) => [a[0] * f, a[1] * f, a[2] * f];
export const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
export const size = a => Math.sqrt(dot(a, a));
export const unit = a => times(a, 1 / size(a));

// spin rotates a point about a unit axis, anticlockwise as seen from its tip.
export function spin(p, axis, angle) {
  const c = Math.cos(angle), s = Math.sin(angle);
  return sum(sum(times(p, c), times(cross(axis, p), s)), times(axis, dot(axis, p) * (1 - c)));
}

const rim = 0.014;    // between a sticker and the border of its region, in inscribed radii
const raised = 0.004; // of a sticker above the body, so that one is drawn over the other
const same = 1e-6;

export class Shape {
  constructor(model) {
    this.model = model;
    this.outlines = model.stickers.map(s => Array.from({ length: s.outline.length / 3 }, (_, i) => s.outline.slice(3 * i, 3 * i + 3)));
    this.radius = Math.max(...this.outlines.flat().map(size));
    // layerOf[axis][place] is the layer that a place is in, counted from 1.
    this.layerOf = model.axes.map(axis => {
      const of = [];
      axis.layers.forEach((layer, k) => layer.stickers.forEach(place => { of[place] = k + 1; }));
      return of;
    });
  }

  // corners gives the corners of a region, and those of the sticker that lies on it.
  corners(place) {
    const { middle, face } = this.model.stickers[place];
    const outline = this.outlines[place];
    const { normal } = this.model.faces[face];
    const along = outline.map((a, i) => unit(less(outline[(i + 1) % outline.length], a)));
    const inwards = along.map(d => cross(normal, d)); // of each side
    const inradius = Math.min(...outline.map((a, i) => dot(less(middle, a), inwards[i])));
    const by = Math.min(rim, 0.3 * inradius);
    // Every side goes inwards by as much; a corner is where the two beside it then meet.
    const sticker = outline.map((p, i) => {
      const before = inwards[(i + outline.length - 1) % outline.length], after = inwards[i];
      const to = times(sum(before, after), by / (1 + dot(before, after)));
      return sum(sum(p, to), times(normal, raised));
    });
    return { region: outline, sticker };
  }

  // lids are the flat parts that come into sight when layers turn: where the planes of
  // the cuts on both sides of them cross the solid. A crossing is convex, and its corners
  // are corners of regions, so these in order around the axis are its outline.
  lids(turn) {
    const { direction } = this.model.axes[turn.axis];
    return this.#cuts(turn).filter(Number.isFinite).map(depth => this.#crossing(direction, depth)).filter(lid => lid.length > 2);
  }

  // cuts are the depths of the planes above and below the layers of a turn; infinite where
  // the puzzle ends.
  #cuts({ axis, fromLayer, toLayer }) {
    const { direction, layers } = this.model.axes[axis];
    const below = k => Math.min(...layers[k - 1].stickers.flatMap(x => this.outlines[x].map(p => dot(p, direction))));
    return [fromLayer > 1 ? below(fromLayer - 1) : Infinity, toLayer < layers.length ? below(toLayer) : -Infinity];
  }

  // parts are what a turn cuts the solid into, all convex: what turns, and what is above
  // and below it. Each is given by the planes that bound it beside the solid's faces.
  parts(turn) {
    const { direction } = this.model.axes[turn.axis];
    const [high, low] = this.#cuts(turn);
    const under = depth => ({ normal: direction, depth }), over = depth => ({ normal: times(direction, -1), depth: -depth });
    return [
      { moves: true, planes: [under(high), over(low)] }, { moves: false, planes: [over(high)] }, { moves: false, planes: [under(low)] },
    ].map(({ moves, planes }) => ({ moves, planes: planes.filter(p => p.depth !== Infinity) }))
      .filter(({ planes }) => planes.every(p => p.depth !== -Infinity));
  }

  #crossing(direction, depth) {
    const points = [];
    for (const p of this.outlines.flat()) {
      if (Math.abs(dot(p, direction) - depth) < same && !points.some(q => size(less(p, q)) < same)) points.push(p);
    }
    const middle = times(direction, depth);
    const x = unit(cross(direction, Math.abs(direction[0]) < 0.9 ? [1, 0, 0] : [0, 1, 0]));
    const y = cross(direction, x);
    const angle = p => { const d = less(p, middle); return Math.atan2(dot(d, y), dot(d, x)); };
    return points.sort((p, q) => angle(p) - angle(q));
  }

  // meets finds where a ray enters the solid: the part of space on the inner side of all
  // its faces, each at a distance of 1 from the middle, and of other planes if there are
  // any. It is null where it passes by.
  meets(from, along, planes = []) {
    let enter = -Infinity, leave = Infinity, face = -1;
    for (const [i, { normal, depth = 1 }] of [...this.model.faces, ...planes].entries()) {
      const room = depth - dot(normal, from), pace = dot(normal, along);
      if (Math.abs(pace) < 1e-12) {
        if (room < 0) return null;
      } else if (pace < 0) {
        if (room / pace > enter) { enter = room / pace; face = i; }
      } else {
        leave = Math.min(leave, room / pace);
      }
    }
    if (!(enter > 0 && enter < leave)) return null;
    return { face, distance: enter, point: sum(from, times(along, enter)) };
  }

  // placeAt is the place of the sticker at a point of a face.
  placeAt(face, point) {
    const { normal } = this.model.faces[face];
    return this.model.stickers.findIndex((s, x) => s.face === face && this.outlines[x].every((a, i) => {
      const b = this.outlines[x][(i + 1) % this.outlines[x].length];
      return dot(cross(less(b, a), less(point, a)), normal) >= -same;
    }));
  }
}
