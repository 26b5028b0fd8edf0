// Findings side by side: how long each is however one counts, what it reads as, where they
// begin and end alike.

import * as api from './api.js';
import { count, make, press, say } from './make.js';

const most = 4; // findings that have room beside one another

const metrics = [['stm', 'STM'], ['obtm', 'OBTM'], ['etm', 'ETM'], ['qtm', 'QTM']];

// alike is how many turns all of some sequences have in common, from the first on.
function alike(sequences) {
  const least = Math.min(...sequences.map(s => s.length));
  let n = 0;
  while (n < least && sequences.every(s => s[n] === sequences[0][n])) n++;
  return n;
}

export class Pair {
  #picked = new Map(); #turns = new Map(); #search = null; #ranks = new Map();
  #there = []; #numbered = []; #caption; #strips = []; // those that are shown, and what is written anew while the rest stays where it is

  // play is called with a finding that someone wants to see turn; changed when others are
  // picked; picture makes the picture of a finding, or null.
  constructor({ play, changed, picture }) {
    Object.assign(this, { play, changed, picture });
    this.box = make('section', 'pair');
    this.box.setAttribute('aria-label', 'Side by side');
    this.box.hidden = true;
  }

  get names() { return [...this.#picked.keys()]; }
  has(name) { return this.#picked.has(name); }
  get full() { return this.#picked.size >= most; }

  // pick takes a finding in, or out again.
  pick(name, wanted) {
    if (!wanted) this.#picked.delete(name);
    else if (!this.full) this.#picked.set(name, null);
    this.changed();
  }

  // take puts these in and no others; findings of theirs may be still to come.
  take(names) { this.#picked = new Map(names.slice(0, most).map(n => [n, null])); }

  // lay shows the picked ones as they are now; puzzle and ranks are those of the list.
  lay(search, puzzle, findings) {
    this.#search = search;
    this.#ranks = new Map(findings.map((f, i) => [f.name, i + 1]));
    let fresh = false;
    for (const f of findings) {
      if (!this.#picked.has(f.name) || this.#picked.get(f.name) === f) continue;
      this.#picked.set(f.name, f);
      fresh = true;
    }
    const there = [...this.#picked.values()].filter(f => f).sort((a, b) => this.#ranks.get(a.name) - this.#ranks.get(b.name));
    const key = there.map(f => `${f.name} ${f.revision}`).join();
    this.box.hidden = there.length === 0;
    if (fresh || key !== this.box.dataset.of) {
      this.box.dataset.of = key;
      this.#show(there);
      for (const f of there) this.#read(puzzle, f);
    }
    for (const number of this.#numbered) number();
  }

  // #read has the server tell the turns of a finding: the page reads no notation.
  async #read(puzzle, f) {
    if (this.#turns.has(f.sequence)) return;
    try {
      const { turns } = await api.trace(puzzle, f.sequence);
      this.#turns.set(f.sequence, turns.map(t => t.text));
      this.#align();
    } catch { /* the sequence is there as text */ }
  }

  #show(there) {
    this.#there = there;
    this.#numbered = [];
    if (there.length === 0) { this.box.replaceChildren(); return; }
    const numbered = (f, write) => this.#numbered.push(() => write(this.#ranks.get(f.name)));
    const held = this.box.contains(document.activeElement) ? document.activeElement.dataset.of : null;
    const table = make('table');
    const row = (says, cells) => {
      const th = make('th', '', says);
      th.scope = 'row';
      table.append(make('tr', '', th, ...cells.map(c => (c instanceof HTMLTableCellElement ? c : make('td', '', ...[c].flat())))));
    };
    const head = make('tr', '', make('td', ''), ...there.map(f => {
      const number = make('span');
      numbered(f, n => say(number, `Nº ${n}`));
      const th = make('th', '', number, this.picture(f));
      th.scope = 'col';
      return th;
    }));
    this.#caption = make('caption');
    this.#strips = there.map(f => make('code', '', f.sequence));
    table.append(this.#caption, make('thead', '', head));
    row('Turns', this.#strips);
    this.#align();
    for (const [key, name] of metrics) row(name, numbers(there.map(f => f.lengths[key])));
    if (there.some(f => f.joined)) {
      row('Net', numbers(there.map(f => f.joined?.net)));
      row('Between the moves', there.map(f => make('code', '', f.joined?.sequence ?? '')));
    }
    row('Axes, with one piece held', numbers(there.map(f => f.axes)));
    row('Reads as', there.map(f => (f.explanation && !f.explanation.plain ? make('code', '', f.explanation.text) : '–')));
    row('In words', there.map(f => f.explanation?.words ?? 'too long to be read'));
    if (there.some(f => f.explanation?.setupLength)) row('Setup', there.map(f => (f.explanation ? String(f.explanation.setupLength) : '–')));
    if (there.some(f => f.parts.length)) row('Cycles', there.map(f => make('code', '', f.parts.map(p => p.text).join(' '))));
    if (there.some(f => f.class)) row('Class', there.map(f => `${f.class} of ${f.classesTotal}, ${count(Number(f.classCycles), 'cycle', 'cycles')}`));
    if (there.some(f => f.rotation)) row('Leaves the whole turned by', there.map(f => f.rotation || '–'));
    if (there.some(f => f.shortening)) row('Made shorter by', there.map(f => `${f.shortening.by}, ${f.shortening.saved} less`));
    row('', there.map(f => {
      const play = press('Play', () => this.play(f), 'main'), off = press('Take off', () => this.pick(f.name, false));
      play.dataset.of = `play ${f.name}`;
      off.dataset.of = `off ${f.name}`;
      for (const b of [play, off]) numbered(f, n => b.setAttribute('aria-label', `${b.textContent} number ${n}`));
      return [play, ' ', off];
    }));
    this.box.replaceChildren(make('h3', '', 'Side by side'), table,
      press('Take all off', () => { this.#picked.clear(); this.changed(); }));
    if (held) ([...this.box.querySelectorAll('button')].find(b => b.dataset.of === held) ?? this.box.querySelector('button')).focus();
  }

  // #align says how they compare, and underlines what is alike once the turns of all are read.
  #align() {
    const there = this.#there;
    if (!there.length) return;
    say(this.#caption, this.#words(there));
    const turns = there.map(f => this.#turns.get(f.sequence));
    if (turns.length < 2 || !turns.every(t => t)) return;
    const begin = alike(turns), end = this.#endAlike(turns);
    this.#strips.forEach((code, i) => code.replaceChildren(...underlined(turns[i], begin, end)));
  }

  // #endAlike counts from the last turn back what is alike, and not counted from the first on.
  #endAlike(turns) {
    const left = turns.map(t => t.slice(alike(turns)).reverse());
    return alike(left);
  }

  // #words says how they compare.
  #words(there) {
    if (there.length < 2) return 'Pick another one to see them side by side.';
    const said = [];
    const turns = there.map(f => this.#turns.get(f.sequence));
    if (turns.every(t => t)) {
      const begin = alike(turns), end = this.#endAlike(turns);
      const parts = [begin && `begin alike for ${count(begin, 'turn', 'turns')}`, end && `end alike for ${count(end, 'turn', 'turns')}`].filter(p => p);
      said.push(parts.length ? `They ${parts.join(' and ')} (underlined).` : 'No turn at their beginnings or ends is alike.');
    }
    if (this.#search.goal && there.every(f => f.class)) {
      said.push(new Set(there.map(f => f.class)).size === 1
        ? `They are of one class, ${there[0].class}: a symmetry of the puzzle, or doing it backwards, carries the cycle of one into that of another.`
        : `Their classes are ${there.map(f => f.class).join(', ')}.`);
    }
    return said.join(' ');
  }
}

// numbers are cells of which the least is marked, where they differ.
function numbers(values) {
  const known = values.filter(v => v !== undefined);
  const least = Math.min(...known), differ = Math.max(...known) > least;
  return values.map(v => {
    if (v === undefined) return '–';
    return differ && v === least ? make('td', 'least', make('b', '', String(v)), ' least') : make('td', '', String(v));
  });
}

// underlined are turns of which those that are alike at the beginning and at the end have a line below.
const underlined = (turns, begin, end) => turns.flatMap((t, i) =>
  [i ? ' ' : '', i < begin || i >= turns.length - end ? make('u', '', t) : t]);
