// A solution that leaves a few pieces wrong, and sequences that searches found put in where they
// cost least: places between its turns, and the best solutions that come of it.

import * as api from './api.js';
import { align } from './align.js';
import { Look, inWords } from './look.js';
import { bare, count, make, press } from './make.js';
import { sees, stop, strip, woven } from './strip.js';

const asked = 100; // solutions that the server is asked for: enough for most places
const few = 6;     // that are listed at first
const usual = 9;   // length of a search that is asked for here

export class Insertions {
  #desk; #look; #most; #out; #search; #list; #row; #closer;
  #skeleton = null; #found = []; #chosen = null; #here = null; #room = few;

  // watch is called with a search that was asked for here.
  constructor(desk, watch) {
    this.#desk = desk;
    this.watch = watch;
    this.#most = make('select', '');
    this.#most.setAttribute('aria-label', 'How many sequences may go in');
    this.#most.append(new Option('one sequence', 1), new Option('up to two', 2), new Option('up to three', 3));
    this.#look = new Look('Find the best places', (signal, tell) => this.#insert(signal, tell), { name: 'insert', beside: [this.#most] });
    this.#search = make('div', 'search');
    this.#out = make('div', 'out');
    this.box = make('section', 'insertions', make('h3', '', 'Put a known sequence in'),
      make('p', 'soft', 'Where between its turns does a sequence that searches here have found cost least, what cancels taken off? Up to nine pieces can be mended so.'),
      this.#look.box, this.#search, this.#out);
    this.box.setAttribute('aria-label', 'Put a known sequence in');
  }

  take() {
    this.#look.end('');
    this.#clear();
  }

  #clear() {
    this.#found = [];
    this.#skeleton = this.#chosen = this.#here = null;
    this.#room = few;
    this.#search.replaceChildren();
    this.#out.replaceChildren();
    delete this.box.dataset.count;
  }

  async #insert(signal, tell) {
    const { metric, scramble, solution, puzzle, stages } = this.#desk.current;
    this.#clear();
    tell('It is trying every place …');
    let answer;
    try {
      answer = await api.insert(puzzle, { metric, scramble, solution, insertions: Number(this.#most.value), limit: asked }, signal);
    } catch (error) {
      if (error.reason !== 'NO_SEQUENCES' || signal.aborted) throw error;
      this.#offer(error.metadata.cycles.split(','));
      return inWords(error);
    }
    const skeleton = await this.#desk.read(answer.skeleton, signal);
    // Stages are those of the solution, where that was taken as it is.
    const all = answer.skeleton === solution ? stages : [{ from: 1, to: skeleton.turns.length, mark: '', tint: 'plain' }];
    this.#skeleton = { ...skeleton, length: answer.length, stages: all };
    this.#found = answer.solutions.map(s => ({ ...s, more: s.length - answer.length, ...this.#place(s.insertions[0].before) }));
    this.box.dataset.count = this.#found.length;
    if (!this.#found.length) return 'Nothing can be put in.';
    this.#lay(answer);
    await this.#choose(this.#found[0], signal);
    return '';
  }

  // #place is where in the skeleton something goes whose first turns are these: after turn at, or
  // within the one that follows. The server writes turns with a space between them.
  #place(before) {
    const { turns } = this.#skeleton;
    for (let at = turns.length; at > 0; at--) {
      const head = turns.slice(0, at).join(' ');
      if (before === head) return { at, within: false };
      if (before.startsWith(`${head} `)) return { at, within: true };
    }
    return { at: 0, within: before !== '' };
  }

  #lay({ sources, exact }) {
    this.#row = make('div', 'along');
    this.#closer = make('div', 'closer');
    this.#list = make('ol', 'ways');
    this.#out.replaceChildren(
      make('p', 'soft', 'How much longer the whole gets where the best goes in at each place; choose one.'), this.#row, this.#closer, this.#list,
      make('p', 'soft', sources.map(s => `For ${s.goal.cycle}: what follows from ${count(s.sequences, 'sequence', 'sequences')} of ${count(s.searches, 'search', 'searches')}`
        + `${s.provenLength ? `, all up to length ${s.provenLength} covered` : ''}${s.missing ? `; for ${s.missing} of ${s.classes} classes none is known` : ''}.`).join(' '),
      exact ? ' No better way exists with these sequences.' : ''));
    this.#places();
    this.#ways();
  }

  // #places lays the skeleton out with a button wherever something can go in. Within a turn it has
  // one only where that is better than on both its sides.
  #places() {
    const { turns, stages, solution } = this.#skeleton;
    const best = new Map();
    for (const f of this.#found) {
      const key = `${f.at}${f.within ? '½' : ''}`;
      if (!best.has(key)) best.set(key, f);
    }
    const more = at => best.get(`${at}`)?.more ?? Infinity;
    const row = strip(turns, stages, n => this.#desk.see(solution, n));
    const cells = [...row.children];
    cells.forEach((c, i) => sees(c.firstChild, solution, i + 1));
    const least = Math.min(...this.#found.map(f => f.more));
    const button = f => {
      const b = press(`+${f.more}`.replace('+-', '−'), () => {
        this.#here = this.#here === f ? null : f;
        this.#choose(f);
        this.#ways();
      }, 'place');
      b.place = f;
      b.setAttribute('aria-label', `${spot(f, turns)}: ${b.textContent}`);
      return make('li', f.more === least ? 'gap best' : 'gap', b);
    };
    for (let at = 0; at <= turns.length; at++) {
      const next = cells[at] ?? null;
      const exact = best.get(`${at}`), inside = best.get(`${at}½`);
      if (exact) row.insertBefore(button(exact), next);
      if (inside && inside.more < Math.min(more(at), more(at + 1))) row.insertBefore(button(inside), next);
    }
    stop(row);
    this.#row.replaceChildren(row);
  }

  #ways() {
    const { turns } = this.#skeleton;
    const here = this.#here;
    const all = here ? this.#found.filter(f => f.at === here.at && f.within === here.within) : this.#found;
    for (const b of this.#row.querySelectorAll('.place')) b.setAttribute('aria-pressed', b.place === here);
    const items = all.slice(0, this.#room).map(f => {
      const chosen = f === this.#chosen;
      const does = (text, act, className) => {
        const b = press(text, act, className);
        b.setAttribute('aria-label', `${text}: ${f.solution}`);
        return b;
      };
      const closer = does('Look closer', () => { this.#choose(f); }, 'small closer');
      closer.setAttribute('aria-pressed', chosen);
      const item = make('li', chosen ? 'way chosen' : 'way',
        make('p', '', make('b', '', String(f.length)), `, ${f.more} more: `, ...f.insertions.flatMap((one, i) => [i ? ', then ' : '', make('code', '', one.sequence), `, ${cancels(one)}`]),
          `; ${f.insertions.length > 1 ? 'the first ' : ''}${spot(f, turns)}`),
        make('p', 'row', closer, does('See it', () => this.#desk.see(f.solution, 0), 'small see'), does('Take it', () => this.#takes(f), 'small take')));
      item.dataset.length = f.length;
      return item;
    });
    if (all.length > this.#room) items.push(make('li', '', press(`Show ${all.length - this.#room} more`, () => { this.#room = Infinity; this.#ways(); }, 'small')));
    if (here) items.push(make('li', '', press('All places', () => { this.#here = null; this.#ways(); }, 'small')));
    this.#list.replaceChildren(...items);
  }

  // #choose looks at one closer: turn by turn, what goes in, and what then cancels.
  async #choose(f, signal) {
    this.#chosen = f;
    this.#ways();
    try {
      const rows = await Promise.all(f.insertions.map(async (one, i) => {
        const next = f.insertions[i + 1];
        const [before, middle, after, made] = await Promise.all(
          [one.before, one.sequence, one.after, next ? `${next.before} ${next.after}` : f.solution].map(text => this.#desk.read(text, signal)));
        const turns = [...before.turns, ...middle.turns, ...after.turns];
        const whole = await this.#desk.read(turns.join(' '), signal);
        const from = before.turns.length, to = from + middle.turns.length;
        const parts = [{ from: 1, to: from, mark: '', tint: 'plain' }, { from: from + 1, to, mark: 'goes in', tint: 'put' }, { from: to + 1, to: turns.length, mark: '', tint: 'plain' }];
        const row = woven({ ...whole, stages: parts.filter(s => s.from <= s.to) }, made, align(whole.keys, made.keys), (text, n) => this.#desk.see(text, n));
        const reads = one.explanation && !one.explanation.plain ? [' It reads as ', make('code', '', one.explanation.text), '.'] : [];
        return make('div', '', make('p', '', make('code', '', one.sequence), `: ${count(one.length, 'move', 'moves')}, ${cancels(one)}.`, ...reads), row);
      }));
      if (this.#chosen === f) this.#closer.replaceChildren(...rows);
    } catch (error) {
      if (error.name !== 'AbortError') this.#look.say(inWords(error));
    }
  }

  async #takes(f) {
    const made = await this.#desk.read(f.solution);
    this.#desk.take({ ...made, steps: align(this.#desk.current.keys, made.keys) });
  }

  // #offer offers to search for what is missing, and goes on when it was found.
  #offer(cycles) {
    const { puzzle } = this.#desk, { metric } = this.#desk.current;
    const most = Object.assign(make('input', ''), { type: 'number', min: 1, max: 40, value: usual });
    const said = make('p', 'said');
    const form = make('form', 'row', make('label', '', 'Length up to ', most), make('button', 'main', `Search for ${cycles.join(' and ')} 3-cycles here`));
    form.onsubmit = async event => {
      event.preventDefault();
      form.inert = true;
      try {
        const ids = [];
        for (const cycle of cycles) {
          const { search } = await api.ask({ goal: { puzzle, cycle }, metric, maxLength: Number(most.value) }, false);
          ids.push(search.name);
        }
        const id = bare(ids[0]);
        said.replaceChildren('The server is searching. ', press('Go there', () => this.watch(id), 'small'));
        await this.#look.begin(async (signal, tell) => {
          tell('It goes on here when that has ended.');
          for (const name of ids) {
            for await (const { search } of api.follow(name, signal, () => tell('The connection broke; it is made again …'))) {
              if (search) tell(`It goes on here when that has ended: ${count(Number(search.findingsTotal), 'sequence', 'sequences')} so far.`);
            }
          }
          return signal.aborted ? undefined : this.#insert(signal, tell);
        });
      } catch (error) {
        said.textContent = inWords(error);
      } finally {
        form.inert = false;
      }
    };
    this.#search.replaceChildren(form, said);
  }
}

// spot says in words where something goes in.
function spot({ at, within }, turns) {
  if (within) return `within turn ${at + 1}, ${turns[at]}`;
  if (at === 0) return 'before the first turn';
  return at === turns.length ? 'after the last turn' : `after turn ${at}, ${turns[at - 1]}`;
}

// cancels says how much of what goes in cancels.
function cancels({ length, net }) {
  if (net === length) return 'nothing cancels';
  return net < length ? `${length - net} cancel${length - net === 1 ? 's' : ''}` : `costs ${net - length} besides`;
}
