// The form that asks for a search, on the puzzle that is on the stage.

import * as api from './api.js';

export class Ask {
  #form; #model = null;

  // asked is called with the id of a search that was taken.
  constructor(form, asked) {
    this.#form = form;
    this.asked = asked;
    form.onsubmit = event => {
      event.preventDefault();
      this.#send(event.submitter?.value === 'estimate');
    };
    form.querySelector('#cycle').onchange = () => this.#others();
  }

  // fill offers the types of a puzzle.
  fill(model) {
    this.#model = model;
    this.#form.querySelector('#cycle').replaceChildren(...model.pieceTypes.map(t => new Option(t, t)));
    this.#others();
    this.#say('');
  }

  // others lists the types that are not cycled: each is kept, or may be broken.
  #others() {
    const cycle = this.#form.querySelector('#cycle').value;
    this.#form.querySelector('#others').replaceChildren(...this.#model.pieceTypes.filter(t => t !== cycle).map(t => {
      const label = document.createElement('label');
      const box = Object.assign(document.createElement('input'), { type: 'checkbox', name: 'ignore', value: t });
      label.append(box, ` ${t}`);
      return label;
    }));
  }

  #search() {
    const { cycle, metric, most } = this.#form.elements;
    return {
      goal: {
        puzzle: this.#model.puzzle, cycle: cycle.value,
        ignore: [...this.#form.querySelectorAll('[name="ignore"]:checked')].map(b => b.value),
      },
      metric: `METRIC_${metric.value}`, maxLength: Number(most.value),
    };
  }

  async #send(estimate) {
    this.#form.inert = true; // one at a time
    try {
      const { search, estimate: takes } = await api.ask(this.#search(), estimate);
      this.#say(estimate ? told(takes) : 'It was taken.');
      if (!estimate) this.asked(search.name.replace('searches/', ''));
    } catch (error) {
      this.#say(error.message);
    } finally {
      this.#form.inert = false;
    }
  }

  #say(text) { this.#form.querySelector('output').textContent = text; }
}

// told says what a search takes.
function told({ lengths, tableBytes, duration }) {
  const units = lengths.reduce((n, l) => n + Number(l.units), 0);
  const tables = Number(tableBytes) < 2 ** 20 ? 'less than 1 MiB' : `${Math.round(Number(tableBytes) / 2 ** 20)} MiB`;
  const takes = duration ? `about ${span(parseFloat(duration))} by itself` : 'not known yet';
  return `Time: ${takes}. Units of work: ${units}. Tables: ${tables}.`;
}

function span(seconds) {
  if (seconds < 2) return 'a second';
  if (seconds < 120) return `${Math.round(seconds)} seconds`;
  if (seconds < 7200) return `${Math.round(seconds / 60)} minutes`;
  return `${Math.round(seconds / 3600)} hours`;
}
