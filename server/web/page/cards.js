// Findings as cards, best first, each with a small picture of what it does.

import * as api from './api.js';
import { make, metric, put } from './make.js';

const shown = 48;  // findings that are listed at first, and more each time
const drawers = 2; // pictures that are asked for at once

// rank orders findings as the server does.
export function rank(a, b) {
  const simple = f => (!f.explanation || f.explanation.plain ? Infinity : f.explanation.written + f.explanation.brackets);
  const setup = f => f.explanation?.setupLength ?? 0;
  const apart = (x, y) => (x === y ? 0 : x < y ? -1 : 1);
  return apart(a.joined?.net ?? 0, b.joined?.net ?? 0) || a.length - b.length || a.axes - b.axes || apart(simple(a), simple(b))
    || setup(a) - setup(b) || a.sequence.length - b.sequence.length || apart(a.sequence, b.sequence);
}

export class Cards {
  #list; #more; #cards = new Map(); #room = shown; #wanted = []; #drawing = 0; #eye; #again = () => {};
  #search = null; #puzzle = '';

  // play is called with a finding that someone wants to see turn; pick with one that is to
  // be seen beside others, or no more.
  constructor({ list, more, play, pick }) {
    Object.assign(this, { play, pick });
    this.#list = list;
    this.#more = more;
    more.onclick = () => { this.#room += shown; this.#again(); };
    this.#eye = new IntersectionObserver(seen => {
      for (const { target, isIntersecting } of seen) {
        if (!isIntersecting) continue;
        this.#eye.unobserve(target);
        this.#wanted.push(target);
      }
      this.#draw();
    }, { rootMargin: '200px' });
  }

  // clear forgets all cards: another search is coming.
  clear() {
    this.#eye.disconnect();
    this.#cards.clear();
    this.#wanted = [];
    this.#room = shown;
  }

  // lay puts the cards in order. A card stays the same as long as its finding does. pair
  // knows which are beside one another.
  lay(search, puzzle, findings, ranks, pair) {
    this.#search = search;
    this.#puzzle = puzzle;
    this.#again = () => this.lay(search, puzzle, findings, ranks, pair);
    const cards = findings.slice(0, this.#room).map(f => {
      const key = `${f.name} ${f.revision}`;
      let card = this.#cards.get(key);
      if (!card) {
        card = this.#card(f);
        this.#cards.set(key, card);
      }
      card.querySelector('.rank').textContent = ranks.get(f.name);
      const box = card.querySelector('input');
      box.checked = pair.has(f.name);
      box.disabled = pair.full && !box.checked;
      return card;
    });
    put(this.#list, cards);
    this.#list.classList.toggle('solutions', Boolean(search && !search.goal));
    this.#more.hidden = findings.length <= this.#room;
    this.#more.textContent = `Show more (${findings.length - this.#room} are not shown)`;
  }

  // picture is a frame for the picture of a finding, drawn when it comes into sight: it keeps
  // the room until then. A solution of a position has none: it would show the position.
  picture(f) {
    if (!this.#search.goal) return null;
    const image = make('img', '');
    image.alt = '';
    image.finding = { puzzle: this.#puzzle, sequence: f.sequence };
    this.#eye.observe(image);
    return make('span', 'frame', image);
  }

  #card(f) {
    const frame = this.picture(f), unit = metric(this.#search.metric);
    const reads = f.explanation && !f.explanation.plain ? f.explanation.text : '';
    const button = make('button', 'finding', ...(frame ? [frame] : []),
      make('span', 'rank soft'), make('span', 'length', `${f.length} ${unit}`),
      make('span', 'cycle', f.sequence || 'nothing to do'),
      ...(f.joined ? [make('span', 'soft', `net ${f.joined.net < 0 ? '−' : '+'}${Math.abs(f.joined.net)} between the moves: ${f.joined.sequence} (${f.joined.length})`)] : []),
      ...(reads && reads !== f.sequence ? [make('span', 'soft', `reads as ${reads}`)] : []),
      ...(f.explanation && !f.explanation.plain ? [make('span', 'soft', f.explanation.words)] : []),
      ...(f.shortening ? [make('span', 'soft', `${f.shortening.saved} less, by ${f.shortening.by}, in round ${f.shortening.round}`)] : []),
      ...(f.classesTotal ? [make('span', 'soft', `class ${f.class} of ${f.classesTotal}${f.place > 1 ? `, place ${f.place} in it` : ''}`)] : []));
    button.type = 'button';
    button.onclick = () => this.play(f);
    const box = Object.assign(make('input'), { type: 'checkbox' });
    box.onchange = () => this.pick(f, box.checked);
    box.setAttribute('aria-label', `Compare ${f.sequence}`);
    return make('li', '', button, make('label', 'pick', box, ' compare'));
  }

  // #draw asks for pictures of what came into sight, a few at a time.
  async #draw() {
    if (this.#drawing >= drawers) return;
    this.#drawing++;
    for (let image; (image = this.#wanted.shift());) {
      try {
        const { puzzle, sequence } = image.finding;
        const picture = await api.draw(puzzle, sequence, {});
        image.src = `data:${picture.mediaType},${encodeURIComponent(picture.content)}`;
      } catch {
        image.remove(); // what it shows is written beside it
      }
    }
    this.#drawing--;
  }
}
