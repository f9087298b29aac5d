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
      this.current = -1;
      this.byTree = new Map();
      data.findings.forEach((f) => {
        if (!f.tree) return;
        if (!this.byTree.has(f.tree)) this.byTree.set(f.tree, []);
        this.byTree.get(f.tree).push(f);
      });
      this._bindTabs();
      this._bindLayers();
      this._bindFindings();
      this._bindCard();
      this._bindSheet();
      if (!this.trees) for (const id of ["years", "colours", "only"]) $(id).hidden = true;
      if (this.trees) {
        if (this.trees.failed) this._say("This browser cannot unpack the trees: open the map in a newer one.");
        this.trees.whenReady(() => { this.view = new setout.View(data, this.trees); this._bindSearch(); });
      }
    }

    _say(text) { $("note").textContent = text; $("note").hidden = !text; }

    // Tabs as the ARIA practices have them: arrows go from one to the next, one of them is in the order of Tab.
    _bindTabs() {
      const tabs = [...document.querySelectorAll("#tabs [role=tab]")];
      const choose = (tab, focus) => {
        for (const t of tabs) {
          t.setAttribute("aria-selected", String(t === tab));
          t.tabIndex = t === tab ? 0 : -1;
          $(t.getAttribute("aria-controls")).hidden = t !== tab;
        }
        if (focus) tab.focus();
      };
      tabs.forEach((tab, i) => {
        tab.addEventListener("click", () => { choose(tab); $("panel").scrollTop = 0; });
        tab.addEventListener("keydown", (e) => {
          const step = { ArrowRight: 1, ArrowLeft: -1 }[e.key];
          const to = e.key === "Home" ? 0 : e.key === "End" ? tabs.length - 1 : step ? (i + step + tabs.length) % tabs.length : -1;
          if (to < 0) return;
          e.preventDefault();
          choose(tabs[to], true);
        });
      });
      $("to-notes").addEventListener("click", () => choose($("tab-notes"), true));
    }

    _bindLayers() {
      for (const box of document.querySelectorAll("input[data-layer]")) {
        const layer = this.layers[box.dataset.layer];
        box.addEventListener("change", () => {
          if (box.checked) this.map.addLayer(layer); else this.map.removeLayer(layer);
        });
      }
      for (const group of document.querySelectorAll("button[data-group]")) {
        group.addEventListener("click", () => {
          const boxes = [...group.closest("fieldset").querySelectorAll("input[data-layer]")], on = !boxes.every((b) => b.checked);
          for (const b of boxes) if (b.checked !== on) b.click();
        });
      }
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
      $("search-note").textContent = this.trees.shown(i) ? "" : "This tree is among those not shown now.";
      this._closeSheet();
      this.map.setView(this.trees.latLng(i), Math.max(this.map.getZoom(), 20), { animate: false });
      this.showTree(i);
    }

    // ---- findings ------------------------------------------------------------------------------------
    _bindFindings() {
      for (const button of document.querySelectorAll("button[data-finding]")) {
        button.addEventListener("click", () => this.showFinding(this.data.kinds[Number(button.dataset.finding)]));
      }
    }

    showFinding(f) {
      const i = f.tree && this.trees && this.trees.columns ? this.trees.columns.find(f.tree) : -1;
      if (i >= 0) { this.goTo(i); return; }
      if (f.box) this.map.fitBounds(f.box, { maxZoom: 20, animate: false, padding: [60, 60] });
      this._closeSheet();
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
      $("card-guide").addEventListener("click", () => setout.locator.guide(this.current));
      document.addEventListener("keydown", (e) => {
        if (e.key === "Escape") { if (document.body.classList.contains("sheet-open")) $("menu").click(); else this.closeCard(); }
      });
    }

    closeCard() {
      if ($("card").hidden) return;
      const focused = $("card").contains(document.activeElement);
      $("card").hidden = true;
      this._unmark();
      if (focused) this.map.getContainer().focus();
    }

    _unmark() {
      this.current = -1;
      if (this.trees && this.trees.columns) this.trees.select(-1);
      for (const layer of Object.values(this.layers)) if (layer instanceof setout.LineLayer) layer.select(-1);
    }

    // The next tree of the walk that is shown.
    _beside(i, by) {
      for (let j = i + by; j >= 0 && j < this.trees.n; j += by) if (this.trees.shown(j)) return j;
      return -1;
    }
    step(by) {
      const i = this._beside(this.current, by);
      if (i >= 0) this.showTree(i);
    }

    showTree(i) {
      const columns = this.trees.columns, id = columns.id(i), at = this.trees.latLng(i), rows = columns.rows(i);
      const year = this.trees.year, grown = year === null ? NaN : this.trees.spreadAt(i, year);
      if (year !== null) {
        const text = grown === 0 ? "taken out" : Number.isNaN(grown) ? "not known" : setout.showLength(grown, this.data.units, 1);
        const after = rows.findIndex((row) => row[1] === "Mature spread");
        rows.splice(after < 0 ? rows.length : after, 0, ["Room", "Spread in year " + year, text]);
      }
      rows.push(["Ground", "Latitude", at.lat.toFixed(7) + "°"], ["Ground", "Longitude", at.lng.toFixed(7) + "°"]);
      this._unmark();
      this.current = i;
      this.trees.select(i);
      this._card("Tree", id, rows, this._treeFindings(id, columns.value("findings", i)));
      $("card-foot").hidden = false;
      $("card-prev").disabled = this._beside(i, -1) < 0;
      $("card-next").disabled = this._beside(i, 1) < 0;
      this._reveal(at);
    }

    // A pipe: what is known of it, and a glow under it.
    showLine(layer, i) {
      this._unmark();
      layer.select(i);
      this._card(layer.options.title, layer.columns.id(i), layer.columns.rows(i), []);
      $("card-foot").hidden = true;
    }

    showThing(title, about, kind) {
      this._unmark();
      this._card(kind || "", title, about.map(([label, value]) => ["", label, value]), []);
      $("card-foot").hidden = true;
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
      const grave = (code) => (this.data.kinds.find((k) => k.code === code) || { severity: "note" }).severity;
      return told.concat(rest.map((code) => ({ severity: grave(code), message: code.replaceAll("_", " "), about: [] })));
    }

    // rows: [heading, label, value], those of one heading together.
    _card(kind, title, rows, findings) {
      $("card-kind").textContent = { stop: "Stop", warn: "Warning", note: "Note" }[kind] || kind;
      $("card-title").textContent = title;
      const lists = $("card-list"), told = $("card-findings");
      lists.replaceChildren();
      for (const heading of new Set(rows.map((row) => row[0]))) {
        if (heading) lists.append(element("h3", heading));
        const list = element("dl");
        for (const [of, label, value] of rows) if (of === heading) list.append(element("dt", label), element("dd", value));
        lists.append(list);
      }
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
        $("menu").textContent = open ? "Close" : "Menu";
      });
    }
    _closeSheet() { if (document.body.classList.contains("sheet-open")) $("menu").click(); }
  };
})();
