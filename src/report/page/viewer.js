// Orbitable heat maps. Plain WebGL2, no library, no network. One canvas for all panes, one camera.
(() => {
  "use strict";
  const started = performance.now();
  const byId = id => document.getElementById(id);
  const data = JSON.parse(byId("data").textContent);
  const stage = byId("stage"), canvas = byId("canvas"), tip = byId("tip"), said = byId("said");
  const still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;

  // ---- unpacking: base64, deflate, byte planes, zigzag differences
  async function block(id) {
    const text = byId(id).textContent.trim();
    const raw = Uint8Array.from(atob(text), c => c.charCodeAt(0));
    const stream = new Blob([raw]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
    return new Uint8Array(await new Response(stream).arrayBuffer());
  }
  function numbers(bytes, at, count, planes) {
    const out = new Uint32Array(count);
    let before = 0;
    for (let i = 0; i < count; i++) {
      let code = 0;
      for (let p = 0; p < planes; p++) code |= bytes[at + p * count + i] << (8 * p);
      before = (before + ((code >>> 1) ^ -(code & 1))) | 0;
      out[i] = before;
    }
    return out;
  }

  // ---- small vector help
  const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  const digits = new Intl.NumberFormat("en", { maximumSignificantDigits: 3, useGrouping: false });
  function words(value) {
    if (value === 0) return "0";
    const size = Math.abs(value);
    if (size < 1e-3 || size >= 1e5) {
      const [m, e] = value.toExponential(2).split("e");
      return parseFloat(m) + "e" + parseInt(e, 10);
    }
    return digits.format(value);
  }

  async function main() {
    if (!window.DecompressionStream) return fail("This browser is too old to unpack the maps.");
    const gl = canvas.getContext("webgl2", { antialias: true, alpha: true, preserveDrawingBuffer: true });
    if (!gl) return fail("This browser offers no WebGL2, so the maps cannot be turned here.");

    // ---- the figure
    const shape = data.figure, nv = shape.corners, nt = shape.triangles;
    const geometry = await block("geometry");
    const P = new Float32Array(nv * 3);
    for (let k = 0; k < 3; k++) {
      const q = numbers(geometry, k * nv * 3, nv, 3), wide = (shape.high[k] - shape.low[k]) / 65534;
      for (let i = 0; i < nv; i++) P[3 * i + k] = shape.low[k] + q[i] * wide;
    }
    const T = numbers(geometry, nv * 9, nt * 3, 4);
    const N = normals(), C = creases();
    const middle = [0, 1, 2].map(k => (shape.low[k] + shape.high[k]) / 2);
    let radius = 1e-6, foot = 0;
    for (let i = 0; i < nv; i++) {
      const r = Math.hypot(P[3 * i] - middle[0], P[3 * i + 1] - middle[1]);
      radius = Math.max(radius, r);
      if (P[3 * i + 2] < shape.low[2] + 0.03 * (shape.high[2] - shape.low[2])) foot = Math.max(foot, r);
    }
    const height = shape.high[2] - shape.low[2];

    function normals() {
      const n = new Float32Array(nv * 3);
      for (let t = 0; t < nt * 3; t += 3) {
        const a = 3 * T[t], b = 3 * T[t + 1], c = 3 * T[t + 2];
        const u = [P[b] - P[a], P[b + 1] - P[a + 1], P[b + 2] - P[a + 2]];
        const v = [P[c] - P[a], P[c + 1] - P[a + 1], P[c + 2] - P[a + 2]];
        const x = u[1] * v[2] - u[2] * v[1], y = u[2] * v[0] - u[0] * v[2], z = u[0] * v[1] - u[1] * v[0];
        for (const i of [a, b, c]) { n[i] += x; n[i + 1] += y; n[i + 2] += z; }
      }
      for (let i = 0; i < nv * 3; i += 3) {
        const l = Math.hypot(n[i], n[i + 1], n[i + 2]) || 1;
        n[i] /= l; n[i + 1] /= l; n[i + 2] /= l;
      }
      return n;
    }
    // How far neighbours stand above the tangent plane: hollows get shade, edges a little light.
    function creases() {
      const rise = new Float32Array(nv), count = new Float32Array(nv);
      for (let t = 0; t < nt * 3; t++) {
        const i = T[t], j = T[t % 3 === 2 ? t - 2 : t + 1];
        const d = [P[3 * j] - P[3 * i], P[3 * j + 1] - P[3 * i + 1], P[3 * j + 2] - P[3 * i + 2]];
        const l = Math.hypot(d[0], d[1], d[2]) || 1;
        rise[i] += (d[0] * N[3 * i] + d[1] * N[3 * i + 1] + d[2] * N[3 * i + 2]) / l;
        rise[j] -= (d[0] * N[3 * j] + d[1] * N[3 * j + 1] + d[2] * N[3 * j + 2]) / l;
        count[i]++; count[j]++;
      }
      const mean = new Float32Array(nv), soft = new Float32Array(nv), near = new Float32Array(nv);
      for (let i = 0; i < nv; i++) mean[i] = rise[i] / (count[i] || 1);
      for (let t = 0; t < nt * 3; t++) {
        const i = T[t], j = T[t % 3 === 2 ? t - 2 : t + 1];
        soft[i] += mean[j]; soft[j] += mean[i]; near[i]++; near[j]++;
      }
      for (let i = 0; i < nv; i++) soft[i] = 0.5 * mean[i] + 0.5 * soft[i] / (near[i] || 1);
      return soft;
    }

    // ---- the card
    const lit = program(`#version 300 es
      in vec3 p; in vec3 n; in float crease; in vec2 heat; in float mine;
      uniform mat4 M; uniform mat3 R;
      out vec3 vn; out float vc; out vec2 vh; out float vm;
      void main() { gl_Position = M * vec4(p, 1.); vn = R * n; vc = crease; vh = heat; vm = mine; }`,
    `#version 300 es
      precision highp float;
      in vec3 vn; in float vc; in vec2 vh; in float vm;
      uniform sampler2D bar; uniform vec3 bare; uniform vec3 mark; uniform float marked;
      out vec4 o;
      vec3 lin(vec3 c) { return pow(c, vec3(2.2)); }
      void main() {
        vec3 n = normalize(vn); if (!gl_FrontFacing) n = -n;
        vec3 colour = vh.y > .5 ? bare : texture(bar, vec2(.5 / 64. + clamp(vh.x, 0., 1.) * 63. / 64., .5)).rgb;
        vec3 key = vec3(-.478, .574, .665), fill = vec3(.784, .118, .609);
        float sky = .5 + .5 * n.y, rim = pow(1. - max(n.z, 0.), 3.) * (.35 + .65 * sky);
        float hollow = clamp(1. - 1.5 * max(vc, 0.) + .35 * max(-vc, 0.), .45, 1.12);
        vec3 light = vec3(.13 + .17 * sky) + .84 * max(dot(n, key), 0.) * vec3(1., .975, .93)
          + .21 * max(dot(n, fill), 0.) * vec3(.9, .955, 1.);
        float sheen = .05 * pow(max(dot(n, normalize(key + vec3(0., 0., 1.))), 0.), 28.);
        vec3 c = (lin(colour) * (light + .16 * rim) + sheen) * hollow;
        c = pow(clamp(c, 0., 1.), vec3(1. / 2.2));
        if (marked > .5) {
          float w = fwidth(vm) + 1e-5, line = 1. - smoothstep(.7, 1.7, abs(vm - .5) / w);
          c = mix(c, mark, line * step(1e-4, w));
        }
        o = vec4(c, 1.);
      }`);
    const ground = program(`#version 300 es
      in vec2 p; uniform mat4 M; uniform vec4 at; out vec2 q;
      void main() { q = p * 1.5; gl_Position = M * vec4(at.xy + q * at.w, at.z, 1.); }`,
    `#version 300 es
      precision highp float; in vec2 q; out vec4 o;
      void main() { float r = max(length(q) - .96, 0.) / .2; o = vec4(0., 0., 0., .32 * exp(-r * r)); }`);
    function program(vertex, fragment) {
      const make = (kind, source) => {
        const s = gl.createShader(kind);
        gl.shaderSource(s, source.trim()); gl.compileShader(s);
        if (!gl.getShaderParameter(s, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(s));
        return s;
      };
      const p = gl.createProgram();
      gl.attachShader(p, make(gl.VERTEX_SHADER, vertex));
      gl.attachShader(p, make(gl.FRAGMENT_SHADER, fragment));
      ["p", "n", "crease", "heat", "mine"].forEach((name, i) => gl.bindAttribLocation(p, i, name));
      gl.linkProgram(p);
      return { p, at: name => gl.getUniformLocation(p, name) };
    }
    function buffer(target, array) {
      const b = gl.createBuffer();
      gl.bindBuffer(target, b); gl.bufferData(target, array, gl.STATIC_DRAW);
      return b;
    }
    const vp = buffer(gl.ARRAY_BUFFER, P), vn = buffer(gl.ARRAY_BUFFER, N), vc = buffer(gl.ARRAY_BUFFER, C);
    const ve = buffer(gl.ELEMENT_ARRAY_BUFFER, T);
    const square = buffer(gl.ARRAY_BUFFER, new Float32Array([-1, -1, 1, -1, -1, 1, 1, 1]));
    const bar = gl.createTexture();

    // ---- maps
    const packed = await block("values");
    const decoded = new Map();
    function valuesOf(pane) {
      if (!decoded.has(pane)) {
        const q = numbers(packed, pane.at, nv, 3), v = new Float32Array(nv);
        for (let i = 0; i < nv; i++) {
          const x = pane.low + (q[i] - 1) / 65534 * pane.wide;
          v[i] = q[i] === 0 ? NaN : pane.log ? Math.exp(x) : x;
        }
        decoded.set(pane, v);
      }
      return decoded.get(pane);
    }
    const areaLists = new Map();
    function areasOf(view, pane) {
      if (pane.areas === null) return null;
      const list = view.areas[pane.areas];
      if (!areaLists.has(list)) areaLists.set(list, numbers(packed, list.at, nv, 3));
      return areaLists.get(list);
    }
    function place(scale, v) {
      if (!(scale.log ? v > 0 : Number.isFinite(v))) return -1;
      const t = scale.log ? Math.log(v / scale.low) / Math.log(scale.high / scale.low)
        : (v - scale.low) / (scale.high - scale.low);
      return Number.isFinite(t) ? Math.min(1, Math.max(0, t)) : 0;
    }

    let view = 0, layer = 0, panes = [], chosen = null;
    function load() {
      for (const pane of panes) { gl.deleteVertexArray(pane.vao); gl.deleteBuffer(pane.heat); gl.deleteBuffer(pane.mine); }
      const v = data.views[view], l = v.layers[layer];
      panes = l.panes.map(about => {
        const values = valuesOf(about), areas = areasOf(v, about), heat = new Float32Array(nv * 2);
        for (let i = 0; i < nv; i++) {
          const t = place(l.scale, values[i]);
          heat[2 * i] = Math.max(t, 0); heat[2 * i + 1] = t < 0 ? 1 : 0;
        }
        const vao = gl.createVertexArray();
        gl.bindVertexArray(vao);
        const bind = (i, b, size) => {
          gl.bindBuffer(gl.ARRAY_BUFFER, b); gl.enableVertexAttribArray(i);
          gl.vertexAttribPointer(i, size, gl.FLOAT, false, 0, 0);
        };
        bind(0, vp, 3); bind(1, vn, 3); bind(2, vc, 1);
        const hb = buffer(gl.ARRAY_BUFFER, heat); bind(3, hb, 2);
        const mb = buffer(gl.ARRAY_BUFFER, new Float32Array(nv)); bind(4, mb, 1);
        gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, ve);
        gl.bindVertexArray(null);
        return { about, values, areas, vao, heat: hb, mine: mb, marked: false };
      });
      const c = l.scale.colours, table = new Uint8Array(64 * 4).fill(255);
      for (let i = 0; i < 64; i++) for (let k = 0; k < 3; k++) table[4 * i + k] = parseInt(c.substr(6 * i + 2 * k, 2), 16);
      gl.bindTexture(gl.TEXTURE_2D, bar);
      gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA, 64, 1, 0, gl.RGBA, gl.UNSIGNED_BYTE, table);
      for (const k of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) gl.texParameteri(gl.TEXTURE_2D, k, gl.LINEAR);
      for (const k of [gl.TEXTURE_WRAP_S, gl.TEXTURE_WRAP_T]) gl.texParameteri(gl.TEXTURE_2D, k, gl.CLAMP_TO_EDGE);
      captions(l); legend(l.scale); outline(); ask();
    }

    // ---- words round the panes
    const holder = byId("panes");
    function captions(l) {
      holder.replaceChildren(...l.panes.map(p => {
        const box = document.createElement("div"), name = document.createElement("span"), dot = document.createElement("i");
        name.textContent = p.name; name.className = "name"; dot.className = "dot"; dot.hidden = true;
        box.append(name, dot);
        return box;
      }));
      stage.style.setProperty("--panes", l.panes.length);
    }
    const legendBox = byId("legend"), needle = byId("needle");
    function legend(scale) {
      byId("legend-name").textContent = scale.heading;
      const stops = [];
      for (let i = 0; i < 64; i++) stops.push("#" + scale.colours.substr(6 * i, 6));
      byId("legend-bar").style.background = "linear-gradient(90deg," + stops.join(",") + ")";
      byId("legend-ticks").replaceChildren(...scale.ticks.map(([t, text]) => {
        const s = document.createElement("span");
        s.style.left = 100 * t + "%"; s.textContent = text;
        return s;
      }));
      byId("legend-bare").hidden = !scale.log || scale.ratio;
      legendBox.setAttribute("aria-label", scale.heading + " from " + words(scale.low) + " to " + words(scale.high));
      needle.hidden = true;
    }

    // ---- camera
    const cam = { yaw: 28, tilt: 14, zoom: 1, x: 0, y: 0 };
    function axes() {
      const y = cam.yaw * Math.PI / 180, t = cam.tilt * Math.PI / 180;
      const st = Math.sin(y), ct = Math.cos(y), sp = Math.sin(t), cp = Math.cos(t);
      return [[ct, -st, 0], [st * sp, ct * sp, cp], [-st * cp, -ct * cp, sp]];
    }
    function cells() {
      const w = stage.clientWidth, h = stage.clientHeight, n = panes.length;
      const stacked = n > 1 && w < 560, columns = stacked ? Math.ceil(n / (n > 3 ? 2 : 1)) > 2 ? 2 : 1 : n;
      const rows = Math.ceil(n / columns), cw = w / columns, ch = h / rows;
      return panes.map((_, i) => ({ x: (i % columns) * cw, y: Math.floor(i / columns) * ch, w: cw, h: ch }));
    }
    function zoomOf(cell) {
      const t = Math.abs(cam.tilt) * Math.PI / 180;
      const tall = height * Math.cos(t) + 2 * Math.min(radius, 0.6 * height) * Math.sin(t);
      return 0.9 * Math.min(cell.w / (2 * radius), (cell.h - 26) / tall) * cam.zoom;
    }
    // Figure's frame to pixels within a pane, third number towards the eye.
    function project(p, cell, a) {
      const d = [p[0] - middle[0], p[1] - middle[1], p[2] - middle[2]], z = zoomOf(cell);
      return [cell.w / 2 + cam.x + z * dot(a[0], d), cell.h / 2 + 10 + cam.y - z * dot(a[1], d), dot(a[2], d)];
    }
    function matrix(cell, a) {
      const z = zoomOf(cell), deep = 1 / (2 * (radius + height));
      const kx = 2 * z / cell.w, ky = 2 * z / cell.h;
      const row = (v, k, o) => [v[0] * k, v[1] * k, v[2] * k, -dot(v, middle) * k + o];
      const r = [row(a[0], kx, 2 * cam.x / cell.w), row(a[1], ky, -2 * (cam.y + 10) / cell.h), row(a[2], -deep, 0)];
      const m = new Float32Array(16);
      for (let c = 0; c < 4; c++) { for (let i = 0; i < 3; i++) m[4 * c + i] = r[i][c]; }
      m[15] = 1;
      return m;
    }

    // ---- drawing
    let waiting = false;
    function ask() { if (!waiting) { waiting = true; requestAnimationFrame(draw); } }
    const style = getComputedStyle(document.documentElement);
    function rgb(name) {
      const v = style.getPropertyValue(name).trim();
      return [1, 3, 5].map(i => parseInt(v.substr(i, 2), 16) / 255);
    }
    function draw() {
      waiting = false;
      const ratio = Math.min(window.devicePixelRatio || 1, 2);
      const w = Math.round(stage.clientWidth * ratio), h = Math.round(stage.clientHeight * ratio);
      if (canvas.width !== w || canvas.height !== h) { canvas.width = w; canvas.height = h; }
      gl.clearColor(0, 0, 0, 0);
      gl.disable(gl.SCISSOR_TEST);
      gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
      gl.enable(gl.SCISSOR_TEST);
      gl.enable(gl.DEPTH_TEST);
      const a = axes(), bare = rgb("--bare"), mark = rgb("--mark");
      cells().forEach((cell, i) => {
        const box = [cell.x * ratio, h - (cell.y + cell.h) * ratio, cell.w * ratio, cell.h * ratio].map(Math.round);
        gl.viewport(...box); gl.scissor(...box);
        const m = matrix(cell, a), pane = panes[i];
        gl.useProgram(lit.p);
        gl.uniformMatrix4fv(lit.at("M"), false, m);
        gl.uniformMatrix3fv(lit.at("R"), false, [0, 1, 2].flatMap(c => a.map(v => v[c])));
        gl.uniform3fv(lit.at("bare"), bare); gl.uniform3fv(lit.at("mark"), mark);
        gl.uniform1f(lit.at("marked"), pane.marked ? 1 : 0);
        gl.bindTexture(gl.TEXTURE_2D, bar);
        gl.bindVertexArray(pane.vao);
        gl.drawElements(gl.TRIANGLES, nt * 3, gl.UNSIGNED_INT, 0);
        gl.bindVertexArray(null);
        if (cam.tilt > 2) {
          gl.useProgram(ground.p);
          gl.uniformMatrix4fv(ground.at("M"), false, m);
          gl.uniform4f(ground.at("at"), middle[0], middle[1], shape.low[2], foot);
          gl.bindBuffer(gl.ARRAY_BUFFER, square);
          gl.enableVertexAttribArray(0);
          gl.vertexAttribPointer(0, 2, gl.FLOAT, false, 0, 0);
          gl.enable(gl.BLEND); gl.blendFunc(gl.ONE, gl.ONE_MINUS_SRC_ALPHA); gl.depthMask(false);
          gl.drawArrays(gl.TRIANGLE_STRIP, 0, 4);
          gl.depthMask(true); gl.disable(gl.BLEND);
        }
      });
      [...holder.children].forEach((box, i) => {
        const c = cells()[i];
        if (c) Object.assign(box.style, { left: c.x + "px", top: c.y + "px", width: c.w + "px", height: c.h + "px" });
      });
      dots();
    }
    function dots() {
      const a = axes(), row = chosen !== null ? data.areas[chosen] : null;
      cells().forEach((cell, i) => {
        const dot = holder.children[i] && holder.children[i].querySelector(".dot");
        if (!dot) return;
        dot.hidden = !row;
        if (row) { const p = project(row.place, cell, a); dot.style.left = p[0] + "px"; dot.style.top = p[1] + "px"; }
      });
    }

    // ---- reading a place: orthographic ray against every triangle
    function pick(i, mx, my) {
      const cell = cells()[i], a = axes(), z = zoomOf(cell);
      const u = (mx - cell.w / 2 - cam.x) / z, v = -(my - cell.h / 2 - 10 - cam.y) / z;
      const X = new Float32Array(nv), Y = new Float32Array(nv);
      for (let k = 0, j = 0; k < nv; k++, j += 3) {
        const x = P[j] - middle[0], y = P[j + 1] - middle[1], w = P[j + 2] - middle[2];
        X[k] = a[0][0] * x + a[0][1] * y + a[0][2] * w - u;
        Y[k] = a[1][0] * x + a[1][1] * y + a[1][2] * w - v;
      }
      let best = -Infinity, hit = null;
      for (let t = 0; t < nt * 3; t += 3) {
        const i0 = T[t], i1 = T[t + 1], i2 = T[t + 2];
        const w2 = X[i0] * Y[i1] - X[i1] * Y[i0], w0 = X[i1] * Y[i2] - X[i2] * Y[i1], w1 = X[i2] * Y[i0] - X[i0] * Y[i2];
        if (!((w0 >= 0 && w1 >= 0 && w2 >= 0) || (w0 <= 0 && w1 <= 0 && w2 <= 0))) continue;
        const s = w0 + w1 + w2;
        if (!s) continue;
        const at = [0, 1, 2].map(k => (w0 * P[3 * i0 + k] + w1 * P[3 * i1 + k] + w2 * P[3 * i2 + k]) / s);
        const deep = dot(a[2], at);
        if (deep > best) { best = deep; hit = { at, corners: [i0, i1, i2], weights: [w0 / s, w1 / s, w2 / s] }; }
      }
      return hit;
    }
    function read(pane, hit) {
      const three = hit.corners.map(c => pane.values[c]);
      const near = hit.corners[hit.weights.indexOf(Math.max(...hit.weights))];
      const value = three.every(Number.isFinite)
        ? three.reduce((sum, v, k) => sum + v * hit.weights[k], 0) : pane.values[near];
      const row = pane.areas ? pane.areas[near] : 0;
      return { value, area: row > 0 ? data.areas[row - 1].name : "" };
    }
    function sentence(pane, hit, scale) {
      const { value, area } = read(pane, hit);
      const unit = scale.unit ? " " + scale.unit : "";
      const text = Number.isFinite(value) ? (scale.ratio ? "× " : "") + words(value) + unit : "untouched";
      return { text, value, area };
    }
    function show(i, hit, mx, my) {
      const cell = cells()[i], scale = data.views[view].layers[layer].scale;
      tip.replaceChildren();
      const lines = panes.map((pane, k) => ({ name: pane.about.name, mine: k === i, ...sentence(pane, hit, scale) }));
      for (const line of lines) {
        const p = document.createElement("p"), b = document.createElement("b"), s = document.createElement("span");
        b.textContent = line.text; s.textContent = line.name;
        p.className = line.mine ? "mine" : "";
        p.append(b, s); tip.append(p);
      }
      const where = document.createElement("p");
      where.className = "where";
      where.textContent = (lines[i].area ? lines[i].area + " · " : "") +
        hit.at.map(x => x.toFixed(1).replace(/^-0\.0$/, "0.0")).join(", ") + " mm";
      tip.append(where);
      tip.hidden = false;
      const x = cell.x + mx, y = cell.y + my;
      tip.style.left = Math.max(4, Math.min(x + 16, stage.clientWidth - tip.offsetWidth - 6)) + "px";
      tip.style.top = (y + 18 + tip.offsetHeight > stage.clientHeight ? Math.max(4, y - tip.offsetHeight - 12) : y + 18) + "px";
      const t = place(scale, lines[i].value);
      needle.hidden = t < 0;
      needle.style.left = 100 * t + "%";
      return lines.map(l => l.name + ": " + l.text).join("; ") + ". " + where.textContent;
    }
    function hide() { tip.hidden = true; needle.hidden = true; }
    function paneAt(x, y) {
      return cells().findIndex(c => x >= c.x && x < c.x + c.w && y >= c.y && y < c.y + c.h);
    }

    // ---- hands
    let drag = null;
    stage.addEventListener("pointerdown", e => {
      if (e.target.closest("button")) return;
      drag = { x: e.clientX, y: e.clientY, move: e.button !== 0 || e.shiftKey };
      stage.setPointerCapture(e.pointerId); stage.classList.add("turning"); hide();
    });
    const drop = () => { drag = null; stage.classList.remove("turning"); };
    stage.addEventListener("pointerup", drop);
    stage.addEventListener("pointercancel", drop);
    stage.addEventListener("contextmenu", e => e.preventDefault());
    stage.addEventListener("pointerleave", hide);
    stage.addEventListener("pointermove", e => {
      const box = stage.getBoundingClientRect();
      if (drag) {
        const dx = e.clientX - drag.x, dy = e.clientY - drag.y;
        drag.x = e.clientX; drag.y = e.clientY;
        if (drag.move) { cam.x += dx; cam.y += dy; } else {
          cam.yaw += dx * 0.45;
          cam.tilt = Math.max(-89, Math.min(89, cam.tilt + dy * 0.45));
        }
        return ask();
      }
      const x = e.clientX - box.left, y = e.clientY - box.top, i = paneAt(x, y);
      if (i < 0) return hide();
      const cell = cells()[i], hit = pick(i, x - cell.x, y - cell.y);
      if (hit) show(i, hit, x - cell.x, y - cell.y); else hide();
    });
    // The wheel belongs to the page until the figure has been clicked or tabbed to.
    stage.addEventListener("wheel", e => {
      if (document.activeElement !== stage && !e.ctrlKey) return;
      e.preventDefault(); zoom(Math.exp(-e.deltaY * 0.0012));
    }, { passive: false });
    function zoom(by) { cam.zoom = Math.max(0.5, Math.min(12, cam.zoom * by)); ask(); }
    stage.addEventListener("keydown", e => {
      const turn = { ArrowLeft: [-10, 0], ArrowRight: [10, 0], ArrowUp: [0, -8], ArrowDown: [0, 8] }[e.key];
      if (turn) { cam.yaw += turn[0]; cam.tilt = Math.max(-89, Math.min(89, cam.tilt + turn[1])); hide(); ask(); }
      else if (e.key === "+" || e.key === "=") zoom(1.2);
      else if (e.key === "-") zoom(1 / 1.2);
      else if (e.key === "Escape") { choose(null); hide(); }
      else if (e.key === "Enter" || e.key === " ") probe();
      else return;
      e.preventDefault();
    });
    // For hands on the keyboard: read what lies in the middle of the first pane.
    function probe() {
      const cell = cells()[0], hit = pick(0, cell.w / 2, cell.h / 2);
      said.textContent = hit ? show(0, hit, cell.w / 2, cell.h / 2) : "Nothing in the middle of the picture.";
    }
    function turnTo(yaw, tilt) {
      const from = { ...cam }, begin = performance.now();
      const short = ((yaw - from.yaw) % 360 + 540) % 360 - 180;
      const step = now => {
        const t = still ? 1 : Math.min(1, (now - begin) / 380), s = t * t * (3 - 2 * t);
        cam.yaw = from.yaw + short * s; cam.tilt = from.tilt + (tilt - from.tilt) * s;
        cam.x = from.x * (1 - s); cam.y = from.y * (1 - s);
        ask();
        if (t < 1) requestAnimationFrame(step);
      };
      step(begin + (still ? 1e3 : 0));
    }
    for (const button of document.querySelectorAll("[data-turn]")) {
      button.addEventListener("click", () => {
        const [yaw, tilt] = button.dataset.turn.split(",").map(Number);
        hide(); turnTo(yaw, tilt);
      });
    }
    byId("nearer").addEventListener("click", () => zoom(1.25));
    byId("farther").addEventListener("click", () => zoom(1 / 1.25));
    byId("again").addEventListener("click", () => { cam.zoom = 1; choose(null); turnTo(28, 14); });

    // ---- areas
    const rows = [...document.querySelectorAll("[data-area]")];
    function outline() {
      for (const pane of panes) {
        const mine = new Float32Array(nv);
        pane.marked = false;
        if (chosen !== null && pane.areas) {
          for (let i = 0; i < nv; i++) if (pane.areas[i] === chosen + 1) { mine[i] = 1; pane.marked = true; }
        }
        gl.bindBuffer(gl.ARRAY_BUFFER, pane.mine);
        gl.bufferData(gl.ARRAY_BUFFER, mine, gl.STATIC_DRAW);
      }
    }
    function choose(number) {
      chosen = number;
      for (const row of rows) row.setAttribute("aria-pressed", String(Number(row.dataset.area) === number));
      outline();
      if (number !== null) {
        const p = data.areas[number].place;
        const out = Math.hypot(p[0] - middle[0], p[1] - middle[1]);
        const yaw = out < 0.5 ? cam.yaw : Math.atan2(middle[0] - p[0], middle[1] - p[1]) * 180 / Math.PI;
        const high = (p[2] - shape.low[2]) / height;
        hide(); turnTo(yaw, high > 0.9 ? 30 : high < 0.04 ? -14 : 10);
        said.textContent = data.areas[number].name + " is marked on the figure.";
      }
      ask();
    }
    for (const row of rows) {
      row.addEventListener("click", () => {
        const number = Number(row.dataset.area);
        choose(chosen === number ? null : number);
        if (chosen !== null && stage.getBoundingClientRect().bottom < 80) stage.scrollIntoView({ block: "center" });
      });
    }

    // ---- switches
    const layerBox = byId("layers");
    function layers() {
      const list = data.views[view].layers;
      layer = Math.min(layer, list.length - 1);
      layerBox.replaceChildren(...list.map((l, i) => {
        const label = document.createElement("label"), input = document.createElement("input"), s = document.createElement("span");
        input.type = "radio"; input.name = "layer"; input.checked = i === layer;
        input.addEventListener("change", () => { layer = i; hide(); load(); });
        s.textContent = l.scale.label;
        label.append(input, s);
        return label;
      }));
    }
    function exposure() {
      for (const box of document.querySelectorAll("[data-view]")) box.hidden = Number(box.dataset.view) !== view;
      chosen = null; layers(); load();
      for (const row of rows) row.setAttribute("aria-pressed", "false");
    }
    for (const input of document.querySelectorAll("input[name=exposure]")) {
      input.addEventListener("change", () => { view = Number(input.value); hide(); exposure(); });
    }
    new ResizeObserver(ask).observe(stage);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", ask);
    exposure();
    draw();
    gl.finish();
    stage.dataset.ready = String(Math.round(performance.now() - started));
    document.documentElement.classList.add("alive");
  }
  function fail(text) {
    byId("no-viewer").textContent = text;
    byId("no-viewer").hidden = false;
    byId("viewer").hidden = true;
  }
  main().catch(error => { fail("The maps could not be shown: " + error.message); console.error(error); });
})();
