// The lists beside the drawing: what can be set, and what the signals show.
import { $, button, el, lineLink, refill } from './dom.js';

/** @typedef {{kind: string, name: string, label: string, group: string, state: string,
 *   usual: string, states: [string, string][]}} Setting */

/** In this order: what a hand sets comes before what follows. */
const PANEL = ['lever', 'button', 'traffic', 'relay', 'timer'];
const GROUPS = {
  'wire-broken': 'Wires', 'supply-lost': 'Supplies and fuses', 'gap-bridged': 'Gaps',
  'lamp-out': 'Lamps', 'points-stalled': 'Switch machines',
  'report-stuck': 'Stuck detectors and contacts',
};

/** @type {(kind: string, name: string, state: string) => void} */
let set = () => {};
/** @type {(kind: string, name: string) => void} */
let turn = () => {};
/** @type {(place: any) => void} */
let go = () => {};

/** @param {{set: typeof set, turn: typeof turn, go: typeof go}} told */
export function startPanel(told) {
  ({ set, turn, go } = told);
}

const keyOf = (/** @type {Setting} */ thing) => `${thing.kind} ${thing.name}`;

/** @param {any} look @param {{kind: string, name: string} | null} picked @param {boolean} runs */
export function showThings(look, picked, runs) {
  const things = /** @type {Setting[]} */ (look.things);
  const panel = PANEL.flatMap((kind) => things.filter((t) => t.kind === kind));
  $('panel').hidden = panel.length === 0;
  refill($('panel-things'), panel.map((t) => setting(t, runs)));

  const faults = things.filter((t) => t.kind === 'fault');
  const broken = faults.filter((t) => t.state !== t.usual);
  $('break').hidden = faults.length === 0;
  const summary = $('break').querySelector('summary');
  if (summary) {
    summary.textContent = broken.length
      ? `Break something (broken now: ${broken.map((t) => t.label).join(', ')})`
      : 'Break something: a wire, fuse or lamp';
  }
  const groups = [...new Set(faults.map((t) => t.group))];
  refill($('break-things'), groups.flatMap((group) => [
    el('h4', {}, GROUPS[/** @type {keyof typeof GROUPS} */ (group)] ?? group),
    ...faults.filter((t) => t.group === group).map((t) => setting(t, runs)),
  ]));
  showHere(look, picked, runs);
}

/** The things that belong to what is selected in the drawing. @param {any} look
 * @param {{kind: string, name: string} | null} picked @param {boolean} runs */
export function showHere(look, picked, runs) {
  const keys = picked ? look.drawn[`${picked.kind} ${picked.name}`] ?? [] : [];
  const things = keys.map((/** @type {string} */ key) =>
    look.things.find((/** @type {Setting} */ t) => keyOf(t) === key)).filter(Boolean);
  $('here').hidden = things.length === 0;
  if (!picked) return;
  $('here-h').textContent = `${picked.kind} ${picked.name}`;
  refill($('here-things'), things.map((/** @type {Setting} */ t) => setting(t, runs)));
}

/** A thing, with its states as buttons. @param {Setting} thing @param {boolean} runs */
function setting(thing, runs) {
  const row = el('div', { class: 'row' });
  if (thing.kind === 'button' && runs) {
    row.append(button(thing.state === 'pressed' ? 'held down' : 'press', () => turn(thing.kind, thing.name),
      { class: 'round', 'data-key': `press ${keyOf(thing)}` }));
  } else {
    for (const [state, words] of thing.states) {
      row.append(button(thing.kind === 'heading' ? words : state, () => set(thing.kind, thing.name, state),
        { 'aria-pressed': String(state === thing.state), title: words, 'data-key': `${keyOf(thing)} ${state}` }));
    }
  }
  return el('fieldset', { class: thing.state === thing.usual ? '' : 'unusual' }, el('legend', {}, thing.label), row);
}

// ---------------------------------------------------------------- signals

/** @param {any} look */
export function showSignals(look) {
  const list = $('signal-list');
  const open = new Set([...list.querySelectorAll('details[open]')].map((d) => d.getAttribute('data-name')));
  refill(list, look.signals.map((/** @type {any} */ signal) => {
    return el('details', { class: 'signal', 'data-level': signal.level, 'data-name': signal.name, open: open.has(signal.name) },
      el('summary', { 'data-key': `signal ${signal.name}` },
        el('span', { class: 'name' }, signal.name),
        lenses(signal),
        el('span', { class: 'aspect' }, signal.aspect),
        el('span', { class: 'meaning' }, signal.meaning)),
      chain(signal.why));
  }));
  if (!look.signals.length) list.append(el('p', { class: 'quiet' }, 'No signals yet.'));
}

/** @param {any} signal */
function lenses(signal) {
  const made = el('span', { class: 'lenses', role: 'img', 'aria-label': signal.heads.map((/** @type {any} */ h) => h.color).join(' over ') });
  for (const { color } of signal.heads) {
    const plain = color.split(' ').at(-1);
    const letter = plain === 'dark' ? '–' : plain[0].toUpperCase();
    made.append(el('span', { class: color.startsWith('flashing') ? 'lens flashing' : 'lens', 'data-color': plain }, letter));
  }
  return made;
}

/** Causes, each with its place in the text. @param {any[]} causes @returns {HTMLElement} */
export function chain(causes) {
  const list = el('ul', { class: 'why' });
  for (const cause of causes) {
    list.append(el('li', {}, cause.text, ...(cause.place ? [' ', lineLink(cause.place, go)] : []),
      cause.because.length ? chain(cause.because) : null));
  }
  return list;
}

/** Explain a signal beside it. The explanation stays while the pointer is on it.
 * @param {any} look @param {{kind: string, name: string} | null} thing @param {Element | null} at */
export function showTip(look, thing, at) {
  const tip = $('why-tip');
  const signal = thing?.kind === 'signal' ? look?.signals.find((/** @type {any} */ s) => s.name === thing.name) : null;
  clearTimeout(hiding);
  if (!signal || !at) {
    hiding = setTimeout(hideTip, 300);
    return;
  }
  mark(signal.name);
  tip.hidden = false;
  tip.replaceChildren(el('strong', {}, `${signal.name}: ${signal.aspect}`), ` (${signal.meaning})`, chain(signal.why));
  const box = at.getBoundingClientRect();
  const left = Math.min(box.left, innerWidth - tip.offsetWidth - 8);
  const below = box.bottom + 4;
  const top = below + tip.offsetHeight < innerHeight ? below : box.top - tip.offsetHeight - 4;
  tip.style.left = `${Math.max(4, left)}px`;
  tip.style.top = `${Math.max(4, top)}px`;
}

let hiding = 0;

/** Hide the explanation of a signal; false if there is none. */
export function hideTip() {
  const tip = $('why-tip');
  if (tip.hidden) return false;
  tip.hidden = true;
  mark('');
  return true;
}

export function startTip() {
  $('why-tip').addEventListener('pointerenter', () => clearTimeout(hiding));
  $('why-tip').addEventListener('pointerleave', hideTip);
}

/** Mark the row of a signal. @param {string} name */
function mark(name) {
  for (const row of $('signal-list').querySelectorAll('.signal')) {
    row.classList.toggle('pointed', row.getAttribute('data-name') === name);
  }
}

/** Open the row of a signal. @param {string} name */
export function openSignal(name) {
  const row = [...$('signal-list').querySelectorAll('details')].find((d) => d.dataset.name === name);
  if (!row) return;
  row.open = !row.open;
  if (row.open) row.scrollIntoView({ block: 'nearest' });
}

/** The hazards of this state. @param {any} look @param {Map<string, any>} verdicts by key */
export function showHazards(look, verdicts) {
  const box = $('hazards');
  const found = look.hazards.filter((/** @type {any} */ h) => !h.advice);
  box.dataset.state = found.length ? 'bad' : 'good';
  const said = found.map((/** @type {any} */ h) => (verdicts.get(h.key)?.status === 'proved'
    ? `${h.sentence} (Proved: the layout never reaches this by itself.)` : h.sentence));
  box.textContent = !look.signals.length ? '' : said.length ? `Unsafe here: ${said.join(' ')}` : 'Nothing unsafe here.';
  refill($('notes'), look.notes.map((/** @type {string} */ note) => el('li', {}, note)));
}
