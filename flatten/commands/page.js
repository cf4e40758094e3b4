// The drape in 3D on a plain canvas: triangles sorted from far to near, threads drawn with them.
"use strict";
(() => {
  const byId = (id) => document.getElementById(id);
  const canvas = byId("view"), pen = canvas.getContext("2d");
  const STEP_MM = 20, BEHIND = 80;
  // Dark blue through grey to yellow, lightness rising evenly: told apart without red and green.
  const SCALE = [[4, 46, 105], [61, 65, 105], [94, 86, 106], [123, 108, 105], [151, 131, 103],
    [179, 156, 100], [206, 180, 96], [233, 206, 89], [255, 232, 80]];
  const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer;
  // Numbers are whole steps from each column's least.
  function numbers({ low, step, data }) {
    return Float32Array.from(new Uint16Array(bytes(data)), (n, i) => low[i % low.length] + n * step);
  }
  const pieces = JSON.parse(byId("pieces").textContent).map((piece) => ({
    name: piece.name, tack: piece.tack, most: piece.most, threads: piece.threads,
    vertices: numbers(piece.vertices), flat: numbers(piece.flat),
    faces: new (piece.wide ? Uint32Array : Uint16Array)(bytes(piece.faces)),
    maps: Object.fromEntries(Object.entries(piece.maps).map(([key, map]) => [key, numbers(map)])),
  }));
  const start = { turn: -0.4, tilt: 0.9, zoom: 1 };
  let look = { ...start }, piece = pieces[0], asked = false;

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
  function axes(p) {
    p.frame ??= frame(p);
    const [x, y, z] = p.frame, c = Math.cos(look.turn), s = Math.sin(look.turn);
    const right = x.map((_, i) => c * x[i] + s * y[i]), away = cross(z, right);
    const e = Math.sin(look.tilt), h = Math.cos(look.tilt);
    const eye = z.map((_, i) => e * z[i] - h * away[i]);
    return [right, cross(eye, right), eye];
  }

  function draw() {
    asked = false;
    const dense = window.devicePixelRatio || 1, box = canvas.getBoundingClientRect();
    canvas.width = Math.round(box.width * dense);
    canvas.height = Math.round(box.height * dense);
    const { vertices: v, faces: f, flat } = piece, rows = axes(piece);
    const which = byId("map").value, values = piece.maps[which], most = piece.most[which] || 1e-6;
    const count = v.length / 3, seen = new Float32Array(v.length);
    const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
    for (let i = 0; i < count; i++) for (let r = 0; r < 3; r++) {
      const a = rows[r], x = a[0] * v[3 * i] + a[1] * v[3 * i + 1] + a[2] * v[3 * i + 2];
      seen[3 * i + r] = x;
      low[r] = Math.min(low[r], x);
      high[r] = Math.max(high[r], x);
    }
    piece.size ??= Math.hypot(...[0, 1, 2].map((r) => high[r] - low[r]));
    const scale = look.zoom * 1.12 * Math.min(canvas.width / piece.size, canvas.height / piece.size * 1.3);
    const px = (i) => canvas.width / 2 + (seen[3 * i] - (low[0] + high[0]) / 2) * scale;
    const py = (i) => canvas.height / 2 - (seen[3 * i + 1] - (low[1] + high[1]) / 2) * scale;
    const order = Array.from({ length: f.length / 3 }, (_, t) => t);
    const depth = order.map((t) => seen[3 * f[3 * t] + 2] + seen[3 * f[3 * t + 1] + 2]
      + seen[3 * f[3 * t + 2] + 2]);
    order.sort((a, b) => depth[a] - depth[b]);
    pen.lineJoin = "round";
    // A thread is drawn some triangles later, or its neighbours' edges would cover it.
    const late = [], shown = piece.threads && byId("threads").checked;
    for (const t of order) {
      const c = [f[3 * t], f[3 * t + 1], f[3 * t + 2]];
      const n = scaled(normal(seen, 3 * c[0], 3 * c[1], 3 * c[2]));
      const light = 0.55 + 0.45 * Math.abs(0.35 * n[0] + 0.5 * n[1] + 0.79 * n[2]);
      const base = rgb(values[t] / most);
      pen.fillStyle = pen.strokeStyle = `rgb(${base.map((x) => Math.round(x * light)).join()})`;
      pen.lineWidth = 0.8 * dense;
      pen.beginPath();
      c.forEach((i, k) => (k ? pen.lineTo(px(i), py(i)) : pen.moveTo(px(i), py(i))));
      pen.closePath();
      pen.fill();
      pen.stroke();
      late.push(c);
      if (late.length > BEHIND && shown) threads(late[late.length - 1 - BEHIND], px, py, flat, dense);
    }
    if (shown) late.slice(-BEHIND).forEach((c) => threads(c, px, py, flat, dense));
    tack(rows, low, high, scale, dense);
  }

  // The straight lines of the flat cloth that cross this triangle, on the mould.
  function threads(c, px, py, flat, dense) {
    for (const axis of [0, 1]) {
      const at = c.map((i) => flat[2 * i + axis]);
      const first = Math.ceil(Math.min(...at) / STEP_MM), last = Math.floor(Math.max(...at) / STEP_MM);
      for (let n = first; n <= last; n++) {
        const ends = [];
        for (let k = 0; k < 3; k++) {
          const a = at[k] - n * STEP_MM, b = at[(k + 1) % 3] - n * STEP_MM;
          if (a === b || a * b > 0) continue;
          const share = a / (a - b), i = c[k], j = c[(k + 1) % 3];
          ends.push([px(i) + (px(j) - px(i)) * share, py(i) + (py(j) - py(i)) * share]);
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

  function tack(rows, low, high, scale, dense) {
    const on = rows.map((a) => a[0] * piece.tack[0] + a[1] * piece.tack[1] + a[2] * piece.tack[2]);
    pen.beginPath();
    pen.arc(canvas.width / 2 + (on[0] - (low[0] + high[0]) / 2) * scale,
      canvas.height / 2 - (on[1] - (low[1] + high[1]) / 2) * scale, 5 * dense, 0, 7);
    pen.fillStyle = "#fff";
    pen.strokeStyle = "#c17814";
    pen.lineWidth = 2.5 * dense;
    pen.fill();
    pen.stroke();
  }

  function legend() {
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
  byId("piece").addEventListener("change", (event) => {
    piece = pieces[event.target.selectedIndex];
    byId("threads").disabled = !piece.threads;  // mat and film have none
    legend();
    ask();
  });
  for (const one of pieces) {
    const option = document.createElement("option");
    option.textContent = one.name;
    byId("piece").append(option);
  }
  window.addEventListener("resize", ask);
  byId("threads").disabled = !piece.threads;
  legend();
  draw();
  document.body.dataset.drawn = String(pieces.length);
})();
