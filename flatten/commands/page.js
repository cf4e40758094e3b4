// The drape in 3D on a plain canvas: triangles sorted from far to near, threads drawn with them;
// and the buttons of the page.
"use strict";
(() => {
  const byId = (id) => document.getElementById(id);
  const canvas = byId("view"), pen = canvas.getContext("2d");
  const STEP_MM = 20, BEHIND = 0.02;
  // Dark blue through grey to yellow, lightness rising evenly: told apart without red and green.
  const SCALE = [[4, 46, 105], [61, 65, 105], [94, 86, 106], [123, 108, 105], [151, 131, 103],
    [179, 156, 100], [206, 180, 96], [233, 206, 89], [255, 232, 80]];
  const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer;
  // Numbers are whole steps from each column's least.
  function numbers({ low, step, data }) {
    return Float32Array.from(new Uint16Array(bytes(data)), (n, i) => low[i % low.length] + n * step);
  }
  const indices = ({ wide, faces }) => new (wide ? Uint32Array : Uint16Array)(bytes(faces));
  const told = JSON.parse(byId("seen").textContent);
  const pieces = told.pieces.map((one, number) => ({
    ...one, number, vertices: numbers(one.vertices), flat: numbers(one.flat), faces: indices(one),
    maps: Object.fromEntries(Object.entries(one.maps).map(([key, map]) => [key, numbers(map)])),
  }));
  const mould = { ...told.mould, vertices: numbers(told.mould.vertices), faces: indices(told.mould) };
  mould.lit = Object.fromEntries(mould.lit.map((faces, n) => [n, faces]));
  const MOULD = [198, 195, 188], LIT = [202, 44, 122];
  const start = { turn: -0.4, tilt: 0.9, zoom: 1 };
  let look = { ...start }, piece = pieces[0], asked = false, finding = null;  // no piece: the mould

  function rgb(share) {
    const place = Math.min(Math.max(share, 0), 1) * (SCALE.length - 1);
    const low = Math.min(Math.floor(place), SCALE.length - 2), part = place - low;
    return SCALE[low].map((c, i) => c + (SCALE[low + 1][i] - c) * part);
  }

  // Unit vector of the mean normal: the lay-up side, towards the person.
  function frame(p) {
    const up = [0, 0, 0], v = p.vertices, f = p.faces;
    for (let t = 0; t < f.length; t += 3) {
      const n = normal(v, f[t] * 3, f[t + 1] * 3, f[t + 2] * 3);
      for (let i = 0; i < 3; i++) up[i] += n[i];
    }
    const unit = scaled(up), aside = Math.abs(unit[0]) < 0.9 ? [1, 0, 0] : [0, 1, 0];
    const away = scaled(cross(unit, aside));
    return [cross(away, unit), away, unit];
  }
  const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2],
    a[0] * b[1] - a[1] * b[0]];
  function scaled(a) {
    const length = Math.hypot(...a) || 1;
    return a.map((x) => x / length);
  }
  function normal(v, a, b, c) {
    return cross([v[b] - v[a], v[b + 1] - v[a + 1], v[b + 2] - v[a + 2]],
      [v[c] - v[a], v[c + 1] - v[a + 1], v[c + 2] - v[a + 2]]);
  }

  // Rows are right, up and towards the eye.
  function axes() {
    const p = piece ?? pieces[0];
    p.frame ??= frame(p);
    const [x, y, z] = p.frame, c = Math.cos(look.turn), s = Math.sin(look.turn);
    const right = x.map((_, i) => c * x[i] + s * y[i]), away = cross(z, right);
    const e = Math.sin(look.tilt), h = Math.cos(look.tilt);
    const eye = z.map((_, i) => e * z[i] - h * away[i]);
    return [right, cross(eye, right), eye];
  }

  // What is drawn now: a shape and which of its faces.
  function scene() {
    const every = (count) => Array.from({ length: count }, (_, t) => t);
    const faces = every(mould.faces.length / 3);
    if (!piece) return [[mould, faces]];
    const cloth = [piece, every(piece.faces.length / 3)];
    if (!byId("around").checked) return [cloth];
    const over = new Set(mould.over[piece.number]);
    return [[mould, faces.filter((t) => !over.has(t))], cloth];
  }

  // Each vertex as right, up and near.
  function turned(v, rows) {
    const to = new Float32Array(v.length);
    for (let i = 0; i < v.length; i += 3) for (let r = 0; r < 3; r++) {
      const a = rows[r];
      to[i + r] = a[0] * v[i] + a[1] * v[i + 1] + a[2] * v[i + 2];
    }
    return to;
  }

  function bounds(shapes) {
    const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
    for (const seen of shapes) for (let i = 0; i < seen.length; i++) {
      low[i % 3] = Math.min(low[i % 3], seen[i]);
      high[i % 3] = Math.max(high[i % 3], seen[i]);
    }
    return [low, high];
  }

  function draw() {
    asked = false;
    const dense = window.devicePixelRatio || 1, box = canvas.getBoundingClientRect();
    canvas.width = Math.round(box.width * dense);
    canvas.height = Math.round(box.height * dense);
    const rows = axes(), shapes = scene(), seen = shapes.map(([shape]) => turned(shape.vertices, rows));
    const [low, high] = bounds(seen), size = Math.hypot(...low.map((l, r) => high[r] - l));
    const scale = look.zoom * 1.12 * Math.min(canvas.width / size, canvas.height / size * 1.3);
    const px = (x) => canvas.width / 2 + (x - (low[0] + high[0]) / 2) * scale;
    const py = (y) => canvas.height / 2 - (y - (low[1] + high[1]) / 2) * scale;
    const order = [];
    shapes.forEach(([shape, faces], k) => {
      const lit = new Set(shape.lit[finding]), at = seen[k], f = shape.faces;
      for (const t of faces) {
        const c = [3 * f[3 * t], 3 * f[3 * t + 1], 3 * f[3 * t + 2]], n = scaled(normal(at, ...c));
        // From behind the mould is left out, or it would hide what lies in it.
        if (shape === mould && n[2] < 0 && !lit.has(t)) continue;
        order.push({ shape, at, c, n, t, lit: lit.has(t), near: at[c[0] + 2] + at[c[1] + 2] + at[c[2] + 2] });
      }
    });
    order.sort((a, b) => a.near - b.near);
    pen.lineJoin = "round";
    const which = byId("map").value, shown = piece?.threads && byId("threads").checked;
    const values = piece?.maps[which], most = piece?.most[which] || 1e-6;
    // A thread is drawn after what is little nearer, or its neighbours' edges would cover it.
    const late = [], behind = 3 * BEHIND * size;
    let drawn = 0;
    for (const one of order) {
      const { n, c, at } = one, cloth = one.shape !== mould;
      const light = 0.55 + 0.45 * Math.abs(0.35 * n[0] + 0.5 * n[1] + 0.79 * n[2]);
      const base = one.lit ? LIT : cloth ? rgb(values[one.t] / most) : MOULD;
      pen.fillStyle = pen.strokeStyle = `rgb(${base.map((x) => Math.round(x * light)).join()})`;
      pen.lineWidth = 0.8 * dense;
      pen.beginPath();
      c.forEach((i, k) => (k ? pen.lineTo(px(at[i]), py(at[i + 1])) : pen.moveTo(px(at[i]), py(at[i + 1]))));
      pen.closePath();
      pen.fill();
      pen.stroke();
      if (!shown) continue;
      if (cloth) late.push(one);
      while (drawn < late.length && late[drawn].near < one.near - behind) threads(late[drawn++], px, py, dense);
    }
    while (drawn < late.length) threads(late[drawn++], px, py, dense);
    if (piece) tack(rows, px, py, dense);
  }

  // The straight lines of the flat cloth that cross this triangle, on the mould.
  function threads({ shape, at: seen, c }, px, py, dense) {
    for (const axis of [0, 1]) {
      const at = c.map((i) => shape.flat[2 * i / 3 + axis]);
      const first = Math.ceil(Math.min(...at) / STEP_MM), last = Math.floor(Math.max(...at) / STEP_MM);
      for (let n = first; n <= last; n++) {
        const ends = [];
        for (let k = 0; k < 3; k++) {
          const a = at[k] - n * STEP_MM, b = at[(k + 1) % 3] - n * STEP_MM;
          if (a === b || a * b > 0) continue;
          const share = a / (a - b), i = c[k], j = c[(k + 1) % 3];
          ends.push([px(seen[i] + (seen[j] - seen[i]) * share),
            py(seen[i + 1] + (seen[j + 1] - seen[i + 1]) * share)]);
        }
        if (ends.length < 2) continue;
        pen.strokeStyle = axis ? "rgba(255,255,255,.85)" : "rgba(255,190,110,.9)";
        pen.lineWidth = (n === 0 ? 2.4 : 1) * dense;
        pen.beginPath();
        pen.moveTo(...ends[0]);
        pen.lineTo(...ends[1]);
        pen.stroke();
      }
    }
  }

  function tack(rows, px, py, dense) {
    const [x, y] = turned(piece.tack, rows);
    pen.beginPath();
    pen.arc(px(x), py(y), 5 * dense, 0, 7);
    pen.fillStyle = "#fff";
    pen.strokeStyle = "#c17814";
    pen.lineWidth = 2.5 * dense;
    pen.fill();
    pen.stroke();
  }

  function legend() {
    if (!piece) {
      byId("legend").replaceChildren(finding ? "Coloured: where the finding is" : "The mould of the job");
      return;
    }
    const which = byId("map").value, most = piece.most[which];
    const unit = which === "shear" ? "°" : " %", colours = SCALE.map((c) => `rgb(${c.join()})`);
    const bar = document.createElement("div");
    bar.style.background = `linear-gradient(to right, ${colours.join()})`;
    byId("legend").replaceChildren(`0${unit}`, bar, `${most.toFixed(most < 10 ? 2 : 1)}${unit}, either way`);
  }

  function ask() {
    if (!asked) requestAnimationFrame(draw);
    asked = true;
  }
  function turn(x, y) {
    look.turn += x;
    look.tilt = Math.min(Math.max(look.tilt + y, -1.57), 1.57);
    ask();
  }
  function nearer(factor) {
    look.zoom = Math.min(Math.max(look.zoom * factor, 0.2), 12);
    ask();
  }

  const down = new Map();
  canvas.addEventListener("pointerdown", (event) => {
    down.set(event.pointerId, event);
    canvas.setPointerCapture(event.pointerId);
  });
  canvas.addEventListener("pointermove", (event) => {
    const before = down.get(event.pointerId);
    if (!before) return;
    if (down.size === 1) turn((before.clientX - event.clientX) / 160, (event.clientY - before.clientY) / 160);
    if (down.size === 2) {
      const other = [...down.values()].find((one) => one.pointerId !== event.pointerId);
      const gap = (one) => Math.hypot(one.clientX - other.clientX, one.clientY - other.clientY);
      nearer(gap(event) / Math.max(gap(before), 1));
    }
    down.set(event.pointerId, event);
  });
  for (const end of ["pointerup", "pointercancel"]) {
    canvas.addEventListener(end, (event) => down.delete(event.pointerId));
  }
  canvas.addEventListener("wheel", (event) => {
    event.preventDefault();
    nearer(Math.exp(-event.deltaY / 600));
  }, { passive: false });
  canvas.addEventListener("keydown", (event) => {
    const keys = { ArrowLeft: () => turn(0.1, 0), ArrowRight: () => turn(-0.1, 0),
      ArrowUp: () => turn(0, 0.1), ArrowDown: () => turn(0, -0.1), "+": () => nearer(1.15),
      "=": () => nearer(1.15), "-": () => nearer(1 / 1.15), Home: () => home() };
    if (keys[event.key]) {
      event.preventDefault();
      keys[event.key]();
    }
  });
  function home() {
    look = { turn: 0, tilt: 1.57, zoom: 1 };
    ask();
  }
  byId("home").addEventListener("click", home);
  byId("threads").addEventListener("change", ask);
  byId("map").addEventListener("change", () => { legend(); ask(); });
  byId("around").addEventListener("change", ask);
  function choose(number) {
    piece = pieces[number];
    byId("piece").selectedIndex = number;
    byId("threads").disabled = !piece?.threads;  // mat and film have none
    byId("map").disabled = byId("around").disabled = !piece;
    legend();
    ask();
  }
  byId("piece").addEventListener("change", (event) => choose(event.target.selectedIndex));
  const buttons = document.querySelectorAll(".where");
  for (const button of buttons) button.addEventListener("click", () => {
    const number = button.dataset.finding;
    finding = finding === number ? null : number;
    for (const one of buttons) one.setAttribute("aria-pressed", String(one.dataset.finding === finding));
    if (finding === null) return choose(byId("piece").selectedIndex);
    const lit = (one) => one?.lit[finding]?.length, among = pieces.findIndex(lit);
    const about = button.dataset.ply ? among : -1;
    choose(about < 0 ? pieces.length : lit(piece) ? piece.number : about);
    canvas.scrollIntoView({ block: "center" });
  });
  for (const name of [...pieces.map((one) => one.name), "The mould alone"]) {
    const option = document.createElement("option");
    option.textContent = name;
    byId("piece").append(option);
  }
  for (const button of document.querySelectorAll(".larger")) button.addEventListener("click", () => {
    const large = button.closest("section").querySelector("img").classList.toggle("large");
    button.setAttribute("aria-pressed", String(large));
  });
  window.addEventListener("resize", ask);
  choose(0);
  draw();
  document.body.dataset.drawn = String(pieces.length);
})();
