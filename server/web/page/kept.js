// What was written on the page and not sent, beyond a reload: in the tab's own storage, under who
// wrote it, and gone with the tab. Nothing of it is in an address, and no token is ever in it.
//
// A browser may keep pages from keeping anything, or have no room: then what is written lasts as
// long as the page, and nothing else is lost.

let member = ''; // nothing is kept before it is known who is there

const all = 'written ';
const key = name => `${all}${member} ${name}`;

function storage(does) {
  try {
    return does(sessionStorage);
  } catch {
    return null;
  }
}

const remove = which => storage(s => { for (const k of Object.keys(s)) if (k.startsWith(all) && which(k)) s.removeItem(k); });

// entered is told who is there: what someone else wrote is not theirs to see.
export function entered(who) {
  member = who;
  remove(k => !k.startsWith(key('')));
}

// forget is for who leaves.
export function forget() { remove(() => true); }

// keep keeps what stands in a form; null where that is nothing.
export function keep(name, value) {
  if (!member) return;
  storage(s => s.removeItem(key(name))); // what was there is old, also where there is no room for what comes
  if (value !== null) storage(s => s.setItem(key(name), JSON.stringify(value)));
}

// get is what was kept, or null.
export const get = name => storage(s => JSON.parse(s.getItem(key(name))));

// said is what stands in the fields of a form, by their names; write puts it there again, as far as they are there still.
export const said = form => [...new FormData(form)];

export function write(form, entries) {
  for (const e of form.elements) {
    const values = entries.flatMap(([name, value]) => (name === e.name ? [value] : []));
    if (e.type === 'checkbox' || e.type === 'radio') e.checked = values.includes(e.value);
    else if (values.length && (e.tagName !== 'SELECT' || [...e.options].some(o => o.value === values[0]))) e.value = values[0];
  }
}
