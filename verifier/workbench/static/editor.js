// The editor: a plain text area, so that undo, selection and every assistive tool work as they do
// anywhere, with a layer behind it that tints words and underlines what is wrong.
import { startAssist } from './assist.js';
import { $, el } from './dom.js';
import { startFind } from './find.js';

/** @typedef {{start: number, end: number, message: string}} Wrong offsets in the text area's text */

const area = /** @type {HTMLTextAreaElement} */ ($('text'));
const layer = $('tinted');
const numbers = $('lines');
// Longer texts are not tinted: the layer would be slower than the typing.
const MOST_LINES = 4000;

/** @type {Set<string>} */
let words = new Set();
/** @type {Wrong[]} */
let wrong = [];
/** @type {{start: number, end: number}[]} */
let found = [];
/** @type {{start: number, end: number} | null} */
let pointedAt = null;

/** @param {string[]} list the words of the language @param {() => void} changed */
export function startEditor(list, changed) {
  words = new Set(list);
  area.addEventListener('input', () => {
    // What was wrong stays marked where it was until the server has looked again.
    pointedAt = null;
    paint();
    changed();
  });
  area.addEventListener('scroll', follow);
  area.addEventListener('keydown', keepIndent);
  new ResizeObserver(follow).observe(area);
  startAssist({ area, own, replace });
  startFind({ area, mark: (places) => { found = places; paint(); }, point, replace });
  paint();
}

export const text = () => area.value;

/** Put a whole new text there: another file was opened. @param {string} value */
export function setText(value) {
  area.value = value;
  wrong = [];
  pointedAt = null;
  area.setSelectionRange(0, 0);
  area.scrollTop = 0;
  paint();
}

/** Replace a stretch as if it had been typed, so that undo takes it back.
 * @param {number} start @param {number} end @param {string} value */
export function replace(start, end, value) {
  area.focus();
  area.setSelectionRange(start, end);
  const typed = value === '' ? document.execCommand('delete') : document.execCommand('insertText', false, value);
  if (!typed) {
    area.setRangeText(value, start, end, 'end');
    area.dispatchEvent(new Event('input'));
  }
  reveal(start);
}

/** @param {Wrong[]} found */
export function markWrong(found) {
  wrong = found;
  paint();
}

/** Show a place: select it and bring it into view. @param {number} start @param {number} end
 * @param {boolean} [focus] */
export function point(start, end, focus = true) {
  pointedAt = { start, end };
  paint();
  if (focus) area.focus();
  area.setSelectionRange(start, Math.max(start, end));
  reveal(start);
}

/** Where characters counted by the server stand: it counts each once, browsers some twice.
 * @param {number} offset */
export function own(offset) {
  const value = area.value;
  if (!/[\ud800-\udbff]/.test(value)) return offset;
  let at = 0;
  for (let left = offset; left > 0 && at < value.length; left--) {
    at += value.codePointAt(at) > 0xffff ? 2 : 1;
  }
  return at;
}

// ---------------------------------------------------------------- the layer

/** Both layers show the same part. */
function follow() {
  layer.style.transform = `translate(${-area.scrollLeft}px, ${-area.scrollTop}px)`;
  numbers.scrollTop = area.scrollTop;
}

/** @param {number} offset */
function reveal(offset) {
  const line = area.value.slice(0, offset).split('\n').length - 1;
  const high = parseFloat(getComputedStyle(area).lineHeight);
  const top = line * high;
  if (top < area.scrollTop || top > area.scrollTop + area.clientHeight - 3 * high) {
    area.scrollTop = Math.max(0, top - area.clientHeight / 3);
  }
  follow();
}

function paint() {
  const value = area.value;
  const lines = value.split('\n');
  const tinted = lines.length <= MOST_LINES;
  const marks = [...wrong.map((w) => ({ ...w, kind: 't-wrong' })),
    ...found.map((f) => ({ ...f, kind: 't-found', message: '' })),
    ...(pointedAt ? [{ ...pointedAt, kind: 't-shown', message: '' }] : [])];
  const made = document.createDocumentFragment();
  const wrongLines = new Set();
  let at = 0;
  for (const [number, line] of lines.entries()) {
    const end = at + line.length;
    const here = marks.filter((m) => m.start <= end && Math.max(m.end, m.start + 1) > at);
    made.append(...painted(line, at, tinted, here));
    for (const note of wrong.filter((w) => w.start >= at && w.start <= end)) {
      made.append(el('span', { class: 't-note' }, `◂ ${note.message}`));
      wrongLines.add(number);
    }
    made.append('\n');
    at = end + 1;
  }
  layer.replaceChildren(made);
  numbers.replaceChildren(...lines.map((_, i) =>
    el('span', { class: wrongLines.has(i) ? 'wrong' : '' }, `${wrongLines.has(i) ? '✗' : ''}${i + 1}\n`)));
  follow();
}

const TOKENS = /(#.*)|("[^"]*"?)|([\p{L}\p{N}][\p{L}\p{N}\p{M}_-]*(?:\.[\p{L}\p{N}][\p{L}\p{N}\p{M}_-]*)*)/gu;

/** The pieces of one line that starts at `at`: tints, and marks over them.
 * @param {string} line @param {number} at @param {boolean} tinted
 * @param {{start: number, end: number, kind: string}[]} marks @returns {(Node | string)[]} */
function painted(line, at, tinted, marks) {
  /** @type {{start: number, end: number, kind: string}[]} */
  const tints = [];
  for (const found of tinted ? line.matchAll(TOKENS) : []) {
    const start = found.index;
    const kind = found[1] ? 't-comment' : found[2] ? 't-text'
      : words.has(found[3]) ? (line.slice(0, start).trim() === '' && start === 0 ? 't-starts' : 't-word') : '';
    if (kind) tints.push({ start, end: start + found[0].length, kind });
  }
  const local = marks.map((m) => spanIn(line, m.start - at, m.end - at, m.kind));
  const edges = [...new Set([0, line.length, ...[...tints, ...local].flatMap((t) => [t.start, t.end])])]
    .filter((e) => e >= 0 && e <= line.length).sort((a, b) => a - b);
  const pieces = [];
  for (let i = 0; i + 1 < edges.length; i++) {
    const [start, end] = [edges[i], edges[i + 1]];
    const kinds = [...tints, ...local].filter((t) => t.start <= start && t.end >= end).map((t) => t.kind);
    const part = line.slice(start, end);
    pieces.push(kinds.length ? el('span', { class: kinds.join(' ') }, part) : part);
  }
  // A mark where nothing is any more, as at the end of a line, needs something to stand under.
  for (const m of local) if (m.start >= line.length) pieces.push(el('span', { class: m.kind }, ' '));
  return pieces;
}

/** @param {string} line @param {number} start @param {number} end @param {string} kind */
function spanIn(line, start, end, kind) {
  const from = Math.max(0, start);
  return { start: from, end: Math.min(line.length, Math.max(end, from + 1)), kind };
}

/** A new line begins as far in as the one before. @param {KeyboardEvent} event */
function keepIndent(event) {
  if (event.key !== 'Enter' || event.ctrlKey || event.metaKey || event.isComposing) return;
  const start = area.value.lastIndexOf('\n', area.selectionStart - 1) + 1;
  const indent = /^[ \t]*/.exec(area.value.slice(start, area.selectionStart))?.[0] ?? '';
  if (!indent) return;
  event.preventDefault();
  document.execCommand('insertText', false, `\n${indent}`);
}
