// Help with writing: what can stand at the cursor, in a list beneath it; and what the word under the
// pointer means. The server works both out; the page before an answer stays as it is.
import { el, say } from './dom.js';
import { ask } from './server.js';

/** @typedef {{text: string, sort: string, about: string, start: number, end: number}} Proposal */
/** @typedef {{area: HTMLTextAreaElement, own: (offset: number) => number, replace: (start: number, end: number, value: string) => void}} Editor */

/** Milliseconds that the pointer rests before the word under it is explained. */
const REST = 450;

/** @type {Editor} */
let editor;
const list = el('ul', { id: 'proposals', role: 'listbox', 'aria-label': 'What can be written here' });
const tip = el('div', { id: 'meaning', role: 'tooltip' });
/** @type {Proposal[]} */
let shown = [];
let picked = -1;
let turn = 0;
/** @type {ReturnType<typeof setTimeout> | undefined} */
let resting;

/** @param {Editor} of */
export function startAssist(of) {
  editor = of;
  const { area } = of;
  list.hidden = tip.hidden = true;
  document.body.append(list, tip);
  area.setAttribute('aria-controls', 'proposals');
  area.addEventListener('input', (event) => {
    hideMeaning();
    const typed = event instanceof InputEvent && event.inputType === 'insertText' ? event.data ?? '' : '';
    if (/^[\p{L}\p{N}.-]$/u.test(typed)) propose(false);
    else close();
  });
  area.addEventListener('keydown', keys, true);
  area.addEventListener('blur', () => setTimeout(close, 150));
  area.addEventListener('scroll', () => { close(); hideMeaning(); });
  area.addEventListener('mousedown', () => { close(); hideMeaning(); });
  area.addEventListener('mouseleave', hideMeaning);
  area.addEventListener('mousemove', (event) => {
    hideMeaning();
    resting = setTimeout(() => explain(offsetAt(event.clientX, event.clientY), event.clientX, event.clientY), REST);
  });
}

// ---------------------------------------------------------------- what can be written

/** @param {KeyboardEvent} event */
function keys(event) {
  if (event.ctrlKey && event.key === ' ') {
    event.preventDefault();
    if (event.shiftKey) {
      const at = placeOf(editor.area.selectionStart);
      explain(editor.area.selectionStart, at.left, at.top);
    } else {
      propose(true);
    }
    return;
  }
  if (event.key === 'Escape') hideMeaning();
  if (list.hidden) return;
  const taken = event.key === 'Tab' || (event.key === 'Enter' && picked >= 0);
  if (event.key === 'ArrowDown') pick(picked + 1);
  else if (event.key === 'ArrowUp') pick(picked - 1);
  else if (event.key === 'Escape') close();
  else if (taken) accept(shown[Math.max(picked, 0)]);
  else return;
  event.preventDefault();
  event.stopImmediatePropagation();
}

/** Ask what can be written at the cursor. @param {boolean} asked for, and not just by typing */
async function propose(asked) {
  const mine = ++turn;
  const { area } = editor;
  const text = area.value;
  const at = area.selectionStart;
  let said;
  try {
    said = await ask('propose', { text, offset: theirs(at) });
  } catch {
    return;
  }
  if (mine !== turn || text !== area.value || at !== area.selectionStart) return;
  shown = said.proposals;
  const written = shown.length ? text.slice(editor.own(shown[0].start), at) : '';
  if (!shown.length || (!asked && shown.some((p) => p.text === written))) {
    close();
    return;
  }
  list.replaceChildren(...shown.map((p, i) => el('li', {
    role: 'option', id: `proposal-${i}`, 'data-sort': p.sort,
    mousedown: (/** @type {Event} */ event) => { event.preventDefault(); accept(p); },
  }, el('b', {}, p.text), el('span', {}, p.about))));
  list.hidden = false;
  put(list, placeOf(editor.own(shown[0].start)));
  pick(asked ? 0 : -1);
  if (asked) say(`${shown.length} proposals`);
}

/** @param {number} number */
function pick(number) {
  picked = number < 0 ? -1 : number % shown.length;
  [...list.children].forEach((item, i) => item.setAttribute('aria-selected', String(i === picked)));
  list.children[Math.max(picked, 0)]?.scrollIntoView({ block: 'nearest' });
  if (picked < 0) editor.area.removeAttribute('aria-activedescendant');
  else editor.area.setAttribute('aria-activedescendant', `proposal-${picked}`);
}

/** @param {Proposal} proposal */
function accept(proposal) {
  close();
  const end = editor.own(proposal.end);
  const space = proposal.sort !== 'name' && !/\s/.test(editor.area.value[end] ?? '') ? ' ' : '';
  editor.replace(editor.own(proposal.start), end, proposal.text + space);
}

function close() {
  turn++;
  list.hidden = true;
  editor.area.removeAttribute('aria-activedescendant');
}

// ---------------------------------------------------------------- what a word means

/** @param {number} offset @param {number} left @param {number} top */
async function explain(offset, left, top) {
  const text = editor.area.value;
  let said;
  try {
    said = await ask('mean', { text, offset: theirs(offset) });
  } catch {
    return;
  }
  if (text !== editor.area.value || !said.lines) return;
  tip.replaceChildren(...said.lines.map((/** @type {string} */ line) => el('p', {}, line.replaceAll('**', '').replaceAll('`', ''))),
    ...(said.code ? [el('pre', {}, said.code)] : []));
  tip.hidden = false;
  put(tip, { left, top: top + 18 });
}

function hideMeaning() {
  clearTimeout(resting);
  tip.hidden = true;
}

// ---------------------------------------------------------------- places

/** A place as the server counts: each character once. @param {number} offset */
const theirs = (offset) => [...editor.area.value.slice(0, offset)].length;

/** The size of a character, which all have. */
function size() {
  const style = getComputedStyle(editor.area);
  const probe = el('span', {}, 'm'.repeat(100));
  probe.style.cssText = `position: absolute; visibility: hidden; font: ${style.font};`;
  document.body.append(probe);
  const wide = probe.getBoundingClientRect().width / 100;
  probe.remove();
  return { wide, high: parseFloat(style.lineHeight), left: parseFloat(style.paddingLeft), top: parseFloat(style.paddingTop) };
}

/** Beneath a place on the screen. @param {number} offset */
function placeOf(offset) {
  const { area } = editor;
  const before = area.value.slice(0, offset).split('\n');
  const { wide, high, left, top } = size();
  const box = area.getBoundingClientRect();
  return {
    left: box.left + left + wide * before[before.length - 1].length - area.scrollLeft,
    top: box.top + top + high * before.length - area.scrollTop,
  };
}

/** The offset at a place on the screen. @param {number} x @param {number} y */
function offsetAt(x, y) {
  const { area } = editor;
  const { wide, high, left, top } = size();
  const box = area.getBoundingClientRect();
  const lines = area.value.split('\n');
  const line = Math.floor((y - box.top - top + area.scrollTop) / high);
  const column = Math.floor((x - box.left - left + area.scrollLeft) / wide);
  if (line < 0 || line >= lines.length || column < 0 || column >= lines[line].length) return area.value.length;
  return lines.slice(0, line).reduce((sum, one) => sum + one.length + 1, column);
}

/** Put something where it is in sight. @param {HTMLElement} what @param {{left: number, top: number}} at */
function put(what, at) {
  const box = what.getBoundingClientRect();
  what.style.left = `${Math.max(4, Math.min(at.left, innerWidth - box.width - 8))}px`;
  what.style.top = `${at.top + box.height > innerHeight ? Math.max(4, at.top - box.height - 24) : at.top}px`;
}
