// Rounds: which there are, and one of them: what it asks, its attempts while it is open, and
// how it went once it has closed.
//
// What is sealed the server keeps back; the page asks for nothing of others before a round
// closes.

import * as api from './api.js';
import { Attempt } from './attempt.js';
import { Drafts } from './drafts.js';
import { bare, copied, make, metric, press, put, say, span, stays, when } from './make.js';
import { Organiser } from './organise.js';
import { Outcome } from './outcome.js';
import { Records } from './records.js';

const tick = 1000;    // milliseconds between looks at the clock
const again = 20_000; // between looks at a round that may be closed by an organiser
const soon = 2000;    // the same where a round should have opened or closed by the page's clock, which is a little ahead
const jump = 3000;    // what a device's clock may differ between two looks at it, before the server's is asked
const few = 6;        // rounds that are over which are listed at first

const state = r => r.state.replace('ROUND_STATE_', '');
const titled = r => r.title || bare(r.name);
const order = { OPEN: 0, ANNOUNCED: 1, CLOSED: 2, CALLED_OFF: 3 };

export class Rounds {
  #box; #list; #one; #head; #tools; #body; #records; #organiser;
  #me = ''; #all = []; #round = null; #room = few; #attempts = []; #looked = 0; #looking = null; #opening = null;
  #drafts = new Drafts(); #puzzle = ''; #clock = null; #seen = false;
  #left = ''; // of the clock that ends first
  #outcome = null; // what is shown of how the round went
  #items = new Map(); // of the list, by the names of their rounds
  #running = new Map(); // attempts by their rounds: clocks run, too, while someone looks at something else

  // show is called with a puzzle, a sequence, after how many turns someone wants to see it, and
  // whether it is sealed; study, where there is one, with a puzzle, a scramble, a solution and
  // its metric, for someone who wants to know where its moves went.
  constructor(box, show, study = null) {
    this.#box = box;
    this.show = show;
    this.study = study;
    box.classList.add('of-rounds');
    this.#organiser = new Organiser((round, made) => this.#done(round, made));
    this.#records = new Records(show, name => this.watch(bare(name)));
    this.#list = make('ul', 'rounds');
    this.#head = make('div', 'head');
    this.#tools = make('div', 'tools');
    this.#body = make('div', 'body');
    this.#one = make('div', 'round', this.#head, this.#tools, this.#body);
    this.#one.hidden = true;
    this.said = make('p', 'wrong');
    this.said.setAttribute('role', 'status');
    this.all = press('All rounds', () => this.watch(''), 'all');
    this.all.hidden = true;
    const bar = make('p', 'row bar', this.all, press('Look again', () => this.look(true), 'again'), this.#records.button, this.#organiser.button);
    box.append(bar, this.said, this.#organiser.box, this.#records.box, this.#list, this.#one);
    setInterval(() => this.#tick(), tick);
    // A device that slept, or was without a network, knows nothing of what happened meanwhile.
    document.addEventListener('visibilitychange', () => { if (!document.hidden) this.#woken(); });
    addEventListener('online', () => this.#woken());
  }

  // name is the round that is looked at, without "rounds/".
  get name() { return this.#round ? bare(this.#round.name) : ''; }

  // enter lists the rounds for whoever is there now, and opens one.
  async enter(of) {
    this.#leave(); // what was asked for before is somebody's, too
    this.#all = [];
    this.#running.clear();
    this.#one.hidden = true;
    this.#body.replaceChildren(); // it was somebody's
    await this.look();
    if (of) await this.watch(of);
  }

  // entered hears who is there now.
  entered(caller) {
    this.#me = caller.member;
    this.#organiser.entered(caller);
    this.#records.entered(caller);
  }

  // opened and closed hear whether the desk is in sight: the server is asked only while it is.
  opened() {
    this.#seen = true;
    this.#woken();
  }

  closed() { this.#seen = false; }

  // fill hears which puzzle is on the stage, and took which turns are.
  fill(model) {
    this.#puzzle = model.puzzle;
    this.#organiser.fill(model);
    this.#records.fill(model);
  }

  took(trace) {
    const own = this.#round?.puzzle === this.#puzzle;
    for (const a of this.#attempts) a.took(own ? trace.turns : []);
  }

  // look asks how things stand; anew shows again what has closed, too, since it may have been corrected. Of two that
  // are under way the later one knows more.
  async look(anew = false) {
    this.#looked = api.now();
    const own = this.#looking = { anew: anew || this.#looking?.anew };
    try {
      const all = await api.rounds();
      if (this.#looking !== own) return;
      this.#say('');
      const same = JSON.stringify(all) === JSON.stringify(this.#all);
      this.#all = all;
      for (const r of all) if (state(r) !== 'OPEN') this.#running.delete(r.name);
      if (!same || !all.length) this.#lay(); // else what someone is about to press stays where it is
      if (own.anew) await this.#records.look();
      if (this.#round) await this.#open(this.#round.name, own.anew);
    } catch (error) {
      if (this.#looking === own) this.#say(error.message);
    } finally {
      if (this.#looking === own) this.#looking = null;
    }
  }

  // watch opens a round; '' closes it.
  async watch(of) {
    const was = this.name;
    this.#leave();
    this.#one.hidden = true;
    if (of) await this.#open(`rounds/${encodeURIComponent(of)}`); // it may come from an address
    this.#lay();
    if (!of && was) this.#list.querySelector(`[data-round="${was}"]`)?.focus();
    this.onwatch?.();
  }

  // #leave forgets the round that was looked at, and what is under way for it.
  #leave() {
    this.#round = this.#opening = null;
    this.#attempts = [];
    this.#outcome?.leave();
    this.#outcome = null;
  }

  #say(text) { this.said.textContent = text; }

  // #done shows what an organiser made of a round: one that is looked at, or that was made.
  async #done(round, made = false) {
    await this.look(this.#round?.name === round.name);
    if (made) await this.watch(bare(round.name));
  }

  // #lay lists the rounds: open ones, those that are to come, the latest of those that are over.
  // One that is looked at stands alone.
  #lay() {
    this.#list.hidden = this.#round !== null;
    this.all.hidden = this.#round === null;
    const rank = r => order[state(r)] ?? 4;
    const all = [...this.#all].sort((a, b) => rank(a) - rank(b));
    const ahead = all.filter(r => rank(r) < 2).length;
    const shown = all.slice(0, ahead + this.#room);
    const focused = this.#list.querySelector(':focus')?.dataset.round;
    const items = shown.map(r => stays(this.#items, r.name, [r, this.#me], () => {
      const b = press('', async () => {
        await this.watch(bare(r.name));
        this.#head.querySelector('h3')?.focus(); // what was pressed is not there any more
      }, 'one');
      b.dataset.round = bare(r.name);
      b.append(make('b', '', titled(r)), make('span', '', `${bare(r.puzzle)}, ${counts(r)}${this.#partakes(r) ? '' : '; you don’t take part'}`), stands(r));
      return make('li', '', b);
    }));
    if (all.length > shown.length) {
      items.push(make('li', '', press(`Show ${all.length - shown.length} more that are over`, () => { this.#room = Infinity; this.#lay(); })));
    }
    if (!all.length) items.push(make('li', 'soft', this.#organiser.may ? 'No round has been announced yet: do so above.' : 'No round has been announced yet. Organisers do that.'));
    put(this.#list, items);
    if (focused) this.#list.querySelector(`[data-round="${focused}"]`)?.focus({ preventScroll: true });
    this.#count();
  }

  // #open shows a round. What is as it was stays as it is, so that nobody loses what they are
  // writing, or where they are in it.
  async #open(name, anew = false) {
    const own = this.#opening = {}; // who opens another one meanwhile sees that one
    try {
      const round = await api.round(name);
      if (this.#opening !== own) return;
      this.#say('');
      const was = this.#round;
      const same = was?.name === round.name && state(was) === state(round);
      const told = same && JSON.stringify(round) === JSON.stringify(was);
      if (told && !(anew && state(round) === 'CLOSED')) return;
      const { parts, attempts = [], outcome = null } = state(round) === 'OPEN' ? await this.#take(round, same, () => this.#opening === own) : await this.#over(round, same);
      if (this.#opening !== own) return;
      if (!told) this.#tell(round, attempts.some(a => a.deadline));
      this.#round = round;
      this.#attempts = attempts;
      if (!same) this.#running.set(round.name, attempts);
      this.#organiser.about(this.#tools, round);
      if (parts) {
        this.#outcome?.leave();
        this.#outcome = outcome;
        this.#body.replaceChildren(...parts);
      }
      this.#one.dataset.state = state(round);
      this.#one.hidden = false;
      this.#count();
    } catch (error) {
      if (this.#opening === own) this.#say(error.message);
    }
  }

  // #tell says anew what a round asks. What had the focus has it again.
  #tell(round, begun) {
    const held = ['h3', '.about > summary', '.bound > summary', '.bound button'].find(s => this.#head.querySelector(s)?.matches(':focus'));
    this.#head.replaceChildren(...this.#facts(round, begun));
    if (held) this.#head.querySelector(held)?.focus({ preventScroll: true });
  }

  // #facts says what a round asks. All of it stands open while there is nothing to write or to read below it.
  #facts(r, begun) {
    const facts = make('dl', 'facts');
    const fact = (name, ...parts) => facts.append(make('dt', '', name), make('dd', '', ...parts));
    fact('Puzzle', bare(r.puzzle));
    fact('What counts', counts(r), r.maxLength ? `, at most ${r.maxLength} ETM` : '');
    fact('Written with', r.content === 'ENTRY_CONTENT_NOTATION' ? 'moves, brackets, exponents and comments' : 'moves and rotations only; what you thought goes beside it');
    fact('Your time', `${span(parseFloat(r.timeLimit) * 1000)} for each attempt, from when you see its scramble`);
    fact(state(r) === 'ANNOUNCED' ? 'Opens' : 'Opened', when(r.openTime));
    fact(state(r) === 'CLOSED' ? 'Closed' : 'Closes', when(r.closeTime));
    fact('Takes part', r.members.length ? r.members.map(bare).join(', ') : 'everybody who wants to');
    fact('Announced by', bare(r.owner));
    const about = make('details', 'about', make('summary', '', `${bare(r.puzzle)}, ${counts(r)}; `, stands(r)), facts);
    const same = this.#round?.name === r.name && state(this.#round) === state(r);
    const was = part => (same ? this.#head.querySelector(part) : null);
    about.open = was('.about')?.open ?? (!begun && ['ANNOUNCED', 'OPEN'].includes(state(r)));
    const parts = [Object.assign(make('h3', '', titled(r)), { tabIndex: -1 }), about];
    if (['ANNOUNCED', 'OPEN'].includes(state(r))) facts.after(Object.assign(bound(r), { open: was('.bound')?.open ?? false }));
    for (const c of r.changes) parts.push(make('p', 'change-of', make('b', '', 'Changed '), `${when(c.time)}: ${change(c.change)} (${bare(c.member)}: ${c.reason})`));
    return parts;
  }

  // #over gives what there is to see of a round that is not open: how it went, where it has closed. There are
  // no parts where those that are there tell the same: someone may be about to press one.
  async #over(round, same) {
    const parts = [];
    for (let number = 1; number <= round.attempts; number++) {
      const left = this.#drafts.left({ member: this.#me, round: round.name, number });
      if (left) parts.push(left);
    }
    if (state(round) === 'ANNOUNCED') return { parts: [make('p', 'soft', 'Nobody sees a scramble before it opens.')] };
    if (state(round) === 'CALLED_OFF') return { parts: [...parts, make('p', '', 'It was called off: what was sealed stays so.')] };
    const outcome = new Outcome(round, this.#me, this.show);
    outcome.study = this.study;
    outcome.correct = this.#organiser.may ? entry => this.#organiser.correct(round, entry, () => this.look(true)) : null;
    const went = await outcome.parts(same ? this.#outcome?.told : '');
    return { parts: went && [...parts, ...went], outcome };
  }

  #partakes(r) { return !r.members.length || r.members.includes(this.#me); }

  // #take gives the attempts of whoever is there, and what is seen of them; no parts where those
  // that are there stay. wanted tells whether it is still this that someone looks at.
  async #take(round, same, wanted) {
    if (!this.#partakes(round)) {
      return { parts: [make('p', '', `You are ${bare(this.#me)}, who does not take part in this round. You see how it went once it has closed.`)] };
    }
    const [views, entries] = await Promise.all([api.views(round.name), api.entries(round.name)]);
    const begun = new Set(views.filter(v => v.member === this.#me).map(v => v.attempt));
    const numbers = Array.from({ length: round.attempts }, (_, i) => i + 1);
    const scrambles = await Promise.all(numbers.map(n => (begun.has(n) ? api.scramble(round.name, n) : null))); // their clocks run already
    if (!wanted()) return {};
    // Who comes back finds them as they were, and what is on its way to the server with them.
    const before = same ? this.#attempts : this.#running.get(round.name);
    const there = before?.length === round.attempts ? before : null;
    const attempts = numbers.map((number, i) => {
      const shown = scrambles[i], entry = entries.find(e => e.member === this.#me && e.attempt === number) ?? null;
      if (!there) return new Attempt({ round, member: this.#me, number, shown, entry, show: this.show, drafts: this.#drafts, begun: () => this.#begun() });
      there[i].renew(round, shown, entry);
      return there[i];
    });
    const parts = [make('p', 'soft', 'What you hand in, and whether you have, nobody else sees until the round closes.'), ...attempts.map(a => a.box)];
    return { attempts, parts: there && same ? null : parts };
  }

  // #begun puts away what was to be read before a clock started.
  #begun() {
    this.#head.querySelector('.about').open = false;
    this.#count();
  }

  // #count writes how much time is left wherever that stands.
  #count() {
    let over = false;
    for (const e of this.#box.querySelectorAll('[data-until]')) {
      const left = Number(e.dataset.until) - api.now();
      say(e, left > 0 ? e.dataset.before + span(left) : '');
      if (left <= 0) { over = true; delete e.dataset.until; }
    }
    for (const a of this.#attempts) a.tick();
    const ends = [...this.#running.values()].flat().map(a => a.deadline).filter(d => d > api.now());
    const left = ends.length ? span(Math.min(...ends) - api.now()) : '';
    if (left !== this.#left) this.onclock?.(left);
    this.#left = left;
    return over;
  }

  #tick() {
    const over = this.#count();
    // Where a device's clock was set, or stood still, the two that it has have come apart.
    const clock = Date.now() - performance.now();
    const jumped = this.#clock !== null && Math.abs(clock - this.#clock) > jump;
    this.#clock = clock;
    const ahead = r => ['OPEN', 'ANNOUNCED'].includes(state(r));
    const watched = this.#seen && !document.hidden && [...this.#all, ...(this.#round ? [this.#round] : [])].some(ahead);
    const wait = !this.#looking && this.#all.some(r => ahead(r) && Date.parse(state(r) === 'OPEN' ? r.closeTime : r.openTime) <= api.now()) ? soon : again;
    if (over || (watched && (jumped || Math.abs(api.now() - this.#looked) > wait))) this.look();
  }

  #woken() { if (this.#me && this.#seen) this.look(); }
}

// counts says what of the attempts counts.
const counts = r => `${r.format === 'ROUND_FORMAT_MEAN' ? `mean of ${r.attempts} attempts` : r.attempts > 1 ? `best of ${r.attempts} attempts` : 'one attempt'}, ${metric(r.metric)}`;

// change has the times of what was changed in the reader's own zone.
const change = text => text.replace(/^close_time: /, 'closes ').replace(/^title: /, 'title ').replace(/^members: (\d+) → (\d+)$/, 'from $1 to $2 who may take part').replace(/^members: /, '')
  .replace(/\d{4}-\d\d-\d\dT[\d:]+Z/g, time => when(time));

// bound tells by what one can tell afterwards that the scrambles were not chosen.
function bound(r) {
  return make('details', 'bound', make('summary', '', 'How you can tell later that the scrambles were drawn fairly'),
    make('p', '', 'They follow from a secret number, which is shown when the round closes. This digest binds the server to it now: keep a copy, and hold it against the number then.'),
    make('p', '', make('code', '', r.commitment), ' ', copied(r.commitment)));
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
