// The help of the page, and the question for a name.
import { el } from './dom.js';
import { choose } from './files.js';

/** @type {[string, string][]} */
const KEYS = [
  ['Ctrl+S', 'save'], ['Ctrl+O', 'open another file'], ['Ctrl+Z, Ctrl+Y', 'undo, redo: text and drawing have one history'],
  ['Ctrl+F in the text', 'find and replace'],
  ['F8, Shift+F8', 'next error, previous error'],
  ['F6', 'move between text, plan and verdicts'],
  ['arrow keys in the plan', 'move the selection'],
  ['Enter or Space in the plan', 'throw points, add or remove stock, move a derail or gate, explain a signal'],
  ['arrow keys in a history', 'next or previous moment; Home and End: first and last'],
  ['Escape', 'close an explanation or a finding'],
];
/** @type {[string, string][]} */
const DRAWING_KEYS = [
  ['B, S, X, P, E, U', 'track, switch, crossing, slip, line that goes on, bumper: at the open end you are at'],
  ['Shift+S', 'a switch joined by its normal leg'],
  ['arrow keys', 'from one thing to the next'],
  ['J, then J', 'join the open end you are at to another one'],
  ['G, Shift+G', 'a signal at the gap you are at, for trains to the right, to the left'],
  ['I', 'at a joint: no gap, one rail, both rails; on track: divide it in two blocks'],
  ['Enter or Space', 'choose what you are at, or no longer'],
  ['Alt+arrow keys', 'move what is chosen by a square'],
  ['D', 'draft signals and rules for the track'],
  ['T, F, C, N, Delete', 'turn round, other side, copy, name, delete what is chosen'],
];

/** @param {[string, string][]} keys */
const table = (keys) => el('table', {}, ...keys.map(([key, does]) =>
  el('tr', {}, el('td', {}, el('kbd', {}, key)), el('td', {}, does))));

export const help = () => choose('Help', [
  el('ol', {},
    el('li', {}, el('b', {}, 'Draw'), ' the track, or open a pattern. What is drawn is written, what is written is drawn. An open end is a dashed ring: go on from there, or end the track.'),
    el('li', {}, el('b', {}, 'Draft'), ' signals, rules, levers and locks. They are written into the text once they are proved.'),
    el('li', {}, el('b', {}, 'Operate'), ' it: throw switches, put stock on the track, and see what each signal shows and why.'),
    el('li', {}, 'Every change is proved anew. A finding shows the situation, the reasons and what mends it.')),
  el('h3', {}, 'Keys'), table(KEYS), el('h3', {}, 'Keys on the graph paper'), table(DRAWING_KEYS)], []);

/** @param {string} old @returns {Promise<string | null>} */
export async function askThingName(old) {
  const field = /** @type {HTMLInputElement} */ (el('input', { type: 'text', id: 'thing-name', value: old, 'aria-label': `New name of ${old}` }));
  const dialog = /** @type {HTMLDialogElement} */ (document.getElementById('dialog'));
  field.addEventListener('keydown', (event) => {
    if (event.key === 'Enter') {
      event.preventDefault();
      dialog.dispatchEvent(new CustomEvent('choice', { detail: 'name' }));
    }
  });
  const answer = choose(`Name of ${old}`, [el('p', { class: 'quiet' }, 'Letters, digits and hyphens. It changes wherever it stands.'), field], [['name', 'Name it']]);
  field.select();
  return (await answer) === 'name' ? field.value.trim() : null;
}
