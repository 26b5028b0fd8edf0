// Two solutions turn by turn: what of one stays in the other, what falls away, and what comes
// instead.

import { Position } from './position.js';

// keys names turns by what they do to the puzzle as it was held at first, so that a turn has the
// same name after the whole was turned. Rotations of the whole have none: ''.
export function keys(model, turns) {
  const known = new Map(); // by how a turn is written
  const does = turn => {
    if (!known.has(turn.text)) {
      const p = new Position(model);
      p.turn(turn);
      known.set(turn.text, p.at);
    }
    return known.get(turn.text);
  };
  let held = new Position(model).at; // the place that each place was at first
  return turns.map(turn => {
    const from = does(turn);
    if (turn.fromLayer === 1 && turn.toLayer === model.axes[turn.axis].layers.length) {
      held = from.map(place => held[place]);
      return '';
    }
    const key = new Int32Array(from.length);
    from.forEach((place, at) => { key[held[at]] = held[place]; });
    return key.join(' ');
  });
}

// align puts two lists of keys beside one another, with as many as can be in both. Each step
// is {n, m}, with n counted from 1 in the first and m in the second; what falls away has no m, what
// comes no n. Where both are, what falls away is first.
export function align(a, b) {
  let head = 0, tail = 0;
  const same = (i, j) => a[i] === b[j] && a[i] !== '';
  while (head < a.length && head < b.length && same(head, head)) head++;
  while (tail < a.length - head && tail < b.length - head && same(a.length - 1 - tail, b.length - 1 - tail)) tail++;
  const rows = a.length - head - tail, columns = b.length - head - tail;
  // most[i][j] is how many can be in both from there on
  const most = Array.from({ length: rows + 1 }, () => new Uint16Array(columns + 1));
  for (let i = rows - 1; i >= 0; i--) {
    for (let j = columns - 1; j >= 0; j--) {
      most[i][j] = same(head + i, head + j) ? most[i + 1][j + 1] + 1 : Math.max(most[i + 1][j], most[i][j + 1]);
    }
  }
  const steps = Array.from({ length: head }, (_, i) => ({ n: i + 1, m: i + 1 }));
  let comes = [];
  const settle = () => { steps.push(...comes); comes = []; };
  for (let i = 0, j = 0; i < rows || j < columns;) {
    if (i < rows && j < columns && same(head + i, head + j)) {
      settle();
      steps.push({ n: head + ++i, m: head + ++j });
    } else if (i < rows && (j === columns || most[i + 1][j] >= most[i][j + 1])) {
      steps.push({ n: head + ++i });
    } else {
      comes.push({ m: head + ++j });
    }
  }
  settle();
  for (let k = tail; k > 0; k--) steps.push({ n: a.length - k + 1, m: b.length - k + 1 });
  return steps;
}

// changes are the runs of steps in which something falls away or comes: {away, comes, after},
// with the last turn of the first list before them.
export function changes(steps) {
  const out = [];
  let run = null, after = 0;
  for (const { n, m } of steps) {
    if (n && m) {
      run = null;
    } else {
      if (!run) out.push(run = { away: [], comes: [], after });
      if (n) run.away.push(n);
      else run.comes.push(m);
    }
    after = n ?? after;
  }
  return out;
}
