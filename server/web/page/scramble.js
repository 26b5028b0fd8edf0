// A scramble: as text, unfolded, and to be seen on the puzzle, with what is done after it.

import * as api from './api.js';
import { make, press } from './make.js';

export function scrambled(puzzle, scramble, see) {
  const net = make('img', 'net');
  const frame = make('span', 'frame', net);
  frame.hidden = true;
  api.draw(puzzle, scramble, { projection: 'PROJECTION_NET', moment: 'MOMENT_AFTER', arrows: ['none'] }).then(picture => {
    net.src = `data:${picture.mediaType},${encodeURIComponent(picture.content)}`;
    net.alt = 'The scrambled puzzle, unfolded';
    frame.hidden = false;
  }, () => frame.remove()); // the text is beside it
  return make('div', 'scramble', frame, make('p', '', make('span', 'soft', 'Scramble '), make('code', '', scramble)), press('See it on the puzzle', see));
}

let seeing = null;

// seen shows what is done after a scramble, once so many of its turns are done. Who wants to see another before
// the server has read this one sees that, however late this comes. It gives the scramble's turns.
export async function seen(show, puzzle, scramble, solution, done = 0, sealed = false) {
  const own = seeing = {};
  const { turns } = scramble ? await api.trace(puzzle, scramble) : { turns: [] };
  if (seeing === own) show(puzzle, [scramble, solution].filter(Boolean).join('\n'), turns.length + done, sealed);
  return turns;
}
