// Requests to the server: the key, questions and answers, the lines of a proof, and what to do if
// the server is gone.
import { banner, button, dropBanner } from './dom.js';

const KEY = 'clearproof:key';

/** The server cannot be reached, or was started again. */
export class Lost extends Error {}

/** The server refused a request; the message is for the user. */
export class Refused extends Error {}

/** Another program has written the file. */
export class Changed extends Error {
  /** @param {{changed: string, text: string | null, stamp: string}} now */
  constructor(now) {
    super(now.changed);
    this.now = now;
  }
}

let lost = false;
/** @type {() => void} */
let whenBack = () => {};

/** Take the key out of the address, where nobody need see it, and keep it for this address.
 * @param {() => void} back called when a lost server is there again */
export function takeKey(back) {
  whenBack = back;
  const given = location.hash.slice(1);
  if (/^[\w-]{20,}$/.test(given)) {
    localStorage.setItem(KEY, given);
    history.replaceState(null, '', location.pathname);
  }
  // Another tab was opened with the key of a new start: it is ours too.
  addEventListener('storage', (event) => {
    if (event.key === KEY && lost) tryAgain();
  });
}

export const hasKey = () => localStorage.getItem(KEY) !== null;

/** @param {string} path @param {object} [body] @param {AbortSignal} [signal] */
const post = (path, body = {}, signal = undefined) => fetch(`/api/${path}`, {
  method: 'POST', cache: 'no-store', referrerPolicy: 'no-referrer', signal,
  headers: { 'content-type': 'application/json', 'x-clearproof-key': localStorage.getItem(KEY) ?? '' },
  body: JSON.stringify(body),
});

/** @param {string} path @param {object} body @param {AbortSignal} [signal] */
async function send(path, body, signal) {
  let answer;
  try {
    answer = await post(path, body, signal);
  } catch (error) {
    if (signal?.aborted) throw error;
    noteLost();
    throw new Lost('the server cannot be reached');
  }
  if (answer.status === 401) {
    noteLost();
    throw new Lost('the server was started again');
  }
  return answer;
}

/** Ask a question. @param {string} path @param {object} body @param {AbortSignal} [signal] */
export async function ask(path, body = {}, signal) {
  const answer = await send(path, body, signal);
  const said = await answer.json();
  if (answer.status === 409) throw new Changed(said);
  if (said.refused) throw new Refused(said.refused);
  if (said.bug) {
    banner('bug', `This is a bug in clearproof, not in your text: ${said.bug}`, 'bad',
      button('OK', () => dropBanner('bug')));
    throw new Refused(said.bug);
  }
  return said;
}

/** What the last line has. */
const LAST = ['report', 'errors', 'undecided', 'bug', 'draft', 'undrafted', 'repairs', 'promises', 'card', 'diagnosis'];

/** Have a text proved. Calls `line` with all that is said of it.
 * @param {object} body @param {AbortSignal} signal @param {(line: any) => void} line */
export const prove = (body, signal, line) => lines('prove', body, signal, line);

/** Have what a text lacks drafted, likewise.
 * @param {object} body @param {AbortSignal} signal @param {(line: any) => void} line */
export const draft = (body, signal, line) => lines('draft', body, signal, line);

/** @param {string} path @param {object} body @param {AbortSignal} signal @param {(line: any) => void} line */
async function lines(path, body, signal, line) {
  const answer = await send(path, body, signal);
  if (!answer.ok || !answer.body) {
    const said = await answer.json();
    throw new Refused(said.refused ?? 'it cannot be proved');
  }
  const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
  let rest = '';
  let ended = false;
  for (;;) {
    let part;
    try {
      part = await reader.read();
    } catch (error) {
      if (signal.aborted) throw error;
      break;
    }
    if (part.done) break;
    const lines = (rest + part.value).split('\n');
    rest = lines.pop() ?? '';
    for (const one of lines) {
      const said = JSON.parse(one);
      ended = ended || LAST.some((word) => word in said);
      line(said);
    }
  }
  // A proof that was cut off proves nothing.
  if (!ended && !signal.aborted) line({ undecided: 'the server went away before it was done' });
}

// ---------------------------------------------------------------- when it is gone

function noteLost() {
  if (lost) return;
  lost = true;
  banner('lost', 'The page has lost its server. Your text is kept here in the browser. Start '
    + '`clearproof` again in the terminal: this page goes on by itself as soon as the server is '
    + 'back; or open the address that the terminal shows, and take up your text there.', 'bad');
  document.documentElement.dataset.server = 'lost';
  setTimeout(tryAgain, 700);
}

async function tryAgain() {
  if (!lost) return;
  try {
    const answer = await post('start');
    if (answer.ok) {
      lost = false;
      delete document.documentElement.dataset.server;
      dropBanner('lost');
      whenBack();
      return;
    }
    if (answer.status === 401) {
      banner('lost', 'The server was started again, and its key is new: open the address that the '
        + 'terminal shows. This tab then goes on by itself; your text is kept.', 'bad');
    }
  } catch { /* still gone */ }
  setTimeout(tryAgain, 700);
}

/** The server is being closed by our own button: do not look for it. */
export function endTalk() {
  lost = true;
}

/** Notice a server that has gone while nobody asks it anything. */
export function watch() {
  setInterval(async () => {
    if (lost || document.hidden) return;
    try {
      await fetch('/api/alive', { cache: 'no-store' });
    } catch {
      noteLost();
    }
  }, 2000);
}
