// How a round went: standings, everybody's solutions, and some of them side by side.

import * as api from './api.js';
import { bare, count, make, metric, press, span, when } from './make.js';
import { scrambled, seen } from './scramble.js';
import { csv, print, save } from './sheet.js';
import { legend, strip, told } from './strip.js';
import { Verified } from './verified.js';

const records = {
  RECORD_MARK_PERSONAL_SINGLE: 'own best', RECORD_MARK_PERSONAL_MEAN: 'own best mean',
  RECORD_MARK_CLUB_SINGLE: 'club’s best', RECORD_MARK_CLUB_MEAN: 'club’s best mean',
};
const look = 20; // seconds that are spent on how few moves could do

export class Outcome {
  #round; #me; #show; #comparing = new Map(); // what is under way for each attempt
  told = '';      // what the parts that are shown tell
  study = null;   // where there is one: called with a puzzle, a scramble, a solution and its metric
  correct = null; // for organisers: called with an entry

  constructor(round, me, show) {
    this.#round = round;
    this.#me = me;
    this.#show = show;
  }

  // leave ends what is under way: nobody looks at it any more.
  leave() { for (const own of this.#comparing.values()) own.abort(); }

  get #metric() { return metric(this.#round.metric); }

  // parts are what there is to see; none where it is what is shown already, which told says of it.
  async parts(shown = '') {
    const [standings, entries] = await Promise.all([api.standings(this.#round.name), api.entries(this.#round.name)]);
    this.told = JSON.stringify([this.#round, standings, entries]);
    if (this.told === shown) return null;
    const table = this.#standings(standings);
    return [table, ...this.#sheets(table, standings, entries), ...this.#round.scrambles.map((s, i) => this.#attempt(i + 1, s, entries.filter(e => e.attempt === i + 1))), new Verified(this.#round).box];
  }

  // #sheets are the standings to take away: on paper, or as a table for other programs.
  #sheets(table, standings, entries) {
    if (!standings.length) return [];
    const attempts = this.#round.scrambles.flatMap((s, i) => [
      make('h2', '', this.#round.attempts > 1 ? `Attempt ${i + 1}` : 'The scramble'), make('p', '', make('code', '', s)),
      ...ranked(entries.filter(e => e.attempt === i + 1)).map(e => make('p', '', make('b', '', bare(e.member)), ` ${e.verdict.dnf ? 'DNF' : count(e.verdict.length, 'move', 'moves')}: `,
        make('code', '', judged(e)), ...e.corrections.map(c => ` ${corrected(c)}`))),
    ]);
    const name = bare(this.#round.name);
    const head = () => [make('h1', '', this.#round.title || name), make('p', '', `${bare(this.#round.puzzle)}, closed ${when(this.#round.closeTime)}`)];
    return [make('p', 'row take-away', press('Print it', () => print(...head(), table.firstChild.cloneNode(true), ...attempts)),
      press('Save the standings as CSV', () => save(`${name}.csv`, 'text/csv', csv(table.querySelectorAll('tr')))))];
  }

  #standings(rows) {
    if (!rows.length) return make('p', '', 'Nobody took part.');
    const { attempts, format } = this.#round;
    const mean = format === 'ROUND_FORMAT_MEAN';
    const head = ['Place', 'Member', ...(attempts > 1 ? Array.from({ length: attempts }, (_, i) => `Attempt ${i + 1}`) : []), ...(mean ? ['Mean'] : []), 'Best', 'Records'];
    const result = a => (a.dnf ? 'DNF' : a.entry ? a.length : 'DNS');
    const body = rows.map(r => {
      const first = make('th', '', r.place ? String(r.place) : '–');
      first.scope = 'row';
      const best = r.best || r.attempts.some(a => a.entry && !a.dnf) ? r.best : r.attempts.some(a => a.dnf) ? 'DNF' : 'DNS';
      const row = make('tr', '', first, ...[
        bare(r.member), ...(attempts > 1 ? r.attempts.map(result) : []), ...(mean ? [r.meanHundredths ? (r.meanHundredths / 100).toFixed(2) : 'DNF'] : []),
        best, r.records.map(m => records[m] ?? m).join(', '),
      ].map(text => make('td', '', String(text))));
      if (r.member === this.#me) row.className = 'mine';
      return row;
    });
    const table = make('table', '', make('caption', '', `Standings, by length in ${this.#metric}`),
      make('thead', '', make('tr', '', ...head.map(h => Object.assign(make('th', '', h), { scope: 'col' })))), make('tbody', '', ...body));
    const wide = make('div', 'wide standings', table);
    wide.tabIndex = 0; // so that it can be scrolled by keys where it is wider than the page
    wide.setAttribute('role', 'group');
    wide.setAttribute('aria-label', 'Standings');
    return wide;
  }

  #attempt(number, scramble, entries) {
    const box = make('section', 'attempt');
    box.setAttribute('aria-label', `Attempt ${number}`);
    box.append(make('h4', '', this.#round.attempts > 1 ? `Attempt ${number}` : 'The scramble'), scrambled(this.#round.puzzle, scramble, () => this.#see(scramble, '', 0)));
    const sorted = ranked(entries);
    if (!sorted.length) {
      box.append(make('p', 'soft', 'Nobody handed anything in.'));
      return box;
    }
    const list = make('ol', 'entries');
    list.append(...sorted.map((e, i) => this.#entry(e, scramble, i < 12)));
    const out = make('div', 'comparison');
    const results = sorted.filter(e => !e.verdict.dnf).length;
    if (!results) {
      box.append(list);
      return box;
    }
    const compare = press(results > 1 ? 'Side by side' : 'Where its moves went', () => this.#compare(number, scramble, sorted.filter(e => list.querySelector(`[value="${e.name}"]`)?.checked), out), 'main compare');
    box.append(list, make('p', 'row', compare, results > 1 ? make('span', 'soft', 'those that are ticked') : ''), out);
    return box;
  }

  #entry(e, scramble, ticked) {
    const { dnf, length } = e.verdict;
    const label = make('label', '');
    if (!dnf) label.append(Object.assign(make('input', ''), { type: 'checkbox', value: e.name, checked: ticked }), ' ');
    label.append(make('b', '', bare(e.member)), dnf ? ' DNF' : ` ${count(length, 'move', 'moves')}`);
    const after = span(Date.parse(e.updateTime) - Date.parse(e.showTime));
    const item = make('li', '', label, make('span', 'soft', ` handed in ${after} after the scramble was shown`), make('p', '', make('code', '', judged(e))),
      make('p', 'row', press('Play', () => this.#see(scramble, judged(e), 0)),
        this.study && !dnf ? press('Study it', () => this.study(this.#round.puzzle, scramble, judged(e), this.#round.metric), 'study') : null,
        this.correct ? press('Correct', () => this.correct(e), 'correct') : null));
    if (judged(e) !== e.solution) item.append(make('p', 'soft', 'Handed in as ', make('code', '', e.solution)));
    if (dnf) item.append(make('p', 'soft', `No result: ${dnf.text}.`));
    for (const w of e.verdict.warnings) item.append(make('p', 'soft', `For organisers to look at: ${w}.`));
    for (const c of e.corrections) item.append(make('p', 'corrected', corrected(c)));
    if (e.explanation) item.append(make('details', '', make('summary', '', `What ${bare(e.member)} thought`), make('pre', '', e.explanation)));
    return item;
  }

  // #see plays a solution from the scramble, after so many of its turns.
  #see(scramble, solution, done) { return seen(this.#show, this.#round.puzzle, scramble, solution, done); }

  async #compare(number, scramble, entries, out) {
    this.#comparing.get(number)?.abort();
    const own = new AbortController();
    this.#comparing.set(number, own);
    const said = make('p', 'wrong', entries.length ? 'One moment …' : 'Tick a solution first.');
    said.setAttribute('role', 'status');
    out.replaceChildren(said);
    out.dataset.solutions = 0;
    if (!entries.length) return;
    try {
      const { puzzle } = this.#round;
      if (entries.length === 1) { // alone: where its moves went
        const [{ member, explanation, verdict }] = entries, solution = judged(entries[0]);
        const text = await comesTo(puzzle, explanation, solution) ? explanation : solution;
        for await (const { analysis } of api.study(puzzle, { metric: this.#round.metric, scramble, solution: text }, own.signal)) {
          if (analysis) await this.#lay(out, scramble, { solutions: [{ name: bare(member), length: verdict.length, analysis }], shared: [] }, own.signal);
        }
        return;
      }
      const request = { round: this.#round.name, attempt: number, members: entries.map(e => e.member) };
      for await (const { comparison } of api.compare(request, own.signal)) {
        if (!comparison) continue;
        await this.#lay(out, scramble, comparison, own.signal);
        const fewest = press(`How few moves could do? It looks for ${look} seconds`, () => this.#fewest(request, out, fewest, own.signal), 'fewest');
        const whole = make('p', 'whole');
        whole.setAttribute('role', 'status');
        out.append(make('p', '', fewest), whole);
      }
    } catch (error) {
      if (error.name !== 'AbortError') said.textContent = error.message;
    }
  }

  // #fewest says of each stage, and of the whole, how few moves could do, as it is found out.
  async #fewest(request, out, button, signal) {
    const whole = out.querySelector('.whole');
    button.disabled = true;
    for (const said of out.querySelectorAll('.told')) said.remove(); // by a look before that broke off
    whole.textContent = 'It is looking …';
    try {
      for await (const { fewest: f } of api.compare({ ...request, proveTime: `${look}s` }, signal)) {
        if (!f) continue;
        const said = told(f);
        const place = f.stage ? out.querySelectorAll('.compared')[f.solution - 1].querySelectorAll('.legend li')[f.stage - 1] : whole;
        if (place === whole) whole.replaceChildren(said);
        else place.append(said);
      }
      if (!whole.querySelector('.told')) whole.textContent = 'For the whole nothing was found out in that time.';
      out.dataset.looked = '';
    } catch (error) {
      if (error.name === 'AbortError') return;
      whole.textContent = error.message;
      button.disabled = false;
    }
  }

  // #lay puts strips of turns under one another, all on one scale, coloured by stage.
  async #lay(out, scramble, { solutions, shared }, signal) {
    const rows = await Promise.all(solutions.map(async s => {
      const { turns } = await api.trace(this.#round.puzzle, s.analysis.solution, signal);
      return this.#strip(scramble, s, turns.map(t => t.text));
    }));
    const names = solutions.map(s => s.name);
    out.replaceChildren(...rows, ...shared.filter(s => s.length > 0).map(s => make('p', '',
      `${names[s.first - 1]} and ${names[s.second - 1]} begin alike: `, make('code', '', s.turns), `, ${count(s.length, 'move', 'moves')}.`)));
    out.dataset.solutions = solutions.length;
  }

  #strip(scramble, { name, length, analysis }, turns) {
    const box = make('section', 'compared', make('h5', '', `${name}: ${count(length, 'move', 'moves')} (${this.#metric})`),
      strip(turns, analysis.stages, n => this.#see(scramble, analysis.solution, n)), legend(analysis.stages));
    box.setAttribute('aria-label', name);
    if (analysis.mergedLength < length) box.append(make('p', 'soft', `Neighbours merged, it is ${count(analysis.mergedLength, 'move', 'moves')}.`));
    return box;
  }
}

// comesTo tells whether an explanation can be read, and comes to the turns that were handed in:
// only then do its comments name their stages.
async function comesTo(puzzle, explanation, solution) {
  if (!explanation) return false;
  try {
    const [a, b] = await Promise.all([explanation, solution].map(text => api.trace(puzzle, text)));
    return JSON.stringify(a.turns) === JSON.stringify(b.turns);
  } catch {
    return false; // it is prose
  }
}

// ranked are entries by what they count for.
const ranked = entries => [...entries].sort((a, b) =>
  Boolean(a.verdict.dnf) - Boolean(b.verdict.dnf) || a.verdict.length - b.verdict.length || a.member.localeCompare(b.member));

// judged is the solution that an entry counts for: what was handed in, or what an organiser put in its place.
const judged = e => e.corrections.at(-1)?.solution || e.solution;

// corrected says what a correction was.
const corrected = c => `Corrected by ${bare(c.member)}, ${when(c.time)}: ${c.reason}. Before, it counted as ${
  c.before.dnf ? `no result (${c.before.dnf.text})` : count(c.before.length, 'move', 'moves')}.`;
