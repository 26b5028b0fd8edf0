// What one takes away from the page: on paper, or as a file.

import { make } from './make.js';

// print prints these parts, and nothing else of the page.
export function print(...parts) {
  const sheet = make('div', 'printed', ...parts);
  document.body.append(sheet);
  addEventListener('afterprint', () => sheet.remove(), { once: true });
  window.print();
}

// save has the browser keep a text as a file.
export function save(name, type, text) {
  const a = document.createElement('a');
  a.href = URL.createObjectURL(new Blob([text], { type }));
  a.download = name;
  a.click();
  setTimeout(() => URL.revokeObjectURL(a.href), 60_000); // it has been read by then
}

// csv is a table's rows by RFC 4180.
export const csv = rows => [...rows].map(row => [...row.cells].map(cell => quoted(cell.textContent)).join(',')).join('\r\n') + '\r\n';

const quoted = text => (/[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
