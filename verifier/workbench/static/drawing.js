// The drawing, inserted as parsed SVG; everything in it is reachable by pointer and keyboard.
import { $ } from './dom.js';

/** @typedef {{kind: string, name: string}} Thing */

const holder = $('drawing');
const SVG = 'http://www.w3.org/2000/svg';
const ACTIVE = ['block', 'points', 'derail', 'gate', 'signal', 'gap', 'feeder', 'detector'];
/** The style sheet of drawings; the security policy allows none in markup. */
const sheet = new CSSStyleSheet();
document.adoptedStyleSheets = [sheet];
let style = '';
/** The thing that the keyboard goes to when it enters the drawing. */
let current = '';

/**
 * @param {{
 *   act: (thing: Thing) => void, point: (thing: Thing | null, at: Element | null) => void,
 *   pick: (thing: Thing) => void, move: (from: string | null, to: string | null) => void,
 * }} told
 */
export function startDrawing(told) {
  holder.addEventListener('click', (event) => {
    const thing = thingAt(event.target);
    if (thing && !dragged) {
      current = idOf(event.target);
      told.pick(thing);
      told.act(thing);
    }
  });
  holder.addEventListener('keydown', (event) => {
    const thing = thingAt(event.target);
    if (!thing) return;
    if (event.key === 'Enter' || event.key === ' ') {
      event.preventDefault();
      told.pick(thing);
      told.act(thing);
    } else if (event.key.startsWith('Arrow')) {
      event.preventDefault();
      step(/** @type {SVGGElement} */ (document.activeElement), event.key);
    }
  });
  for (const [on, off] of [['focusin', 'focusout'], ['pointerover', 'pointerout']]) {
    holder.addEventListener(on, (event) => {
      const thing = thingAt(event.target);
      if (thing && !dragged) told.point(thing, groupAt(event.target));
    });
    holder.addEventListener(off, () => told.point(null, null));
  }
  holder.addEventListener('focusin', (event) => {
    const group = groupAt(event.target);
    if (group) {
      makeCurrent(group);
      const thing = thingAt(group);
      if (thing) told.pick(thing);
    }
  });
  startDragging(told);
}

/** @param {{svg: string, style: string, width: number}} picture
 * @param {Map<string, string>} labels what each thing is, by `kind name` */
export function draw(picture, labels) {
  if (picture.style !== style) {
    style = picture.style;
    sheet.replaceSync(style);
  }
  const root = parse(picture.svg);
  if (!root) return;
  const held = holder.contains(document.activeElement) ? document.activeElement?.id : '';
  holder.replaceChildren(root);
  const drawn = /** @type {SVGSVGElement} */ (holder.firstElementChild);
  drawn.setAttribute('role', 'presentation');
  // As large as there is room for, within reason; what would be too small to read is scrolled.
  drawn.style.maxWidth = `${picture.width * 1.5}px`;
  drawn.style.minWidth = `${picture.width * 0.7}px`;
  for (const group of things()) prepare(group, labels);
  const again = (held && document.getElementById(held)) || document.getElementById(current);
  makeCurrent(again instanceof SVGGElement && holder.contains(again) ? again : things()[0]);
  if (held && again instanceof SVGGElement) again.focus({ preventScroll: true });
}

/** A drawing as an element, with nothing in it that could act. @param {string} svg */
export function parse(svg) {
  const parsed = new DOMParser().parseFromString(svg, 'image/svg+xml');
  const root = parsed.documentElement;
  if (root.localName !== 'svg' || parsed.querySelector('parsererror')) return null;
  clean(root);
  return document.importNode(root, true);
}

export function eraseDrawing() {
  holder.replaceChildren();
}

/** @param {Thing[]} marked things to ring */
export function ring(marked) {
  for (const group of things()) {
    group.classList.toggle('picked', marked.some((m) =>
      m.kind === group.dataset.kind && m.name === group.dataset.name));
  }
}

/** Remove everything that could run or load something, although the drawing is our own server's.
 * @param {Element} root */
function clean(root) {
  for (const element of [root, ...root.querySelectorAll('*')]) {
    if (['script', 'style', 'foreignObject', 'iframe', 'image', 'a', 'use'].includes(element.localName)) {
      element.remove();
    } else {
      for (const { name } of [...element.attributes]) {
        if (name.startsWith('on') || name.endsWith('href')) element.removeAttribute(name);
      }
    }
  }
}

/** Make a thing reachable: a place to hit, a ring, a name. @param {SVGGElement} group
 * @param {Map<string, string>} labels */
function prepare(group, labels) {
  const { kind = '', name = '' } = group.dataset;
  const label = labels.get(`${kind} ${name}`) ?? group.querySelector('title')?.textContent ?? name;
  group.setAttribute('role', 'button');
  group.setAttribute('aria-label', label);
  group.setAttribute('tabindex', '-1');
  group.dataset.act = kind;
  const box = group.getBBox();
  if (!box.width && !box.height) return;
  const ring = document.createElementNS(SVG, 'rect');
  const space = 4;
  const shape = { x: box.x - space, y: box.y - space, width: box.width + 2 * space, height: box.height + 2 * space, rx: 3, class: 'ring' };
  for (const [name, value] of Object.entries(shape)) ring.setAttribute(name, String(value));
  if (kind !== 'block') {
    const hit = /** @type {SVGElement} */ (ring.cloneNode(false));
    hit.setAttribute('class', 'hitbox');
    group.prepend(hit);
  }
  group.append(ring);
}

/** @returns {SVGGElement[]} */
const things = () => /** @type {SVGGElement[]} */ ([...holder.querySelectorAll('g[data-kind]')]
  .filter((g) => ACTIVE.includes(/** @type {SVGGElement} */ (g).dataset.kind ?? '')));

/** @param {EventTarget | null} target @returns {SVGGElement | null} */
function groupAt(target) {
  if (!(target instanceof Element)) return null;
  // Stock belongs to the block it stands on.
  const stock = target.closest('g[data-kind="stock"]');
  const group = stock instanceof SVGGElement
    ? things().find((g) => g.dataset.kind === 'block' && g.dataset.name === stock.dataset.name)
    : target.closest('g[data-act]');
  return /** @type {SVGGElement | null} */ (group ?? null);
}

/** @param {EventTarget | null} target @returns {Thing | null} */
function thingAt(target) {
  const group = groupAt(target);
  return group ? { kind: group.dataset.kind ?? '', name: group.dataset.name ?? '' } : null;
}

/** @param {EventTarget | null} target */
const idOf = (target) => groupAt(target)?.id ?? '';

// ---------------------------------------------------------------- by keyboard

/** @param {SVGGElement | undefined} group */
function makeCurrent(group) {
  if (!group) return;
  for (const other of things()) other.setAttribute('tabindex', '-1');
  group.setAttribute('tabindex', '0');
  current = group.id;
}

/** Go to the nearest thing on that side. @param {SVGGElement} from @param {string} key */
function step(from, key) {
  const here = middle(from);
  const [dx, dy] = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[key] ?? [0, 0];
  let best = null;
  let least = Infinity;
  for (const group of things()) {
    if (group === from) continue;
    const there = middle(group);
    const along = (there.x - here.x) * dx + (there.y - here.y) * dy;
    const aside = Math.abs((there.x - here.x) * dy) + Math.abs((there.y - here.y) * dx);
    if (along > 1 && along + 2 * aside < least) {
      least = along + 2 * aside;
      best = group;
    }
  }
  best?.focus();
}

/** @param {SVGGElement} group */
function middle(group) {
  const box = group.getBoundingClientRect();
  return { x: box.x + box.width / 2, y: box.y + box.height / 2 };
}

// ---------------------------------------------------------------- by dragging

let dragged = false;

/** Stock is dragged from the tray or from a block, onto a block or off the plan.
 * @param {{move: (from: string | null, to: string | null) => void}} told */
function startDragging(told) {
  const tray = $('stock');
  tray.addEventListener('pointerdown', (event) => drag(event, null));
  holder.addEventListener('pointerdown', (event) => {
    const stock = event.target instanceof Element ? event.target.closest('g[data-kind="stock"]') : null;
    if (stock instanceof SVGGElement) drag(event, stock.dataset.name ?? null);
  });

  /** @param {PointerEvent} event @param {string | null} from */
  function drag(event, from) {
    if (event.button !== 0) return;
    event.preventDefault();
    const begun = { x: event.clientX, y: event.clientY };
    /** @type {HTMLElement | null} */
    let ghost = null;
    /** @type {SVGGElement | null} */
    let over = null;

    /** @param {PointerEvent} at */
    const go = (at) => {
      if (!ghost && Math.hypot(at.clientX - begun.x, at.clientY - begun.y) < 5) return;
      if (!ghost) {
        dragged = true;
        ghost = /** @type {HTMLElement} */ (tray.cloneNode(true));
        ghost.removeAttribute('id');
        ghost.classList.add('ghost');
        document.body.append(ghost);
      }
      ghost.style.left = `${at.clientX + 6}px`;
      ghost.style.top = `${at.clientY + 6}px`;
      const block = blockAt(at);
      if (block !== over) {
        over?.classList.remove('drop');
        block?.classList.add('drop');
        over = block;
      }
    };
    /** @param {PointerEvent} at */
    const end = (at) => {
      removeEventListener('pointermove', go);
      removeEventListener('pointerup', end);
      removeEventListener('pointercancel', end);
      ghost?.remove();
      over?.classList.remove('drop');
      const to = at.type === 'pointerup' ? blockAt(at)?.dataset.name ?? null : from;
      if (ghost && to !== from) told.move(from, to);
      setTimeout(() => { dragged = false; });
    };
    addEventListener('pointermove', go);
    addEventListener('pointerup', end);
    addEventListener('pointercancel', end);
  }
}

/** The block under the pointer: what lies above it, such as points or stock, stands on one too.
 * @param {PointerEvent} at @returns {SVGGElement | null} */
function blockAt(at) {
  for (const element of document.elementsFromPoint(at.clientX, at.clientY)) {
    const group = element.closest('g[data-kind="block"]');
    if (group instanceof SVGGElement && holder.contains(group)) return group;
  }
  return null;
}
