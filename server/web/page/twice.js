// What can't be undone is asked twice: the first press puts the question in its own place, with
// the answer and a way back.

import { make, press } from './make.js';

// twice is a button with a second one behind it. does is called after the second; what it
// refuses is told where it was asked.
export function twice(text, question, yes, does) {
  const box = make('span', 'twice');
  const first = press(text, ask);
  const back = () => {
    delete box.dataset.asking;
    box.replaceChildren(first);
    first.focus({ preventScroll: true });
  };
  function ask() {
    box.dataset.asking = ''; // lists that come again now and then wait for the answer
    const wrong = make('span', 'wrong');
    wrong.setAttribute('role', 'status');
    const sure = press(yes, async () => {
      sure.disabled = true;
      try {
        await does();
        delete box.dataset.asking;
      } catch (error) {
        wrong.textContent = error.message;
        sure.disabled = false;
      }
    }, 'sure');
    const no = press('No', back);
    box.replaceChildren(make('span', '', question), ' ', sure, ' ', no, wrong);
    no.focus({ preventScroll: true });
  }
  box.onkeydown = event => { if (event.key === 'Escape' && 'asking' in box.dataset) back(); };
  box.append(first);
  return box;
}
