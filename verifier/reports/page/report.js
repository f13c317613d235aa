// What the report can do beyond being read: histories are played, verdicts filtered. All of it is
// there without this, one thing below the other.
'use strict';

/** @param {string} name @param {string} words @param {() => void} [does] */
function button(name, words, does) {
  const made = document.createElement('button');
  made.type = 'button';
  made.textContent = name;
  made.title = words;
  made.setAttribute('aria-label', words);
  if (does) made.addEventListener('click', does);
  return made;
}

/** A strip of frames, one shown at a time. @param {HTMLElement} strip */
function play(strip) {
  const frames = /** @type {HTMLElement[]} */ ([...strip.querySelectorAll('.frame')]);
  if (frames.length < 2) return;
  let at = frames.length - 1;
  let timer = 0;
  const said = document.createElement('span');
  said.setAttribute('role', 'status');
  const stop = () => { clearInterval(timer); timer = 0; run.textContent = 'Play'; };
  /** @param {number} to */
  const show = (to) => {
    at = Math.min(Math.max(0, to), frames.length - 1);
    frames.forEach((frame, i) => { frame.hidden = i !== at; });
    said.textContent = `picture ${at + 1} of ${frames.length}`;
    before.disabled = at === 0;
    next.disabled = at === frames.length - 1;
  };
  const before = button('◀', 'the picture before', () => { stop(); show(at - 1); });
  const next = button('▶', 'the next picture', () => { stop(); show(at + 1); });
  const run = button('Play', 'play the history from its beginning', () => {
    if (timer) return stop();
    show(0);
    run.textContent = 'Stop';
    timer = setInterval(() => { show(at + 1); if (at === frames.length - 1) stop(); }, 1600);
  });
  const all = button('All side by side', 'show all pictures, or one at a time', () => {
    stop();
    const one = strip.classList.toggle('played');
    all.textContent = one ? 'All side by side' : 'One at a time';
    if (one) show(at);
    else frames.forEach((frame) => { frame.hidden = false; });
  });
  const player = document.createElement('div');
  player.className = 'player';
  player.append(before, next, run, all, said);
  player.addEventListener('keydown', (event) => {
    const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (step) { event.preventDefault(); stop(); show(at + step); }
  });
  strip.before(player);
  strip.classList.add('played');
  show(at);
}

/** Findings and properties that hold a word. */
function filter() {
  const things = /** @type {HTMLElement[]} */ ([...document.querySelectorAll('[data-words]')]);
  const first = document.querySelector('main');
  if (things.length < 6 || !first) return;
  const label = document.createElement('label');
  label.className = 'filter';
  label.textContent = 'Show only entries with ';
  const field = document.createElement('input');
  field.type = 'search';
  const said = document.createElement('span');
  said.setAttribute('role', 'status');
  field.addEventListener('input', () => {
    const word = field.value.trim().toLowerCase();
    let shown = 0;
    for (const thing of things) {
      const fits = (thing.dataset.words ?? '').toLowerCase().includes(word);
      thing.hidden = !fits;
      shown += Number(fits);
    }
    said.textContent = word ? ` ${shown} of ${things.length}` : '';
  });
  label.append(field, said);
  first.prepend(label);
}

// Of findings what is folded is printed as well; of all else only what was opened.
let opened = [];
addEventListener('beforeprint', () => {
  opened = [...document.querySelectorAll('.finding details:not([open], .of-note)')];
  for (const one of opened) one.setAttribute('open', '');
});
addEventListener('afterprint', () => { for (const one of opened) one.removeAttribute('open'); });

for (const strip of document.querySelectorAll('.strip')) play(/** @type {HTMLElement} */ (strip));
filter();

/** Open what folds around the place that a link leads to. */
function unfold() {
  const place = document.getElementById(decodeURIComponent(location.hash.slice(1)));
  for (let at = place; at; at = at.parentElement) {
    if (at instanceof HTMLDetailsElement) at.open = true;
  }
  if (place) place.scrollIntoView();
}
addEventListener('hashchange', unfold);
unfold();

/** Each sheet may be opened to be read and printed; all of them at once, too. */
for (const part of document.querySelectorAll('.part.sheets, .part.text')) {
  const folds = /** @type {HTMLDetailsElement[]} */ ([...part.querySelectorAll('details')]);
  const all = button('Open to print', 'open all of this part, so that it is printed too; or fold it', () => {
    const open = folds.some((fold) => !fold.open);
    for (const fold of folds) fold.open = open;
  });
  all.className = 'unfold';
  part.querySelector('h2, h3')?.after(all);
}
