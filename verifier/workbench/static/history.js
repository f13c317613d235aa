// One history for the text, whoever changes it: typing, drawing, drafting, mending. Undo and redo are
// our own, so that the buttons know whether there is anything to take back.
import { $ } from './dom.js';

/** @typedef {{start: number, gone: string, came: string, when: number, typed: boolean}} Change */

const area = /** @type {HTMLTextAreaElement} */ ($('text'));
/** Typing within so many milliseconds is taken back together. */
const TOGETHER = 900;
const MOST = 1000;

/** @type {Change[]} */
let done = [];
/** @type {Change[]} */
let undone = [];
let last = area.value;
let busy = false;
/** Changes made by other than typing are never joined with others. */
let whole = false;
/** @type {(words: string) => void} */
let told = () => {};

/** @param {(words: string) => void} tell called with what was done */
export function startHistory(tell) {
  told = tell;
  area.addEventListener('input', noticed);
  area.addEventListener('beforeinput', (event) => {
    if (event.inputType === 'historyUndo' || event.inputType === 'historyRedo') {
      event.preventDefault();
      if (event.inputType === 'historyUndo') undo();
      else redo();
    }
  });
  $('do-undo').addEventListener('click', undo);
  $('do-redo').addEventListener('click', redo);
  show();
}

/** Begin anew: another file was opened. */
export function forgetHistory() {
  done = [];
  undone = [];
  last = area.value;
  show();
}

/** Change the text in one step. @param {number} start @param {number} end @param {string} text */
export function change(start, end, text) {
  whole = true;
  area.setRangeText(text, start, end, 'preserve');
  area.dispatchEvent(new Event('input'));
  whole = false;
}

/** Ctrl+Z, Ctrl+Y and Ctrl+Shift+Z, wherever the focus is; true if the key was one of them.
 * @param {KeyboardEvent} event */
export function historyKey(event) {
  if (!(event.ctrlKey || event.metaKey) || event.altKey) return false;
  const key = event.key.toLowerCase();
  const back = key === 'z' && !event.shiftKey;
  if (!back && key !== 'y' && !(key === 'z' && event.shiftKey)) return false;
  const at = event.target;
  if (at instanceof HTMLInputElement && at.type === 'text') return false;
  event.preventDefault();
  if (back) undo();
  else redo();
  return true;
}

/** What has changed between two texts. @param {string} a @param {string} b */
function between(a, b) {
  const most = Math.min(a.length, b.length);
  let start = 0;
  while (start < most && a[start] === b[start]) start++;
  let end = 0;
  while (end < most - start && a[a.length - 1 - end] === b[b.length - 1 - end]) end++;
  return { start, gone: a.slice(start, a.length - end), came: b.slice(start, b.length - end) };
}

function noticed() {
  if (busy || area.value === last) return;
  const made = { ...between(last, area.value), when: Date.now(), typed: !whole };
  last = area.value;
  undone = [];
  const before = done.at(-1);
  const goesOn = before && before.typed && made.typed && made.when - before.when < TOGETHER
    && !made.gone && !before.gone && made.start === before.start + before.came.length && !/\n/.test(made.came);
  if (goesOn) {
    before.came += made.came;
    before.when = made.when;
  } else {
    done.push(made);
    if (done.length > MOST) done.shift();
  }
  show();
}

export function undo() {
  const step = done.pop();
  if (!step) return;
  undone.push(step);
  put(step.start, step.start + step.came.length, step.gone);
  told('Taken back.');
}

export function redo() {
  const step = undone.pop();
  if (!step) return;
  done.push(step);
  put(step.start, step.start + step.gone.length, step.came);
  told('Done again.');
}

/** @param {number} start @param {number} end @param {string} text */
function put(start, end, text) {
  busy = true;
  area.setRangeText(text, start, end, 'end');
  last = area.value;
  area.dispatchEvent(new Event('input'));
  busy = false;
  show();
}

function show() {
  /** @type {HTMLButtonElement} */ ($('do-undo')).disabled = done.length === 0;
  /** @type {HTMLButtonElement} */ ($('do-redo')).disabled = undone.length === 0;
}
