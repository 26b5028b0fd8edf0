// What was typed for attempts and not handed in. It is kept in memory only, where no other
// page's scripts are, and so is gone with the page: the browser asks before that happens.

import { copied, make, press } from './make.js';

export class Drafts {
  #kept = new Map();

  constructor() {
    addEventListener('beforeunload', event => { if (this.#kept.size) event.preventDefault(); });
  }

  // keep keeps a draft { solution, explanation } of somebody for an attempt of a round; one that
  // says no more than what was handed in is none.
  keep({ member, round, number }, draft, entry) {
    const same = draft.solution.trim() === (entry?.solution ?? '').trim() && draft.explanation.trim() === (entry?.explanation ?? '').trim();
    if (same) this.#kept.delete(key(member, round, number));
    else this.#kept.set(key(member, round, number), draft);
  }

  get({ member, round, number }) { return this.#kept.get(key(member, round, number)); }

  drop({ member, round, number }) { this.#kept.delete(key(member, round, number)); }

  // left shows what was written for an attempt that takes nothing any more, to copy or to throw
  // away; null where there is nothing.
  left(place) {
    const draft = this.get(place);
    if (!draft) return null;
    const both = [draft.solution.trim(), draft.explanation.trim()].filter(text => text !== '');
    if (!both.length) { // it had been emptied
      this.drop(place);
      return null;
    }
    const box = make('div', 'unsent');
    box.append(make('p', '', 'You had written this, and not handed it in:'), ...both.map(text => make('pre', '', text)),
      make('p', 'row', copied(both.join('\n\n')), press('Throw it away', () => { this.drop(place); box.remove(); })));
    return box;
  }
}

const key = (member, round, number) => `${member} ${round} ${number}`;
