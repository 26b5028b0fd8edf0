// The page: what is chosen and typed, and what follows from it.
//
// One way round: text → the server reads it (trace) → the player has its turns → the stage
// shows them. A turn by hand goes the same way, as text. Notation is only ever read and
// written by the server.

import * as api from './api.js';
import { Ask } from './ask.js';
import { Bench } from './bench.js';
import { Coverage } from './coverage.js';
import { tell as explain } from './effect.js';
import { Fit } from './fit.js';
import { Typed, byPointer } from './hand.js';
import * as kept from './kept.js';
import * as link from './link.js';
import { bare, metric as metricOf } from './make.js';
import { Player } from './player.js';
import { byHand } from './position.js';
import { Rounds } from './rounds.js';
import { Searches } from './searches.js';
import { Solution } from './solution.js';
import { Stage } from './stage.js';
import { Status } from './status.js';

const $ = id => document.getElementById(id);
const box = $('stage');
const longest = 20_000; // letters of a sequence that an address has: browsers bound these
const quiet = 250; // milliseconds without a key before what is typed is read
const usualPuzzle = 'vertex-cut-dodecahedron';

let stage, player, typed, searches, rounds, coverage, fit;
let desks; // what there is beside the puzzle: the modules of each desk, by its name
let desk = 'effect';
const narrow = matchMedia('(max-width: 56rem)'); // as in style.css: the desks are below the puzzle
const left = new Map(); // what was typed for each puzzle when another was chosen
const untold = { turns: [], arrows: [], moved: [], rotation: '' };
let model = null, trace = untold;
let sealed = false; // what is shown is of a round that has not closed: no address has it
let member = ''; // who is there
let given = ''; // the text that was put onto the stage last, before anyone went on from it
let clock = ''; // what is left of the clock of an attempt that ends first
let brought = null; // the pieces of the cycle that someone wants to see, or null
let unread = false; // the text has changed since it was read, but for turns that the player has, too
let reading = null; // the reading of a text that is under way

start().catch(fail);

async function start() {
  theme();
  api.whenRefused(askIn);
  const first = ahead();
  try {
    stage = new Stage(box);
  } catch {
    throw new Error('This browser has no WebGL, which the puzzle is drawn with. "turnwright draw" makes pictures without it.');
  }
  player = new Player(stage);
  searches = new Searches($('searches'), showFinding);
  searches.onwatch = remember;
  const solution = new Solution($('solution'), {
    show: showFinding, seek: n => { player.seek(n); reach(); }, watch: id => { sit('searches'); searches.list().then(() => searches.watch(id)).catch(fail); },
  });
  rounds = new Rounds($('rounds'), showFinding, (...said) => study(solution, ...said).catch(fail));
  rounds.onwatch = remember;
  coverage = new Coverage($('coverage'), showFinding);
  coverage.onview = remember;
  fit = new Fit($('fit'), stage, showFinding);
  fit.onview = remember;
  rounds.onclock = left => { clock = left; $('desks').querySelector('[data-desk="rounds"]').textContent = left ? `Rounds · ${left}` : 'Rounds'; };
  const ask = new Ask($('ask'), async id => {
    await searches.list().catch(fail);
    searches.watch(id);
  });
  const calm = matchMedia('(prefers-reduced-motion: reduce)');
  const settleDown = () => { player.still = calm.matches; };
  calm.addEventListener('change', settleDown);
  settleDown();
  const bench = new Bench($('parts'), text => {
    $('sequence').value = text;
    clearTimeout(wanted);
    wanted = null;
    read(0);
  });
  desks = {
    effect: [],
    bench: [bench, fit],
    searches: [searches, ask],
    coverage: [coverage],
    rounds: [rounds],
    solution: [solution],
    server: [new Status($('status'), $('members'))],
  };
  wire();
  await enter(first);
}

// ahead asks for what the first view needs, so that it is there when the stage is, which takes a while to make.
function ahead() {
  const puzzle = puzzleOf(link.read(location.hash));
  const first = { puzzle, caller: api.caller(), model: api.model(puzzle) };
  for (const answer of [first.caller, first.model]) answer.catch(() => {}); // who awaits it hears of it
  return first;
}

// tell tells all modules, or those of a desk, what concerns them: fill (a puzzle is on the stage), took (its
// sequence was read), at (so many turns are done), entered (who is there), opened and closed
// (their desk is in sight).
const tell = (what, modules, ...said) => modules.forEach(m => m[what]?.(...said));
const everyone = () => Object.values(desks).flat();

// sit brings a desk into sight.
function sit(name) {
  if (!desks[name]) name = 'effect';
  for (const b of $('desks').children) {
    if (b.dataset.desk === name) b.setAttribute('aria-current', 'true');
    else b.removeAttribute('aria-current');
  }
  for (const d of document.querySelectorAll('.desk')) d.hidden = d.dataset.desk !== name;
  document.querySelector('main').dataset.desk = name;
  if (desk !== name) tell('closed', desks[desk]);
  desk = name;
  tell('opened', desks[name]);
  remember();
}

// enter asks for what the page begins with; a server that wants a token has it asked for. The first view does not
// wait for the list of puzzles: a server that has just begun works all of them out for it. first is what was asked
// for ahead, if anything was.
async function enter(first = {}) {
  try {
    const caller = await (first.caller ?? api.caller());
    const listed = list();
    listed.catch(() => {}); // it is awaited below
    $('door').hidden = true;
    const view = link.read(location.hash);
    sit(deskOf(view));
    // Who comes in again with another token goes on where they were.
    if (model && caller.member === member) {
      notice('');
      await read();
    } else {
      await open(view, first.puzzle === puzzleOf(view) ? first.model : undefined);
      left.clear(); // it was someone else's
    }
    member = caller.member;
    $('who').hidden = caller.token === ''; // on one's own machine there is nobody else
    $('who').firstChild.textContent = bare(caller.member);
    kept.entered(member);
    tell('entered', everyone(), caller);
    await searches.list();
    if (view.search) searches.watch(view.search, view.findings);
    await rounds.enter(view.round);
    await listed;
  } catch (error) {
    if (!error.wantsToken) throw error; // else the door is open
  }
}

// list lists the puzzles that there are.
async function list() {
  const all = await api.puzzles();
  $('puzzle').replaceChildren(...all.map(p => {
    const id = bare(p.name);
    const option = new Option(p.aliases.length ? `${id} (${p.aliases.join(', ')})` : id, id);
    option.title = p.title;
    return option;
  }));
  if (model) chosen();
}

// askIn asks who is there: there is no token, or it has expired or was revoked. Who is typing
// goes on typing where they are.
function askIn(error) {
  if (error.reason === 'TOKEN_REFUSED') notice(error.message);
  if (!$('door').hidden) return;
  $('door').hidden = false;
  if (!document.activeElement?.matches('textarea, input')) $('token').focus();
}

// deskOf is the desk that a view is of: that which it names, or that of what it shows.
const deskOf = view => view.desk || (view.round ? 'rounds' : view.search ? 'searches' : 'effect');

function puzzleOf(view) { return view.puzzle || usualPuzzle; }

// open shows a view, whose puzzle may have been asked for before. Who wants to see another one before its puzzle has come sees that one.
let opening = null;
async function open(view, asked = api.model(puzzleOf(view))) {
  const own = opening = {};
  notice('');
  try {
    const come = await asked;
    if (opening !== own) return;
    if (model && !sealed) left.set(model.puzzle, $('sequence').value);
    model = come;
  } catch (error) {
    if (opening !== own) return;
    if (![400, 404].includes(error.status) || !view.puzzle) { // what is on the stage stays there
      if (model) chosen();
      throw error;
    }
    await open({ ...view, puzzle: usualPuzzle, sequence: '', at: 0, right: null, up: null });
    notice(`${error.message}: here is ${usualPuzzle} instead.`);
    return;
  }
  chosen();
  document.title = `${model.title} · turnwright`;
  box.setAttribute('aria-label', model.title);
  typed = new Typed(model.axes);
  choices();
  if ([...$('out').options].some(o => o.value === view.out)) $('out').value = view.out;
  stage.show(model);
  trace = { ...untold, right: model.right, up: model.up };
  stage.overlay.label($('pegs'), model, (axis, other) => byHandTurn(axis, Number($('layer').value), Number($('sense').value) * (other ? -1 : 1)));
  if (view.right !== null && view.up !== null) stage.look(view.right - stage.right, view.up - stage.up);
  if (view.show) show(view.show);
  sealed = view.sealed ?? false;
  $('sequence').value = given = view.sequence;
  player.load([], 0);
  tell('fill', everyone(), model);
  if (view.covered) coverage.look(view.covered);
  if (view.fit) fit.look(view.fit);
  await read(view.at);
  if (view.right === null) bestSide();
  if (view.near) stage.zoom(view.near);
}

// chosen has the list of puzzles say which one is on the stage.
function chosen() { $('puzzle').value = bare(model.puzzle); }

// choices fills the lists that depend on the puzzle.
function choices() {
  $('out').replaceChildren(new Option('what moves, if few', ''), new Option('everything', '*'), new Option('what stays', '='), new Option('what the search protects', '!'), ...model.pieceTypes.map(t => new Option(`every ${t}`, t)));
  const layers = Math.max(...model.axes.map(a => a.layers.length));
  const ordinal = ['', 'its outer layer', 'its second layer', 'its third layer'];
  $('layer').replaceChildren(
    ...Array.from({ length: layers }, (_, k) => new Option(ordinal[k + 1] ?? `layer ${k + 1}`, k + 1)), new Option('the whole puzzle', 0));
}

// read has the server read the text, and stands after so many turns; where it is not said,
// where the player is, as long as the turns until there are the same.
async function read(at = null) {
  reading?.abort();
  const own = reading = new AbortController();
  const { signal } = own;
  const text = $('sequence').value, puzzle = model.puzzle;
  if (at !== null) unread = true; // it was put there as a whole
  box.dataset.reading = '';
  try {
    const read = await api.trace(puzzle, text, signal);
    if (signal.aborted) return;
    unread = false;
    wrong('');
    if ($('notice').dataset.of === 'silence') notice(''); // the server answers again
    const same = read.turns.findIndex((t, i) => t.text !== player.turns[i]?.text);
    const until = same < 0 ? read.turns.length : same;
    if (at !== null || until < player.at || read.turns.length !== player.turns.length || same >= 0) {
      player.load(read.turns, at ?? Math.min(player.at, until));
    }
    trace = read;
    brought = null;
    ribbon();
    dress();
    remember();
    tell('took', everyone(), trace, text);
    const [effect, explanation] = await Promise.all([
      api.describe(puzzle, text, signal), api.explain(puzzle, text, signal).catch(e => { if (e.name === 'AbortError') throw e; return null; }),
    ]);
    explain($('effect'), effect, explanation, trace, model, pieces => { brought = pieces; dress(); });
    await net(signal);
  } catch (error) {
    if (error.name === 'AbortError') return;
    if (![400, 413].includes(error.status)) { fail(error); return; } // 413: it is too long
    wrong(error.message);
  } finally {
    if (reading === own) {
      reading = null;
      delete box.dataset.reading;
    }
  }
}

// net draws the puzzle unfolded, where that is open; signal ends that, and so does the next one.
let unfolding = null;
async function net(signal) {
  const own = unfolding = {};
  if (!$('flat').open || !model) return;
  const moment = $('moment').value;
  const picture = await api.draw(model.puzzle, $('sequence').value, { projection: 'PROJECTION_NET', moment, arrows: moment === 'MOMENT_AFTER' ? ['none'] : [] }, signal);
  if (unfolding !== own) return;
  $('net').src = `data:${picture.mediaType},${encodeURIComponent(picture.content)}`;
  $('net').alt = picture.text;
}

// byHandTurn does a turn at once, and puts it into the text.
function byHandTurn(axis, layer, amount) {
  if (!model || layer > model.axes[axis].layers.length) return;
  const turn = byHand(model, axis, layer, amount);
  inStep(() => put(turn));
}

// inStep does something to the player's turns and the text together: where the text is not
// read yet, that comes first; else what is being read is old.
const waiting = []; // for the text to be read
function inStep(does) {
  if (!unread) {
    reading?.abort();
    does();
    return;
  }
  waiting.push(does);
  if (waiting.length > 1) return;
  clearTimeout(wanted);
  wanted = null;
  read().then(() => waiting.splice(0).forEach(d => d()));
}

function put(turn) {
  if ($('sequence').getAttribute('aria-invalid') === 'true') {
    notice('The sequence can’t be read as it is: mend it first, or empty it, then turn.');
    return;
  }
  const text = $('sequence').value.trimEnd();
  const atEnd = unread || player.at === player.turns.length; // what was typed is kept
  player.put(turn);
  const comment = text.slice(text.lastIndexOf('\n') + 1).includes('//'); // reaches to the end of its line
  $('sequence').value = atEnd ? text + (text === '' ? '' : comment ? '\n' : ' ') + turn.text : plain();
  ribbon();
  later();
}

const plain = () => player.turns.map(t => t.text).join(' ');

let wanted = null; // a reading that is to come
function later() {
  clearTimeout(wanted);
  wanted = setTimeout(() => { wanted = null; read(); }, quiet);
}

// ribbon lays the turns out one by one, as long as anyone could look at so many.
function ribbon() {
  const listed = player.turns.length > 500 ? [] : player.turns;
  $('ribbon').replaceChildren(...listed.map((turn, i) => {
    const item = document.createElement('li');
    const button = document.createElement('button');
    button.type = 'button';
    button.textContent = turn.text;
    button.addEventListener('click', () => player.seek(i + 1));
    item.append(button);
    return item;
  }));
  mark();
}

// mark shows where the player is.
function mark() {
  const { at, turns, running } = player;
  [...$('ribbon').querySelectorAll('button')].forEach((b, i) => {
    b.classList.toggle('done', i < at);
    if (i === at - 1) {
      b.setAttribute('aria-current', 'step');
      // Only the ribbon is scrolled: the page stays where the puzzle is in sight.
      const ribbon = $('ribbon'), top = b.offsetTop - ribbon.offsetTop;
      if (top < ribbon.scrollTop || top + b.offsetHeight > ribbon.scrollTop + ribbon.clientHeight) ribbon.scrollTop = top;
    } else {
      b.removeAttribute('aria-current');
    }
  });
  $('where').textContent = turns.length ? `${at} of ${turns.length}` : '';
  $('play').textContent = running ? 'Pause' : 'Play';
  for (const id of ['first', 'previous', 'backwards']) $(id).disabled = at === 0;
  for (const id of ['next', 'last']) $(id).disabled = at === turns.length;
  $('play').disabled = turns.length === 0;
  box.dataset.after = at;
  tell('at', everyone(), at, sealed);
  // Arrows lead between places of the puzzle as it stands before the sequence. After it they
  // say where the few that moved came from, unless the whole has been turned.
  const rests = at === 0 || (at === turns.length && few() && !trace.rotation);
  stage.overlay.arrows = $('arrows').checked && rests && turns.length === trace.turns.length ? trace.arrows.filter(a => !brought || brought.has(model.stickers[a.from].piece)) : [];
  stage.wake();
}

// few tells whether so few pieces move that the rest may fade: it would else at each turn by
// hand.
const few = () => trace.moved.length <= Math.max(4, model.pieces.length / 4);

// broughtOut is the types that are brought out by a choice, or null: what the sequence leaves alone,
// what the search that is watched protects, or one.
function broughtOut(out) {
  const all = [...model.pieceTypes.keys()];
  if (out === '=') return all.filter(t => !trace.moved.some(i => model.pieces[i] === t));
  const goal = searches.search?.goal;
  if (out === '!' && goal?.puzzle === model.puzzle) return all.filter(t => ![goal.cycle, ...goal.ignore].includes(model.pieceTypes[t]));
  return model.pieceTypes.includes(out) ? [model.pieceTypes.indexOf(out)] : null;
}

// dress makes pale what is not brought out.
function dress() {
  const out = $('out').value;
  let bright = null;
  if (out === '' && few() && trace.moved.length) bright = new Set(trace.moved);
  const types = broughtOut(out);
  if (types) bright = new Set(model.pieces.flatMap((t, i) => (types.includes(t) ? [i] : [])));
  if (brought) bright = brought;
  const pale = bright && new Set([...model.pieces.keys()].filter(i => !bright.has(i)));
  stage.dress(pale, dark());
  mark();
}

// remember keeps the view in the page's address.
function remember() {
  if (!model) return;
  const usual = stage.right === trace.right && stage.up === trace.up;
  history.replaceState(null, '', link.write({
    puzzle: bare(model.puzzle), sequence: sealed || $('sequence').value.length > longest ? '' : $('sequence').value.trim(), at: sealed ? 0 : player.at,
    right: usual ? null : stage.right, up: stage.up, near: stage.near === 1 ? null : stage.near, out: $('out').value, show: shown(),
    search: searches.name, findings: searches.view, covered: desk === 'coverage' ? coverage.view : '', fit: desk === 'bench' && !sealed ? fit.view : '', round: rounds.name,
    desk: desk === deskOf({ search: searches.name, round: rounds.name }) ? '' : desk,
  }));
}

// shown are the boxes under Show that are not as they are at first; show sets them.
const shown = () => ['arrows', 'letters', 'axes'].filter(id => $(id).checked !== $(id).defaultChecked).map(id => (id === 'letters' ? id : `no-${id}`));

function show(said) {
  for (const id of ['arrows', 'letters', 'axes']) $(id).checked = $(id).defaultChecked !== (said.includes(id) || said.includes(`no-${id}`));
  stage.overlay.letters = $('letters').checked;
  stage.overlay.axes = $('axes').checked;
}

const dark = () => {
  const said = document.documentElement.dataset.theme;
  return said ? said === 'dark' : matchMedia('(prefers-color-scheme: dark)').matches;
};

function theme() {
  // A browser may keep pages from keeping anything.
  let chosen = '', keep = () => {};
  try {
    chosen = localStorage.getItem('theme') ?? '';
    keep = value => localStorage.setItem('theme', value);
  } catch { /* then it is chosen anew each time */ }
  const use = value => {
    if (value) document.documentElement.dataset.theme = value;
    else delete document.documentElement.dataset.theme;
    if (model) dress();
  };
  $('theme').value = chosen;
  use(chosen);
  $('theme').addEventListener('change', () => {
    keep($('theme').value);
    use($('theme').value);
  });
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => use($('theme').value));
}

function wire() {
  player.addEventListener('change', mark);
  player.addEventListener('change', soon);
  stage.addEventListener('look', soon);
  $('first').onclick = () => player.seek(0);
  $('last').onclick = () => player.seek(player.turns.length);
  $('previous').onclick = () => player.step(-1);
  $('next').onclick = () => player.step(1);
  $('play').onclick = toggle;
  $('backwards').onclick = () => player.run(-1);
  $('pace').oninput = () => { player.pace = 2 ** Number($('pace').value); };
  $('sequence').oninput = () => { unread = true; later(); };
  $('puzzle').onchange = () => {
    const sequence = left.get(`puzzles/${$('puzzle').value}`) ?? '';
    open({ puzzle: $('puzzle').value, sequence, at: 0, right: null, up: null, out: '' }).catch(fail);
  };
  $('out').onchange = () => { dress(); remember(); };
  for (const id of ['arrows', 'letters', 'axes']) $(id).onchange = () => { show(shown()); mark(); remember(); };
  $('desks').onclick = event => {
    if (!event.target.dataset.desk) return;
    sit(event.target.dataset.desk);
    if (narrow.matches) $('desks').scrollIntoView(); // the desk is below the puzzle there
  };
  for (const id of ['flat', 'moment']) $(id).addEventListener(id === 'flat' ? 'toggle' : 'change', () => net().catch(fail));
  $('side').onclick = bestSide;
  $('side').onpointerdown = event => event.stopPropagation();
  $('link').onclick = copy;
  $('who').lastChild.onclick = () => { kept.forget(); location.reload(); }; // the token is gone with the page
  $('door').onsubmit = event => {
    event.preventDefault();
    api.enterWith($('token').value);
    $('token').value = '';
    enter().catch(fail);
  };
  addEventListener('hashchange', () => {
    const view = link.read(location.hash);
    sit(deskOf(view));
    open(view).catch(fail);
    if (view.search !== searches.name) searches.watch(view.search, view.findings);
    else if (view.findings !== searches.view) searches.look(view.findings);
    if (view.round !== rounds.name) rounds.watch(view.round);
  });
  // What was tried on the stage for an attempt is nowhere else.
  addEventListener('beforeunload', event => { if (sealed && clock && $('sequence').value !== given) event.preventDefault(); });
  // What nobody else tells is told here: no press goes without an answer.
  addEventListener('unhandledrejection', event => {
    if (!(event.reason instanceof api.Refusal)) return; // the console says it, as a fault of the page
    event.preventDefault();
    fail(event.reason);
  });
  byPointer(box, stage, { turn: byHandTurn, onlyLooks: () => $('hold').checked });
  box.addEventListener('keydown', keys);
}

// showSequence puts a sequence on the stage, with the puzzle that it is of.
const showSequence = (puzzle, sequence, at, sealed) =>
  open({ puzzle: bare(puzzle), sequence, at, sealed, right: null, up: null, out: $('out').value });

// showFinding does so for someone who wants to see it turn, after so many turns.
async function showFinding(puzzle, sequence, at = 0, sealed = false) {
  await showSequence(puzzle, sequence, at, sealed).catch(fail);
  reach();
}

// study puts a solution of a round onto the solution desk.
async function study(solution, puzzle, scramble, text, metric) {
  if (model.puzzle !== puzzle) await showSequence(puzzle, '', 0, false);
  sit('solution');
  solution.study({ scramble, solution: text, metric: metricOf(metric) });
}

// reach goes to the puzzle on a phone.
function reach() {
  // Where the puzzle is beside the desk, whoever goes through a list stays in it.
  if (!narrow.matches) return;
  box.scrollIntoView({ block: 'nearest' });
  $('play').focus({ preventScroll: true });
}

// bestSide looks from where most of the cycles are seen.
function bestSide() { stage.zoom(0); stage.look(trace.right - stage.right, trace.up - stage.up); }

let moved = null;
function soon() {
  clearTimeout(moved);
  moved = setTimeout(() => { if (!player.running) remember(); }, quiet);
}

function toggle() {
  if (player.running) player.hold();
  else player.run(1);
}

function keys(event) {
  if (event.ctrlKey || event.metaKey || event.altKey || !model || event.target !== box) return;
  const look = { ArrowLeft: [-15, 0], ArrowRight: [15, 0], ArrowUp: [0, 15], ArrowDown: [0, -15] }[event.key];
  const other = {
    ' ': toggle, '.': () => player.step(1), ',': () => player.step(-1), Home: bestSide, '+': () => stage.zoom(1.25), '-': () => stage.zoom(0.8),
    Escape: () => typed.clear(),
    Backspace: () => inStep(() => {
      if (unread) return; // it can't be read: nothing of it is lost
      player.drop();
      $('sequence').value = plain();
      ribbon();
      later();
    }),
  }[event.key];
  if (look) stage.look(...look);
  else if (other) other();
  else {
    const said = typed.key(event.key, event.shiftKey);
    if (said === false) return;
    if (said !== true) byHandTurn(said.axis, said.layer, said.back ? -1 : 1);
  }
  event.preventDefault();
}

async function copy() {
  remember();
  try {
    await navigator.clipboard.writeText(location.href);
    $('link').textContent = 'Copied';
    setTimeout(() => { $('link').textContent = 'Copy link'; }, 1500);
  } catch {
    notice('The browser does not let the page copy: the link is this page’s address.');
  }
}

function wrong(text) {
  $('wrong').textContent = text;
  if (text) $('sequence').setAttribute('aria-invalid', 'true');
  else $('sequence').removeAttribute('aria-invalid');
}

function notice(text, of = '') {
  $('notice').textContent = text;
  $('notice').dataset.of = of;
  $('notice').hidden = text === '';
}

function fail(error) {
  if (error.wantsToken) return; // askIn has heard of it
  if (!(error instanceof api.Refusal)) console.error(error);
  notice(error.message, error.status === 0 ? 'silence' : '');
}
