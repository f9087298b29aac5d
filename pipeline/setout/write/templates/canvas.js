// What every layer drawn on a canvas of its own has in common: binary columns, and one canvas that follows the map.
(function () {
  "use strict";
  const setout = window.setout;
  const TYPES = { u1: Uint8Array, u2: Uint16Array, u4: Uint32Array, i4: Int32Array };

  setout.Columns = class {
    constructor(head, bytes) {
      this.n = head.n;
      this.byName = new Map();
      this.list = head.columns;
      for (const c of head.columns) {
        this.byName.set(c.name, c);
        if (c.kind === "ids") { c.raw = bytes.subarray(c.at, c.at + c.bytes); continue; }
        c.codes = new TYPES[c.type](bytes.buffer, bytes.byteOffset + c.at, this.n);
        if (c.delta) {
          const sums = new Float64Array(this.n);
          for (let i = 0, sum = 0; i < this.n; i++) sums[i] = sum += c.codes[i];
          c.codes = sums;
        }
      }
    }
    has(name) { return this.byName.has(name); }
    // The value in the column's own unit; null where it is unknown.
    value(name, i) {
      const c = this.byName.get(name);
      if (!c) return null;
      if (c.kind === "text") return c.table[c.codes[i]] || null;
      return c.codes[i] === c.unknown ? null : (c.offset + c.codes[i]) * c.step;
    }
    // The value as people read it; null where it is unknown.
    text(name, i) {
      const v = this.value(name, i), c = this.byName.get(name);
      if (v === null || c.kind === "text") return v;
      if (c.names_tree) return this.id(v);
      return (v * c.factor).toFixed(c.decimals) + (c.unit ? " " + c.unit : "");
    }
    // All that is known of one, as [heading, label, value].
    rows(i) {
      const rows = [];
      for (const c of this.list) {
        if (c.hidden) continue;
        const text = this.text(c.name, i);
        if (text !== null && text !== "") rows.push([c.chapter || "", c.label, text]);
      }
      return rows;
    }
    ids() {
      if (!this._ids) this._ids = new TextDecoder().decode(this.byName.get("tree_id").raw).split("\n");
      return this._ids;
    }
    id(i) { return this.ids()[i]; }
    find(id) {
      if (!this._places) this._places = new Map(this.ids().map((name, i) => [name.toUpperCase(), i]));
      const at = this._places.get(id.trim().toUpperCase());
      return at === undefined ? -1 : at;
    }
    like(part, most) {
      const want = part.trim().toUpperCase(), starts = [], holds = [];
      if (!want) return [];
      for (let i = 0; i < this.n && starts.length < most; i++) {
        const id = this.ids()[i].toUpperCase();
        if (id.startsWith(want)) starts.push(i);
        else if (holds.length < most && id.includes(want)) holds.push(i);
      }
      return starts.concat(holds).slice(0, most);
    }
  };

  // A canvas somewhat larger than the screen, drawn anew when the map has come to rest.
  setout.CanvasLayer = L.Renderer.extend({
    options: { padding: 0.25 },
    redraw: function () {
      if (!this._map || !this._container || !this._ready()) return this;
      // For paper browsers may keep the strokes of a canvas in place of its pixels, and then its clearing clears all that
      // lies under it as well: there the canvas is a new one, which has nothing to clear.
      if (setout.fine) {
        const fresh = this._container.cloneNode(false);
        this._container.replaceWith(fresh);
        this._container = fresh;
      }
      this._draw();
      return this;
    },
    _ready: function () { return true; },
    _initContainer: function () {
      this._container = L.DomUtil.create("canvas", "setout-canvas");
      this._container.setAttribute("aria-hidden", "true");
    },
    _destroyContainer: function () { L.DomUtil.remove(this._container); this._container = null; },
    _updatePaths: function () {},
    _update: function () {
      if ((this._map._animatingZoom && this._bounds) || this._holds()) return;
      L.Renderer.prototype._update.call(this);
      this._made = { origin: this._map.getPixelOrigin(), size: this._map.getSize(), on: this._container };
      L.DomUtil.setPosition(this._container, this._bounds.min);
      this._map.whenReady(() => this.redraw());
    },
    // Whether the canvas, as it was drawn last, still covers all that the map shows.
    _holds: function () {
      const was = this._made, map = this._map;
      if (!was || was.on !== this._container || !was.origin.equals(map.getPixelOrigin()) || !was.size.equals(map.getSize())) return false;
      const low = map.containerPointToLayerPoint([0, 0]);
      return this._bounds.contains(L.bounds(low, low.add(was.size)));
    },
    // The canvas, clean, and as large and as fine as the screen; finer on paper.
    _clear: function () {
      const c = this._container, size = this._bounds.getSize(), dpr = setout.fine || Math.min(window.devicePixelRatio || 1, 2);
      const w = Math.round(size.x * dpr), h = Math.round(size.y * dpr), ctx = c.getContext("2d");
      this._dpr = dpr;
      if (c.width !== w || c.height !== h) { c.width = w; c.height = h; }
      c.style.width = size.x + "px";
      c.style.height = size.y + "px";
      ctx.setTransform(1, 0, 0, 1, 0, 0);
      if (!setout.fine) ctx.clearRect(0, 0, w, h);
      ctx.setTransform(dpr, 0, 0, dpr, 0, 0);
      return ctx;
    },
    // Pixels from Web Mercator millimetres after an origin: px = ax + k x, py = ay - k y; and pixels per metre of ground.
    _viewFrom: function (origin) {
      const map = this._map, zoom = map.getZoom(), s = map.options.crs.scale(zoom), o = map.getPixelOrigin();
      const k = s / (2 * Math.PI * setout.R) / 1000, b = this._bounds || { min: { x: 0, y: 0 } };
      const m = setout.metresPerDegree(map.getCenter().lat, this.options.earth);
      return {
        k, zoom, ax: s / 2 + k * origin[0] - o.x - b.min.x, ay: s / 2 - k * origin[1] - o.y - b.min.y,
        perMetre: s / 360 / m.lon,
      };
    },
  });
})();
