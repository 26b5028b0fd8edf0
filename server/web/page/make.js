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

// when is a time in the reader's own zone and manner.
export const when = time => new Date(time).toLocaleString([], { dateStyle: 'medium', timeStyle: 'short' });

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
