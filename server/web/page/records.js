// Records: the best results of the club and of its members, by puzzle and metric, with the
// round that each is from and the solution.

import * as api from './api.js';
import { bare, count, make, metric, press, when } from './make.js';
import { seen } from './scramble.js';

const kinds = {
  RECORD_MARK_CLUB_SINGLE: 'single', RECORD_MARK_PERSONAL_SINGLE: 'single',
  RECORD_MARK_CLUB_MEAN: 'mean', RECORD_MARK_PERSONAL_MEAN: 'mean',
};
const room = 60; // rows that are shown at first

export class Records {
  #show; #round; #me = ''; #all = null; #room = room; #puzzle = ''; #laid = ''; #looking = null;

  // show puts a sequence on the stage; round opens a round by its name.
  constructor(show, round) {
    this.#show = show;
    this.#round = round;
    this.button = press('Records', () => this.#toggle(), 'to-records');
    this.button.setAttribute('aria-expanded', 'false');
    this.box = make('section', 'records');
    this.box.hidden = true;
    this.box.setAttribute('aria-label', 'Records');
    const choose = (...options) => {
      const list = make('select', '');
      list.append(...options.map(([text, value]) => new Option(text, value)));
      list.onchange = () => { this.#room = room; this.#lay(); };
      return list;
    };
    this.whose = choose(['the club’s', 'CLUB'], ['mine', 'me'], ['each member’s own', 'PERSONAL']);
    this.of = choose(['every puzzle', '']);
    this.by = choose(['every metric', '']);
    this.past = Object.assign(make('input', ''), { type: 'checkbox', onchange: () => this.look() });
    this.said = make('p', '');
    this.said.setAttribute('role', 'status');
    this.rows = make('div', 'wide');
    this.box.append(make('h3', '', 'Records'),
      make('p', 'row', make('label', '', 'Whose ', this.whose), make('label', '', 'Puzzle ', this.of), make('label', '', 'Metric ', this.by), make('label', '', this.past, ' those before them, too')),
      this.said, this.rows);
  }

  entered(caller) {
    this.#me = caller.member;
    this.#all = null;
    this.#laid = '';
    if (!this.box.hidden) this.look();
  }

  // fill hears which puzzle is on the stage: its records come first.
  fill(model) { this.#puzzle = model.puzzle; }

  #toggle() {
    this.box.hidden = !this.box.hidden;
    this.button.setAttribute('aria-expanded', String(!this.box.hidden));
    if (!this.box.hidden) this.look();
  }

  // look asks for the records, where they are shown.
  async look() {
    if (this.box.hidden) return;
    const own = this.#looking = {};
    try {
      const all = await api.records(this.past.checked ? {} : { standing: true });
      const laid = JSON.stringify([all, this.#puzzle]);
      if (this.#looking !== own || laid === this.#laid) return; // who reads a solution there, or is about to press something, goes on
      this.#laid = laid;
      this.#all = all;
      this.#choices(this.of, [...new Set(this.#all.map(r => r.puzzle))].sort(), bare);
      this.#choices(this.by, [...new Set(this.#all.map(r => r.metric))].sort(), metric);
      this.#lay();
    } catch (error) {
      if (this.#looking !== own) return;
      this.#laid = '';
      this.said.textContent = error.message;
    }
  }

  #choices(list, values, text) {
    const was = list.value;
    list.replaceChildren(list.options[0], ...values.map(v => new Option(text(v), v)));
    list.value = values.includes(was) ? was : '';
  }

  #lay() {
    if (!this.#all) return; // they are to come
    const whose = this.whose.value;
    const wanted = this.#all.filter(r => (whose === 'CLUB' ? r.kind.includes('CLUB') : r.kind.includes('PERSONAL') && (whose !== 'me' || r.member === this.#me))
      && (!this.of.value || r.puzzle === this.of.value) && (!this.by.value || r.metric === this.by.value));
    // That of the puzzle on the stage first, each puzzle's together, the latest first as the server has them.
    const rank = r => `${r.puzzle === this.#puzzle ? 0 : 1} ${r.puzzle} ${r.metric} ${kinds[r.kind] === 'single' ? 0 : 1}`;
    wanted.sort((a, b) => rank(a).localeCompare(rank(b)));
    this.said.textContent = wanted.length ? '' : 'There are none yet: they are made in rounds, when those close.';
    const head = ['Puzzle', 'Result', 'Who', 'Round'].map(h => Object.assign(make('th', '', h), { scope: 'col' }));
    const table = make('table', '', make('caption', 'unseen', 'Records'), make('thead', '', make('tr', '', ...head)),
      make('tbody', '', ...wanted.slice(0, this.#room).map(r => this.#row(r))));
    const parts = wanted.length ? [table] : [];
    if (wanted.length > this.#room) parts.push(press(`Show ${wanted.length - this.#room} more`, () => { this.#room = Infinity; this.#lay(); }));
    this.rows.replaceChildren(...parts);
    this.rows.tabIndex = wanted.length ? 0 : -1;
    this.rows.setAttribute('role', 'group');
    this.rows.setAttribute('aria-label', 'Records, in rows');
  }

  #row(r) {
    const single = kinds[r.kind] === 'single';
    const open = press(bare(r.round), () => this.#round(r.round));
    open.title = 'Open this round';
    const out = make('tr', 'kept');
    out.hidden = true;
    const see = press(single ? 'Its solution' : 'Its solutions', () => this.#solutions(r, see, out));
    see.setAttribute('aria-expanded', 'false');
    const row = make('tr', '', Object.assign(make('th', '', bare(r.puzzle)), { scope: 'row' }),
      make('td', '', make('b', '', single ? String(r.hundredths / 100) : (r.hundredths / 100).toFixed(2)), ` ${metric(r.metric)}, ${kinds[r.kind] ?? r.kind}`, r.standing ? '' : ' (was beaten)'),
      make('td', '', bare(r.member)), make('td', '', make('span', 'row', open, see), make('span', 'soft', `closed ${when(r.time)}`)));
    row.dataset.kind = r.kind;
    const both = document.createDocumentFragment();
    both.append(row, out);
    return both;
  }

  // #solutions shows below a row what made the record.
  async #solutions(r, see, out) {
    const shown = out.hidden;
    out.hidden = !shown;
    see.setAttribute('aria-expanded', String(shown));
    if (!shown || out.dataset.read === 'yes') return;
    const cell = make('td', '', 'One moment …');
    cell.colSpan = 4;
    out.replaceChildren(cell);
    try {
      const [round, entries] = await Promise.all([api.round(r.round), api.entries(r.round)]);
      const own = entries.filter(e => e.member === r.member && !e.verdict.dnf);
      const made = kinds[r.kind] === 'single' ? own.filter(e => e.verdict.length * 100 === r.hundredths).slice(0, 1) : own;
      cell.replaceChildren(...made.map(e => {
        const scramble = round.scrambles[e.attempt - 1];
        const solution = e.corrections.at(-1)?.solution || e.solution;
        return make('p', '', `${count(e.verdict.length, 'move', 'moves')}: `, make('code', '', solution), ' ', press('Play', () => seen(this.#show, r.puzzle, scramble, solution)));
      }));
      out.dataset.read = 'yes';
    } catch (error) {
      cell.textContent = error.message;
    }
  }
}
