// Helpers that build the page. All that comes from the server or the user is inserted as text,
// never as markup.

/** @param {string} id @returns {HTMLElement} */
export const $ = (id) => /** @type {HTMLElement} */ (document.getElementById(id));

/**
 * An element with attributes and children; strings become text.
 * @param {string} tag
 * @param {Record<string, string | boolean | ((event: Event) => void)>} [attributes]
 * @param {(Node | string | null)[]} children
 */
export function el(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (typeof value === 'function') made.addEventListener(name, value);
    else if (value === true) made.setAttribute(name, '');
    else if (value !== false) made.setAttribute(name, value);
  }
  for (const child of children) if (child !== null) made.append(child);
  return made;
}

/** A button. @param {Node | string} label @param {() => unknown} click
 * @param {Record<string, string | boolean>} [attributes] @param {(Node | string)[]} more */
export const button = (label, click, attributes = {}, ...more) =>
  el('button', { type: 'button', ...attributes, click: () => click() }, label, ...more);

/** A link to a place in the text, which calls `go`.
 * @param {any} place @param {(place: any) => unknown} go @param {string} [look] */
export const lineLink = (place, go, look = 'link') => button(`line ${place.line}`, () => go(place), { class: look });

/** Replace the children of an element. The focus stays on the child with the same `data-key`.
 * @param {HTMLElement} where @param {(Node | string)[]} children */
export function refill(where, children) {
  const held = document.activeElement;
  const key = held && where.contains(held) ? held.getAttribute('data-key') : null;
  where.replaceChildren(...children);
  if (key) {
    const again = [...where.querySelectorAll('[data-key]')].find((e) => e.getAttribute('data-key') === key);
    if (again instanceof HTMLElement) again.focus({ preventScroll: true });
  }
}

/** Tell a screen reader something. @param {string} text */
export function say(text) {
  $('said').textContent = text;
}

/** @param {string} id @param {string} text @param {'bad' | 'unsure'} state @param {Node[]} more */
export function banner(id, text, state, ...more) {
  dropBanner(id);
  const made = el('div', { class: 'banner', role: 'alert', id, 'data-state': state }, el('span', {}, text), ...more);
  $('banners').append(made);
}

/** @param {string} id */
export function dropBanner(id) {
  document.getElementById(id)?.remove();
}

/** `3 errors`, `1 error`. @param {number} n @param {string} word */
export const count = (n, word) => `${n} ${word}${n === 1 ? '' : 's'}`;
