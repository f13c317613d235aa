// What is typed survives a reload, a lost server and a closed tab: it is kept in the browser, for
// each tab by itself. A tab that ended without saving leaves its draft for the next one to take up.

/** @typedef {{name: string, text: string, stamp: string, saved: string, when: number}} Draft
 * `saved` is the text as it is on disk; `stamp` is the server's mark of it. */

const TAB = 'clearproof:tab';
const PREFIX = 'clearproof:draft:';

/** @type {string} */
let tab = '';

/** Find out which tab this is. One that was duplicated gets a name of its own. */
export async function beTab() {
  tab = sessionStorage.getItem(TAB) ?? '';
  if (!tab || !(await hold(tab))) {
    tab = crypto.randomUUID();
    sessionStorage.setItem(TAB, tab);
    await hold(tab);
  }
  return tab;
}

/** Hold the lock of a tab as long as it is open; false where another one does.
 * @param {string} name @returns {Promise<boolean>} */
function hold(name) {
  return new Promise((told) => {
    navigator.locks.request(PREFIX + name, { ifAvailable: true }, (lock) => {
      told(lock !== null);
      return lock === null ? undefined : new Promise(() => {});
    });
  });
}

/** @returns {Draft | null} */
export const ownDraft = () => read(PREFIX + tab);

/** @param {Omit<Draft, 'when'>} draft @returns {boolean} false where the browser has no room */
export function keepDraft(draft) {
  try {
    localStorage.setItem(PREFIX + tab, JSON.stringify({ ...draft, when: Date.now() }));
    return true;
  } catch {
    return false;
  }
}

/** Unsaved drafts of tabs that are no longer open. @returns {Promise<{id: string, draft: Draft}[]>} */
export async function leftBehind() {
  const { held = [] } = await navigator.locks.query();
  const open = new Set(held.map((lock) => lock.name));
  const found = [];
  for (const id of Object.keys(localStorage)) {
    if (!id.startsWith(PREFIX) || open.has(id)) continue;
    const draft = read(id);
    if (draft && draft.text !== draft.saved) found.push({ id, draft });
    else localStorage.removeItem(id);
  }
  return found.sort((a, b) => b.draft.when - a.draft.when);
}

/** @param {string} id */
export const dropDraft = (id) => localStorage.removeItem(id);

/** @param {string} id @returns {Draft | null} */
function read(id) {
  try {
    const draft = JSON.parse(localStorage.getItem(id) ?? 'null');
    return draft && typeof draft.text === 'string' ? draft : null;
  } catch {
    return null;
  }
}
