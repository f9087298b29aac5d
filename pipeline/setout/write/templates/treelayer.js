// The trees: one canvas, and a grid to find them by. Nothing here makes an object per tree.
(function () {
  "use strict";
  const setout = window.setout;
  const ARCS = 8000; // more trees in view than this are stamped as pixels
  const CELL = 16; // trees to a cell of the grid, about

  setout.TreeLayer = setout.CanvasLayer.extend({
    options: { pane: "trees", colours: ["#45a4a1"], edge: "#22312e", attention: "#b3261e" },

    initialize: function (head, options) {
      setout.CanvasLayer.prototype.initialize.call(this, options);
      this.head = head;
      this._waiting = [];
      const raw = setout.bytes(head.bytes);
      head.bytes = null;
      if (!head.compact) this._take(raw);
      else if (typeof DecompressionStream === "undefined") this.failed = true;
      else {
        const stream = new Blob([raw]).stream().pipeThrough(new DecompressionStream("deflate"));
        new Response(stream).arrayBuffer().then((b) => this._take(new Uint8Array(b)));
      }
    },

    whenReady: function (then) { if (this.columns) then(); else this._waiting.push(then); },

    _take: function (bytes) {
      const columns = new setout.Columns(this.head, bytes);
      this.n = columns.n;
      this._x = columns.byName.get("x").codes;
      this._y = columns.byName.get("y").codes;
      this._mask = null;
      this._codes = new Uint8Array(this.n);
      this._attention = [];
      this._hollow = new Set();
      this._pale = new Set();
      this._spread = new Float32Array(this.n).fill(NaN);
      const spread = columns.byName.get("spread_m");
      if (spread) {
        for (let i = 0; i < this.n; i++) {
          if (spread.codes[i] !== spread.unknown) this._spread[i] = (spread.offset + spread.codes[i]) * spread.step;
        }
      }
      this._now = this._spread;
      this.year = null;
      const growth = columns.byName.get("growth");
      if (growth) this._growth = Uint8Array.from(growth.codes, (code) => growth.offset + code);
      this._buildGrid();
      this.columns = columns;
      for (const then of this._waiting.splice(0)) then();
      this.redraw();
    },

    // Counting sort of the trees into square cells.
    _buildGrid: function () {
      let w = 1, h = 1;
      for (let i = 0; i < this.n; i++) { if (this._x[i] > w) w = this._x[i]; if (this._y[i] > h) h = this._y[i]; }
      const size = Math.max(Math.sqrt((w * h * CELL) / Math.max(this.n, 1)), Math.max(w, h) / 2000, 1);
      const nx = Math.floor(w / size) + 1, ny = Math.floor(h / size) + 1;
      const start = new Uint32Array(nx * ny + 1), cell = new Uint32Array(this.n), order = new Uint32Array(this.n);
      for (let i = 0; i < this.n; i++) {
        cell[i] = Math.floor(this._y[i] / size) * nx + Math.floor(this._x[i] / size);
        start[cell[i] + 1]++;
      }
      for (let c = 0; c < nx * ny; c++) start[c + 1] += start[c];
      const next = start.slice();
      for (let i = 0; i < this.n; i++) order[next[cell[i]]++] = i;
      this._grid = { size, nx, ny, start, order };
      this._w = w; this._h = h;
    },

    latLng: function (i) {
      const o = this.head.origin;
      return L.latLng(setout.unmercator((o[0] + this._x[i]) / 1000, (o[1] + this._y[i]) / 1000));
    },
    getBounds: function () {
      const o = this.head.origin;
      return L.latLngBounds(
        setout.unmercator(o[0] / 1000, o[1] / 1000),
        setout.unmercator((o[0] + this._w) / 1000, (o[1] + this._h) / 1000));
    },
    // Codes in hollow are drawn as rings, for their colours are taken already; those in pale as what comes out again.
    setColours: function (codes, colours, hollow, pale) {
      this._codes = codes;
      this.options.colours = colours;
      this._hollow = hollow || new Set();
      this._pale = pale || new Set();
      this.redraw();
    },
    setMask: function (mask) { this._mask = mask; this.redraw(); },
    shown: function (i) { return !this._mask || this._mask[i] === 1; },
    setAttention: function (list) { this._attention = list; this.redraw(); },
    select: function (i) { this.selected = i; this.redraw(); },
    _ready: function () { return Boolean(this.columns); },

    // The nearest shown tree within so many pixels, -1 if there is none.
    nearest: function (latlng, pixels) {
      if (!this.columns || !this._map) return -1;
      const p = L.Projection.SphericalMercator.project(latlng), o = this.head.origin, g = this._grid;
      const x = p.x * 1000 - o[0], y = p.y * 1000 - o[1];
      const reach = pixels / this._view().k;
      const c0 = Math.max(0, Math.floor((x - reach) / g.size)), c1 = Math.min(g.nx - 1, Math.floor((x + reach) / g.size));
      const r0 = Math.max(0, Math.floor((y - reach) / g.size)), r1 = Math.min(g.ny - 1, Math.floor((y + reach) / g.size));
      let best = -1, least = reach * reach;
      for (let r = r0; r <= r1; r++) for (let c = c0; c <= c1; c++) {
        for (let j = g.start[r * g.nx + c]; j < g.start[r * g.nx + c + 1]; j++) {
          const i = g.order[j], dx = this._x[i] - x, dy = this._y[i] - y, d = dx * dx + dy * dy;
          if (d <= least && (!this._mask || this._mask[i])) { best = i; least = d; }
        }
      }
      return best;
    },

    _view: function () { return this._viewFrom(this.head.origin); },

    // The spread [m] of a tree so many years after planting: 0 once it has come out, NaN where a figure is unknown.
    // Full size where no year is given.
    spreadAt: function (i, year) {
      if (year === null || !this._growth) return this._spread[i];
      const spread = this.options.growth.table[this._growth[i]][year];
      return spread === null ? NaN : spread;
    },
    // Draws the trees as they are so many years after planting; null for full size.
    setYear: function (year) {
      this.year = year;
      this._now = this._spread;
      if (year !== null && this._growth) {
        const sizes = this.options.growth.table.map((years) => (years[year] === null ? NaN : years[year]));
        this._now = Float32Array.from(this._growth, (k) => sizes[k]);
      }
      this.redraw();
    },

    // Radius on the screen: true spread, or a dot where it is unknown; never too small to see.
    radius: function (i, view) {
      const r = (this._now[i] / 2) * view.perMetre;
      return r !== r ? 3 : r > this._least ? r : this._least;
    },

    _draw: function () {
      const ctx = this._clear(), c = this._container, size = this._bounds.getSize(), view = this._view();
      const seen = this._inView(view, size);
      this._least = seen.length > ARCS ? 0.75 : 1.6;
      this.drawn = seen.length;
      if (seen.length > ARCS) this._stamp(ctx, view, seen, this._dpr, c.width, c.height);
      else this._arcs(ctx, view, seen);
      this._rings(ctx, view, size);
    },

    _inView: function (view, size) {
      const g = this._grid, edge = 20 * view.perMetre + 4;
      const col = (px) => Math.floor((px - view.ax) / view.k / g.size), row = (py) => Math.floor((view.ay - py) / view.k / g.size);
      const c0 = Math.max(0, col(-edge)), c1 = Math.min(g.nx - 1, col(size.x + edge));
      const r0 = Math.max(0, row(size.y + edge)), r1 = Math.min(g.ny - 1, row(-edge));
      let n = 0;
      for (let r = r0; r <= r1 && c0 <= c1; r++) n += g.start[r * g.nx + c1 + 1] - g.start[r * g.nx + c0];
      const out = new Uint32Array(n);
      n = 0;
      for (let r = r0; r <= r1 && c0 <= c1; r++) {
        for (let j = g.start[r * g.nx + c0]; j < g.start[r * g.nx + c1 + 1]; j++) {
          const i = g.order[j];
          if (!this._mask || this._mask[i]) out[n++] = i;
        }
      }
      return out.subarray(0, n);
    },

    _arcs: function (ctx, view, seen) {
      const colours = this.options.colours, groups = new Map(), TURN = 2 * Math.PI;
      for (const i of seen) {
        const code = this._codes[i];
        if (!groups.has(code)) groups.set(code, []);
        groups.get(code).push(i);
      }
      for (const code of [...groups.keys()].sort((p, q) => p - q)) {
        const list = groups.get(code), hollow = this._hollow.has(code), pale = this._pale.has(code);
        ctx.beginPath();
        for (const i of list) {
          const x = view.ax + view.k * this._x[i], y = view.ay - view.k * this._y[i], r = this.radius(i, view);
          ctx.moveTo(x + r, y);
          ctx.arc(x, y, r, 0, TURN);
        }
        ctx.globalAlpha = pale ? 0.3 : hollow ? 0.4 : 0.82;
        ctx.fillStyle = hollow ? "#fdfcf8" : colours[code];
        ctx.fill();
        if (hollow) {
          ctx.globalAlpha = 0.45;
          ctx.lineWidth = Math.min(3.6, 0.8 * this.radius(list[0], view));
          ctx.strokeStyle = this.options.edge;
          ctx.stroke();
        }
        ctx.globalAlpha = hollow || pale ? 1 : 0.55;
        ctx.lineWidth = hollow ? Math.min(2.4, 0.6 * this.radius(list[0], view)) : pale ? 1.2 : 0.8;
        ctx.strokeStyle = hollow || pale ? colours[code] : this.options.edge;
        ctx.setLineDash(pale ? [3, 2] : []);
        ctx.stroke();
        ctx.setLineDash([]);
        ctx.globalAlpha = 1;
      }
      if (seen.length && this.radius(seen[0], view) > 5) this._stems(ctx, view, seen);
      if (view.perMetre > 7 && seen.length < 3000) this._labels(ctx, view, seen);
    },

    _stems: function (ctx, view, seen) {
      ctx.fillStyle = this.options.edge;
      for (const i of seen) ctx.fillRect(view.ax + view.k * this._x[i] - 1, view.ay - view.k * this._y[i] - 1, 2, 2);
    },

    // Names below the stems, where trees stand far enough apart for them; none over another.
    _labels: function (ctx, view, seen) {
      const size = this._bounds.getSize(), lines = new Map();
      ctx.font = "600 11px system-ui, sans-serif";
      ctx.textAlign = "center";
      ctx.lineWidth = 3;
      ctx.strokeStyle = "rgba(253,252,248,.9)";
      ctx.fillStyle = this.options.edge;
      for (const i of seen) {
        const x = view.ax + view.k * this._x[i], y = view.ay - view.k * this._y[i] + 15, id = this.columns.id(i);
        const apart = this.columns.value("nearest_m", i);
        if (x < 0 || y < 0 || x > size.x || y > size.y || apart === null || apart * view.perMetre < 58) continue;
        const half = ctx.measureText(id).width / 2 + 2, line = Math.floor(y / 13);
        if ([line - 1, line, line + 1].some((k) => (lines.get(k) || []).some((t) => Math.abs(t.y - y) < 13 && Math.abs(t.x - x) < t.half + half))) continue;
        if (!lines.has(line)) lines.set(line, []);
        lines.get(line).push({ x, y, half });
        ctx.strokeText(id, x, y);
        ctx.fillText(id, x, y);
      }
    },

    // Many trees: write their pixels straight into an image, each a small disc.
    _stamp: function (ctx, view, seen, dpr, w, h) {
      const image = ctx.createImageData(w, h), px = new Uint32Array(image.data.buffer), discs = [];
      const inks = Uint32Array.from(this.options.colours, (hex) => {
        const n = parseInt(hex.slice(1), 16);
        return (0xff000000 | ((n & 255) << 16) | (n & 0xff00) | (n >> 16)) >>> 0;
      });
      for (const code of this._pale) inks[code] = ((inks[code] & 0xffffff) | 0x70000000) >>> 0;
      const kx = view.k * dpr, ax = view.ax * dpr, ay = view.ay * dpr, xs = this._x, ys = this._y, codes = this._codes;
      for (let s = 0; s < seen.length; s++) {
        const i = seen[s], half = Math.max(1, Math.round(this.radius(i, view) * dpr * 2));
        const disc = discs[half] || (discs[half] = this._disc(half / 2, w));
        const x = Math.round(ax + kx * xs[i]), y = Math.round(ay - kx * ys[i]), e = disc.reach;
        if (x < e || y < e || x >= w - e || y >= h - e) continue;
        const at = y * w + x, ink = inks[codes[i]], faint = ((ink & 0xffffff) | 0x80000000) >>> 0;
        const solid = disc.solid, soft = disc.soft;
        for (let j = 0; j < solid.length; j++) px[at + solid[j]] = ink;
        if (this._hollow.has(codes[i])) for (let j = 0; j < disc.core.length; j++) px[at + disc.core[j]] = 0xfff8fcfd;
        for (let j = 0; j < soft.length; j++) { const p = at + soft[j]; if (px[p] === 0) px[p] = faint; }
      }
      ctx.putImageData(image, 0, 0);
    },

    _disc: function (r, w) {
      const reach = Math.ceil(r + 0.5), solid = [], soft = [], core = [];
      for (let y = -reach; y <= reach; y++) for (let x = -reach; x <= reach; x++) {
        const d = Math.hypot(x, y);
        if (d <= r - 0.25 || (x === 0 && y === 0)) solid.push(y * w + x);
        else if (d <= r + 0.4) soft.push(y * w + x);
        if (d <= 0.5 * r && r >= 1.5) core.push(y * w + x);
      }
      return { reach, solid: Int32Array.from(solid), soft: Int32Array.from(soft), core: Int32Array.from(core) };
    },

    // Rings around the trees that need attention, and around the chosen one.
    _rings: function (ctx, view, size) {
      const ring = (i, colour, width, gap) => {
        const x = view.ax + view.k * this._x[i], y = view.ay - view.k * this._y[i];
        if (x < -50 || y < -50 || x > size.x + 50 || y > size.y + 50) return;
        ctx.beginPath();
        ctx.arc(x, y, this.radius(i, view) + gap, 0, 2 * Math.PI);
        ctx.lineWidth = width;
        ctx.strokeStyle = colour;
        ctx.stroke();
      };
      for (const i of this._attention.slice(0, ARCS)) if (!this._mask || this._mask[i]) ring(i, this.options.attention, 1.8, 1.5);
      if (this.selected >= 0) {
        ring(this.selected, "#fdfcf8", 6, 5);
        ring(this.selected, this.options.edge, 2.6, 5);
      }
    },
  });
  setout.trees = (head, options) => new setout.TreeLayer(head, options);
})();
