// The server for those who look after it: how it is, what it works at, who works, its disk, and
// then who may use it. It is asked now and then as long as the desk is shown, and else not at all.
//
// What the caller's role does not allow is not offered; the server has the last word.

import * as api from './api.js';
import { amount, doing, part, remains } from './life.js';
import { bare, count, make, metric, press, put, renew, span, sure, when } from './make.js';
import { Audit, Members, OwnTokens } from './members.js';
import { asked } from './searches.js';

const again = 5000; // milliseconds

const some = n => Number(n).toLocaleString('en');
const bytes = n => {
  const units = ['bytes', 'KiB', 'MiB', 'GiB', 'TiB'];
  let value = Number(n), i = 0;
  for (; value >= 1024 && i < units.length - 1; i++) value /= 1024;
  return `${value.toFixed(value < 10 && i ? 1 : 0)} ${units[i]}`;
};
const speed = n => `${(n / 1e6).toFixed(1)} million words a second`;
const pace = work => [work.leavesPerSecond ? speed(work.leavesPerSecond) : '', work.nodesPerSecond ? `${speed(work.nodesPerSecond)} for positions` : '']
  .filter(Boolean).join(', ') || 'nothing is searched';
const ago = time => {
  const ms = api.now() - Date.parse(time);
  return ms < 10_000 ? 'just now' : `${span(ms)} ago`;
};

const waiting = ['SEARCH_STATE_QUEUED', 'SEARCH_STATE_PAUSED'];

export class Status {
  #box; #open = false; #due = null; #own = null; #who; #said; #health; #facts; #queue; #workers; #disk; #people; #caller = null;

  // people is the place for who may use the server.
  constructor(box, people) {
    this.#box = box;
    this.#who = make('p', 'club-who');
    this.#said = box.querySelector('p');
    this.#said.className = 'wrong';
    this.#health = make('div', 'club-health');
    this.#health.setAttribute('role', 'status');
    this.#facts = box.querySelector('dl');
    this.#facts.className = 'club-facts';
    this.#queue = make('div', 'club-queue');
    this.#workers = make('ul', 'club-list club-workers');
    this.#disk = make('div', 'club-disk');
    this.#people = people;
    box.append(this.#who, this.#said, this.#health, this.#facts,
      make('h3', '', 'Searches'), this.#queue, make('h3', '', 'Workers'), this.#workers, make('h3', '', 'Disk'), this.#disk);
  }

  // entered takes who is there now. What was shown to somebody else goes.
  entered(caller) {
    this.#caller = caller;
    const { member, role, token, expireTime } = caller;
    const organises = role === 'ROLE_ORGANISER';
    if (member === 'members/local') {
      this.#who.replaceChildren(make('b', '', 'This is a server of your own. '), 'It asks nobody on this computer for a token: whoever opens this page here may do all that '
        + 'organisers do. Members and tokens matter to people and machines that come from elsewhere, or once it is started with --require-tokens.');
    } else {
      this.#who.replaceChildren('You are ', make('b', '', bare(member)), organises ? ', an organiser' : '',
        token ? `. Your token ${bare(token)} is good until ${when(expireTime)}.` : '.');
    }
    const parts = organises ? organisers(caller) : token ? [new OwnTokens(token)] : [];
    this.parts = parts;
    this.#people.replaceChildren(...parts.map(p => p.box));
    if (this.#open) this.opened();
  }

  opened() {
    this.#open = true;
    for (const part of this.parts ?? []) part.look();
    this.#look();
  }

  closed() {
    this.#open = false;
    clearTimeout(this.#due);
    this.#own = null;
  }

  async #look() {
    clearTimeout(this.#due);
    if (!this.#open) return; // what was let go before the desk was left is seen when one comes back
    const own = this.#own = {};
    try {
      const [s, workers, latest] = await Promise.all([api.status(), api.workers(), api.searches()]);
      if (this.#own !== own) return;
      this.#said.textContent = '';
      this.#tell(s, workers, latest);
    } catch (error) {
      if (this.#own !== own) return;
      if (error.wantsToken) {
        this.#forget();
        return;
      }
      this.#said.textContent = error.message;
    }
    this.#due = setTimeout(() => this.#look(), again);
  }

  // #forget leaves nothing on the desk for somebody who may not see it any more.
  #forget() {
    for (const e of [this.#who, this.#health, this.#facts, this.#queue, this.#workers, this.#disk, this.#people]) e.replaceChildren();
    delete this.#health.dataset.says;
    delete this.#box.dataset.told;
    this.#said.textContent = '';
    this.parts = [];
  }

  #tell(s, workers, latest) {
    this.#say(s);
    const inState = s.searches.map(of => `${some(of.searches)} ${doing(of, Number(of.searches))}`);
    list(this.#facts, [
      ['Version', `${s.version}, on ${s.address}`],
      ['Has served for', span(parseFloat(s.uptime) * 1000)],
      ['Work', `${pace(s.work)}; ${some(s.workers.busy)} of ${count(s.workers.slots, 'slot is', 'slots are')} busy`],
      ['Since the start', `${count(Number(s.work.unitsDone), 'unit', 'units')} done, ${some(s.work.leaves)} words looked up`],
      ['Memory', `${bytes(s.memory.processBytes)}; tables take ${bytes(s.memory.tableBytes)} of at most ${bytes(s.memory.tableLimitBytes)}`],
    ]);
    this.#searches(s, latest, inState);
    this.#work(workers);
    this.#room(s);
    this.#box.dataset.told = s.startTime;
  }

  // #say tells first what somebody should look into.
  #say(s) {
    const { storage, work } = s;
    const wrong = [];
    if (storage.low) wrong.push(`The disk is nearly full: ${bytes(storage.freeBytes)} are free, and with less than ${bytes(storage.reserveBytes)} nothing new is taken. Delete searches, or make room.`);
    if (Number(work.unitsMismatched)) wrong.push(`${count(Number(work.unitsMismatched), 'unit was', 'units were')} reported twice with different results: a computer can’t be trusted. The log says which.`);
    if (Number(work.alarms)) wrong.push(`${count(Number(work.alarms), 'alarm was', 'alarms were')} raised since the start: the searches concerned say why.`);
    if (Number(work.unitsFailed)) wrong.push(`${count(Number(work.unitsFailed), 'time a worker', 'times workers')} could not do a unit; others tried again.`);
    if (!s.workers.slots) wrong.push('Nobody works: searches wait until a worker comes ("turnwright work").');
    const text = wrong.join(' ') || 'All is well.';
    if (this.#health.dataset.says === text) return; // said once, not again each time
    this.#health.dataset.says = text;
    this.#health.dataset.well = wrong.length === 0;
    this.#health.replaceChildren(...(wrong.length ? [make('ul', '', ...wrong.map(w => make('li', '', w)))] : [make('p', '', text)]));
  }

  #searches(s, latest, inState) {
    const queue = latest.filter(x => waiting.includes(x.state))
      .sort((a, b) => waiting.indexOf(a.state) - waiting.indexOf(b.state) || b.priority - a.priority || Date.parse(a.createTime) - Date.parse(b.createTime));
    const items = [...s.underWay, ...queue.slice(0, 50)].map(x => {
      const p = x.progress, unit = metric(x.metric);
      const [done, most] = amount(x);
      const now = [
        doing(x), part(x) || (p?.length ? `length ${p.length}` : ''), remains(x), x.priority ? `priority ${x.priority}` : '',
      ].filter(Boolean).join(', ');
      const proven = x.provenLength ? `proven up to ${x.provenLength} ${unit}` : 'nothing proven yet';
      const item = make('li', '', make('b', '', bare(x.name)), ` ${asked(x)}${x.owner && x.owner !== 'members/local' ? `, for ${bare(x.owner)}` : ''}`, make('br'),
        make('span', '', `${now}; ${proven}`));
      if (most && x.state === 'SEARCH_STATE_RUNNING') {
        const bar = Object.assign(make('progress'), { max: most, value: done });
        bar.setAttribute('aria-label', `How much is done: ${part(x)}`);
        item.append(bar);
      }
      for (const alarm of x.alarms) item.append(make('p', 'wrong', alarm));
      item.dataset.search = bare(x.name);
      item.dataset.state = x.state;
      return item;
    });
    const hidden = s.queueLength - queue.slice(0, 50).filter(x => x.state === 'SEARCH_STATE_QUEUED').length;
    renew(this.#queue, make('div', 'club-queue',
      make('p', 'soft', inState.length ? `${inState.join(', ')}.` : 'There are none.'),
      ...(items.length ? [make('ul', 'club-list', ...items)] : [make('p', '', 'Nothing is under way, and nothing waits.')]),
      ...(hidden > 0 ? [make('p', 'soft', `${some(hidden)} more wait.`)] : [])));
  }

  // #work lists the workers. A worker's item stays the same, and its button with it: who is
  // about to press it must not lose it.
  #work(workers) {
    const before = new Map([...this.#workers.children].map(item => [item.dataset.worker, item]));
    const items = workers.map(w => {
      const id = bare(w.name), own = w.name === 'workers/server';
      const may = !own && !w.draining && this.#caller?.role === 'ROLE_ORGANISER';
      let item = before.get(id);
      if (!item || (item.querySelector('button') !== null) !== may) {
        item = make('li', '', make('b', '', id), own ? ' (this server itself)' : '', make('span'), may ? this.#letGo(w.name) : '');
        item.dataset.worker = id;
      }
      item.querySelector('span').textContent = ` ${count(w.slots, 'slot', 'slots')}, ${some(w.units.length)} busy, ${count(Number(w.unitsDone), 'unit', 'units')} done`
        + `${w.coveredPerCoreSecond ? `, ${speed(w.coveredPerCoreSecond)} on a core` : ''}${own ? '' : `, heard of ${ago(w.seenTime)}`}`
        + `${w.draining ? '. It ends when it has finished what it has.' : ' '}`;
      return item;
    });
    if (!items.length) items.push(make('li', 'soft', 'none'));
    put(this.#workers, items);
  }

  #letGo(name) {
    return press('Let go', () => sure(`Let ${bare(name)} go?`, 'It finishes what it has, and ends.', 'Let it go', async () => {
      await api.drainWorker(name);
      this.#look();
    }), 'let-go');
  }

  #room(s) {
    const { storage, tableCache } = s;
    const parts = [['searches', storage.stateBytes], ['tables', tableCache.bytes], ['free', storage.freeBytes]];
    if (!this.#disk.children.length) this.#disk.append(make('div', 'club-bar'), make('dl', 'club-facts'));
    const [bar, facts] = this.#disk.children;
    bar.replaceChildren(...parts.map(([name, n]) => {
      const part = make('span', name);
      part.style.flexGrow = Number(n);
      return part;
    }));
    bar.ariaHidden = 'true'; // the numbers below say the same
    list(facts, [
      ['Free', `${bytes(storage.freeBytes)}${storage.low ? ': too little, nothing new is taken' : ''}`],
      ['Searches and findings', bytes(storage.stateBytes)],
      ['Tables', `${bytes(tableCache.bytes)}; they are kept so that they need not be built again`],
      ['Guard', `with less than ${bytes(storage.reserveBytes)} free nothing new is taken`],
    ]);
  }
}

// organisers have members to see to, and a record of what they did.
function organisers(me) {
  const audit = new Audit();
  return [new Members(me, () => audit.look()), audit];
}

function list(dl, rows) {
  renew(dl, make('dl', dl.className, ...rows.flatMap(([name, value]) => [make('dt', '', name), make('dd', '', value)])));
}
