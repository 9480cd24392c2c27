"use strict";
/* The picture of the part, its callouts, and their tie to the rows of the table. */

const inspection = JSON.parse(document.getElementById("inspection").textContent);
const shown = JSON.parse(document.getElementById("shown").textContent);
const states = { before: solidFrom(shown.before), after: shown.after && solidFrom(shown.after) };
let solid = states.before;
const figure = document.getElementById("picture");
const canvas = figure.querySelector("canvas");
const lines = figure.querySelector("svg");
// The picture is worked out here, not on a graphics card, and is best kept where it is worked out.
const paper = canvas.getContext("2d", { willReadFrequently: true });
const STEP_DEG = 10;
const ZOOM_STEP = 1.2;
const MARGIN = 36;
const state = { turn: shown.turn.slice(), zoom: 1, shift: [0, 0], picked: 0, moving: false, waiting: false };

const callouts = inspection.sizes
  .map((size, index) => ({ number: index + 1, size, scanned: size.points_mm, made: shown.reshaped?.points[index] ?? size.points_mm }))
  .filter((callout) => callout.scanned.length > 0);

/** Whether the part is shown as the sheet has it reshaped: it is another one then, and its sizes lie elsewhere. */
function isReshaped() {
  return Boolean(shown.reshaped) && solid === states.after;
}

/** The turn under which what is shown is first seen. */
function firstTurn() {
  return isReshaped() ? shown.reshaped.turn : shown.turn;
}

function pointsOf({ scanned, made }) {
  return isReshaped() ? made : scanned;
}

for (const callout of callouts) callout.button = balloonFor(callout);

function balloonFor({ number, size }) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = `balloon is-${size.verdict.toLowerCase()}`;
  button.textContent = size.reading_mm === null && size.nominal_mm === null ? `${number} ${size.name}` : `${number}`;
  button.setAttribute("aria-label", `${number} ${size.name}: ${size.verdict}`);
  button.setAttribute("aria-pressed", "false");
  button.addEventListener("click", () => pick(number, "callout"));
  figure.append(button);
  return button;
}

/** Pick a row and its callout, or let go of them when they are picked already; what was not clicked comes into view. */
function pick(number, clicked) {
  state.picked = state.picked === number ? 0 : number;
  for (const row of document.querySelectorAll("tbody[data-row]")) {
    const on = Number(row.dataset.row) === state.picked;
    row.classList.toggle("on", on);
    row.querySelector("button").setAttribute("aria-pressed", String(on));
    if (on && clicked !== "row") row.scrollIntoView({ block: "nearest" });
  }
  for (const { number: own, button } of callouts) {
    button.classList.toggle("on", own === state.picked);
    button.setAttribute("aria-pressed", String(own === state.picked));
  }
  figure.classList.toggle("picking", callouts.some((callout) => callout.number === state.picked));
  if (state.picked && clicked === "row") figure.scrollIntoView({ block: "nearest" });
  redraw();
}

for (const row of document.querySelectorAll("tbody[data-row]")) {
  row.addEventListener("click", () => {
    if (String(window.getSelection()) === "") pick(Number(row.dataset.row), "row");
  });
}

/* Before and after, and what the colours say. */

const coloured = shown.colours && colouredBy(shown.colours, states.before);

for (const choice of document.querySelectorAll("input[name='colour']")) {
  choice.addEventListener("change", () => {
    if (choice.value === "deviation") document.querySelector("input[name='state'][value='before']")?.click();
    solid = choice.value === "deviation" ? coloured : states.before;
    redraw();
  });
}

for (const choice of document.querySelectorAll("input[name='state']")) {
  choice.addEventListener("change", () => {
    solid = states[choice.value];
    if (shown.reshaped) showWhole();
    const plain = document.querySelector("input[name='colour'][value='origin']");
    if (plain) plain.checked = true;
    redraw();
  });
}

/* Turning, moving and zooming. */

function turned(turn, aboutAcross, aboutUp) {
  const [ca, sa, cu, su] = [Math.cos(aboutAcross), Math.sin(aboutAcross), Math.cos(aboutUp), Math.sin(aboutUp)];
  const step = [cu, 0, su, sa * su, ca, -sa * cu, -ca * su, sa, ca * cu];
  return turn.map((_, k) => {
    const [row, column] = [3 * Math.floor(k / 3), k % 3];
    return step[row] * turn[column] + step[row + 1] * turn[column + 3] + step[row + 2] * turn[column + 6];
  });
}

function turnBy(acrossDeg, upDeg) {
  state.turn = turned(state.turn, (acrossDeg * Math.PI) / 180, (upDeg * Math.PI) / 180);
  redraw();
}

function zoomBy(factor) {
  state.zoom = Math.min(40, Math.max(0.5, state.zoom * factor));
  redraw();
}

function showWhole() {
  Object.assign(state, { turn: firstTurn().slice(), zoom: 1, shift: [0, 0] });
  redraw();
}

const fingers = new Map();

canvas.addEventListener("pointerdown", (event) => {
  canvas.setPointerCapture(event.pointerId);
  fingers.set(event.pointerId, [event.clientX, event.clientY]);
});

canvas.addEventListener("pointermove", (event) => {
  const before = fingers.get(event.pointerId);
  if (!before) return;
  const now = [event.clientX, event.clientY];
  const [across, down] = [now[0] - before[0], now[1] - before[1]];
  state.moving = true;
  if (fingers.size === 2) {
    const other = [...fingers].find(([id]) => id !== event.pointerId)[1];
    shiftBy(across / 2, down / 2);
    zoomBy(Math.hypot(now[0] - other[0], now[1] - other[1]) / Math.hypot(before[0] - other[0], before[1] - other[1]));
  } else if (event.shiftKey) {
    shiftBy(across, down);
  } else {
    turnBy(down * 0.4, across * 0.4);
  }
  fingers.set(event.pointerId, now);
});

function shiftBy(across, down) {
  state.shift = [state.shift[0] + across, state.shift[1] + down];
  redraw();
}

for (const kind of ["pointerup", "pointercancel"]) {
  canvas.addEventListener(kind, (event) => {
    fingers.delete(event.pointerId);
    state.moving = false;
    redraw();
  });
}

// Without the focus or Ctrl the wheel goes on scrolling the page past the picture.
canvas.addEventListener("wheel", (event) => {
  if (document.activeElement !== canvas && !event.ctrlKey) return;
  event.preventDefault();
  zoomBy(event.deltaY < 0 ? ZOOM_STEP : 1 / ZOOM_STEP);
}, { passive: false });

const KEYS = {
  ArrowLeft: () => turnBy(0, -STEP_DEG),
  ArrowRight: () => turnBy(0, STEP_DEG),
  ArrowUp: () => turnBy(-STEP_DEG, 0),
  ArrowDown: () => turnBy(STEP_DEG, 0),
  "+": () => zoomBy(ZOOM_STEP),
  "-": () => zoomBy(1 / ZOOM_STEP),
  0: showWhole,
};

canvas.addEventListener("keydown", (event) => {
  if (!(event.key in KEYS) || event.ctrlKey || event.metaKey) return;
  event.preventDefault();
  KEYS[event.key]();
});

for (const button of document.querySelectorAll("button[data-key]")) {
  button.addEventListener("click", () => KEYS[button.dataset.key]());
}

/* Drawing. */

function redraw() {
  if (state.waiting) return;
  state.waiting = true;
  requestAnimationFrame(() => {
    state.waiting = false;
    draw();
  });
}

let picture = null;

/** A picture of the figure's size: one pixel a screen pixel while it moves, finer once it stands. */
function pictureFor(width, height) {
  const fine = state.moving ? 1 : Math.max(2, window.devicePixelRatio || 1);
  const [w, h] = [Math.round(width * fine), Math.round(height * fine)];
  if (!picture || picture.width !== w || picture.height !== h) {
    [canvas.width, canvas.height] = [w, h];
    const image = paper.createImageData(w, h);
    const pixels = new Uint32Array(image.data.buffer);
    picture = { width: w, height: h, image, pixels, depth: new Float32Array(w * h) };
  }
  return Object.assign(picture, { fine, grain: 3 * fine });
}

function draw() {
  const [width, height] = [figure.clientWidth, figure.clientHeight];
  if (width === 0 || height === 0) return;
  const scale = state.zoom * shownScale(width, height);
  const view = { turn: state.turn, scale, middle: [width / 2 + state.shift[0], height / 2 + state.shift[1]] };
  const fresh = pictureFor(width, height);
  const finer = { turn: view.turn, scale: scale * fresh.fine, middle: view.middle.map((at) => at * fresh.fine) };
  drawSolid(solid, finer, fresh);
  drawOutlines(fresh, 0.02 * solid.radius);
  paper.putImageData(fresh.image, 0, 0);
  figure.style.aspectRatio = `${width} / ${height}`;
  drawCallouts(view, width, height, fresh);
  figure.classList.add("drawn");
}

/** Points a millimetre that show the whole part, with room for the balloons about it. */
function shownScale(width, height) {
  const seen = projectAll(solid, { turn: firstTurn(), scale: 1, middle: [0, 0] });
  let [across, up] = [1e-6, 1e-6];
  for (let k = 0; k < seen.length; k += 3) {
    across = Math.max(across, Math.abs(seen[k]));
    up = Math.max(up, Math.abs(seen[k + 1]));
  }
  return Math.min((width / 2 - MARGIN) / across, (height / 2 - MARGIN) / up);
}

function drawCallouts(view, width, height, { fine, depth, width: across }) {
  const frame = isReshaped() ? solid : states.before;
  const there = callouts.filter((callout) => pointsOf(callout).length > 0);
  for (const callout of callouts) callout.button.hidden = !there.includes(callout);
  const placed = placeBalloons(there, there.map((callout) => pointsOf(callout).map((point) => project(point, frame, view))), view, width, height);
  lines.setAttribute("viewBox", `0 0 ${width} ${height}`);
  lines.replaceChildren(...there.map((callout, k) => {
    const hidden = placed[k].ends.every(([x, y, z]) => z < depthAt(depth, across, x * fine, y * fine) - 0.02 * solid.radius);
    callout.button.style.left = `${(100 * placed[k].balloon[0]) / width}%`;
    callout.button.style.top = `${(100 * placed[k].balloon[1]) / height}%`;
    callout.button.classList.toggle("behind", hidden);
    return linesFor(placed[k], `dimension ${hidden ? "behind" : ""} ${callout.number === state.picked ? "on" : ""}`);
  }));
}

function depthAt(depth, width, x, y) {
  const at = Math.round(y) * width + Math.round(x);
  return at >= 0 && at < depth.length ? depth[at] : -Infinity;
}

/** Balloons stand outside their size as seen from the part's middle, and push one another apart. */
function placeBalloons(there, ends, { middle }, width, height) {
  const placed = ends.map((points, k) => {
    const anchor = [0, 1].map((axis) => points.reduce((sum, point) => sum + point[axis], 0) / points.length);
    const away = [anchor[0] - middle[0], anchor[1] - middle[1] - 1];
    const length = Math.hypot(...away);
    const { button } = there[k];
    const balloon = anchor.map((at, axis) => at + (44 * away[axis]) / length);
    return { ends: points, anchor, balloon, half: [button.offsetWidth / 2, button.offsetHeight / 2] };
  });
  for (let round = 0; round < 60; round++) pushApart(placed, width, height);
  return placed;
}

/** Two balloons that cover each other part along the axis on which that takes the shorter way. */
function pushApart(placed, width, height) {
  const BETWEEN = 6;
  for (const [k, one] of placed.entries()) {
    for (const two of placed.slice(k + 1)) {
      const gap = [0, 1].map((axis) => two.balloon[axis] - one.balloon[axis] || 0.1 * (axis + 1));
      const covered = [0, 1].map((axis) => one.half[axis] + two.half[axis] + BETWEEN - Math.abs(gap[axis]));
      if (Math.min(...covered) <= 0) continue;
      const axis = covered[0] < covered[1] ? 0 : 1;
      const push = 0.5 * covered[axis] * Math.sign(gap[axis]);
      one.balloon[axis] -= push;
      two.balloon[axis] += push;
    }
    [width, height].forEach((room, axis) => {
      const edge = one.half[axis] + 2;
      one.balloon[axis] = Math.min(room - edge, Math.max(edge, one.balloon[axis]));
    });
  }
}

function linesFor({ ends, anchor, balloon }, kind) {
  const group = drawn("g", { class: kind });
  if (ends.length === 2) group.append(line(ends[0], ends[1]));
  group.append(line(anchor, balloon, "leader"));
  group.append(...ends.map(([x, y]) => drawn("circle", { cx: x, cy: y, r: 3.5 })));
  return group;
}

function line([x1, y1], [x2, y2], kind = "between") {
  return drawn("line", { x1, y1, x2, y2, class: kind });
}

function drawn(name, attributes) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  return element;
}

/* The report as a file. */

function saveAs(name, text, type) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([text], { type }));
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
}

document.getElementById("save").addEventListener("click", () => {
  const part = inspection.part.replace(/[^\p{L}\p{N}._-]+/gu, "_");
  saveAs(`${part}.report.json`, document.getElementById("inspection").textContent, "application/json");
});

new ResizeObserver(redraw).observe(figure);
