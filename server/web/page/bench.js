// The bench: the sequence as a part X, and for each turn Y what X leaves it of a type of
// pieces, and what [X, Y] then does. A Y that is chosen puts [X, Y] onto the stage, while X
// stays what it was.

import * as api from './api.js';

const asked = 400;   // turns Y that are asked for
const listed = 24;   // of those that meet X
const longest = 200; // turns of X that the server takes

export class Bench {
  #box; #type; #open = false; #chosen = false; #model = null; #part = ''; #made = null; #asking = null;

  // make is called with the text of a commutator that someone wants to see.
  constructor(box, make) {
    this.#box = box;
    this.make = make;
    this.#type = box.querySelector('#wanted');
    this.#type.onchange = () => { this.#chosen = true; this.#ask(); };
  }

  opened() { this.#open = true; this.#ask(); }
  closed() { this.#open = false; }

  // fill offers the types of a puzzle.
  fill(model) {
    this.#model = model;
    this.#type.replaceChildren(...model.pieceTypes.map(t => new Option(t, t)));
    this.#made = null;
    this.#chosen = false;
    this.#part = '';
    this.#ask();
  }

  // took makes the sequence X, unless it was made here. Of the types that it moves the first
  // is meant until someone chooses.
  took({ turns, moved }, text) {
    if (text === this.#made) return;
    this.#made = null;
    const types = this.#model.pieceTypes.filter((_, t) => moved.some(piece => this.#model.pieces[piece] === t));
    if (!this.#chosen && types.length > 0) this.#type.value = types[0];
    this.#part = turns.length > 0 && turns.length <= longest ? text : '';
    this.#ask();
  }

  async #ask() {
    this.#asking?.abort();
    const body = this.#box.querySelector('tbody'), said = this.#box.querySelector('p');
    body.replaceChildren();
    if (!this.#open || !this.#model) return;
    said.textContent = 'The sequence is X: type or turn a short one.';
    if (!this.#part) return;
    const own = this.#asking = new AbortController();
    try {
      const r = await api.isolate({ puzzle: this.#model.puzzle, cycle: this.#type.value }, this.#part, asked, own.signal);
      const meetings = r.meetings.filter(m => m.moved.length > 0).slice(0, listed); // [X, Y] of the others is nothing
      said.textContent = `X = ${r.part}. Of ${r.tried} turns Y, ${r.isolating} meet it in one ${this.#type.value} only; `
        + `with ${r.wanted} of them [X, Y] is a pure 3-cycle.`;
      body.replaceChildren(...meetings.map(m => this.#row(r.part, m)));
    } catch (error) {
      if (error.name !== 'AbortError') said.textContent = error.message;
    }
  }

  #row(x, { part: y, isolates, shared, moved, cycles, commutator }) {
    const row = document.createElement('tr');
    const cell = (...parts) => {
      const c = document.createElement('td');
      c.append(...parts);
      row.append(c);
    };
    const button = document.createElement('button');
    button.type = 'button';
    button.textContent = y;
    button.setAttribute('aria-label', `Make [X, ${y}]`);
    button.onclick = () => {
      this.#made = `[${x}, ${y}]`;
      this.make(this.#made);
    };
    cell(button);
    const mine = shared.find(s => s.type === this.#type.value);
    cell(isolates ? `one: ${mine.labels.join(' ')}` : mine ? `${mine.labels.length}: ${mine.labels.join(' ')}` : 'none');
    const does = moved.map(m => `${m.pieces} × ${m.type}`).join(', ') || 'nothing';
    cell(commutator ? `pure: ${cycles.map(c => c.text).join(' ')}` : does);
    row.classList.toggle('wanted', Boolean(commutator));
    return row;
  }
}
