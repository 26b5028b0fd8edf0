// A look: something that the server is asked to do for a while, with a button that begins it,
// one that ends it, and words on how it stands.

import { Refusal } from './api.js';
import { make, press } from './make.js';

export class Look {
  #begin; #end; #said; #work; #under = null;

  // work is called with a signal that ends it, and with tell, which says how it stands. Where it
  // gives a text, that is said in the end.
  constructor(text, work, { name = '', beside = [] } = {}) {
    this.#work = work;
    this.#begin = press(text, () => { this.begin(); }, `main ${name}`.trim());
    this.#end = press('Stop', () => this.end('You stopped it: what came until then is here.'), 'stop');
    this.#end.hidden = true;
    this.#said = make('p', 'said');
    this.#said.setAttribute('role', 'status');
    this.box = make('div', 'look', make('p', 'row', ...beside, this.#begin, this.#end), this.#said);
  }

  set text(text) { this.#begin.textContent = text; }
  get under() { return this.#under !== null; }

  // begin begins it; with other work, that.
  async begin(work = this.#work) {
    this.end('');
    const own = this.#under = new AbortController();
    this.#stand(true);
    const tell = text => { if (this.#under === own) this.say(text); };
    try {
      const last = await work(own.signal, tell);
      if (last !== undefined) tell(last);
    } catch (error) {
      if (error.name !== 'AbortError') tell(inWords(error));
    } finally {
      if (this.#under === own) this.#stand(false);
    }
  }

  // end ends what is under way, and says why.
  end(why) {
    this.#under?.abort();
    this.#stand(false);
    this.say(why);
  }

  say(text) { this.#said.textContent = text; }

  #stand(under) {
    if (!under) this.#under = null;
    const focused = document.activeElement;
    this.#begin.disabled = under;
    this.#end.hidden = !under;
    this.box.toggleAttribute('data-under', under);
    // Who pressed one by keys goes on with the other.
    if (focused === this.#begin && under) this.#end.focus({ preventScroll: true });
    if (focused === this.#end && !under) this.#begin.focus({ preventScroll: true });
  }
}

// inWords is what the server said when it went wrong, as a sentence.
export function inWords(error) {
  if (!(error instanceof Refusal)) console.error(error);
  const text = error.message;
  return text.charAt(0).toUpperCase() + text.slice(1) + (/[.!?]$/.test(text) ? '' : '.');
}
