// The form that asks for a search, on the puzzle that is on the stage. What is simple is in
// sight; the rest is folded away. The server says what a search takes, and what is wrong
// with what was asked: that is shown at the field that it is about.

import * as api from './api.js';
import * as kept from './kept.js';
import { bare, count, local, make, press, span } from './make.js';

const metrics = ['STM', 'OBTM', 'ETM', 'QTM'];
const kinds = [
  ['goal', 'cycles, the shortest of all sequences up to a length'],
  ['structure', 'cycles that commutators of short parts make, further than all can be tried'],
  ['position', 'the shortest solutions of one position'],
  ['study', 'a solution made shorter'],
];

const input = (type, name, more = {}) => Object.assign(make('input'), { type, name, ...more });
const number = (name, value, min, max) => input('number', name, { value, min, max, step: 1 });
const text = (name, placeholder = '') => Object.assign(input('text', name, { placeholder }), { spellcheck: false, autocomplete: 'off', autocapitalize: 'off' });
const lines = name => Object.assign(make('textarea'), { name, rows: 2, spellcheck: false, autocomplete: 'off' });
const check = (name, value, says) => make('label', 'check', input('checkbox', name, { value }), ` ${says}`);
const whole = e => Math.trunc(Number(e.value)) || 0;

let wrongs = 0;

// field is a labelled input. of is what the API calls it; only are the kinds of search that
// have it.
function field(says, e, of, only = '', after = '') {
  const wrong = make('span', 'wrong');
  wrong.id = `ask-wrong-${++wrongs}`;
  e.dataset.of = of;
  e.setAttribute('aria-describedby', wrong.id);
  const box = make('div', 'field', make('label', '', `${says} `, e, after), wrong);
  if (e.tagName === 'TEXTAREA') box.classList.add('wide');
  box.dataset.only = only;
  return box;
}

// group is some checks under a heading.
function group(says, of, only, box) {
  const wrong = make('span', 'wrong');
  const set = make('fieldset', '', make('legend', '', says), box, wrong);
  set.dataset.of = of;
  set.dataset.only = only;
  return set;
}

const fold = (says, only, ...parts) => {
  const box = make('details', '', make('summary', '', says), make('div', 'fields', ...parts));
  box.dataset.only = only;
  return box;
};

export class Ask {
  #form; #model = null; #staged = ''; #out; #takes; #others; #axes; #name = api.once(); #member = null; #blank;

  // asked is called with the id of a search that was taken.
  constructor(form, asked) {
    this.#form = form;
    this.asked = asked;
    this.#out = make('output', '');
    this.#takes = make('div', 'takes');
    this.#others = make('div', 'checks');
    this.#others.id = 'others';
    this.#axes = make('div', 'checks');
    const cycle = Object.assign(make('select'), { id: 'cycle', name: 'cycle' });
    cycle.onchange = () => this.#types();
    const metric = make('select', '', ...metrics.map(m => new Option(m)));
    metric.name = 'metric';
    const core = make('select', '', new Option('as usual', 'CORE_UNSPECIFIED'), new Option('count only where the core stays', 'CORE_KEPT'), new Option('count also where it is turned', 'CORE_FREE'));
    core.name = 'core';
    const shapes = make('datalist', '', ...['3', '2+2', '5', '1~+1~', '<=4'].map(s => new Option(s)));
    shapes.id = 'shapes';
    const shape = Object.assign(text('shape'), { value: '3' });
    shape.setAttribute('list', 'shapes');
    const stop = input('datetime-local', 'stop');
    const choice = make('fieldset', 'kinds', make('legend', '', 'Look for'), ...kinds.map(([value, says]) => {
      const one = input('radio', 'kind', { value, checked: value === 'goal' });
      one.onchange = () => this.#kind();
      return make('label', 'check', one, ` ${says}`);
    }));
    form.replaceChildren(
      choice,
      make('div', 'fields',
        field('Pieces', cycle, 'search.goal.cycle', 'goal structure'),
        this.#stagedField('The position after', 'scramble', 'search.position.scramble', 'position'),
        this.#stagedField('Scramble; where it is empty, what the solution undoes', 'before-solution', 'search.study.scramble', 'study'),
        this.#stagedField('Solution', 'solution', 'search.study.solution', 'study'),
        field('up to length', number('most', 8, 1, 40), 'search.max_length', 'goal position'),
        field('counted in', metric, 'search.metric'),
        only('structure', make('p', 'soft', 'Commutators [X, Y] are tried, and [[X, Y], Z] where Z has a length; what they give is tried with setups S too, [S: …]. It reaches far, and proves nothing.')),
        field('X up to', number('first', 3, 1, 12), 'search.structure.first_length', 'structure'),
        field('Y up to', number('second', 1, 1, 12), 'search.structure.second_length', 'structure'),
        field('Z up to', number('third', 0, 0, 12), 'search.structure.third_length', 'structure'),
        field('setups up to', number('setup', 1, 0, 12), 'search.structure.setup_length', 'structure', ' turns'),
        field('for', input('number', 'hours', { value: 1, min: 0.001, max: 72, step: 'any' }), 'search.study.shorten_time', 'study', ' hours of a core')),
      group('These may be broken; all others stay', 'search.goal.ignore search.position.ignore', 'goal structure position', this.#others),
      fold('More of what is wanted', 'goal structure position study',
        field('Shape: lengths of cycles, ~ for a twist', shape, 'search.goal.shape', 'goal structure'), shapes,
        field('Pins, such as FROM=TO', text('pins'), 'search.goal.pins search.position.pins', 'goal position'),
        field('Sequences for each class', number('each', 1, 1, 20), 'search.sequences_per_class', 'goal'),
        field('at most longer than the best by', number('slack', 0, 0, 10), 'search.slack', 'goal'),
        field('Solutions', number('solutions', 1, 1, 20), 'search.sequences_per_class', 'position'),
        only('position', check('all', '1', 'all of the shortest')),
        only('position', check('colour', '1', 'what looks alike may take one another’s places')),
        field('Findings up to length (empty: what the parts allow)', number('longest', '', 1, 40), 'search.max_length', 'structure'),
        field('Goes after these moves', text('before'), 'search.before', 'goal structure'),
        field('and before these', text('after'), 'search.after', 'goal structure'),
        field('Where nothing marks the core, sequences', core, 'search.goal.core', 'goal'),
        group('Turn only about these axes; all, if none', 'search.goal.axes', 'goal structure', this.#axes),
        field('Seed: another takes other ways', number('seed', 0, 0), 'search.study.seed', 'study')),
      fold('When, how much, and under which name', '',
        field('Name', text('id', 'the server makes one up'), 'search_id'),
        field('Priority', number('priority', 0, -10, 10), 'search.priority'),
        field('Stop at', stop, 'search.stop_time', '', press('7 in the morning', () => { stop.value = local(morning()); this.#keep(); })),
        field('Stop after', input('number', 'budget', { min: 0, step: 'any' }), 'search.core_budget', '', ' hours of cores'),
        field('Memory', input('number', 'memory', { min: 0, step: 1 }), 'search.memory_bytes', '', ' MiB')),
      make('div', 'row', button('estimate', 'What would it take?'), button('submit', 'Ask', 'main'), press('Begin anew', () => { this.#anew(); this.#form.elements.kind[0].focus(); }, 'anew')),
      this.#out, this.#takes);
    this.#out.setAttribute('role', 'status');
    form.noValidate = true; // the server says what it does not take, and why
    form.onsubmit = event => {
      event.preventDefault();
      this.#send(event.submitter?.value === 'estimate');
    };
    form.addEventListener('input', event => { this.#right(event.target); this.#keep(); });
    this.#blank = kept.said(form);
    this.#kind();
  }

  // entered is told who is there: what someone else had written is not theirs to see, what they wrote
  // themselves before the page was loaded again is.
  entered({ member }) {
    if (this.#member === null) this.#again(kept.get('ask'));
    else if (member !== this.#member) this.#anew();
    this.#member = member;
  }

  // #again puts there again what was kept. Which types can be broken follows from the rest.
  #again(was) {
    if (!was) return;
    kept.write(this.#form, was);
    this.#kind();
    kept.write(this.#form, was);
    this.#form.closest('details').open = true;
  }

  #keep() { kept.keep('ask', kept.said(this.#form)); }

  // #anew has the form as it was at first, and keeps nothing.
  #anew() {
    for (const e of this.#form.querySelectorAll('[aria-invalid]')) this.#right(e);
    kept.write(this.#form, this.#blank);
    if (this.#model) this.#form.elements.cycle.value = this.#most;
    this.#kind();
    this.#say('');
    kept.keep('ask', null);
  }

  // fill offers the types and axes of a puzzle; what was typed stays.
  fill(model) {
    const same = this.#model?.puzzle === model.puzzle;
    this.#model = model;
    if (same) return;
    const cycle = this.#form.elements.cycle, was = cycle.value;
    cycle.replaceChildren(...model.pieceTypes.map(t => new Option(t, t)));
    cycle.value = model.pieceTypes.includes(was) ? was : this.#most;
    this.#axes.replaceChildren(...model.axes.map(a => check('axis', a.name, a.name)));
    this.#types();
    this.#say('');
  }

  // #most is the type that is meant at first: that which the puzzle has most pieces of.
  get #most() {
    const { pieceTypes, pieces } = this.#model;
    const counts = pieceTypes.map((_, t) => pieces.filter(type => type === t).length);
    return pieceTypes[counts.indexOf(Math.max(...counts))];
  }

  // took tells which sequence is on the stage.
  took(trace, staged) { this.#staged = staged; }

  get #chosen() { return this.#form.elements.kind.value; }

  // #stagedField is for turns, which may be those that are on the stage.
  #stagedField(says, name, of, only) {
    const area = lines(name);
    const box = field(says, area, of, only);
    box.querySelector('label').after(press('Take the sequence that is on the stage', () => {
      area.value = this.#staged;
      this.#right(area);
      this.#keep();
    }));
    return box;
  }

  // #kind shows the fields that the chosen kind of search has.
  #kind() {
    const kind = this.#chosen;
    for (const e of this.#form.querySelectorAll('[data-only]')) e.hidden = e.dataset.only !== '' && !e.dataset.only.split(' ').includes(kind);
    if (this.#model) this.#types();
  }

  // #types lists the types that are not cycled: each is kept, or may be broken.
  #types() {
    const cycle = this.#chosen === 'position' ? '' : this.#form.elements.cycle.value;
    const broken = this.#names('ignore');
    this.#others.replaceChildren(...this.#model.pieceTypes.filter(t => t !== cycle).map(t => check('ignore', t, t)));
    for (const b of this.#others.querySelectorAll('input')) b.checked = broken.includes(b.value);
    this.#others.parentElement.querySelector('legend').textContent = this.#chosen === 'position'
      ? 'These may be anywhere in the end; all others come home' : 'These may be broken; all others stay';
  }

  #names(name) { return [...this.#form.querySelectorAll(`[name="${name}"]:checked`)].map(b => b.value); }

  // #search is what the form says, as the API has it.
  #search() {
    const f = this.#form.elements, { puzzle } = this.#model, kind = this.#chosen;
    const search = { metric: `METRIC_${f.metric.value}`, priority: whole(f.priority) };
    if (f.stop.value) search.stopTime = new Date(f.stop.value).toISOString();
    if (Number(f.budget.value)) search.coreBudget = seconds(f.budget);
    if (f.memory.value) search.memoryBytes = String(whole(f.memory) * 2 ** 20);
    const pins = f.pins.value.split(/[\s,]+/).filter(p => p).map(p => p.split('='));
    if (kind === 'study') {
      search.study = { puzzle, scramble: f['before-solution'].value, solution: f.solution.value, shortenTime: seconds(f.hours), seed: String(whole(f.seed)) };
      return search;
    }
    if (kind === 'position') {
      const all = this.#names('all').length > 0;
      return {
        ...search, maxLength: whole(f.most), ...(all ? {} : { sequencesPerClass: whole(f.solutions) }),
        position: {
          puzzle, scramble: f.scramble.value, ignore: this.#names('ignore'), all, byColour: this.#names('colour').length > 0,
          pins: pins.map(([piece, at]) => ({ piece, at: at ?? '' })),
        },
      };
    }
    search.goal = { puzzle, cycle: f.cycle.value, shape: f.shape.value.trim(), ignore: this.#names('ignore'), axes: this.#names('axis') };
    if (f.before.value.trim()) search.before = f.before.value;
    if (f.after.value.trim()) search.after = f.after.value;
    if (kind === 'structure') {
      search.maxLength = whole(f.longest);
      search.structure = { firstLength: whole(f.first), secondLength: whole(f.second), thirdLength: whole(f.third), setupLength: whole(f.setup) };
      return search;
    }
    search.goal.core = f.core.value;
    search.goal.pins = pins.map(([from, to]) => ({ from, to: to ?? '' }));
    return { ...search, maxLength: whole(f.most), sequencesPerClass: whole(f.each), slack: whole(f.slack) };
  }

  async #send(estimate) {
    const held = document.activeElement;
    this.#form.inert = true; // one at a time
    this.#say('');
    for (const e of this.#form.querySelectorAll('[aria-invalid]')) this.#right(e);
    let first = null; // what is wrong
    try {
      const search = this.#search(), id = this.#form.elements.id.value.trim();
      // What is sent again because no answer came is taken once.
      const { search: taken, estimate: takes } = await api.ask(search, estimate, id, estimate ? '' : this.#name(search, id));
      if (estimate) this.#tell(search, takes);
      else {
        this.#name = api.once();
        kept.keep('ask', null);
        this.#say(`${bare(taken.name)} was taken.`);
        this.asked(bare(taken.name));
      }
    } catch (error) {
      first = this.#wrong(error);
    } finally {
      this.#form.inert = false;
      if (first) first.focus();
      else if (this.#form.contains(held)) held.focus({ preventScroll: true });
    }
  }

  // #wrong says what is wrong where it is, and gives the first such field.
  #wrong(error) {
    const rest = [];
    let first = null;
    if (error.reason === 'SEARCH_EXISTS') error.fields = [{ field: 'search_id', description: error.message }];
    for (const { field: of, description } of error.fields ?? []) {
      // Of a goal as a whole the server says first what it is about: "shape …", "axis …".
      const e = this.#at(of) ?? this.#at(`${of}.${description.split(' ')[0]}`);
      if (!e) { rest.push(description); continue; }
      const box = e.closest('.field, fieldset');
      box.querySelector(':scope > .wrong').textContent = description;
      const input = e.matches('fieldset') ? e.querySelector('input') : e;
      input?.setAttribute('aria-invalid', 'true');
      for (let d = e.closest('details'); d && d.closest('form') === this.#form; d = d.parentElement.closest('details')) d.open = true;
      first ??= input;
    }
    this.#say(first ? ['It was not taken: see the field that is marked.', ...rest].join(' ') : error.fields?.length ? rest.join(' ') : error.message, true);
    return first;
  }

  // #at is the field that the API calls so, or of which that is a part.
  #at(name) {
    return [...this.#form.querySelectorAll('[data-of]')].find(e => !e.closest('[hidden]') && e.dataset.of.split(' ').some(of => name === of || name.startsWith(`${of}.`) || name.startsWith(`${of}[`)));
  }

  // #right takes back what was said of a field.
  #right(e) {
    if (!e.hasAttribute('aria-invalid')) return;
    e.removeAttribute('aria-invalid');
    e.closest('.field, fieldset').querySelector(':scope > .wrong').textContent = '';
  }

  // #tell says what a search takes.
  #tell(search, takes) {
    const said = [];
    said.push(search.position ? 'How long it takes can’t be known beforehand.' : search.study ? `Time: about ${roughly(parseFloat(search.study.shortenTime))} of one core.`
      : takes.duration ? `Time: about ${roughly(parseFloat(takes.duration))} by itself.` : 'Time: not known yet.');
    if (search.structure) said.push(`Pairs of parts: ${large(takes.pairs)}.`);
    said.push(`Units of work: ${large(takes.units)}.`);
    said.push(`Tables: ${Number(takes.tableBytes) < 2 ** 20 ? 'less than 1 MiB' : `${large(Math.round(Number(takes.tableBytes) / 2 ** 20))} MiB`}.`);
    this.#say(said.join(' '));
    if (!search.goal || takes.lengths.length === 0) return;
    const row = (tag, ...cells) => make('tr', '', ...cells.map(c => make(tag, '', String(c))));
    this.#takes.append(make('details', '', make('summary', '', 'Length by length'),
      make('table', '', make('thead', '', row('th', 'Length', 'Sequences', 'Words to walk', 'Units')),
        make('tbody', '', ...takes.lengths.map(l => row('td', l.length, large(l.words), large(l.leaves), large(l.units)))))));
  }

  #say(words, wrong = false) {
    this.#out.textContent = words;
    this.#out.classList.toggle('wrong', wrong);
    this.#takes.replaceChildren();
  }
}

function only(kind, e) {
  e.dataset.only = kind;
  return e;
}

function button(value, says, className = '') {
  const b = make('button', className, says);
  b.value = value;
  return b;
}

const seconds = hours => `${Math.round(Number(hours.value) * 3600)}s`;
const large = n => BigInt(n).toLocaleString('en');

// morning is the next time that it is seven.
function morning() {
  const t = new Date();
  if (t.getHours() >= 7) t.setDate(t.getDate() + 1);
  t.setHours(7, 0, 0, 0);
  return t;
}

// roughly is a time that nobody knows exactly.
function roughly(s) {
  if (s < 2) return 'a second';
  if (s < 120) return `${Math.round(s)} seconds`;
  if (s < 7200) return `${Math.round(s / 60)} minutes`;
  if (s < 172_800) return count(Math.round(s / 3600), 'hour', 'hours');
  return span(s * 1000);
}
