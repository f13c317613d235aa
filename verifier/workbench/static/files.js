// The dialogs to open, save and create files, and what to do if a file has changed on disk.
import { $, button, el } from './dom.js';
import { Changed, Refused, ask } from './server.js';

const dialog = /** @type {HTMLDialogElement} */ ($('dialog'));

/** A dialog. The answer is the value of the button pressed, or null.
 * @param {string} title @param {(Node | string)[]} inside @param {[string, string][]} buttons
 * @returns {Promise<string | null>} */
export function choose(title, inside, buttons) {
  return new Promise((answer) => {
    /** @type {string | null} */
    let given = null;
    const end = (/** @type {string | null} */ value) => { given = value; dialog.close(); };
    dialog.replaceChildren(
      el('h2', { id: 'dialog-h' }, title), ...inside,
      el('div', { class: 'row' }, ...buttons.map(([value, label]) =>
        button(label, () => end(value), { value })),
      button('Cancel', () => end(null), { value: '' })));
    dialog.addEventListener('close', () => answer(given), { once: true });
    dialog.addEventListener('choice', (event) => end(/** @type {CustomEvent} */ (event).detail), { once: true });
    dialog.showModal();
  });
}

/** A list to choose from, inside a dialog. @param {{name: string, text?: string}[]} items */
function choices(items) {
  return el('div', { class: 'choices' }, ...items.map(({ name, text }) =>
    button(el('b', {}, name), () => dialog.dispatchEvent(new CustomEvent('choice', { detail: name })),
      { class: 'choice', 'data-name': name }, text ? ` ${text}` : '')));
}

/** @param {string} folder @returns {Promise<string | null>} */
export async function askWhichFile(folder) {
  const { files } = await ask('files');
  const list = choices(files.map((/** @type {string} */ name) => ({ name })));
  const filter = el('input', { type: 'text', id: 'file-filter', 'aria-label': 'Part of a name' });
  filter.addEventListener('input', () => {
    const part = /** @type {HTMLInputElement} */ (filter).value.toLowerCase();
    for (const one of /** @type {NodeListOf<HTMLElement>} */ (list.querySelectorAll('.choice'))) {
      one.hidden = !one.dataset.name?.toLowerCase().includes(part);
    }
  });
  const none = el('p', { class: 'quiet' }, 'No junction files here yet.');
  return choose('Open a junction', [el('p', { class: 'quiet' }, `In ${folder}`), filter, files.length ? list : none], []);
}

/** @param {{name: string, text: string}[]} patterns @returns {Promise<string | null>} */
export function askWhichPattern(patterns) {
  return choose('New from a pattern', [choices(patterns)], [['(empty)', 'Empty file']]);
}

/** @param {string} name a name to begin with @returns {Promise<string | null>} */
export async function askName(name) {
  const field = /** @type {HTMLInputElement} */ (el('input', { type: 'text', id: 'save-name', value: name || 'my-town.ixl', 'aria-label': 'Name of the file' }));
  field.addEventListener('keydown', (event) => {
    if (event.key === 'Enter') {
      event.preventDefault();
      dialog.dispatchEvent(new CustomEvent('choice', { detail: 'save' }));
    }
  });
  const answer = choose('Save as', [field], [['save', 'Save']]);
  field.select();
  if ((await answer) !== 'save') return null;
  const given = field.value.trim();
  return given && !given.endsWith('.ixl') ? `${given}.ixl` : given || null;
}

/** A message. @param {string} title @param {string} words */
export const tell = (title, words) => choose(title, [el('p', {}, words)], [['ok', 'OK']]);

/**
 * Save, and settle what to do where the file has changed since.
 * @param {string} name @param {string} text @param {string} stamp
 * @returns {Promise<{done: 'saved', name: string, stamp: string} | {done: 'disk', text: string, stamp: string} | {done: 'other name' | 'no'}>}
 */
export async function save(name, text, stamp) {
  let known = stamp;
  for (;;) {
    try {
      const saved = await ask('save', { name, text, stamp: known });
      return { done: 'saved', name: saved.name, stamp: saved.stamp };
    } catch (error) {
      if (error instanceof Refused) {
        await tell('Not saved', error.message);
        return { done: 'no' };
      }
      if (!(error instanceof Changed)) throw error;
      const { now } = error;
      const there = now.text === null ? el('p', {}, 'The file is gone.')
        : el('details', {}, el('summary', {}, 'What is on disk now'), el('pre', { tabindex: '0' }, now.text));
      const answer = await choose('Changed on disk', [
        el('p', {}, stamp ? `${error.message}. Nothing was written.` : `${name} exists already. Nothing was written.`), there],
      [['over', 'Overwrite file'], ...(now.text === null ? [] : [/** @type {[string, string]} */ (['disk', 'Use disk version'])]),
        ['other name', 'Save as…']]);
      if (answer === 'over') {
        known = now.stamp;
        continue;
      }
      if (answer === 'disk' && now.text !== null) return { done: 'disk', text: now.text, stamp: now.stamp };
      return { done: answer === 'other name' ? 'other name' : 'no' };
    }
  }
}
