// What organisers do with rounds: announce one, change it, end it, correct an entry. Others are
// not offered that; the server holds to it whatever a page offers.

import * as api from './api.js';
import * as kept from './kept.js';
import { ask, bare, count, local, make, press, put, span, when } from './make.js';

const day = 24 * 3600_000;

const zone = () => Intl.DateTimeFormat().resolvedOptions().timeZone;

export class Organiser {
  #done; #puzzle = ''; #form = null; #changing = null; #round = null; #place = make('div'); #member = null;

  // done is called with a round that was announced, changed or ended, and whether it is a new one.
  constructor(done) {
    this.#done = done;
    this.may = false;
    this.button = press('Announce a round', () => this.#toggle(), 'to-announce');
    this.button.hidden = true;
    this.button.setAttribute('aria-expanded', 'false');
    this.box = make('div', 'announce');
    this.box.hidden = true;
  }

  // entered hears who is there now. What someone else had written is not theirs to see, what they wrote
  // themselves before the page was loaded again is.
  entered(caller) {
    this.may = caller.role === 'ROLE_ORGANISER';
    this.button.hidden = !this.may;
    if (!this.may) this.#close();
    if (this.#member !== null && caller.member !== this.#member) this.#drop();
    else if (this.#member === null && this.may && kept.get('announce')) this.#open();
    this.#member = caller.member;
  }

  // fill hears which puzzle is on the stage: the next round is on it unless someone says otherwise.
  fill(model) { this.#puzzle = model.puzzle; }

  #toggle() {
    if (!this.box.hidden) { this.#close(); return; }
    this.#open();
    this.#form.focus();
  }

  #open() {
    this.box.hidden = false;
    this.button.setAttribute('aria-expanded', 'true');
    if (this.#form) return;
    this.#form = new Form(null, this.#puzzle, async form => {
      const round = await api.announce(form.round, form.id, form.request);
      this.#drop();
      await this.#done(round, true);
    }, () => this.#close(), () => { this.#drop(); this.#toggle(); });
    this.box.replaceChildren(this.#form.box);
  }

  // #drop throws the form away, with what is written in it.
  #drop() {
    this.#close();
    this.#form = null;
    this.box.replaceChildren();
    kept.keep('announce', null);
  }

  // #close puts the form away with what is written in it.
  #close() {
    this.box.hidden = true;
    this.button.setAttribute('aria-expanded', 'false');
  }

  // about shows what can be done with a round. What is the same stays, and so does a change that someone is writing.
  about(box, round) {
    const was = this.#round?.name === round.name ? this.#round.state : '';
    const may = this.may && ['ROUND_STATE_ANNOUNCED', 'ROUND_STATE_OPEN'].includes(round.state);
    this.#round = may ? round : null;
    if (!was || !may) this.#shut();
    if (!may) { box.replaceChildren(); return; }
    this.#changing?.renew(round);
    if (was === round.state) return;
    put(box, [make('p', 'row', make('span', 'soft', 'For organisers:'), press('Change it', () => this.#change(), 'change'),
      round.state === 'ROUND_STATE_OPEN' ? press('Close it now', () => this.#end(this.#round, false), 'close') : null,
      press('Call it off', () => this.#end(this.#round, true), 'call-off')), this.#place]);
  }

  // #change has a form for the round that is shown.
  #change() {
    if (!this.#changing) {
      const { name, puzzle } = this.#round;
      const own = this.#changing = new Form(this.#round, puzzle, async form => {
        const changed = await api.amend({ ...form.round, name }, form.fields, form.reason, form.request);
        if (this.#changing === own) this.#shut(); // else it is another round's by now
        await this.#done(changed);
      }, () => { this.#shut(); this.#place.parentElement.querySelector('.change').focus(); });
      this.#place.replaceChildren(this.#changing.box);
    }
    this.#changing.focus();
  }

  #shut() {
    this.#changing = null;
    this.#place.replaceChildren();
  }

  // #end asks whether someone means to close a round or to call it off, and says whose clocks run.
  #end(round, off) {
    const said = off
      ? 'Nothing that was sealed is ever shown to others, and nobody hands anything in any more. There is no way back.'
      : 'Nobody hands anything in any more, and everybody sees all scrambles and entries. There is no way back.';
    const clocks = make('p', 'soft');
    clocks.setAttribute('role', 'status');
    api.views(round.name).then(views => { clocks.textContent = running(round, views); }, () => {});
    const why = reason();
    const name = api.once();
    ask({
      title: off ? 'Call this round off?' : 'Close this round now?', parts: [make('p', '', said), clocks, why.box], no: 'Leave it as it is',
      yes: off ? 'Call it off' : 'Close it now',
      does: async () => this.#done(await api.end(round.name, off, why.text, name(round.name, off, why.text))),
    });
  }

  // correct asks what an entry is to count for, and why.
  correct(round, entry, done) {
    const chosen = (value, text) => {
      const input = Object.assign(make('input', ''), { type: 'radio', name: 'count', value, onchange: () => { solution.hidden = value !== 'other'; } });
      return make('p', '', make('label', '', input, ` ${text}`));
    };
    const text = Object.assign(make('textarea', ''), { rows: 3, spellcheck: false, value: entry.corrections.at(-1)?.solution || entry.solution });
    const solution = make('label', '', 'Judged in its place', text);
    solution.hidden = true;
    const why = reason();
    const first = chosen('other', 'was meant otherwise than it was written');
    const choices = make('fieldset', 'choices', make('legend', '', 'It'), first,
      chosen('dnf', 'is no result'), chosen('again', 'is judged again, as it was handed in'));
    const name = api.once();
    ask({
      title: `Correct what ${bare(entry.member)} handed in?`,
      parts: [make('p', '', make('code', '', entry.solution)), choices, solution, why.box,
        make('p', 'soft', 'What was handed in stays, and everybody sees what it counted for before, who corrected it, and why.')],
      no: 'Leave it as it is', yes: 'Correct it',
      does: async () => {
        const value = choices.querySelector('input:checked')?.value;
        if (!value) throw new Error('Choose what it is to count for.');
        if (value === 'other' && !text.value.trim()) throw new Error('Write what is judged in its place.');
        const correction = { dnf: value === 'dnf', solution: value === 'other' ? text.value : '', reason: why.text };
        await api.correct(entry.name, correction, name(correction));
        await done();
      },
    });
  }
}

// reason is a field for why something is done.
function reason() {
  const input = Object.assign(make('textarea', 'reason'), { rows: 2, maxLength: 500 });
  return {
    box: make('label', '', 'Why? Everybody sees this', input),
    get text() {
      if (input.value.trim()) return input.value.trim();
      throw new Error('Say why: everybody sees it.');
    },
  };
}

// running says whose clocks run still in an open round.
function running(round, views) {
  const limit = parseFloat(round.timeLimit) * 1000, all = views.filter(v => v.first);
  if (round.state !== 'ROUND_STATE_OPEN') return '';
  const still = all.filter(v => Date.parse(v.time) + limit > api.now());
  const until = v => when(Math.min(Date.parse(v.time) + limit, Date.parse(round.closeTime)));
  if (!all.length) return 'Nobody has begun.';
  return still.length
    ? `Clocks that run still: ${still.map(v => `${bare(v.member)}${round.attempts > 1 ? `, attempt ${v.attempt}` : ''}, until ${until(v)}`).join('; ')}.`
    : `No clock runs now; ${count(new Set(all.map(v => v.member)).size, 'member has', 'members have')} begun.`;
}

// Form is a round to announce, or the changes of one.
class Form {
  #was; #rows = new Map(); #given = new Map(); #name = api.once(); #said; #sum; #send; #yes;

  // was is the round that is changed, or null; send is called with what is written. What is written for
  // a new one is kept; anew is called to throw it away.
  constructor(was, puzzle, send, close, anew) {
    const before = (!was && kept.get('announce')) || [];
    const said = name => before.flatMap(([n, value]) => (n === name ? [value] : []));
    this.#was = was;
    this.#send = send;
    this.box = make('form', 'card');
    this.box.noValidate = true; // what is wrong is said at its field, in one voice with the server's
    this.box.onsubmit = event => { event.preventDefault(); this.#submit(); };
    const title = make('h3', '', was ? 'Change this round' : 'Announce a round');
    this.title = this.#input('title', 'What people call it', { maxLength: 200, value: was?.title ?? '' });
    if (!was) {
      this.id = this.#input('round_id', 'Its name in addresses', { maxLength: 63, spellcheck: false, autocapitalize: 'off' }, 'Lower-case letters, digits and hyphens; made up where it is empty.');
      this.title.addEventListener('input', () => { if (!this.id.dataset.own) this.id.value = slug(this.title.value); });
      this.id.addEventListener('input', () => { this.id.dataset.own = this.id.value; });
      [puzzle] = [...said('puzzle'), puzzle];
      this.puzzle = this.#select('puzzle', 'Puzzle', [[bare(puzzle), puzzle]], puzzle);
      this.#puzzles(puzzle);
    }
    const metrics = ['OBTM', 'STM', 'QTM', 'ETM'].map(m => [m, `METRIC_${m}`]);
    this.metric = this.#select('metric', 'Length is counted in', metrics, was?.metric ?? 'METRIC_OBTM');
    this.format = this.#select('format', 'What counts', [['the best attempt', 'ROUND_FORMAT_BEST'], ['the mean of three attempts', 'ROUND_FORMAT_MEAN']], was?.format ?? 'ROUND_FORMAT_BEST');
    this.attempts = this.#input('attempts', 'Attempts', { type: 'number', min: 1, max: 5, step: 1, required: true, value: was?.attempts ?? 1 });
    const three = () => {
      const mean = this.format.value === 'ROUND_FORMAT_MEAN';
      if (mean) this.attempts.value = 3;
      this.attempts.readOnly = mean;
    };
    this.format.addEventListener('change', three);
    this.limit = this.#input('time_limit', 'Minutes for each attempt', { type: 'number', min: 1, max: 10080, step: 1, required: true, value: was ? parseFloat(was.timeLimit) / 60 : 60 }, '60 by WCA Regulation E2b.');
    const hint = `In your zone, ${zone()}.`;
    this.opens = this.#input('open_time', 'Opens', { type: 'datetime-local', value: was ? local(was.openTime) : '' }, was ? hint : `At once where it is empty. ${hint}`);
    this.closes = this.#input('close_time', 'Closes', { type: 'datetime-local', value: local(was ? was.closeTime : Math.ceil((api.now() + day) / 3600_000) * 3600_000) }, hint);
    this.most = this.#input('max_length', 'Greatest length that counts', { type: 'number', min: 0, step: 1, value: was?.maxLength || '' }, 'By ETM, none where it is empty; 80 by WCA Regulation E2d1.');
    this.content = this.#select('content', 'A solution is written with', [['moves and rotations only', 'ENTRY_CONTENT_PLAIN'], ['brackets, exponents and comments, too', 'ENTRY_CONTENT_NOTATION']], was?.content ?? 'ENTRY_CONTENT_PLAIN');
    this.#members(was?.members ?? said('member'), said('who')[0] === 'some');
    if (was) this.reason = this.#row('reason', 'Why', Object.assign(make('textarea', ''), { rows: 2, maxLength: 500 }), 'Everybody sees it. It may be left out before the round opens.');
    this.#sum = make('p', 'soft');
    this.#said = make('p', 'wrong');
    this.#said.setAttribute('role', 'alert');
    this.#yes = Object.assign(make('button', 'main', was ? 'Make this change' : 'Announce it'), { type: 'submit' });
    this.box.append(title, make('div', 'blanks', ...[...this.#rows.values()].map(r => r.box)), this.#sum, this.#said,
      make('p', 'row', this.#yes, press(was ? 'Leave it as it is' : 'Put it away', close), was ? null : press('Begin anew', anew, 'anew')));
    for (const type of ['input', 'change']) {
      this.box.addEventListener(type, event => {
        this.#add();
        const row = this.#rows.get(event.target.closest('.blank')?.dataset.field);
        if (row) this.#clear(row); // someone mends it
        if (!was) kept.keep('announce', kept.said(this.box));
      });
    }
    if (before.length) {
      kept.write(this.box, before);
      if (this.id.value !== slug(this.title.value)) this.id.dataset.own = this.id.value;
    }
    three();
    if (was) this.renew(was);
    this.#add();
  }

  focus() { this.title.focus(); }

  // renew takes away what can't be changed of a round as it is now.
  renew(round) {
    const opened = round.state === 'ROUND_STATE_OPEN';
    this.#was = round;
    if (!this.#given.size) for (const field of this.#rows.keys()) this.#given.set(field, this.#value(field));
    for (const field of ['metric', 'format', 'attempts', 'time_limit', 'open_time', 'max_length', 'content']) {
      this.#rows.get(field).inputs.forEach(input => { input.disabled = opened; });
    }
    for (const input of this.#rows.get('members').inputs) { // nobody is taken out any more
      input.disabled = opened && (round.members.length ? round.members.includes(input.value) : true);
    }
    this.#rows.get('members').hint.textContent = opened ? 'Since it has opened, there can be more members, and not fewer.' : '';
  }

  // #row is a field with its label, and room for what is wrong with it.
  #row(field, label, input, hint = '') {
    const name = `${this.#was ? 'change' : 'announce'}-${field}`;
    input.id = name;
    input.name = field;
    const wrong = make('p', 'wrong'), says = make('small', 'soft', hint);
    wrong.id = `${name}-wrong`;
    says.id = `${name}-hint`;
    input.setAttribute('aria-describedby', `${wrong.id} ${says.id}`);
    const box = make('div', 'blank', Object.assign(make('label', '', label), { htmlFor: name }), input, wrong, says);
    box.dataset.field = field;
    this.#rows.set(field, { box, wrong, hint: says, inputs: [input] });
    return input;
  }

  #input(field, label, more, hint) { return this.#row(field, label, Object.assign(make('input', ''), more), hint); }

  #select(field, label, options, value) {
    const list = make('select', '');
    list.append(...options.map(([text, v]) => new Option(text, v)));
    list.value = value;
    return this.#row(field, label, list);
  }

  async #puzzles(puzzle) {
    try {
      const all = await api.puzzles();
      const chosen = this.puzzle.value;
      this.puzzle.replaceChildren(...all.map(p => new Option(bare(p.name), p.name)));
      this.puzzle.value = chosen || puzzle;
    } catch (error) {
      this.#wrong('puzzle', error.message);
    }
  }

  // #members is a choice between everybody and some.
  #members(chosen, only = false) {
    only ||= chosen.length > 0;
    const radio = (value, text, checked) => {
      const input = Object.assign(make('input', ''), { type: 'radio', name: 'who', value, checked, onchange: () => { list.hidden = value !== 'some'; } });
      return make('label', '', input, ` ${text}`);
    };
    const list = make('div', 'some');
    list.hidden = !only;
    const wrong = make('p', 'wrong'), hint = make('small', 'soft');
    const all = radio('', 'everybody', !only), some = radio('some', 'only these:', only);
    const box = make('fieldset', 'blank', make('legend', '', 'Who may take part'), all, some, list, wrong, hint);
    box.dataset.field = 'members';
    const row = { box, wrong, hint, inputs: [all.firstChild, some.firstChild] };
    this.#rows.set('members', row);
    let there = false; // before the members are there, those are chosen who were
    this.who = () => (!some.firstChild.checked ? [] : there ? [...list.querySelectorAll('input:checked')].map(i => i.value) : chosen);
    const fill = names => {
      there = true;
      const boxes = names.map(name => {
        const input = Object.assign(make('input', ''), { type: 'checkbox', name: 'member', value: name, checked: chosen.includes(name) });
        row.inputs.push(input);
        return make('label', '', input, ` ${bare(name)}`);
      });
      list.replaceChildren(...(boxes.length ? boxes : [make('span', 'soft', 'This server has no members.')]));
      if (this.#was) this.renew(this.#was);
    };
    api.members().then(
      members => fill([...new Set([...members.filter(m => m.role !== 'ROLE_WORKER').map(m => m.name), ...chosen])]),
      error => { wrong.textContent = error.message; });
  }

  #value(field) {
    return field === 'members' ? [...this.who()].sort().join(' ') : this.#rows.get(field).inputs[0].value;
  }

  // #add says what the times come to.
  #add() {
    const opens = this.opens.value ? Date.parse(this.opens.value) : api.now(), closes = Date.parse(this.closes.value);
    this.#sum.textContent = closes > opens ? `It is open for ${span(closes - opens)}, until ${when(closes)}.` : '';
  }

  #wrong(field, text) {
    const row = this.#rows.get(field);
    if (!row) { this.#said.textContent = text; return; }
    row.wrong.textContent = text;
    row.inputs[0].setAttribute('aria-invalid', 'true');
    if (!this.box.contains(document.activeElement) || document.activeElement === this.#yes) row.inputs.find(i => !i.disabled)?.focus();
  }

  #clear({ wrong, inputs }) {
    wrong.textContent = '';
    inputs[0].removeAttribute('aria-invalid');
  }

  // #checked tells whether the browser can read all that is written: a date that is half there is none.
  #checked() {
    this.#said.textContent = '';
    for (const row of this.#rows.values()) this.#clear(row);
    if (this.who().length === 0 && this.box.querySelector('[name="who"][value="some"]').checked) {
      this.#wrong('members', 'Choose at least one, or everybody.');
      return false;
    }
    const bad = [...this.#rows].filter(([, { inputs }]) => !inputs[0].disabled && !inputs[0].validity.valid);
    for (const [field, { inputs: [input] }] of bad) this.#wrong(field, input.validationMessage);
    return !bad.length;
  }

  // #read gives what is written as the API has it.
  #read() {
    const time = input => (input.value ? new Date(input.value).toISOString() : null);
    return {
      title: this.title.value.trim(), puzzle: this.puzzle?.value, metric: this.metric.value, format: this.format.value, attempts: Number(this.attempts.value),
      openTime: time(this.opens), closeTime: time(this.closes), timeLimit: `${Number(this.limit.value) * 60}s`, maxLength: Number(this.most.value),
      content: this.content.value, members: this.who(),
    };
  }

  async #submit() {
    if (!this.#checked()) return;
    const round = this.#read();
    const form = { round, id: this.id?.value.trim() ?? '', reason: this.reason?.value.trim() ?? '', fields: [] };
    if (this.#was) {
      const changed = [...this.#given.keys()].filter(f => f !== 'reason' && this.#value(f) !== this.#given.get(f) && !(f !== 'members' && this.#rows.get(f).inputs[0].disabled));
      if (!changed.length) { this.#said.textContent = 'Nothing is changed yet.'; return; }
      form.fields = changed.map(camel);
      for (const field of Object.keys(round)) if (!form.fields.includes(field)) delete round[field];
    }
    form.request = this.#name(form);
    this.#yes.disabled = true;
    try {
      await this.#send(form);
    } catch (error) {
      this.#refused(error);
    } finally {
      this.#yes.disabled = false;
    }
  }

  // #refused says at its field what the server refuses.
  #refused(error) {
    const at = { ROUND_EXISTS: 'round_id', MEMBER_NOT_FOUND: 'members', PUZZLE_NOT_FOUND: 'puzzle' }[error.reason];
    if (at) this.#wrong(at, error.message);
    else if (!error.fields?.length) this.#said.textContent = error.message;
    for (const v of at ? [] : error.fields ?? []) {
      const field = v.field.replace(/^round\./, '').replace(/\[.*$/, '');
      this.#wrong(field, times(v.description));
    }
  }
}

const camel = field => field.replace(/_(.)/g, (_, letter) => letter.toUpperCase());

// slug is a title as the last part of a name.
const slug = title => title.toLowerCase().normalize('NFD').replace(/\p{M}/gu, '').replace(/[^a-z0-9]+/g, '-').replace(/^[^a-z]+|-+$/g, '').slice(0, 63).replace(/-+$/, '');

// times has the times of a message in the reader's own zone.
const times = text => text.replace(/\d{4}-\d\d-\d\dT[\d:]+Z/g, time => when(time));
