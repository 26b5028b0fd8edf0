// Calls of the server's JSON API. The page is a client like any other: it asks this
// server, and nobody else.

// The token lives in this variable: not in an address, a cookie or any storage, so it is
// gone with the page.
let token = '';

export function enterWith(text) { token = text.trim(); }

// Refusal is an answer that says no, in words for people.
export class Refusal extends Error {
  constructor(status, body) {
    super(body?.message || `the server answered with ${status}`);
    this.status = status;
    const info = body?.details?.find(d => d.reason);
    this.reason = info?.reason ?? '';
    this.metadata = info?.metadata ?? {};
  }
  get wantsToken() { return this.status === 401; }
}

async function call(method, path, body, signal) {
  const headers = {};
  if (token) headers.Authorization = `Bearer ${token}`;
  if (body) headers['Content-Type'] = 'application/json';
  let answer;
  try {
    answer = await fetch(path, { method, headers, body: body && JSON.stringify(body), signal, credentials: 'omit' });
  } catch (error) {
    if (error.name === 'AbortError') throw error;
    throw new Refusal(0, { message: 'The server does not answer. Is it running? Try again in a moment.' });
  }
  const read = await answer.json().catch(() => null);
  if (!answer.ok) throw new Refusal(answer.status, read);
  return read;
}

// puzzles lists all puzzles, page by page.
export async function puzzles() {
  const all = [];
  for (let next = ''; ;) {
    const page = await call('GET', `/v1/puzzles?page_size=100&page_token=${encodeURIComponent(next)}`);
    all.push(...page.puzzles);
    next = page.nextPageToken;
    if (!next) return all;
  }
}

// A puzzle's name is "puzzles/…"; an alias will do as well.
const at = (puzzle, verb) => `/v1/puzzles/${encodeURIComponent(puzzle.replace(/^puzzles\//, ''))}${verb}`;

export const model = async puzzle => (await call('GET', at(puzzle, '/model'))).model;
export const trace = async (puzzle, sequence, signal) =>
  (await call('POST', at(puzzle, ':trace'), { sequence }, signal)).trace;
export const describe = async (puzzle, sequence, signal) =>
  (await call('POST', at(puzzle, ':describe'), { sequence }, signal)).effect;
export const explain = async (puzzle, sequence, signal) =>
  (await call('POST', at(puzzle, ':explain'), { sequence }, signal)).explanation;
export const draw = async (puzzle, sequence, scene, signal) =>
  (await call('POST', at(puzzle, ':draw'), { sequence, scene }, signal)).picture;
