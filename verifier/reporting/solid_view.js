"use strict";
/*
 * Draws a triangle mesh into a picture by itself. No graphics driver and no library is asked for, so the part looks the
 * same on an old machine, over a remote desktop and on paper; sixty thousand triangles take some hundredths of a second.
 * Lengths are millimetres; a view is {turn, scale, middle}: row-major 3 x 3 turn, picture points a millimetre, and
 * where in the picture the part's middle lies. Depth grows towards the eye.
 */

// Steps of brightness: more than an eye tells apart on one matt surface.
const SHADES = 64;
// A corner between faces that meet at more than about 37 degrees is an edge and is not shaded as if it were round.
const ROUND_COSINE = 0.8;
// Light over the left shoulder, in the eye's frame.
const LIGHT = [-0.36, 0.48, 0.8];
// Measured, filled, rebuilt, joined: apart in brightness as well as in hue, and told apart again by their texture.
const SURFACES = [[214, 211, 203], [228, 138, 20], [58, 132, 200], [118, 70, 134]];

function unpacked(text, Kind) {
  const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  return new Kind(bytes.buffer);
}

/** The scale of deviations laid on a solid: the step of every corner, and a table of colours that holds the steps. */
function colouredBy(colours, solid) {
  const steps = unpacked(colours.steps, Uint8Array).map((step) => (step === NOT_COMPARED ? colours.paints.length : step));
  return { ...solid, steps, inks: inksOf([...SURFACES, ...colours.paints, PLAIN_GREY]) };
}

/** The mesh with what every drawing of it needs: middle, radius, normals, and which corners belong to round surface. */
function solidFrom(packed) {
  const vertices = unpacked(packed.vertices, Float32Array);
  const faces = unpacked(packed.faces, packed.wide ? Uint32Array : Uint16Array);
  const origin = unpacked(packed.origin, Uint8Array);
  const solid = { vertices, faces, origin, ...boxOf(vertices), ...normalsOf(vertices, faces) };
  solid.round = roundCorners(solid);
  solid.inks = inksOf(SURFACES);
  return solid;
}

function boxOf(vertices) {
  const least = [Infinity, Infinity, Infinity];
  const most = [-Infinity, -Infinity, -Infinity];
  for (let k = 0; k < vertices.length; k++) {
    least[k % 3] = Math.min(least[k % 3], vertices[k]);
    most[k % 3] = Math.max(most[k % 3], vertices[k]);
  }
  const middle = least.map((low, axis) => (low + most[axis]) / 2);
  return { middle, radius: Math.hypot(...most.map((high, axis) => high - least[axis])) / 2 };
}

function normalsOf(vertices, faces) {
  const ofFace = new Float32Array(faces.length);
  const ofVertex = new Float32Array(vertices.length);
  for (let f = 0; f < faces.length; f += 3) {
    const [a, b, c] = [3 * faces[f], 3 * faces[f + 1], 3 * faces[f + 2]];
    const [ux, uy, uz] = [0, 1, 2].map((k) => vertices[b + k] - vertices[a + k]);
    const [wx, wy, wz] = [0, 1, 2].map((k) => vertices[c + k] - vertices[a + k]);
    const normal = [uy * wz - uz * wy, uz * wx - ux * wz, ux * wy - uy * wx];
    for (let k = 0; k < 3; k++) {
      ofFace[f + k] = normal[k];
      for (const corner of [a, b, c]) ofVertex[corner + k] += normal[k];
    }
  }
  return { ofFace: unitLength(ofFace), ofVertex: unitLength(ofVertex) };
}

function unitLength(vectors) {
  for (let k = 0; k < vectors.length; k += 3) {
    const length = Math.hypot(vectors[k], vectors[k + 1], vectors[k + 2]) || 1;
    for (let axis = 0; axis < 3; axis++) vectors[k + axis] /= length;
  }
  return vectors;
}

function roundCorners({ faces, ofFace, ofVertex }) {
  const round = new Uint8Array(faces.length);
  for (let corner = 0; corner < faces.length; corner++) {
    const f = corner - (corner % 3);
    const v = 3 * faces[corner];
    const cosine = ofFace[f] * ofVertex[v] + ofFace[f + 1] * ofVertex[v + 1] + ofFace[f + 2] * ofVertex[v + 2];
    round[corner] = cosine > ROUND_COSINE ? 1 : 0;
  }
  return round;
}

/** Where a point of the part lies in the picture, and its depth. */
function project(point, solid, view) {
  const t = view.turn;
  const [x, y, z] = point.map((value, axis) => value - solid.middle[axis]);
  return [
    view.middle[0] + view.scale * (t[0] * x + t[1] * y + t[2] * z),
    view.middle[1] - view.scale * (t[3] * x + t[4] * y + t[5] * z),
    t[6] * x + t[7] * y + t[8] * z,
  ];
}

function projectAll({ vertices, middle }, { turn: t, scale, middle: [left, top] }) {
  const seen = new Float32Array(vertices.length);
  for (let k = 0; k < vertices.length; k += 3) {
    const x = vertices[k] - middle[0];
    const y = vertices[k + 1] - middle[1];
    const z = vertices[k + 2] - middle[2];
    seen[k] = left + scale * (t[0] * x + t[1] * y + t[2] * z);
    seen[k + 1] = top - scale * (t[3] * x + t[4] * y + t[5] * z);
    seen[k + 2] = t[6] * x + t[7] * y + t[8] * z;
  }
  return seen;
}

/** Brightness, 0 to SHADES - 1, of every one of the normals once turned. */
function brightness(normals, t) {
  const light = [0, 1, 2].map((axis) => LIGHT[0] * t[axis] + LIGHT[1] * t[3 + axis] + LIGHT[2] * t[6 + axis]);
  const bright = new Float32Array(normals.length / 3);
  for (let k = 0; k < bright.length; k++) {
    const facing = normals[3 * k] * light[0] + normals[3 * k + 1] * light[1] + normals[3 * k + 2] * light[2];
    bright[k] = (SHADES - 1) * (0.4 + 0.6 * Math.max(0, facing));
  }
  return bright;
}

// Beyond the four surfaces come the steps of the scale of deviations, and last what was not compared.
const PLAIN_GREY = [150, 150, 148];
const NOT_COMPARED = 127;

/** A table of pixel colours: surface, then plain or textured, then brightness. */
function inksOf(paints) {
  const inks = new Uint32Array(paints.length * 2 * SHADES);
  for (let k = 0; k < inks.length; k++) {
    const shade = (k % SHADES) / (SHADES - 1);
    const textured = Math.floor(k / SHADES) % 2;
    const [r, g, b] = paints[Math.floor(k / SHADES / 2)].map((full) => full * shade * (textured ? 0.66 : 1));
    inks[k] = (255 << 24) | (b << 16) | (g << 8) | r;
  }
  return inks;
}

/**
 * Draw the solid into picture {width, height, pixels: Uint32Array, depth: Float32Array, grain}; grain is the size of the
 * texture in pixels. Faces turned away are left out: the solid is closed.
 */
function drawSolid(solid, view, picture) {
  const { width, height, pixels, depth, grain } = picture;
  const { faces, origin, round, steps, inks } = solid;
  const seen = projectAll(solid, view);
  const faceBright = brightness(solid.ofFace, view.turn);
  const cornerBright = brightness(solid.ofVertex, view.turn);
  pixels.fill(0);
  depth.fill(-Infinity);
  for (let f = 0; f < origin.length; f++) {
    const c = 3 * f;
    const [i, j, k] = [3 * faces[c], 3 * faces[c + 1], 3 * faces[c + 2]];
    const ax = seen[i], ay = seen[i + 1], bx = seen[j], by = seen[j + 1], cx = seen[k], cy = seen[k + 1];
    const area = (cx - ax) * (by - ay) - (bx - ax) * (cy - ay);
    if (!(area > 0)) continue;
    const left = Math.max(0, Math.ceil(Math.min(ax, bx, cx))), right = Math.min(width - 1, Math.floor(Math.max(ax, bx, cx)));
    const top = Math.max(0, Math.ceil(Math.min(ay, by, cy))), bottom = Math.min(height - 1, Math.floor(Math.max(ay, by, cy)));
    const flat = faceBright[f];
    const la = round[c] ? cornerBright[i / 3] : flat;
    const lb = round[c + 1] ? cornerBright[j / 3] : flat;
    const lc = round[c + 2] ? cornerBright[k / 3] : flat;
    const ink = 2 * SHADES * origin[f];
    for (let y = top; y <= bottom; y++) {
      for (let x = left; x <= right; x++) {
        const wb = ((cx - ax) * (y - ay) - (x - ax) * (cy - ay)) / area;
        const wc = ((x - ax) * (by - ay) - (bx - ax) * (y - ay)) / area;
        const wa = 1 - wb - wc;
        if (wa < 0 || wb < 0 || wc < 0) continue;
        const z = wa * seen[i + 2] + wb * seen[j + 2] + wc * seen[k + 2];
        const at = y * width + x;
        if (z <= depth[at]) continue;
        depth[at] = z;
        const shade = (wa * la + wb * lb + wc * lc) | 0;
        if (steps) {
          const step = steps[(wa >= wb && wa >= wc ? i : wb >= wc ? j : k) / 3];
          pixels[at] = inks[2 * SHADES * (SURFACES.length + step) + shade];
        } else {
          pixels[at] = inks[ink + texture(origin[f], x, y, grain) * SHADES + shade];
        }
      }
    }
  }
}

/** 1 where the texture is dark: none on measured surface, slanting stripes on filled, dots on rebuilt, upright bars on a seam. */
function texture(origin, x, y, grain) {
  if (origin === 0) return 0;
  if (origin === 1) return Math.floor((x + y) / grain) % 3 === 0 ? 1 : 0;
  if (origin === 3) return Math.floor(x / grain) % 2 === 0 ? 1 : 0;
  return Math.floor(x / grain) % 3 === 0 && Math.floor(y / grain) % 3 === 0 ? 1 : 0;
}

/** Darken the pixels beside a fall of more than `step` millimetres, as a draughtsman draws the edges that stand out. */
function drawOutlines({ width, height, pixels, depth }, step) {
  const dark = [];
  for (let at = 0; at < width * (height - 1) - 1; at++) {
    for (const next of [at + 1, at + width]) {
      const fall = depth[at] - depth[next];
      if (fall > step) dark.push(at);
      else if (-fall > step) dark.push(next);
    }
  }
  for (const at of dark) pixels[at] = (255 << 24) | (64 << 16) | (66 << 8) | 60;
}
