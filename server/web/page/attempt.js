// An attempt: its scramble, the clock, and what is written for it, checked by the server
// while one types.

import * as api from './api.js';
import { ask, count, make, metric, misread, press, say, span, when } from './make.js';
import { scrambled, seen } from './scramble.js';

const few = 8;     // pieces of a type that the server names in its text
const quiet = 350; // milliseconds without a key before what is typed is checked
const near = [10, 5, 1]; // minutes before the end that are said aloud
const minute = 60_000;

export class Attempt {
  #round; #place; #shown; #entry; #show; #drafts;
  #due = null; #checking = null; #left; #spoken; #over = false; #said = null;
  #begin = null; #turned = ''; #before = null; #terms; #handing = false; #name = api.once();

  // shown is the scramble with its clock, or null where the clock does not run yet; entry is
  // what was handed in, or null; drafts keeps what is typed beyond this object; begun is called
  // when someone starts the clock.
  constructor({ round, member, number, shown, entry, show, drafts, begun }) {
    this.#round = round;
    this.#place = { member, round: round.name, number };
    this.#shown = shown;
    this.#entry = entry;
    this.#show = show;
    this.#drafts = drafts;
    this.begun = begun;
    this.box = make('section', 'attempt');
    this.box.setAttribute('aria-label', `Attempt ${number}`);
    this.#lay();
  }

  // renew takes what the server says now, and leaves alone what someone is writing.
  renew(round, shown, entry) {
    const began = !this.#shown && shown !== null;
    const revised = (entry?.revision ?? 0) > (this.#entry?.revision ?? 0);
    this.#round = round;
    this.#shown = shown ?? this.#shown; // no clock that runs stops: who knows of none was asked before it began
    if (revised) this.#entry = entry;
    if (began) this.#lay();
    else if (!this.#shown) say(this.#terms, this.#begins());
    else if (revised) this.#reseal();
    this.tick();
  }

  // took hears which turns are on the stage: those after the scramble may be taken over.
  took(turns) {
    const own = this.#begin?.every((text, i) => turns[i]?.text === text);
    this.#turned = own ? turns.slice(this.#begin.length).map(t => t.text).join(' ') : '';
    this.#offer();
  }

  // deadline is until when its clock runs, or null.
  get deadline() { return this.#shown ? Date.parse(this.#shown.deadline) : null; }

  // left is what was written and not handed in, where the round is over.
  left() { return this.#drafts.left(this.#place); }

  get #puzzle() { return this.#round.puzzle; }
  get #metric() { return metric(this.#round.metric); }
  get #number() { return this.#place.number; }
  get #result() { return this.#entry && !this.#entry.verdict.dnf ? this.#entry.verdict.length : null; }

  #lay() {
    const title = make('h4', '', this.#round.attempts > 1 ? `Attempt ${this.#number} of ${this.#round.attempts}` : 'Your attempt');
    this.#over = this.#shown !== null && Date.parse(this.#shown.deadline) <= api.now();
    this.box.dataset.clock = !this.#shown ? 'stopped' : this.#over ? 'over' : 'runs';
    if (!this.#shown) {
      this.#terms = make('p', '', this.#begins());
      this.box.replaceChildren(title, this.#terms, press('Show the scramble and start my clock', () => this.#ask(), 'main start'));
      return;
    }
    this.#left = make('b', 'clock');
    this.#left.setAttribute('role', 'timer');
    this.#spoken = make('span', 'unseen');
    this.#spoken.setAttribute('role', 'status');
    this.box.replaceChildren(title, scrambled(this.#puzzle, this.#shown.scramble, () => this.#see('')), this.#left, this.#spoken, this.#sealed(), ...(this.#over ? this.#late() : this.#editor()));
    this.tick();
  }

  // #begins says what happens with the clock.
  #begins() {
    const limit = parseFloat(this.#round.timeLimit) * 1000, close = Date.parse(this.#round.closeTime);
    const cut = close - api.now() < limit;
    return cut
      ? `With the scramble your clock begins, and does not stop before the round closes, ${when(close)}: that is sooner than the ${span(limit)} of an attempt.`
      : `With the scramble your clock begins. You have ${span(limit)} from then on, and nothing stops it.`;
  }

  // #ask asks whether someone means it.
  #ask() {
    ask({
      title: 'Start your clock?', parts: [make('p', '', this.#begins())], yes: 'Start my clock',
      does: async () => {
        this.#shown = await api.scramble(this.#round.name, this.#number);
        this.#lay();
        this.begun();
        setTimeout(() => this.box.querySelector('.solution')?.focus()); // after the dialog has given the focus back
      },
    });
  }

  // #see puts the scramble on the stage, and what is written after it, sealed: it gets into no address.
  async #see(solution) {
    try {
      const turns = await seen(this.#show, this.#puzzle, this.#shown.scramble, solution.trim(), 0, true);
      this.#begin = turns.map(t => t.text);
    } catch (error) {
      this.#tell(error.fields?.[0]?.description ?? error.message, 'wrong');
    }
  }

  // #sealed says what was handed in.
  #sealed() {
    const e = this.#entry;
    const box = make('div', 'sealed');
    box.dataset.revision = e?.revision ?? 0;
    if (!e) {
      box.append(make('p', 'soft', this.#over ? 'You have handed in nothing.' : 'You have handed in nothing yet.'));
      return box;
    }
    const { dnf, length } = e.verdict;
    box.append(
      make('p', '', make('b', '', 'Handed in and sealed. '), make('code', '', e.solution)),
      make('p', '', dnf ? `It counts as no result: ${dnf.text}.` : `It counts as ${count(length, 'move', 'moves')} (${this.#metric}).`,
        e.revision > 1 ? ` Handed in ${e.revision} times: this is the last.` : ''),
      make('p', 'soft', `${when(e.updateTime)}. Nobody but you sees it, or that it is there, until the round closes.`,
        this.#over ? '' : ' You can put another in its place while your clock runs.'));
    return box;
  }

  #reseal() {
    this.box.querySelector('.sealed').replaceWith(this.#sealed());
    if (this.hand) this.hand.textContent = 'Put this in its place';
  }

  // #late shows what was written and not handed in when the time was over.
  #late() {
    clearTimeout(this.#due);
    const left = this.left();
    return left ? [left] : [];
  }

  #editor() {
    const draft = this.#drafts.get(this.#place) ?? { solution: this.#entry?.solution ?? '', explanation: this.#entry?.explanation ?? '' };
    const id = `solution-${this.#number}`;
    this.solution = Object.assign(make('textarea', 'solution'), { id, rows: 2, value: draft.solution, spellcheck: false, autocapitalize: 'off', autocomplete: 'off' });
    this.explanation = Object.assign(make('textarea', 'explanation'), { id: `explanation-${this.#number}`, rows: 4, value: draft.explanation, spellcheck: false });
    this.verdict = make('div', 'verdict');
    this.verdict.id = `verdict-${this.#number}`;
    this.verdict.setAttribute('role', 'status');
    this.solution.setAttribute('aria-describedby', this.verdict.id);
    const label = (text, of) => Object.assign(make('label', '', text), { htmlFor: of.id });
    this.solution.oninput = () => { this.#keep(); this.#later(); };
    this.explanation.oninput = () => this.#keep();
    const beside = make('details', '', make('summary', '', 'What you thought, for others to read afterwards'),
      label('Stages, brackets, comments; not judged', this.explanation), this.explanation);
    beside.open = draft.explanation !== '';
    this.hand = press(this.#entry ? 'Put this in its place' : 'Hand it in', () => this.#submit(), 'main hand');
    this.take = press('', () => this.#put(this.#turned, this.solution.value.trim() ? this.solution.value : null), 'take');
    this.back = press('Back to what was written before', () => this.#put(this.#before, null), 'back');
    const rows = [label('Your solution', this.solution), this.solution, this.verdict, beside,
      make('p', 'row', this.hand, press('Play it after the scramble', () => this.#see(this.solution.value)), this.take, this.back)];
    this.#later(0);
    this.#offer();
    return rows;
  }

  // #offer offers what was turned on the stage after the scramble, and what that took the place of.
  #offer() {
    if (!this.take) return;
    const n = this.#turned.split(' ').length;
    this.take.hidden = this.#turned === '' || this.#turned === this.solution.value.trim().split(/\s+/).join(' ');
    this.take.textContent = `Take over ${count(n, 'turn', 'turns')} from the puzzle`;
    this.back.hidden = this.#before === null;
  }

  // #put writes a text; before is what it takes the place of.
  #put(text, before) {
    this.solution.value = text;
    this.#before = before;
    this.#keep();
    this.#later(0);
    this.solution.focus();
  }

  #keep() { this.#drafts.keep(this.#place, { solution: this.solution.value, explanation: this.explanation.value }, this.#entry); }

  #later(pause = quiet) {
    clearTimeout(this.#due);
    this.#checking?.abort();
    this.verdict.dataset.of = 'checking';
    this.#handable();
    this.#said = null;
    this.#offer();
    this.#due = setTimeout(() => this.#check(), pause);
  }

  // #handable lets one press at a time hand in what is written, if there is anything.
  #handable() { this.hand.disabled = this.#handing || this.solution.value.trim() === ''; }

  #written() { return { attempt: this.#number, solution: this.solution.value, explanation: this.explanation.value }; }

  // #check has the server judge what is typed.
  async #check() {
    const text = this.solution.value;
    if (text.trim() === '') { this.#tell('Type it here: it is checked as you type, and only you see that.', 'nothing'); return; }
    const own = this.#checking = new AbortController();
    try {
      const { verdict } = await api.check(this.#round.name, this.#written(), own.signal);
      if (this.#checking === own) this.#judge(verdict, text);
    } catch (error) {
      if (error.name !== 'AbortError') this.#tell(error.fields?.[0]?.description ?? error.message, 'wrong');
    }
  }

  #judge(verdict, text) {
    const { length, lengths, dnf, warnings } = this.#said = verdict;
    if (!dnf) {
      this.#tell(`Solved, in ${count(length, 'move', 'moves')} (${this.#metric}).`, 'solved');
    } else if (dnf.reason === 'DNF_REASON_NOTATION') {
      this.#tell(`${dnf.text}${dnf.rule ? ` (${dnf.rule})` : ''}.`, 'unread');
      const line = text.split('\n')[dnf.line - 1];
      if (line !== undefined) this.verdict.append(misread(line, dnf.column));
    } else {
      this.#tell(`${lengths ? `${count(lengths[this.#metric.toLowerCase()], 'move', 'moves')} so far (${this.#metric}). ` : ''}No result yet: ${dnf.text}.`, 'unsolved');
      for (const l of dnf.left.filter(l => l.count > few)) { // those that are few are named in the text
        this.verdict.append(make('p', '', make('b', '', `${l.type}: `), make('code', '', l.places.join(' ')), l.count > l.places.length ? ` and ${l.count - l.places.length} more` : ''));
      }
    }
    if (this.#worse(verdict)) this.verdict.append(make('p', 'warning', `You have handed in ${count(this.#result, 'move', 'moves')}; what is handed in last counts.`));
    for (const w of warnings) this.verdict.append(make('p', 'warning', `For organisers to look at: ${w}.`));
  }

  // #worse tells whether a verdict is worse than that of what was handed in.
  #worse(verdict) { return this.#result !== null && (Boolean(verdict.dnf) || verdict.length > this.#result); }

  #tell(text, of) {
    if (!this.verdict) return;
    this.verdict.replaceChildren(make('p', '', text));
    this.verdict.dataset.of = of;
    if (of === 'unread') this.solution.setAttribute('aria-invalid', 'true');
    else this.solution.removeAttribute('aria-invalid');
  }

  // #submit hands in what is written; where that would make it worse, it asks first. Who presses
  // before what is typed has been checked waits for that.
  async #submit() {
    if (!this.#said && this.#result !== null) {
      clearTimeout(this.#due);
      this.#checking?.abort();
      await this.#check();
      if (!this.#said) return; // it says why; or someone types on
    }
    const verdict = this.#said;
    if (!verdict || !this.#worse(verdict)) return this.#hand();
    ask({
      title: 'Put this in the place of a better one?',
      parts: [make('p', '', `You have handed in ${count(this.#result, 'move', 'moves')}. ${verdict.dnf ? 'This is no result' : `This is ${count(verdict.length, 'move', 'moves')}`}, and what is handed in last counts.`)],
      no: 'Leave it as it is', yes: 'Put this in its place', does: () => this.#hand(),
    });
  }

  async #hand() {
    const written = this.#written();
    this.#handing = true;
    this.#handable();
    try {
      // What is sent again because no answer came is taken once.
      this.#entry = await api.submit(this.#round.name, written, this.#name(written));
      this.#name = api.once();
      this.#keep(); // it is no draft any more, unless someone has typed on meanwhile
      if (this.#over) { this.#lay(); return; } // it was on its way when the time was over
      this.#reseal();
      if (this.solution.value === written.solution) this.#judge(this.#entry.verdict, written.solution);
      else this.#later(0); // held against what is handed in now
    } catch (error) {
      this.#tell(error.fields?.[0]?.description ?? error.message, 'wrong');
    } finally {
      this.#handing = false;
      this.#handable();
    }
  }

  // tick writes how much time is left, and says it aloud now and then.
  tick() {
    if (!this.#shown || !this.#left) return;
    const left = Date.parse(this.#shown.deadline) - api.now();
    const said = near.findLast(m => left <= m * minute);
    say(this.#left, left > 0 ? `${span(left)} left, until ${when(this.#shown.deadline)}` : 'Your time is over.');
    this.#left.dataset.near = left > 0 && said <= 5 ? said : '';
    if (left > 0 && said && this.#spoken.dataset.said !== String(said)) {
      this.#spoken.dataset.said = said;
      this.#spoken.textContent = `${span(left)} left for attempt ${this.#number}`;
    }
    if ((left <= 0) !== this.#over) this.#lay(); // back, too, where a device's clock was set right
  }
}
