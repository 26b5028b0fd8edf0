// Searches of the server, and one of them: what it is doing, and what it found, as it comes.

import * as api from './api.js';
import { Cards, rank } from './cards.js';
import { Life, state } from './life.js';
import { bare, make, metric, press } from './make.js';
import { Pair } from './pair.js';
import { seen } from './scramble.js';
import { Sieve } from './sieve.js';

const gather = 200; // milliseconds in which findings that come are gathered before they are listed

const subject = search => search.goal ?? search.position ?? search.study;

// asked says in a line what a search looks for.
export function asked(search) {
  const puzzle = bare(subject(search).puzzle);
  if (search.position) return `a position of ${puzzle}`;
  if (search.study) return `shorter solutions than one of ${search.study.length} ${metric(search.metric)} on ${puzzle}`;
  const { shape, cycle } = search.goal;
  return `${shape && shape !== '3' ? shape : '3-cycles'} of ${cycle} on ${puzzle}`;
}

// details says the rest of what was asked.
function details(search) {
  const said = [`length up to ${search.maxLength} (${metric(search.metric)})`];
  const { goal, position, study, structure: s } = search;
  if (study) said[0] = `the given one has ${study.length} ${metric(search.metric)}`;
  if (s) said.push(`commutators of parts up to ${[s.firstLength, s.secondLength, s.thirdLength].filter(n => n).join(', ')}${s.setupLength ? `, setups up to ${s.setupLength}` : ''}`);
  if (goal?.ignore.length) said.push(`${goal.ignore.join(', ')} may be broken`);
  if (position?.ignore.length) said.push(`${position.ignore.join(', ')} may be anywhere`);
  if (goal?.axes.length) said.push(`only about ${goal.axes.join(', ')}`);
  const pins = [...(goal?.pins ?? []).map(p => `${p.from} to ${p.to}`), ...(position?.pins ?? []).map(p => `${p.piece} to ${p.at}`)];
  if (pins.length) said.push(pins.join(', '));
  if (goal?.core === 'CORE_FREE') said.push('the core may be turned');
  if (position?.byColour) said.push('pieces that look alike may take one another’s places');
  if (position?.all) said.push('all shortest solutions');
  if (search.sequencesPerClass > 1) said.push(position ? `${search.sequencesPerClass} solutions` : `${search.sequencesPerClass} sequences a class, up to ${search.slack} longer than the best`);
  if (search.before) said.push(`after ${search.before}`);
  if (search.after) said.push(`before ${search.after}`);
  return `${said.join('; ')}.`;
}

export class Searches {
  #box; #choose; #watching = null; #cursor = ''; #findings = new Map(); #due = null;
  #life; #sieve; #pair; #cards; #what; #start; #told; #offered = ''; #listing = null;

  // show is called with a puzzle and a sequence that someone wants to see, after so many turns.
  constructor(box, show) {
    this.#box = box;
    this.show = show;
    this.#choose = box.querySelector('#search');
    this.#choose.onchange = () => this.watch(this.#choose.value);
    this.#choose.onfocus = () => this.list().catch(() => {}); // there may be new ones
    this.#told = box.querySelector('#state');
    this.#life = new Life({
      state: this.#told, bar: box.querySelector('#done'),
      changed: search => {
        this.search = search;
        this.#lay();
        this.list().catch(() => {});
        this.#follow(bare(search.name)); // what is on its way is from before
      },
      gone: name => this.#gone(name),
    });
    const changed = () => { this.#lay(); this.onwatch?.(); };
    this.#cards = new Cards({
      list: box.querySelector('#findings'), more: box.querySelector('#more'),
      play: f => this.#play(f), pick: (f, wanted) => this.#pair.pick(f.name, wanted),
    });
    this.#pair = new Pair({ play: f => this.#play(f), changed, picture: f => this.#cards.picture(f) });
    this.#sieve = new Sieve(changed);
    this.#what = make('p', 'soft asked');
    this.#start = make('div', 'origin');
    this.#told.before(this.#what);
    box.querySelector('#done').after(this.#life.box, this.#start, this.#sieve.box, this.#pair.box);
  }

  // name is the search that is watched, without "searches/".
  get name() { return this.#choose.value; }

  // view is what is chosen of its findings, for an address: answers of the sieve, and which
  // are side by side.
  get view() {
    const said = new URLSearchParams(this.#sieve.text);
    if (this.#pair.names.length) said.set('beside', this.#pair.names.map(n => n.split('/').pop()).join('.'));
    return said.toString();
  }

  // look chooses that again.
  look(view) {
    const said = new URLSearchParams(view);
    const beside = said.get('beside')?.split('.') ?? [];
    this.#sieve.text = view;
    this.#pair.take(beside.map(f => `searches/${this.name}/findings/${f}`));
    this.#lay();
  }

  entered(caller) { this.#life.entered(caller); }

  // list lists the searches that there are; the one that is watched stays chosen.
  async list() {
    const own = this.#listing = {};
    const known = await api.searches();
    const groups = [['At work', s => ['RUNNING', 'PREPARING'].includes(state(s))], ['Waiting', s => state(s) === 'QUEUED'],
      ['Paused', s => state(s) === 'PAUSED'], ['Ended', api.ended]]
      .map(([label, of]) => [label, known.filter(of).map(s => [`${bare(s.name)}: ${asked(s)}`, bare(s.name)])]).filter(([, some]) => some.length);
    const offered = JSON.stringify(groups);
    if (this.#listing !== own || offered === this.#offered) return; // who has the list open keeps it
    this.#offered = offered;
    const now = this.#choose.value;
    this.#choose.replaceChildren(new Option(groups.length ? 'choose one' : 'there are none yet', ''), ...groups.map(([label, some]) =>
      Object.assign(make('optgroup', '', ...some.map(one => new Option(...one))), { label })));
    this.#offer(now);
  }

  // #offer chooses a search in the list, also one that is not in it yet.
  #offer(id) {
    if (id && ![...this.#choose.options].some(o => o.value === id)) this.#choose.add(new Option(id, id));
    this.#choose.value = id;
  }

  // watch follows a search; '' ends that. view is what of its findings is wanted.
  async watch(id, view = '') {
    this.#watching?.abort();
    this.#watching = null;
    this.#cursor = '';
    this.#findings.clear();
    this.#cards.clear();
    this.#offer(id);
    this.search = null;
    this.#tell('');
    this.look(view);
    this.onwatch?.();
    if (id) await this.#follow(id);
  }

  // #follow takes what comes of a search, after what has come.
  async #follow(id) {
    this.#watching?.abort();
    const own = this.#watching = new AbortController();
    try {
      for await (const event of api.follow(`searches/${encodeURIComponent(id)}`, own.signal, () => this.#tell('The connection broke; it is made again …'), this.#cursor)) {
        if (this.#watching !== own) return;
        this.#cursor = event.cursor;
        if (event.search) this.search = event.search;
        if (event.finding) {
          const before = this.#findings.get(event.finding.name);
          if (!before || before.revision < event.finding.revision) this.#findings.set(event.finding.name, event.finding);
        }
        this.#soon();
      }
    } catch (error) {
      if (this.#watching === own) this.#tell(error.message);
    }
  }

  #gone(name) {
    if (this.name === bare(name)) {
      this.watch('');
      this.#tell(`${bare(name)} was deleted.`);
      this.#choose.focus();
    }
    this.list().catch(() => {});
  }

  #soon() { this.#due ??= setTimeout(() => { this.#due = null; this.#lay(); }, gather); }

  #tell(text) { if (this.#told.textContent !== text) this.#told.textContent = text; }

  #lay() {
    const s = this.search;
    this.#what.textContent = s ? `${bare(s.name)} looks for ${asked(s)}: ${details(s)}` : '';
    this.#life.lay(s);
    this.#begin();
    const all = s ? [...this.#findings.values()].sort(rank) : [];
    this.#box.dataset.findings = all.length;
    const passed = this.#sieve.sift(all);
    this.#box.dataset.listed = passed.length;
    const ranks = new Map(all.map((f, i) => [f.name, i + 1]));
    this.#cards.lay(s, s ? subject(s).puzzle : '', passed, ranks, this.#pair);
    if (s) this.#pair.lay(s, subject(s).puzzle, all);
    else this.#pair.lay(null, '', []);
  }

  // #begin shows what a position or a study begins with: its findings are done after that.
  #begin() {
    const s = this.search, of = s && !s.goal ? s.name : '';
    if (this.#start.dataset.of === of) return;
    this.#start.dataset.of = of;
    this.#start.replaceChildren();
    if (!of) return;
    const { puzzle } = subject(s), text = beginning(s);
    const frame = make('span', 'frame');
    frame.hidden = true;
    api.draw(puzzle, text, { projection: 'PROJECTION_NET', moment: 'MOMENT_AFTER', arrows: ['none'] }).then(picture => {
      const image = make('img', '');
      image.src = `data:${picture.mediaType},${encodeURIComponent(picture.content)}`;
      image.alt = 'The position, unfolded';
      frame.append(image);
      frame.hidden = false;
    }, () => frame.remove()); // the text is beside it
    this.#start.append(make('p', '', make('span', 'soft', s.study && !s.study.scramble ? 'What the solution undoes ' : 'The position after '), make('code', '', text || 'nothing')));
    if (s.study) this.#start.append(make('p', '', make('span', 'soft', `Given: ${s.study.length} ${metric(s.metric)} `), make('code', '', s.study.solution), ' ', press('Play it', () => this.#play({ sequence: s.study.solution }))));
    this.#start.append(frame);
  }

  // #play shows a finding from where it begins: the solved puzzle, the position that it is for, or the moves
  // that it goes after; with those that it goes before, one sees what cancels.
  async #play(f) {
    const s = this.search;
    try {
      await seen(this.show, subject(s).puzzle, s.goal ? s.before : beginning(s), [f.sequence, s.after].filter(Boolean).join('\n'));
    } catch (error) {
      this.#tell(error.message);
    }
  }
}

// beginning is what leads to the position that a search is about.
function beginning(s) {
  if (s.position) return s.position.scramble;
  return s.study.scramble || `(${s.study.solution})'`;
}
