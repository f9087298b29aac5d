// How the trees are shown: their colours and legend, the year, and which of them.
(function () {
  "use strict";
  const setout = window.setout, $ = (id) => document.getElementById(id), element = (...a) => setout.element(...a);
  const STEPS = 32;

  setout.View = class {
    constructor(data, trees) {
      this.data = data;
      this.trees = trees;
      this.columns = trees.columns;
      this._attend();
      this._bindColours();
      this._bindYear();
      this._bindFilters();
    }

    // ---- colours -------------------------------------------------------------------------------------
    _bindColours() {
      const select = $("colour-by");
      for (const c of this.columns.list) {
        const words = c.kind === "text" && this.data.texts.includes(c.name) && (c.name === "plant" || c.table.length > 1);
        const figures = c.kind === "number" && this.data.ramps.includes(c.name);
        if (!words && !figures) continue;
        const option = element("option", c.label);
        option.value = c.name;
        select.appendChild(option);
      }
      if (!select.options.length) { $("colours").hidden = true; return; }
      select.addEventListener("change", () => this._colour(select.value));
      this._colour(select.value);
    }

    _colour(name) {
      const c = this.columns.byName.get(name);
      if (c.kind === "text") this._colourByText(c); else this._colourByNumber(c);
    }

    // The places of a column's words: those of the plan file where the page knows them, else the alphabet's.
    _places(c) {
      const first = this.data.order[c.name] || c.table, rank = new Map(first.map((text, i) => [text, i]));
      return c.table.map((text, i) => (rank.has(text) ? rank.get(text) : first.length + i));
    }

    _colourByText(c) {
      const legend = $("tree-legend"), base = this.data.colours, counts = new Array(c.table.length).fill(0);
      for (let i = 0; i < this.trees.n; i++) counts[c.codes[i]]++;
      const place = this._places(c), turn = 2 * base.length;
      // Each colour comes four times: as a dot, as a ring, and both again for what comes out. Zones keep their pipes' colour.
      const fillers = new Set(c.name === "plant" ? this.data.fillers : []), slots = [...place].sort((p, q) => p - q);
      const slot = c.table.map((text, i) => ((c.name === "zone" ? place[i] : slots.indexOf(place[i])) % turn) + (fillers.has(text) ? turn : 0));
      const colours = Array.from({ length: 2 * turn + 1 }, (_, i) => base[i % base.length]);
      colours[2 * turn] = "#b9b4a6";
      c.table.forEach((text, i) => { if (!text) slot[i] = 2 * turn; });
      const hollow = new Set(slot.filter((s) => s < 2 * turn && s % turn >= base.length)), pale = new Set(slot.filter((s) => s >= turn && s < 2 * turn));
      const codes = new Uint8Array(this.trees.n);
      for (let i = 0; i < this.trees.n; i++) codes[i] = slot[c.codes[i]];
      this.trees.setColours(codes, colours, hollow, pale);
      legend.replaceChildren();
      const none = { watered: "not known", water_reason: "not known" }[c.name] || "none";
      c.table.map((text, i) => i).sort((p, q) => place[p] - place[q]).forEach((i) => {
        if (counts[i]) legend.appendChild(legendLine(c.table[i] || none, counts[i], colours[slot[i]], hollow.has(slot[i]), pale.has(slot[i])));
      });
    }

    // From low to high, one in fifty left out at each end where they lie far off, so that they do not flatten the rest.
    _colourByNumber(c) {
      const stops = this.data.ramp, colours = [], n = this.trees.n, codes = new Uint8Array(n), known = [];
      for (let i = 0; i < STEPS; i++) colours.push(mix(stops, i / (STEPS - 1)));
      colours.push("#b9b4a6");
      for (let i = 0; i < n; i++) if (c.codes[i] !== c.unknown) known.push(c.codes[i]);
      const sorted = Float64Array.from(known).sort(), least = sorted[0], most = sorted[sorted.length - 1];
      let low = sorted[Math.floor(0.02 * (sorted.length - 1))], high = sorted[Math.ceil(0.98 * (sorted.length - 1))];
      if (!(high > low) || most - least < 1.5 * (high - low)) { low = least; high = most; }
      const span = high - low || 1;
      for (let i = 0; i < n; i++) {
        const t = Math.floor(((c.codes[i] - low) / span) * STEPS);
        codes[i] = c.codes[i] === c.unknown ? STEPS : Math.max(0, Math.min(STEPS - 1, t));
      }
      this.trees.setColours(codes, colours);
      const legend = $("tree-legend"), item = element("li", undefined, "ramp"), bar = element("i"), unit = c.unit ? " " + c.unit : "";
      const show = (code) => ((c.offset + code) * c.step * c.factor).toFixed(c.decimals);
      bar.style.background = "linear-gradient(90deg," + stops.join(",") + ")";
      item.append(bar, element("span", (low > least ? "\u2264 " : "") + show(low) + unit), element("span", show((low + high) / 2)), element("span", (high < most ? "\u2265 " : "") + show(high) + unit));
      legend.replaceChildren(item);
      if (known.length < n) legend.appendChild(legendLine("not known", n - known.length, colours[STEPS]));
    }

    _attend() {
      const c = this.columns.byName.get("attention"), list = [];
      for (let i = 0; c && i < this.trees.n; i++) if (c.offset + c.codes[i]) list.push(i);
      this.attention = list;
      if (!list.length) return;
      this.trees.setAttention(list);
      $("attention").hidden = false;
      $("attention-count").textContent = list.length.toLocaleString("en-US");
    }

    // ---- the year ------------------------------------------------------------------------------------
    _bindYear() {
      const last = this.trees.options.growth ? this.trees.options.growth.year : 0, slider = $("year");
      if (!last) { $("years").hidden = true; return; }
      slider.min = 1;
      slider.max = last + 1;
      slider.value = last + 1;
      const go = () => {
        const year = Number(slider.value) > last ? null : Number(slider.value);
        const text = year === null ? "Full size" : "Year " + year;
        $("year-text").textContent = text;
        slider.setAttribute("aria-valuetext", text);
        this.trees.setYear(year);
        this._filter();
      };
      // A frame a step at most, however fast the slider goes.
      let waiting = false;
      slider.addEventListener("input", () => {
        if (waiting) return;
        waiting = true;
        requestAnimationFrame(() => { waiting = false; go(); });
      });
      this.setYear = (year) => { slider.value = year === null ? last + 1 : year; go(); };
    }

    _yearNote(out) {
      if (this.trees.year === null) { $("year-note").textContent = ""; return; }
      let unknown = 0;
      for (let i = 0; i < this.trees.n; i++) if (Number.isNaN(this.trees._now[i])) unknown++;
      const parts = ["Canopies so many years after planting, by your own sizes or a simple curve; ground and care move it by years. Figures of room, water and light stay the plan's."];
      if (out) parts.push(out.toLocaleString("en-US") + " temporary trees are out.");
      if (unknown) parts.push(unknown.toLocaleString("en-US") + " trees of unknown growth are drawn as dots.");
      $("year-note").textContent = parts.join(" ");
    }

    // ---- which trees ---------------------------------------------------------------------------------
    _bindFilters() {
      for (const name of ["plant", "block", "zone"]) {
        const c = this.columns.byName.get(name), select = $("only-" + name);
        const texts = c ? c.table.filter((text) => text) : [];
        if (texts.length < 2) { select.parentElement.hidden = true; continue; }
        const place = this._places(c);
        c.table.map((_, i) => i).sort((p, q) => place[p] - place[q]).forEach((i) => {
          const option = element("option", c.table[i] || "none");
          option.value = i;
          select.appendChild(option);
        });
        select.addEventListener("change", () => this._filter());
      }
      const watered = this.columns.byName.get("watered"), dry = watered ? watered.table.indexOf("no") : -1;
      this.dry = dry;
      $("only-attention").parentElement.hidden = !this.attention.length;
      $("only-dry").parentElement.hidden = dry < 0;
      for (const id of ["only-attention", "only-dry"]) $(id).addEventListener("change", () => this._filter());
      $("only-reset").addEventListener("click", () => {
        for (const name of ["plant", "block", "zone"]) $("only-" + name).value = "";
        $("only-attention").checked = $("only-dry").checked = false;
        this._filter();
      });
      this._filter();
    }

    _filter() {
      const n = this.trees.n, wanted = [], year = this.trees.year;
      for (const name of ["plant", "block", "zone"]) {
        const value = $("only-" + name).value;
        if (value !== "") wanted.push([this.columns.byName.get(name).codes, Number(value)]);
      }
      if ($("only-dry").checked) wanted.push([this.columns.byName.get("watered").codes, this.dry]);
      const grave = $("only-attention").checked;
      const chosen = wanted.length > 0 || grave, attention = this.columns.byName.get("attention");
      let shown = n, out = 0, mask = null;
      if (chosen || year !== null) {
        mask = new Uint8Array(n);
        shown = 0;
        for (let i = 0; i < n; i++) {
          if (year !== null && this.trees._now[i] === 0) { out++; continue; }
          if (grave && !(attention.offset + attention.codes[i])) continue;
          let ok = 1;
          for (const [codes, value] of wanted) if (codes[i] !== value) { ok = 0; break; }
          mask[i] = ok;
          shown += ok;
        }
        if (shown === n) mask = null;
      }
      this.trees.setMask(mask);
      this.shown = shown;
      $("only-note").textContent = shown === n ? "All " + n.toLocaleString("en-US") + " trees are shown." :
        shown.toLocaleString("en-US") + " of " + n.toLocaleString("en-US") + " trees are shown.";
      $("only-reset").disabled = !chosen;
      this._yearNote(out);
    }

    // What is shown now, in words, for the printed page.
    words() {
      const parts = [];
      if (this.trees.year !== null) parts.push("year " + this.trees.year + " after planting");
      for (const name of ["plant", "block", "zone"]) {
        const select = $("only-" + name);
        if (select.value !== "") parts.push(name + " " + select.selectedOptions[0].textContent);
      }
      if ($("only-attention").checked) parts.push("needs attention");
      if ($("only-dry").checked) parts.push("not watered");
      return parts;
    }
  };

  function legendLine(text, count, colour, hollow, pale) {
    const item = element("li"), dot = element("i", undefined, "dot");
    if (hollow) { dot.style.borderColor = colour; dot.classList.add("hollow"); }
    else if (pale) { dot.style.borderColor = colour; dot.style.background = colour + "4d"; }
    else dot.style.background = colour;
    if (pale) dot.classList.add("pale");
    item.append(dot, element("span", text), element("b", count.toLocaleString("en-US")));
    return item;
  }

  function mix(stops, t) {
    const at = t * (stops.length - 1), i = Math.min(stops.length - 2, Math.floor(at)), f = at - i;
    const part = (hex, k) => parseInt(hex.slice(1 + 2 * k, 3 + 2 * k), 16);
    return "#" + [0, 1, 2].map((k) => Math.round(part(stops[i], k) * (1 - f) + part(stops[i + 1], k) * f).toString(16).padStart(2, "0")).join("");
  }
})();
