// The state of the page: the open file, its text, the play area, and what is shown of them.
//
// After a short pause in typing and after each action, `look` gets errors, drawing and signals.
// `proveNow` gets the verdicts and is aborted when the text changes; `look` never waits for it.
import { $, banner, button, count, dropBanner, el, say } from './dom.js';
import { openCard } from './card.js';
import { beTab, dropDraft, keepDraft, leftBehind, ownDraft } from './drafts.js';
import { draw, eraseDrawing, parse, ring, startDrawing } from './drawing.js';
import { choose as chooseTool, forget as forgetDrawing, isWhole, refresh, startDraw } from './draw.js';
import { markWrong, own, point, replace, setText, startEditor, text } from './editor.js';
import { askName, askWhichFile, askWhichPattern, choose, save, tell } from './files.js';
import { isFindKey, openFind } from './find.js';
import { askThingName, help } from './helping.js';
import { change, forgetHistory, historyKey, startHistory } from './history.js';
import { hideTip, openSignal, showHazards, showHere, showSignals, showThings, showTip, startPanel, startTip } from './panel.js';
import { Lost, Refused, ask, draft, endTalk, hasKey, prove, takeKey, watch } from './server.js';
import { addMendings, isShown, judge, leave, load, show, shownKey, startShowing } from './showing.js';
import { clearVerdicts, far, noVerdicts, proving, showReport, showSafety, startVerdicts, undecided } from './verdicts.js';

/** Milliseconds without a key before the text is looked at. */
const PAUSE = 120;
const EVERYTHING_AS_USUAL = { over_time: false, lossy: false, facts: [] };

const state = {
  tab: '', folder: '',
  /** @type {{name: string, text: string}[]} */ patterns: [],
  name: '', stamp: '', saved: '',
  /** @type {any} */ play: EVERYTHING_AS_USUAL,
  /** How the play is shown: pieces to zoom to, what matters, the moment before. @type {any} */ how: {},
  /** What stood in the play area before a finding was loaded. @type {any} */ before: null,
  /** @type {any} */ look: null,
  /** @type {any[]} */ errors: [],
  /** @type {Map<string, any>} */ verdicts: new Map(),
  /** @type {{kind: string, name: string} | null} */ picked: null,
  looks: 0,
  /** Nothing of this text was played with yet. */ opening: false,
  /** How the plan is looked at, and whether somebody chose that. */ view: 'run', chosen: false,
  /** @type {AbortController | null} */ proof: null,
  pausedAt: 0,
  /** A draft is being made. */ drafting: false,
};

/** What an unfinished drawing has: ends that lead nowhere, pieces on no line, no signals. */
const UNFINISHED = ['CP302', 'CP306', 'CP502'];

const isDirty = () => text() !== state.saved;
const checked = (/** @type {string} */ id) => /** @type {HTMLInputElement} */ ($(id)).checked;

// ---------------------------------------------------------------- the fast lane

/** Look at the text and the play, after an act if there is one.
 * @param {any} [act] @param {boolean} [fresh] the text has changed, so it is to be proved too */
async function look(act = null, fresh = false) {
  const turn = ++state.looks;
  const asked = text();
  let said;
  try {
    said = await ask('look', {
      name: state.name, text: asked, play: state.play,
      act: act && { runs: state.play.over_time && checked('runs'), ...act },
      around: state.how.around ?? [], relevant: act ? null : state.how.relevant ?? null,
      before: act ? null : state.how.before ?? null, gaps: true, wiring: checked('show-wiring'),
    });
  } catch (error) {
    if (error instanceof Lost) return;
    if (error instanceof Refused) return banner('refused', error.message, 'bad');
    throw error;
  }
  if (turn !== state.looks || asked !== text()) return;
  dropBanner('refused');
  // Where relays remember, a file is played over time; what is wired is, as long as it stands still.
  if (state.opening && !said.errors) {
    state.opening = false;
    if (said.speaks_of_time && !said.wired) {
      state.play = { ...EVERYTHING_AS_USUAL, over_time: true };
      return look(null, fresh);
    }
  }
  if (said.errors) showErrors(said.errors);
  else showLook(said, act !== null);
  // A text that was typed is looked at as it will work, unless somebody draws.
  if (fresh && !said.errors && !state.chosen && state.view === 'draw') setView('run');
  if (fresh && !said.errors && !state.drafting) proveNow();
}

/** The wiring diagram of the text as it stands, in a dialog. */
async function showWiring() {
  const { pages = [], errors } = await ask('wiring', { name: state.name, text: text() });
  if (!pages.length) {
    await tell('Wiring diagram', errors
      ? 'The text has errors: put them right first.'
      : 'The text says nothing of its wiring.');
    return;
  }
  const closed = choose('Wiring diagram', [
    el('p', { class: 'quiet' }, 'To print it: clearproof draw FILE --wiring -o wiring.html'),
    ...pages.map((/** @type {{svg: string}} */ page) =>
      el('div', { class: 'diagram' }, parse(page.svg))),
  ], []);
  // It begins with its first page, not with the button that has the focus.
  $('dialog').scrollTop = 0;
  await closed;
}

/** @param {any} look @param {boolean} acted */
function showLook(look, acted) {
  $('do-wiring').hidden = !look.wired;
  showErrors([]);
  state.look = look;
  state.play = look.play;
  if (acted) state.how = { around: state.how.around };
  $('sheet-title').textContent = look.title || state.name || 'New junction';
  const labels = new Map();
  for (const t of look.things) {
    const kind = ['standing', 'stock'].includes(t.kind) ? 'block' : t.kind;
    const words = t.states.find((/** @type {string[]} */ s) => s[0] === t.state)?.[1] ?? t.state;
    labels.set(`${kind} ${t.name}`, `${kind} ${t.name}: ${words}`);
  }
  for (const s of look.signals) {
    labels.set(`signal ${s.name}`, `signal ${s.name}: ${s.aspect}, ${s.heads.map((/** @type {any} */ h) => h.color).join(' over ')}, ${s.meaning}`);
  }
  $('drawing').classList.remove('stale');
  const empty = !look.drawn || !Object.keys(look.drawn).some((k) => k.startsWith('block '));
  $('drawing-empty').hidden = !empty || state.view === 'draw';
  if (empty) eraseDrawing();
  else draw(look.picture, labels);
  ring(look.hazards.flatMap((/** @type {any} */ h) => h.signals.map((/** @type {string} */ name) => ({ kind: 'signal', name }))));
  $('time').hidden = !look.speaks_of_time;
  /** @type {HTMLInputElement} */ ($('over-time')).checked = look.play.over_time;
  $('time-tools').hidden = !look.play.over_time;
  $('do-whole').hidden = !(state.how.around?.length);
  const runs = look.play.over_time && checked('runs');
  showThings(look, state.picked, runs);
  showSignals(look);
  showHazards(look, state.verdicts);
  judge(look, acted);
  if (acted) {
    const bad = look.hazards.filter((/** @type {any} */ h) => !h.advice);
    say(bad.length ? bad[0].sentence : look.signals.map((/** @type {any} */ s) => `${s.name} ${s.aspect}`).join(', '));
  }
}

/** @param {any[]} errors */
function showErrors(errors) {
  const unfinished = errors.length > 0 && errors.every((e) => UNFINISHED.includes(e.code));
  state.errors = errors.filter((e) => e.here).map((e) => {
    const start = own(e.place.start);
    return { start, end: Math.max(own(e.place.end), start), message: e.message };
  });
  markWrong(unfinished ? [] : state.errors);
  $('errors').dataset.state = unfinished ? 'unfinished' : errors.length ? 'bad' : 'good';
  $('text').setAttribute('aria-invalid', String(errors.length > 0 && !unfinished));
  const bare = unfinished && errors.every((e) => e.code === 'CP502');
  const words = bare ? 'No signals yet: draft them, or set them.'
    : unfinished ? 'The track is not finished: what is left to join stands below the drawing.'
    : errors.length ? `${count(errors.length, 'error')} (F8: next)` : 'No errors.';
  if ($('error-count').textContent !== words) $('error-count').textContent = words;
  const rows = errors.map((e) => {
    const others = e.others.map((/** @type {any} */ o) => `${o.text} (line ${o.place.line})`);
    const hints = [e.hint, ...e.used, ...others, `clearproof explain ${e.code}`].filter(Boolean);
    return el('li', {}, button(`${e.here ? '' : `${e.place.file}, `}line ${e.place.line}: ${e.message}`, () => go(e.place),
      { 'data-key': `error ${e.place.start}` }, ...hints.map((hint) => el('span', { class: 'hint' }, hint))));
  });
  $('error-list').replaceChildren(...rows);
  if (errors.length) {
    $('drawing').classList.toggle('stale', !bare);
    // What is drawn is the text before; nothing is said of its safety any more.
    $('hazards').replaceChildren();
    noVerdicts(bare ? 'no signals yet' : unfinished ? 'the track is not finished' : 'the text has errors');
    if (!state.drafting) state.proof?.abort();
  }
}

// ---------------------------------------------------------------- the slow lane

async function proveNow() {
  state.proof?.abort();
  const stop = new AbortController();
  state.proof = stop;
  proving();
  const asked = text();
  const begun = state.pausedAt || performance.now();
  const slow = setTimeout(() => far({ done: 0, of: 0 }), 400);
  try {
    await prove({ name: state.name, text: asked, tab: state.tab }, stop.signal, (line) => {
      if (stop.signal.aborted || asked !== text()) return;
      clearTimeout(slow);
      if (line.safety) {
        state.verdicts = new Map(line.safety.verdicts.map((/** @type {any} */ v) => [v.key, v]));
        showSafety(line.safety, performance.now() - begun);
        if (state.look) showHazards(state.look, state.verdicts);
      } else if (line.report) {
        state.verdicts = new Map(line.report.verdicts.map((/** @type {any} */ v) => [v.key, v]));
        showReport(line.report, performance.now() - begun);
        addMendings(state.verdicts);
        if (state.look) showHazards(state.look, state.verdicts);
      } else if (line.errors) {
        showErrors(line.errors);
      } else if (line.undecided || line.bug) {
        state.verdicts = new Map();
        undecided(line.undecided ?? `a bug in clearproof, not in your text: ${line.bug}`);
      } else {
        far(line);
      }
    });
  } catch (error) {
    if (stop.signal.aborted) return;
    if (error instanceof Lost) undecided('the server is gone');
    else if (error instanceof Refused) undecided(error.message);
    else throw error;
  } finally {
    clearTimeout(slow);
  }
}

/** End the proof early: the server answers with what was decided until then. */
async function stopProof() {
  $('do-stop').hidden = true;
  try {
    await ask('stop', { tab: state.tab });
  } catch (error) {
    if (!(error instanceof Lost || error instanceof Refused)) throw error;
    state.proof?.abort();
    undecided('you stopped the proof');
  }
}

// ---------------------------------------------------------------- typing

let pause = 0;

function typed() {
  state.drafting = false;
  state.proof?.abort();
  if (isShown()) goBack();
  clearTimeout(pause);
  pause = setTimeout(paused, PAUSE);
  keep();
}

// ---------------------------------------------------------------- drawing, and drafting

/** @param {'draw' | 'run'} view */
function setView(view) {
  state.view = view;
  document.body.dataset.view = view;
  const draws = view === 'draw';
  $('view-draw').setAttribute('aria-pressed', String(draws));
  $('view-run').setAttribute('aria-pressed', String(!draws));
  for (const id of ['tools', 'tool-words', 'paper', 'canvas-said']) $(id).hidden = !draws;
  $('sheet').classList.toggle('drawn-on', draws);
  for (const id of ['unfinished', 'chosen']) $(id).hidden = true;
  for (const id of ['drawing', 'tray', 'hazards', 'notes']) $(id).hidden = draws;
  for (const id of ['panel', 'here', 'break']) $(id).classList.toggle('put-by', draws);
  if (draws) {
    $('drawing-empty').hidden = true;
    refresh();
  } else if (text().trim() === '') $('drawing-empty').hidden = false;
  else look();
}

/** @param {'draw' | 'run'} view */
function chooseView(view) {
  state.chosen = true;
  if (isShown()) goBack();
  setView(view);
}

/** Write signals, rules, panel and locks for the track, once they are proved. */
async function doDraft() {
  const asked = text();
  const [panel, thrown] = /** @type {HTMLSelectElement} */ ($('draft-panel')).value.split(' ');
  const how = { aspects: /** @type {HTMLSelectElement} */ ($('draft-aspects')).value, panel, by_hand: thrown === 'hand',
    single_track: /** @type {HTMLSelectElement} */ ($('draft-single')).value,
    release: /** @type {HTMLSelectElement} */ ($('draft-release')).value, wiring: checked('draft-wiring') };
  if (panel === 'automatic' && how.single_track !== 'signals') {
    return tell('These two contradict each other', 'Where trains alone clear signals there is no lever for single track. Choose a panel, or leave single track to its signals.');
  }
  if (thrown === 'hand' && how.release !== 'sectional') {
    return tell('These two contradict each other', 'Nothing locks switches that are thrown by hand, so nothing releases them. Choose a panel with levers or buttons, or leave the release at one by one.');
  }
  if (panel === 'buttons' && how.release === 'time') {
    return tell('These two contradict each other', 'The relay of a route may drop before a timer has seen its signal clear. Choose levers, or another release.');
  }
  if (asked.trim() === '') return tell('Nothing to draft for', 'Draw the track first: signals and rules follow from it.');
  state.proof?.abort();
  clearTimeout(pause);
  const stop = new AbortController();
  state.proof = stop;
  state.drafting = true;
  proving();
  /** @type {HTMLButtonElement} */ ($('do-draft')).disabled = true;
  try {
    await draft({ name: state.name, text: asked, tab: state.tab, ...how }, stop.signal, (line) => {
      if (stop.signal.aborted || asked !== text()) return;
      if (line.draft !== undefined) drafted(line.draft, line.words);
      else if (line.errors || line.undrafted || line.undecided || line.bug) notDrafted(line);
      else far(line);
    });
  } catch (error) {
    if (!(error instanceof Lost || error instanceof Refused) && !stop.signal.aborted) throw error;
  } finally {
    state.drafting = false;
    /** @type {HTMLButtonElement} */ ($('do-draft')).disabled = false;
  }
  return undefined;
}

/** @param {string} made @param {string} words */
function drafted(made, words) {
  const before = text();
  let start = 0;
  while (start < before.length && before[start] === made[start]) start++;
  let end = 0;
  while (end < Math.min(before.length, made.length) - start && before.at(-1 - end) === made.at(-1 - end)) end++;
  if (before === made) {
    say('Nothing was missing.');
    return proveNow();
  }
  state.chosen = true;
  change(start, before.length - end, made.slice(start, made.length - end));
  setView('run');
  say(`${words} Undo takes it back.`);
  return undefined;
}

/** @param {any} line */
function notDrafted(line) {
  const why = line.errors ? line.errors.map((/** @type {any} */ e) => `Line ${e.place.line}: ${e.message}. ${e.hint ?? ''}`)
    : line.undrafted ?? [line.undecided ?? `A bug in clearproof, not in your text: ${line.bug}`];
  noVerdicts('no draft');
  choose('No draft', [el('p', {}, 'Nothing was written: what is drafted is shown only once it is proved.'),
    el('ul', {}, ...why.map((/** @type {string} */ one) => el('li', {}, one)))], []);
}

function paused() {
  state.pausedAt = performance.now();
  if (text().trim() === '' && !state.chosen && state.view === 'run') setView('draw');
  if (state.view === 'draw') refresh();
  if (text().trim() === '') {
    showErrors([]);
    clearVerdicts();
    eraseDrawing();
    $('drawing-empty').hidden = state.view === 'draw';
    return;
  }
  look(null, true);
}

let noRoom = false;

function keep() {
  const kept = keepDraft({ name: state.name, text: text(), stamp: state.stamp, saved: state.saved });
  if (!kept && !noRoom) banner('room', 'The browser cannot keep a draft of this text: save it soon.', 'unsure');
  noRoom = !kept;
  showName();
}

function showName() {
  const dirty = isDirty();
  $('file-name').textContent = `${state.name || 'not saved yet'}${dirty && state.name ? ' (not saved)' : ''}`;
  document.title = `${dirty ? '• ' : ''}${state.name || 'New junction'} – clearproof`;
  /** @type {HTMLButtonElement} */ ($('do-save')).disabled = !dirty && state.name !== '';
}

/** To a place in the text. @param {any} place */
function go(place) {
  if (place.file !== (state.name || '(not saved yet)')) {
    return tell('In another file', `This is in ${place.file}, line ${place.line}, which this file includes.`);
  }
  see('text');
  point(own(place.start), own(place.end));
}

// ---------------------------------------------------------------- playing

/** @param {any} act */
const act = (act) => look(act);

/** Do what a click on a drawn thing does. @param {{kind: string, name: string}} thing */
function handle(thing) {
  const keys = state.look?.drawn[`${thing.kind} ${thing.name}`] ?? [];
  if (thing.kind === 'signal') openSignal(thing.name);
  else if (thing.kind === 'block') act({ do: 'put', name: thing.name });
  else if (['points', 'derail', 'gate'].includes(thing.kind)) act({ do: 'turn', ...thing });
  else if (keys.length) {
    const at = keys[0].indexOf(' ');
    act({ do: 'turn', kind: keys[0].slice(0, at), name: keys[0].slice(at + 1) });
  }
}

/** Stock dragged from one place to another; null is off the plan.
 * @param {string | null} from @param {string | null} to */
async function move(from, to) {
  if (from !== null) await look({ do: 'put', name: from, state: 'off' });
  if (to !== null) await look({ do: 'put', name: to, state: 'on' });
}

/** @param {any} play @param {any} how */
function loadPlay(play, how) {
  state.before ??= { play: state.play, how: state.how };
  state.play = play;
  state.how = how;
  look();
}

/** Back to what stood there before the finding was loaded. */
function goBack() {
  leave();
  if (state.before) ({ play: state.play, how: state.how } = state.before);
  state.before = null;
  look();
}

async function changeTime() {
  if (isShown()) goBack();
  try {
    const said = await ask('time', { name: state.name, text: text(), play: state.play });
    state.how = {};
    if (!said.errors) showLook(said, false);
  } catch (error) {
    if (!(error instanceof Lost)) throw error;
  }
}

/**
 * What the worker finds for the text as it is; null where the search did not end.
 * @template T
 * @param {{mend?: true, promise?: true}} wanted @param {(line: any) => T | undefined} found
 * @returns {Promise<T | null>}
 */
async function searched(wanted, found) {
  state.proof?.abort();
  const stop = new AbortController();
  state.proof = stop;
  const asked = text();
  /** @type {T | null} */
  let answer = null;
  try {
    await prove({ name: state.name, text: asked, tab: state.tab, ...wanted }, stop.signal, (line) => {
      if (asked === text()) answer = found(line) ?? answer;
    });
  } catch (error) {
    if (!(stop.signal.aborted || error instanceof Lost || error instanceof Refused)) throw error;
  }
  return answer;
}

/** The test card of the text as it stands. */
async function testCard() {
  if (text().trim() === '' || state.errors.length) return tell('Test card', 'The text has errors, or nothing to test yet: put that right first.');
  state.proof?.abort();
  await openCard({ name: state.name, text: text(), tab: state.tab });
  return proveNow();
}

/** Repairs of the text, each proved. */
const repairs = () => searched({ mend: true }, (line) => line.repairs);

/** What the crew must promise, each with what happens without it. */
const promises = () => searched({ promise: true }, (line) => (line.promises ? line : undefined));

/** Put a mending into the text. @param {any} edit */
function mend(edit) {
  if (!state.verdicts.has(shownKey())) return;
  const [start, end] = [own(edit.start), own(edit.end)];
  goBack();
  replace(start, end, edit.text);
  say('Added to the text. Proving it now.');
}

// ---------------------------------------------------------------- files

/** @param {{name: string, text: string, stamp: string}} opened @param {string} [saved] */
function take(opened, saved = opened.text) {
  leave();
  Object.assign(state, { name: opened.name, stamp: opened.stamp, saved, play: EVERYTHING_AS_USUAL, how: {},
    before: null, picked: null, look: null, opening: true, verdicts: new Map(), pausedAt: 0 });
  setText(opened.text);
  forgetHistory();
  forgetDrawing();
  clearVerdicts();
  state.chosen = false;
  setView(opened.text.trim() === '' ? 'draw' : 'run');
  $('sheet-title').textContent = opened.name || 'New junction';
  keep();
  paused();
}

async function mayGo() {
  if (!isDirty()) return true;
  const answer = await choose('Not saved', [el('p', {}, `Your changes to ${state.name || 'this text'} are not saved.`)],
    [['save', 'Save'], ['drop', 'Discard']]);
  return answer === 'drop' || (answer === 'save' && saveAs(state.name));
}

/** @param {string} name */
async function openFile(name) {
  try {
    take(await ask('open', { name }));
  } catch (error) {
    if (error instanceof Refused) await tell('Cannot open the file', error.message);
    else if (!(error instanceof Lost)) throw error;
  }
}

async function doOpen() {
  if (!(await mayGo())) return;
  const name = await askWhichFile(state.folder);
  if (name) await openFile(name);
}

async function doNew() {
  if (!(await mayGo())) return;
  const name = await askWhichPattern(state.patterns);
  if (name === null) return;
  const fresh = name === '(empty)' ? '' : (await ask('pattern', { name })).text;
  take({ name: '', text: fresh, stamp: '' }, '');
  $('text').focus();
}

/** Save under a name, or ask for one. @param {string} name @returns {Promise<boolean>} */
async function saveAs(name) {
  let wanted = name || await askName(state.name);
  while (wanted) {
    const written = text();
    const stamp = wanted === state.name ? state.stamp : '';
    const result = await save(wanted, written, stamp);
    if (result.done === 'saved') {
      const other = result.name !== state.name;
      Object.assign(state, { name: result.name, stamp: result.stamp, saved: written });
      keep();
      say(`Saved ${result.name}.`);
      if (other) paused();
      return true;
    }
    if (result.done === 'disk') {
      take({ name: wanted, text: result.text, stamp: result.stamp });
      return false;
    }
    if (result.done === 'no') return false;
    wanted = await askName(wanted);
  }
  return false;
}

async function doClose() {
  if (!(await mayGo())) return;
  await ask('close');
  endTalk();
  removeEventListener('beforeunload', warn);
  document.body.replaceChildren(el('p', { class: 'banner', role: 'status' },
    'The page is closed and its server has ended. `clearproof` in the terminal opens it again.'));
  document.title = 'Closed – clearproof';
}

/** @param {BeforeUnloadEvent} event */
function warn(event) {
  if (isDirty() && text().trim() !== '') event.preventDefault();
}

// ---------------------------------------------------------------- keys, theme

/** On a narrow screen either the plan or the text is in sight. @param {'plan' | 'text'} pane */
function see(pane) {
  document.body.dataset.pane = pane;
  for (const one of ['plan', 'text']) $(`see-${one}`).setAttribute('aria-pressed', String(one === pane));
  if (pane === 'plan' && state.look && state.view === 'run') look();
}

/** @param {KeyboardEvent} event */
function pressed(event) {
  const control = event.ctrlKey || event.metaKey;
  if ($('dialog').hasAttribute('open')) return;
  if (historyKey(event)) return;
  if (isFindKey(event)) {
    event.preventDefault();
    openFind();
    return;
  }
  if (control && event.key.toLowerCase() === 's') {
    event.preventDefault();
    if (event.shiftKey) saveAs('');
    else saveAs(state.name);
  } else if (control && event.key.toLowerCase() === 'o') {
    event.preventDefault();
    doOpen();
  } else if (event.key === 'F8') {
    event.preventDefault();
    nextError(event.shiftKey ? -1 : 1);
  } else if (event.key === 'F1') {
    event.preventDefault();
    help();
  } else if (event.key === 'F6') {
    event.preventDefault();
    const stops = ['text', state.view === 'draw' ? 'canvas' : 'drawing', 'verdicts'];
    const now = stops.findIndex((id) => $(id).contains(document.activeElement));
    const next = stops[(now + (event.shiftKey ? stops.length - 1 : 1)) % stops.length];
    see(next === 'text' ? 'text' : 'plan');
    const inside = next === 'drawing' ? $(next).querySelector('[tabindex="0"]') : $(next);
    /** @type {HTMLElement | null} */ (inside)?.focus();
  } else if (event.key === 'Escape') {
    if (!hideTip() && isShown()) goBack();
  }
}

/** @param {number} way */
function nextError(way) {
  if (!state.errors.length) return;
  const at = /** @type {HTMLTextAreaElement} */ ($('text')).selectionStart;
  const after = state.errors.findIndex((e) => e.start > at);
  const before = state.errors.findLastIndex((e) => e.start < at);
  const which = way > 0 ? (after < 0 ? 0 : after) : (before < 0 ? state.errors.length - 1 : before);
  const { start, end, message } = state.errors[which];
  point(start, end);
  say(message);
}

function startTheme() {
  const kind = /** @type {HTMLSelectElement} */ ($('theme'));
  kind.value = localStorage.getItem('clearproof:theme') ?? '';
  const put = () => {
    document.documentElement.dataset.theme = kind.value;
    localStorage.setItem('clearproof:theme', kind.value);
  };
  kind.addEventListener('change', put);
  put();
}

// ---------------------------------------------------------------- the beginning

/** @param {string} id @param {() => unknown} does */
const on = (id, does) => $(id).addEventListener('click', () => does());

function wire() {
  startDrawing({ act: handle, move, point: (thing, at) => showTip(state.look, thing, at),
    pick: (thing) => {
      state.picked = thing;
      if (state.look) showHere(state.look, thing, state.play.over_time && checked('runs'));
    } });
  startPanel({ go, set: (kind, name, to) => act({ do: 'set', kind, name, state: to }),
    turn: (kind, name) => act({ do: 'turn', kind, name }) });
  startVerdicts({ choose: show, go, promises });
  startShowing({ load: loadPlay, leave: goBack, mend, repairs, go });
  on('do-open', doOpen);
  on('do-new', doNew);
  on('do-save', () => saveAs(state.name));
  on('do-save-as', () => saveAs(''));
  on('do-close', doClose);
  on('do-help', help);
  startDraw({ text, own, change: (start, end, value) => { state.chosen = true; change(start, end, value); }, name: () => state.name, nameIt: askThingName, draft: doDraft,
    drawn: () => { /** @type {HTMLButtonElement} */ ($('do-draft')).classList.toggle('ready', isWhole()); } });
  startHistory(say);
  on('view-draw', () => chooseView('draw'));
  on('view-run', () => chooseView('run'));
  on('start-draw', () => { chooseView('draw'); chooseTool('block'); $('canvas-empty').hidden = true; $('canvas').focus(); });
  on('start-pattern', doNew);
  on('start-open', doOpen);
  on('do-draft', doDraft);
  on('see-plan', () => see('plan'));
  on('see-text', () => see('text'));
  see('plan');
  on('do-wiring', showWiring);
  on('do-card', testCard);
  on('do-usual', () => { state.how = {}; if (isShown()) goBack(); act({ do: 'usual' }); });
  on('do-whole', () => { state.how = { ...state.how, around: [] }; look(); });
  for (const passes of ['moment', 'trains', 'time']) on(`do-${passes}`, () => act({ do: passes }));
  on('do-stop', stopProof);
  on('do-again', proveNow);
  for (const id of ['show-wiring', 'runs']) $(id).addEventListener('change', () => look());
  $('over-time').addEventListener('change', changeTime);
  startTip();
  // What is scrolled to, or reached by keyboard, must not end up behind the drawing.
  new ResizeObserver(() => {
    $('plan').style.scrollPaddingTop = `${$('sheet').offsetHeight + 12}px`;
    // Nor the title of a finding, where a larger drawing of it came after it was scrolled to.
    const showing = $('showing').getBoundingClientRect();
    if (isShown() && showing.top < $('sheet').getBoundingClientRect().bottom) $('showing').scrollIntoView({ block: 'start' });
  }).observe($('sheet'));
  addEventListener('keydown', pressed);
  addEventListener('beforeunload', warn);
}

/** Find what this tab had, what was asked for, or what a tab before left behind.
 * @param {any} begin */
async function firstText(begin) {
  const draft = ownDraft();
  if (draft && draft.text !== draft.saved) return take(draft, draft.saved);
  if (draft?.name) return openFile(draft.name);
  if (begin.first) await openFile(begin.first);
  else take({ name: '', text: '', stamp: '' });
  for (const { id, draft: left } of await leftBehind()) {
    const forget = () => { dropDraft(id); dropBanner(id); };
    const use = button('Restore', () => { forget(); take(left, left.saved); });
    const drop = button('Discard', forget);
    banner(id, `Unsaved text of ${left.name || 'a new junction'}, typed ${new Date(left.when).toLocaleString()}, was kept.`, 'unsure', use, drop);
  }
}

async function begin() {
  startTheme();
  takeKey(() => look(null, true));
  if (!hasKey()) {
    return banner('key', 'Open the address that the terminal shows: this one has no valid key.', 'bad');
  }
  state.tab = await beTab();
  wire();
  const said = await ask('start');
  state.folder = said.folder;
  state.patterns = said.patterns;
  startEditor(said.words, typed);
  await firstText(said);
  watch();
  document.documentElement.dataset.ready = 'yes';
}

begin();
