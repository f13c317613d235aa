// The verdicts: their summary, the progress of the proof, and the list of verdicts.
import { $, button, count, el, lineLink, refill } from './dom.js';
import { chain } from './panel.js';

/** @type {(verdict: any) => void} */
let choose = () => {};
/** @type {(place: any) => void} */
let go = () => {};

/** @type {() => Promise<any>} */
let promises = async () => null;

/** @param {{choose: typeof choose, go: typeof go, promises: typeof promises}} told */
export function startVerdicts(told) {
  ({ choose, go, promises } = told);
}

/** @param {'none' | 'busy' | 'good' | 'bad' | 'unsure'} state @param {string} words */
function stamp(state, words) {
  const made = $('stamp');
  made.dataset.state = state;
  made.textContent = words;
}

/** Show one of the buttons of the proof, or none. @param {string} [shown] */
function buttons(shown) {
  for (const id of ['do-stop', 'do-again']) $(id).hidden = id !== shown;
}

/** There is nothing to prove: the text is empty or has errors. @param {string} words */
export function noVerdicts(words) {
  stamp('none', words);
  $('progress').textContent = '';
  buttons();
  $('verdict-list').classList.add('stale');
}

/** Nothing is said any more: another file was opened, or the text is empty. */
export function clearVerdicts() {
  noVerdicts('nothing to prove yet');
  refill($('verdict-list'), []);
}

/** The proof of a changed text has begun; the list is still that of the previous text. */
export function proving() {
  stamp('busy', 'proving');
  buttons();
  $('verdict-list').classList.add('stale');
}

/** @param {{done: number, of: number, broken?: number, seconds?: number}} far */
export function far({ done, of, broken, seconds }) {
  const bad = broken ? `, ${broken} broken so far` : '';
  const so = of ? `${done} of ${of} decided${bad}` : 'loading';
  stamp('busy', of ? `proving: ${done} of ${of}` : 'proving');
  const old = $('verdict-list').childElementCount ? ' The verdicts below are for the previous text.' : '';
  $('progress').textContent = `${so}${seconds ? `, ${Math.round(seconds)} s` : ''}.${old}`;
  buttons('do-stop');
}

/** Nothing was decided. @param {string} why */
export function undecided(why) {
  stamp('unsure', 'UNDECIDED');
  $('progress').textContent = `Undecided: ${why}. Nothing is proved about this text.`;
  buttons('do-again');
  $('verdict-list').classList.remove('stale');
  refill($('verdict-list'), []);
}

/** @param {any} report @param {number} milliseconds since the pause in typing */
export function showReport(report, milliseconds) {
  buttons(report.stopped ? 'do-again' : undefined);
  const list = $('verdict-list');
  list.classList.remove('stale');
  stamp(report.style, report.stamp);
  const took = `${(milliseconds / 1000).toFixed(1)} s`;
  $('progress').textContent = `${sentence(report.beside_counts)} ${sentence(report.words)} ${report.stopped ? 'After' : 'Checked in'} ${took}.`;
  document.documentElement.dataset.verdictMs = String(Math.round(milliseconds));
  refill(list, entries(report));
}

/** @param {string} words */
const sentence = (words) => `${words.charAt(0).toUpperCase()}${words.slice(1)}.`;

/** The verdicts on safety; what must be possible and the mendings follow. @param {any} report
 * @param {number} milliseconds */
export function showSafety(report, milliseconds) {
  const decided = report.verdicts.filter((/** @type {any} */ v) => v.status !== 'undecided');
  const broken = decided.filter((/** @type {any} */ v) => v.fails).length;
  if (broken) stamp('bad', `${broken} BROKEN`);
  else stamp('busy', 'safe so far');
  $('progress').textContent = `Safety checked in ${(milliseconds / 1000).toFixed(1)} s: ${report.stopped}.`;
  document.documentElement.dataset.safetyMs = String(Math.round(milliseconds));
  $('verdict-list').classList.remove('stale');
  refill($('verdict-list'), entries({ ...report, verdicts: decided }));
}

/** @param {any} report */
function entries(report) {
  const found = report.verdicts.filter((/** @type {any} */ v) => v.status === 'broken' || v.status === 'undecided');
  found.sort((/** @type {any} */ a, /** @type {any} */ b) => rank(a) - rank(b));
  const safe = report.verdicts.filter((/** @type {any} */ v) => v.status === 'proved');
  const waived = report.verdicts.filter((/** @type {any} */ v) => v.status === 'waived');
  const made = [];
  if (report.nothing_clears) made.push(el('p', { class: 'verdict', 'data-state': 'bad' }, el('b', {}, report.nothing_clears)));
  for (const { text, place } of report.unmet) {
    made.push(el('p', { class: 'verdict', 'data-state': 'bad' }, el('b', {}, 'NOT AS EXPECTED '), `${text}, `, lineLink(place, go)));
  }
  const worst = found.filter((/** @type {any} */ v) => rank(v) < 3);
  const told = new Set(worst.map((/** @type {any} */ v) => v.key));
  for (const v of worst.filter((/** @type {any} */ v) => !told.has(v.follows_from))) {
    const others = worst.filter((/** @type {any} */ o) => o.follows_from === v.key);
    made.push(entry(v));
    if (others.length) made.push(fold(`The same mistake as ${v.property}: ${v.subjects.join(', ')} breaks ${others.length} more`, others.map(entry)));
  }
  const advice = found.filter((/** @type {any} */ v) => rank(v) === 3);
  if (advice.length) made.push(fold(`Notes: ${advice.length}`, advice.map(entry)));
  if (report.promises_to_make.length) {
    made.push(el('p', { class: 'verdict' }, `${report.promises_lead}:`));
    made.push(el('ul', {}, ...report.promises_to_make.map((/** @type {string} */ p) => el('li', {}, el('code', {}, p)))));
    made.push(el('div', { class: 'row' }, button('Why each of them', whyPromises, { id: 'do-promises' })));
  }
  if (report.failures.length) made.push(fold('What each failure does', [failures(report.failures)]));
  if (safe.length) made.push(fold(`Proved: ${safe.length}`, byProperty(safe)));
  if (waived.length) made.push(fold(`Waived: ${waived.length}`, waived.map(plain)));
  made.push(fold('Assumptions', [el('ul', {}, ...report.assumed.map((/** @type {string} */ a) => el('li', {}, a)))]));
  return made;
}

/** What happens where each promise is broken, and what equipment makes it unnecessary. */
async function whyPromises() {
  const box = el('p', { class: 'quiet', role: 'status' }, 'Working out what happens without each promise, and what replaces it.');
  $('do-promises').replaceWith(box);
  const found = await promises();
  if (!box.isConnected) return;
  if (!found) {
    box.textContent = 'The search was stopped.';
    return;
  }
  const told = [...found.promises.map(whyPromise), ...found.together.map((/** @type {string} */ line) => el('p', {}, line))];
  if (found.stopped) told.push(el('p', {}, `This is not complete: ${found.stopped}.`));
  box.replaceWith(el('div', { id: 'promises' }, ...told));
}

/** @param {any} needed */
function whyPromise(needed) {
  const inside = needed.trouble
    ? [el('p', {}, `Where it is broken (replayed): ${needed.trouble}`)]
    : [el('p', {}, 'It is not known whether it can be left out.')];
  if (needed.events.length) {
    inside.push(el('p', {}, `${needed.lead}:`), el('ol', {}, ...needed.events.map((/** @type {string} */ event) => el('li', {}, event))));
  }
  if (needed.instead) inside.push(el('p', {}, needed.instead));
  return fold(needed.promise, inside);
}

/** Broken first, then undecided, then what the file expects, then notes. @param {any} verdict */
function rank(verdict) {
  if (verdict.expected) return 2;
  if (verdict.status === 'broken') return verdict.fails ? 0 : 3;
  return 1;
}

/** @param {any} verdict */
function entry(verdict) {
  const state = verdict.fails ? 'bad' : verdict.expected ? 'good' : 'unsure';
  const mark = { bad: '✗', good: '✓', unsure: '?' }[state];
  return button(el('b', {}, `${mark} ${verdict.word} `), () => choose(verdict),
    { class: 'verdict', 'data-state': state, 'data-key': verdict.key },
    `${verdict.property}: ${verdict.subjects.join(', ')}`, el('span', { class: 'about' }, verdict.sentence));
}

/** @param {any} verdict */
function plain(verdict) {
  return el('p', {}, el('b', {}, verdict.property), `: ${verdict.subjects.join(', ')}. ${verdict.sentence}`);
}

/** @param {any[]} verdicts */
function byProperty(verdicts) {
  const properties = [...new Set(verdicts.map((v) => v.property))];
  return properties.map((property) => {
    const of = verdicts.filter((v) => v.property === property);
    return fold(`✓ ${of[0].title} (${property}: ${of.length})`, [el('ul', {}, ...of.map((v) => el('li', {},
      button(v.subjects.join(', ') || v.property, () => choose(v), { class: 'link', 'data-key': v.key }),
      ` ${v.sentence}`)))]);
  });
}

/** @param {any[]} rows */
function failures(rows) {
  return el('table', {}, el('thead', {}, el('tr', {}, el('th', {}, 'broken'), el('th', {}, 'worst effect'))),
    el('tbody', {}, ...rows.map((row) => el('tr', {}, el('td', {}, row.faults
      .map((/** @type {string} */ name) => row.silent.includes(name) ? `${name} (silent)` : name).join(' and ')),
      el('td', {}, ['false proceed', 'unlocked', 'false indication'].includes(row.consequence)
        ? `${row.consequence.toUpperCase()}: ${row.why}` : row.consequence)))));
}

/** @param {string} title @param {(Node | string)[]} inside */
function fold(title, inside) {
  return el('details', {}, el('summary', { 'data-key': `fold ${title}` }, title), ...inside);
}

/** The causes of a finding. @param {any} finding */
export const because = (finding) =>
  fold(`Why (${count(finding.causes.length, 'signal')})`, [chain(finding.causes)]);
