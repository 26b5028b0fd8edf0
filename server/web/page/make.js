// Elements of the page, and times, written short.

// make is an element with a class and what is in it; what is null or '' is left out.
export function make(tag, className, ...parts) {
  const e = document.createElement(tag);
  if (className) e.className = className;
  e.append(...parts.filter(p => p !== null && p !== ''));
  return e;
}

// press is a button that does something.
export function press(text, does, className = '') {
  const b = make('button', className, text);
  b.type = 'button';
  b.onclick = does;
  return b;
}

// put has a list show these items in this order. One that is there already stays where it is as far as that
// can be: someone may be about to press it, or have the focus in it.
export function put(list, items) {
  const wanted = new Set(items);
  for (const item of [...list.children]) if (!wanted.has(item)) item.remove();
  let next = list.firstElementChild;
  for (const item of items) {
    if (item === next) next = next.nextElementSibling;
    else list.insertBefore(item, next);
  }
}

// stays gives what a map has under a name as long as it tells the same, and else has it made anew: for what put shows.
export function stays(there, name, tells, made) {
  const text = JSON.stringify(tells);
  if (there.get(name)?.text !== text) there.set(name, { text, item: made() });
  return there.get(name).item;
}

// renew makes an element, which is only read, what another one is. What it says already stays: someone may
// have marked it.
export function renew(was, now) {
  if (was.isEqualNode(now)) return;
  if (was.nodeName !== now.nodeName || !was.attributes) { // text has none
    was.replaceWith(now);
    return;
  }
  for (const { name } of [...was.attributes]) if (!now.hasAttribute(name)) was.removeAttribute(name);
  for (const { name, value } of now.attributes) was.setAttribute(name, value);
  const parts = [...now.childNodes];
  for (const part of [...was.childNodes].slice(parts.length)) part.remove();
  parts.forEach((part, i) => { if (was.childNodes[i]) renew(was.childNodes[i], part); else was.append(part); });
}

// say has an element say a text; one that it says already is not said again to who listens.
export function say(element, text) { if (element.textContent !== text) element.textContent = text; }

// when is a time in the reader's own zone and manner.
export const when = time => new Date(time).toLocaleString([], { dateStyle: 'medium', timeStyle: 'short' });

// local is a time as a field for date and time has it, in the reader's own zone.
export function local(time) {
  const t = new Date(time);
  return new Date(t - t.getTimezoneOffset() * 60_000).toISOString().slice(0, 16);
}

// span is so many milliseconds in words, rounded down: nobody is told of more time than there is.
export function span(ms) {
  const s = Math.max(0, Math.floor(ms / 1000)), m = Math.floor(s / 60), h = Math.floor(m / 60), d = Math.floor(h / 24);
  if (d > 1) return `${d} days ${h % 24} h`;
  if (h > 0) return m % 60 ? `${h} h ${m % 60} min` : `${h} h`;
  if (m > 9) return `${m} min`;
  return m > 0 ? `${m} min ${s % 60} s` : `${s} s`;
}

// count is a number of things.
export const count = (n, one, more) => `${n} ${n === 1 ? one : more}`;

let dialogs = 0;

// ask opens a dialog that does something once it is confirmed. What goes wrong is said in it,
// and it stays. after is called when that was done and the dialog has given the focus back.
export function ask({ title, parts, no = 'Not yet', yes, does, after = () => {} }) {
  const dialog = make('dialog', 'asks');
  const head = make('h4', '', title);
  head.id = `dialog-${++dialogs}`;
  dialog.setAttribute('aria-labelledby', head.id);
  const wrong = make('p', 'wrong');
  wrong.setAttribute('role', 'status');
  const confirm = press(yes, async () => {
    confirm.disabled = true;
    wrong.textContent = '';
    try {
      await does();
      dialog.close();
      after();
    } catch (error) {
      wrong.textContent = error.fields?.[0]?.description ?? error.message;
      confirm.disabled = false;
    }
  }, 'main');
  dialog.append(head, ...parts, wrong, make('p', 'row', press(no, () => dialog.close()), confirm));
  dialog.onclose = () => dialog.remove();
  document.body.append(dialog);
  dialog.showModal();
  return dialog;
}

// sure asks whether someone means what can't be taken back.
export const sure = (title, text, yes, does, after) => ask({ title, parts: [make('p', '', text)], no: 'No, leave it', yes, does, after });

// copied is a button that copies a text, and says whether that was done.
export function copied(text) {
  const b = press('Copy it', async () => {
    try {
      await navigator.clipboard.writeText(text);
      b.textContent = 'Copied';
    } catch {
      b.textContent = 'The browser does not let the page copy: select it';
    }
  });
  return b;
}

// bare is the last part of a resource's name.
export const bare = name => name.slice(name.lastIndexOf('/') + 1);

// metric is a metric as people write it.
export const metric = name => name.replace('METRIC_', '');

const around = 60; // letters of a line before and after a place in it that are shown

// misread is a line with the place in it that can't be read; of a long one, what is around that.
export function misread(line, column) {
  const all = [...line], at = Math.max(0, column - 1);
  const from = Math.max(0, at - around), to = at + 1 + around;
  return make('p', 'place', make('code', '', (from > 0 ? '… ' : '') + all.slice(from, at).join(''), make('mark', '', all[at] ?? ' '),
    all.slice(at + 1, to).join('') + (to < all.length ? ' …' : '')));
}
