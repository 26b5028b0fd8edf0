// What a sequence does, in words: what the server says of it, laid out. A cycle that is
// pressed is brought out on the puzzle.

import { make, press } from './make.js';

// sample is a bit of the line that a type's arrows have.
function sample(dash) {
  const ns = 'http://www.w3.org/2000/svg';
  const svg = document.createElementNS(ns, 'svg');
  svg.setAttribute('width', '44');
  svg.setAttribute('height', '10');
  svg.setAttribute('aria-hidden', 'true');
  const l = document.createElementNS(ns, 'path');
  l.setAttribute('d', 'M2 5H40');
  l.setAttribute('stroke', 'currentColor');
  l.setAttribute('stroke-width', '2.4');
  l.setAttribute('stroke-linecap', 'round');
  if (dash.length) l.setAttribute('stroke-dasharray', dash.join(' '));
  svg.append(l);
  return svg;
}

// cycle is a button that brings one out, and lets it go when it is pressed again.
function cycle(box, { slots, text }, type, model, bring) {
  const button = press(text, () => {
    const on = button.getAttribute('aria-pressed') === 'false';
    for (const b of box.querySelectorAll('[aria-pressed]')) b.setAttribute('aria-pressed', 'false');
    button.setAttribute('aria-pressed', String(on));
    const own = model.slots.filter(s => model.pieceTypes[s.type] === type);
    bring(on ? new Set(slots.map(s => model.stickers[own[s].stickers[0]].piece)) : null);
  }, 'cycle');
  button.title = 'Bring it out on the puzzle';
  button.setAttribute('aria-pressed', 'false');
  return button;
}

const most = 8; // cycles of a type that are listed

// bring is called with the pieces of a cycle that is to be brought out, or with null where
// none is any more.
export function tell(box, effect, explanation, trace, model, bring) {
  const said = [], line = (...parts) => said.push(make('p', '', ...parts));
  const soft = text => make('span', 'soft', text);
  if (!effect.sequence) {
    box.replaceChildren(make('p', '', soft('Nothing yet. Every piece is at home.')));
    return;
  }
  const { obtm, stm, qtm, etm } = effect.lengths;
  line(soft(`Length ${stm ?? 0} STM, ${obtm ?? 0} OBTM, ${etm ?? 0} ETM, ${qtm ?? 0} QTM. `));
  if (explanation && !explanation.plain) line('Reads as ', make('b', 'cycle', explanation.text), `: ${explanation.words}.`);
  const moving = effect.types.filter(t => t.moved > 0);
  for (const t of moving) {
    const arrow = trace.arrows.find(a => model.pieceTypes[a.type] === t.type);
    line(arrow ? sample(arrow.dash) : null, make('b', '', `${t.type}: `),
      ...t.cycles.slice(0, most).flatMap(c => [cycle(box, c, t.type, model, bring), ' ']), t.cycles.length > most ? ` and ${t.cycles.length - most} more` : null);
  }
  const still = effect.types.filter(t => t.moved === 0).map(t => t.type);
  if (moving.length === 0) line('It moves nothing.');
  else if (still.length) line(soft(`Left alone: ${still.join(', ')}.`));
  if (effect.rotation) line(`The whole puzzle is left turned by ${effect.rotation}, which is taken off here.`);
  if (moving.length) line(soft(`Done ${effect.order} times it has done nothing.`));
  box.replaceChildren(...said);
}
