// Turning and looking by hand: pointer and keys on the stage. What comes of it is told as
// calls of `turn(axis, layer, amount)`, where layer 0 is the whole puzzle.

const enough = 9;  // pixels before a pointer has said which way it drags
const pace = 0.45; // degrees that the view turns for a pixel

export function byPointer(box, stage, { turn, onlyLooks }) {
  const down = new Map(); // pointers on the stage, by their ids
  const sticker = event => {
    const { left, top } = box.getBoundingClientRect();
    return stage.sticker(event.clientX - left, event.clientY - top);
  };
  // spread is how far two fingers are apart.
  const spread = () => {
    const [a, b] = down.values();
    return Math.hypot(a.x - b.x, a.y - b.y);
  };
  // Two fingers hold the puzzle: what is between them stays between them as they go apart.
  let pinch = null;
  const hold = () => { pinch = down.size === 2 ? { spread: spread(), near: stage.near } : null; };
  box.addEventListener('pointerdown', event => {
    if (event.button > 0 && event.pointerType === 'mouse' && event.button !== 2) return;
    const looks = onlyLooks() || stage.onpick || event.button === 2 || down.size > 0 || stage.turning;
    const alone = down.size === 0 && event.button === 0;
    for (const other of down.values()) { other.grip = null; other.still = false; } // two fingers look round
    down.set(event.pointerId, {
      x: event.clientX, y: event.clientY, still: alone, // nothing but a press until it moves
      grip: looks ? null : sticker(event),
    });
    hold();
    box.setPointerCapture(event.pointerId);
    box.dataset.hold = '';
  });
  box.addEventListener('pointermove', event => {
    const held = down.get(event.pointerId);
    if (!held) stage.point(stage.onpick ? sticker(event)?.place ?? -1 : -1);
    if (!held || held.done) return;
    const dx = event.clientX - held.x, dy = event.clientY - held.y;
    if (held.grip) {
      if (Math.hypot(dx, dy) < enough) return;
      const found = stage.drag(held.grip, dx, dy);
      held.done = true; // one drag, one turn
      if (found) turn(found.axis, found.layer, found.amount);
      return;
    }
    if (held.still && stage.onpick && Math.hypot(dx, dy) < enough) return;
    held.still = false;
    stage.look(-dx * pace / down.size / stage.near, dy * pace / down.size / stage.near);
    held.x = event.clientX;
    held.y = event.clientY;
    if (pinch?.spread > 0) stage.zoom(pinch.near * spread() / pinch.spread / stage.near);
  });
  const up = event => {
    down.delete(event.pointerId);
    hold();
    if (down.size === 0) delete box.dataset.hold;
  };
  box.addEventListener('pointerup', event => {
    const found = stage.onpick && down.get(event.pointerId)?.still && sticker(event);
    up(event);
    if (found) stage.onpick(found.place);
  });
  box.addEventListener('pointercancel', up);
  box.addEventListener('pointerleave', () => stage.point(-1));
  box.addEventListener('contextmenu', event => event.preventDefault());
  // The wheel scrolls the page. With Ctrl, and so for two fingers on a pad, it is the puzzle that grows.
  box.addEventListener('wheel', event => {
    if (!event.ctrlKey) return;
    event.preventDefault();
    stage.zoom(2 ** (-event.deltaY / 240));
  }, { passive: false });
}

// Typed reads names of axes key by key, such as "R", "2R", "b3" or "'b3": it answers with
// what was meant as soon as nothing longer can be meant.
export class Typed {
  constructor(axes) {
    this.axes = axes;
    this.clear();
  }

  clear() {
    this.layer = null;
    this.back = false;
    this.name = '';
  }

  // key takes a key. It gives {axis, layer, back} when that completes a turn, true where
  // it may be a part of one, and false where it is none.
  key(key, shift) {
    if (key === "'") {
      this.back = !this.back;
      return true;
    }
    if (this.name === '' && /^[0-9]$/.test(key)) {
      this.layer = Number(key);
      return true;
    }
    const same = this.axes.some(a => a.name.startsWith(this.name + key)) ? key : flipped(key);
    const name = this.name + same;
    const found = this.axes.filter(a => a.name.startsWith(name));
    if (found.length === 0 || key.length !== 1) {
      this.clear();
      return false;
    }
    if (shift) this.back = true;
    const axis = this.axes.findIndex(a => a.name === name);
    if (axis < 0) {
      this.name = name;
      return true;
    }
    const said = { axis, layer: this.layer ?? 1, back: this.back };
    this.clear();
    return said;
  }
}

const flipped = key => (key === key.toUpperCase() ? key.toLowerCase() : key.toUpperCase());
