// Who may use the server: members and their tokens, for organisers; one's own tokens, for
// everybody; and what organisers did.
//
// A new token is shown once, in a dialog. It is in no attribute, address or storage, and gone from
// the page when the dialog is closed.

import * as api from './api.js';
import { bare, make, press, put, stays, sure, when } from './make.js';

const roles = {
  ROLE_MEMBER: ['member', 'asks for searches, takes part in rounds'],
  ROLE_ORGANISER: ['organiser', 'sees to members, rounds and the server too'],
  ROLE_WORKER: ['worker', 'a machine that lends cores, and nothing else'],
};
const day = 24 * 60 * 60 * 1000;
const terms = [['a week', 7], ['30 days', 30], ['a year', 365], ['ten years', 3650]];

function say(className = 'wrong') {
  const p = make('p', className);
  p.setAttribute('role', 'status');
  return p;
}

// part is a heading, where to say what went wrong, and what comes below.
function part(title, ...content) {
  const said = say();
  return { said, box: make('section', 'club-part', make('h3', '', title), said, ...content) };
}

export class Members {
  #me; #used; #said; #list; #open = new Set(); #there = new Map(); #looking = null;

  // me is the caller, as GetCaller tells, who can't remove itself. changed is called after
  // each act.
  constructor(me, changed) {
    this.#me = me.member;
    this.#used = me.token;
    this.changed = changed;
    this.#list = make('div', 'club-members');
    const { box, said } = part('Members and tokens', this.#add(), this.#list);
    this.box = box;
    this.#said = said;
  }

  // look lists the members. What is open stays open, and what someone is about to press stays there.
  async look() {
    const own = this.#looking = {};
    try {
      const all = await api.members();
      if (this.#looking !== own) return;
      this.#said.textContent = '';
      const items = all.map(m => {
        const item = stays(this.#there, m.name, m, () => this.#member(m));
        if (this.#open.has(m.name)) item.tokens.look();
        return item.box;
      });
      put(this.#list, items.length ? items : [make('p', 'soft', 'There are no members yet.')]);
    } catch (error) {
      if (this.#looking === own) this.#said.textContent = error.message;
    }
  }

  #add() {
    const name = Object.assign(make('input'), {
      name: 'member', required: true, maxLength: 63, pattern: '[a-z]([a-z0-9\\-]*[a-z0-9])?', autocomplete: 'off', spellcheck: false, autocapitalize: 'off',
      title: 'lower-case letters, digits and hyphens, a letter first',
    });
    const role = make('select', '', ...Object.entries(roles).map(([value, [word, means]]) => new Option(`${word}: ${means}`, value)));
    role.name = 'role';
    const term = termChoice();
    const add = make('button', 'main', 'Add');
    const form = make('form', 'club-add', make('label', '', 'Name ', name), make('label', '', 'Role ', role), make('label', '', 'with a token for ', term), add);
    const wrong = say();
    form.append(wrong);
    form.onsubmit = async event => {
      event.preventDefault();
      add.disabled = true;
      wrong.textContent = '';
      try {
        const { name: member } = await api.addMember(name.value.trim(), role.value);
        name.value = '';
        this.#open.add(member);
        try {
          await give(member, term);
        } finally {
          await this.look();
          this.changed();
        }
      } catch (error) {
        wrong.textContent = error.message;
      } finally {
        add.disabled = false;
      }
    };
    return make('details', 'club-new', make('summary', '', 'Add a member'), form);
  }

  #member(m) {
    const id = bare(m.name);
    const box = make('details', 'club-member', make('summary', '', make('b', '', id), ` ${roles[m.role]?.[0] ?? m.role}`,
      make('span', 'soft', `${m.name === this.#me ? ', you' : ''}, since ${when(m.createTime)}`)));
    box.dataset.member = id;
    const list = new TokenList(m.name, this.#used, () => this.changed());
    const term = termChoice();
    const wrong = say();
    const made = press('Make a token', async () => {
      made.disabled = true;
      wrong.textContent = '';
      try {
        await give(m.name, term);
        await list.look();
        this.changed();
      } catch (error) {
        wrong.textContent = error.message;
      } finally {
        made.disabled = false;
      }
    }, 'give');
    box.append(list.box, make('p', 'row', made, make('label', '', 'good for ', term)), wrong);
    if (m.name !== this.#me) {
      box.append(make('p', 'row', press(`Remove ${id}`, () => sure(`Remove ${id} and its tokens?`, 'Its searches and entries stay; the name can’t be used again.', `Remove ${id}`, async () => {
        await api.deleteMember(m.name);
        this.#open.delete(m.name);
        await this.look();
        this.changed();
      }, () => this.box.querySelector('summary').focus({ preventScroll: true })), 'remove')));
    }
    box.ontoggle = () => {
      if (box.open === this.#open.has(m.name)) return;
      if (box.open) { this.#open.add(m.name); list.look(); } else this.#open.delete(m.name);
    };
    box.open = this.#open.has(m.name);
    return { box, tokens: list };
  }
}

// OwnTokens are the caller's own, for those who don't organise.
export class OwnTokens {
  // token is the one that the page was entered with.
  constructor(token) {
    const { box, said } = part('Your tokens');
    this.list = new TokenList('members/me', token, () => {});
    box.append(this.list.box, make('p', 'soft', 'Organisers make new ones.'));
    this.box = box;
    this.said = said;
  }
  look() { return this.list.look(); }
}

// TokenList are the tokens of a member, without their secrets, which nobody has any more.
class TokenList {
  #member; #used; #said = say(); #list = make('ul', 'club-list'); #there = new Map(); #looking = null;

  // used is the token that the caller uses; changed is called when one was revoked.
  constructor(member, used, changed) {
    this.#member = member;
    this.#used = used;
    this.changed = changed;
    this.box = make('div', 'club-tokens', this.#said, this.#list);
    this.box.tabIndex = -1;
  }

  async look() {
    const own = this.#looking = {};
    try {
      const all = await api.tokens(this.#member);
      if (this.#looking !== own) return;
      this.#said.textContent = '';
      const items = all.map(t => stays(this.#there, t.name, [t, expired(t)], () => this.#token(t)));
      put(this.#list, items.length ? items : [make('li', 'soft', 'no token')]);
    } catch (error) {
      if (this.#looking === own) this.#said.textContent = error.message;
    }
  }

  #token(t) {
    const id = bare(t.name);
    const warning = t.name === this.#used ? ' It is the one you use now: this page will ask for another.' : '';
    const item = make('li', '', make('code', '', id), t.name === this.#used ? ' (in use here)' : '',
      ` made ${when(t.createTime)}, ${t.lastUseTime ? `last used ${when(t.lastUseTime)}` : 'never used'}, `,
      expired(t) ? make('b', '', `expired ${when(t.expireTime)}`) : `good until ${when(t.expireTime)}`, ' ',
      press('Revoke', () => sure(`Revoke ${id}?`, `It will be worth nothing from this moment on.${warning}`, 'Revoke it', async () => {
        await api.revokeToken(t.name);
        await this.look();
        this.changed();
      }, () => (this.box.closest('details')?.querySelector('summary') ?? this.box).focus({ preventScroll: true })), 'revoke'));
    item.dataset.token = id;
    return item;
  }
}

const expired = t => Date.parse(t.expireTime) < api.now();

function termChoice() {
  const s = make('select', '', ...terms.map(([text, days]) => new Option(text, days)));
  s.value = 365;
  return s;
}

// give makes a token for a member and shows it. It is done when the dialog has been closed.
async function give(member, term) {
  const made = await api.makeToken(member, new Date(api.now() + Number(term.value) * day).toISOString());
  await reveal(bare(member), made);
}

// reveal shows a secret, once.
function reveal(member, { token, secret }) {
  const dialog = make('dialog', 'club-secret');
  const title = make('h3', '', `Token ${bare(token.name)} for ${member}`);
  title.id = 'secret-title';
  dialog.setAttribute('aria-labelledby', title.id);
  const field = Object.assign(make('input'), { readOnly: true, type: 'text', spellcheck: false });
  field.value = secret; // a property: the page's text does not have it
  field.setAttribute('aria-label', 'The token');
  field.onfocus = () => field.select();
  const said = say('');
  const copy = press('Copy', async () => {
    try {
      await navigator.clipboard.writeText(field.value);
      said.textContent = 'Copied.';
    } catch {
      field.focus();
      said.textContent = 'The browser does not let the page copy: it is marked, copy it with Ctrl+C.';
    }
  }, 'main');
  dialog.append(title, make('p', '', `This is shown once. Whoever has it is ${member} here until ${when(token.expireTime)}: hand it over where nobody else reads it. `
    + 'If it gets lost, revoke it and make another.'), field, make('p', 'row', copy, press('I have it: close', () => dialog.close()), said));
  document.body.append(dialog);
  dialog.showModal();
  copy.focus();
  return new Promise(done => {
    dialog.onclose = () => {
      field.value = '';
      dialog.remove();
      done();
    };
  });
}

// Audit is what organisers did.
export class Audit {
  #said; #rows = make('tbody'); #table; #next = ''; #more; #looking = null;

  constructor() {
    this.#more = press('Show earlier ones', () => this.#page());
    const head = ['When', 'Who', 'What', 'More'].map(text => Object.assign(make('th', '', text), { scope: 'col' }));
    this.#table = make('div', 'wide', make('table', 'club-audit', make('thead', '', make('tr', '', ...head)), this.#rows));
    Object.assign(this.#table, { tabIndex: 0, role: 'group', ariaLabel: 'What organisers did' });
    const { box, said } = part('What organisers did', this.#table, this.#more);
    this.box = box;
    this.#said = said;
  }

  look() {
    this.#next = '';
    return this.#page();
  }

  // #page shows a page more, or the first one again.
  async #page() {
    const fresh = this.#next === '';
    const own = this.#looking = {};
    try {
      const { entries, nextPageToken } = await api.audit(this.#next);
      if (this.#looking !== own) return;
      this.#said.textContent = '';
      if (fresh) this.#rows.replaceChildren();
      this.#rows.append(...entries.map(e => {
        const row = make('tr', '', make('td', '', when(e.time)), make('td', '', bare(e.member)),
          make('td', '', `${e.act} ${e.target.replace(/^(members|searches|rounds|workers)\//, '')}`.trim()), make('td', '', e.details));
        row.dataset.act = `${e.act} ${e.target}`;
        return row;
      }));
      this.#next = nextPageToken;
      this.#more.hidden = !nextPageToken;
      this.#table.hidden = !this.#rows.children.length;
    } catch (error) {
      if (this.#looking === own) this.#said.textContent = error.message;
    }
  }
}
