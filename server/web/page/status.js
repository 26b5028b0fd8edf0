// How the server is: for those who may know, asked for when its desk comes into sight and
// then now and then while it stays there.

import * as api from './api.js';

const again = 5000; // milliseconds

const bytes = n => {
  const units = ['bytes', 'KiB', 'MiB', 'GiB', 'TiB'];
  let value = Number(n), i = 0;
  for (; value >= 1024 && i < units.length - 1; i++) value /= 1024;
  return `${value.toFixed(value < 10 && i ? 1 : 0)} ${units[i]}`;
};
const span = text => {
  const minutes = Math.floor(parseFloat(text) / 60);
  if (minutes < 2) return 'a moment';
  return minutes < 120 ? `${minutes} minutes` : minutes < 2880 ? `${Math.floor(minutes / 60)} hours` : `${Math.floor(minutes / 1440)} days`;
};

export class Status {
  #box; #due = null; #open = false;

  constructor(box) { this.#box = box; }

  opened() { this.#open = true; this.#look(); }
  closed() { this.#open = false; clearTimeout(this.#due); }

  async #look() {
    clearTimeout(this.#due);
    const said = this.#box.querySelector('p');
    try {
      const [s, workers] = await Promise.all([api.status(), api.workers()]);
      said.textContent = '';
      this.#list([
        ['Version', s.version], ['Has served for', span(s.uptime)],
        ['Searches under way', `${s.underWay.map(x => x.name.replace('searches/', '')).join(', ') || 'none'}; ${s.queueLength} wait`],
        ['Work', `${(s.work.leavesPerSecond / 1e6).toFixed(1)} million words a second; ${s.workers.busy} of ${s.workers.slots} slots are busy`],
        ['Alarms', s.work.alarms], ['Memory', `${bytes(s.memory.processBytes)}, of it tables ${bytes(s.memory.tableBytes)}`],
        ['Disk', `${bytes(s.storage.freeBytes)} free${s.storage.low ? ': too little for new work' : ''}`],
        ['Workers', workers.map(w => `${w.name.replace('workers/', '')} (${w.slots} slots, ${w.unitsDone} units done${w.draining ? ', ending' : ''})`).join('; ') || 'none'],
      ]);
    } catch (error) {
      this.#list([]);
      said.textContent = error.message;
    }
    if (this.#open) this.#due = setTimeout(() => this.#look(), again);
  }

  #list(rows) {
    this.#box.querySelector('dl').replaceChildren(...rows.flatMap(([name, value]) =>
      [Object.assign(document.createElement('dt'), { textContent: name }), Object.assign(document.createElement('dd'), { textContent: value })]));
  }
}
