// Rounds: which there are, and one of them: what it asks, its attempts while it is open, and
// how it went once it has closed.
//
// What is sealed the server keeps back; the page asks for nothing of others before a round
// closes.

import * as api from './api.js';
import { Attempt } from './attempt.js';
import { Outcome } from './outcome.js';
import { make, press, span, when } from './make.js';

const tick = 1000;    // milliseconds between looks at the clock
const again = 20_000; // between looks at a round that may be closed by an organiser
const few = 6;        // rounds that are over which are listed at first

const state = r => r.state.replace('ROUND_STATE_', '');
const titled = r => r.title || r.name.replace('rounds/', '');
const order = { OPEN: 0, ANNOUNCED: 1, CLOSED: 2, CALLED_OFF: 3 };

export class Rounds {
  #box; #list; #one; #me = ''; #all = []; #round = null; #room = few; #attempts = []; #looked = 0; #opening = null;
  #drafts = new Map(); // what was typed for an attempt and not handed in

  // show is called with a puzzle, a sequence, after how many turns someone wants to see it, and
  // whether it is sealed.
  constructor(box, show) {
    this.#box = box;
    this.show = show;
    this.#list = make('ul', 'rounds');
    this.#one = make('div', 'round');
    this.#one.hidden = true;
    this.said = make('p', 'wrong');
    this.said.setAttribute('role', 'status');
    box.append(press('Look again', () => this.look()), this.said, this.#list, this.#one);
    setInterval(() => this.#tick(), tick);
  }

  // name is the round that is looked at, without "rounds/".
  get name() { return this.#round?.name.replace('rounds/', '') ?? ''; }

  // enter lists the rounds for whoever is there now, and opens one.
  async enter(id) {
    this.#me = (await api.caller()).member;
    this.#drafts.clear();
    this.#round = null;
    await this.look();
    if (id) await this.watch(id);
  }

  // look asks how things stand.
  async look() {
    this.#looked = api.now();
    try {
      this.#all = await api.rounds();
      this.#lay();
      if (this.#round) await this.#open(this.#round.name);
    } catch (error) {
      this.#say(error.message);
    }
  }

  // watch opens a round; '' closes it.
  async watch(id) {
    this.#round = this.#opening = null;
    this.#one.hidden = true;
    if (id) await this.#open(`rounds/${id}`);
    this.#lay();
    this.onwatch?.();
  }

  #say(text) { this.said.textContent = text; }

  // #lay lists the rounds: open ones, those that are to come, the latest of those that are over.
  #lay() {
    const rank = r => order[state(r)] ?? 4;
    const all = [...this.#all].sort((a, b) => rank(a) - rank(b));
    const ahead = all.filter(r => rank(r) < 2).length;
    const shown = all.slice(0, ahead + this.#room);
    const focused = this.#list.querySelector(':focus')?.dataset.round;
    const items = shown.map(r => {
      const id = r.name.replace('rounds/', '');
      const b = press('', () => this.watch(this.name === id ? '' : id), 'one');
      b.dataset.round = id;
      b.setAttribute('aria-expanded', this.name === id);
      b.append(make('b', '', titled(r)), ` ${r.puzzle.replace('puzzles/', '')}, ${r.metric.replace('METRIC_', '')} `, stands(r));
      return make('li', '', b);
    });
    if (all.length > shown.length) {
      items.push(make('li', '', press(`Show ${all.length - shown.length} more that are over`, () => { this.#room = Infinity; this.#lay(); })));
    }
    if (!all.length) items.push(make('li', 'soft', 'No round has been announced. Organisers do that with "turnwright announce".'));
    this.#list.replaceChildren(...items);
    if (focused) this.#list.querySelector(`[data-round="${focused}"]`)?.focus({ preventScroll: true });
    this.#count();
  }

  // #open shows a round. One that is as it was stays as it is, so that nobody loses what they
  // are writing.
  async #open(name) {
    const own = this.#opening = {}; // who opens another one meanwhile sees that one
    try {
      const round = await api.round(name);
      if (this.#opening !== own) return;
      this.#say('');
      if (this.#round && JSON.stringify(round) === JSON.stringify(this.#round)) return;
      const parts = this.#head(round);
      const attempts = state(round) === 'OPEN' ? await this.#take(round, parts) : [];
      if (state(round) === 'CLOSED') parts.push(...await new Outcome(round, this.#me, this.show).parts());
      if (this.#opening !== own) return;
      this.#round = round;
      this.#attempts = attempts;
      this.#one.replaceChildren(...parts);
      this.#one.dataset.state = state(round);
      this.#one.hidden = false;
      this.#count();
    } catch (error) {
      if (this.#opening === own) this.#say(error.message);
    }
  }

  #head(r) {
    const facts = make('dl', 'facts');
    const fact = (name, ...parts) => facts.append(make('dt', '', name), make('dd', '', ...parts));
    const minutes = parseFloat(r.timeLimit) * 1000;
    fact('Puzzle', r.puzzle.replace('puzzles/', ''));
    fact('What counts', r.format === 'ROUND_FORMAT_MEAN' ? `the mean of ${r.attempts} attempts` : r.attempts > 1 ? `the best of ${r.attempts} attempts` : 'one attempt',
      `, by length in ${r.metric.replace('METRIC_', '')}`, r.maxLength ? `, at most ${r.maxLength} ETM` : '');
    fact('Written with', r.content === 'ENTRY_CONTENT_NOTATION' ? 'moves, brackets, exponents and comments' : 'moves and rotations only; what you thought goes beside it');
    fact('Your time', `${span(minutes)} for each attempt, from when you see its scramble`);
    fact('Opens', when(r.openTime), state(r) === 'ANNOUNCED' ? until(r.openTime, ', in ') : '');
    fact('Closes', when(r.closeTime), state(r) === 'OPEN' ? until(r.closeTime, ', in ') : '');
    if (r.members.length) fact('Takes part', r.members.map(m => m.replace('members/', '')).join(', '));
    for (const c of r.changes) fact('Changed', `${when(c.time)}: ${c.change} (${c.member.replace('members/', '')}: ${c.reason})`);
    const parts = [make('h3', '', titled(r)), facts];
    if (state(r) === 'ANNOUNCED') parts.push(make('p', 'soft', 'Nobody sees a scramble before it opens.'));
    if (state(r) === 'CALLED_OFF') parts.push(make('p', '', 'It was called off: what was sealed stays so.'));
    return parts;
  }

  // #take gives the attempts of whoever is there, and adds what is seen of them to parts.
  async #take(round, parts) {
    if (round.members.length && !round.members.includes(this.#me)) {
      parts.push(make('p', '', `You are ${this.#me.replace('members/', '')}, who does not take part in this round. You see how it went once it has closed.`));
      return [];
    }
    const [views, entries] = await Promise.all([api.views(round.name), api.entries(round.name)]);
    const begun = new Set(views.filter(v => v.member === this.#me).map(v => v.attempt));
    const attempts = await Promise.all(Array.from({ length: round.attempts }, async (_, i) => {
      const number = i + 1;
      const shown = begun.has(number) ? await api.scramble(round.name, number) : null; // its clock runs already
      const entry = entries.find(e => e.member === this.#me && e.attempt === number) ?? null;
      return new Attempt({ round, number, shown, entry, show: this.show, drafts: this.#drafts });
    }));
    parts.push(make('p', 'soft', 'What you hand in, and whether you have, nobody else sees until the round closes.'), ...attempts.map(a => a.box));
    return attempts;
  }

  // #count writes how much time is left wherever that stands.
  #count() {
    let over = false;
    for (const e of this.#box.querySelectorAll('[data-until]')) {
      const left = Number(e.dataset.until) - api.now();
      e.textContent = left > 0 ? e.dataset.before + span(left) : '';
      if (left <= 0) { over = true; delete e.dataset.until; }
    }
    for (const a of this.#attempts) a.tick();
    return over;
  }

  #tick() {
    const over = this.#count();
    const watched = this.#round && ['OPEN', 'ANNOUNCED'].includes(state(this.#round)) && !document.hidden;
    if (over || (watched && api.now() - this.#looked > again)) this.look();
  }
}

// stands says where a round stands.
function stands(r) {
  const out = make('span', 'soft');
  if (state(r) === 'OPEN') out.append('open, closes', until(r.closeTime, ' in '));
  if (state(r) === 'ANNOUNCED') out.append('opens', until(r.openTime, ' in '));
  if (state(r) === 'CLOSED') out.append(`closed ${when(r.closeTime)}`);
  if (state(r) === 'CALLED_OFF') out.append('called off');
  return out;
}

// until is the time that is left, kept up to date.
function until(time, before) {
  const e = make('span', 'left');
  e.dataset.until = Date.parse(time);
  e.dataset.before = before;
  return e;
}

