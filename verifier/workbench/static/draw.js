// Drawing with a hand: pointer and keys make strokes, the server makes edits of the text of them.
// What is drawn is always what the text says; nothing is kept here but what is pointed at.
import { $, button, el, say } from './dom.js';
import { SQUARE, entersRightward, hubOf, itemsOf, jointSpot, key, paint, pieceWords, spotOf } from './canvas.js';
import { Lost, Refused, ask } from './server.js';

/** @typedef {import('./canvas.js').Drawing} Drawing @typedef {import('./canvas.js').End} End
 * @typedef {import('./canvas.js').Item} Item */

/** Tools: their name, key and what to do with them. @type {[string, string, string, string][]} */
const TOOLS = [
  ['select', 'Move', 'V', 'Choose and move. Drag an open end onto another to join them; Shift adds to what is chosen.'],
  ['block', 'Track', 'B', 'Drag from here to there. Begin on an open end to go on; begin on track to branch off by a switch.'],
  ['turnout', 'Switch', 'S', 'Click an open end, or the middle of track.'],
  ['crossing', 'Crossing', 'X', 'Click an open end, or the middle of track.'],
  ['edge', 'Line goes on', 'E', 'Click an open end where the plan stops and the railroad goes on.'],
  ['bumper', 'Bumper', 'U', 'Click an open end where the track ends.'],
  ['signal', 'Signal', 'G', 'Click at a gap, on the side where the signal stands: on the right of its trains.'],
  ['gap', 'Gap', 'I', 'Click a joint for no gap, one rail, both rails; click track to divide it in two blocks.'],
  ['erase', 'Erase', 'Del', 'Click a piece, a signal or a joint.'],
];
const PLACED = ['turnout', 'crossing', 'edge', 'bumper'];
const KIND_OF_KEY = { b: 'block', s: 'turnout', x: 'crossing', p: 'slip', e: 'edge', u: 'bumper' };

const holder = $('canvas');
let tool = 'select';
/** @type {Drawing | null} */
let drawing = null;
/** What the keys are at. @type {Item | null} */
let here = null;
/** Pieces by name, signals as `signal NAME`. @type {Set<string>} */
let picked = new Set();
/** An end marked to be joined. */
let marked = '';
let turn = 0;
/** @type {Promise<unknown>} */
let queue = Promise.resolve();
/** @type {{
 *   text: () => string, name: () => string, own: (offset: number) => number,
 *   change: (start: number, end: number, text: string) => void,
 *   drawn: (drawing: Drawing | null) => void,
 *   nameIt: (old: string) => Promise<string | null>, draft: () => unknown }} */
let told;

/** @param {typeof told} how */
export function startDraw(how) {
  told = how;
  $('tools').replaceChildren(...TOOLS.map(([id, label, letter, words]) =>
    button(label, () => choose(id), { id: `tool-${id}`, 'aria-pressed': String(id === tool), title: `${words} (${letter})` },
      el('kbd', { 'aria-hidden': 'true' }, letter))));
  holder.addEventListener('pointerdown', pressed);
  holder.addEventListener('keydown', typed);
  holder.addEventListener('focus', () => { if (!here) look(); });
  holder.addEventListener('dblclick', () => { const name = onlyPicked(); if (name) rename(name); });
  choose('select');
}

/** @param {string} id */
export function choose(id) {
  tool = id;
  for (const [other, , , words] of TOOLS) {
    $(`tool-${other}`).setAttribute('aria-pressed', String(other === id));
    if (other === id) $('tool-words').textContent = words;
  }
  holder.dataset.tool = id;
}

/** The drawing of the text as it is now. */
export async function refresh() {
  const mine = ++turn;
  const asked = told.text();
  try {
    const said = await ask('stroke', { name: told.name(), text: asked, stroke: null });
    if (mine === turn && asked === told.text()) show(said.drawing ?? null);
  } catch (error) {
    if (!(error instanceof Lost || error instanceof Refused)) throw error;
  }
}

/** Another file: nothing is chosen any more. */
export function forget() {
  drawing = null;
  here = null;
  picked = new Set();
  marked = '';
}

/** Draw one stroke, after those before it. @param {object} stroke */
function draw(stroke) {
  queue = queue.then(() => drawNow(stroke));
  return queue;
}

/** @param {object} stroke */
async function drawNow(stroke) {
  turn++;
  const began = performance.now();
  const asked = told.text();
  let said;
  try {
    said = await ask('stroke', { name: told.name(), text: asked, stroke });
  } catch (error) {
    if (error instanceof Lost || error instanceof Refused) return;
    throw error;
  }
  if (said.errors) return hint(`Mend line ${said.errors[0].place.line} of the text first: ${said.errors[0].message}.`);
  if (said.no) return hint(said.no);
  if (asked !== told.text()) return;
  if (said.edit) told.change(told.own(said.edit.start), told.own(said.edit.end), said.edit.text);
  turn++;
  picked = new Set(said.chosen.map((/** @type {string} */ name) =>
    (said.drawing.signals.some((/** @type {any} */ s) => s.name === name) ? `signal ${name}` : name)));
  const focus = said.focus && itemsOf(said.drawing).find((i) => i.kind === 'end' && i.id === key(said.focus));
  here = focus || here;
  marked = '';
  show(said.drawing);
  hint(said.said);
  document.documentElement.dataset.strokeMs = String(Math.round((performance.now() - began) * 10) / 10);
}

/** @param {string} words */
function hint(words) {
  $('canvas-said').textContent = words;
  say(words);
}

/** @param {Drawing | null} made None where the text has errors: what was drawn stays, pale. */
function show(made) {
  holder.classList.toggle('stale', made === null);
  if (made) {
    drawing = made;
    const names = new Set([...made.pieces.map((p) => p.name), ...made.signals.map((s) => `signal ${s.name}`)]);
    picked = new Set([...picked].filter((name) => names.has(name)));
    const items = itemsOf(made);
    const at = here;
    here = at && (items.find((i) => i.kind === at.kind && i.id === at.id) ?? nearest(items, at));
  }
  look();
  told.drawn(made);
}

/** @param {Item[]} items @param {{x: number, y: number}} to @returns {Item | null} */
function nearest(items, to) {
  return items.reduce((/** @type {Item | null} */ best, i) =>
    (!best || Math.hypot(i.x - to.x, i.y - to.y) < Math.hypot(best.x - to.x, best.y - to.y) ? i : best), null);
}

/** Paint what is known. */
function look() {
  if (!drawing) return holder.replaceChildren();
  const focused = document.activeElement === holder;
  holder.replaceChildren(paint(drawing, { picked, here: focused || here?.kind === 'end' ? here : null, marked }));
  $('canvas-empty').hidden = drawing.pieces.length > 0;
  showChosen();
  const left = [...drawing.open.map(({ end, words }) => button(words, () => {
    here = itemsOf(/** @type {Drawing} */ (drawing)).find((i) => i.id === key(end)) ?? null;
    holder.focus();
    look();
  }, { class: 'link', 'data-end': key(end) })),
  ...drawing.homeless.map((name) => el('span', {}, `signal ${name} stands at no gap`))];
  const list = $('unfinished');
  list.hidden = left.length === 0;
  list.replaceChildren(el('strong', {}, 'Not joined yet: '), ...left.flatMap((one, n) => (n ? [', ', one] : [one])));
}

function showChosen() {
  const row = $('chosen');
  const names = pieces();
  const piece = names.length === 1 ? drawing?.pieces.find((p) => p.name === names[0]) : null;
  const signal = [...picked].find((p) => p.startsWith('signal '));
  row.hidden = picked.size === 0;
  if (!picked.size) return;
  const what = piece ? pieceWords(piece) : names.length ? `${names.length} pieces` : signal ?? '';
  row.replaceChildren(el('span', { id: 'chosen-what' }, what),
    ...(onlyPicked() ? [button('Name…', () => rename(onlyPicked() ?? ''), { id: 'do-name', title: 'N' })] : []),
    ...(names.length ? [
      button('Turn round', () => draw({ do: 'turn', pieces: names }), { id: 'do-turn', title: 'T' }),
      button('Other side', () => draw({ do: 'flip', pieces: names }), { id: 'do-flip', title: 'F' }),
      button('Copy', copy, { id: 'do-copy', title: 'C' })] : []),
    button('Delete', remove, { id: 'do-delete', title: 'Del' }));
}

const pieces = () => [...picked].filter((name) => !name.startsWith('signal '));

/** The name of the one thing that is chosen. */
function onlyPicked() {
  if (picked.size !== 1) return null;
  const [one] = picked;
  if (one.startsWith('signal ')) return one.slice('signal '.length);
  return drawing?.pieces.find((p) => p.name === one)?.title ?? null;
}

// ---------------------------------------------------------------- what keys and buttons do

function copy() {
  const names = pieces();
  if (!names.length || !drawing) return;
  const ys = drawing.pieces.flatMap((p) => Object.values(p.ends).map((s) => s[1]));
  const own = drawing.pieces.filter((p) => names.includes(p.name)).flatMap((p) => Object.values(p.ends).map((s) => s[1]));
  return draw({ do: 'copy', pieces: names, by: [0, Math.ceil(Math.max(...ys) - Math.min(...own) + 3)] });
}

function remove() {
  const signals = [...picked].filter((p) => p.startsWith('signal ')).map((p) => p.slice('signal '.length));
  return draw({ do: 'remove', pieces: pieces(), signals });
}

/** @param {string} old */
async function rename(old) {
  const name = await told.nameIt(old);
  holder.focus();
  if (name && name !== old) await draw({ do: 'name', old, new: name });
}

/** @param {string} kind @param {string} [by] */
function addHere(kind, by = 'points') {
  const onto = here?.kind === 'end' ? endOf(here.id) : null;
  const rows = (drawing?.pieces ?? []).flatMap((p) => Object.values(p.ends).map((s) => s[1]));
  const free = [3, rows.length ? Math.max(...rows) + 3 : 4];
  const at = here?.kind === 'piece' || here?.kind === 'joint' ? [here.x, here.y] : free;
  return draw({ do: 'add', kind, onto, by, at });
}

/** @param {string} id @returns {End} */
function endOf(id) {
  const space = id.lastIndexOf(' ');
  return [id.slice(0, space), id.slice(space + 1)];
}

/** @param {string} id by the first end @param {[number, number] | null} spot where it was pointed at
 * @param {boolean} [other] */
function setSignal(id, spot, other = false) {
  const joint = drawing?.joints.find((j) => key(j.a) === id);
  if (!joint || !drawing) return hint('Go to a gap first: a signal stands at a gap.');
  const [, y] = jointSpot(drawing, joint);
  // On the right of its trains: below the track for those to the right.
  const rightward = spot ? spot[1] >= y : !other;
  const enters = [joint.a, joint.b].find((end) => entersRightward(/** @type {Drawing} */ (drawing), end) === rightward) ?? joint.b;
  return draw({ do: 'signal', enters });
}

/** @param {string} id */
function nextGap(id) {
  const joint = drawing?.joints.find((j) => key(j.a) === id);
  if (!joint) return undefined;
  const kind = { '=': '|', '|': '||', '||': '=' }[joint.kind];
  return draw({ do: 'gap', end: joint.a, kind });
}

/** @param {KeyboardEvent} event */
function typed(event) {
  if (event.ctrlKey || event.metaKey) return;
  const letter = event.key.toLowerCase();
  const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  const acts = {
    t: () => (pieces().length ? draw({ do: 'turn', pieces: pieces() }) : undefined),
    f: () => (pieces().length ? draw({ do: 'flip', pieces: pieces() }) : undefined),
    c: copy,
    n: () => { const name = onlyPicked(); return name ? rename(name) : undefined; },
    g: () => setSignal(here?.kind === 'joint' ? here.id : '', null, event.shiftKey),
    i: () => (here?.kind === 'joint' ? nextGap(here.id) : here?.kind === 'piece' ? draw({ do: 'cut', piece: here.id, at: [here.x, here.y] }) : undefined),
    j: join,
    v: () => choose('select'),
    d: () => told.draft(),
    delete: () => (picked.size ? remove() : here?.kind === 'joint' ? draw({ do: 'part', end: endOf(here.id) }) : undefined),
    backspace: () => (picked.size ? remove() : undefined),
    ' ': pickHere,
    enter: pickHere,
    escape: () => { picked = new Set(); marked = ''; choose('select'); look(); },
  }[letter];
  if (moves) {
    if (event.altKey && pieces().length) draw({ do: 'move', pieces: pieces(), by: moves });
    else step(moves);
  } else if (KIND_OF_KEY[/** @type {'b'} */ (letter)]) {
    addHere(KIND_OF_KEY[/** @type {'b'} */ (letter)], event.shiftKey ? 'normal' : 'points');
  } else if (acts) {
    if (letter === 'escape' && !picked.size && !marked && tool === 'select') return;
    acts();
  } else return;
  event.preventDefault();
  event.stopPropagation();
}

function pickHere() {
  if (!here || here.kind === 'joint') return;
  const name = here.kind === 'piece' ? here.id : here.kind === 'signal' ? `signal ${here.id}` : endOf(here.id)[0];
  if (picked.has(name)) picked.delete(name);
  else picked.add(name);
  look();
  say(picked.has(name) ? `${name} chosen` : `${name} no longer chosen`);
}

/** Mark an open end, or join it to the one that is marked. */
function join() {
  if (here?.kind !== 'end') return hint('Go to an open end first.');
  if (marked && marked !== here.id) return draw({ do: 'join', a: endOf(marked), b: endOf(here.id) });
  marked = here.id;
  look();
  hint(`${here.words}: go to another open end and press J again.`);
  return undefined;
}

/** To the nearest thing on that side. @param {number[]} way */
function step([dx, dy]) {
  if (!drawing) return;
  const items = itemsOf(drawing);
  const from = here ?? nearest(items, { x: 0, y: 0 });
  if (!here) here = from;
  else if (from) {
    let least = Infinity;
    for (const item of items) {
      const along = (item.x - from.x) * dx + (item.y - from.y) * dy;
      const aside = Math.abs((item.x - from.x) * dy) + Math.abs((item.y - from.y) * dx);
      if (along > 0.1 && along + 2 * aside < least) {
        least = along + 2 * aside;
        here = item;
      }
    }
  }
  look();
  if (here) say(here.words);
}

// ---------------------------------------------------------------- what pointers do

/** @param {PointerEvent} event @returns {[number, number]} in squares */
function spotAt(event) {
  const box = /** @type {Element} */ (holder.firstElementChild ?? holder).getBoundingClientRect();
  return [(event.clientX - box.left) / SQUARE, (event.clientY - box.top) / SQUARE];
}

/** @param {[number, number]} spot @returns {[number, number]} */
const snapped = ([x, y]) => [Math.max(0, Math.round(x)), Math.max(0, Math.round(y))];

/** What is under a pointer. @param {PointerEvent} event @returns {Item | null} */
function under(event) {
  if (!drawing) return null;
  const found = document.elementsFromPoint(event.clientX, event.clientY)
    .map((element) => element.closest('g[data-end], g[data-signal], g[data-joint], g[data-piece]'))
    .filter((group) => group instanceof SVGGElement && holder.contains(group))
    .map((group) => /** @type {SVGGElement} */ (group).dataset);
  const items = itemsOf(drawing).filter(wanted);
  // What is small goes before what is long.
  for (const kind of /** @type {const} */ (['end', 'signal', 'joint', 'piece'])) {
    const here = found.find((data) => data[kind] !== undefined);
    const item = here && items.find((i) => i.kind === kind && i.id === here[kind]);
    if (item) return item;
  }
  return null;
}

/** Some tools look through what they do nothing with. @param {Item} item */
function wanted(item) {
  if (tool === 'signal') return item.kind === 'joint';
  if (tool === 'gap') return item.kind === 'joint' || item.kind === 'piece';
  return tool !== 'select' || item.kind !== 'joint';
}

/** @param {PointerEvent} event */
function pressed(event) {
  if (event.button !== 0 || !drawing) return;
  const start = spotAt(event);
  const item = under(event);
  // A finger that begins on bare paper moves the paper.
  const scrolls = event.pointerType === 'touch' && tool === 'select' && !item;
  if (scrolls) return;
  event.preventDefault();
  holder.focus({ preventScroll: true });
  const { pointerId } = event;
  holder.setPointerCapture(pointerId);
  if (item) here = item;
  let far = false;
  /** @type {SVGPathElement | null} */
  let ghost = null;

  /** @param {PointerEvent} at */
  const go = (at) => {
    if (at.pointerId !== pointerId) return;
    const now = spotAt(at);
    far = far || Math.hypot(now[0] - start[0], now[1] - start[1]) > 0.4;
    if (!far) return;
    const svg = holder.firstElementChild;
    if (!ghost && svg) {
      ghost = document.createElementNS('http://www.w3.org/2000/svg', 'path');
      ghost.setAttribute('class', 'c-ghost');
      svg.append(ghost);
    }
    ghost?.setAttribute('d', trail(item, start, now));
  };
  /** @param {PointerEvent} at */
  const end = (at) => {
    if (at.pointerId !== pointerId) return;
    holder.removeEventListener('pointermove', go);
    holder.removeEventListener('pointerup', end);
    holder.removeEventListener('pointercancel', end);
    ghost?.remove();
    if (at.type === 'pointercancel') return;
    if (far) dragged(item, start, spotAt(at), at);
    else clicked(item, start, at);
  };
  holder.addEventListener('pointermove', go);
  holder.addEventListener('pointerup', end);
  holder.addEventListener('pointercancel', end);
}

/** What a drag shows on its way. @param {Item | null} item @param {[number, number]} start
 * @param {[number, number]} now */
function trail(item, start, now) {
  const p = (/** @type {[number, number]} */ s) => `${s[0] * SQUARE} ${s[1] * SQUARE}`;
  if (tool === 'select' && item?.kind === 'piece' && drawing) {
    const by = [Math.round(now[0] - start[0]), Math.round(now[1] - start[1])];
    const names = picked.has(item.id) ? pieces() : [item.id];
    return drawing.pieces.filter((one) => names.includes(one.name)).map((one) => {
      const spots = Object.values(one.ends).map((s) => /** @type {[number, number]} */ ([s[0] + by[0], s[1] + by[1]]));
      const hub = hubOf(one);
      return spots.map((s) => `M${p([hub[0] + by[0], hub[1] + by[1]])}L${p(s)}`).join('');
    }).join('');
  }
  if (tool === 'select' && !item) return `M${p(start)}H${now[0] * SQUARE}V${now[1] * SQUARE}H${start[0] * SQUARE}Z`;
  const from = item?.kind === 'end' ? /** @type {[number, number]} */ ([item.x, item.y]) : snapped(start);
  return `M${p(from)}L${p(snapped(now))}`;
}

/** @param {Item | null} item @param {[number, number]} spot @param {PointerEvent} event */
function clicked(item, spot, event) {
  if (tool === 'block' || PLACED.includes(tool)) {
    const onto = item?.kind === 'end' ? endOf(item.id) : null;
    return draw({ do: 'add', kind: tool, at: onto ? spot : snapped(spot), onto });
  }
  if (tool === 'signal') return setSignal(item?.id ?? '', spot);
  if (tool === 'gap') return item?.kind === 'joint' ? nextGap(item.id) : item && draw({ do: 'cut', piece: item.id, at: snapped(spot) });
  if (tool === 'erase') {
    if (item?.kind === 'piece') return draw({ do: 'remove', pieces: [item.id] });
    if (item?.kind === 'signal') return draw({ do: 'remove', signals: [item.id] });
    return item?.kind === 'joint' ? draw({ do: 'part', end: endOf(item.id) }) : undefined;
  }
  const name = !item || item.kind === 'joint' ? null : item.kind === 'signal' ? `signal ${item.id}` : item.kind === 'end' ? endOf(item.id)[0] : item.id;
  if (event.shiftKey && name && picked.has(name)) picked.delete(name);
  else if (event.shiftKey && name) picked.add(name);
  else picked = new Set(name ? [name] : []);
  if (!item) here = null;
  look();
  return undefined;
}

/** @param {Item | null} item @param {[number, number]} start @param {[number, number]} stop @param {PointerEvent} event */
function dragged(item, start, stop, event) {
  const onto = under(event);
  if (tool === 'block') {
    const from = item?.kind === 'end' ? [item.x, item.y] : snapped(start);
    const to = onto?.kind === 'end' ? [onto.x, onto.y] : snapped(stop);
    return draw({ do: 'add', kind: 'block', at: from, to });
  }
  if (tool !== 'select') return clicked(item, start, event);
  if (item?.kind === 'end' && onto?.kind === 'end' && onto.id !== item.id) {
    return draw({ do: 'join', a: endOf(item.id), b: endOf(onto.id) });
  }
  if (item?.kind === 'piece' || item?.kind === 'end') {
    const name = item.kind === 'end' ? endOf(item.id)[0] : item.id;
    const plain = drawing?.pieces.find((p) => p.name === name)?.kind === 'plain';
    if (item.kind === 'end' && plain) return draw({ do: 'stretch', end: endOf(item.id), to: snapped(stop) });
    const names = picked.has(name) ? pieces() : [name];
    return draw({ do: 'move', pieces: names, by: [Math.round(stop[0] - start[0]), Math.round(stop[1] - start[1])] });
  }
  const inside = (/** @type {[number, number]} */ [x, y]) => (x - start[0]) * (x - stop[0]) <= 0 && (y - start[1]) * (y - stop[1]) <= 0;
  picked = new Set((drawing?.pieces ?? []).filter((p) => inside(hubOf(p))).map((p) => p.name));
  look();
  return undefined;
}

/** Whether every end is joined, so that there is something to draft for. */
export const isWhole = () => drawing !== null && drawing.pieces.length > 0 && drawing.open.length === 0;

/** Where an open end lies on the screen, for tests. @param {End} end */
export const screenSpot = (end) => {
  const box = /** @type {Element} */ (holder.firstElementChild).getBoundingClientRect();
  const [x, y] = spotOf(/** @type {Drawing} */ (drawing), end);
  return [box.left + x * SQUARE, box.top + y * SQUARE];
};
