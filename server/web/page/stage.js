// The stage: a puzzle in space, drawn with WebGL, turned before one's eyes.
//
// All stickers are one geometry whose places never change: after a turn each place has
// the colour of what is there now. While layers turn the triangles are shared out between
// two meshes, one at rest and one that rotates, so a frame costs two calls whatever the
// puzzle. Colours are those of pictures, without light or shadow, so that a face looks the
// same from everywhere.
//
// Where a processor has to draw, what costs is pixels. So colours go to WebGL as the screen
// has them, with nothing to convert; what is turned away is left out, as what rests and what
// turns are closed solids; and while frames come slowly they are coarser, until all is at
// rest again.

import {
  BufferAttribute, BufferGeometry, Color, DoubleSide, LinearSRGBColorSpace, Matrix4, Mesh, MeshBasicMaterial, PerspectiveCamera,
  Scene, Vector3, WebGLRenderer,
} from './vendor/three/three.module.js';
import { Overlay } from './overlay.js';
import { Position } from './position.js';
import { Shape, cross, dot, less, size, spin, sum, times, unit } from './shape.js';

const ink = new Color('#1c1c22');   // colour.Ink of pictures: the body
const grey = new Color('#9c9ca6');  // colour.Grey: the body around what is pale
const inside = new Color('#3a3b44');
const far = 6;                      // of the eye from the middle, in radii, as in pictures
const degree = Math.PI / 180;
const smooth = 1000 / 60; // milliseconds for a frame, usually
const slow = 20.5;    // those that are too many
const coarsest = 0.5; // pixels drawn for one of the screen, across
const rest = 300;     // milliseconds without a frame after which nothing moves

// hue is a colour as WebGL gets it: what the screen shows, not the light that it stands for.
const hue = colour => colour.clone().convertLinearToSRGB();

export class Stage extends EventTarget {
  #view = ''; // what the overlay was drawn for last
  #renderer; #scene = new Scene(); #camera = new PerspectiveCamera();
  #material = new MeshBasicMaterial({ vertexColors: true });
  #lidMaterial = new MeshBasicMaterial({ color: hue(inside), side: DoubleSide }); // seen from both sides of a cut
  #rest; #moving; #restLid; #movingLid;
  #vertices = []; #triangles = []; // of each place: where its vertices begin, those of its sticker among them, and end; its triangles
  #turning = null; #drawing = false;
  #grain = 1; #last = null; #mean = smooth; #resting; // pixels drawn for one of the screen; when the last frame was, if things move; how long they take
  #good = 0; #wait = 30; // smooth frames since then, and how many there have to be
  #box;

  constructor(box) {
    super();
    this.#box = box;
    this.#renderer = new WebGLRenderer({ canvas: box.querySelector('#solid'), antialias: devicePixelRatio < 2, alpha: true });
    this.#renderer.outputColorSpace = LinearSRGBColorSpace; // nothing is converted: see hue
    this.overlay = new Overlay(box.querySelector('#overlay'), this);
    this.#camera.up.set(0, 0, 1);
    for (const name of ['rest', 'moving', 'restLid', 'movingLid']) {
      const mesh = new Mesh(new BufferGeometry(), name.endsWith('Lid') ? this.#lidMaterial : this.#material);
      mesh.frustumCulled = false;
      this.#scene.add(mesh);
      if (name === 'rest') this.#rest = mesh;
      if (name === 'moving') this.#moving = mesh;
      if (name === 'restLid') this.#restLid = mesh;
      if (name === 'movingLid') this.#movingLid = mesh;
    }
    new ResizeObserver(() => this.#resize()).observe(box);
    this.pale = null; // a set of pieces to make pale, or null
    this.dark = false;
    this.onpick = null; // what is told the places of stickers that are pointed at, or null
    this.near = 1;      // times as large as the whole puzzle fits in
    box.querySelector('#solid').addEventListener('webglcontextrestored', () => this.wake());
  }

  // show puts a solved puzzle on the stage.
  show(model) {
    this.settle();
    this.model = model;
    this.shape = new Shape(model);
    this.position = new Position(model);
    this.reach = Math.max(this.shape.radius, ...model.axes.map(a => size(a.exit) * 1.3));
    this.right = model.right;
    this.up = model.up;
    this.near = 1;
    this.#build();
    this.#resize();
    this.#changed();
  }

  // reset puts every sticker where it was at first.
  reset() {
    this.settle();
    this.position = new Position(this.model);
    this.#changed();
  }

  // jump does turns at once.
  jump(turns) {
    this.settle();
    for (const turn of turns) this.position.turn(turn);
    this.#changed();
  }

  // turn does a turn in so many milliseconds. The promise ends when it is done, also where
  // something else has hurried it.
  turn(turn, milliseconds) {
    this.settle();
    return new Promise(done => {
      const { axis, fromLayer, toLayer, amount } = turn;
      const { direction, steps, layers } = this.model.axes[axis];
      const members = new Set(layers.slice(fromLayer - 1, toLayer).flatMap(l => l.stickers));
      this.#share(members);
      this.#lids(this.shape.lids(turn));
      this.#turning = {
        turn, members, direction, angle: -amount * 2 * Math.PI / steps, parts: this.shape.parts(turn), milliseconds, done, share: 0,
      };
      this.#box.dataset.turning = turn.text;
      this.wake();
    });
  }

  // settle ends a turn that is under way as it would end anyway.
  settle() {
    const t = this.#turning;
    if (!t) return;
    this.#turning = null;
    delete this.#box.dataset.turning;
    this.position.turn(t.turn);
    this.#share(new Set());
    this.#lids([]);
    this.#moving.matrixAutoUpdate = this.#movingLid.matrixAutoUpdate = false;
    this.#changed();
    t.done();
  }

  // look goes around the puzzle by some degrees.
  look(right, up) {
    this.right = ((this.right + right + 540) % 360) - 180;
    this.up = Math.max(-89, Math.min(89, this.up + up));
    this.dispatchEvent(new Event('look'));
    this.wake();
  }

  // zoom makes the puzzle so many times larger, within bounds; 0 makes it as it is at first.
  zoom(by) {
    this.near = by === 0 ? 1 : Math.min(5, Math.max(1, this.near * by));
    this.#aim();
    this.wake();
  }

  // pick has stickers picked instead of turned, or null for that to end.
  pick(told) {
    this.onpick = told;
    this.#box.toggleAttribute('data-picking', told !== null);
    this.point(-1);
  }

  // point marks the place that would be picked now; -1 for none.
  point(place) {
    if (this.overlay.under === place) return;
    this.overlay.under = place;
    this.wake();
  }

  // dress says which pieces are pale, or none, and whether the page is dark.
  dress(pale, dark) {
    this.pale = pale;
    this.dark = dark;
    if (!this.model) return;
    this.#box.dataset.bright = pale ? this.model.pieces.flatMap((_, i) => (pale.has(i) ? [] : [i])).join(' ') : 'all';
    this.#colour();
    this.wake();
  }

  // wake draws a frame soon.
  wake() {
    if (this.#drawing || !this.model) return;
    this.#drawing = true;
    requestAnimationFrame(now => {
      this.#drawing = false;
      this.#advance(now);
      this.#pace(now);
      this.#draw();
      if (!this.seen) performance.mark('first view'); // for who measures
      this.seen = true;
      if (this.#turning) this.wake();
    });
  }

  get eye() {
    const r = this.right * degree, u = this.up * degree;
    return times([Math.sin(r) * Math.cos(u), -Math.cos(r) * Math.cos(u), Math.sin(u)], far * this.shape.radius);
  }

  // spot is where a point in space is on the stage, in CSS pixels.
  spot(point) {
    const v = new Vector3(...point).project(this.#camera);
    return [(v.x + 1) / 2 * this.#box.clientWidth, (1 - v.y) / 2 * this.#box.clientHeight];
  }

  // carried is where a point of a place is while its layer turns.
  carried(place, point) {
    const t = this.#turning;
    return t && t.members.has(place) ? spin(point, t.direction, t.angle * t.share) : point;
  }

  get turning() { return this.#turning !== null; }

  // faces tells whether a face is turned to the viewer.
  faces(face) { return dot(this.model.faces[face].normal, this.eye) > 1; }

  // slant is how straight a place of a face is seen now: 1 from in front, 0 from the side.
  slant(face, place) { return dot(this.carried(place, this.model.faces[face].normal), unit(this.eye)); }

  // hidden tells whether the puzzle stands between the viewer and a point outside it.
  hidden(point) {
    const along = less(point, this.eye);
    const met = this.shape.meets(this.eye, along);
    return met !== null && met.distance < 1;
  }

  // covered tells whether another part of the puzzle stands before a point of a place while
  // layers turn. Each part is convex, and a ray can be turned back instead of it.
  covered(place, point) {
    const t = this.#turning;
    if (!t) return false;
    const to = this.carried(place, point);
    return t.parts.some(({ moves, planes }) => {
      const [eye, end] = [this.eye, to].map(p => (moves ? spin(p, t.direction, -t.angle * t.share) : p));
      const met = this.shape.meets(eye, less(end, eye), planes);
      return met !== null && met.distance < 0.999;
    });
  }

  // sticker is what is at a point of the stage: its place and the point in space.
  sticker(x, y) {
    const v = new Vector3(x / this.#box.clientWidth * 2 - 1, 1 - y / this.#box.clientHeight * 2, 0.5).unproject(this.#camera);
    const met = this.shape.meets(this.eye, unit(less([v.x, v.y, v.z], this.eye)));
    if (!met) return null;
    const place = this.shape.placeAt(met.face, met.point);
    return place < 0 ? null : { place, point: met.point };
  }

  // drag finds the turn that carries a point of a place the way a pointer went: of the
  // layers that hold the place the one whose turn would move the point most nearly so.
  drag({ place, point }, dx, dy) {
    let best = null;
    this.model.axes.forEach(({ direction }, axis) => {
      if (this.model.axes.slice(0, axis).some(a => size(sum(a.direction, direction)) < 1e-6)) return; // the same line
      const pace = cross(point, direction); // clockwise as seen from the tip
      const [x0, y0] = this.spot(point), [x1, y1] = this.spot(sum(point, times(pace, 0.05)));
      const along = (x1 - x0) * dx + (y1 - y0) * dy;
      const length = Math.hypot(x1 - x0, y1 - y0);
      if (length < 1e-6) return;
      const fit = along * along / length; // by how nearly it goes there, and how far
      if (!best || fit > best.fit) best = { fit, axis, layer: this.shape.layerOf[axis][place], amount: along > 0 ? 1 : -1 };
    });
    return best;
  }

  #advance(now) {
    const t = this.#turning;
    if (!t) return;
    t.start ??= now;
    const share = (now - t.start) / t.milliseconds;
    if (share >= 1) {
      this.settle();
      return;
    }
    t.share = share * share * (3 - 2 * share); // starts and ends gently
    for (const mesh of [this.#moving, this.#movingLid]) {
      mesh.matrixAutoUpdate = false;
      mesh.matrix.copy(new Matrix4().makeRotationAxis(new Vector3(...t.direction), t.angle * t.share));
      mesh.matrixWorldNeedsUpdate = true;
    }
  }

  // pace looks how fast frames come one after another, and has them coarser where they stay
  // slow: one that is held up by something else doesn't count for much. Where they are smooth
  // again they get finer after a while, each time after a longer one.
  #pace(now) {
    const took = this.#last === null ? smooth : Math.min(now - this.#last, 60);
    this.#last = now;
    delete this.#box.dataset.sharp;
    clearTimeout(this.#resting);
    this.#resting = setTimeout(() => this.#rests(), rest);
    this.#mean = 0.92 * this.#mean + 0.08 * took;
    if (this.#mean > slow && this.#grain > coarsest) {
      this.#wait = Math.min(2 * this.#wait, 2000);
      this.#grainOf(Math.max(coarsest, this.#grain * 0.75));
    } else if (this.#mean > smooth + 1) {
      this.#good = 0;
    } else if (this.#grain < 1 && ++this.#good > this.#wait) {
      this.#grainOf(Math.min(1, this.#grain / 0.75));
    }
  }

  // rests has the puzzle as sharp as can be when nothing moves any more.
  #rests() {
    if (this.#turning) return; // it will come to rest again
    this.#last = null;
    this.#wait = 30;
    if (this.#grain < 1) this.#grainOf(1);
    else this.#box.dataset.sharp = '';
  }

  #grainOf(grain) {
    this.#grain = grain;
    this.#mean = smooth;
    this.#good = 0;
    this.#renderer.setPixelRatio(Math.min(devicePixelRatio, 2) * grain);
    this.wake();
  }

  #draw() {
    this.#camera.position.set(...this.eye);
    this.#camera.lookAt(0, 0, 0);
    this.#camera.updateMatrixWorld();
    this.#renderer.render(this.#scene, this.#camera);
    // While layers turn the overlay stays as it is, but for letters.
    const view = [this.right, this.up, this.near, this.#box.clientWidth, this.#box.clientHeight].join();
    if (this.#turning && !this.overlay.letters && view === this.#view) return;
    this.overlay.draw();
    this.#view = this.#turning ? view : '';
  }

  #resize() {
    const { clientWidth: wide, clientHeight: high } = this.#box;
    if (!this.model || !wide || !high) return;
    this.#renderer.setPixelRatio(Math.min(devicePixelRatio, 2) * this.#grain);
    this.#renderer.setSize(wide, high, false);
    this.overlay.resize(wide, high);
    this.#aim();
    this.wake();
  }

  // aim sets the camera's angle, for the box and for how near one is.
  #aim() {
    const { clientWidth: wide, clientHeight: high } = this.#box;
    const half = Math.asin(Math.min(0.9, 1.04 * this.reach / (far * this.shape.radius)));
    this.#camera.aspect = wide / high;
    this.#camera.fov = 2 * Math.atan(Math.tan(half) * Math.max(1, high / wide) / this.near) / degree;
    this.#camera.near = 0.1;
    this.#camera.far = 4 * far * this.shape.radius;
    this.#camera.updateProjectionMatrix();
  }

  // build makes the geometry that both meshes of stickers share.
  #build() {
    const points = [], triangles = [];
    this.#vertices = [];
    this.#triangles = [];
    this.model.stickers.forEach((_, place) => {
      const { region, sticker } = this.shape.corners(place);
      const own = [];
      for (const outline of [region, sticker]) {
        const first = points.length / 3;
        outline.forEach(p => points.push(...p));
        for (let i = 1; i + 1 < outline.length; i++) own.push(first, first + i, first + i + 1);
      }
      const last = points.length / 3;
      this.#vertices.push([last - sticker.length - region.length, last - sticker.length, last]);
      this.#triangles.push(own);
      triangles.push(...own);
    });
    const at = new BufferAttribute(new Float32Array(points), 3);
    const colours = new BufferAttribute(new Float32Array(points.length), 3);
    for (const mesh of [this.#rest, this.#moving]) {
      mesh.geometry.dispose();
      mesh.geometry = new BufferGeometry();
      mesh.geometry.setAttribute('position', at);
      mesh.geometry.setAttribute('color', colours);
    }
    this.#share(new Set());
    this.#lids([]);
  }

  // share gives the triangles of members to the mesh that moves, all others to that at rest.
  #share(members) {
    const lists = [[], []];
    this.#triangles.forEach((own, place) => lists[members.has(place) ? 1 : 0].push(...own));
    [this.#rest, this.#moving].forEach((mesh, i) => {
      mesh.geometry.setIndex(new BufferAttribute(new Uint32Array(lists[i]), 1));
      mesh.visible = lists[i].length > 0;
    });
    this.#moving.matrix.identity();
    this.#movingLid.matrix.identity();
  }

  #lids(lids) {
    const points = lids.flatMap(lid => lid.slice(2).flatMap((p, i) => [...lid[0], ...lid[i + 1], ...p]));
    for (const mesh of [this.#restLid, this.#movingLid]) {
      mesh.geometry.dispose();
      mesh.geometry = new BufferGeometry();
      mesh.visible = points.length > 0;
      if (!mesh.visible) continue;
      mesh.geometry.setAttribute('position', new BufferAttribute(new Float32Array(points), 3));
    }
  }

  // colourOf is the colour of a sticker as it is dressed now. On a dark page what is pale
  // fades towards the table, as it does towards the paper on a light one.
  colourOf(sticker) {
    const { face, piece } = this.model.stickers[sticker];
    const { colour, paleColour } = this.model.faces[face];
    if (!this.pale?.has(piece)) return new Color(colour);
    return this.dark ? new Color(colour).lerp(new Color('#2c2f37'), 0.8) : new Color(paleColour);
  }

  #colour() {
    const colours = this.#rest.geometry.getAttribute('color');
    this.#vertices.forEach(([body, from, to], place) => {
      const sticker = this.position.at[place];
      const rim = !this.dark && this.pale?.has(this.model.stickers[sticker].piece) ? grey : ink;
      const [around, c] = [rim, this.colourOf(sticker)].map(x => hue(x).toArray());
      for (let i = body; i < to; i++) colours.setXYZ(i, ...(i < from ? around : c));
    });
    colours.needsUpdate = true;
  }

  #changed() {
    this.#colour();
    this.#box.dataset.position = this.position.at.join(' ');
    this.wake();
  }
}
