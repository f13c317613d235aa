// The test card of a text, filled in: a tick where all is as it must be, or what was seen. It is
// saved beside the junction file, as `clearproof diagnose --results` reads it too.
import { $, button, el } from './dom.js';
import { choose } from './files.js';
import { Changed, Lost, Refused, ask, prove } from './server.js';

/** What was filled in but not saved, by the title of its card. @type {Map<string, string[]>} */
const kept = new Map();

/** @param {{name: string, text: string, tab: string}} about */
export async function openCard(about) {
  const far = el('p', { role: 'status' }, 'Working out the steps…');
  const inside = el('div', { id: 'card' }, far);
  const stop = new AbortController();
  const closed = choose('Test card', [inside], []).then(() => stop.abort());
  try {
    const file = about.name ? await ask('card-file', { name: about.name }) : { name: '', text: '', stamp: '' };
    await prove({ ...about, card: true, filled: file.text }, stop.signal, (line) => {
      if (line.card) inside.replaceChildren(...filling(about, line.card, file, stop.signal));
      else if (line.of) far.textContent = `Working out the steps: ${line.done} of ${line.of}…`;
      else if (!('done' in line)) far.textContent = line.why ?? why(line);
    });
  } catch (error) {
    if (!stop.signal.aborted) far.textContent = error instanceof Lost ? 'The server is gone.' : String(error);
  }
  await closed;
}

/** Why there is no card, or no diagnosis. @param {any} line */
const why = (line) => (line.errors ? 'The text has errors: put them right first.'
  : line.undecided ? `Not worked out: ${line.undecided}.`
  : `A bug in clearproof, not in your text: ${line.bug}`);

/** @param {{name: string, text: string, tab: string}} about @param {any} card @param {any} file
 * @param {AbortSignal} signal @returns {Node[]} */
function filling(about, card, file, signal) {
  const seen = kept.get(card.title) ?? card.rows.map((/** @type {string[]} */ row) => row[5]);
  const rows = card.rows.map((/** @type {string[]} */ row, /** @type {number} */ at) => entry(row, at));
  const said = el('span', { role: 'status', id: 'card-said' }, other());
  const found = el('pre', { id: 'card-found', tabindex: '0', hidden: true });
  let stamp = file.stamp;

  function other() {
    if (card.other) return `${file.name} is of an earlier card: saving this one replaces it.`;
    return kept.has(card.title) ? 'What you filled in is not saved yet.' : '';
  }

  /** @param {string[]} row @param {number} at */
  function entry(row, at) {
    const tick = /** @type {HTMLInputElement} */ (el('input', { type: 'checkbox', 'aria-label': `Step ${row[0]}, ${row[2]}: as it must be` }));
    const field = /** @type {HTMLInputElement} */ (el('input', { type: 'text', 'aria-label': `Step ${row[0]}, ${row[2]}: what was seen`, autocomplete: 'off', spellcheck: 'false' }));
    const shown = () => {
      tick.checked = seen[at] === 'ok';
      field.value = tick.checked ? '' : seen[at];
    };
    const write = (/** @type {string} */ words) => {
      seen[at] = words;
      kept.set(card.title, seen);
      said.textContent = 'What you filled in is not saved yet.';
      shown();
    };
    tick.addEventListener('change', () => write(tick.checked ? 'ok' : ''));
    field.addEventListener('change', () => write(field.value.trim()));
    shown();
    const must = row[4] === '-' ? row[3] : `${row[3]} (${row[4]})`;
    return el('tr', { 'data-row': String(at) }, el('td', {}, row[2]), el('td', {}, must),
      el('td', { class: 'tick' }, tick), el('td', { class: 'seen' }, field));
  }

  const filled = () => card.rows.map((/** @type {string[]} */ row, /** @type {number} */ at) => [...row.slice(0, 5), seen[at]]);

  async function save() {
    if (!about.name) {
      said.textContent = 'Save the junction first: the card is saved beside it.';
      return;
    }
    try {
      const saved = await ask('card-save', { name: about.name, title: card.title, rows: filled(), stamp });
      stamp = saved.stamp;
      kept.delete(card.title);
      said.textContent = `Saved as ${saved.name}.`;
    } catch (error) {
      if (error instanceof Changed) {
        // Nothing was written; who presses again has been told.
        stamp = error.now.stamp;
        said.textContent = `${error.message}. Nothing was written: save again to replace it.`;
      } else if (error instanceof Refused || error instanceof Lost) said.textContent = `Not saved: ${error.message}.`;
      else throw error;
    }
  }

  async function diagnose() {
    for (const row of rows) row.classList.remove('wrong');
    for (const old of document.querySelectorAll('#card .why')) old.remove();
    show('', 'Looking for what explains it…');
    try {
      await prove({ ...about, card: true, title: card.title, rows: filled() }, signal, (line) => {
        if (line.wrong) wrong(line.wrong);
        else if (line.diagnosis) show(line.verdict === 'nothing wrong' ? 'good' : 'bad', line.diagnosis.join('\n'));
        else if (!('done' in line)) show('bad', why(line));
      });
    } catch (error) {
      if (!signal.aborted) show('bad', error instanceof Lost ? 'The server is gone.' : String(error));
    }
  }

  /** @param {string} state @param {string} words */
  function show(state, words) {
    found.hidden = false;
    found.dataset.state = state;
    found.textContent = words;
    found.scrollIntoView({ block: 'nearest' });
  }

  /** @param {{row: number, message: string, hint: string}[]} cells */
  function wrong(cells) {
    show('bad', cells.every(({ row }) => row < 0) ? cells.map(({ message, hint }) => `${message}. ${hint}`).join('\n')
      : 'Some of what was written cannot be read: see the rows marked above.');
    for (const { row, message, hint } of cells.filter((cell) => cell.row >= 0)) {
      rows[row].classList.add('wrong');
      rows[row].querySelector('.seen')?.append(el('p', { class: 'why' }, `${message}. ${hint}`));
    }
    $('dialog').querySelector('tr.wrong')?.scrollIntoView({ block: 'center' });
  }

  const body = [];
  card.rows.forEach((/** @type {string[]} */ row, /** @type {number} */ at) => {
    if (row[1]) body.push(el('tr', { class: 'do' }, el('td', { colspan: '4' }, `${row[0]}. ${row[1]}`)));
    body.push(rows[at]);
  });
  const heads = ['Look at', 'Must show', 'As it must', 'Or what was seen'];
  return [
    el('details', {}, el('summary', {}, `${card.title}: how to go about it`), ...card.notes.map((/** @type {string} */ one) => el('p', {}, one))),
    el('table', {}, el('thead', {}, el('tr', {}, ...heads.map((head) => el('th', { scope: 'col' }, head)))), el('tbody', {}, ...body)),
    found,
    el('div', { class: 'tools' }, button('Save', save, { id: 'card-save' }),
      button('What is wrong?', diagnose, { id: 'card-diagnose' }), said),
  ];
}
