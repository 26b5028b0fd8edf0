// Fit elsewhere: three places are picked, on the puzzle or by their names, and the server
// tells which sequences that are known do just this cycle. Where pieces have orientations
// the stickers that are picked say them: what is at the first goes to the second.
//
// The sequence of the stage is what is fitted, until the places are picked: what fits can
// then be put on the stage without becoming the next one to fit.

import * as api from './api.js';
import { count, make, press } from './make.js';
import { seen } from './scramble.js';

const most = 40;     // choices that are asked for
const longest = 200; // turns of a sequence that the server takes
const quiet = 300;   // milliseconds without a key before the moves around are read

export class Fit {
  #box; #stage; #show;
  #open = false; #model = null; #sealed = false;
  #given = ''; #turns = 0; #moved = []; // the sequence that is fitted, and the types it moves
  #shown = null;    // what was put on the stage from here
  #slots = [];      // those picked: indices into the model's
  #of = 0;          // which sticker of a piece the picks follow
  #asking = null; #later;
  #wanted = null;   // what an address asks for, until the sequence of the stage has been read
  #type; #names; #source; #metric; #may; #before; #after; #pick; #said; #list;

  // show is called with a puzzle and a sequence that someone wants to see.
  constructor(box, stage, show) {
    this.#box = box;
    this.#stage = stage;
    this.#show = show;
    const choose = (label, does) => { const s = make('select'); s.onchange = does; return [make('label', '', label, ' ', s), s]; };
    const write = label => {
      const i = make('input', 'cycle');
      i.type = 'text'; i.spellcheck = false; i.autocapitalize = 'off'; i.autocomplete = 'off';
      i.oninput = () => { clearTimeout(this.#later); this.#later = setTimeout(() => this.#ask(), quiet); };
      return [make('label', '', label, ' ', i), i];
    };
    const ask = () => this.#ask();
    const [type, t] = choose('Pieces of type', () => { this.#ofType(t.value); this.#mark(); });
    const [source, s] = choose('Fit', () => { this.#preset(); ask(); });
    const [metric, m] = choose('counted in', ask);
    s.append(new Option('the sequence', 'given'), new Option('all that searches found', 'found'));
    m.append(...['STM', 'OBTM', 'ETM', 'QTM'].map(x => new Option(x)));
    const names = ['First', 'Second', 'Third'].map((word, i) => choose(word, () => this.#name(i)));
    const [before, b] = write('Moves before'), [after, a] = write('Moves after');
    this.#type = t; this.#source = s; this.#metric = m; this.#before = b; this.#after = a;
    this.#names = names.map(([, select]) => select);
    this.#pick = press('Pick on the puzzle', () => this.#picking(!this.#stage.onpick));
    this.#pick.setAttribute('aria-pressed', 'false');
    this.#may = make('fieldset', '');
    this.#said = make('p', '');
    this.#said.setAttribute('role', 'status');
    this.#list = make('ol', '');
    this.#list.setAttribute('aria-label', 'What fits, the best first: choose one to see it turn');
    box.append(
      make('h2', '', 'Fit it elsewhere'),
      make('p', 'soft', 'Pick three stickers: what is at the first goes to the second, that to the third, and that to the first. After two the third is free. A hollow number is on the far side.'),
      make('div', 'row', this.#pick, press('Clear', () => { this.#slots = []; this.#mark(); }), type),
      make('div', 'row', ...names.map(([label]) => label)),
      make('div', 'row', source, metric),
      this.#may,
      make('div', 'row', before, after),
      this.#said, this.#list,
    );
    addEventListener('keydown', event => { if (event.key === 'Escape') this.#picking(false); });
  }

  opened() { this.#open = true; this.#mark(); }

  closed() {
    this.#picking(false);
    this.#open = false;
    this.#stage.overlay.picks = [];
    this.#stage.wake();
  }

  fill(model) {
    const same = this.#model?.puzzle === model.puzzle;
    this.#model = model;
    if (same) return;
    this.#picking(false);
    this.#shown = null;
    this.#given = '';
    this.#type.replaceChildren(...model.pieceTypes.map((t, i) => new Option(t, i)));
    this.#ofType(0);
    this.#mark();
  }

  took({ turns, moved }, text) {
    if (text === this.#shown) return;
    const wanted = this.#wanted;
    this.#wanted = null;
    this.#shown = null;
    const before = this.#given;
    this.#turns = turns.length;
    this.#given = turns.length > 0 && turns.length <= longest ? text : '';
    if (this.#given === before && !wanted) return;
    this.#moved = this.#model.pieceTypes.map((_, t) => moved.some(piece => this.#model.pieces[piece] === t));
    if (wanted) this.#take(wanted, text);
    else if (this.#slots.length === 0) this.#ofType(Math.max(0, this.#moved.indexOf(true)));
    else this.#preset();
    this.#mark();
  }

  // view is what is picked and asked for, for an address; the moves around may be of a round that has not
  // closed, so they get into none.
  get view() {
    if (!this.#slots.length) return '';
    const said = new URLSearchParams({ type: this.#model.pieceTypes[this.#type.value], source: this.#source.value, metric: this.#metric.value });
    if (this.#shown !== null) said.set('of', this.#given); // it is not what is on the stage
    if (this.#of) said.set('sticker', this.#of);
    for (const s of this.#slots) said.append('pick', this.#model.slots[s].label);
    for (const name of this.#broken) said.append('broken', name);
    return said.toString();
  }

  // look asks for that again, as soon as the sequence of the stage has been read.
  look(view) { this.#wanted = new URLSearchParams(view); }

  // #take picks what an address asks for, as far as the puzzle has it; text is what is on the stage.
  #take(said, text) {
    const { pieceTypes, slots } = this.#model, type = pieceTypes.indexOf(said.get('type'));
    const picks = said.getAll('pick').slice(0, 3).map(label => slots.findIndex(s => s.type === type && s.label === label));
    if (type < 0 || picks.includes(-1) || new Set(picks.map(s => this.#piece(s))).size < picks.length) return;
    for (const [select, name] of [[this.#source, 'source'], [this.#metric, 'metric']]) {
      if ([...select.options].some(o => o.value === said.get(name))) select.value = said.get(name);
    }
    if (said.get('of')) {
      this.#given = said.get('of');
      this.#shown = text;
    }
    this.#ofType(type);
    this.#slots = picks;
    const of = Number(said.get('sticker') ?? 0);
    this.#of = picks.every(s => of in slots[s].stickers) ? of : 0;
    for (const box of this.#may.querySelectorAll('input')) box.checked = said.getAll('broken').includes(box.value);
  }

  // #broken are the types that may be.
  get #broken() { return [...this.#may.querySelectorAll('input:checked')].map(i => i.value); }

  at(_, sealed) { this.#sealed = sealed ?? false; }

  // preset lets the types be broken that the sequence moves beside those that are picked; what
  // searches found is fitted as it is.
  #preset() {
    const own = Number(this.#type.value), given = this.#source.value === 'given';
    const others = this.#model.pieceTypes.flatMap((t, i) => (i === own ? [] : [[t, i]]));
    this.#may.hidden = others.length === 0;
    this.#may.replaceChildren(make('legend', '', 'These may be broken; all others stay'), ...others.map(([name, i]) => {
      const box = make('input');
      box.type = 'checkbox';
      box.value = name;
      box.checked = given && Boolean(this.#moved[i]);
      box.onchange = () => this.#ask();
      return make('label', '', box, ` ${name}`);
    }));
  }

  // ofType begins again with pieces of a type.
  #ofType(type) {
    const own = Number(type);
    this.#type.value = own;
    this.#slots = [];
    this.#of = 0;
    this.#preset();
    const options = this.#model.slots.flatMap((s, i) => (s.type === own ? [[s.label, i]] : []));
    this.#names.forEach((select, n) => {
      select.replaceChildren(new Option(n === 2 ? 'free' : 'choose one', ''), ...options.map(([label, i]) => new Option(label, i)));
    });
  }

  // name takes a slot that was chosen by its name. All have to be of different pieces.
  #name(i) {
    const chosen = this.#names[i].value;
    const slots = this.#slots.slice(0, i);
    if (chosen !== '') slots.push(Number(chosen), ...this.#slots.slice(i + 1));
    if (slots.some((s, k) => slots.findIndex(o => this.#piece(o) === this.#piece(s)) !== k)) {
      this.#mark('Each has to be another piece.');
      return;
    }
    this.#slots = slots;
    this.#mark();
  }

  #piece(slot) { return this.#model.stickers[this.#model.slots[slot].stickers[0]].piece; }

  // picked takes the place of a sticker. A piece that was picked already is given back, and
  // those after it.
  #picked(place) {
    const { stickers, slots, pieces } = this.#model;
    const piece = stickers[place].piece;
    let taken = this.#slots.length > 2 ? [] : this.#slots;
    const again = taken.findIndex(s => this.#piece(s) === piece);
    if (again >= 0) taken = taken.slice(0, again);
    else if (taken.length > 0 && pieces[piece] !== Number(this.#type.value)) {
      this.#mark(`That is no ${this.#model.pieceTypes[this.#type.value]}: pieces go to places of their own type.`);
      return;
    } else {
      const here = slots.flatMap((s, i) => (s.stickers.includes(place) ? [i] : []));
      if (taken.length === 0) {
        if (pieces[piece] !== Number(this.#type.value)) this.#ofType(pieces[piece]);
        this.#of = Math.min(...here.map(i => slots[i].stickers.indexOf(place)));
      }
      // The piece lies there so that the sticker that is followed is where one pointed; where
      // none lies so, as it lies at home.
      taken = [...taken, here.find(i => slots[i].stickers[this.#of] === place) ?? here[0]];
    }
    this.#slots = taken;
    if (taken.length === 3) this.#picking(false);
    this.#mark();
  }

  #picking(on) {
    if (on && !this.#open) return;
    this.#stage.pick(on ? place => this.#picked(place) : null);
    this.#pick.setAttribute('aria-pressed', String(on));
    if (on) this.#mark();
    if (on && matchMedia('(max-width: 56rem)').matches) document.getElementById('stage').scrollIntoView({ block: 'start' });
  }

  // mark shows what is picked, on the puzzle and by name, and asks for what fits.
  #mark(complaint = '') {
    if (!this.#open || !this.#model) return;
    const slots = this.#model.slots;
    this.#names.forEach((select, i) => {
      select.value = this.#slots[i] ?? '';
      select.disabled = i > this.#slots.length;
    });
    this.#stage.overlay.picks = this.#slots.map(s => slots[s].stickers[this.#of]);
    this.#stage.wake();
    this.#ask(complaint);
  }

  async #ask(complaint = '') {
    this.#asking?.abort();
    if (!this.#open || !this.#model) return;
    this.onview?.();
    this.#list.replaceChildren();
    delete this.#box.dataset.fits;
    const given = this.#source.value === 'given';
    const next = ['first', 'second', 'third'][this.#slots.length];
    if (complaint || this.#slots.length < 2) {
      this.#said.textContent = complaint || (this.#stage.onpick || this.#slots.length ? `Pick the ${next}.` : '');
      return;
    }
    if (given && !this.#given) {
      this.#said.textContent = this.#turns > longest
        ? `The sequence has ${this.#turns} turns, and at most ${longest} can be fitted.` : 'There is no sequence yet: type or turn one, or fit what searches found.';
      return;
    }
    const labels = this.#slots.map(s => this.#model.slots[s].label);
    const request = {
      goal: {
        puzzle: this.#model.puzzle, cycle: this.#model.pieceTypes[this.#type.value], metric: `METRIC_${this.#metric.value}`,
        ignore: this.#broken,
      },
      pins: labels.slice(1).map((to, i) => ({ from: labels[i], to })),
      sequences: given ? [this.#given] : [], before: this.#before.value.trim(), after: this.#after.value.trim(), limit: most,
    };
    const own = this.#asking = new AbortController();
    this.#said.textContent = 'Looking …';
    try {
      const { choices, sequences } = await api.fit(request, own.signal);
      const from = given ? `“${this.#given}”` : count(sequences, 'sequence that searches found', 'sequences that searches found');
      this.#said.textContent = choices.length > 0
        ? `${labels.join(' → ')}${labels.length < 3 ? ' → any' : ''}: ${choices.length === most ? `the best ${most} ways` : count(choices.length, 'way', 'ways')}, from ${from}.`
        : `${labels.join(' → ')}: ${from} can’t be brought there, whether turned or mirrored with the puzzle, inverted, begun at another turn or set up.`;
      this.#list.replaceChildren(...choices.map(c => this.#choice(c, request)));
      this.#box.dataset.fits = choices.length;
    } catch (error) {
      if (error.name !== 'AbortError') this.#said.textContent = error.message;
    }
  }

  #choice({ sequence, length, cycle, setup, mirrored, inverted, joined, explanation }, { before, after }) {
    const reads = explanation && !explanation.plain; // which has the setup in it
    const how = [mirrored ? 'mirrored' : '', inverted ? 'inverted' : '', setup && !reads ? `set up by ${setup}` : ''].filter(Boolean).join(', ');
    const button = press('', () => this.#see(sequence, before, after), 'choice');
    button.append(
      make('b', '', joined ? `${joined.net < 0 ? '−' : '+'}${Math.abs(joined.net)}` : `${length}`),
      make('span', 'cycle', sequence),
      make('span', 'cycle soft', cycle.text),
      ...(reads ? [make('span', 'soft', `${explanation.text}: ${explanation.words}${how ? `; ${how}` : ''}`)] : how ? [make('span', 'soft', how)] : []),
      ...(joined ? [make('span', 'soft', `between the moves: ${joined.sequence || 'nothing'} (${joined.length})`)] : []),
    );
    return make('li', '', button);
  }

  // #see shows one between the moves around it, as it was asked for, so that one sees what cancels.
  async #see(sequence, before, after) {
    const show = (puzzle, text, ...at) => {
      this.#shown = text;
      this.#show(puzzle, text, ...at);
    };
    try {
      await seen(show, this.#model.puzzle, before, [sequence, after].filter(Boolean).join('\n'), 0, this.#sealed);
    } catch (error) {
      this.#said.textContent = error.message;
    }
  }
}
