// The graph paper: what is drawn of track in the making. It is given the drawing as data and makes
// SVG of it; what is done with a hand is in draw.js.

/** @typedef {[string, string]} End a piece and the name of its end
 * @typedef {{name: string, title: string, kind: string, block: string, ends: Record<string, [number, number]>, own: boolean}} Piece
 * @typedef {{a: End, b: End, kind: string, gap: string}} Joint
 * @typedef {{name: string, near: End, enters: End, heads: number}} Signal
 * @typedef {{pieces: Piece[], joints: Joint[], signals: Signal[], open: {end: End, words: string}[], homeless: string[]}} Drawing
 * @typedef {{kind: 'end' | 'piece' | 'joint' | 'signal', id: string, x: number, y: number, words: string}} Item
 */

const SVG = 'http://www.w3.org/2000/svg';
/** Pixels of one square. */
export const SQUARE = 26;
const LEAST = { wide: 30, high: 11 };

export const key = (/** @type {End} */ end) => end.join(' ');

/** @param {Drawing} drawing @param {End} end @returns {[number, number]} */
export function spotOf(drawing, end) {
  return drawing.pieces.find((p) => p.name === end[0])?.ends[end[1]] ?? [0, 0];
}

/** @param {Piece} piece @returns {[number, number]} */
export function hubOf(piece) {
  const spots = Object.values(piece.ends);
  if (piece.kind === 'turnout') {
    return [(piece.ends.points[0] + piece.ends.normal[0]) / 2, piece.ends.points[1]];
  }
  const xs = spots.map((s) => s[0]);
  const ys = spots.map((s) => s[1]);
  return [(Math.min(...xs) + Math.max(...xs)) / 2, (Math.min(...ys) + Math.max(...ys)) / 2];
}

/** Where a joint is: halfway between its two ends. @param {Drawing} drawing @param {Joint} joint
 * @returns {[number, number]} */
export function jointSpot(drawing, joint) {
  const [a, b] = [spotOf(drawing, joint.a), spotOf(drawing, joint.b)];
  return [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
}

/** All that can be pointed at or moved to by keys. @param {Drawing} drawing @returns {Item[]} */
export function itemsOf(drawing) {
  /** @type {Item[]} */
  const items = drawing.open.map(({ end, words }) => {
    const [x, y] = spotOf(drawing, end);
    return { kind: 'end', id: key(end), x, y, words: `open end: ${words}` };
  });
  for (const piece of drawing.pieces) {
    const [x, y] = hubOf(piece);
    items.push({ kind: 'piece', id: piece.name, x, y, words: pieceWords(piece) });
  }
  for (const joint of drawing.joints) {
    const [x, y] = jointSpot(drawing, joint);
    const how = { '=': 'rail joined', '|': 'gap in one rail', '||': 'gap in both rails' }[joint.kind] ?? '';
    items.push({ kind: 'joint', id: key(joint.a), x, y, words: `${how} between ${joint.a[0]} and ${joint.b[0]}` });
  }
  for (const signal of drawing.signals) {
    const { at } = standing(drawing, signal);
    items.push({ kind: 'signal', id: signal.name, x: at[0], y: at[1], words: `signal ${signal.name}, into ${signal.enters[0]}` });
  }
  return items;
}

const KINDS = { plain: 'block', turnout: 'switch', crossing: 'crossing', slip: 'slip', edge: 'end of the plan', bumper: 'bumper' };

/** @param {Piece} piece */
export function pieceWords(piece) {
  const kind = KINDS[/** @type {keyof typeof KINDS} */ (piece.kind)] ?? piece.kind;
  return `${kind} ${piece.title}${piece.block && piece.kind !== 'plain' ? ` in block ${piece.block}` : ''}`;
}

// ---------------------------------------------------------------- drawing

/** @param {string} name @param {Record<string, string | number>} attributes @param {(Node | string)[]} inside */
function shape(name, attributes, ...inside) {
  const made = document.createElementNS(SVG, name);
  for (const [word, value] of Object.entries(attributes)) made.setAttribute(word, String(value));
  made.append(...inside);
  return made;
}

const px = (/** @type {number} */ squares) => Math.round(squares * SQUARE * 10) / 10;
const at = (/** @type {[number, number]} */ [x, y]) => `${px(x)} ${px(y)}`;

/** The drawing as one picture. @param {Drawing} drawing
 * @param {{picked: Set<string>, here: Item | null, marked: string}} how */
export function paint(drawing, how) {
  const every = drawing.pieces.flatMap((p) => Object.values(p.ends));
  const wide = Math.max(LEAST.wide, ...every.map((s) => s[0] + 6));
  const high = Math.max(LEAST.high, ...every.map((s) => s[1] + 3));
  const ground = shape('pattern', { id: 'squares', width: SQUARE, height: SQUARE, patternUnits: 'userSpaceOnUse' },
    shape('path', { d: `M0 0H${SQUARE}M0 0V${SQUARE}`, class: 'c-square' }));
  const svg = shape('svg', { width: px(wide), height: px(high), viewBox: `0 0 ${px(wide)} ${px(high)}`, class: 'c-plan', role: 'presentation' },
    shape('defs', {}, ground), shape('rect', { width: px(wide), height: px(high), fill: 'url(#squares)' }));
  const columns = new Map(drawing.pieces.map((p) => [p.name, hubOf(p)[0]]));
  const partners = new Map(drawing.joints.flatMap((j) => [[key(j.a), j.b], [key(j.b), j.a]]));
  for (const joint of drawing.joints) svg.append(jointShape(drawing, joint));
  for (const piece of drawing.pieces) svg.append(pieceShape(piece, partners, columns, how.picked.has(piece.name)));
  for (const { end } of drawing.open) {
    const [x, y] = spotOf(drawing, end);
    svg.append(shape('g', { class: `c-end${key(end) === how.marked ? ' c-marked' : ''}`, 'data-end': key(end) },
      shape('circle', { cx: px(x), cy: px(y), r: 13, class: 'c-hit' }),
      shape('circle', { cx: px(x), cy: px(y), r: 5, class: 'c-open' })));
  }
  for (const signal of drawing.signals) svg.append(signalShape(drawing, signal, how.picked.has(`signal ${signal.name}`)));
  if (how.here) {
    svg.append(shape('circle', { cx: px(how.here.x), cy: px(how.here.y), r: 15, class: 'c-here' }));
  }
  return svg;
}

/** The rail of plain track between two spots: level, and slantwise where it changes its row. It is
 * level where it leaves a straight end. @param {[number, number]} a @param {[number, number]} b
 * @param {boolean} slantFirst */
function rail(a, b, slantFirst) {
  const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
  const part = Math.min(Math.abs(dy), Math.abs(dx)) * Math.sign(dx);
  if (!dy || !dx) return `M${at(a)}L${at(b)}`;
  return slantFirst ? `M${at(a)}L${at([a[0] + part, b[1]])}L${at(b)}` : `M${at(a)}L${at([b[0] - part, a[1]])}L${at(b)}`;
}

/** @param {Piece} piece @param {Map<string, End>} partners @param {Map<string, number>} columns of hubs
 * @param {boolean} picked */
function pieceShape(piece, partners, columns, picked) {
  const { ends } = piece;
  const hub = hubOf(piece);
  const group = shape('g', { class: `c-piece${picked ? ' c-picked' : ''}${piece.own ? '' : ' c-fixed'}`, 'data-piece': piece.name });
  /** @type {string[]} */
  let ways = [];
  /** @type {(Node | string)[]} */
  const more = [];
  let label = { x: hub[0], y: hub[1] + 0.75, anchor: 'middle', kind: '' };
  if (piece.kind === 'plain') {
    const leg = partners.get(key([piece.name, 'left']))?.[1] ?? '';
    ways = [rail(ends.left, ends.right, ['reverse', 'across-left', 'across-right'].includes(leg))];
    label = { x: (ends.left[0] + ends.right[0]) / 2, y: Math.max(ends.left[1], ends.right[1]) + 0.7, anchor: 'middle', kind: 'c-block' };
  } else if (piece.kind === 'turnout') {
    ways = [`M${at(ends.points)}L${at(hub)}L${at(ends.normal)}`];
    // The reverse leg stops short of the points, which lie normal.
    const near = [hub[0] + (ends.reverse[0] - hub[0]) * 0.3, hub[1] + (ends.reverse[1] - hub[1]) * 0.3];
    ways.push(`M${at(/** @type {[number, number]} */ (near))}L${at(ends.reverse)}`);
    const above = ends.reverse[1] >= hub[1];
    label = { x: hub[0], y: hub[1] + (above ? -0.45 : 0.8), anchor: 'middle', kind: '' };
  } else if (piece.kind === 'crossing' || piece.kind === 'slip') {
    ways = [`M${at(ends['along-left'])}L${at(ends['along-right'])}`, `M${at(ends['across-left'])}L${at(ends['across-right'])}`];
    if (piece.kind === 'slip') more.push(shape('path', { class: 'c-thin', d: `M${at([hub[0] - 0.7, hub[1]])}Q${at(hub)} ${at([hub[0] + 0.5, hub[1] - Math.sign(ends['across-left'][1] - hub[1]) * 0.5])}` }));
    label = { x: hub[0], y: hub[1] + 1.4, anchor: 'middle', kind: '' };
  } else {
    const [x, y] = ends.end;
    const partner = partners.get(key([piece.name, 'end']));
    const out = partner ? ((columns.get(partner[0]) ?? x) < x ? 1 : -1) : x > 3 ? 1 : -1;
    if (piece.kind === 'bumper') more.push(shape('path', { class: 'c-rail', d: `M${px(x)} ${px(y) - 8}V${px(y) + 8}M${px(x)} ${px(y) - 6}h${out * 5}M${px(x)} ${px(y) + 6}h${out * 5}` }));
    else more.push(shape('path', { class: 'c-thin', d: `M${px(x)} ${px(y)}h${out * 10}m${-out * 6} -5l${out * 6} 5l${-out * 6} 5` }));
    label = { x: x + out * 0.6, y: y + 0.2, anchor: out > 0 ? 'start' : 'end', kind: '' };
    if (x < 3 && out < 0) label = { x, y: y - 0.5, anchor: 'middle', kind: '' };
  }
  const d = ways.join('');
  group.append(shape('path', { class: 'c-hitline', d: d || `M${px(hub[0]) - 8} ${px(hub[1])}h16` }),
    shape('path', { class: 'c-rail', d }), ...more,
    shape('text', { x: px(label.x), y: px(label.y), 'text-anchor': label.anchor, class: label.kind }, piece.title));
  return group;
}

/** @param {Drawing} drawing @param {Joint} joint */
function jointShape(drawing, joint) {
  const [a, b] = [spotOf(drawing, joint.a), spotOf(drawing, joint.b)];
  const [x, y] = jointSpot(drawing, joint);
  const group = shape('g', { class: 'c-joint', 'data-joint': key(joint.a) }, shape('circle', { cx: px(x), cy: px(y), r: 10, class: 'c-hit' }));
  if (Math.hypot(a[0] - b[0], a[1] - b[1]) > 0.05) group.append(shape('path', { class: 'c-rail', d: `M${at(a)}L${at(b)}` }));
  const bars = { '|': [0], '||': [-2.5, 2.5] }[joint.kind] ?? [];
  for (const off of bars) group.append(shape('path', { class: 'c-gap', d: `M${px(x) + off} ${px(y) - 7}v14` }));
  if (joint.gap) group.append(shape('text', { x: px(x), y: px(y) - 10, 'text-anchor': 'middle', class: 'c-small' }, joint.gap));
  return group;
}

/** Where a signal stands: on the right of the track as a train comes to it. @param {Drawing} drawing
 * @param {Signal} signal @returns {{at: [number, number], down: number, joint: [number, number]}} */
export function standing(drawing, signal) {
  const joint = drawing.joints.find((j) => key(j.a) === key(signal.enters) || key(j.b) === key(signal.enters));
  const [x, y] = joint ? jointSpot(drawing, joint) : spotOf(drawing, signal.enters);
  const down = entersRightward(drawing, signal.enters) ? 1 : -1;
  return { at: [x, y + down * 0.9], down, joint: [x, y] };
}

/** Whether a train that enters a piece at this end runs to the right. @param {Drawing} drawing @param {End} end */
export function entersRightward(drawing, end) {
  const piece = drawing.pieces.find((p) => p.name === end[0]);
  return piece ? piece.ends[end[1]][0] <= hubOf(piece)[0] : true;
}

/** A signal upright on its mast, its top head uppermost. @param {Drawing} drawing @param {Signal} signal
 * @param {boolean} picked */
function signalShape(drawing, signal, picked) {
  const { down, joint: [x, y] } = standing(drawing, signal);
  const foot = down > 0 ? px(y) + 12 + 11 * signal.heads + 8 : px(y) - 8;
  const side = down > 0 ? -1 : 1;
  const left = px(x) + side * 9;
  const group = shape('g', { class: `c-signal${picked ? ' c-picked' : ''}`, 'data-signal': signal.name });
  const top = foot - 7 - 11 * signal.heads;
  group.append(shape('rect', { x: left - 12, y: top - 4, width: 24, height: foot - top + 8, class: 'c-hit' }),
    shape('path', { class: 'c-thin', d: `M${left - 5} ${foot}h10M${left} ${foot}V${top + 5}` }));
  for (let n = 0; n < signal.heads; n++) {
    group.append(shape('circle', { cx: left, cy: top + 5 + 11 * n, r: 4.6, class: 'c-head' }));
  }
  group.append(shape('text', { x: left + side * 8, y: foot - 2, 'text-anchor': side < 0 ? 'end' : 'start', class: 'c-small' }, signal.name));
  return group;
}
