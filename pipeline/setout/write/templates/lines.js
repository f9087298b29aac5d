// Many lines on one canvas (contours, rows, pipes by zone), and the shaded ground.
(function () {
  "use strict";
  const setout = window.setout;

  // data: points and how many each piece has, and which line it is of; options: colours by group, widths by kind.
  setout.LineLayer = setout.CanvasLayer.extend({
    initialize: function (data, options) {
      setout.CanvasLayer.prototype.initialize.call(this, options);
      this._origin = data.origin;
      this._lengths = data.lengths;
      this._of = data.of;
      this._xy = new Int32Array(setout.bytes(data.points).buffer);
      if (data.about) this.columns = new setout.Columns(data.about, setout.bytes(data.about.bytes));
      this.n = this.columns ? this.columns.n : data.of.length ? data.of[data.of.length - 1] + 1 : 0;
      this.selected = -1;
    },

    _draw: function () {
      const ctx = this._clear(), o = this.options, size = this._bounds.getSize(), view = this._viewFrom(this._origin);
      // Lines side by side are drawn by every second, third ... where they would run into one another.
      const strokes = new Map(), labels = [], every = o.thin ? Math.max(1, Math.ceil(o.thin / view.perMetre)) : 1;
      let at = 0;
      this._lengths.forEach((length, piece) => {
        const line = this._of[piece], group = o.groups ? o.groups[line] : 0, kind = o.kinds ? o.kinds[line] : 0;
        const key = kind * 1e6 + group;
        if (!strokes.has(key)) strokes.set(key, { group, kind, path: new Path2D() });
        const mid = (every === 1 || line % every === 0) && this._trace(strokes.get(key).path, at, length, view, size);
        if (mid && o.labels) labels.push([mid, o.labels[line]]);
        if (line === this.selected) this._glow(ctx, at, length, view, size, o.widths[kind]);
        at += 2 * length;
      });
      ctx.lineJoin = ctx.lineCap = "round";
      for (const { group, kind, path } of [...strokes.entries()].sort((p, q) => p[0] - q[0]).map((e) => e[1])) {
        const width = o.widths[kind] * (view.perMetre < 2.5 && o.casing ? 0.6 : 1), dashed = group % (2 * o.colours.length) >= o.colours.length;
        ctx.globalAlpha = o.opacity || 1;
        if (o.casing) { ctx.lineWidth = width + 1.8; ctx.strokeStyle = o.casing; ctx.setLineDash([]); ctx.stroke(path); }
        ctx.lineWidth = width;
        ctx.strokeStyle = o.colours[group % o.colours.length];
        ctx.setLineDash(o.dash || (dashed ? [7, 5] : []));
        ctx.stroke(path);
      }
      ctx.setLineDash([]);
      ctx.globalAlpha = 1;
      this._write(ctx, labels, view);
    },

    // Adds one piece to a path; returns its middle and direction where it is long enough to carry a label.
    _trace: function (path, at, length, view, size) {
      const xy = this._xy, edge = 20;
      let x0 = Infinity, x1 = -Infinity, y0 = Infinity, y1 = -Infinity;
      for (let i = at; i < at + 2 * length; i += 2) {
        const x = xy[i], y = xy[i + 1];
        if (x < x0) x0 = x; if (x > x1) x1 = x; if (y < y0) y0 = y; if (y > y1) y1 = y;
      }
      if (view.ax + view.k * x1 < -edge || view.ax + view.k * x0 > size.x + edge) return null;
      if (view.ay - view.k * y0 < -edge || view.ay - view.k * y1 > size.y + edge) return null;
      let px = NaN, py = NaN, run = 0, mid = null;
      const points = [];
      for (let i = at, last = at + 2 * length - 2; i <= last; i += 2) {
        const x = view.ax + view.k * xy[i], y = view.ay - view.k * xy[i + 1];
        if (i !== at && i !== last && Math.abs(x - px) < 0.7 && Math.abs(y - py) < 0.7) continue;
        if (i === at) path.moveTo(x, y); else { path.lineTo(x, y); run += Math.hypot(x - px, y - py); }
        px = x; py = y;
        if (this.options.labels) points.push([x, y, run]);
      }
      if (run > 150 && points.length > 2) {
        const j = Math.max(1, points.findIndex((p) => p[2] >= run / 2)), a = points[Math.max(0, j - 2)], b = points[Math.min(points.length - 1, j + 1)];
        mid = { x: points[j][0], y: points[j][1], turn: Math.atan2(b[1] - a[1], b[0] - a[0]) };
        if (Math.abs(mid.turn) > Math.PI / 2) mid.turn += Math.PI;
      }
      return mid;
    },

    _glow: function (ctx, at, length, view, size, width) {
      const path = new Path2D();
      this._trace(path, at, length, view, size);
      ctx.lineJoin = ctx.lineCap = "round";
      ctx.lineWidth = width + 9;
      ctx.strokeStyle = "#22312e";
      ctx.stroke(path);
      ctx.lineWidth = width + 5;
      ctx.strokeStyle = "#fdfcf8";
      ctx.stroke(path);
    },

    _write: function (ctx, labels, view) {
      if (!labels.length || view.perMetre < 1) return;
      const taken = [];
      ctx.font = "600 10.5px system-ui, sans-serif";
      ctx.textAlign = "center";
      ctx.textBaseline = "middle";
      ctx.lineWidth = 3.5;
      ctx.strokeStyle = "rgba(246,243,235,.9)";
      ctx.fillStyle = "#6d5836";
      for (const [p, text] of labels) {
        if (taken.some((q) => Math.hypot(q.x - p.x, q.y - p.y) < 70)) continue;
        taken.push(p);
        ctx.save();
        ctx.translate(p.x, p.y);
        ctx.rotate(p.turn);
        ctx.strokeText(text, 0, 0);
        ctx.fillText(text, 0, 0);
        ctx.restore();
      }
      ctx.textBaseline = "alphabetic";
    },

    // The nearest line within so many pixels, -1 if there is none.
    nearest: function (latlng, pixels) {
      if (!this._map) return -1;
      const p = L.Projection.SphericalMercator.project(latlng), x = p.x * 1000 - this._origin[0], y = p.y * 1000 - this._origin[1];
      const reach = pixels / this._viewFrom(this._origin).k, xy = this._xy;
      let at = 0, best = -1, least = reach * reach;
      this._lengths.forEach((length, piece) => {
        for (let i = at; i < at + 2 * length - 2; i += 2) {
          const ax = xy[i], ay = xy[i + 1], dx = xy[i + 2] - ax, dy = xy[i + 3] - ay;
          const t = Math.max(0, Math.min(1, ((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy || 1)));
          const d = (ax + t * dx - x) ** 2 + (ay + t * dy - y) ** 2;
          if (d <= least) { best = this._of[piece]; least = d; }
        }
        at += 2 * length;
      });
      return best;
    },
    select: function (i) { if (i !== this.selected) { this.selected = i; this.redraw(); } },
  });
  setout.lines = (data, options) => new setout.LineLayer(data, options);

  // The shaded ground: a picture on a canvas, so that it is there on paper at any zoom. It lies over the colours of the
  // ground as shadow and light, and leaves them as they are where the ground is flat.
  setout.ReliefLayer = setout.CanvasLayer.extend({
    initialize: function (data, options) {
      setout.CanvasLayer.prototype.initialize.call(this, options);
      this._box = L.latLngBounds(data.box);
      this._image = new Image();
      this.decoded = new Promise((done) => {
        this._image.onload = () => { this._shadow = shadow(this._image); this.redraw(); done(true); };
        this._image.onerror = () => done(false);
      });
      this._image.src = data.uri;
    },
    _ready: function () { return Boolean(this._shadow); },
    _draw: function () {
      const ctx = this._clear(), from = this._bounds.min;
      const b = this._exact(this._box.getNorthWest()), c = this._exact(this._box.getSouthEast());
      ctx.imageSmoothingQuality = setout.fine ? "high" : "low";
      ctx.drawImage(this._shadow, b.x - from.x, b.y - from.y, c.x - b.x, c.y - b.y);
    },
    // Not rounded to whole pixels, as Leaflet's own are.
    _exact: function (latlng) { return this._map.project(latlng).subtract(this._map.getPixelOrigin()); },
  });
  function shadow(image) {
    const c = document.createElement("canvas"), ctx = c.getContext("2d", { willReadFrequently: true });
    c.width = image.naturalWidth;
    c.height = image.naturalHeight;
    ctx.drawImage(image, 0, 0);
    const pixels = ctx.getImageData(0, 0, c.width, c.height), px = new Uint32Array(pixels.data.buffer);
    const counts = new Uint32Array(256);
    let seen = 0, flat = 0;
    for (let i = 0; i < px.length; i += 7) if (px[i] >>> 24 > 200) { counts[px[i] & 255]++; seen++; }
    for (let sum = counts[0]; flat < 255 && 2 * sum < seen; ) sum += counts[++flat];
    const ink = Uint32Array.from({ length: 256 }, (_, grey) =>
      grey <= flat ? 170 * (1 - grey / Math.max(flat, 1)) : 110 * (grey - flat) / Math.max(255 - flat, 1));
    for (let i = 0; i < px.length; i++) {
      const grey = px[i] & 255, alpha = (ink[grey] * (px[i] >>> 24)) / 255;
      px[i] = (alpha << 24) | (grey > flat ? 0xffffff : 0x1a130e);
    }
    ctx.putImageData(pixels, 0, 0);
    return c;
  }
  setout.relief = (data, options) => new setout.ReliefLayer(data, options);
})();
