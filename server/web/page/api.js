// Calls of the server's JSON API. The page is a client like any other: it asks this
// server, and nobody else.

// The token lives in this variable: not in an address, a cookie or any storage, so it is
// gone with the page.
let token = '';

export function enterWith(text) { token = text.trim(); }

// whenRefused has someone hear that the token is worth nothing, or that there is none, whichever
// module asked: it has expired, or was revoked.
let refused = () => {};
export function whenRefused(hears) { refused = hears; }

// Refusal is an answer that says no, in words for people.
export class Refusal extends Error {
  constructor(status, body) {
    super(body?.message || `the server answered with ${status}`);
    this.status = status;
    const info = body?.details?.find(d => d.reason);
    this.reason = info?.reason ?? '';
    this.metadata = info?.metadata ?? {};
    this.fields = body?.details?.flatMap(d => d.fieldViolations ?? []) ?? []; // what is wrong with which field
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
  const read = await answer.json().catch(error => { if (error.name === 'AbortError') throw error; });
  if (!answer.ok) throw refusal(answer.status, read);
  if (!read) throw new Refusal(0, { message: 'The connection to the server broke off. Try again in a moment.' });
  hear(answer);
  return read;
}

// refusal is a Refusal of which those hear who have to.
function refusal(status, body) {
  const error = new Refusal(status, body);
  if (error.wantsToken) refused(error);
  return error;
}

// The server's clock counts in rounds, not the device's. What an answer says of it is in
// whole seconds, rounded down: it is taken for one later, so that nobody is told of more time
// than there is, and small differences are left alone.
let ahead = 0; // milliseconds that the server's clock is before the device's

function hear(answer) {
  const said = Date.parse(answer.headers.get('Date') ?? '') + 1000 - Date.now();
  if (Math.abs(said - ahead) > 1500) ahead = said;
}

// now is the server's time in milliseconds.
export const now = () => Date.now() + ahead;

// puzzles lists all puzzles, page by page.
export const puzzles = () => every('/v1/puzzles', 'puzzles');

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

// isolate tells of each turn Y what it has in common with a part X, and what [X, Y] does.
export const isolate = (goal, part, limit, signal) => call('POST', '/v1/commutators:isolate', { goal, part, limit, maxLength: 1 }, signal);

// searches lists the searches of the server, the latest first.
export const searches = () => every('/v1/searches', 'searches');

// ask asks for a search, or only what it would take. The same request sent again is taken once.
export const ask = (search, estimate, searchId = '', request = requestId()) =>
  call('POST', '/v1/searches', estimate ? { search, searchId, validateOnly: true } : { search, searchId, requestId: request });

// requestId names a request, so that the server takes it once however often it arrives.
const requestId = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), n => n.toString(16).padStart(2, '0')).join('');

// once names requests: the same that is asked again has the same name, so that the server does it
// once however often it is sent.
export function once() {
  let last = '', name = '';
  return (...asked) => {
    const text = JSON.stringify(asked);
    if (text !== last) [last, name] = [text, requestId()];
    return name;
  };
}

export const status = async () => (await call('GET', '/v1/status')).status;
export const workers = async () => (await call('GET', '/v1/workers?page_size=200')).workers;

// ended tells whether a search will find no more.
export const ended = search => ['SEARCH_STATE_DONE', 'SEARCH_STATE_CANCELLED', 'SEARCH_STATE_FAILED'].includes(search.state);

// follow gives the events of a search, from a cursor on, until it has ended: findings and what it is
// doing. A stream that breaks off is taken up again where it was; broken tells that it did.
export async function* follow(search, signal, broken, cursor = '') {
  let last = null;
  for (let pause = 500; ;) {
    try {
      for await (const event of lines(`/v1/${search}/findings:stream?cursor=${encodeURIComponent(cursor)}`, signal)) {
        cursor = event.cursor;
        pause = 500;
        if (event.search) last = event.search;
        yield event;
      }
      if (last && ended(last)) return;
    } catch (error) {
      if (signal.aborted) return;
      if ([400, 401, 403, 404].includes(error.status)) throw error; // it would be the same again
    }
    broken();
    await new Promise(go => { setTimeout(go, pause); signal.addEventListener('abort', go, { once: true }); });
    if (signal.aborted) return;
    pause = Math.min(2 * pause, 15000);
  }
}

// statusOf is what HTTP calls the codes of errors that trying again does not mend.
const statusOf = { 3: 400, 5: 404, 7: 403, 16: 401 };

// lines reads a stream: an object a line.
async function* lines(path, signal, body) {
  const headers = token ? { Authorization: `Bearer ${token}` } : {};
  if (body) headers['Content-Type'] = 'application/json';
  const broken = error => { throw error.name === 'AbortError' ? error : new Refusal(0, { message: 'The connection to the server broke off.' }); };
  const answer = await fetch(path, { method: body ? 'POST' : 'GET', headers, body: body && JSON.stringify(body), signal, credentials: 'omit' }).catch(broken);
  if (!answer.ok) {
    const body = await answer.json().catch(() => null);
    throw refusal(answer.status, body?.error ?? body); // a stream that was refused wraps what it says
  }
  const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
  let rest = '';
  for (;;) {
    const { value, done } = await reader.read().catch(broken);
    if (done) return;
    const parts = (rest + value).split('\n');
    rest = parts.pop();
    for (const part of parts.filter(p => p !== '')) {
      const event = JSON.parse(part);
      if (event.error) throw refusal(statusOf[event.error.code] ?? 503, event.error);
      yield event.result;
    }
  }
}

// every lists what a call gives page by page.
async function every(path, field) {
  const all = [];
  for (let next = ''; ;) {
    const page = await call('GET', `${path}${path.includes('?') ? '&' : '?'}page_size=1000&page_token=${encodeURIComponent(next)}`);
    all.push(...page[field]);
    next = page.nextPageToken;
    if (!next) return all;
  }
}

// Rounds are named "rounds/…", and so are all that is theirs.
export const caller = () => call('GET', '/v1/caller');
export const rounds = () => every('/v1/rounds', 'rounds');
export const round = async name => (await call('GET', `/v1/${name}`)).round;
export const views = name => every(`/v1/${name}/views`, 'views');
export const entries = name => every(`/v1/${name}/entries`, 'entries');
export const standings = async name => (await call('GET', `/v1/${name}/standings`)).standings;

// scramble shows the scramble of an attempt, and starts the clock the first time.
export const scramble = async (name, attempt) =>
  (await call('POST', `/v1/${name}:showScramble`, { attempt, requestId: requestId() })).attempt;

// check says what an entry would count for, and keeps nothing; submit hands it in.
export const check = async (name, entry, signal) =>
  (await call('POST', `/v1/${name}/entries`, { entry, validateOnly: true }, signal)).entry;
export const submit = async (name, entry, request) =>
  (await call('POST', `/v1/${name}/entries`, { entry, requestId: request })).entry;

// compare puts solutions side by side, and then says how few moves could do as it is found
// out; study tells of one alone where its moves went.
export const compare = (request, signal) => lines('/v1/solutions:compare', signal, request);
export const study = (puzzle, request, signal) => lines(at(puzzle, ':study'), signal, request);

// act pauses, resumes, cancels or reschedules a search, and gives it as it is then.
export const act = async (search, verb, more = {}) =>
  (await call('POST', `/v1/${search}:${verb}`, { ...more, requestId: requestId() })).search;
export const remove = search => call('DELETE', `/v1/${search}?request_id=${requestId()}`);

// coverage sums up what is known of all classes of a goal's 3-cycles; coverageRows gives what is
// known of each, a page at a time, and after so many no more.
export const coverage = async (goal, signal) => (await call('POST', '/v1/coverage:get', { goal }, signal)).coverage;
export async function coverageRows(goal, most, signal) {
  const all = [];
  for (let pageToken = ''; ;) {
    const page = await call('POST', '/v1/coverage:rows', { goal, pageSize: 1000, pageToken }, signal);
    all.push(...page.rows);
    pageToken = page.nextPageToken;
    if (!pageToken || all.length >= most) return { rows: all, whole: !pageToken };
  }
}
export const findingsOf = search => every(`/v1/${search}/findings`, 'findings');

// Members are named "members/…", and their tokens "members/…/tokens/…". A new token's secret is
// in the answer and nowhere else.
export const members = () => every('/v1/members', 'members');
export const addMember = async (memberId, role) => (await call('POST', '/v1/members', { member: { role }, memberId, requestId: requestId() })).member;
export const deleteMember = name => call('DELETE', `/v1/${name}?request_id=${requestId()}`);
export const tokens = member => every(`/v1/${member}/tokens`, 'tokens');
export const makeToken = (parent, expireTime) => call('POST', `/v1/${parent}/tokens`, { token: { expireTime }, requestId: requestId() });
export const revokeToken = name => call('POST', `/v1/${name}:revoke`, { requestId: requestId() });
export const drainWorker = async name => (await call('POST', `/v1/${name}:drain`, { requestId: requestId() })).worker;

// audit gives what organisers did, the latest first, a page at a time.
export const audit = pageToken => call('GET', `/v1/audit?page_size=20&page_token=${encodeURIComponent(pageToken)}`);

// What organisers do with rounds. A request that is sent again has the same name, so that the
// server does it once.
export const announce = async (round, roundId, request) => (await call('POST', '/v1/rounds', { round, roundId, requestId: request })).round;
export const amend = async (round, fields, reason, request) =>
  (await call('POST', `/v1/${round.name}:update`, { round, updateMask: fields.join(','), reason, requestId: request })).round;
export const end = async (name, callOff, reason, request) =>
  (await call('POST', `/v1/${name}:close`, { callOff, reason, requestId: request })).round;
export const correct = async (name, correction, request) =>
  (await call('POST', `/v1/${name}:correct`, { ...correction, requestId: request })).entry;

// verify says whether a closed round's scrambles follow from the seed that the server was bound to.
export const verify = name => call('GET', `/v1/${name}:verify`);

// records are those of the club and its members, the latest first.
export const records = asked => every(`/v1/records?${new URLSearchParams(asked)}`, 'records');

// baseline shows a scramble solved in stages, and then shorter ones as they come; insert puts
// known sequences into a solution that leaves a few pieces wrong.
export const baseline = (puzzle, request, signal) => lines(at(puzzle, ':baseline'), signal, request);
export const insert = (puzzle, request, signal) => call('POST', at(puzzle, ':insert'), request, signal);

// fit gives sequences that are known and do a cycle that is wanted, best first.
export const fit = (request, signal) => call('POST', '/v1/sequences:fit', request, signal);
