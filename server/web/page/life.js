// The life of a search: what it is doing, how far it is, length by length, and what may be
// done with it: hold it, let it go on, end it, change its place, remove it.

import * as api from './api.js';
import { bare, count, local, make, metric, press, say, span, sure, when } from './make.js';

export const state = search => search.state.replace('SEARCH_STATE_', '');

const words = { // of one search, and of several
  QUEUED: ['waits for its turn', 'wait for their turn'], PREPARING: ['prepares its tables', 'prepare their tables'],
  RUNNING: ['is searching', 'are searching'], PAUSED: ['is paused', 'are paused'],
  DONE: ['has ended', 'have ended'], CANCELLED: ['was cancelled', 'were cancelled'], FAILED: ['failed', 'failed'],
};

// doing says what a search is doing, or so many in the same state.
export const doing = (search, searches = 1) => words[state(search)]?.[searches === 1 ? 0 : 1] ?? search.state;

const why = { CANCEL_REASON_STOP_TIME: ': its time to stop had come', CANCEL_REASON_CORE_BUDGET: ': its budget was used up' };

const ms = duration => parseFloat(duration) * 1000;
const large = n => Number(n).toLocaleString('en');
const per = n => (n >= 1e6 ? `${(n / 1e6).toFixed(1)} million` : large(Math.round(n)));

// single leaves the second press of a double click alone: by then another button is where the first one was.
const single = does => event => { if (event.detail < 2) does(); };

export class Life {
  #box; #state; #bar; #caller = null; #search = null; #touched = null;
  #pace; #lengths; #facts; #row; #buttons; #later; #wrong;

  // changed is called with a search as it is after something was done with it; gone with the
  // name of one that was removed.
  constructor({ state, bar, changed, gone }) {
    Object.assign(this, { changed, gone });
    this.#state = state;
    this.#bar = bar;
    this.#pace = make('p', 'soft pace');
    this.#lengths = make('ol', 'lengths');
    this.#lengths.setAttribute('aria-label', 'Lengths');
    this.#facts = make('p', 'soft facts');
    this.#wrong = make('p', 'wrong');
    this.#wrong.setAttribute('role', 'alert');
    this.#buttons = {
      pause: press('Pause', single(() => this.#act('pause'))),
      resume: press('Resume', single(() => this.#act('resume'))),
      cancel: press('Cancel it …', () => this.#sure('Cancel this search?', 'What it found and proved stays. It can’t go on after that: pausing holds it.', 'Cancel the search', name => this.#act('cancel', {}, name))),
      remove: press('Delete it …', () => this.#sure('Delete this search?', 'Its findings and what it proved are deleted with it.', 'Delete the search', name => this.#remove(name))),
    };
    for (const [verb, b] of Object.entries(this.#buttons)) b.dataset.verb = verb;
    this.#row = make('div', 'row verbs', ...Object.values(this.#buttons));
    this.#later = this.#form();
    this.#box = make('div', 'life', this.#pace, this.#lengths, this.#facts, this.#row, this.#later, this.#wrong);
    this.#box.hidden = true;
  }

  get box() { return this.#box; }

  // entered tells who is there: others' searches are for organisers to change.
  entered(caller) {
    this.#caller = caller;
    if (this.#search) this.#verbs(this.#search);
  }

  // lay shows a search as it is now; null shows none.
  lay(search) {
    const other = search?.name !== this.#search?.name;
    this.#search = search;
    this.#box.hidden = !search;
    if (other) {
      this.#wrong.textContent = '';
      this.#touched = null;
      this.#later.open = false;
    }
    if (!search) { this.#bar.hidden = true; return; }
    const s = search;
    say(this.#state, [sentence(s), proven(s), ...s.alarms].filter(t => t).join(' '));
    say(this.#pace, pace(s));
    this.#pace.hidden = this.#pace.textContent === '';
    say(this.#facts, facts(s));
    const [done, most] = amount(s);
    this.#bar.hidden = api.ended(s) || state(s) === 'PAUSED' || !most;
    if (!this.#bar.hidden) { this.#bar.max = most; this.#bar.value = done; }
    this.#cells(s);
    this.#verbs(s);
  }

  // #cells has a cell for each length: covered, being covered, to come.
  #cells(s) {
    const cells = lengths(s);
    this.#lengths.hidden = cells.length === 0;
    const key = JSON.stringify(cells);
    if (this.#lengths.dataset.of === key) return;
    this.#lengths.dataset.of = key;
    this.#lengths.replaceChildren(...cells.map(({ length, of, brief, full }) => {
      const item = make('li', of, make('b', '', String(length)), make('span', '', brief), make('span', 'unseen', full));
      item.title = full;
      item.dataset.length = length;
      return item;
    }));
  }

  // #verbs offers what its state allows.
  #verbs(s) {
    const mine = !this.#caller || this.#caller.role === 'ROLE_ORGANISER' || s.owner === this.#caller.member || !s.owner;
    const may = { pause: !api.ended(s) && state(s) !== 'PAUSED', resume: state(s) === 'PAUSED', cancel: !api.ended(s), remove: api.ended(s) };
    const held = document.activeElement;
    for (const [verb, b] of Object.entries(this.#buttons)) b.hidden = !mine || !may[verb];
    if (held?.hidden && this.#row.contains(held)) this.#row.querySelector('button:not([hidden])')?.focus();
    this.#later.hidden = !mine || api.ended(s);
    if (!this.#touched) this.#wishes(s);
  }

  // #sure asks whether someone means what can't be taken back, of the search that is shown now. What is refused is
  // said beside the buttons.
  #sure(title, text, yes, does) {
    const { name } = this.#search;
    sure(title, text, yes, () => does(name));
  }

  async #act(verb, more = {}, name = this.#search.name) {
    const shown = () => this.#search?.name === name;
    this.#wrong.textContent = '';
    try {
      const search = await api.act(name, verb, more);
      // Where it has ended meanwhile, what it was before is not told any more.
      if (shown() && (api.ended(search) || !api.ended(this.#search))) this.changed(search);
      return true;
    } catch (error) {
      if (shown()) this.#wrong.textContent = error.message;
      return false;
    }
  }

  async #remove(name) {
    this.#wrong.textContent = '';
    try {
      await api.remove(name);
      this.gone(name);
    } catch (error) {
      if (this.#search?.name === name) this.#wrong.textContent = error.message;
    }
  }

  // #form changes its place in the queue and when it stops.
  #form() {
    const input = (type, name, more = {}) => Object.assign(make('input'), { type, name, ...more });
    const form = make('form', 'later',
      make('label', '', 'Priority ', input('number', 'priority', { min: -10, max: 10, step: 1 })),
      make('label', '', 'Stop at ', input('datetime-local', 'stop')),
      make('label', '', 'Stop after ', input('number', 'hours', { min: 0, step: 'any' }), ' hours of cores'),
      make('button', '', 'Change'));
    const help = make('p', 'soft', 'Of your own searches the one of highest priority comes first, from -10 to 10. What is left empty never stops it; what it has found by then stays.');
    form.noValidate = true; // the server says what it does not take
    form.oninput = () => { this.#touched = {}; };
    form.onsubmit = async event => {
      event.preventDefault();
      const { priority, stop, hours } = form.elements;
      const more = { priority: Math.trunc(Number(priority.value)) };
      if (stop.value) more.stopTime = new Date(stop.value).toISOString();
      else more.clearStopTime = true;
      more.coreBudget = `${Math.round(Number(hours.value) * 3600)}s`;
      const sent = this.#touched;
      if (await this.#act('reschedule', more) && this.#touched === sent) this.#touched = null; // else someone types on
    };
    return make('details', '', make('summary', '', 'Its place and when it stops'), form, help);
  }

  #wishes(s) {
    const { priority, stop, hours } = this.#later.querySelector('form').elements;
    priority.value = s.priority;
    stop.value = s.stopTime ? local(s.stopTime) : '';
    hours.value = s.coreBudget ? parseFloat(s.coreBudget) / 3600 : '';
  }
}

// sentence says what a search is doing.
function sentence(s) {
  const text = `It ${doing(s)}${s.error ? `: ${s.error}` : ''}${why[s.cancelReason] ?? ''}`;
  if (state(s) === 'RUNNING' && s.progress?.length) return `${text} at length ${s.progress.length}.`;
  return `${text}.`;
}

// proven says what is known for certain, and how much was found.
function proven(s) {
  const said = [];
  if (s.position) {
    if (s.provenLength) {
      said.push(Number(s.findingsTotal) ? 'No shorter solution exists.' : `No solution of length up to ${s.provenLength} (${metric(s.metric)}) exists.`);
    }
    said.push(`Found: ${count(Number(s.findingsTotal), 'solution', 'solutions')}.`);
    return said.join(' ');
  }
  if (s.provenLength) said.push(`Every sequence of length up to ${s.provenLength} (${metric(s.metric)}) was covered.`);
  if (s.structure) said.push('It proves nothing: what it finds may not be the shortest.');
  if (s.study) said.push(`Done: ${s.study.unitsDone} of ${s.study.unitsTotal} units.`);
  if (s.classesTotal) {
    const classes = s.lengths.reduce((n, l) => n + l.classes, 0);
    said.push(s.sequencesPerClass > 1
      ? `Found: ${count(Number(s.findingsTotal), 'sequence', 'sequences')} for ${classes || 'some'} of ${s.classesTotal} classes.`
      : `Found: ${s.findingsTotal} of ${s.classesTotal} classes.`);
  } else {
    said.push(`Found: ${s.findingsTotal}.`);
  }
  return said.join(' ');
}

// amount is how much of what it does now is done, and of how much.
export function amount(s) {
  const p = s.progress;
  if (!p) return [0, 0];
  for (const [done, most] of [[p.leavesCovered, p.leavesPredicted], [p.pairsTried, p.pairsPredicted], [p.unitsDone, p.unitsTotal], [p.tableWordsDone, p.tableWordsTotal]]) {
    if (Number(most)) return [Number(done), Number(most)];
  }
  return [0, 0];
}

// part says how much of what it does now is done, where that is known.
export function part(s) {
  const [done, most] = amount(s);
  return most ? `${percent(done, most)} of ${s.progress.length ? `length ${s.progress.length}` : state(s) === 'PREPARING' ? 'its tables' : 'the whole'}` : '';
}

const percent = (done, most) => `${Math.floor((100 * done) / most)} %`;

// remains says how much longer that takes, where it is known.
export const remains = ({ progress: p }) => (p?.remaining ? `about ${span(ms(p.remaining))} more${p.length ? ' for this length' : ''}` : '');

// pace says how fast it works, and how long it will take.
function pace(s) {
  const p = s.progress;
  if (!p || api.ended(s)) return '';
  const rates = [[p.leavesPerSecond, 'words'], [p.nodesPerSecond, 'words'], [p.pairsPerSecond, 'pairs']].filter(([rate]) => rate);
  const said = [part(s), ...rates.map(([rate, what]) => `${per(rate)} ${what} a second`), remains(s)].filter(t => t);
  return said.length ? `${said.join(', ')}.` : '';
}

// lengths are those from 1 to the greatest, with what is known of each.
function lengths(s) {
  if (s.structure || s.study || !s.maxLength) return [];
  const now = api.ended(s) ? 0 : s.progress?.length ?? 0;
  const [done, most] = amount(s);
  return Array.from({ length: s.maxLength }, (_, i) => i + 1).map(length => {
    const l = s.lengths.find(r => r.length === length);
    if (l) {
      const found = s.goal && l.classes ? `, the shortest for ${count(l.classes, 'class', 'classes')} (${count(Number(l.cycles), 'cycle', 'cycles')})` : '';
      return { length, of: 'covered', brief: l.classes ? `✓ ${l.classes}` : '✓', full: `length ${length}: covered, ${large(l.words)} sequences${found}` };
    }
    if (length === now) {
      const brief = most ? percent(done, most) : '…';
      return { length, of: 'now', brief, full: `length ${length}: being searched, ${brief}` };
    }
    return { length, of: 'open', brief: api.ended(s) ? '–' : '', full: `length ${length}: ${api.ended(s) ? 'not covered' : 'to come'}` };
  });
}

// facts are whose it is, since when, and what it used.
function facts(s) {
  const said = [];
  if (s.owner && s.owner !== 'members/local') said.push(`asked for by ${bare(s.owner)}`);
  if (s.createTime) said.push(`asked ${when(s.createTime)}`);
  if (s.endTime) said.push(`ended ${when(s.endTime)}`);
  if (s.coreTime) said.push(`${ms(s.coreTime) < 1000 ? 'less than a second' : span(ms(s.coreTime))} of cores${s.coreBudget ? ` of ${span(ms(s.coreBudget))}` : ''}`);
  if (!api.ended(s) && s.stopTime) said.push(`stops ${when(s.stopTime)}`);
  if (!api.ended(s) && s.priority) said.push(`priority ${s.priority}`);
  if (s.adopted) said.push('what an earlier search knew was taken over');
  const text = said.join('; ');
  return text && `${text[0].toUpperCase()}${text.slice(1)}.`;
}
