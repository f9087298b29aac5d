// The panel beside the map and the card of details. Text reaches the page as text, never as markup.
(function () {
  "use strict";
  const setout = window.setout;
  const $ = (id) => document.getElementById(id);
  setout.$ = $;

  setout.element = function (tag, text, className) {
    const el = document.createElement(tag);
    if (text !== undefined) el.textContent = text;
    if (className) el.className = className;
    return el;
  };
  const element = setout.element;

  setout.Panel = class {
    constructor(map, data, layers) {
      this.map = map;
      this.data = data;
      this.layers = layers;
      this.trees = layers.trees;
      this.byTree = new Map();
      data.findings.forEach((f) => {
        if (!f.tree) return;
        if (!this.byTree.has(f.tree)) this.byTree.set(f.tree, []);
        this.byTree.get(f.tree).push(f);
      });
      this._bindLayers();
      this._bindFindings();
      this._bindCard();
      this._bindSheet();
      if (this.trees) {
        if (this.trees.failed) this._say("This browser cannot unpack the trees: open the map in a newer one.");
        this.trees.whenReady(() => { this._bindColours(); this._bindSearch(); this._attend(); });
      }
    }

    _say(text) { $("note").textContent = text; $("note").hidden = !text; }

    _bindLayers() {
      for (const box of document.querySelectorAll("input[data-layer]")) {
        const layer = this.layers[box.dataset.layer];
        box.addEventListener("change", () => {
          if (box.checked) this.map.addLayer(layer); else this.map.removeLayer(layer);
        });
      }
    }

    // ---- colours -------------------------------------------------------------------------------------
    _bindColours() {
      const select = $("colour-by"), columns = this.trees.columns;
      for (const c of columns.list) {
        const worth = c.kind === "text" ? c.table.length > 1 && ["plant", "block", "water_point", "zone", "watered"].includes(c.name)
          : c.kind === "number" && this.data.ramps.includes(c.name);
        if (!worth && c.name !== "plant") continue;
        const option = element("option", c.label);
        option.value = c.name;
        select.appendChild(option);
      }
      if (!select.options.length) { $("colours").hidden = true; return; }
      select.addEventListener("change", () => this._colour(select.value));
      this._colour(select.value);
    }

    _colour(name) {
      const c = this.trees.columns.byName.get(name);
      if (c.kind === "text") this._colourByText(c); else this._colourByNumber(c);
    }

    _colourByText(c) {
      const legend = $("tree-legend"), base = this.data.colours, counts = new Array(c.table.length).fill(0);
      for (let i = 0; i < this.trees.n; i++) counts[c.codes[i]]++;
      // The order of the plan file where the page knows it, else the alphabet.
      const first = this.data.order[c.name] || c.table, rank = new Map(first.map((text, i) => [text, i]));
      const place = c.table.map((text, i) => (rank.has(text) ? rank.get(text) : first.length + i)), turn = 2 * base.length;
      // Each colour comes four times: as a dot, as a ring, and both again for what comes out.
      const fillers = new Set(c.name === "plant" ? this.data.fillers : []), slots = [...place].sort((p, q) => p - q);
      const slot = c.table.map((text, i) => (slots.indexOf(place[i]) % turn) + (fillers.has(text) ? turn : 0));
      const colours = Array.from({ length: 2 * turn }, (_, i) => base[i % base.length]);
      const hollow = new Set(slot.filter((s) => s % turn >= base.length)), pale = new Set(slot.filter((s) => s >= turn));
      const codes = new Uint8Array(this.trees.n);
      for (let i = 0; i < this.trees.n; i++) codes[i] = slot[c.codes[i]];
      this.trees.setColours(codes, colours, hollow, pale);
      legend.replaceChildren();
      c.table.map((text, i) => i).sort((p, q) => place[p] - place[q]).forEach((i) => {
        const item = element("li"), dot = element("i", undefined, "dot"), colour = colours[slot[i]];
        if (hollow.has(slot[i])) { dot.style.borderColor = colour; dot.classList.add("hollow"); }
        else if (pale.has(slot[i])) { dot.style.borderColor = colour; dot.style.background = colour + "4d"; }
        else dot.style.background = colour;
        if (pale.has(slot[i])) dot.classList.add("pale");
        item.append(dot, element("span", c.table[i] || "not named"), element("b", counts[i].toLocaleString("en-US")));
        legend.appendChild(item);
      });
    }

    _colourByNumber(c) {
      const stops = this.data.ramp, steps = 32, colours = [], n = this.trees.n, codes = new Uint8Array(n);
      for (let i = 0; i < steps; i++) colours.push(mix(stops, i / (steps - 1)));
      colours.push("#b9b4a6");
      let low = Infinity, high = -Infinity;
      for (let i = 0; i < n; i++) if (c.codes[i] !== c.unknown) { low = Math.min(low, c.codes[i]); high = Math.max(high, c.codes[i]); }
      const span = high - low || 1;
      let unknown = 0;
      for (let i = 0; i < n; i++) {
        if (c.codes[i] === c.unknown) { codes[i] = steps; unknown++; }
        else codes[i] = Math.min(steps - 1, Math.floor(((c.codes[i] - low) / span) * steps));
      }
      this.trees.setColours(codes, colours);
      const legend = $("tree-legend"), item = element("li", undefined, "ramp"), bar = element("i");
      bar.style.background = "linear-gradient(90deg," + stops.join(",") + ")";
      const show = (code) => ((c.offset + code) * c.step * c.factor).toFixed(c.decimals) + (c.unit ? " " + c.unit : "");
      item.append(bar, element("span", show(low)), element("span", show(high)));
      legend.replaceChildren(item);
      if (unknown) {
        const rest = element("li"), dot = element("i", undefined, "dot");
        dot.style.background = colours[steps];
        rest.append(dot, element("span", "not known"), element("b", unknown.toLocaleString("en-US")));
        legend.appendChild(rest);
      }
    }

    _attend() {
      const list = [];
      for (const [id, findings] of this.byTree) {
        const i = findings.some((f) => f.severity !== "note") ? this.trees.columns.find(id) : -1;
        if (i >= 0) list.push(i);
      }
      if (!list.length) return;
      this.trees.setAttention(list);
      $("attention").hidden = false;
      $("attention-count").textContent = list.length.toLocaleString("en-US");
    }

    // ---- search --------------------------------------------------------------------------------------
    _bindSearch() {
      const field = $("search"), list = $("search-list");
      const offer = () => {
        list.replaceChildren();
        const found = this.trees.columns.like(field.value, 8);
        $("search-note").textContent = !field.value.trim() ? "" : found.length ? "" : "No tree of that name.";
        for (const i of found) {
          const item = element("li"), button = element("button", this.trees.columns.id(i));
          button.type = "button";
          button.addEventListener("click", () => this.goTo(i));
          item.appendChild(button);
          list.appendChild(item);
        }
      };
      field.addEventListener("input", offer);
      $("search-form").addEventListener("submit", (e) => {
        e.preventDefault();
        let i = this.trees.columns.find(field.value);
        if (i < 0) { const like = this.trees.columns.like(field.value, 1); i = like.length ? like[0] : -1; }
        if (i >= 0) this.goTo(i);
        else $("search-note").textContent = field.value.trim() ? "No tree of that name." : "";
      });
    }

    goTo(i) {
      $("search-list").replaceChildren();
      $("search-note").textContent = "";
      document.body.classList.remove("sheet-open");
      $("menu").setAttribute("aria-expanded", "false");
      this.map.setView(this.trees.latLng(i), Math.max(this.map.getZoom(), 20), { animate: false });
      this.showTree(i);
    }

    // ---- findings ------------------------------------------------------------------------------------
    _bindFindings() {
      for (const button of document.querySelectorAll("button[data-finding]")) {
        button.addEventListener("click", () => this.showFinding(this.data.findings[Number(button.dataset.finding)]));
      }
    }

    showFinding(f) {
      const i = f.tree && this.trees && this.trees.columns ? this.trees.columns.find(f.tree) : -1;
      if (i >= 0) { this.goTo(i); return; }
      if (f.box) this.map.fitBounds(f.box, { maxZoom: 20, animate: false, padding: [60, 60] });
      document.body.classList.remove("sheet-open");
      this.showThing(f.message, f.about, f.severity);
    }

    // ---- the card ------------------------------------------------------------------------------------
    _bindCard() {
      $("card-close").addEventListener("click", () => this.closeCard());
      $("card-prev").addEventListener("click", () => this.step(-1));
      $("card-next").addEventListener("click", () => this.step(1));
      $("card-zoom").addEventListener("click", () => {
        this.map.setView(this.trees.latLng(this.current), Math.max(21, this.map.getZoom()), { animate: false });
        this._reveal(this.trees.latLng(this.current));
      });
      document.addEventListener("keydown", (e) => {
        if (e.key === "Escape") { if (document.body.classList.contains("sheet-open")) $("menu").click(); else this.closeCard(); }
      });
    }

    step(by) {
      const i = this.current + by;
      if (i < 0 || i >= this.trees.n) return;
      this.showTree(i);
    }

    closeCard() {
      const open = !$("card").hidden;
      $("card").hidden = true;
      this.current = -1;
      if (this.trees && this.trees.columns) this.trees.select(-1);
      if (open) this.map.getContainer().focus({ preventScroll: true });
    }

    showTree(i) {
      const columns = this.trees.columns, id = columns.id(i), at = this.trees.latLng(i), rows = [];
      for (const c of columns.list) {
        if (c.hidden) continue;
        const text = columns.text(c.name, i);
        if (text !== null && text !== "") rows.push([c.label, text]);
      }
      rows.push(["Latitude", at.lat.toFixed(7) + "°"], ["Longitude", at.lng.toFixed(7) + "°"]);
      this.current = i;
      this.trees.select(i);
      this._card("Tree", id, rows, this._treeFindings(id, columns.value("findings", i)));
      $("card-foot").hidden = false;
      $("card-prev").disabled = i === 0;
      $("card-next").disabled = i === this.trees.n - 1;
      this._reveal(at);
    }

    // Moves the map where the card, or the edge, would hide the tree.
    _reveal(at) {
      const p = this.map.latLngToContainerPoint(at), size = this.map.getSize(), edge = 36;
      const stage = this.map.getContainer().getBoundingClientRect(), card = $("card").getBoundingClientRect();
      const low = card.top - stage.top, side = card.right - stage.left;
      let x = p.x < edge ? p.x - edge : p.x > size.x - edge ? p.x - size.x + edge : 0;
      let y = p.y < edge ? p.y - edge : p.y > size.y - edge ? p.y - size.y + edge : 0;
      if (p.x - x < side + edge && p.y - y > low - edge) {
        if (side < size.x - 4 * edge) x = p.x - side - 2 * edge;
        else y = p.y - low / 2;
      }
      if (x || y) this.map.panBy([Math.round(x), Math.round(y)], { animate: false });
    }

    _treeFindings(id, codes) {
      const told = this.byTree.get(id) || [], known = new Set(told.map((f) => f.code));
      const rest = (codes || "").split(" ").filter((code) => code && !known.has(code));
      return told.concat(rest.map((code) => ({ severity: "note", message: code.replaceAll("_", " "), about: [] })));
    }

    showThing(title, about, kind) {
      this.current = -1;
      if (this.trees && this.trees.columns) this.trees.select(-1);
      this._card(kind || "", title, about, []);
      $("card-foot").hidden = true;
    }

    _card(kind, title, rows, findings) {
      $("card-kind").textContent = { stop: "Stop", warn: "Warning", note: "Note" }[kind] || kind;
      $("card-title").textContent = title;
      const list = $("card-list"), told = $("card-findings");
      list.replaceChildren();
      for (const [label, value] of rows) list.append(element("dt", label), element("dd", value));
      told.replaceChildren();
      for (const f of findings) {
        const item = element("li", undefined, f.severity);
        item.append(setout.svg(18, setout.MARKS[f.severity]), element("span", f.message));
        const remedy = f.about.find(([label]) => label === "Remedy");
        if (remedy) item.appendChild(element("em", remedy[1]));
        told.appendChild(item);
      }
      $("card").hidden = false;
      $("card").scrollTop = 0;
    }

    _bindSheet() {
      $("menu").addEventListener("click", () => {
        const open = document.body.classList.toggle("sheet-open");
        $("menu").setAttribute("aria-expanded", String(open));
      });
    }
  };

  function mix(stops, t) {
    const at = t * (stops.length - 1), i = Math.min(stops.length - 2, Math.floor(at)), f = at - i;
    const part = (hex, k) => parseInt(hex.slice(1 + 2 * k, 3 + 2 * k), 16);
    return "#" + [0, 1, 2].map((k) => Math.round(part(stops[i], k) * (1 - f) + part(stops[i + 1], k) * f).toString(16).padStart(2, "0")).join("");
  }
})();
