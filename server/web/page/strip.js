// A solution as a strip: a turn a cell, coloured by stage, and what the stages are.

import { count, make, press } from './make.js';

const tints = 6; // colours of stages; they come again after so many

// tint is the class that colours a stage, which are counted from 0.
const tint = stage => `t${stage % tints + 1}`;

// strip lays turns out in a row. see is called with how many turns are done where one is chosen.
export function strip(turns, stages, see) {
  const list = row('strip');
  stages.forEach((stage, i) => {
    for (let n = stage.from; n <= stage.to; n++) {
      list.append(cell(turns[n - 1] ?? '?', stage, i, n === stage.from, `turn ${n}, ${called(stage, i)}`, () => see(n)));
    }
  });
  stop(list);
  return list;
}

// woven lays out two solutions in one row, as align has put them beside one another: what stays, what
// of the first falls away, what of the second comes instead. Each is {turns, solution}, and the first has
// stages. see is called with a solution and how many of its turns are done.
export function woven(first, second, steps, see) {
  const list = row('strip woven');
  let stage = 0, begun = -1;
  for (const { n, m } of steps) {
    if (n) stage = Math.max(0, first.stages.findIndex(s => s.from <= n && n <= s.to));
    const text = m ? second.turns[m - 1] : first.turns[n - 1];
    const now = first.stages[stage];
    const how = n && m ? `turn ${m}, ${called(now, stage)}` : n ? `turn ${n}, falls away` : `turn ${m}, comes in`;
    const item = cell(text, now, stage, stage !== begun, how, () => (m ? see(second.solution, m) : see(first.solution, n)));
    if (!n || !m) item.classList.add(n ? 'away' : 'comes');
    sees(item.firstChild, m ? second.solution : first.solution, m ?? n);
    begun = stage;
    list.append(item);
  }
  stop(list);
  return list;
}

// row is a list whose cells are one stop for the Tab key: arrow keys go from one to the next.
function row(className) {
  const list = make('ol', className);
  list.setAttribute('aria-label', 'Turn by turn; arrow keys go from one to the next');
  list.addEventListener('focusin', event => stop(list, event.target));
  list.addEventListener('keydown', event => {
    const all = [...list.querySelectorAll('button')], at = all.indexOf(document.activeElement);
    const to = { ArrowLeft: at - 1, ArrowRight: at + 1, Home: 0, End: all.length - 1 }[event.key];
    if (to === undefined || at < 0) return;
    event.preventDefault();
    all[to]?.focus();
  });
  return list;
}

// stop says at which of its buttons the Tab key comes to a row: at the first one at first.
export function stop(list, at = list.querySelector('button')) {
  for (const b of list.querySelectorAll('button')) b.tabIndex = b === at ? 0 : -1;
}

// A stage can have a tint and a mark of its own; else it has those of its place among them.
const called = (stage, i) => stage.mark ?? `stage ${i + 1}`;

function cell(text, stage, i, first, how, see) {
  const b = press(text, see, stage.tint ?? tint(i));
  b.setAttribute('aria-label', `${text}, ${how}`.replace(/, $/, ''));
  const item = make('li', first ? 'first' : '', b);
  if (first) item.dataset.stage = stage.mark ?? i + 1;
  return item;
}

// sees notes which turn of which solution a cell is.
export const sees = (b, solution, turn) => { b.sees = { solution, turn }; };

// mark says which cells show what is on the stage: a solution after so many turns.
export function mark(box, solution, turn) {
  for (const b of box.querySelectorAll('.strip button')) {
    if (b.sees && b.sees.solution === solution && b.sees.turn === turn) b.setAttribute('aria-current', 'step');
    else b.removeAttribute('aria-current');
  }
}

// legend says what each stage is.
export function legend(stages) {
  const list = make('ol', 'legend');
  list.append(...stages.map((stage, i) => make('li', '', make('span', `tint ${tint(i)}`, String(i + 1)), ' ', make('b', '', stage.name || 'to the end'),
    `: ${count(stage.length, 'move', 'moves')}, ${count(stage.gained, 'piece', 'pieces')} brought home`,
    stage.words ? `; reads as ${stage.reading}, ${stage.words}` : '')));
  return list;
}

const goals = {
  FEWEST_GOAL_BRINGS: 'To bring the same home: ', FEWEST_GOAL_SAME: 'To do just the same: ', FEWEST_GOAL_SOLVES: 'For the whole: ',
};

// told says how few moves could do for a stage, or for the whole, as far as it is known.
export function told({ goal, proven, length, atLeast, turns }) {
  const known = proven ? `${count(length, 'move is', 'moves are')} the fewest` : `${length} is the shortest known, ${atLeast} or more are needed`;
  const e = make('span', 'told', `${goals[goal] ?? ''}${known}`, turns ? ': ' : '', turns ? make('code', '', turns) : '', '.');
  e.dataset.goal = goal;
  return e;
}
