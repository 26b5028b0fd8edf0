// Shorter solutions with the same end, as the server comes upon them: what falls away, what
// comes instead. And the same for a night, as a search that the server keeps.

import * as api from './api.js';
import { align, changes } from './align.js';
import { Look, inWords } from './look.js';
import { bare, count, make, press } from './make.js';

const times = [10, 30, 60, 300]; // seconds
const few = 5;                   // that are listed at first
const ways = { merging: 'by merging turns', stretches: 'by other turns for a stretch', moving: 'by doing a stretch at another moment', insertion: 'by taking turns out and putting a sequence in elsewhere' };

export class Shorter {
  #desk; #found = []; #of = ''; #room = few; #list; #look; #time;
  chosen = null;

  constructor(desk) {
    this.#desk = desk;
    this.#time = make('select', '');
    this.#time.setAttribute('aria-label', 'How long to look for shorter ones');
    this.#time.append(...times.map(s => new Option(s < 60 ? `${s} seconds` : count(s / 60, 'minute', 'minutes'), s)));
    this.#time.value = 30;
    this.#look = new Look('Look for shorter ones', (signal, tell) => this.#shorten(signal, tell), { name: 'shorten', beside: [this.#time] });
    this.#list = make('ol', 'ways');
    this.box = make('section', 'shorter', make('h3', '', 'Shorter'), this.#look.box, this.#list);
    this.box.setAttribute('aria-label', 'Shorter solutions');
  }

  // take is told of the solution that was read. What was found stays as long as it has the same
  // beginning and end.
  take(current) {
    const of = current ? `${current.beginning} ${current.end}` : '';
    if (of !== this.#of) {
      this.#look.end('');
      this.#found = [];
      this.#room = few;
    }
    this.#of = of;
    this.chosen = null;
    for (const f of this.#found) this.#align(f);
    this.#lay();
  }

  async #shorten(signal, tell) {
    const { current, puzzle } = this.#desk;
    const { metric, scramble } = current;
    const time = Number(this.#time.value);
    tell('It is looking …');
    let first = true;
    for await (const { shorter } of api.study(puzzle, { metric, scramble, solution: current.text, shortenTime: `${time}s` }, signal)) {
      if (!shorter) continue;
      const f = { ...shorter, ...await this.#desk.read(shorter.solution, signal) };
      if (signal.aborted) return;
      if (this.#found.some(g => g.solution === f.solution)) continue;
      this.#found.unshift(f);
      this.#align(f);
      if (first || !this.chosen?.held) this.choose(f);
      first = false;
      tell(`It is looking … ${count(this.#left.length, 'shorter one', 'shorter ones')} so far.`);
    }
    return this.#left.length ? 'It has looked. Longer may find more.' : `In ${time} seconds nothing shorter came.`;
  }

  // #left are those that are shorter than the solution as it is now.
  get #left() { return this.#found.filter(f => f.length < this.#desk.current.length).sort((a, b) => a.length - b.length); }

  #align(f) { f.steps = align(this.#desk.current.keys, f.keys); }

  // choose marks one on the strip, or none.
  choose(f) {
    this.chosen = f;
    this.#desk.compare(f);
    this.#lay();
  }

  #lay() {
    if (!this.#desk.current) { this.#list.replaceChildren(); return; }
    const all = this.#left;
    const focused = document.activeElement?.closest?.('.shorter [data-does]')?.dataset.does;
    this.#list.replaceChildren(...all.slice(0, this.#room).map(f => this.#item(f)),
      ...(all.length > this.#room ? [make('li', '', press(`Show ${all.length - this.#room} more`, () => { this.#room = Infinity; this.#lay(); }, 'small'))] : []));
    this.#list.dataset.count = all.length;
    if (focused) this.#list.querySelector(`[data-does="${CSS.escape(focused)}"]`)?.focus({ preventScroll: true });
  }

  #item(f) {
    const { length, turns } = this.#desk.current;
    const chosen = this.chosen === f;
    const does = (text, what, act, className) => {
      const b = press(text, act, className);
      b.dataset.does = `${what} ${f.solution}`;
      b.setAttribute('aria-label', `${text}: the solution of ${f.length}`);
      return b;
    };
    const eye = does(chosen ? 'Unmark it' : 'Mark it above', 'mark', () => { this.choose(chosen ? null : f); if (!chosen) f.held = true; }, 'small');
    const runs = changes(f.steps).map(({ away, comes, after }) => make('li', '',
      away.length ? `turn${away.length > 1 ? 's' : ''} ${stretch(away)}: ` : `after turn ${after}: `,
      away.length ? make('s', '', away.map(n => turns[n - 1]).join(' ')) : '', away.length && comes.length ? ' → ' : '',
      comes.length ? make('code', '', comes.map(m => f.turns[m - 1]).join(' ')) : ' falls away'));
    const item = make('li', chosen ? 'way chosen' : 'way', make('p', '', make('b', '', `${f.length}`), ` instead of ${length}, `, make('b', 'saves', `${length - f.length} less`), `, ${ways[f.by] ?? f.by}`),
      make('ul', 'runs', ...runs), make('p', 'row', eye, does('See it', 'see', () => this.#desk.see(f.solution, 0), 'small'), does('Take it', 'take', () => this.#desk.take(f), 'small take')));
    item.dataset.length = f.length;
    return item;
  }
}

// stretch names turns by their numbers.
function stretch(numbers) {
  const last = numbers.at(-1);
  return numbers.length === 1 ? `${numbers[0]}` : `${numbers[0]} to ${last}`;
}

export class Overnight {
  #desk; #hours; #name; #said;

  // watch is called with the search that was asked for.
  constructor(desk, watch) {
    this.#desk = desk;
    this.watch = watch;
    this.#hours = Object.assign(make('input', ''), { type: 'number', min: 0.25, max: 72, step: 0.25, value: 8, required: true });
    this.#said = make('p', 'said');
    this.#said.setAttribute('role', 'status');
    const form = make('form', 'row', make('label', '', 'About ', this.#hours, ' hours of a core'),
      Object.assign(make('button', '', 'What would it take?'), { value: 'estimate' }), Object.assign(make('button', 'main', 'Have it looked at'), { value: 'submit' }));
    form.onsubmit = event => {
      event.preventDefault();
      this.#ask(event.submitter?.value === 'estimate');
    };
    this.box = make('details', 'overnight', make('summary', '', make('h3', '', 'For a night')),
      make('p', 'soft', 'The server goes on when this page is closed, and keeps what it finds. It is a search like others: everyone here sees it, with the scramble and the solution.'),
      form, this.#said);
  }

  take() { this.#said.replaceChildren(); }

  async #ask(estimate) {
    const { puzzle, metric, scramble, text } = this.#desk.current;
    const study = { puzzle, scramble, solution: text, shortenTime: `${Math.round(Number(this.#hours.value) * 3600)}s` };
    this.#said.textContent = 'One moment …';
    try {
      const { search, estimate: takes } = await api.ask({ study, metric }, estimate);
      if (estimate) {
        const time = takes.duration ? `about ${(parseFloat(takes.duration) / 3600).toFixed(1)} hours by itself here` : 'as long as you gave it on one core, less on several';
        this.#said.textContent = `It takes ${time}: ${takes.units} units of work, ${Math.ceil(Number(takes.tableBytes) / 2 ** 20)} MiB of tables.`;
        return;
      }
      const id = bare(search.name);
      this.#said.replaceChildren(`It was taken, as ${id}. `, press('Go there', () => this.watch(id), 'small'));
    } catch (error) {
      this.#said.textContent = inWords(error);
    }
  }
}
