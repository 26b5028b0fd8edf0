// The sieve: which of a search's findings are listed. It asks a few questions of each, and
// offers the answers that there are, each with how many findings give it.

import { make, press, say } from './make.js';

const setup = /,? with an? \d+-turn setup$/; // what the server's words say of a setup comes last

// kind is the family of structures that a reading belongs to.
function kind(e) {
  if (!e) return 'too long to be read';
  if (e.plain) return 'no structure';
  if (e.words.includes(', then ')) return 'several, one after another';
  const commutators = e.words.split('commutator').length - 1;
  return ['conjugate', 'commutator'][commutators] ?? 'nested commutator';
}

// shape is the cycle type of what a finding does, as shapes are written.
const shape = f => f.parts.map(c => `${c.length}${c.twist > 1 ? '~' : ''}`).sort().reverse().join('+');

// The questions. An empty answer is none; a question is asked where findings differ.
const questions = [
  { key: 'net', asks: 'Net length', of: f => (f.joined ? String(f.joined.net) : '') },
  { key: 'length', asks: 'Length', of: f => String(f.length) },
  { key: 'class', asks: 'Class', of: f => (f.class ? String(f.class) : '') },
  { key: 'shape', asks: 'Cycles', of: shape },
  { key: 'kind', asks: 'Structure', of: f => kind(f.explanation) },
  { key: 'parts', asks: 'Its parts', of: f => (f.explanation && !f.explanation.plain ? f.explanation.words.replace(setup, '') : '') },
  { key: 'setup', asks: 'Setup', of: f => (f.explanation && !f.explanation.plain ? String(f.explanation.setupLength) : '') },
  { key: 'axes', asks: 'Axes', of: f => String(f.axes) },
  { key: 'by', asks: 'Made shorter by', of: f => f.shortening?.by ?? '' },
];

const order = (a, b) => (Number(a) - Number(b)) || a.localeCompare(b, 'en', { numeric: true });

export class Sieve {
  #chosen = new Map(); #selects = new Map(); #said; #none;

  // changed is called when someone chose an answer.
  constructor(changed) {
    this.changed = changed;
    this.#said = make('p', 'soft');
    this.#said.id = 'sifted';
    this.#said.setAttribute('role', 'status');
    this.#none = press('Show all', () => { this.clear(); this.changed(); });
    const row = make('div', 'row');
    for (const { key, asks } of questions) {
      const select = make('select');
      select.dataset.sieve = key;
      select.onchange = () => {
        if (select.value) this.#chosen.set(key, select.value);
        else this.#chosen.delete(key);
        this.changed();
      };
      this.#selects.set(key, select);
      row.append(make('label', '', `${asks} `, select));
    }
    this.box = make('fieldset', 'sieve', make('legend', '', 'Which findings'), row, make('div', 'row', this.#said, this.#none));
    this.box.hidden = true;
  }

  // text is what is chosen, for an address.
  get text() { return new URLSearchParams([...this.#chosen]).toString(); }
  set text(said) {
    this.#chosen = new Map([...new URLSearchParams(said)].filter(([key, value]) => this.#selects.has(key) && value));
  }

  clear() { this.#chosen.clear(); }

  // sift gives the findings that fit all that is chosen, and counts anew.
  sift(findings) {
    const fits = (f, but) => questions.every(q => q.key === but || !this.#chosen.has(q.key) || q.of(f) === this.#chosen.get(q.key));
    let asked = 0;
    for (const q of questions) {
      const chosen = this.#chosen.get(q.key) ?? '';
      const answers = new Set(findings.map(q.of).filter(a => a !== ''));
      if (chosen) answers.add(chosen);
      const select = this.#selects.get(q.key);
      const offered = answers.size > 1 || chosen !== '';
      select.parentElement.hidden = !offered;
      if (!offered) { fill(select, []); continue; }
      asked++;
      // An answer counts what there would be of it with all else that is chosen.
      const rest = findings.filter(f => fits(f, q.key)).map(q.of);
      const options = [...answers].sort(order).map(a => [a, `${a} (${rest.filter(r => r === a).length})`]);
      fill(select, [['', `any (${rest.length})`], ...options]);
      select.value = chosen;
    }
    const passed = findings.filter(f => fits(f, ''));
    this.box.hidden = asked === 0;
    say(this.#said, passed.length === findings.length ? `All ${findings.length} findings are listed.` : `${passed.length} of ${findings.length} findings are listed.`);
    this.#none.disabled = this.#chosen.size === 0;
    return passed;
  }
}

// fill makes a list offer these, and leaves alone what is there: someone may be choosing.
function fill(select, options) {
  options.forEach(([value, text], i) => {
    if (select.options[i]?.value !== value) select.add(new Option(text, value), i);
    else if (select.options[i].text !== text) select.options[i].text = text;
  });
  while (select.options.length > options.length) select.remove(options.length);
}
