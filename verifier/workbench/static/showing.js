// The finding shown: its sentence, its repairs, and its history to step through.
import { $, button, el, lineLink, say } from './dom.js';
import { because } from './verdicts.js';

/** @typedef {{over_time: boolean, lossy: boolean, facts: string[][]}} Play */

/** The verdict shown, and the moment of its history. @type {{verdict: any, frame: number} | null} */
let shown = null;
/** @type {{load: (play: Play, how: any) => void, leave: () => void, mend: (edit: any) => void, repairs: () => Promise<any[] | null>, go: (place: any) => void}} */
let told;

/** @param {typeof told} how */
export function startShowing(how) {
  told = how;
  $('showing').addEventListener('keydown', (event) => {
    const history = historyOf(shown?.verdict);
    if (!history || !shown) return;
    const to = { ArrowRight: shown.frame + 1, ArrowDown: shown.frame + 1, ArrowLeft: shown.frame - 1,
      ArrowUp: shown.frame - 1, Home: 0, End: history.moments.length - 1 }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    step(to);
  });
}

export const isShown = () => shown !== null;
export const shownKey = () => shown?.verdict.key ?? '';

/** @param {any} verdict */
const historyOf = (verdict) => verdict?.finding?.history ?? verdict?.history ?? null;

/** Load a verdict into the play area. @param {any} verdict */
export function show(verdict) {
  const history = historyOf(verdict);
  // A history is first shown at its end, where the hazard is.
  shown = { verdict, frame: history ? history.moments.length - 1 : 0 };
  build();
  load();
  $('showing').scrollIntoView({ block: matchMedia('(min-width: 60rem)').matches ? 'start' : 'nearest' });
  say(verdict.sentence);
}

/** Close the finding: the text was changed, or the user went back. */
export function leave() {
  shown = null;
  $('showing').hidden = true;
  $('showing').replaceChildren();
}

/** Load the state of the finding. */
export function load() {
  if (!shown) return;
  const { verdict, frame } = shown;
  const { finding } = verdict;
  const history = historyOf(verdict);
  const around = finding?.around ?? [];
  if (history) {
    const at = (/** @type {number} */ k) => ({ over_time: true, lossy: history.lossy, facts: history.moments[k] });
    told.load(at(frame), { around, before: frame > 0 ? at(frame - 1) : null });
  } else if (finding) {
    told.load({ over_time: false, lossy: false, facts: finding.facts }, { around, relevant: finding.relevant });
  } else if (verdict.witness) {
    told.load({ over_time: false, lossy: false, facts: verdict.witness }, {});
  }
}

/** Whether the hazard is still there after a change. @param {any} look @param {boolean} changed */
export function judge(look, changed) {
  const box = document.getElementById('still');
  if (!box || !shown) return;
  const { verdict } = shown;
  const faulty = verdict.finding?.facts.some((/** @type {string[]} */ f) => f[0] === 'fault');
  const there = look.hazards.some((/** @type {any} */ h) => h.key === verdict.key || faulty);
  const again = document.getElementById('do-restore');
  if (again) again.hidden = !changed;
  if (!changed) box.textContent = '';
  else if (verdict.status !== 'broken') box.textContent = 'Changed.';
  else box.textContent = there ? 'Changed: STILL UNSAFE.' : 'Changed: no longer unsafe here.';
}

// ---------------------------------------------------------------- the strip

function build() {
  if (!shown) return;
  const { verdict } = shown;
  const { finding } = verdict;
  const history = historyOf(verdict);
  const box = $('showing');
  box.hidden = false;
  box.dataset.kind = verdict.status === 'broken' ? 'finding' : 'witness';
  box.replaceChildren(
    el('div', { class: 'row' },
      el('strong', {}, `${verdict.word} ${verdict.property}: ${verdict.subjects.join(', ')}`),
      el('strong', { id: 'still', role: 'status' }),
      button('Restore finding', load, { id: 'do-restore', hidden: true }),
      button('Close finding', () => told.leave(), { id: 'do-leave' })),
    el('p', {}, verdict.sentence),
  );
  if (finding && !history) box.append(el('p', { class: 'quiet' }, `In this situation: ${finding.situation}`));
  if (history) box.append(...historyControls(history));
  if (finding?.causes.length) box.append(because(finding));
  box.append(el('div', { id: 'mending' }));
  buildMending();
}

function buildMending() {
  if (!shown) return;
  const { remedies, finding } = shown.verdict;
  const made = (remedies ?? []).map(remedyLine);
  if (finding?.edits.length) {
    made.push(el('div', { class: 'row' }, ...finding.edits.map((/** @type {any} */ edit) =>
      button(edit.label, () => told.mend(edit), { class: 'mend' }))));
  }
  if (shown.verdict.status === 'broken' && !shown.verdict.advice) {
    made.push(el('div', { class: 'row' }, button('Look for repairs', lookForRepairs, { id: 'do-repairs' })));
  }
  $('mending').replaceChildren(...made);
}

/** Repairs of the whole text, each proved; one click makes one. */
async function lookForRepairs() {
  const key = shownKey();
  const box = el('p', { class: 'quiet', role: 'status' }, 'Looking for repairs: each is proved before it is shown.');
  $('do-repairs').replaceWith(box);
  const found = await told.repairs();
  if (shownKey() !== key || !box.isConnected) return;
  if (!found) {
    box.textContent = 'The search was stopped.';
    return;
  }
  const mine = found.filter((/** @type {any} */ repair) => repair.mends.includes(key));
  box.replaceWith(...(mine.length ? mine.map((/** @type {any} */ repair) => el('div', { class: 'row repair' },
    button('Make this repair', () => told.mend(repair), { class: 'mend' }),
    `${repair.sentence} (${repair.mends_all ? 'proved: nothing stays broken' : 'proved; something else stays broken'})`))
    : [el('p', {}, 'No repair was found that leaves all else as it is.')]));
}

/** The mendings have followed. @param {Map<string, any>} verdicts */
export function addMendings(verdicts) {
  const verdict = verdicts.get(shownKey());
  if (!shown || !verdict) return;
  shown = { ...shown, verdict };
  buildMending();
}

/** @param {any} remedy */
function remedyLine(remedy) {
  const steps = remedy.steps.map((/** @type {any} */ step) =>
    el('li', {}, step.text, ' ', lineLink(step.place, told.go)));
  return el('div', {}, el('p', {}, remedy.lead), steps.length ? el('ul', {}, ...steps) : null);
}

/** @param {any} history */
function historyControls(history) {
  const last = history.moments.length - 1;
  const control = (/** @type {string} */ id, /** @type {string} */ label, /** @type {string} */ words, /** @type {() => number} */ to) =>
    button(label, () => step(to()), { id, 'aria-label': words, title: words });
  const slider = /** @type {HTMLInputElement} */ (el('input', { type: 'range', id: 'moment-slider', min: '0', max: String(last), step: '1', 'aria-label': 'Moment' }));
  slider.addEventListener('input', () => step(Number(slider.value)));
  slider.value = String(shown?.frame ?? 0);
  const events = el('ol', { id: 'events' }, ...history.events.map((/** @type {any} */ event) =>
    el('li', { 'data-moment': String(event.moment) },
      button(event.text, () => step(event.moment), { class: 'link event' }),
      ...(event.place ? [' ', lineLink(event.place, told.go, 'link quiet')] : []))));
  queueMicrotask(mark);
  return [
    el('div', { class: 'row', role: 'group', 'aria-label': 'History: the arrow keys step through it' },
      control('to-first', '|◀', 'To the beginning (Home)', () => 0),
      control('to-before', '◀', 'Previous moment (left arrow)', () => (shown?.frame ?? 0) - 1),
      control('to-next', '▶', 'Next moment (right arrow)', () => (shown?.frame ?? 0) + 1),
      control('to-last', '▶|', 'To the end (End)', () => last),
      slider, el('span', { id: 'moment-words' })),
    events,
  ];
}

/** @param {number} to */
function step(to) {
  const history = historyOf(shown?.verdict);
  if (!shown || !history) return;
  shown.frame = Math.min(Math.max(0, to), history.moments.length - 1);
  mark();
  load();
}

/** The events of this moment are marked, those to come are pale. */
function mark() {
  const history = historyOf(shown?.verdict);
  if (!shown || !history) return;
  const { frame } = shown;
  const last = history.moments.length - 1;
  const words = `moment ${frame + 1} of ${last + 1}`;
  const here = [];
  /** @type {HTMLElement | null} */
  let first = null;
  for (const line of /** @type {NodeListOf<HTMLElement>} */ ($('events').querySelectorAll('li'))) {
    const moment = Number(line.dataset.moment);
    line.setAttribute('aria-current', String(moment === frame));
    line.classList.toggle('later', moment > frame);
    if (moment === frame) {
      here.push(line.firstChild?.textContent ?? '');
      first ??= line;
    }
  }
  if (first) $('events').scrollTop = /** @type {HTMLElement} */ (first).offsetTop - 20;
  $('moment-words').textContent = words;
  /** @type {HTMLInputElement} */ ($('moment-slider')).value = String(frame);
  /** @type {HTMLButtonElement} */ ($('to-before')).disabled = frame === 0;
  /** @type {HTMLButtonElement} */ ($('to-next')).disabled = frame === last;
  say(`${words}. ${here.join('. ')}`);
}
