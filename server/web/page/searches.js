// Searches of the server, and the findings of one of them as they come, best first, each
// with a small picture of what it does.

import * as api from './api.js';

const shown = 48;    // findings that are listed at first, and more each time
const gather = 200;  // milliseconds in which findings that come are gathered before they are listed
const drawers = 2;   // pictures that are asked for at once

const words = {
  SEARCH_STATE_QUEUED: 'waits for its turn', SEARCH_STATE_PREPARING: 'prepares its tables', SEARCH_STATE_RUNNING: 'is searching',
  SEARCH_STATE_PAUSED: 'is paused', SEARCH_STATE_DONE: 'has ended', SEARCH_STATE_CANCELLED: 'was cancelled', SEARCH_STATE_FAILED: 'failed',
};
export const metric = search => search.metric.replace('METRIC_', '');
const subject = search => search.goal ?? search.position ?? search.study;

// asked says in a line what a search looks for.
export function asked(search) {
  const puzzle = subject(search).puzzle.replace('puzzles/', '');
  if (search.position) return `a position of ${puzzle}`;
  if (search.study) return `shorter solutions than one of ${search.study.length} ${metric(search)} on ${puzzle}`;
  const { shape, cycle } = search.goal;
  return `${shape && shape !== '3' ? shape : '3-cycles'} of ${cycle} on ${puzzle}`;
}

// rank orders findings as the server does.
export function rank(a, b) {
  const simple = f => (!f.explanation || f.explanation.plain ? Infinity : f.explanation.written + f.explanation.brackets);
  const setup = f => f.explanation?.setupLength ?? 0;
  const apart = (x, y) => (x === y ? 0 : x < y ? -1 : 1);
  return apart(a.joined?.net ?? 0, b.joined?.net ?? 0) || a.length - b.length || a.axes - b.axes || apart(simple(a), simple(b))
    || setup(a) - setup(b) || a.sequence.length - b.sequence.length || apart(a.sequence, b.sequence);
}

export class Searches {
  #box; #choose; #watching = null; #cards = new Map(); #findings = new Map();
  #room = shown; #wanted = []; #drawing = 0; #due = null; #eye;

  // show is called with a puzzle and a sequence that someone wants to see.
  constructor(box, show) {
    this.#box = box;
    this.show = show;
    this.#choose = box.querySelector('#search');
    this.#choose.onchange = () => this.watch(this.#choose.value);
    this.#choose.onfocus = () => this.list().catch(() => {}); // there may be new ones
    box.querySelector('#more').onclick = () => { this.#room += shown; this.#lay(); };
    this.#eye = new IntersectionObserver(seen => {
      for (const { target, isIntersecting } of seen) {
        if (!isIntersecting) continue;
        this.#eye.unobserve(target);
        this.#wanted.push(target);
      }
      this.#draw();
    }, { rootMargin: '200px' });
  }

  // name is the search that is watched, without "searches/".
  get name() { return this.#choose.value; }

  // list lists the searches that there are; the one that is watched stays chosen.
  async list() {
    const all = await api.searches();
    const now = this.#choose.value;
    this.#choose.replaceChildren(new Option(all.length ? 'choose one' : 'there are none yet', ''), ...all.map(s => {
      const id = s.name.replace('searches/', '');
      return new Option(`${id}: ${asked(s)}`, id);
    }));
    this.#choose.value = now;
  }

  // watch follows a search; '' ends that.
  async watch(id) {
    this.#watching?.abort();
    const own = this.#watching = new AbortController();
    this.#findings.clear();
    this.#cards.clear();
    this.#wanted = [];
    this.#room = shown;
    this.#choose.value = id;
    this.search = null;
    this.#lay();
    this.#tell('');
    this.onwatch?.();
    if (!id) return;
    try {
      for await (const event of api.follow(`searches/${id}`, own.signal, () => this.#tell('The connection broke; it is made again …'))) {
        if (this.#watching !== own) return;
        if (event.search) { this.search = event.search; this.#state(); }
        if (event.finding) {
          const before = this.#findings.get(event.finding.name);
          if (!before || before.revision < event.finding.revision) this.#findings.set(event.finding.name, event.finding);
        }
        this.#soon();
      }
    } catch (error) {
      if (this.#watching === own) this.#tell(error.message);
    }
  }

  #soon() { this.#due ??= setTimeout(() => { this.#due = null; this.#lay(); }, gather); }

  #tell(text) { this.#box.querySelector('#state').textContent = text; }

  #state() {
    const s = this.search, p = s.progress;
    const parts = [`It ${words[s.state] ?? s.state}${s.error ? `: ${s.error}` : ''}`];
    if (s.state === 'SEARCH_STATE_RUNNING' && p?.length) parts.push(`at length ${p.length}`);
    if (p?.leavesPerSecond) parts.push(`${(p.leavesPerSecond / 1e6).toFixed(1)} million words a second`);
    if (p?.remaining) parts.push(`about ${Math.ceil(parseFloat(p.remaining))} s more for this length`);
    let text = `${parts.join(', ')}.`;
    if (s.provenLength) text += ` Every sequence of length up to ${s.provenLength} (${metric(s)}) was covered.`;
    if (s.study) text += ` Done: ${s.study.unitsDone} of ${s.study.unitsTotal} units.`;
    if (s.classesTotal) text += ` Found: ${s.findingsTotal} of ${s.classesTotal} classes.`;
    this.#tell([text, ...s.alarms].join(' '));
    const bar = this.#box.querySelector('#done');
    const most = Number(p?.leavesPredicted ?? 0);
    bar.hidden = s.state !== 'SEARCH_STATE_RUNNING' || !most;
    if (!bar.hidden) { bar.max = most; bar.value = Number(p.leavesCovered); }
  }

  // lay puts the cards in order. A card stays the same as long as its finding does.
  #lay() {
    const list = this.#box.querySelector('#findings');
    const all = this.search ? [...this.#findings.values()].sort(rank) : [];
    const cards = all.slice(0, this.#room).map((f, i) => {
      const key = `${f.name} ${f.revision}`;
      let card = this.#cards.get(key);
      if (!card) {
        card = this.#card(f);
        this.#cards.set(key, card);
      }
      card.querySelector('.rank').textContent = i + 1;
      return card;
    });
    cards.forEach((card, i) => { if (list.children[i] !== card) list.insertBefore(card, list.children[i] ?? null); });
    while (list.children.length > cards.length) list.lastChild.remove();
    const more = this.#box.querySelector('#more');
    more.hidden = all.length <= this.#room;
    more.textContent = `Show more (${all.length - this.#room} are not shown)`;
    this.#box.dataset.findings = all.length;
  }

  #card(f) {
    const puzzle = subject(this.search).puzzle;
    const part = (tag, name, text) => Object.assign(document.createElement(tag), { className: name, textContent: text });
    const item = document.createElement('li');
    const button = part('button', 'finding', '');
    button.type = 'button';
    const frame = part('span', 'frame', ''); // keeps the room until the picture is there
    const image = document.createElement('img');
    image.alt = '';
    frame.append(image);
    image.finding = { puzzle, sequence: f.sequence };
    const reads = f.explanation && !f.explanation.plain ? f.explanation.text : '';
    button.append(
      frame, part('span', 'rank soft', ''), part('span', 'length', `${f.length} ${metric(this.search)}`),
      part('span', 'cycle', f.sequence || 'nothing to do'), ...(reads && reads !== f.sequence ? [part('span', 'soft', `reads as ${reads}`)] : []),
      ...(f.classesTotal ? [part('span', 'soft', `class ${f.class} of ${f.classesTotal}`)] : []));
    button.onclick = () => this.show(puzzle, f.sequence);
    item.append(button);
    this.#eye.observe(image);
    return item;
  }

  // draw asks for pictures of the cards that came into sight, a few at a time.
  async #draw() {
    if (this.#drawing >= drawers) return;
    this.#drawing++;
    for (let image; (image = this.#wanted.shift());) {
      try {
        const { puzzle, sequence } = image.finding;
        const picture = await api.draw(puzzle, sequence, {});
        image.src = `data:${picture.mediaType},${encodeURIComponent(picture.content)}`;
      } catch {
        image.remove(); // what it shows is written beside it
      }
    }
    this.#drawing--;
  }
}
