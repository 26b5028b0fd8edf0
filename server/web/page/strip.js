// A solution as a strip: a turn a cell, coloured by stage, and what the stages are.

import { count, make, press } from './make.js';

const tints = 6; // colours of stages; they come again after so many

// tint is the class that colours a stage, which are counted from 0.
export const tint = stage => `t${stage % tints + 1}`;

// strip lays turns out in a row. see is called with how many turns are done where one is chosen.
export function strip(turns, stages, see) {
  const list = make('ol', 'strip');
  stages.forEach((stage, i) => {
    for (let n = stage.from; n <= stage.to; n++) {
      const b = press(turns[n - 1] ?? '?', () => see(n), tint(i));
      b.dataset.turn = n;
      b.setAttribute('aria-label', `${b.textContent}, turn ${n}, stage ${i + 1}`);
      const item = make('li', n === stage.from ? 'first' : '', b);
      if (n === stage.from) item.dataset.stage = i + 1;
      list.append(item);
    }
  });
  return list;
}

// legend says what each stage is.
export function legend(stages) {
  const list = make('ol', 'legend');
  list.append(...stages.map((stage, i) => make('li', '', make('span', `tint ${tint(i)}`, String(i + 1)), ' ', make('b', '', stage.name || 'to the end'),
    `: ${count(stage.length, 'move', 'moves')}, ${count(stage.gained, 'piece', 'pieces')} brought home`,
    stage.words ? `; reads as ${stage.reading}, ${stage.words}` : '')));
  return list;
}
