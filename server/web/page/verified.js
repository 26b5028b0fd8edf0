// How one knows that a round's scrambles were drawn and not chosen: the number that they follow from, and the
// way that they are made from it in, are what the server was bound to before anybody saw one.

import * as api from './api.js';
import { make, press } from './make.js';

export class Verified {
  #round;

  constructor(round) {
    this.#round = round;
    this.said = make('div', 'verified');
    this.said.setAttribute('role', 'status');
    const noted = Object.assign(make('input', 'noted'), { spellcheck: false, autocomplete: 'off' });
    const go = press('Check it', async () => {
      go.disabled = true;
      await this.#check(noted.value);
      go.disabled = false;
    }, 'verify');
    this.box = make('details', 'fair', make('summary', '', make('h4', '', 'Were the scrambles drawn fairly?')),
      make('p', '', 'They follow from this number, which was secret until the round closed:'), make('p', '', make('code', '', round.seed)),
      make('p', '', 'This digest of it was shown from the start:'), make('p', '', make('code', '', round.commitment)),
      make('p', '', make('label', '', 'The digest that you noted before it opened, if you did', noted)), make('p', '', go), this.said);
  }

  async #check(noted) {
    this.said.replaceChildren(make('p', 'soft', 'It makes the scrambles again …'));
    this.said.dataset.fits = '';
    try {
      const { commitment, scrambles, scrambleWay: way } = this.#round;
      const line = committed(this.#round);
      const [v, here] = await Promise.all([api.verify(this.#round.name), digest(line)]);
      const made = `those that the number makes${way ? ` in way ${way}` : ''}`;
      const rows = [[v.seedFits, 'By the server, the number is the one that it was bound to.', 'By the server itself, the number is NOT the one that it was bound to.']];
      if (here) rows.push([here === commitment, 'Your browser worked the digest out, too: it is the same.', `Your browser worked the digest out, too: it is NOT the same, but ${here}.`]);
      if (noted.trim()) rows.push([noted.trim().toLowerCase() === commitment, 'It is the digest that you noted.', 'It is NOT the digest that you noted.']);
      rows.push([v.scramblesFit, `The scrambles that were shown are ${made}.`, `The scrambles that were shown are NOT ${made}.`]);
      const fits = rows.every(([ok]) => ok);
      const list = make('ul', '', ...rows.map(([ok, yes, no]) => make('li', ok ? 'fits' : 'unfit', ok ? yes : no)));
      const others = v.scramblesFit ? [] : v.scrambles.map((s, i) => (s === scrambles[i] ? '' : make('p', '', `Of attempt ${i + 1} it makes `, make('code', '', s))));
      const more = v.seedFits && !v.scramblesFit && !way ? make('p', 'soft', 'The round does not say in which way they were made: the program that announced it may have made them otherwise. Have one of that version check it, too.') : '';
      this.said.replaceChildren(make('p', '', make('b', '', fits ? 'All is as it should be.' : 'It is not as it should be: tell the organisers, and keep what you noted.')), list, ...others.filter(Boolean), more,
        make('p', 'soft', 'Without this page, the digest is what this prints: ', make('code', '', `echo ${line} | sha256sum`)));
      this.said.dataset.fits = fits ? 'yes' : 'no';
    } catch (error) {
      this.said.replaceChildren(make('p', 'wrong', error.message));
    }
  }
}

// committed is the line that binds to a round's number and way; rounds from before ways had numbers are bound without one.
const committed = ({ seed, scrambleWay: way }) => `turnwright seed ${seed}${way ? ` way ${way}` : ''}`;

// digest is what binds to such a line, worked out here; null where the browser has no digests, as on
// pages without TLS that are not on loopback.
async function digest(line) {
  if (!globalThis.crypto?.subtle) return null;
  const made = await crypto.subtle.digest('SHA-256', new TextEncoder().encode(`${line}\n`));
  return Array.from(new Uint8Array(made), n => n.toString(16).padStart(2, '0')).join('');
}
