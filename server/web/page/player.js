// The player: turns in order, how many of them are done, and going from one to another.

import { inverse } from './position.js';

const usual = 650; // milliseconds for a turn

export class Player extends EventTarget {
  #run = null; // what a run that is under way looks at to know whether it is still wanted

  constructor(stage) {
    super();
    this.stage = stage;
    this.turns = [];
    this.at = 0;     // turns that are done
    this.pace = 1;   // times the usual
    this.still = false; // turns are shown before and after only
  }

  // load takes other turns, and stands after so many of them.
  load(turns, at = 0) {
    this.hold();
    this.stage.reset();
    this.turns = turns;
    this.at = 0;
    this.seek(Math.min(at, turns.length));
  }

  // seek goes to where so many turns are done, at once.
  seek(to) {
    this.hold();
    this.stage.jump(to > this.at ? this.turns.slice(this.at, to) : this.turns.slice(to, this.at).reverse().map(inverse));
    this.at = to;
    this.#tell();
  }

  // step does one turn, or takes one back.
  async step(by) {
    this.hold();
    await this.#one(by);
  }

  // run does the turns that are left, or takes back those that are done.
  async run(by) {
    this.hold();
    const own = this.#run = {};
    if (by > 0 && this.at === this.turns.length) this.seek(0);
    this.#run = own;
    this.#tell();
    while (this.#run === own && (by > 0 ? this.at < this.turns.length : this.at > 0)) {
      await this.#one(by);
      if (this.still) await new Promise(done => setTimeout(done, usual / this.pace));
    }
    if (this.#run === own) this.hold();
  }

  // hold pauses: it ends a run after the turn that is under way.
  hold() {
    if (!this.#run) return;
    this.#run = null;
    this.#tell();
  }

  get running() { return this.#run !== null; }

  // put does another turn here, before those that are left.
  put(turn) {
    this.hold();
    this.stage.settle();
    this.turns = this.turns.toSpliced(this.at, 0, turn);
    return this.#one(1);
  }

  // drop takes the last turn that was done out.
  async drop() {
    if (this.at === 0) return;
    this.hold();
    const step = this.#one(-1);
    this.turns = this.turns.toSpliced(this.at, 1);
    await step;
    this.#tell();
  }

  #one(by) {
    this.stage.settle();
    const turn = by > 0 ? this.turns[this.at] : this.turns[this.at - 1];
    if (!turn) return Promise.resolve();
    this.at += by;
    const way = by > 0 ? turn : inverse(turn);
    const done = this.still ? this.stage.jump([way]) : this.stage.turn(way, usual / this.pace);
    this.#tell();
    return Promise.resolve(done);
  }

  #tell() { this.dispatchEvent(new Event('change')); }
}
