// Find and replace in the text. The browser's own search finds each place twice, in the text and in
// the layer behind it, and replaces nothing.
import { $, count, say } from './dom.js';

/** @typedef {{start: number, end: number}} Place */
/** @typedef {{area: HTMLTextAreaElement, mark: (found: Place[]) => void, point: (start: number, end: number, focus: boolean) => void, replace: (start: number, end: number, value: string) => void}} Text */

/** @type {Text} */
let text;
/** @type {Place[]} */
let found = [];
let at = -1;

const what = /** @type {HTMLInputElement} */ ($('find-what'));
const by = /** @type {HTMLInputElement} */ ($('find-by'));
const words = /** @type {HTMLInputElement} */ ($('find-words'));
const exact = /** @type {HTMLInputElement} */ ($('find-case'));
const bar = $('find');

/** @param {Text} of */
export function startFind(of) {
  text = of;
  for (const input of [what, words, exact]) input.addEventListener('input', () => { search(); go(0); });
  bar.addEventListener('keydown', keys);
  text.area.addEventListener('input', () => { if (!bar.hidden) search(); });
  for (const [id, does] of /** @type {[string, () => void][]} */ ([
    ['find-next', () => go(1)], ['find-before', () => go(-1)], ['find-close', closeFind],
    ['find-one', replaceOne], ['find-all', replaceAll], ['do-find', openFind],
  ])) $(id).addEventListener('click', does);
}

/** Open the bar, with what is selected in the text. */
export function openFind() {
  const { value, selectionStart, selectionEnd } = text.area;
  const chosen = value.slice(selectionStart, selectionEnd);
  bar.hidden = false;
  if (chosen && !chosen.includes('\n')) what.value = chosen;
  search();
  go(0);
  what.focus();
  what.select();
}

function closeFind() {
  bar.hidden = true;
  text.mark([]);
  text.area.focus();
}

/** @param {KeyboardEvent} event */
function keys(event) {
  if (event.key === 'Escape') closeFind();
  else if (event.key === 'Enter' && event.target === what) go(event.shiftKey ? -1 : 1);
  else if (event.key === 'Enter' && event.target === by) replaceOne();
  else return;
  event.preventDefault();
  event.stopPropagation();
}

const LETTER = /[\p{L}\p{N}\p{M}_-]/u;

/** All places; with `words`, none within a longer name. Names that differ in case are two names, so
 * case counts unless the box is cleared. @param {boolean} cased @returns {Place[]} */
function places(cased) {
  const value = text.area.value;
  if (!what.value) return [];
  const sought = new RegExp(what.value.replace(/[.*+?^${}()|[\]\\]/g, '\\$&'), cased ? 'gu' : 'giu');
  const all = [...value.matchAll(sought)].map((one) => ({ start: one.index, end: one.index + one[0].length }));
  return all.filter(({ start, end }) => !words.checked
    || !(LETTER.test(value[start - 1] ?? ' ') || LETTER.test(value[end] ?? ' ')));
}

function search() {
  found = places(exact.checked);
  text.mark(found);
  tell();
}

/** That there is none, and how many there would be in other case. */
function none() {
  const others = exact.checked ? places(false).length : 0;
  return others ? `no match (${others} in other case)` : 'no match';
}

function tell() {
  const here = found.findIndex((f) => f.start === text.area.selectionStart && f.end === text.area.selectionEnd);
  $('find-count').textContent = !what.value ? '' : !found.length ? none()
    : here < 0 ? count(found.length, 'place') : `${here + 1} of ${found.length}`;
  for (const id of ['find-next', 'find-before', 'find-one', 'find-all']) {
    /** @type {HTMLButtonElement} */ ($(id)).disabled = !found.length;
  }
}

/** To the next place, the one before, or with 0 the first from the cursor on. @param {number} way */
function go(way) {
  if (!found.length) return;
  const { selectionStart: from, selectionEnd: to } = text.area;
  const before = found.findLastIndex((f) => f.start < from);
  at = way < 0 ? before : found.findIndex((f) => f.start >= (way ? Math.max(to, from) : from));
  if (at < 0) at = way < 0 ? found.length - 1 : 0;
  text.point(found[at].start, found[at].end, false);
  tell();
  say(`${at + 1} of ${found.length}`);
}

/** Replace the place that is shown, and show the next one. */
function replaceOne() {
  const { selectionStart, selectionEnd } = text.area;
  const here = found.find((f) => f.start === selectionStart && f.end === selectionEnd);
  if (!here) { go(0); return; }
  const from = document.activeElement;
  text.replace(here.start, here.end, by.value);
  search();
  go(0);
  if (from instanceof HTMLElement) from.focus();
}

/** Replace all places, as one change. */
function replaceAll() {
  if (!found.length) return;
  const [first, last] = [found[0].start, found[found.length - 1].end];
  let made = '';
  let done = first;
  for (const one of found) {
    made += text.area.value.slice(done, one.start) + by.value;
    done = one.end;
  }
  const many = found.length;
  const from = document.activeElement;
  text.replace(first, last, made);
  search();
  if (from instanceof HTMLElement) from.focus();
  $('find-count').textContent = `${count(many, 'place')} replaced`;
  say(`${count(many, 'place')} replaced`);
}

/** Ctrl+F and Ctrl+H while the text is in use; elsewhere they are the browser's. */
export const isFindKey = (/** @type {KeyboardEvent} */ event) =>
  (event.ctrlKey || event.metaKey) && !event.altKey && ['f', 'h'].includes(event.key.toLowerCase())
  && $('writing').contains(document.activeElement);
