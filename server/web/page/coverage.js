// Coverage as a picture: every class of 3-cycles of one type of piece is a cell. Cells are in
// the order of the shortest sequence that is known, and each says whether it is proven that
// none is shorter.
//
// What is known is asked for anew whenever the desk is opened or the question changes, and now
// and then while a search for it has not ended: it gets better with every finding.

import * as api from './api.js';
import { bare, make, metric as metricOf, press, put, say } from './make.js';

const most = 20_000; // classes that are fetched
const shown = 600;   // cells of one length at first, and more each time
const wait = 5000;   // milliseconds between looks while a search has not ended
const tones = 6;     // steps of the scale from the shortest to the longest; coverage.css has them

const metrics = ['STM', 'OBTM', 'ETM', 'QTM'];
const some = n => Number(n).toLocaleString('en');
const many = (n, one, more) => `${some(n)} ${Number(n) === 1 ? one : more}`;

// The kinds of classes, by what is proven of their sequences.
const kinds = { proven: 'proven shortest', most: 'known, perhaps not the shortest', missing: 'no sequence yet' };
const kind = row => (!row.sequence ? 'missing' : row.proven ? 'proven' : 'most');

// written is what a cell says: the length, or what is known of it.
function written(row) {
  const is = kind(row);
  if (is === 'missing') return row.leastLength > 1 ? `>${row.leastLength - 1}` : '?';
  return is === 'proven' ? `${row.length}` : `≤${row.length}`;
}

// sameGoal tells whether a search is one that a coverage takes its sequences from.
function sameGoal(search, goal) {
  const g = search.goal;
  return g && (g.shape || '3') === '3' && !g.pins.length && !g.axes.length
    && key(g, search.metric) === key(goal, goal.metric);
}
const key = (g, metric) => JSON.stringify([g.puzzle, g.cycle, [...g.ignore].sort(), metric]);

export class Coverage {
  #box; #form; #said; #sum; #chart; #key; #field; #one; #goals; #coreLabel;
  #model = null; #open = false; #asked = false; #own = null; #due = null; #searches = []; #findings = new Map();
  #coverage = null; #rows = []; #whole = true; #rooms = new Map(); #chosen = 0; #beginning = null; #offered = ''; #told = '';
  #drawn = new Map(); // cells, groups and rows, which stay while what they say changes: someone may be about to press one

  // show is called with a puzzle and a sequence that someone wants to see.
  constructor(box, show) {
    this.#box = box;
    this.show = show;
    this.#said = make('p', 'covered-said');
    this.#said.setAttribute('role', 'status');
    this.#sum = make('div', 'covered-sum');
    this.#chart = make('table', 'covered-lengths');
    this.#key = make('p', 'covered-legend');
    this.#one = make('div', 'covered-one');
    this.#one.setAttribute('aria-live', 'polite');
    this.#field = make('div', 'covered-field');
    this.#field.onkeydown = event => this.#keys(event);
    box.append(
      make('h2', '', 'Coverage'), make('p', 'soft', 'All 3-cycles that the puzzle’s symmetries, or doing them backwards, carry into one another are one class, '
        + 'and one sequence serves them all.'),
      this.#ask(), this.#said, this.#sum, this.#chart, this.#key, this.#field, this.#one);
    this.#clear();
  }

  // fill takes the puzzle that is on the stage.
  fill(model) {
    if (this.#model?.puzzle === model.puzzle) return;
    this.#model = model;
    this.#own?.abort();
    this.#clear();
    this.#say('');
    this.#asked = false;
    const { cycle } = this.#form.elements;
    cycle.replaceChildren(...model.pieceTypes.map(t => new Option(t, t)));
    this.#ignorable();
    if (this.#open) this.#begin();
  }

  // view is what someone asked for, for an address; empty where nobody has.
  get view() {
    if (!this.#asked || !this.#model) return '';
    const { cycle, metric, ignore } = this.#goal();
    return new URLSearchParams([['cycle', cycle], ['metric', metricOf(metric)], ...ignore.map(t => ['ignore', t])]).toString();
  }

  // look asks for what an address says.
  look(view) {
    const said = new URLSearchParams(view);
    const { cycle, metric } = this.#form.elements;
    const has = (list, value) => [...list.options].some(o => o.value === value);
    const counted = `METRIC_${said.get('metric')}`;
    if (view === this.view || !has(cycle, said.get('cycle')) || !has(metric, counted)) return;
    this.#put({ cycle: said.get('cycle'), ignore: said.getAll('ignore') }, counted);
    this.#look();
  }

  // entered hears that somebody is there, who may know of more.
  entered() {
    if (this.#open && this.#model) this.#begin();
  }

  opened() {
    this.#open = true;
    if (this.#model) this.#begin();
  }

  closed() {
    this.#open = false;
    this.#own?.abort();
    clearTimeout(this.#due);
  }

  #say(text, wrong = false) {
    this.#said.textContent = text;
    this.#said.classList.toggle('wrong', wrong);
  }

  // #ask is the form that says which cycles are meant.
  #ask() {
    const select = (name, options) => {
      const s = make('select', '', ...options);
      s.name = name;
      return s;
    };
    const cycle = select('cycle', []);
    cycle.onchange = () => this.#ignorable();
    const metric = select('metric', metrics.map(m => new Option(m, `METRIC_${m}`)));
    const core = select('core', [new Option('as searches do by themselves', 'CORE_UNSPECIFIED'), new Option('no', 'CORE_KEPT'), new Option('yes', 'CORE_FREE')]);
    this.#coreLabel = make('label', '', 'Proofs also speak of sequences that turn everything against the unmarked core ', core);
    this.#coreLabel.hidden = true;
    const others = make('fieldset', 'covered-others', make('legend', '', 'May be broken'));
    others.onchange = () => this.#sumUp();
    const more = make('details', 'covered-more', make('summary'), others, this.#coreLabel);
    this.#goals = make('p', 'row covered-goals');
    this.#form = make('form', 'covered-ask', this.#goals, make('label', '', '3-cycles of ', cycle), make('label', '', 'counted in ', metric),
      press('Look again', () => this.#begin()), more);
    this.#form.onchange = () => { this.#asked = true; this.#look(); };
    this.#form.onsubmit = event => event.preventDefault();
    return this.#form;
  }

  // #ignorable lists the types that are not cycled.
  #ignorable(chosen = []) {
    const cycle = this.#form.elements.cycle.value;
    const rest = this.#model.pieceTypes.filter(t => t !== cycle);
    const box = this.#form.querySelector('.covered-others');
    box.hidden = !rest.length;
    box.replaceChildren(box.querySelector('legend'), ...rest.map(t => {
      const input = Object.assign(document.createElement('input'), { type: 'checkbox', name: 'ignore', value: t, checked: chosen.includes(t) });
      return make('label', '', input, ` ${t}`);
    }));
    this.#sumUp();
  }

  // #sumUp says in the closed list what may be broken.
  #sumUp() {
    const { ignore } = this.#goal();
    this.#form.querySelector('summary').textContent = ignore.length ? `Pieces of type ${ignore.join(' and ')} may be broken; all others stay` : 'All other pieces stay';
  }

  #goal() {
    const { cycle, metric, core } = this.#form.elements;
    return {
      puzzle: this.#model.puzzle, cycle: cycle.value, metric: metric.value, core: this.#coreLabel.hidden ? 'CORE_UNSPECIFIED' : core.value,
      ignore: [...this.#form.querySelectorAll('[name="ignore"]:checked')].map(b => b.value),
    };
  }

  // #put sets the form to a goal.
  #put({ cycle, ignore }, metric) {
    this.#asked = true;
    this.#form.elements.cycle.value = cycle;
    this.#form.elements.metric.value = metric;
    this.#ignorable(ignore);
  }

  // #begin offers what has been searched for on this puzzle. Who has not asked for anything yet
  // begins with the latest of it. again is that nobody asked: it is done quietly.
  async #begin(again = false) {
    clearTimeout(this.#due);
    const { puzzle } = this.#model, own = this.#beginning = {};
    try {
      const all = await api.searches();
      if (!this.#open || this.#model.puzzle !== puzzle || this.#beginning !== own) return;
      this.#searches = all;
      const goals = new Map();
      for (const s of all) {
        if (s.goal?.puzzle === puzzle && sameGoal(s, { ...s.goal, metric: s.metric })) goals.set(key(s.goal, s.metric), s);
      }
      if (!again) this.#offer(goals);
      if (!this.#asked && goals.size) {
        const [first] = goals.values();
        this.#put(first.goal, first.metric);
      }
    } catch (error) {
      if (this.#beginning !== own) return;
      this.#say(error.message, true);
      if (again && !error.wantsToken) this.#later();
      return;
    }
    await this.#look(again);
  }

  #offer(goals) {
    const offered = JSON.stringify([...goals.keys()]);
    if (this.#offered === offered) return;
    this.#offered = offered;
    this.#goals.hidden = !goals.size;
    this.#goals.replaceChildren('Searched for: ', ...[...goals].map(([id, s]) => {
      const b = press(`${s.goal.cycle}, ${metricOf(s.metric)}${s.goal.ignore.length ? `, ${s.goal.ignore.join(' and ')} may break` : ''}`,
        () => { this.#put(s.goal, s.metric); this.#look(); });
      b.dataset.goal = id;
      return b;
    }));
  }

  // #look asks what is known, and draws it. Until the answer is there the picture before stays, and
  // where nothing has changed for good.
  async #look(again = false) {
    if (!this.#open || !this.#model) return;
    clearTimeout(this.#due);
    this.#own?.abort();
    const own = this.#own = new AbortController();
    const goal = this.#goal();
    if (this.#asked) this.onview?.();
    for (const b of this.#goals.querySelectorAll('button')) b.setAttribute('aria-pressed', b.dataset.goal === key(goal, goal.metric));
    if (!again) {
      this.#say('Looks what is known …');
      this.#box.dataset.looking = '';
    }
    try {
      const coverage = await api.coverage(goal, own.signal);
      if (!again || JSON.stringify(coverage) !== JSON.stringify(this.#coverage)) {
        const { rows, whole } = await api.coverageRows(goal, most, own.signal);
        if (this.#own !== own) return;
        const same = this.#coverage && JSON.stringify(coverage.goal) === JSON.stringify(this.#coverage.goal);
        if (!same) { this.#chosen = 0; this.#rooms.clear(); this.#drawn.clear(); }
        this.#coverage = coverage;
        this.#rows = rows;
        this.#whole = whole;
        this.#findings.clear();
        this.#coreLabel.hidden = coverage.goal.core === 'CORE_UNSPECIFIED';
        this.#lay();
      }
      this.#say('');
      if (this.#searches.some(s => !api.ended(s) && sameGoal(s, goal))) this.#later(); // not before: what takes longer would never come
    } catch (error) {
      if (error.name === 'AbortError' || this.#own !== own) return;
      this.#say(error.message, true);
      if (!again || error.wantsToken) this.#clear();
      else this.#later();
    } finally {
      if (this.#own === own) delete this.#box.dataset.looking;
    }
  }

  #later() {
    clearTimeout(this.#due);
    if (this.#open) this.#due = setTimeout(() => this.#begin(true), wait);
  }

  // #clear takes the picture away.
  #clear() {
    this.#coverage = null;
    this.#rows = [];
    this.#chosen = 0;
    this.#rooms.clear();
    this.#drawn.clear();
    this.#told = '';
    delete this.#box.dataset.looking;
    delete this.#box.dataset.classes;
    for (const e of [this.#sum, this.#chart, this.#key, this.#one, this.#field]) e.replaceChildren();
    this.#one.hidden = true;
  }

  get #unit() { return metricOf(this.#coverage.goal.metric); }

  // #lay draws all of it.
  #lay() {
    const c = this.#coverage;
    const proof = c.provenLength ? `Every sequence of length up to ${c.provenLength} ${this.#unit} was covered.` : 'No length is proven yet.';
    const rests = c.searches ? `From ${many(c.sequences, 'sequence', 'sequences')} of ${many(c.searches, 'search', 'searches')}.`
      : 'Nobody has searched for this yet: ask for it under Searches.';
    const mean = c.longest ? ` Longest: ${c.longest}, mean: ${c.meanPerClass.toFixed(2)} ${this.#unit}.` : '';
    this.#sum.replaceChildren(
      make('p', '', make('b', '', `${some(c.classes)} classes (${some(c.cycles)} cycles): `),
        `${some(c.proven)} proven shortest, ${some(c.classes - c.missing - c.proven)} known but not proven, ${some(c.missing)} without a sequence.`),
      make('p', '', `${proof} ${rests}${mean}`),
      ...(c.goal.core === 'CORE_KEPT' ? [make('p', 'soft', 'Nothing marks this puzzle’s core: sequences that also turn everything against it don’t count here.')] : []));
    this.#lengths();
    this.#legend();
    this.#cells();
    this.#tell();
    this.#box.dataset.classes = c.classes;
  }

  // #lengths is how many classes there are of each length.
  #lengths() {
    const top = Math.max(...this.#coverage.lengths.map(l => l.classes));
    if (!this.#chart.tBodies.length) {
      const head = make('tr', '', ...['Length', 'Classes', 'Proven', 'Cycles'].map(text => Object.assign(make('th', '', text), { scope: 'col' })));
      head.firstChild.after(Object.assign(make('td'), { ariaHidden: 'true' })); // over the bars
      this.#chart.replaceChildren(make('caption', 'unseen', 'Classes by the length of their sequences'), make('thead', '', head), make('tbody'));
    }
    put(this.#chart.tBodies[0], inOrder(this.#coverage.lengths).map(l => {
      const row = this.#kept(`row ${l.length}`, () => this.#row(l.length)), [, bar, ...numbers] = row.cells;
      const part = (n, className) => {
        if (!n) return [];
        const p = make('span', className);
        p.style.width = `${(100 * n) / top}%`;
        return [p];
      };
      bar.firstChild.replaceChildren(...part(l.proven, 'proven'), ...part(l.classes - l.proven, l.length ? 'most' : 'missing'));
      [l.classes, l.length ? l.proven : '–', l.cycles].forEach((n, i) => say(numbers[i], n === '–' ? n : some(n)));
      row.dataset.classes = l.classes;
      row.dataset.proven = l.proven;
      return row;
    }));
  }

  // #row is the row of a length, still without numbers.
  #row(length) {
    const name = make('th', '', press(length ? String(length) : 'none', () => this.#goTo(length)));
    name.scope = 'row';
    name.firstChild.setAttribute('aria-label', length ? `${length}: go to these classes` : 'none: go to classes without a sequence');
    const bar = make('td', '', make('div', 'bar'));
    bar.ariaHidden = 'true'; // the numbers beside it say the same
    const row = make('tr', '', name, bar, make('td', 'n'), make('td', 'n'), make('td', 'n'));
    row.dataset.length = length;
    return row;
  }

  // #kept is a part of the picture that is made once.
  #kept(name, made) {
    if (!this.#drawn.has(name)) this.#drawn.set(name, made());
    return this.#drawn.get(name);
  }

  // #legend says what the cells mean, by those that there are.
  #legend() {
    const samples = Object.keys(kinds).flatMap(is => {
      const row = this.#rows.find(r => kind(r) === is);
      if (!row) return [];
      const text = written(row);
      const cell = make('span', `cell ${is}`, text);
      cell.dataset.tone = is === 'missing' ? '' : '2';
      cell.ariaHidden = 'true';
      const means = {
        proven: `proven: nothing shorter than ${row.length} exists`,
        most: `known with ${row.length}, perhaps not the shortest`,
        missing: text === '?' ? 'nothing is known' : `none known, and none up to ${row.leastLength - 1} exists`,
      }[is];
      return [make('span', '', cell, ` ${means}`)];
    });
    this.#key.replaceChildren(...samples, make('span', 'soft', 'The stronger the tone, the shorter. Arrow keys go from cell to cell.'));
  }

  // #cells lays the classes out by length. Of one length that has very many the first are shown.
  #cells() {
    const groups = new Map();
    for (const row of this.#rows) {
      if (!groups.has(row.length)) groups.set(row.length, []);
      groups.get(row.length).push(row);
    }
    const lengths = [...groups.keys()].filter(l => l);
    const low = Math.min(...lengths), high = Math.max(...lengths);
    const focused = this.#field.querySelector(':focus')?.dataset.class;
    const parts = inOrder([...groups].map(([length, rows]) => ({ length, rows }))).map(({ length, rows }) => {
      // Proven ones first, then by what is left to hope for.
      const order = { proven: 0, most: 1, missing: 2 };
      rows.sort((a, b) => order[kind(a)] - order[kind(b)] || a.leastLength - b.leastLength || a.class - b.class);
      const room = this.#rooms.get(length) ?? shown;
      const tone = length ? Math.floor(((length - low) / (high - low + 1)) * tones) : '';
      const group = this.#kept(`group ${length}`, () => this.#group(length)), [title, cells, more] = group.children;
      title.replaceChildren(length ? `${length} ${this.#unit}` : 'No sequence yet', make('span', 'soft', ` ${told(rows)}`));
      put(cells, rows.slice(0, room).map(row => this.#cell(row, tone)));
      more.hidden = rows.length <= room;
      say(more, `Show more (${some(rows.length - room)} of this length are not shown)`);
      return group;
    });
    if (!this.#whole) {
      parts.push(make('p', '', `These are the first ${some(this.#rows.length)} of ${some(this.#coverage.classes)} classes, by number: "turnwright coverage --csv" lists all. `
        + 'The table of lengths counts all of them.'));
    }
    put(this.#field, parts);
    this.#rove(this.#field.querySelector(`[data-class="${this.#chosen}"]`) ?? this.#field.querySelector('.cell[tabindex="0"]') ?? this.#field.querySelector('.cell'));
    if (focused) this.#field.querySelector(`[data-class="${focused}"]`)?.focus({ preventScroll: true });
  }

  // #group is for the classes of a length, still without them.
  #group(length) {
    const title = make('h3', ''), more = press('', () => {
      const room = this.#rooms.get(length) ?? shown;
      this.#rooms.set(length, room + shown);
      this.#cells();
      this.#goTo(length, room);
    });
    title.id = `covered-${length}`;
    const group = make('section', 'covered-group', title, make('div', 'cells'), more);
    group.setAttribute('role', 'group');
    group.setAttribute('aria-labelledby', title.id);
    group.dataset.length = length;
    return group;
  }

  #cell(row, tone) {
    const is = kind(row), text = written(row);
    const b = this.#kept(`cell ${row.class}`, () => Object.assign(press('', () => this.#choose(row.class)), { tabIndex: -1 }));
    say(b, text);
    b.className = `cell ${is}`;
    b.dataset.class = row.class;
    b.dataset.tone = tone;
    b.setAttribute('aria-label', `${text}, class ${row.class}, ${kinds[is]}`);
    return b;
  }

  // #rove has one cell in the order of the Tab key; arrows go to the others.
  #rove(cell) {
    for (const b of this.#field.querySelectorAll('.cell[tabindex="0"]')) b.setAttribute('tabindex', '-1');
    cell?.setAttribute('tabindex', '0');
  }

  #goTo(length, nth = 0) {
    const cell = this.#field.querySelectorAll(`[data-length="${length}"] .cell`)[nth];
    if (!cell) return;
    this.#rove(cell);
    cell.focus({ preventScroll: true });
    cell.closest('.covered-group').scrollIntoView({ block: nth ? 'end' : 'start' });
  }

  #keys(event) {
    if (event.ctrlKey || event.metaKey || event.altKey || !event.target.matches('.cell')) return;
    const cells = [...this.#field.querySelectorAll('.cell')];
    const at = cells.indexOf(event.target);
    const go = {
      ArrowRight: () => cells[at + 1], ArrowLeft: () => cells[at - 1], Home: () => cells[0], End: () => cells.at(-1),
      ArrowDown: () => inLine(cells.slice(at), 1), ArrowUp: () => inLine(cells.slice(0, at + 1).reverse(), -1),
    }[event.key];
    if (!go) return;
    event.preventDefault();
    const cell = go();
    if (!cell) return;
    this.#rove(cell);
    cell.focus();
  }

  // #choose tells of a class, and puts its sequence on the stage where that is in sight beside
  // the cells. On a phone it would lead away from them: there "See it turn" does it.
  #choose(chosen) {
    this.#field.querySelector('[aria-current]')?.removeAttribute('aria-current');
    this.#chosen = chosen;
    const cell = this.#field.querySelector(`[data-class="${chosen}"]`);
    cell?.setAttribute('aria-current', 'true');
    this.#rove(cell);
    this.#tell();
    const row = this.#rows.find(r => r.class === chosen);
    if (row.sequence && !matchMedia('(max-width: 56rem)').matches) this.show(this.#coverage.goal.puzzle, row.sequence);
  }

  // #tell says what is known of the chosen class.
  #tell() {
    const row = this.#rows.find(r => r.class === this.#chosen);
    const c = this.#coverage, unit = this.#unit;
    const about = row ? JSON.stringify([row, c.classes, unit]) : '';
    if (this.#told === about) return;
    this.#told = about;
    this.#one.hidden = !row;
    if (!row) { this.#one.replaceChildren(); return; }
    const least = row.leastLength;
    const proof = {
      proven: `Proven: no sequence for this class is shorter than ${row.length} ${unit}.`,
      most: `Not proven: ${least > 1 ? `none is shorter than ${least}; ` : ''}a search up to ${row.length - 1} ${unit} would settle it.`,
      missing: least > 1 ? `No sequence is known; none of up to ${least - 1} ${unit} exists.` : 'No sequence is known, and nothing is proven.',
    }[kind(row)];
    const lines = [
      make('h3', '', `Class ${row.class} of ${some(c.classes)}`, make('span', 'soft', `, ${many(row.cycles, 'cycle', 'cycles')}`)),
      make('p', 'cycle', row.cycle.text),
    ];
    if (row.sequence) {
      lines.push(make('p', 'row', make('b', '', `${row.length} ${unit}`), make('code', '', row.sequence),
        press('See it turn', () => this.show(c.goal.puzzle, row.sequence))));
      const reads = row.explanation && !row.explanation.plain ? row.explanation.text : '';
      if (reads && reads !== row.sequence) lines.push(make('p', '', 'reads as ', make('code', '', reads)));
    }
    lines.push(make('p', '', proof));
    if (row.sequence) {
      const from = make('p', 'soft');
      lines.push(from);
      this.#origin(row, from);
    }
    this.#one.replaceChildren(...lines);
  }

  // #origin says where a sequence comes from. Which search it was the server doesn't keep with
  // the class: it is looked up among the findings, once.
  async #origin(row, to) {
    const found = row.origin === 'COVERAGE_ORIGIN_FOUND';
    const put = who => {
      if (found) to.replaceChildren(`Found by ${who}.`);
      else to.replaceChildren('Follows', ...(row.setup ? [' with the setup ', make('code', '', row.setup)] : []), ' from ', make('code', '', row.base), `, found by ${who}.`);
    };
    put('a search');
    const { goal } = this.#coverage;
    for (const s of this.#searches.filter(search => sameGoal(search, goal))) {
      try {
        if (!this.#findings.has(s.name)) this.#findings.set(s.name, new Set((await api.findingsOf(s.name)).map(f => f.sequence)));
      } catch {
        continue; // it was deleted meanwhile
      }
      if (this.#chosen !== row.class) return;
      if (!this.#findings.get(s.name).has(row.base)) continue;
      const owner = s.owner && s.owner !== 'members/local' ? `, asked for by ${bare(s.owner)}` : '';
      put(`the search ${bare(s.name)}${owner}`);
      return;
    }
  }
}

// inOrder has the shortest first; 0 stands for no sequence, which comes last.
const inOrder = groups => [...groups].sort((a, b) => (a.length || Infinity) - (b.length || Infinity));

// told counts the classes of one length.
function told(rows) {
  const proven = rows.filter(r => kind(r) === 'proven').length;
  const all = many(rows.length, 'class', 'classes');
  if (!rows[0].sequence) return all;
  return `${all}, ${proven === rows.length ? 'all proven shortest' : proven ? `${some(proven)} proven shortest` : 'not proven'}`;
}

// inLine is the cell in the next line that lies nearest below, or above, the first of them.
function inLine([from, ...rest], way) {
  const here = from.getBoundingClientRect();
  let best = null, line = null;
  for (const cell of rest) {
    const there = cell.getBoundingClientRect();
    if (way * (there.top - here.top) < 2) continue;
    line ??= there.top;
    if (Math.abs(there.top - line) > 2) break;
    if (!best || Math.abs(there.left - here.left) < Math.abs(best.getBoundingClientRect().left - here.left)) best = cell;
  }
  return best;
}
