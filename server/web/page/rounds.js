// Rounds: the scramble of an attempt, which starts its clock; an entry that is checked while
// one types; standings once the round has closed. What is typed is kept in the field alone
// until it is handed in.

import * as api from './api.js';

const quiet = 400;    // milliseconds without a key before an entry is checked
const tick = 1000;    // between two looks at the clock

const states = {
  ROUND_STATE_ANNOUNCED: 'is announced', ROUND_STATE_OPEN: 'is open', ROUND_STATE_CLOSED: 'has closed', ROUND_STATE_CALLED_OFF: 'was called off',
};
const metric = round => round.metric.replace('METRIC_', '');
const when = text => new Date(text).toLocaleString([], { dateStyle: 'medium', timeStyle: 'short' });

export class Rounds {
  #$; #round = null; #attempt = null; #checking = null; #due = null; #clock = null;

  // show is called with a puzzle and a scramble that is to be seen.
  constructor(box, show) {
    this.#$ = id => box.querySelector(`#${id}`);
    this.show = show;
    this.#$('round').onchange = () => this.#open().catch(e => this.#say(e.message));
    this.#$('round').onfocus = () => this.list().catch(() => {}); // there may be new ones
    this.#$('attempt').onchange = () => this.#closeAttempt();
    this.#$('start').onclick = () => this.#start().catch(e => this.#say(e.message));
    this.#$('solution').oninput = () => {
      clearTimeout(this.#due);
      this.#due = setTimeout(() => this.#enter(true), quiet);
    };
    this.#$('entry').onsubmit = event => {
      event.preventDefault();
      this.#enter(false);
    };
  }

  // list lists the rounds; the one that is looked at stays chosen.
  async list() {
    const all = await api.rounds();
    const now = this.#$('round').value;
    this.#$('round').replaceChildren(new Option(all.length ? 'choose one' : 'there are none yet', ''),
      ...all.map(r => new Option(`${r.title || r.name.replace('rounds/', '')} (${states[r.state]})`, r.name)));
    this.#$('round').value = now;
  }

  async #open() {
    this.#closeAttempt();
    this.#say('');
    this.#$('standings').hidden = true;
    this.#$('taking').hidden = true;
    this.#$('terms').textContent = '';
    const name = this.#$('round').value;
    if (!name) return;
    const r = this.#round = await api.round(name);
    const limit = r.timeLimit ? ` ${Math.round(parseFloat(r.timeLimit) / 60)} minutes for each attempt, from when its scramble is shown.` : '';
    this.#$('terms').textContent = `It ${states[r.state]}: ${r.puzzle.replace('puzzles/', '')}, ${metric(r)}, `
      + `${r.format === 'ROUND_FORMAT_MEAN' ? 'mean' : 'best'} of ${r.attempts}; open from ${when(r.openTime)} to ${when(r.closeTime)}.${limit}`;
    this.#$('attempt').replaceChildren(...Array.from({ length: r.attempts }, (_, i) => new Option(i + 1, i + 1)));
    this.#$('taking').hidden = r.state !== 'ROUND_STATE_OPEN';
    if (r.state === 'ROUND_STATE_CLOSED') await this.#standings();
  }

  // closeAttempt puts away what belongs to one attempt.
  #closeAttempt() {
    clearTimeout(this.#due);
    clearInterval(this.#clock);
    this.#checking?.abort();
    this.#attempt = null;
    this.#$('entry').hidden = true;
    this.#$('solution').value = '';
    this.#$('verdict').textContent = '';
    this.#$('scramble').textContent = this.#$('left').textContent = '';
  }

  async #start() {
    const number = Number(this.#$('attempt').value);
    this.#closeAttempt();
    this.#say('');
    const round = this.#round;
    const a = await api.showScramble(round.name, number);
    if (this.#round !== round) return;
    this.#attempt = a;
    this.#$('scramble').textContent = a.scramble;
    this.#$('entry').hidden = false;
    this.#tell();
    this.#clock = setInterval(() => this.#tell(), tick);
    await this.show(round.puzzle, a.scramble);
    this.#$('solution').focus({ preventScroll: true });
  }

  // tell says how much time is left.
  #tell() {
    const seconds = Math.floor((new Date(this.#attempt.deadline) - Date.now()) / 1000);
    const two = n => String(n).padStart(2, '0');
    this.#$('left').textContent = seconds < 0 ? 'The time is up.'
      : `${Math.floor(seconds / 3600)}:${two(Math.floor(seconds / 60) % 60)}:${two(seconds % 60)} left`;
  }

  // enter has the entry checked, or hands it in.
  async #enter(check) {
    clearTimeout(this.#due);
    this.#checking?.abort();
    const own = this.#checking = new AbortController();
    const attempt = this.#attempt, solution = this.#$('solution').value;
    if (!attempt) return;
    try {
      const entry = await api.submitEntry(attempt.round, { attempt: attempt.number, solution }, check, own.signal);
      this.#$('verdict').textContent = (check ? '' : 'Handed in. ') + judged(entry.verdict, metric(this.#round));
    } catch (error) {
      if (error.name !== 'AbortError') this.#$('verdict').textContent = error.message;
    }
  }

  async #standings() {
    const rows = await api.standings(this.#round.name);
    const body = this.#$('standings').tBodies[0];
    body.replaceChildren(...rows.map(s => {
      const row = document.createElement('tr');
      const results = s.attempts.map(a => (a.dnf ? 'DNF' : a.length || '–')).join('  ');
      for (const text of [s.place || '', s.member.replace('members/', ''), results, s.best || 'DNF', s.meanHundredths ? (s.meanHundredths / 100).toFixed(2) : '']) {
        row.insertCell().textContent = text;
      }
      return row;
    }));
    this.#$('standings').hidden = false;
  }

  #say(text) { this.#$('refused').textContent = text; }
}

// judged says in words what an entry counts for.
function judged({ length, dnf, warnings }, metric) {
  const notes = warnings.map(w => `Note: ${ended(w)}`);
  if (!dnf) return [`It solves the scramble: ${length} ${metric}.`, ...notes].join(' ');
  return [`As it is, it is a DNF: ${ended(dnf.text)}`, ...notes].join(' ');
}

// ended is a sentence with its full stop.
const ended = text => text.replace(/\.?$/, '.');
