// A scramble: as text, unfolded, and to be seen on the puzzle.

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
