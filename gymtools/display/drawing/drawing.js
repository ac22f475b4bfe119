// Page side of the drawing: plan above section. It draws what it is given and says what a hand
// does; everything that is computed comes from the kernel.

const INK = "#1b1f23", QUIET = "#59636e", FAINT = "#c9d1d9", PAPER = "#ffffff";
const FLOOR = "#f7f2e8", SOLID = "#e4dfd6";
const FACE = 'system-ui, "Segoe UI", Helvetica, Arial, sans-serif';
const FONTS = { "": `12px ${FACE}`, "gt-quiet": `12px ${FACE}`, "gt-title": `600 13px ${FACE}` };
const LINE = 16;  // height of a line of words [px]
const TAKEN = 3;  // a hand that moves less has only clicked [px]
const DENSE = 6, SPARSE = 15;  // from one hatching line to the next [px]
const BESIDE = 1.15;  // the section stands beside the plan where that draws it so much larger
const DEAF = 4000;  // a page that hears nothing for so long is deaf [ms]
const WORTH = 1.06;  // so much larger is worth the profile beside the section
const LEAST = 150;  // width of a profile [px]
const LOW = 330;  // less room than this is low: the section stands beside the plan [px]
const EDGE = 18;  // from the left edge to a plan that has the section beside it [px]
const CLEAR = 24;  // from a loudspeaker to an aim's handle, so that neither hides the other [px]
const SVG = "http://www.w3.org/2000/svg";
const KEYS = "One stop of the Tab key. N and P: next and previous handle; S: the seats. Arrow keys "
  + "move what is chosen, with Shift five steps; Page Up and Page Down move it five steps up and "
  + "down. Escape puts back what is held.";
const HINT = "Arrows move it; N, P: next, previous handle; S: seats";
const SIDES = [[1, 1], [-1, 1], [1, -1], [-1, -1], [0, 1], [0, -1], [1, 0], [-1, 0]];
const PAGES = { PageUp: [0, 5], PageDown: [0, -5] };
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

// ---- small things

const bytes = (view) => (view && view.byteLength
  ? view.buffer.slice(view.byteOffset, view.byteOffset + view.byteLength) : new ArrayBuffer(0));
const floats = (view) => new Float32Array(bytes(view));
const octets = (view) => new Uint8Array(bytes(view));
const clamp = (v, low, high) => Math.min(Math.max(v, low), high);

function made(name, attributes = {}, parent = null) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (parent) parent.appendChild(node);
  return node;
}

// writes only what is new: most of a frame is as it was
function put(node, attributes) {
  const stood = (node.stood ??= {});
  for (const key in attributes) {
    const value = String(attributes[key]);
    if (stood[key] !== value) { node.setAttribute(key, value); stood[key] = value; }
  }
  return node;
}

// what the kernel sent, ready to be drawn
const READ = {
  room: (d) => d.bounds && { ...d, walls: floats(d.walls), outlines: floats(d.outlines),
    rows: floats(d.rows), court: floats(d.court), joists: floats(d.joists) },
  map: (d) => d.values && { ...d, values: floats(d.values), contours: floats(d.contours),
    words: octets(d.words), close: floats(d.close), misses: floats(d.misses),
    target: floats(d.target), palette: octets(d.scale.palette),
    beams: d.beams.map(([name, lines]) => [name, floats(lines)]) },
  cut: (d) => d.outline && { ...d, outline: floats(d.outline), steps: floats(d.steps),
    seats: floats(d.seats), edges: floats(d.edges), along: floats(d.along),
    joists: floats(d.joists),
    words: octets(d.words) },
  rows: (d) => d.rows && d,
  ghost: (d) => (d.rows ? d : null),
  said: (d) => d.units && d,
};

// ---- where everything goes: one scale for plan and section

// the color scale, and the target's line beside it, under its legend or on a line of its own
function headed(state, width, words) {
  const { target } = state.map.scale, bar = Math.round(clamp(width * 0.42, 150, 330));
  const said = words.width(`target ${target}`, "");
  if (!target || bar + 235 + said <= width) return { bar, header: 48, target: "beside" };
  const less = Math.min(bar, Math.floor(width - 74 - said));
  if (less >= 130) return { bar: less, header: 52, target: "under" };
  return { bar, header: 70, target: "alone" };
}

function laidOut(state, width, height, words) {
  const [x0, x1, y0, y1] = state.room.bounds;
  const across = Math.max(...state.cut.outline.filter((_, n) => n % 2 === 0));
  const top = Math.max(...state.cut.outline.filter((_, n) => n % 2 === 1));
  const head = headed(state, width, words), { header } = head;
  const left = 44, right = 16, over = 24, title = LINE + 8, bottom = LINE + 2;  // of words
  const wide = width - left - right, room = height - header - over;
  const under = Math.round(clamp(room * 0.13, 44, 90)) + LINE + 8 + bottom;
  // plan over section over profile; profile beside the section; section beside the plan
  const stacked = Math.min(wide / Math.max(x1 - x0, across),
    (room - 14 - title - under) / (y1 - y0 + top));
  const corner = Math.min(wide / (x1 - x0), (wide - left - LEAST) / across,
    (room - 14 - title - bottom) / (y1 - y0 + top));
  const pair = width - EDGE - left - right;
  const beside = Math.min(pair / (x1 - x0 + across), (room - 14) / (y1 - y0),
    (room + over - title - under) / top);
  const below = Math.max(stacked, corner > WORTH * stacked ? corner : 0);
  const split = beside > (room < LOW ? 1 : BESIDE) * below, turned = !split && below > stacked;
  const k = Math.max(split ? beside : below, 0.5);
  const plan = { w: (x1 - x0) * k, h: (y1 - y0) * k, y: header + over };
  const cut = { w: across * k, h: top * k };
  if (split) {
    const spare = Math.max(0, pair - plan.w - cut.w) / 3;
    plan.x = EDGE + spare;
    cut.x = plan.x + plan.w + spare + left;
    cut.title = header;
  } else {
    plan.x = left + Math.max(0, wide - plan.w) / 2;
    cut.x = left + (turned ? 0 : Math.max(0, wide - cut.w) / 2);
    cut.title = plan.y + plan.h + 14;
  }
  cut.y = cut.title + title + cut.h;
  const graph = graphAt({ split, turned, left, wide, bottom, width, height }, cut);
  cut.end = turned ? graph.x - 10 : width - 4;  // of its words
  const north = split ? [plan.x + plan.w - 6, plan.y - 20] : [22, plan.y + 14];
  return { width, height, ...head, k, plan, cut, top, graph, north, split,
    X: (x) => plan.x + (x - x0) * k, Y: (yy) => plan.y + (y1 - yy) * k,
    S: (s) => cut.x + s * k, Z: (z) => cut.y - z * k,
    inPlan: (px, py) => [x0 + (px - plan.x) / k, y1 - (py - plan.y) / k],
    inCut: (px, py) => [(px - cut.x) / k, (cut.y - py) / k] };
}

// the profile: under the section, or beside it
function graphAt({ split, turned, left, wide, bottom, width, height }, cut) {
  if (turned) {
    const x = cut.x + cut.w + left + 6;
    return { x, y: cut.y - cut.h, w: left + wide - x, h: cut.h };
  }
  const y = cut.y + LINE + 8, h = clamp(height - y - bottom - 4, 0, split ? 180 : 130);
  if (split) return { x: cut.x, y, w: Math.max(cut.w, Math.min(LEAST, width - 16 - cut.x)), h };
  const w = Math.min(wide, Math.max(cut.w, 560));
  return { x: left + (wide - w) / 2, y, w, h };
}

// ---- the canvas

function trace(ctx, points, X, Y) {
  ctx.beginPath();
  let begun = false;
  for (let n = 0; n < points.length; n += 2) {
    const x = points[n];
    if (x !== x) { begun = false; continue; }
    if (begun) ctx.lineTo(X(x), Y(points[n + 1]));
    else { ctx.moveTo(X(x), Y(points[n + 1])); begun = true; }
  }
}

function stroke(ctx, color, width, dash = []) {
  ctx.strokeStyle = color;
  ctx.lineWidth = width;
  ctx.setLineDash(dash);
  ctx.stroke();
}

// a line that is seen on every color: dark in a light case
function cased(ctx, width, case_, dash = [], color = INK) {
  stroke(ctx, "rgba(255,255,255,0.75)", case_);
  stroke(ctx, color, width, dash);
}

function paintArea(ctx, area, map, at, ratio, sheets) {
  const { rows, columns } = area, { low, high } = map.scale;
  let sheet = sheets.get(`${area.name} ${rows} ${columns}`);
  if (!sheet) {
    const canvas = document.createElement("canvas");
    canvas.width = columns;
    canvas.height = rows;
    const pen = canvas.getContext("2d");
    sheet = { canvas, pen, image: pen.createImageData(columns, rows) };
    sheets.set(`${area.name} ${rows} ${columns}`, sheet);
  }
  const pixels = sheet.image.data, values = map.values, colors = map.palette;
  const last = colors.length / 3 - 1, share = last / (high - low);
  for (let n = 0, p = 0; n < rows * columns; n++, p += 4) {
    const c = 3 * clamp(Math.round((values[area.start + n] - low) * share), 0, last);
    pixels[p] = colors[c];
    pixels[p + 1] = colors[c + 1];
    pixels[p + 2] = colors[c + 2];
    pixels[p + 3] = 255;
  }
  sheet.pen.putImageData(sheet.image, 0, 0);
  const k = at.k * ratio, [ax, ay] = area.across, [dx, dy] = area.down;
  const x = at.X(area.origin[0]) * ratio - (ax + dx) * k / 2;
  const y = at.Y(area.origin[1]) * ratio + (ay + dy) * k / 2;
  ctx.save();
  ctx.setTransform(ax * k, -ay * k, dx * k, -dy * k, x, y);
  ctx.imageSmoothingEnabled = true;
  ctx.drawImage(sheet.canvas, 0, 0);
  ctx.restore();
}

function hatch(ctx, rings, at, gap) {
  if (!rings.length) return;
  let low = Infinity, high = -Infinity, top = Infinity, bottom = -Infinity;
  for (let n = 0; n < rings.length; n += 2) {
    if (rings[n] !== rings[n]) continue;
    const x = at.X(rings[n]), y = at.Y(rings[n + 1]);
    low = Math.min(low, x); high = Math.max(high, x);
    top = Math.min(top, y); bottom = Math.max(bottom, y);
  }
  ctx.save();
  trace(ctx, rings, at.X, at.Y);
  ctx.clip("evenodd");
  for (const [color, width, off] of [["rgba(255,255,255,0.8)", 1.2, 1.1], [INK, 0.9, 0]]) {
    ctx.beginPath();
    const first = Math.ceil((low + top) / gap) * gap;
    for (let sum = first; sum <= high + bottom; sum += gap) {
      ctx.moveTo(sum + off - top + 1, top - 1);
      ctx.lineTo(sum + off - bottom - 1, bottom + 1);
    }
    stroke(ctx, color, width);
  }
  ctx.restore();
}

function paintPlan(ctx, state, at, ratio, sheets) {
  const { room, map } = state, [x, y] = room.hall;
  ctx.fillStyle = FLOOR;
  ctx.fillRect(at.X(-x), at.Y(y), 2 * x * at.k, 2 * y * at.k);
  for (const area of room.areas) paintArea(ctx, area, map, at, ratio, sheets);
  trace(ctx, room.rows, at.X, at.Y);
  stroke(ctx, "rgba(255,255,255,0.22)", 0.7);
  trace(ctx, room.court, at.X, at.Y);
  stroke(ctx, "rgba(27,31,35,0.28)", 2.2);
  stroke(ctx, "#fffaf0", 1.1);
  trace(ctx, room.joists, at.X, at.Y);
  stroke(ctx, "rgba(255,255,255,0.35)", 2);
  stroke(ctx, "rgba(27,31,35,0.4)", 0.8, [12, 3]);
  hatch(ctx, map.close, at, SPARSE);
  hatch(ctx, map.misses, at, DENSE);
  trace(ctx, map.contours, at.X, at.Y);
  stroke(ctx, "rgba(255,255,255,0.55)", 2);
  stroke(ctx, "rgba(27,31,35,0.75)", 0.8);
  trace(ctx, map.target, at.X, at.Y);
  cased(ctx, 2.2, 5);
  trace(ctx, room.outlines, at.X, at.Y);
  stroke(ctx, INK, 0.8);
  trace(ctx, room.walls, at.X, at.Y);
  stroke(ctx, INK, 2.4);
}

function paintThrows(ctx, state, at) {
  const rows = state.rows.rows, colors = Object.fromEntries(rows.map((r) => [r.name, r.color]));
  for (const [name, lines] of state.map.beams) {
    trace(ctx, lines, at.X, at.Y);
    stroke(ctx, "rgba(255,255,255,0.6)", 2.4);
    stroke(ctx, colors[name] ?? INK, 1.3, [1.5, 3]);
  }
  for (const row of rows) {
    if (!row.plays || !row.axis) continue;
    ctx.beginPath();
    for (const m of row.members) {
      ctx.moveTo(at.X(m.at[0]), at.Y(m.at[1]));
      ctx.lineTo(at.X(m.end[0]), at.Y(m.end[1]));
    }
    cased(ctx, 1.2, 3, [], row.color);
  }
}

const alongCut = (cut, x, y) =>
  (x - cut.foot[0]) * cut.inward[0] + (y - cut.foot[1]) * cut.inward[1];

function colorOf(map, value) {
  const { low, high } = map.scale, last = map.palette.length / 3 - 1;
  const c = 3 * clamp(Math.round((value - low) / (high - low) * last), 0, last);
  return `rgb(${map.palette[c]},${map.palette[c + 1]},${map.palette[c + 2]})`;
}

// dimension line from the floor up to a loudspeaker
function paintHeight(ctx, m, cut, at) {
  const x = Math.round(at.S(alongCut(cut, m.at[0], m.at[1]))) + 0.5;
  ctx.beginPath();
  ctx.moveTo(x, at.Z(0));
  ctx.lineTo(x, at.Z(m.at[2]));
  for (const y of [at.Z(0), at.Z(m.at[2])]) {
    ctx.moveTo(x - 3, y + 3);
    ctx.lineTo(x + 3, y - 3);
  }
  stroke(ctx, QUIET, 0.7);
}

function paintCut(ctx, state, at) {
  const { cut, map } = state;
  trace(ctx, cut.outline, at.S, at.Z);
  ctx.fillStyle = PAPER;
  ctx.fill();
  ctx.beginPath();
  ctx.moveTo(at.S(0), at.Z(cut.clear));
  ctx.lineTo(at.S(0) + at.cut.w, at.Z(cut.clear));
  stroke(ctx, FAINT, 1, [5, 4]);
  trace(ctx, cut.joists, at.S, at.Z);
  stroke(ctx, QUIET, 1);
  if (cut.steps.length) {
    trace(ctx, cut.steps, at.S, at.Z);
    ctx.fillStyle = SOLID;
    ctx.fill();
    stroke(ctx, QUIET, 0.8);
  }
  trace(ctx, cut.outline, at.S, at.Z);
  stroke(ctx, INK, 1.8);
  const row = state.rows.rows.find((r) => r.name === cut.serving);
  if (row) paintHeight(ctx, row.members[row.cut], cut, at);
  trace(ctx, cut.edges, at.S, at.Z);
  stroke(ctx, row?.color ?? INK, 1, [5, 3]);
  if (row?.axis) {
    const m = row.members[row.cut];
    ctx.beginPath();
    ctx.moveTo(at.S(alongCut(cut, m.at[0], m.at[1])), at.Z(m.at[2]));
    ctx.lineTo(at.S(alongCut(cut, m.end[0], m.end[1])), at.Z(m.end[2]));
    stroke(ctx, row.color, 1.6);
  }
  const size = clamp(0.28 * at.k, 2, 4);
  for (let n = 0; n < cut.along.length; n++) {
    ctx.beginPath();
    ctx.arc(at.S(cut.seats[2 * n]), at.Z(cut.seats[2 * n + 1]), size, 0, 7);
    ctx.fillStyle = cut.colored ? colorOf(map, cut.along[n]) : PAPER;
    ctx.fill();
    stroke(ctx, INK, 0.7);
  }
}

// a point of the profile: a dot meets, a ring is close, a cross misses
function paintPoint(ctx, x, y, word) {
  ctx.beginPath();
  if (word === 2) {
    ctx.moveTo(x - 3, y - 3); ctx.lineTo(x + 3, y + 3);
    ctx.moveTo(x - 3, y + 3); ctx.lineTo(x + 3, y - 3);
    stroke(ctx, INK, 1.6);
    return;
  }
  ctx.arc(x, y, 2.6, 0, 7);
  ctx.fillStyle = word === 1 ? PAPER : INK;
  ctx.fill();
  stroke(ctx, INK, 1.2);
}

// rows of the profile from left to right as in the section, over all of the width
function rowsOver(cut, { x, w }) {
  const count = cut.along.length, first = cut.seats[0], last = cut.seats[2 * count - 2];
  const share = (n) => (count < 2 ? 0.5 : (cut.seats[2 * n] - first) / (last - first));
  return (n) => x + 12 + (w - 24) * (last >= first ? share(n) : 1 - share(n));
}

function paintProfile(ctx, state, at) {
  const { cut } = state, { x, y, w, h } = at.graph, [low, high] = cut.profile.range;
  if (!h) return;
  const level = (v) => y + h - clamp((v - low) / (high - low), -0.04, 1.04) * h;
  const across = rowsOver(cut, at.graph);
  ctx.beginPath();
  ctx.moveTo(x, y);
  ctx.lineTo(x, y + h);
  ctx.lineTo(x + w, y + h);
  stroke(ctx, QUIET, 0.8);
  for (const value of cut.profile.targets) {
    if (value < low || value > high) continue;
    ctx.beginPath();
    ctx.moveTo(x, level(value));
    ctx.lineTo(x + w, level(value));
    stroke(ctx, INK, 2, [7, 3]);
  }
  ctx.beginPath();
  for (let n = 0; n < cut.along.length; n++) {
    ctx[n ? "lineTo" : "moveTo"](across(n), level(cut.along[n]));
  }
  stroke(ctx, INK, 1);
  for (let n = 0; n < cut.along.length; n++) {
    paintPoint(ctx, across(n), level(cut.along[n]), cut.words[n]);
  }
}

// what of a ghost stands elsewhere or aims elsewhere than the row does now
function elsewhere(state, row, n, at) {
  const now = state.rows.rows.find((r) => r.name === row.name)?.members[n], m = row.members[n];
  const off = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]) * at.k;
  return !now || off(now.at, m.at) > 1 || off(now.end, m.end) > 1;
}

// a dashed line that is seen on every color
function dashed(ctx) {
  stroke(ctx, "rgba(255,255,255,0.95)", 4);
  stroke(ctx, INK, 1.8, [5, 3.5]);
}

// where things were, or are in another design: dashed, in plan and section
function paintGhost(ctx, state, at) {
  for (const row of state.ghost?.rows ?? []) {
    for (const [n, m] of row.members.entries()) {
      if (!elsewhere(state, row, n, at)) continue;
      const x = at.X(m.at[0]), y = at.Y(m.at[1]);
      ctx.beginPath();
      ctx.rect(x - 8, y - 8, 16, 16);
      if (row.plays && row.axis) {
        ctx.moveTo(x, y);
        ctx.lineTo(at.X(m.end[0]), at.Y(m.end[1]));
      }
      dashed(ctx);
      if (n === row.cut) paintGhostCut(ctx, state, at, row);
    }
  }
}

function paintGhostCut(ctx, state, at, row) {
  const m = row.members[row.cut], s = at.S(alongCut(state.cut, m.at[0], m.at[1]));
  ctx.beginPath();
  ctx.rect(s - 7, at.Z(m.at[2]) - 7, 14, 14);
  if (row.plays && row.axis && row.name === state.cut.serving) {
    ctx.moveTo(s, at.Z(m.at[2]));
    ctx.lineTo(at.S(alongCut(state.cut, m.end[0], m.end[1])), at.Z(m.end[2]));
  }
  dashed(ctx);
}

function paintScale(ctx, state, at) {
  const { map } = state, bar = barOf(at), { low, high } = map.scale;
  for (let n = 0; n < bar.w; n++) {
    ctx.fillStyle = colorOf(map, low + (high - low) * (n + 0.5) / bar.w);
    ctx.fillRect(bar.x + n, bar.y, 1.5, bar.h);
  }
  ctx.beginPath();
  ctx.rect(bar.x, bar.y, bar.w, bar.h);
  stroke(ctx, QUIET, 0.8);
  for (const value of map.scale.targets) {
    if (value < low || value > high) continue;
    const x = bar.x + bar.w * (value - low) / (high - low);
    ctx.beginPath();
    ctx.moveTo(x, bar.y - 4);
    ctx.lineTo(x, bar.y + bar.h + 4);
    cased(ctx, 2.2, 5);
  }
}

const barOf = (at) => ({ x: 16, y: 22, w: at.bar, h: 9 });

function paintLegend(ctx, state, at, swatches) {
  const box = new Float32Array([0, 0, 22, 0, 22, 12, 0, 12, 0, 0]);
  const { low, high } = state.map.scale, middle = colorOf(state.map, (low + high) / 2);
  for (const [x, y, gap] of swatches) {
    ctx.beginPath();
    if (!gap) {  // the target line
      ctx.moveTo(x, y + 6);
      ctx.lineTo(x + 22, y + 6);
      cased(ctx, 2.2, 5);
      continue;
    }
    ctx.fillStyle = middle;
    ctx.fillRect(x, y, 22, 12);
    hatch(ctx, box, { X: (v) => x + v, Y: (v) => y + v }, gap);
    ctx.beginPath();
    ctx.rect(x, y, 22, 12);
    stroke(ctx, QUIET, 0.8);
  }
}

function paintMarks(ctx, state, at) {
  for (const [, x, y] of state.room.microphones) {
    ctx.beginPath();
    ctx.arc(at.X(x), at.Y(y), 4.5, 0, 7);
    ctx.fillStyle = "#f0e442";
    ctx.fill();
    stroke(ctx, INK, 1.3);
  }
  for (const [name, [x, y, z], off] of state.said.marks) {
    paintMark(ctx, at.X(x), at.Y(y), name);
    if (off) paintMark(ctx, at.S(alongCut(state.cut, x, y)), at.Z(z), name);
  }
}

function paintMark(ctx, x, y, name) {
  const r = name.startsWith("worst") ? 8 : 6;
  ctx.beginPath();
  ctx.moveTo(x, y - r); ctx.lineTo(x + r, y); ctx.lineTo(x, y + r);
  ctx.lineTo(x - r, y); ctx.closePath();
  ctx.fillStyle = PAPER;
  ctx.fill();
  stroke(ctx, INK, name.startsWith("worst") ? 2.4 : 1.4);
}

// end marks of the section, north, and a length
function paintFurniture(ctx, state, at) {
  for (const [n, [x, y]] of state.cut.through.entries()) {
    const [ux, uy] = state.cut.inward, out = n ? 1 : -1;
    const px = at.X(x), py = at.Y(y);
    ctx.beginPath();
    ctx.moveTo(px + out * ux * 2, py - out * uy * 2);
    ctx.lineTo(px + out * ux * 11, py - out * uy * 11);
    stroke(ctx, INK, 2.4);
  }
  const [x, y] = at.north;
  ctx.beginPath();
  ctx.moveTo(x, y + 18);
  ctx.lineTo(x, y);
  ctx.moveTo(x - 4, y + 7);
  ctx.lineTo(x, y);
  ctx.lineTo(x + 4, y + 7);
  stroke(ctx, INK, 1.2);
}

// ---- words: no two of them overlap; what finds no room is left out

class Words {
  constructor(svg, ctx) {
    this.layer = made("g", {}, svg);
    this.ctx = ctx;
    this.known = new Map();
    this.widths = new Map();
  }

  begin() {
    this.taken = [];
    this.seen = new Set();
  }

  width(text, kind) {
    const key = kind + text;
    if (!this.widths.has(key)) {
      if (this.widths.size > 4000) this.widths.clear();
      this.ctx.font = FONTS[kind];
      this.widths.set(key, this.ctx.measureText(text).width);
    }
    return this.widths.get(key);
  }

  keep(x, y, w, h) {
    this.taken.push([x, y, x + w, y + h]);
  }

  // tries places (x, y of the left end of the baseline, or with an anchor) in turn
  say(id, text, places, { kind = "", plate = false, bounds = null } = {}) {
    const w = this.width(text, kind);
    for (const [x, y, anchor = "start"] of places) {
      const left = x - (anchor === "middle" ? w / 2 : anchor === "end" ? w : 0);
      const box = [left - 2, y - 12, left + w + 2, y + 4];
      if (bounds && (box[0] < bounds[0] || box[1] < bounds[1] || box[2] > bounds[2]
        || box[3] > bounds[3])) continue;
      if (this.taken.some((t) => box[0] < t[2] && box[2] > t[0] && box[1] < t[3] && box[3] > t[1])) {
        continue;
      }
      this.taken.push(box);
      this.show(id, text, left, y, w, kind, plate);
      return true;
    }
    return false;
  }

  show(id, text, x, y, w, kind, plate) {
    let pair = this.known.get(id);
    if (!pair) {
      const group = made("g", {}, this.layer);
      pair = { group, text: made("text", {}, group) };
      if (plate) {
        pair.plate = made("rect", { class: "gt-label-plate", rx: 2, height: 15 });
        group.insertBefore(pair.plate, pair.text);
      }
      this.known.set(id, pair);
    }
    if (pair.hidden) { pair.group.removeAttribute("display"); pair.hidden = false; }
    if (pair.said !== text) { pair.text.textContent = text; pair.said = text; }
    put(pair.text, { x: x.toFixed(1), y: y.toFixed(1), class: kind });
    if (pair.plate) {
      put(pair.plate, { x: (x - 2).toFixed(1), y: (y - 12).toFixed(1), width: (w + 4).toFixed(1) });
    }
    this.seen.add(id);
  }

  end() {
    for (const [id, pair] of this.known) {
      if (this.seen.has(id)) continue;
      if (!pair.hidden) { pair.group.setAttribute("display", "none"); pair.hidden = true; }
    }
  }
}

const around = (x, y, far) => [
  [x, y - far, "middle"], [x, y + far + 9, "middle"], [x + far, y + 4], [x - far, y + 4, "end"],
  [x + far, y - far], [x - far, y - far, "end"], [x + far, y + far + 9], [x - far, y + far + 9, "end"],
];

function sayHeader(words, state, at) {
  const { scale } = state.map, bar = barOf(at), swatches = [];
  const title = scale.label + (scale.unit ? ` [${scale.unit}]` : "");
  words.say("title", title, [[16, 14]], { kind: "gt-title" });
  if (state.said.note) {
    const places = [[at.width - 12, 14, "end"], [at.width - 12, at.header - 2, "end"]];
    words.say("note", state.said.note, places,
      { kind: "gt-quiet", bounds: [0, 0, at.width, at.height] });
  }
  if (scale.origin) {
    const after = 16 + words.width(title, "gt-title") + 12;
    words.say("origin", scale.origin, [[after, 14]],
      { kind: "gt-quiet", bounds: [0, 0, at.width - 6, at.height] });
  }
  for (const [n, [value, text]] of scale.ticks.entries()) {
    const x = bar.x + bar.w * (value - scale.low) / (scale.high - scale.low);
    words.say(`tick ${n}`, text, [[x, bar.y + bar.h + 14, "middle"]],
      { bounds: [0, 0, at.width, at.height] });
  }
  if (!scale.target) return swatches;
  let x = bar.x + bar.w + 26;
  for (const [word, gap] of [["misses", DENSE], ["close", SPARSE]]) {
    words.say(`legend ${word}`, word, [[x + 28, bar.y + 9]]);
    swatches.push([x, bar.y - 1, gap]);
    x += 28 + words.width(word, "") + 16;
  }
  let y = bar.y + 10;
  if (at.target === "under") { x = bar.x + bar.w + 26; y = bar.y + bar.h + 16; }
  if (at.target === "alone") { x = bar.x; y = bar.y + bar.h + 34; }
  if (words.say("target", `target ${scale.target}`, [[x + 28, y]],
    { bounds: [0, 0, at.width, at.height] })) swatches.push([x, y - 11, 0]);
  return swatches;
}

// whether one looks straight down, in this drawing: its aim is a ring around the enclosure
const under = (m, at) => Math.hypot(m.end[0] - m.at[0], m.end[1] - m.at[1]) * at.k < 16;

function sayPlan(words, state, at) {
  const frame = [4, at.header, at.width - 4, at.plan.y + at.plan.h + 14];
  const [nx, ny] = at.north;
  words.say("north", "N", [at.split ? [nx - 8, ny + 14, "end"] : [nx, ny - 6, "middle"]],
    { kind: "gt-title" });
  const unit = state.said.per_unit, size = state.said.units === "ft" ? 20 : 5;
  const bar = { x: at.plan.x, y: at.plan.y - 9, w: size * unit * at.k };
  const long = `${size} ${state.said.units}`, over = { kind: "gt-quiet", bounds: [4, 0,
    at.split ? at.plan.x + at.plan.w : at.width - 4, at.height] };
  const joists = state.room.joist_words && `${long}; ${state.room.joist_words}`;
  for (const text of [joists, long].filter(Boolean)) {
    if (words.say("length", text, [[bar.x + bar.w + 6, bar.y + 4]], over)) break;
  }
  for (const row of state.rows.rows) {
    for (const m of row.members) words.keep(at.X(m.at[0]) - 7, at.Y(m.at[1]) - 7, 14, 14);
  }
  for (const [x, y] of aimsAt(state.rows.rows, at)) words.keep(x - 6, y - 6, 12, 12);
  sayGhost(words, state, at, frame);
  for (const [name, [x, y]] of state.said.marks) {
    words.keep(at.X(x) - 7, at.Y(y) - 7, 14, 14);
    words.say(`mark ${name}`, name, around(at.X(x), at.Y(y), 12), { plate: true, bounds: frame });
  }
  for (const row of state.rows.rows) {
    for (const m of row.members) {
      const far = under(m, at) ? 21 : row.picked ? 15 : 12;
      words.say(`tag ${m.tag}`, m.tag, around(at.X(m.at[0]), at.Y(m.at[1]), far),
        { plate: true, bounds: frame });
    }
  }
  for (const row of state.ghost?.rows ?? []) {
    for (const m of row.members) {
      const stands = state.rows.rows.some((r) => r.members.some((o) => o.tag === m.tag
        && Math.hypot(o.at[0] - m.at[0], o.at[1] - m.at[1]) * at.k < 6));
      if (stands) continue;
      const long = state.ghost.dragged ? `${m.tag} was here` : `${m.tag} in ${state.ghost.name}`;
      const x = at.X(m.at[0]), y = at.Y(m.at[1]);
      const places = [...around(x, y, 11), ...around(x, y, 22)];
      words.say(`ghost ${m.tag}`, long, places, { plate: true, bounds: frame });
    }
  }
  for (const [name, x, y] of state.room.microphones) {
    words.keep(at.X(x) - 5, at.Y(y) - 5, 10, 10);
    words.say(`microphone ${name}`, name, around(at.X(x), at.Y(y), 9),
      { plate: true, bounds: frame });
  }
  for (const [n, [text, x, y]] of state.map.labels.entries()) {
    words.say(`contour ${n}`, text, [[at.X(x), at.Y(y) + 4, "middle"]],
      { plate: true, bounds: frame });
  }
  return bar;
}

// which design is dashed
function sayGhost(words, state, at, frame) {
  const { ghost } = state, { x, y, w, h } = at.plan;
  if (!ghost?.name) return;
  const other = ghost.rows.some((row) => row.members.some((_, n) => elsewhere(state, row, n, at)));
  const text = other ? `dashed: kept design ${ghost.name}`
    : `kept design ${ghost.name}: loudspeakers as here`;
  const places = [[x + w - 30, y - 6, "end"], [x + w / 2, y + 14, "middle"],
    [x + 4, y + 14], [x + w - 4, y + h - 6, "end"], [x + 4, y + h - 6], [x + 4, y + h / 2]];
  const short = `dashed: ${ghost.name}`;
  for (const said of other ? [text, short] : [text]) {
    if (words.say("ghost", said, places, { plate: true, bounds: [4, y - 22, ...frame.slice(2)] })) {
      return;
    }
  }
}

function sayCut(words, state, at) {
  const { cut } = state, frame = [4, at.cut.title, at.width - 4, at.height];
  const title = { kind: "gt-title", bounds: [4, at.cut.title - 4, at.width - 4, at.height] };
  const ends = [[at.cut.x, at.cut.title + 12], [at.width - 6, at.cut.title + 12, "end"]];
  if (!words.say("section", `Section, ${cut.area}`, ends, title)) {
    words.say("section", "Section", ends, title);
  }
  const after = at.cut.x + words.width(`Section, ${cut.area}`, "gt-title") + 10;
  words.say("section of", `${cut.tag}: axis, −6 dB edges`, [[after, at.cut.title + 12]],
    { kind: "gt-quiet", bounds: [4, at.cut.title - 2, at.cut.end, at.height] });
  const stand = (m) => [at.S(alongCut(cut, m.at[0], m.at[1])), at.Z(m.at[2])];
  for (const row of state.rows.rows) {
    const [x, y] = stand(row.members[row.cut]);
    words.keep(x - 8, y - 8, 16, 16);
  }
  for (const [name, [px, py, pz], off] of state.said.marks) {
    if (!off) continue;
    const x = at.S(alongCut(cut, px, py)), y = at.Z(pz);
    words.keep(x - 8, y - 8, 16, 16);
    words.say(`cut mark ${name}`, off, [...around(x, y, 12), ...around(x, y, 26)],
      { plate: true, bounds: frame });
  }
  const serves = (row) => row.name === cut.serving;
  const inside = [at.cut.title, at.width - 4, at.height];
  for (const row of [...state.rows.rows].sort((a, b) => serves(b) - serves(a))) {
    const m = row.members[row.cut], [x, y] = stand(m);
    const far = [[x + 13, y + 4], [x - 13, y + 4, "end"], [x, y + 25, "middle"],
      [x, y - 12, "middle"], [x + 4, y + 30], [x - 4, y + 30, "end"], [x, y + 42, "middle"]];
    words.say(`cut ${row.name}`, m.tag, far, { plate: true, bounds: frame });
    if (!serves(row)) continue;
    const height = row.handles.find((h) => h.kind === "height").words;
    const beside = [0.3, 0.5, 0.15].flatMap((share) => {
      const level = at.Z(share * m.at[2]) + 4;
      return [[x + 6, level], [x - 6, level, "end"]];
    });
    words.say("height", height, beside, { plate: true, bounds: [at.cut.x + 2, ...inside] });
  }
  if (!at.graph.h) return;
  const { x, y, w, h } = at.graph, { label, unit, range, digits, targets } = cut.profile;
  const along = { kind: "gt-quiet", bounds: [4, at.cut.title - 2, at.width - 4, at.height] };
  if (!words.say("profile", `${label}${unit ? ` [${unit}]` : ""} along the rows`, [[x, y - 6]],
    along)) words.say("profile", "along the rows", [[x, y - 6]], along);
  const level = (v) => y + h - (v - range[0]) / (range[1] - range[0]) * h + 4;
  for (const [n, v] of targets.entries()) {
    if (v < range[0] || v > range[1]) continue;
    const more = Number.isInteger(v) ? digits : Math.max(digits, 1);
    words.say(`profile target ${n}`, v.toFixed(more), [[x - 5, level(v), "end"]],
      { kind: "gt-title" });
  }
  const count = cut.along.length, across = rowsOver(cut, at.graph);
  for (const n of [...new Set([0, count - 1])]) {
    const side = across(n) > x + w / 2 ? [x + w, y + h + 15, "end"] : [x, y + h + 15];
    words.say(`profile row ${n}`, `row ${n + 1}`, [side], { kind: "gt-quiet" });
  }
  for (const [n, v] of range.entries()) {
    words.say(`profile end ${n}`, v.toFixed(digits), [[x - 5, level(v), "end"]]);
  }
}

// ---- handles

class Handles {
  constructor(svg) {
    this.layer = made("g", {}, svg);
    this.known = new Map();
  }

  begin() {
    this.seen = new Set();  // in the order in which they lie over each other
  }

  end() {
    for (const [id, handle] of this.known) {
      if (this.seen.has(id)) continue;
      handle.node.remove();
      this.known.delete(id);
    }
    this.stack([...this.seen].map((id) => this.known.get(id).node));
  }

  // puts nodes in their order; the one that has the focus stays where it is, or would lose it
  stack(nodes) {
    if (nodes.every((node, n) => this.layer.children[n] === node)) return;
    const still = nodes.find((node) => node === document.activeElement);
    const before = still ? nodes.indexOf(still) : 0;
    for (const [n, node] of nodes.entries()) {
      if (node !== still) this.layer.insertBefore(node, n < before ? still : null);
    }
  }

  // a handle that can be focused; it stands until it is no longer asked for
  node(id, { key, kind, label, words, cut, row, value, range }) {
    let handle = this.known.get(id);
    if (!handle) {
      const node = made("g", { class: "gt-handle", tabindex: -1, role: "slider",
        "aria-description": KEYS }, this.layer);
      handle = { node, parts: [], id };
      node.handle = handle;
      this.known.set(id, handle);
    }
    this.seen.add(id);
    Object.assign(handle, { key, kind, cut, row, label, words });
    put(handle.node, { "data-key": key, "data-kind": kind, "data-cut": cut ? 1 : 0,
      "aria-label": label + (cut && kind === "aim" ? " in the section" : ""),
      "aria-valuenow": value, "aria-valuemin": range[0], "aria-valuemax": range[1],
      "aria-valuetext": words });
    return handle;
  }

  // part of a handle for each member of its row
  part(handle, n, build) {
    handle.parts[n] ??= build(made("g", {}, handle.node));
    return handle.parts[n];
  }

  trim(handle, count) {
    for (const part of handle.parts.splice(count)) part.group.remove();
  }
}

const boxPart = (group) => ({
  group,
  focus: made("circle", { class: "gt-focus", r: 13 }, group),
  arrows: made("path", { class: "gt-arrows", d: "M-4,-12L0,-17L4,-12ZM-4,12L0,17L4,12Z" }, group),
  ring: made("circle", { class: "gt-shape", r: 11.5, fill: "none" }, group),
  shape: made("path", { class: "gt-shape" }, group),
  grip: made("circle", { class: "gt-grip", r: 12 }, group),
});

const aimPart = (group) => ({
  group,
  ring: made("circle", { class: "gt-shape", r: 17, fill: "none", "stroke-width": 1.6,
    "stroke-dasharray": "3 2.5" }, group),
  ringGrip: made("circle", { class: "gt-ring", r: 18 }, group),
  leader: made("path", { class: "gt-shape", fill: "none", "stroke-width": 1.6,
    "stroke-dasharray": "3 2.5" }, group),
  focus: made("circle", { class: "gt-focus", r: 10 }, group),
  shape: made("circle", { class: "gt-shape", fill: PAPER, "stroke-width": 2 }, group),
  dot: made("circle", { class: "gt-shape", r: 1.4 }, group),
  grip: made("circle", { class: "gt-grip", r: 11 }, group),
});

// an enclosure seen from above or from the side: its front at the origin, looking right
function enclosure(deep, broad) {
  const d = Math.max(deep, 9), b = Math.max(broad, 11) / 2;
  return `M${-d / 2 - 1},${-b * 0.75}L${d / 2},${-b}L${d / 2},${b}L${-d / 2 - 1},${b * 0.75}Z`;
}

function standBox(part, x, y, turn, row, size) {
  put(part.group, { transform: `translate(${x.toFixed(1)} ${y.toFixed(1)})` });
  const dash = row.plays ? "" : "2.5 2";
  put(part.shape, { d: enclosure(...size), transform: `rotate(${turn.toFixed(1)})`,
    fill: row.plays ? row.color : PAPER, stroke: INK, "stroke-width": 1.1,
    "stroke-dasharray": dash });
  put(part.ring, { stroke: row.picked ? INK : "none", "stroke-width": 1.2 });
}

function standPosition(handles, row, about, at) {
  const handle = handles.node(`plan ${about.key}`, { ...about, cut: false, row });
  for (const [n, m] of row.members.entries()) {
    const part = handles.part(handle, n, boxPart);
    part.grip.member = n;
    put(part.arrows, { display: "none" });
    const size = [m.size[1] * at.k, m.size[0] * at.k];
    standBox(part, at.X(m.at[0]), at.Y(m.at[1]), -m.at[3], row, size);
  }
  handles.trim(handle, row.members.length);
}

function standAims(handles, row, about, at, boxes) {
  const handle = handles.node(`plan ${about.key}`, { ...about, cut: false, row });
  for (const [n, m] of row.members.entries()) {
    const part = handles.part(handle, n, aimPart);
    part.grip.member = part.ringGrip.member = n;
    const box = [at.X(m.at[0]), at.Y(m.at[1])], end = [at.X(m.end[0]), at.Y(m.end[1])];
    const main = n === about.member, down = under(m, at);
    standAim(part, end, row, { main, boxes, ring: down ? box : null });
  }
  handles.trim(handle, row.members.length);
}

// where an aim's handle stands: where it lands, or beside a loudspeaker that would hide it
function clearOf([x, y], boxes) {
  const off = (box, px, py) => Math.hypot(px - box[0], py - box[1]);
  const free = (px, py) => boxes.every((box) => off(box, px, py) >= CLEAR - 0.5);
  if (free(x, y)) return [x, y];
  const box = boxes.reduce((a, b) => (off(b, x, y) < off(a, x, y) ? b : a));
  const way = off(box, x, y) > 2 ? Math.atan2(y - box[1], x - box[0]) : Math.PI / 4;
  const places = [0, 1, -1, 2, -2, 3, -3, 4].map((n) => way + n * Math.PI / 4).map(
    (turn) => [box[0] + CLEAR * Math.cos(turn), box[1] + CLEAR * Math.sin(turn)]);
  return places.find(([px, py]) => free(px, py)) ?? places[0];
}

function standAim(part, end, row, { main, boxes, ring = null }) {
  const [x, y] = clearOf(end, boxes), shown = (seen) => (seen ? "inline" : "none");
  const aside = Math.hypot(end[0] - x, end[1] - y) > 1;
  put(part.group, { transform: `translate(${x.toFixed(1)} ${y.toFixed(1)})` });
  put(part.shape, { r: main ? 5.5 : 4.2, stroke: row.color });
  put(part.dot, { fill: row.color });
  put(part.leader, { display: shown(aside), stroke: row.color,
    d: `M0,0L${(end[0] - x).toFixed(1)},${(end[1] - y).toFixed(1)}` });
  const around = ring && { cx: (ring[0] - x).toFixed(1), cy: (ring[1] - y).toFixed(1) };
  put(part.ring, { ...around, display: shown(ring), stroke: row.color });
  put(part.ringGrip, { ...around, display: shown(ring) });
}

// where loudspeakers of the rows stand in plan and in section
const boxesOf = (rows, at) => rows.flatMap(
  (row) => row.members.map((m) => [at.X(m.at[0]), at.Y(m.at[1])]));
const cutBoxesOf = (rows, cut, at) => rows.map((row) => row.members[row.cut]).map(
  (m) => [at.S(alongCut(cut, m.at[0], m.at[1])), at.Z(m.at[2])]);

function standCut(handles, state, row, at) {
  const { cut } = state, m = row.members[row.cut], serves = row.name === cut.serving;
  const x = at.S(alongCut(cut, m.at[0], m.at[1])), y = at.Z(m.at[2]);
  const about = row.handles.find((h) => h.kind === "height");
  const handle = handles.node(`cut ${about.key}`, { ...about, cut: true, row });
  handle.node.classList.toggle("gt-serves", serves || row.picked);
  put(handle.node, { opacity: serves || row.picked ? 1 : 0.6 });
  const part = handles.part(handle, 0, boxPart);
  part.grip.member = row.cut;
  const pan = m.at[3] * Math.PI / 180, tilt = m.at[4] * Math.PI / 180;
  const ahead = Math.cos(tilt) * (Math.cos(pan) * cut.inward[0] + Math.sin(pan) * cut.inward[1]);
  const turn = Math.atan2(Math.sin(tilt), ahead) * 180 / Math.PI;
  standBox(part, x, y, turn, row, [m.size[1] * at.k, m.size[2] * at.k]);
  const aim = row.handles.find((h) => h.kind === "aim");
  if (!aim || !(serves || row.picked)) return;
  const key = `aim ${row.cut} ${row.name}`;
  const lands = handles.node(`cut aim ${row.name}`, { ...aim, key, cut: true, row });
  const end = handles.part(lands, 0, aimPart);
  end.grip.member = end.ringGrip.member = row.cut;
  const ex = at.S(alongCut(cut, m.end[0], m.end[1]));
  const boxes = cutBoxesOf(state.rows.rows, cut, at);
  standAim(end, [ex, at.Z(m.end[2])], row, { main: true, boxes });
}

// where the handles of the aims stand in the plan
function aimsAt(rows, at) {
  const boxes = boxesOf(rows, at), shown = rows.filter((r) => r.axis && (r.plays || r.picked));
  return shown.flatMap(
    (row) => row.members.map((m) => clearOf([at.X(m.end[0]), at.Y(m.end[1])], boxes)));
}

// the row that is picked lies over the others
function standAll(handles, state, at) {
  handles.begin();
  const { rows } = state.rows, boxes = boxesOf(rows, at);
  for (const row of [...rows].sort((a, b) => a.picked - b.picked)) {
    standPosition(handles, row, row.handles.find((h) => h.kind === "position"), at);
  }
  for (const row of [...rows].sort((a, b) => a.picked - b.picked)) {
    const aim = row.handles.find((h) => h.kind === "aim");
    if (aim && (row.plays || row.picked)) standAims(handles, row, aim, at, boxes);
  }
  const front = (row) => (row.name === state.cut.serving ? 2 : 0) + (row.picked ? 1 : 0);
  for (const row of [...rows].sort((a, b) => front(a) - front(b))) {
    standCut(handles, state, row, at);
  }
  handles.end();
}

// ---- seats

function seatAt(state, x, y) {
  for (const area of [...state.room.areas].reverse()) {
    const [ox, oy] = area.origin, [ax, ay] = area.across, [dx, dy] = area.down;
    const det = ax * dy - ay * dx, u = x - ox, v = y - oy;
    const column = Math.round((u * dy - v * dx) / det), row = Math.round((ax * v - ay * u) / det);
    if (row >= 0 && column >= 0 && row < area.rows && column < area.columns) {
      return area.start + row * area.columns + column;
    }
  }
  return null;
}

function seatPlace(state, index) {
  const area = areaOf(state, index);
  if (!area) return null;
  const row = Math.floor((index - area.start) / area.columns);
  const column = (index - area.start) % area.columns;
  return [0, 1].map((n) => area.origin[n] + row * area.down[n] + column * area.across[n]);
}

const areaOf = (state, index) => state.room.areas.find(
  (a) => index >= a.start && index < a.start + a.rows * a.columns);

// the neighbor that lies most in a direction; at the edge the next area that way
function seatBeside(state, index, [ex, ny]) {
  const area = areaOf(state, index);
  const row = Math.floor((index - area.start) / area.columns);
  const column = (index - area.start) % area.columns;
  let best = null, most = 0;
  for (const [dr, dc] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
    const x = dr * area.down[0] + dc * area.across[0], y = dr * area.down[1] + dc * area.across[1];
    const toward = (x * ex + y * ny) / Math.hypot(x, y);
    if (toward > most + 1e-6) { most = toward; best = [row + dr, column + dc]; }
  }
  const [r, c] = best;
  if (r >= 0 && c >= 0 && r < area.rows && c < area.columns) {
    return area.start + r * area.columns + c;
  }
  const [x, y] = seatPlace(state, index);
  for (let far = 0.5; far < 40; far += 0.5) {
    const found = seatAt(state, x + ex * far, y + ny * far);
    if (found !== null && areaOf(state, found) !== area) return found;
  }
  return index;
}

// ---- the widget

const gripOf = (event) => event.target.closest?.(".gt-grip, .gt-ring");

class Sheet {
  constructor(model, el) {
    this.model = model;
    this.root = document.createElement("div");
    this.root.className = "gt-plan";
    this.canvas = document.createElement("canvas");
    this.ctx = this.canvas.getContext("2d");
    this.svg = made("svg", { role: "group", "aria-label": "Plan, north up, and section",
      "aria-description": KEYS, tabindex: -1 });
    this.plate = document.createElement("div");
    this.plate.className = "gt-plate";
    this.plate.setAttribute("role", "status");
    this.plate.hidden = true;
    this.root.append(this.canvas, this.svg, this.plate);
    el.append(this.root);
    el.classList.add("gt-plan-box");
    this.words = new Words(this.svg, document.createElement("canvas").getContext("2d"));
    this.handles = new Handles(this.svg);
    this.seat = made("g", { class: "gt-seat gt-away", tabindex: -1, role: "slider",
      "aria-label": "seat", "aria-description": `${KEYS} Enter looks at the seat closely.` },
    this.svg);
    made("circle", { class: "gt-seat-halo", r: 6 }, this.seat);
    made("circle", { r: 6 }, this.seat);
    this.sheets = new Map();
    this.state = {};
    this.number = model.get("rows").answered ?? 0;
    this.index = null;
    this.read(Object.keys(READ));
    this.listen();
    this.greet();
  }

  // ---- what the kernel says

  read(names) {
    for (const name of names) this.state[name] = READ[name](this.model.get(name));
    this.redraw();
  }

  listen() {
    this.watches = Object.keys(READ).map((name) => [`change:${name}`, () => this.read([name])]);
    this.watches.push(["change:rows", () => this.answered()]);
    this.watches.push(["msg:custom", (message) => this.heard(message)]);
    for (const [event, act] of this.watches) this.model.on(event, act);
    this.sized = new ResizeObserver(() => this.redraw());
    this.sized.observe(this.root);
    const on = (name, act) => this.svg.addEventListener(name, (e) => act.call(this, e));
    on("pointerdown", this.take);
    on("pointermove", this.pull);
    on("pointerup", this.letGo);
    on("pointercancel", this.letGo);
    on("lostpointercapture", this.letGo);
    on("pointerleave", () => this.leave());
    // before the notebook sees it: plain keys are the handles', Ctrl and its like the notebook's
    this.key = (event) => {
      if (!this.svg.contains(event.target) || event.ctrlKey || event.metaKey || event.altKey) return;
      event.stopPropagation();
      this.press(event);
    };
    window.addEventListener("keydown", this.key, true);
    on("keyup", this.unpress);
    on("focusin", this.focus);
    on("focusout", this.blur);
  }

  close() {
    for (const [event, act] of this.watches) this.model.off(event, act);
    this.sized.disconnect();
    cancelAnimationFrame(this.frame);
    clearInterval(this.watch);
    window.removeEventListener("keydown", this.key, true);
  }

  // anywidget gives up a model whose page was busy when it came: it is drawn but hears nothing
  greet() {
    let waited = 0, since = performance.now();
    this.post({ kind: "greet" });
    this.watch = setInterval(() => {
      waited += Math.min(performance.now() - since, 500);  // a busy page does not look either
      since = performance.now();
      if (waited < DEAF) return;
      waited = 0;
      this.post({ kind: "deaf" });
    }, 250);
  }

  heard(message) {
    clearInterval(this.watch);
    if (message.kind === "seat" && message.index === this.asking) {
      this.asking = null;
      if (message.index === this.index && !this.held) {
        this.valueSeat(message);
        this.say(message.words, seatPlace(this.state, message.index));
      }
      if (this.index !== null && this.index !== message.index) this.ask();
    }
    if (message.kind === "refused") {
      this.asking = null;
      this.tell(message.words);
    }
  }

  valueSeat({ words, index }) {
    const { values, scale } = this.state.map;
    put(this.seat, { "aria-valuetext": words, "aria-valuenow": values[index].toFixed(2),
      "aria-valuemin": scale.low, "aria-valuemax": scale.high });
  }

  // ---- drawing

  redraw() {
    this.frame ??= requestAnimationFrame(() => { this.frame = null; this.draw(); });
  }

  draw() {
    const { clientWidth: width, clientHeight: height } = this.root, s = this.state;
    if (!width || !height || !s.room || !s.map || !s.cut || !s.rows || !s.said) return;
    const begun = performance.now(), ratio = Math.min(window.devicePixelRatio || 1, 2);
    if (this.canvas.width !== Math.round(width * ratio)
      || this.canvas.height !== Math.round(height * ratio)) {
      this.canvas.width = Math.round(width * ratio);
      this.canvas.height = Math.round(height * ratio);
    }
    const at = this.at = laidOut(s, width, height, this.words), { ctx } = this;
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
    ctx.fillStyle = PAPER;
    ctx.fillRect(0, 0, width, height);
    ctx.lineJoin = "round";
    paintPlan(ctx, s, at, ratio, this.sheets);
    paintFurniture(ctx, s, at);
    paintCut(ctx, s, at);
    paintProfile(ctx, s, at);
    paintThrows(ctx, s, at);
    paintGhost(ctx, s, at);
    paintMarks(ctx, s, at);
    paintScale(ctx, s, at);
    this.words.begin();
    paintLegend(ctx, s, at, sayHeader(this.words, s, at));
    const bar = sayPlan(this.words, s, at);
    ctx.beginPath();
    ctx.moveTo(bar.x, bar.y - 3); ctx.lineTo(bar.x, bar.y + 3);
    ctx.moveTo(bar.x, bar.y); ctx.lineTo(bar.x + bar.w, bar.y);
    ctx.moveTo(bar.x + bar.w, bar.y - 3); ctx.lineTo(bar.x + bar.w, bar.y + 3);
    stroke(ctx, QUIET, 1);
    sayCut(this.words, s, at);
    this.words.end();
    standAll(this.handles, s, at);
    this.rove();
    this.placeSeat();
    this.root.dataset.frames = Number(this.root.dataset.frames ?? 0) + 1;
    this.root.dataset.drawMs = (performance.now() - begun).toFixed(2);
  }

  // ---- one stop of the Tab key, which wanders

  // what can be chosen, row by row, then the seats
  get stops() {
    const known = [...this.handles.known.values()];
    const rows = this.state.rows.rows.flatMap((row) => ["position", "aim", "height"].flatMap(
      (kind) => known.filter((h) => h.row.name === row.name && h.kind === kind)
        .sort((a, b) => a.cut - b.cut)));
    return [...rows.map((h) => h.node), this.seat];
  }

  rove(to = null) {
    const { stops } = this, picked = stops.find((node) => node.handle?.row.picked);
    if (to) this.stop = to;
    if (!stops.includes(this.stop)) this.stop = picked ?? stops[0];
    for (const node of stops) put(node, { tabindex: node === this.stop ? 0 : -1 });
  }

  wander(by) {
    const { stops } = this, n = stops.indexOf(this.stop);
    if (this.held) this.finish("release");
    stops[(n + by + stops.length) % stops.length].focus({ preventScroll: true });
  }

  // ---- the plate: one sentence beside what it is about

  say(text, place, reason = "", { cut = false, row = null, hint = "" } = {}) {
    const at = this.at;
    if (!at || !text) { this.plate.hidden = true; return; }
    const name = document.createElement("span");
    name.textContent = text;
    this.plate.replaceChildren(name);
    for (const [kind, words] of [["gt-reason", reason && `Stops here: ${reason}`],
      ["gt-hint", hint]]) {
      if (!words) continue;
      const more = document.createElement("b");
      more.className = kind;
      more.textContent = words;
      this.plate.append(more);
    }
    this.plate.hidden = false;
    const [x, y] = cut ? [at.S(place[0]), at.Z(place[1])] : [at.X(place[0]), at.Y(place[1])];
    this.beside(x, y, this.inTheWay(x, y, row));
  }

  // what the plate keeps off: x, y, how far around it, and how much it counts
  inTheWay(x, y, about) {
    const { state: s, at } = this, found = [[x, y, 14, 40]];
    const add = (row, weight) => {
      for (const [n, m] of row.members.entries()) {
        found.push([at.X(m.at[0]), at.Y(m.at[1]), 12, weight]);
        if (row.axis) found.push([at.X(m.end[0]), at.Y(m.end[1]), 10, weight]);
        if (n !== row.cut) continue;
        found.push([at.S(alongCut(s.cut, m.at[0], m.at[1])), at.Z(m.at[2]), 12, weight]);
        if (row.axis) {
          found.push([at.S(alongCut(s.cut, m.end[0], m.end[1])), at.Z(m.end[2]), 10, weight]);
        }
      }
    };
    for (const row of s.rows.rows) add(row, row.name === about ? 40 : 2);
    for (const row of s.ghost?.rows ?? []) add(row, row.name === about ? 40 : 1);
    for (const [, [mx, my]] of s.said.marks) found.push([at.X(mx), at.Y(my), 8, 4]);
    return found;
  }

  // the place near a point where the plate hides least; it stays on its side if it can
  beside(x, y, things) {
    const { offsetWidth: w, offsetHeight: h } = this.plate;
    const { width, height, header, graph } = this.at;
    let best = null;
    for (const far of [18, 34, 56, 84, 120, 170, 240]) {
      for (const [dx, dy] of SIDES) {
        const left = clamp(x + dx * far - w * (1 - dx) / 2, 4, Math.max(4, width - w - 4));
        const top = clamp(y + dy * far - h * (1 - dy) / 2, 4, Math.max(4, height - h - 4));
        const side = `${dx} ${dy} ${far}`;
        const hides = (x0, y0, x1, y1) => Math.max(0, Math.min(left + w, x1) - Math.max(left, x0))
          * Math.max(0, Math.min(top + h, y1) - Math.max(top, y0));
        let cost = far * 4 - (side === this.side ? 120 : 0);
        cost += 0.08 * hides(0, 0, width, header);  // the color scale, the profile
        cost += 0.08 * hides(graph.x - 30, graph.y - 18, graph.x + graph.w, graph.y + graph.h);
        for (const [px, py, r, weight] of things) {
          cost += weight * hides(px - r, py - r, px + r, py + r);
        }
        if (!best || cost < best.cost) best = { cost, left, top, side };
      }
    }
    this.side = best.side;
    this.plate.style.left = `${best.left}px`;
    this.plate.style.top = `${best.top}px`;
  }

  tell(text) {
    if (this.at) this.say(text, this.at.inPlan(16, this.at.header));
  }

  sayHandle(handle, reason = "") {
    const place = this.placeOf(handle, handle.grabbed ?? handle.main ?? 0);
    const hint = handle.node.matches(":focus-visible") && !this.held ? HINT : "";
    this.say(`${handle.label}: ${handle.words}`, place, reason,
      { cut: handle.cut, row: handle.row.name, hint });
  }

  // where a handle stands: in the plan, or in the section
  placeOf({ kind, row, cut }, member) {
    const now = this.state.rows.rows.find((r) => r.name === row.name) ?? row;
    const m = now.members[Math.min(cut ? now.cut : member, now.members.length - 1)];
    const p = kind === "aim" ? m.end : m.at;
    return cut ? [alongCut(this.state.cut, p[0], p[1]), p[2]] : [p[0], p[1]];
  }

  // ---- a hand

  where(event, cut) {
    const box = this.svg.getBoundingClientRect();
    const x = (event.clientX - box.left) * this.at.width / box.width;
    const y = (event.clientY - box.top) * this.at.height / box.height;
    return cut ? this.at.inCut(x, y) : this.at.inPlan(x, y);
  }

  // what a kernel that is gone does not hear is lost; the page says elsewhere that it is gone
  post(message) {
    try {
      this.model.send(message);
    } catch (error) {
      console.debug(error);
    }
  }

  send(message) {
    this.post({ ...message, number: ++this.number });
    this.waits = this.number;
  }

  take(event) {
    const grip = gripOf(event), handle = grip?.parentNode.parentNode.handle;
    if (event.button !== 0 || !this.at) return;
    if (!handle) { this.pin(event); return; }
    event.preventDefault();
    handle.node.focus({ preventScroll: true });
    this.svg.setPointerCapture(event.pointerId);
    const key = handle.kind === "aim" ? `aim ${grip.member} ${handle.row.name}` : handle.key;
    handle.grabbed = grip.member;
    this.held = { handle, key, cut: handle.cut, base: this.base(handle, grip.member),
      from: this.where(event, handle.cut), x: event.clientX, y: event.clientY };
    handle.node.classList.add("gt-held");
    this.seatAway();
    this.sayHandle(handle);
  }

  // from where a hand pulls: the middle of a row, a height, or where one of it lands
  base(handle, member) {
    if (handle.kind !== "position") return this.placeOf(handle, member);
    const all = handle.row.members;
    return [0, 1].map((n) => all.reduce((sum, m) => sum + m.at[n], 0) / all.length);
  }

  pull(event) {
    if (!this.at) return;
    const held = this.held;
    if (!held) { this.hover(event); return; }
    if (held.keys) return;
    if (!held.moves && Math.hypot(event.clientX - held.x, event.clientY - held.y) < TAKEN) return;
    held.moves = true;
    const now = this.where(event, held.cut);
    held.to = [0, 1].map((n) => held.base[n] + now[n] - held.from[n]);
    this.soon();
  }

  // one message a frame, and none before the last one was answered
  soon() {
    this.sending ??= requestAnimationFrame(() => { this.sending = null; this.flush(); });
  }

  flush(last = false) {
    const held = this.held;
    if (!held || (!last && this.waits)) return;
    const { key, cut } = held;
    if (held.to) {
      const { to } = held, inCut = cut && held.handle.kind === "aim";
      this.send({ kind: "move", handle: key, to, cut: inCut });
      held.to = null;
    } else if (held.by && (held.by[0] || held.by[1])) {
      this.send({ kind: "step", handle: key, by: held.by, cut: cut && held.handle.kind === "aim" });
      held.by = [0, 0];
    }
  }

  answered() {
    const rows = this.state.rows;
    if (rows.answered >= this.waits) this.waits = 0;
    if (!this.held) return;
    const handle = this.held.handle;
    handle.row = rows.rows.find((r) => r.name === handle.row.name) ?? handle.row;
    const about = handle.row.handles.find((h) => h.kind === handle.kind);
    if (about) handle.words = about.words;
    this.sayHandle(handle, rows.held ? rows.reason : "");
    this.flush();
  }

  letGo() {
    const held = this.held;
    if (!held || held.keys) return;
    this.finish("release");
  }

  finish(kind) {
    if (kind === "release") this.flush(true);
    const { handle, key } = this.held;
    this.send({ kind, handle: key });
    handle.node.classList.remove("gt-held");
    handle.grabbed = undefined;
    this.held = null;
    this.plate.hidden = true;
  }

  // ---- keys

  press(event) {
    if (event.key === "Escape") { this.escape(event); return; }
    const other = { n: 1, p: -1 }[event.key.toLowerCase()];
    if (other) { this.wander(other); return; }
    if (event.key.toLowerCase() === "s") { this.seat.focus({ preventScroll: true }); return; }
    if (event.target === this.seat) { this.pressSeat(event); return; }
    const handle = event.target.handle, arrow = ARROWS[event.key] ?? PAGES[event.key];
    if (!handle || !arrow) return;
    event.preventDefault();
    if (this.held && !this.held.keys) return;
    if (this.held && this.held.handle !== handle) this.finish("release");
    this.held ??= { handle, key: handle.key, cut: handle.cut, keys: true, by: [0, 0] };
    handle.node.classList.add("gt-held");
    const far = event.shiftKey && ARROWS[event.key] ? 5 : 1;
    this.held.by = this.held.by.map((v, n) => v + far * arrow[n]);
    this.held.moves = true;
    this.soon();
  }

  unpress(event) {
    if (this.held?.keys && (ARROWS[event.key] ?? PAGES[event.key])) this.finish("release");
  }

  escape(event) {
    if (!this.held) { this.plate.hidden = true; this.seatAway(); return; }
    event.preventDefault();
    this.held.to = this.held.by = null;
    this.finish("cancel");
  }

  focus(event) {
    const handle = event.target.handle;
    if (handle || event.target === this.seat) this.rove(event.target);
    if (handle && !this.held) this.sayHandle(handle);
    if (event.target === this.seat) this.look(this.index ?? this.state.room.areas[0].start);
  }

  blur(event) {
    if (this.held?.keys) this.finish("release");
    if (!this.held) this.plate.hidden = true;
    if (event.target === this.seat) this.seatAway();
  }

  // ---- seats

  hover(event) {
    const grip = gripOf(event);
    if (grip) {
      this.seatAway();
      this.sayHandle(grip.parentNode.parentNode.handle);
      return;
    }
    const [x, y] = this.where(event, false), index = seatAt(this.state, x, y);
    if (index === null) { this.leave(); return; }
    if (index !== this.index) this.look(index);
  }

  look(index) {
    this.index = index;
    this.placeSeat();
    if (this.asking === null || this.asking === undefined) this.ask();
  }

  ask() {
    this.asking = this.index;
    this.post({ kind: "hover", index: this.index });
  }

  placeSeat() {
    const place = this.index === null ? null : seatPlace(this.state, this.index);
    this.seat.classList.toggle("gt-away", !place);
    const [x, y] = place ?? this.state.room.areas[0].origin;
    put(this.seat, { transform: `translate(${this.at.X(x)} ${this.at.Y(y)})` });
  }

  seatAway() {
    this.index = null;
    if (this.at) this.placeSeat();
  }

  leave() {
    if (this.held || document.activeElement === this.seat) return;
    this.seatAway();
    this.plate.hidden = true;
  }

  pin(event) {
    const [x, y] = this.where(event, false), index = seatAt(this.state, x, y);
    if (index !== null) this.post({ kind: "pin", index });
  }

  pressSeat(event) {
    const arrow = ARROWS[event.key];
    if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      this.post({ kind: "pin", index: this.index });
    }
    if (!arrow) return;
    event.preventDefault();
    let index = this.index;
    for (let n = 0; n < (event.shiftKey ? 5 : 1); n++) index = seatBeside(this.state, index, arrow);
    this.look(index);
  }
}

export default {
  render({ model, el }) {
    const sheet = new Sheet(model, el);
    sheet.root.sheet = sheet;  // for benchmarks
    return () => sheet.close();
  },
};
