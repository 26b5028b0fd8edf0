// What there is to beat: how few moves could do, stage by stage, and a solution that the server
// makes in stages.

import * as api from './api.js';
import { Look } from './look.js';
import { count, make, press } from './make.js';
import { legend, sees, strip, told } from './strip.js';

const longest = 20_000; // bytes of a text whose comments the server reads
const bytes = text => new TextEncoder().encode(text).length;

// lengths is a choice of how long to look.
function lengths(seconds, usual, label) {
  const choose = make('select', '');
  choose.setAttribute('aria-label', label);
  choose.append(...seconds.map(s => new Option(s < 60 ? `${s} seconds` : count(s / 60, 'minute', 'minutes'), s)));
  choose.value = usual;
  return choose;
}

// Fewest says at each stage, and of the whole, how few moves could do.
export class Fewest {
  #desk; #look; #time; #whole; #of = null;

  constructor(desk) {
    this.#desk = desk;
    this.#time = lengths([20, 60, 300], 20, 'How long to look for how few moves could do');
    this.#look = new Look('How few moves could do?', (signal, tell) => this.#weigh(signal, tell), { name: 'weigh', beside: [this.#time] });
    this.#whole = make('p', 'whole');
    this.box = make('section', 'fewest', make('h3', '', 'How few could do'),
      make('p', 'soft', 'For each stage, and for the whole. What is found out stands above, at the stage.'), this.#look.box, this.#whole);
    this.box.setAttribute('aria-label', 'How few moves could do');
  }

  take(current) {
    this.#look.end('');
    this.#whole.replaceChildren();
    this.#of = current;
    this.box.hidden = !current?.analysis.solves || !current.before;
  }

  async #weigh(signal, tell) {
    const of = this.#of, { metric, scramble, solution, text } = of;
    // It is compared with itself: the server weighs what it has of both once.
    const explanation = bytes(text) <= longest ? text : '';
    const one = name => ({ name, solution, explanation });
    for (const e of this.#desk.went.querySelectorAll('.told')) e.remove();
    this.#whole.replaceChildren();
    tell('It is looking …');
    const request = { puzzle: of.puzzle, metric, scramble, solutions: [one('1'), one('2')], proveTime: `${this.#time.value}s` };
    for await (const { fewest: f } of api.compare(request, signal)) {
      if (!f || (f.stage && f.solution !== 1)) continue;
      const said = told(f);
      if (f.stage) this.#desk.went.querySelectorAll('.legend li')[f.stage - 1]?.append(said);
      else this.#whole.replaceChildren(said, f.turns ? press('See it', () => this.#desk.see(f.turns, 0), 'small') : '');
    }
    return this.#whole.hasChildNodes() ? 'It has looked.' : 'For the whole nothing was found out in that time.';
  }
}

// Baseline shows the scramble solved in stages by the server, and shorter ones as they come.
export class Baseline {
  #desk; #look; #time; #out; #key = ''; before = 0;

  constructor(desk) {
    this.#desk = desk;
    this.#time = lengths([10, 30, 60, 300], 10, 'How long to shorten it');
    this.#look = new Look('Have it solved in stages', (signal, tell) => this.#solve(signal, tell), { name: 'solve', beside: [this.#time] });
    this.#out = make('div', 'out');
    this.box = make('section', 'baseline', make('h3', '', 'A length to beat'),
      make('p', 'soft', 'The server solves the scramble its own way, one type of piece after another, and shortens that as long as you say. The first time on a puzzle it makes tables, which can take a minute.'),
      this.#look.box, this.#out);
    this.box.setAttribute('aria-label', 'A length to beat');
    this.clear();
  }

  // on is told of the scramble: what it is known by, and how many turns it has.
  on({ key, turns }) {
    this.before = turns;
    if (key !== this.#key) this.clear();
    this.#key = key;
    this.box.hidden = turns === 0;
  }

  clear() {
    this.#look.end('');
    this.#out.replaceChildren();
    this.box.hidden = true;
    delete this.box.dataset.length;
    this.#key = '';
  }

  async #solve(signal, tell) {
    const { puzzle, request } = this.#desk;
    tell('It is solving it …');
    let n = 0, fewest = false;
    for await (const { baseline } of api.baseline(puzzle, { ...request, shortenTime: `${this.#time.value}s` }, signal)) {
      if (!baseline) continue;
      n++;
      fewest = baseline.stages.length === 1 && baseline.stages[0].name === 'all';
      await this.#lay(puzzle, request, baseline, signal);
      tell('It is shortening it …');
    }
    if (fewest) return 'Fewer moves can’t do: one stage solved all of it in the fewest.';
    return n ? `It has looked${n > 1 ? `, and found ${count(n - 1, 'shorter one', 'shorter ones')}: this is the shortest` : ' and found nothing shorter'}.` : 'Nothing came in that time.';
  }

  async #lay(puzzle, request, baseline, signal) {
    const [{ turns }, stages] = await Promise.all([this.#desk.read(baseline.solution, signal), this.#stages(puzzle, request, baseline, signal)]);
    const see = n => this.#desk.see(baseline.solution, n, request.scramble, this.before);
    const row = strip(turns, stages, see);
    [...row.querySelectorAll('button')].forEach((b, i) => sees(b, baseline.solution, i + 1));
    const { current } = this.#desk;
    const less = current?.analysis.solves ? current.length - baseline.length : null;
    const against = less === null ? '' : less > 0 ? `: ${less} less than yours` : less < 0 ? `: yours has ${-less} less` : ': as many as yours';
    this.#out.replaceChildren(
      make('div', 'head', make('h4', '', `${count(baseline.length, 'move', 'moves')} (${this.#desk.metric})${against}`), press('See it', () => see(0), 'small'),
        press('Take it as the solution', () => this.#desk.put(baseline.solution), 'small')),
      row, stages.length > 1 ? legend(stages) : '',
      baseline.stages.length > 1 ? make('p', 'soft', `As it was made: ${baseline.stages.map(s => `${s.name} +${s.added}`).join(', ')}.`) : '');
    this.box.dataset.length = baseline.length;
  }

  // #stages asks where its moves went. Its own stages can stand within one another.
  async #stages(puzzle, request, { solution }, signal) {
    if (!solution) return [];
    for await (const { analysis } of api.study(puzzle, { ...request, solution }, signal)) {
      if (analysis) return analysis.stages;
    }
    return [];
  }
}
