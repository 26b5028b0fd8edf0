// The solution desk: a scramble and what was done after it, where its moves went, and how it
// could be shorter.
//
// What is written here may be of a round that has not closed, so it goes onto the stage sealed:
// no address has it.

import * as api from './api.js';
import { keys } from './align.js';
import { Baseline, Fewest } from './beat.js';
import { Insertions } from './insertions.js';
import * as kept from './kept.js';
import { inWords } from './look.js';
import { bare, count, make, misread, press } from './make.js';
import { Overnight, Shorter } from './shorter.js';
import { legend, mark, sees, strip, woven } from './strip.js';

const quiet = 350; // milliseconds without a key before what is typed is read
const metrics = ['OBTM', 'STM', 'ETM', 'QTM'];

export class Solution {
  #show; #seek; #model = null; #open = false; #stale = true; #due = null; #reading = null; #stage = ''; #after = 0;
  #shown = null;          // what of this desk is on the stage: {solution, text, before}
  #end = null;            // what the next text that is read ends as, where that is known
  #member = null;
  #back = []; #on = [];   // what was replaced here, and what was taken back: {scramble, solution, end}
  current = null;         // what was read last

  // show puts a sequence on the stage; seek goes to where so many turns of the one that is there are done; watch
  // goes to a search on its desk.
  constructor(box, { show, seek, watch }) {
    this.#show = show;
    this.#seek = seek;
    this.box = box;
    this.shorter = new Shorter(this);
    this.insertions = new Insertions(this, watch);
    this.fewest = new Fewest(this);
    this.baseline = new Baseline(this);
    this.overnight = new Overnight(this, watch);
    this.#lay();
  }

  get puzzle() { return this.#model?.puzzle ?? ''; }
  get metric() { return this.#metric.value; }
  get request() { return { metric: `METRIC_${this.metric}`, scramble: this.scramble.value }; }

  #metric;

  #lay() {
    const area = (name, rows, hint) => Object.assign(make('textarea', name), {
      id: `solution-desk-${name}`, rows, placeholder: hint, spellcheck: false, autocapitalize: 'off', autocomplete: 'off',
    });
    const field = (title, of) => {
      const wrong = make('div', 'wrong');
      wrong.id = `${of.id}-wrong`;
      wrong.setAttribute('role', 'status');
      of.setAttribute('aria-describedby', wrong.id);
      of.oninput = () => { this.#end = null; this.#typed(); };
      const label = Object.assign(make('label', '', title), { htmlFor: of.id });
      const take = press('Take what is on the stage', () => { this.#keep(); of.value = this.#stage; this.#typed(0); }, 'small from');
      take.setAttribute('aria-label', `Take what is on the stage for the ${title.toLowerCase()}`);
      return make('div', 'field', make('p', 'row', label, take), of, wrong);
    };
    this.scramble = area('scramble', 2, 'Paste the scramble');
    this.solution = area('solution', 5, 'Paste the solution: brackets as you thought it, and // comments that name its stages');
    this.#metric = make('select', '');
    this.#metric.append(...metrics.map(m => new Option(m)));
    this.#metric.onchange = () => this.#typed(0);
    this.title = make('h2', '', 'A solution');
    this.back = press('Take it back', () => this.#swap(this.#back, this.#on), 'back');
    this.on = press('Do it again', () => this.#swap(this.#on, this.#back), 'again');
    this.anew = press('Begin anew', () => { this.#keep(); this.#write({ scramble: '', solution: '' }); this.scramble.focus(); }, 'anew');
    this.back.hidden = this.on.hidden = this.anew.hidden = true;
    this.said = make('p', 'said');
    this.said.setAttribute('role', 'status');
    this.went = make('div', 'went');
    this.more = make('div', 'more', this.insertions.box, this.shorter.box, this.fewest.box, this.overnight.box);
    this.more.hidden = this.insertions.box.hidden = true;
    this.box.append(this.title, field('Scramble', this.scramble), field('Solution', this.solution),
      make('p', 'row', make('label', '', 'Moves are counted in ', this.#metric), this.back, this.on, this.anew), this.said, this.went, this.more, this.baseline.box);
    this.#tell(null);
  }

  // fill is told of the puzzle on the stage: solutions are of that.
  fill(model) {
    const other = this.#model?.puzzle !== model.puzzle;
    this.#model = model;
    if (!other) return;
    this.title.textContent = `A solution of ${bare(model.puzzle)}`;
    this.#shown = null;
    this.#tell(null);
    this.baseline.clear();
    this.#typed(0);
  }

  // entered is told who is there: what someone else had written here is not theirs to see, what they
  // wrote themselves before the page was loaded again is.
  entered({ member }) {
    const was = this.#member === null && !this.#written ? kept.get('solution') : null;
    if (this.#member !== null && member !== this.#member) {
      this.#back = [];
      this.#on = [];
      this.baseline.clear();
      this.#write({ scramble: '', solution: '' });
    }
    this.#member = member;
    if (was) this.#write(was);
  }

  // took is told of the text on the stage.
  took(trace, text) {
    this.#stage = text;
    for (const b of this.box.querySelectorAll('.from')) b.disabled = text.trim() === '';
    this.#mark();
  }

  // at is told how many turns are done there.
  at(turns) { this.#after = turns; this.#mark(); }

  opened() {
    this.#open = true;
    if (this.#stale) this.#typed(0);
  }

  closed() { this.#open = false; }

  // study puts a scramble and a solution here, whoever has them. What stood here can be taken back.
  study({ scramble, solution, metric = '' }) {
    if (this.#written) this.#keep();
    this.#write({ scramble, solution, metric });
  }

  // #write puts texts into the fields, whatever stood there.
  #write({ scramble, solution, metric = '', end = null }) {
    this.scramble.value = scramble;
    this.solution.value = solution;
    if (metrics.includes(metric)) this.#metric.value = metric;
    this.#end = end;
    this.#typed(0);
  }

  get #written() { return this.scramble.value.trim() !== '' || this.solution.value.trim() !== ''; }

  get #texts() { return { scramble: this.scramble.value, solution: this.solution.value, end: this.current?.end ?? null }; }

  // #keep keeps what stands here before something else is put in its place.
  #keep() {
    this.#back.push(this.#texts);
    this.#on = [];
  }

  #typed(pause = quiet) {
    clearTimeout(this.#due);
    this.#reading?.abort();
    this.#stale = true;
    this.box.dataset.reading = '';
    this.#buttons();
    kept.keep('solution', this.#written ? { scramble: this.scramble.value, solution: this.solution.value, metric: this.metric } : null);
    if (this.#open && this.#model) this.#due = setTimeout(() => this.#read(), pause);
  }

  #buttons() {
    this.back.hidden = this.#back.length === 0;
    this.on.hidden = this.#on.length === 0;
    this.anew.hidden = !this.#written;
  }

  // #read has the server read what is typed, and tell where the moves went.
  async #read() {
    const own = this.#reading = new AbortController();
    const { signal } = own;
    this.#stale = false;
    const end = this.#end, puzzle = this.puzzle, model = this.#model;
    this.#end = null;
    const asked = { ...this.request, solution: this.solution.value };
    try {
      const scramble = await this.#turns(puzzle, asked.scramble, signal);
      const beginning = JSON.stringify([puzzle, asked.metric, scramble.map(t => t.text)]);
      this.baseline.on({ key: beginning, turns: scramble.length });
      this.#wrong(null);
      if (asked.solution.trim() === '') {
        this.#tell(null);
        return;
      }
      for await (const { analysis } of api.study(puzzle, asked, signal)) {
        if (!analysis) continue;
        const turns = await this.#turns(puzzle, analysis.solution, signal);
        const now = {
          ...asked, puzzle, analysis, solution: analysis.solution, text: asked.solution, before: scramble.length, stages: analysis.stages,
          turns: turns.map(t => t.text), keys: keys(model, turns), length: analysis.lengths[this.metric.toLowerCase()],
          end: analysis.solves ? 'home' : end ?? analysis.solution, beginning,
        };
        const same = this.current?.beginning === beginning && JSON.stringify(this.current.analysis) === JSON.stringify(analysis);
        if (!same) {
          this.#tell(now);
          continue;
        }
        this.said.textContent = '';
        Object.assign(this.current, { text: now.text, scramble: now.scramble }); // only written in another way
      }
    } catch (error) {
      if (error.name === 'AbortError') return;
      this.#wrong(error);
    } finally {
      if (this.#reading === own) delete this.box.dataset.reading;
    }
  }

  async #turns(puzzle, text, signal) { return text.trim() === '' ? [] : (await api.trace(puzzle, text, signal)).turns; }

  // read has a solution of the server's read: its turns, and what they do.
  async read(solution, signal) {
    const turns = await this.#turns(this.puzzle, solution, signal);
    return { solution, turns: turns.map(t => t.text), keys: keys(this.#model, turns) };
  }

  // #wrong says what can't be read at the field that the server names, and marks the place. What is a
  // sequence to the server is the scramble, which is read by itself. What is about neither is said below them.
  #wrong(error) {
    const named = error?.fields?.[0]?.field, field = named === 'sequence' ? 'scramble' : named, fields = ['scramble', 'solution'];
    for (const name of fields) {
      const of = this[name], said = of.parentElement.querySelector('.wrong');
      if (name !== field) {
        of.removeAttribute('aria-invalid');
        said.replaceChildren();
        continue;
      }
      const { line, column } = error.metadata ?? {};
      said.replaceChildren(inWords(error));
      of.setAttribute('aria-invalid', 'true');
      const text = of.value.split('\n')[line - 1];
      if (text !== undefined) said.append(misread(text, Number(column)));
    }
    if (error) this.said.textContent = [fields.includes(field) ? '' : inWords(error), this.current ? 'Below is what could be read last.' : ''].filter(t => t).join(' ');
    this.box.toggleAttribute('data-wrong', error !== null);
  }

  // #tell shows where the moves went, and what else there is to ask about this solution.
  #tell(current) {
    this.current = current;
    this.more.hidden = current === null;
    this.said.textContent = current ? '' : 'Where its moves went stands here as soon as there is a solution. Nothing of it is kept on the server, and it gets into no address.';
    this.insertions.take(current);
    this.shorter.take(current);
    this.fewest.take(current);
    if (!current) {
      this.went.replaceChildren();
      delete this.went.dataset.length;
      return;
    }
    this.overnight.take(current);
    this.insertions.box.hidden = current.analysis.solves;
    this.row = make('div', 'along');
    this.went.replaceChildren(this.#head(), this.row, legend(current.stages), this.#facts());
    this.compare(this.shorter.chosen);
    this.went.dataset.length = current.length;
  }

  #head() {
    const { length, analysis, before } = this.current;
    const left = analysis.types.filter(t => t.left > 0).map(t => count(t.left, t.type, `${t.type}s`)).join(', ');
    return make('div', 'head', make('h3', '', `${count(length, 'move', 'moves')} (${this.metric})`, analysis.solves ? (before ? ', solved' : '') : `, and it leaves ${left}`),
      press(before ? 'See it from the scramble' : 'See it', () => this.see(this.current.solution, 0)));
  }

  // compare shows the solution as a strip, and another one with it, {solution, turns, steps}, or none.
  compare(other) {
    const { turns, stages, solution, analysis } = this.current;
    if (other) {
      this.row.replaceChildren(woven(this.current, other, other.steps, (text, n) => this.see(text, n)),
        make('p', 'key soft', make('s', '', 'struck out'), ' falls away, ', make('b', 'plus', '+'), ' comes in.'));
    } else {
      const row = strip(turns, stages, n => this.see(solution, n));
      [...row.querySelectorAll('button')].forEach((b, i) => sees(b, solution, i + 1));
      for (const m of analysis.merges) {
        for (let n = m.from; n < m.from + this.#run(m); n++) row.children[n - 1].classList.add('merges');
      }
      this.row.replaceChildren(row);
    }
    this.#mark();
  }

  // #run is how many turns a merge takes together, as they are written: 0 where they are not.
  #run({ from, turns }) {
    const all = this.current.turns;
    for (let n = 1; from - 1 + n <= all.length; n++) if (all.slice(from - 1, from - 1 + n).join(' ') === turns) return n;
    return 0;
  }

  #facts() {
    const { analysis, length } = this.current;
    const list = make('dl', 'facts');
    const fact = (name, ...parts) => list.append(make('dt', '', name), make('dd', '', ...parts));
    fact('Its length', metrics.map(m => `${analysis.lengths[m.toLowerCase()]} ${m}`).join(' · '));
    for (const t of analysis.types) {
      if (!t.after && !t.left) continue;
      fact(t.type, t.left ? `${t.left} not home at the end` : `home from turn ${t.after} on, after ${count(t.length, 'move', 'moves')}`);
    }
    if (analysis.merges.length) {
      fact('What merges', ...analysis.merges.map(m => make('span', 'merge', make('code', '', m.turns), m.into ? ' comes to ' : ' comes to nothing',
        m.into ? make('code', '', m.into) : '', `, ${count(m.saves, 'move', 'moves')} less`)), press('Merge', () => this.#merge(), 'small'));
    }
    if (analysis.mergedLength < length || analysis.reorderedLength < length) {
      fact('What is left', `${count(analysis.mergedLength, 'move', 'moves')} once it is merged`,
        analysis.reorderedLength < analysis.mergedLength ? `, ${analysis.reorderedLength} once turns that commute have changed places too` : '');
    }
    return list;
  }

  // #merge writes what merges as what it comes to.
  #merge() {
    const { turns, analysis } = this.current;
    const written = [], steps = [];
    const at = new Map(analysis.merges.filter(m => this.#run(m)).map(m => [m.from, m]));
    for (let n = 1; n <= turns.length;) {
      const m = at.get(n);
      if (!m) {
        written.push(turns[n - 1]);
        steps.push({ n, m: written.length });
        n++;
        continue;
      }
      for (let k = this.#run(m); k > 0; k--) steps.push({ n: n++ });
      if (m.into) steps.push({ m: written.push(m.into) });
    }
    this.take({ turns: written, steps });
  }

  // take puts another solution with the same end in the place of this one. Comments stay before
  // what they name.
  take({ turns, steps }) {
    const { stages, text } = this.current;
    const named = text.includes('//');
    const parts = stages.map(() => []);
    let stage = 0;
    for (const { n, m } of steps) {
      if (n) stage = Math.max(0, stages.findIndex(s => s.from <= n && n <= s.to));
      if (m) parts[stage].push(turns[m - 1]);
    }
    const told = parts.map((part, i) => (named && stages[i].name ? `// ${stages[i].name}\n` : '') + part.join(' ')).filter((_, i) => parts[i].length);
    this.put(told.join(named ? '\n' : ' '));
  }

  // put writes another text into the field, which can be taken back.
  put(text) {
    this.#keep();
    this.solution.value = text;
    this.#end = this.current?.end ?? null;
    this.#typed(0);
  }

  #swap(from, to) {
    const texts = from.pop();
    to.push(this.#texts);
    this.#write(texts);
    if (document.activeElement?.hidden) (this.back.hidden ? this.on : this.back).focus(); // for who goes by keys
  }

  // see shows a solution after so many of its turns, from the scramble.
  see(solution, n, scramble = this.current.scramble, before = this.current.before) {
    const text = scramble.trim() ? `${scramble.trim()}\n${solution}` : solution;
    const there = this.#ours && this.#shown.text === text;
    this.#shown = { solution, text, before };
    if (there) this.#seek(before + n); // and from the side that someone looks at it from
    else this.#show(this.puzzle, text, before + n, true);
  }

  // #ours tells whether what was shown from here last is still on the stage.
  get #ours() { return this.#shown !== null && this.#stage.trim() === this.#shown.text.trim(); }

  #mark() {
    const ours = this.#ours;
    mark(this.box, ours ? this.#shown.solution : null, ours ? this.#after - this.#shown.before : 0);
  }
}
